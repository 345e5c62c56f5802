package ground

// What every surface answers, and the profile along a line.

import (
	"sort"

	"github.com/paulmach/orb"

	"fallwright/geo/unit"
)

// Level is an elevation with its standard error (one standard deviation).
type Level struct {
	Elevation unit.Elevation
	StdErr    unit.Length
}

// Gradient is the steepest descent at a place: Slope is its fall over run,
// never negative, Down the unit vector that points downhill (zero on a flat).
type Gradient struct {
	Slope unit.Slope
	Down  orb.Point
}

// Surface is the ground of a site. Implementations are safe for use by several
// goroutines at once.
type Surface interface {
	// At gives the level at a point; false outside the surface.
	At(p orb.Point) (Level, bool)
	// Along gives the profile of the surface under a line.
	Along(line orb.LineString) Profile
	// Gradient gives the steepest descent at a point; false outside.
	Gradient(p orb.Point) (Gradient, bool)
	// Bounds is the box of the surface; not all of it need be covered.
	Bounds() orb.Bound
}

// Station is one point of a profile, Distance metres along the line.
type Station struct {
	Distance  unit.Length
	At        orb.Point
	Elevation unit.Elevation
	StdErr    unit.Length
}

// Gap is a stretch of a line that lies outside the surface.
type Gap struct {
	From, To unit.Length
}

// Profile is the ground along a line: a station at each vertex of the line,
// at each break of the surface (each edge of a triangle that is crossed) and
// where the standard error is greatest between two of them. Between
// neighbouring stations the ground is straight, unless a gap lies there.
// Stations stand in order of distance, no two at the same; a gap begins and
// ends where the surface does.
type Profile struct {
	Length   unit.Length
	Stations []Station
	Gaps     []Gap
}

// Complete says whether the whole line lies on the surface.
func (p Profile) Complete() bool { return len(p.Gaps) == 0 && len(p.Stations) > 0 }

// At gives the level d along the line; false in a gap or beyond the ends.
func (p Profile) At(d unit.Length) (Level, bool) {
	s := p.Stations
	for _, g := range p.Gaps {
		if d > g.From && d < g.To {
			return Level{}, false
		}
	}
	i := sort.Search(len(s), func(i int) bool { return s[i].Distance >= d })
	switch {
	case i == len(s):
		return Level{}, false
	case s[i].Distance == d:
		return Level{s[i].Elevation, s[i].StdErr}, true
	case i == 0:
		return Level{}, false
	}
	a, b := s[i-1], s[i]
	f := float64((d - a.Distance) / (b.Distance - a.Distance))
	return Level{
		a.Elevation + unit.Elevation(f*float64(b.Elevation-a.Elevation)),
		a.StdErr + unit.Length(f*float64(b.StdErr-a.StdErr)),
	}, true
}

// Lowest and Highest give the extreme stations; false for an empty profile.
func (p Profile) Lowest() (Station, bool) {
	return p.extreme(func(a, b Station) bool { return a.Elevation < b.Elevation })
}

// Highest gives the highest station; false for an empty profile.
func (p Profile) Highest() (Station, bool) {
	return p.extreme(func(a, b Station) bool { return a.Elevation > b.Elevation })
}

func (p Profile) extreme(better func(a, b Station) bool) (best Station, ok bool) {
	for i, s := range p.Stations {
		if i == 0 || better(s, best) {
			best, ok = s, true
		}
	}
	return best, ok
}
