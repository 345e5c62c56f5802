package document

// The reference systems that documents have named, kept: finding one costs more
// than reading a lot.

import (
	"sync"

	"github.com/paulmach/orb"

	"fallwright/geo/frame"
)

// mostSystems that are kept; a program rarely meets a handful.
const mostSystems = 32

var systems struct {
	sync.Mutex
	by map[string]*frame.System
}

// frameOf makes the plane of bounds in a system. The error is a *frame.CRSError.
func frameOf(crs string, b orb.Bound) (*frame.Frame, error) {
	systems.Lock()
	y := systems.by[crs]
	systems.Unlock()
	if y == nil {
		var err error
		if y, err = frame.Open(crs); err != nil {
			return nil, err
		}
		systems.Lock()
		if systems.by == nil || len(systems.by) >= mostSystems {
			systems.by = map[string]*frame.System{}
		}
		systems.by[crs] = y
		systems.Unlock()
	}
	return y.Frame(b)
}
