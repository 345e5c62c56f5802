package jobs

import (
	"time"

	"github.com/riverqueue/river/rivertype"
)

// FrozenAfter makes a worker count as frozen sooner, for a trial.
func FrozenAfter(d time.Duration) { frozenAfter = d }

// PutOffAfter and Clock do the same for what a wrong clock puts off.
func PutOffAfter(d time.Duration)     { putOffAfter = d }
func Clock(c rivertype.TimeGenerator) { clock = c }
