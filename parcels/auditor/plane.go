package auditor

// Plain geometry that the checks share and that no room of geo has: the
// stretches of a line outside an area.

import (
	"math"
	"slices"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
	"fallwright/geo/unit"
)

// stretch is a part of a line by distance from its start.
type stretch struct{ from, to unit.Length }

func (s stretch) length() unit.Length { return s.to - s.from }

// cuts are the places along a line where it may pass from one side of an
// area's boundary to the other, ends included, rising.
func cuts(l orb.LineString, mp orb.MultiPolygon) []float64 {
	out := []float64{0}
	at := 0.0
	for i := 1; i < len(l); i++ {
		a, b := l[i-1], l[i]
		n := math.Hypot(b[0]-a[0], b[1]-a[1])
		box := orb.Bound{Min: orb.Point{math.Min(a[0], b[0]), math.Min(a[1], b[1])}, Max: orb.Point{math.Max(a[0], b[0]), math.Max(a[1], b[1])}}
		for _, poly := range mp {
			for _, r := range poly {
				for k := 1; k < len(r); k++ {
					if math.Max(r[k-1][0], r[k][0]) < box.Min[0] || math.Min(r[k-1][0], r[k][0]) > box.Max[0] ||
						math.Max(r[k-1][1], r[k][1]) < box.Min[1] || math.Min(r[k-1][1], r[k][1]) > box.Max[1] {
						continue
					}
					m, p := shape.Cross(a, b, r[k-1], r[k])
					switch m {
					case shape.Apart:
					case shape.Overlapping:
						for _, v := range []orb.Point{r[k-1], r[k]} {
							if d, q := shape.PointSegment(v, a, b); d < 1e-9 {
								out = append(out, at+math.Hypot(q[0]-a[0], q[1]-a[1]))
							}
						}
					default:
						out = append(out, at+math.Hypot(p[0]-a[0], p[1]-a[1]))
					}
				}
			}
		}
		at += n
		out = append(out, at)
	}
	slices.Sort(out)
	return out
}

// parts splits a line into the stretches whose middles are placed in an area as
// asked, neighbours joined.
func parts(l orb.LineString, mp orb.MultiPolygon, want func(shape.Place) bool) []stretch {
	var out []stretch
	c := cuts(l, mp)
	for i := 1; i < len(c); i++ {
		if c[i]-c[i-1] < 1e-9 {
			continue
		}
		mid := shape.PointAt(l, unit.Length((c[i]+c[i-1])/2))
		if !want(shape.Locate(mid, mp)) {
			continue
		}
		if n := len(out); n > 0 && out[n-1].to == unit.Length(c[i-1]) {
			out[n-1].to = unit.Length(c[i])
			continue
		}
		out = append(out, stretch{unit.Length(c[i-1]), unit.Length(c[i])})
	}
	return out
}

// outside are the stretches of a line beyond an area; a stretch on the boundary
// is inside.
func outside(l orb.LineString, mp orb.MultiPolygon) []stretch {
	return parts(l, mp, func(p shape.Place) bool { return p == shape.Outside })
}

// within are the stretches inside an area or on its boundary.
func within(l orb.LineString, mp orb.MultiPolygon) []stretch {
	return parts(l, mp, func(p shape.Place) bool { return p != shape.Outside })
}

func total(s []stretch) unit.Length {
	var t unit.Length
	for _, x := range s {
		t += x.length()
	}
	return t
}

// ringLine is an area's outer boundary part by part as lines.
func ringLines(mp orb.MultiPolygon) []orb.LineString {
	var out []orb.LineString
	for _, p := range mp {
		for _, r := range p {
			out = append(out, orb.LineString(r))
		}
	}
	return out
}

func dist(a, b orb.Point) float64 { return math.Hypot(a[0]-b[0], a[1]-b[1]) }

// round4 rounds to a tenth of a millimetre, and never to a negative nought.
func round4[T ~float64](v T) T { return roundTo(v, 1e4) }

func roundTo[T ~float64](v T, per float64) T {
	r := math.Round(float64(v)*per) / per
	if r == 0 {
		return 0
	}
	return T(r)
}

func ptr[T any](v T) *T { return &v }
