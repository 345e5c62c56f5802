package asbuilt

// What becomes of the rest once something is laid: the runs that stay, the runs
// laid anew, and how the cuts change.

import (
	"encoding/json"
	"fmt"
	"math"

	"fallwright/geo/unit"
	"fallwright/hydro/profile"
	"fallwright/parcels"
)

// Resolved is the plan worked again round what is laid and what was met.
type Resolved struct {
	Verdict parcels.Verdict `json:"verdict"`
	WhyNot  string          `json:"why_not,omitempty"`
	// Locked runs stay as shot; Open says of each other run that was shot why it
	// cannot be locked.
	Locked  []string        `json:"locked"`
	Open    []OpenRun       `json:"open"`
	Met     []parcels.Met   `json:"met"`
	Changes []Change        `json:"changes"`
	Plan    json.RawMessage `json:"plan"` // checked, as a plan is
}

// OpenRun is a run that was shot and is laid anew.
type OpenRun struct {
	Run string `json:"run"`
	Why string `json:"why"`
}

// Change is a point where the pipe comes to lie otherwise than was planned.
type Change struct {
	Run     string         `json:"run"`
	Point   string         `json:"point"`
	Station unit.Length    `json:"station_m"` // from the run's upper end
	Was     unit.Elevation `json:"was_invert_m"`
	Now     unit.Elevation `json:"invert_m"`
	Lower   unit.Length    `json:"lower_m"` // negative: higher
	CutWas  *unit.Length   `json:"was_cut_m"`
	Cut     *unit.Length   `json:"cut_m"`
	SizeWas string         `json:"was_size"`
	Size    string         `json:"size"`
	Laid    bool           `json:"laid"`
}

// Locks are the runs of the report that can be locked, with their inverts, and
// why the other runs that were shot cannot.
func (r *Report) Locks() (map[string]profile.Levels, []OpenRun) {
	locks, open := map[string]profile.Levels{}, []OpenRun{}
	for i := range r.Runs {
		b := &r.Runs[i]
		if len(b.Levels) < 2 {
			continue // not shot, but for a fitting it shares
		}
		if up, down, ok := r.Ends(b.Run); ok {
			locks[b.Run] = profile.Levels{Up: mmLevel(up), Down: mmLevel(down)}
			continue
		}
		why := "an end of it was not shot, or the file does not tell its grade"
		switch {
		case r.Shift != nil:
			why = "the levels of the file are not those of the plan"
		case len(b.Pools) > 0:
			why = "water stands in it: it is to be laid again"
		case b.Slope != nil && *b.Slope <= 0:
			why = "it does not fall: it is to be laid again"
		}
		open = append(open, OpenRun{b.Run, why})
	}
	// Two shots of one fitting differ by what a shot errs; a pipe that leaves
	// above one that comes in by more was not laid on it.
	for i := range r.Runs {
		b := &r.Runs[i]
		for k := range r.Runs {
			a := &r.Runs[k]
			down, okA := locks[a.Run]
			up, okB := locks[b.Run]
			if a.To != b.From || !okA || !okB {
				continue
			}
			step := float64(up.Up.Above(down.Down))
			switch {
			case step <= 0:
			case step <= worse && down.Down > up.Down:
				up.Up = down.Down
				locks[b.Run] = up
			default:
				delete(locks, b.Run)
				open = append(open, OpenRun{b.Run, fmt.Sprintf("it leaves %s %.0f mm above where %s comes in", b.From, 1000*step, a.Run)})
			}
		}
	}
	return locks, open
}

func mmLevel(e unit.Elevation) unit.Elevation { return unit.Elevation(round(float64(e), 3)) }

// Changes lists the ends of runs whose invert, or whose pipe, is not that of the
// plan before, in the order of the runs.
func Changes(before, after *parcels.Plan) []Change {
	out := []Change{}
	for i := range after.Runs {
		now := &after.Runs[i]
		was := before.Run(now.ID)
		if was == nil || was.InvertUp == nil || now.InvertUp == nil || was.InvertDown == nil || now.InvertDown == nil {
			continue
		}
		for k, e := range [...]struct {
			point    string
			at       unit.Length
			was, now unit.Elevation
		}{{now.From, 0, *was.InvertUp, *now.InvertUp}, {now.To, now.Length, *was.InvertDown, *now.InvertDown}} {
			d := e.was.Above(e.now)
			if math.Abs(float64(d)) < 0.0005 && was.Size == now.Size {
				continue
			}
			c := Change{Run: now.ID, Point: e.point, Station: e.at, Was: e.was, Now: e.now, Lower: mm(d), SizeWas: was.Size, Size: now.Size, Laid: now.Laid}
			c.CutWas, c.Cut = cutAt(before, now.ID, k), cutAt(after, now.ID, k)
			out = append(out, c)
		}
	}
	return out
}

// cutAt is ground to invert at the upper (0) or lower (1) end of a run.
func cutAt(p *parcels.Plan, run string, end int) *unit.Length {
	rows := p.Rows(run)
	if len(rows) == 0 {
		return nil
	}
	return rows[end*(len(rows)-1)].Cut
}
