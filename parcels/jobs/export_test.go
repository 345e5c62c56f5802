package jobs

import "time"

// FrozenAfter makes a worker count as frozen sooner, for a trial.
func FrozenAfter(d time.Duration) { frozenAfter = d }
