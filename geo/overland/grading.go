package overland

// Whether the ground falls as it should: at the foundation, along a swale, in
// front of a house, and where a clogged grate would send its water. Results
// only; what is too little is the caller's to say.

import (
	"fmt"
	"maps"
	"math"
	"slices"

	"github.com/paulmach/orb"

	"fallwright/geo/ground"
	"fallwright/geo/shape"
	"fallwright/geo/unit"
)

// WallFall is how the ground falls away from one wall, at its worst place.
type WallFall struct {
	Part, Edge int       // of the outer ring: the wall from vertex Edge on
	At         orb.Point // on the wall
	End        orb.Point // where the measured stretch ends
	// Over is the stretch, square to the wall: as asked, or shorter where a lot
	// line or another wall comes first (Cut).
	Over unit.Length
	Cut  bool
	// Fall is the ground at the wall less the ground at the end, negative where
	// it rises; Slope is Fall over Over; StdErr that of Fall.
	Fall   unit.Length
	Slope  unit.Slope
	StdErr unit.Length
	// Crest is how far the highest ground in between stands above the ground at
	// the wall: water held against it whatever the fall beyond. 0: none.
	Crest unit.Length
	// Places is how many places along the wall were measured, Unknown how many
	// have no ground; where all are unknown the numbers above mean nothing.
	Places, Unknown int
}

// FoundationFall measures the fall away from each wall of a house over a
// stretch (10 ft for IRC R401.3), square to the wall, at places no further
// apart than every, the wall's middle at least. within is the lot (nil: no line
// to stop at), others are other houses. The result has one entry a wall with
// an open outer side.
func FoundationFall(s ground.Surface, house, within orb.MultiPolygon, others []orb.MultiPolygon, over, every unit.Length) []WallFall {
	var stops []orb.Ring
	for _, mp := range append([]orb.MultiPolygon{within, house}, others...) {
		for _, poly := range mp {
			stops = append(stops, poly...)
		}
	}
	var out []WallFall
	for part, poly := range house {
		ring := poly[0]
		side := 1.0 // the outer side of a counter-clockwise ring is the right
		if shape.RingArea(ring) < 0 {
			side = -1
		}
		for k := 1; k < len(ring); k++ {
			a, b := ring[k-1], ring[k]
			n := math.Hypot(b[0]-a[0], b[1]-a[1])
			if n < float64(shape.Weld) {
				continue
			}
			w := WallFall{Part: part, Edge: k - 1}
			nx, ny := side*(b[1]-a[1])/n, -side*(b[0]-a[0])/n
			places := max(1, int(math.Ceil(n/float64(every))))
			worst := math.Inf(1)
			for m := 0; m < places; m++ {
				t := (float64(m) + 0.5) / float64(places)
				p := orb.Point{a[0] + t*(b[0]-a[0]), a[1] + t*(b[1]-a[1])}
				d, cut := clear(p, orb.Point{nx, ny}, float64(over), stops)
				if d < 0.05 { // wall on wall, or on the line
					continue
				}
				w.Places++
				end := orb.Point{p[0] + d*nx, p[1] + d*ny}
				prof := s.Along(orb.LineString{p, end})
				if !prof.Complete() {
					w.Unknown++
					continue
				}
				first, last := prof.Stations[0], prof.Stations[len(prof.Stations)-1]
				fall := float64(first.Elevation - last.Elevation)
				top, _ := prof.Highest()
				if v := fall / d; v < worst {
					worst = v
					w.At, w.End, w.Over, w.Cut = p, end, unit.Length(d), cut
					w.Fall, w.Slope = unit.Length(fall), unit.Slope(v)
					w.StdErr = unit.Length(math.Hypot(float64(first.StdErr), float64(last.StdErr)))
					w.Crest = top.Elevation.Above(first.Elevation)
				}
			}
			if w.Places > 0 {
				out = append(out, w)
			}
		}
	}
	return out
}

// clear is how far one can go from p in a direction, at most far, before a ring
// is met; a start on the ring itself is not met.
func clear(p, dir orb.Point, far float64, rings []orb.Ring) (float64, bool) {
	best, cut := far, false
	for _, r := range rings {
		for k := 1; k < len(r); k++ {
			a, b := r[k-1], r[k]
			ex, ey := b[0]-a[0], b[1]-a[1]
			den := dir[0]*ey - dir[1]*ex
			if den == 0 {
				continue
			}
			t := ((a[0]-p[0])*ey - (a[1]-p[1])*ex) / den
			u := ((a[0]-p[0])*dir[1] - (a[1]-p[1])*dir[0]) / den
			if u >= 0 && u <= 1 && t > float64(shape.Weld) && t < best {
				best, cut = t, true
			}
		}
	}
	return best, cut
}

// Sag is a low point of a line from which water cannot run on along it.
type Sag struct {
	At       orb.Point
	Distance unit.Length // of the lowest point
	From, To unit.Length // where the water stands when it is full
	Depth    unit.Length // under the lower of the two crests
	Level    unit.Elevation
}

// LineFall is how the ground falls along a line drawn downstream.
type LineFall struct {
	Fall  unit.Length // first less last ground
	Slope unit.Slope  // Fall over length
	// Least is the least slope over any stretch of at least the span asked, and
	// the stretch; the whole line where it is shorter.
	Least              unit.Slope
	LeastFrom, LeastTo unit.Length
	StdErr             unit.Length // of the fall over that stretch
	Sags               []Sag       // at least as deep as asked, in order
}

// Along measures the fall along a line drawn downstream (a swale's flow line),
// from its profile. span keeps the noise of single shots out of the least
// slope: 7.6 m (25 ft) is the common spacing of shots along a swale. The error
// tells a profile with gaps or without length.
func Along(p ground.Profile, span, depth unit.Length) (LineFall, error) {
	if !p.Complete() || len(p.Stations) < 2 {
		where := ""
		if len(p.Gaps) > 0 {
			where = fmt.Sprintf(": no ground from %.2f to %.2f m", float64(p.Gaps[0].From), float64(p.Gaps[0].To))
		}
		return LineFall{}, fmt.Errorf("overland: the line is not on the ground all the way%s", where)
	}
	s := p.Stations
	last := s[len(s)-1]
	r := LineFall{Fall: s[0].Elevation.Above(last.Elevation)}
	r.Slope = unit.Grade(r.Fall, p.Length)
	// The slope over a stretch of straight pieces is least where one end is a
	// station and the other a station or the span away.
	least := math.Inf(1)
	try := func(from, to unit.Length) {
		a, ok1 := p.At(from)
		b, ok2 := p.At(to)
		if !ok1 || !ok2 || to <= from {
			return
		}
		if v := float64(a.Elevation-b.Elevation) / float64(to-from); v < least {
			least = v
			r.LeastFrom, r.LeastTo = from, to
			r.StdErr = unit.Length(math.Hypot(float64(a.StdErr), float64(b.StdErr)))
		}
	}
	start, end := s[0].Distance, last.Distance
	if end-start <= span {
		try(start, end)
	} else {
		for _, st := range s {
			d := st.Distance
			try(min(d, end-span), min(d, end-span)+span)
			try(max(d, start+span)-span, max(d, start+span))
		}
		// longer stretches between two stations within twice the span: beyond,
		// one of its halves is no steeper
		for i := range s {
			for k := i + 1; k < len(s) && s[k].Distance-s[i].Distance <= 2*span; k++ {
				if s[k].Distance-s[i].Distance >= span {
					try(s[i].Distance, s[k].Distance)
				}
			}
		}
	}
	r.Least = unit.Slope(least)
	r.Sags = sags(s, depth)
	return r, nil
}

// sags fills a profile between its ends, both open.
func sags(s []ground.Station, depth unit.Length) []Sag {
	n := len(s)
	level := make([]unit.Elevation, n) // the lower of the crests to both sides
	crest := s[0].Elevation
	for i := range s {
		crest = max(crest, s[i].Elevation)
		level[i] = crest
	}
	crest = s[n-1].Elevation
	for i := n - 1; i >= 0; i-- {
		crest = max(crest, s[i].Elevation)
		level[i] = min(level[i], crest)
	}
	var out []Sag
	for i := 0; i < n; i++ {
		if !(level[i] > s[i].Elevation) {
			continue
		}
		low, k := i, i
		for ; k < n && level[k] > s[k].Elevation; k++ {
			if s[k].Elevation < s[low].Elevation {
				low = k
			}
		}
		at := func(a, b ground.Station) unit.Length { // where the level meets the ground between two stations
			f := float64((level[i] - a.Elevation) / (b.Elevation - a.Elevation))
			return a.Distance + unit.Length(f)*(b.Distance-a.Distance)
		}
		g := Sag{At: s[low].At, Distance: s[low].Distance, Level: level[low], Depth: level[low].Above(s[low].Elevation),
			From: at(s[i-1], s[i]), To: at(s[k-1], s[k])}
		if g.Depth >= depth {
			out = append(out, g)
		}
		i = k
	}
	return out
}

// Standing is a pond that reaches a house.
type Standing struct {
	Pond  int         // index
	House int         // index
	At    orb.Point   // the deepest place at the wall
	Depth unit.Length // there
}

// AgainstHouses lists the ponds that stand against a house: a cell of the pond
// shares an edge or a corner with a cell of the house.
func (w *Water) AgainstHouses(ponds []Pond, houses []orb.MultiPolygon) []Standing {
	owner := map[int]int{}
	for h := len(houses) - 1; h >= 0; h-- {
		eachCell(w.Grid, houses[h], func(i int) { owner[i] = h })
	}
	if len(owner) == 0 {
		return nil
	}
	var out []Standing
	for k, p := range ponds {
		deepest := map[int]int{} // house -> cell
		for _, u := range p.Runs {
			for i := u.First; i <= u.Last; i++ {
				for d := 0; d < 8; d++ {
					j, ok := w.neighbour(i%w.Grid.Cols, i/w.Grid.Cols, d)
					if !ok {
						continue
					}
					h, at := owner[j]
					if !at {
						continue
					}
					if best, ok := deepest[h]; !ok || w.deep(i) > w.deep(best) {
						deepest[h] = i
					}
				}
			}
		}
		for _, h := range slices.Sorted(maps.Keys(deepest)) {
			i := deepest[h]
			out = append(out, Standing{Pond: k, House: h, At: w.Centre(i), Depth: w.deep(i)})
		}
	}
	return out
}

// Overflow is where water goes when a grate takes none.
type Overflow struct {
	// Level is that of the water over the grate when it runs on, Depth how deep
	// it then stands there; the ground's and 0 where no water can stand.
	Level unit.Elevation
	Depth unit.Length
	Pond  *Pond          // nil: the water runs past
	Path  orb.LineString // from the sill, or the grate, down
	// Lots are those the path touches, in its order; Houses those that the
	// pond or the path touches.
	Lots, Houses []int
	// Off is the least distance of the path from a house; infinite without one.
	Off unit.Length
}

// Clogged works the ground again with one of its drains shut. The error is
// Flow's, or tells a drain that is not there.
func Clogged(in Input, drain int, lots, houses []orb.MultiPolygon) (Overflow, error) {
	if drain < 0 || drain >= len(in.Drains) {
		return Overflow{}, fmt.Errorf("overland: there is no drain %d", drain)
	}
	at := in.Drains[drain]
	open := in
	open.Drains = append(append([]orb.Point(nil), in.Drains[:drain]...), in.Drains[drain+1:]...)
	f, err := Flow(open)
	if err != nil {
		return Overflow{}, err
	}
	c, r, ok := f.Grid.Cell(at)
	i := r*f.Grid.Cols + c
	if !ok || !f.Wet(i) {
		return Overflow{}, fmt.Errorf("overland: drain %d at %.2f, %.2f m stands where there is no open ground", drain, at[0], at[1])
	}
	o := Overflow{Level: unit.Elevation(f.Filled[i]), Depth: f.deep(i), Off: unit.Length(math.Inf(1))}
	touched := map[int]bool{}
	if p, wet := f.PondAt(i); wet {
		o.Pond = &p
		for _, s := range f.AgainstHouses([]Pond{p}, houses) {
			touched[s.House] = true
		}
		if p.Sill >= 0 {
			o.Path = f.Path(p.Sill)
		}
	} else {
		o.Path = f.Path(i)
	}
	// A path runs from cell to cell: it touches what is within a cell of it.
	reach := unit.Length(math.Hypot(f.Grid.CellX, f.Grid.CellY) / 2)
	for h, mp := range houses {
		if len(o.Path) < 2 {
			break
		}
		d, _, _ := shape.LineBoundary(o.Path, mp)
		o.Off = min(o.Off, d)
		if d <= reach {
			touched[h] = true
		}
	}
	for h := range houses {
		if touched[h] {
			o.Houses = append(o.Houses, h)
		}
	}
	o.Lots = passes(o.Path, lots, math.Min(f.Grid.CellX, f.Grid.CellY)/2)
	return o, nil
}

// passes lists the areas that a line touches, in its order, each once, looking
// every step along it.
func passes(line orb.LineString, areas []orb.MultiPolygon, step float64) []int {
	var out []int
	seen := map[int]bool{}
	look := func(p orb.Point) {
		for k, a := range areas {
			if !seen[k] && shape.Locate(p, a) != shape.Outside {
				seen[k] = true
				out = append(out, k)
			}
		}
	}
	for i := 1; i < len(line); i++ {
		a, b := line[i-1], line[i]
		n := max(1, int(math.Ceil(math.Hypot(b[0]-a[0], b[1]-a[1])/step)))
		for k := 0; k <= n; k++ {
			t := float64(k) / float64(n)
			look(orb.Point{a[0] + t*(b[0]-a[0]), a[1] + t*(b[1]-a[1])})
		}
	}
	return out
}
