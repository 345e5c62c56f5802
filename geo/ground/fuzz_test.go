package ground

// Any shots and lines through Triangulate: a surface that fills its outline and
// goes through its shots, or an input error.

import (
	"errors"
	"math"
	"testing"

	"github.com/paulmach/orb"

	"fallwright/geo/unit"
)

func FuzzTriangulate(f *testing.F) {
	f.Add([]byte{0, 0, 0, 0, 9, 0, 0, 0, 9, 0, 9, 9}, uint16(0), uint16(0))
	f.Add([]byte{0, 0, 0, 0, 4, 4, 0, 8, 8, 0, 8, 0, 64, 1, 7, 65, 7, 1}, uint16(3), uint16(500)) // with a line
	f.Add([]byte{0, 0, 0, 0, 1, 0, 0, 2, 0, 0, 3, 0}, uint16(0), uint16(0))                       // on one line
	f.Add([]byte{128, 0, 0, 129, 0, 0, 130, 0, 1, 128, 9, 9, 0, 40, 40}, uint16(1), uint16(1))    // a millimetre apart
	f.Fuzz(func(t *testing.T, b []byte, east, seed uint16) {
		if len(b) > 900 {
			return
		}
		off := float64(east) * 1000 // a state plane's great numbers
		var shots []Shot
		var lines []Line
		slack := 1e-6 // of the area, m2
		for i := 0; i+2 < len(b); i += 3 {
			p := orb.Point{off + float64(int8(b[i+1])), float64(int8(b[i+2]))}
			if b[i]&128 != 0 { // places closer than the weld: the outline may give by a millimetre
				slack = 1.2
				p = orb.Point{off + float64(b[i]&63)*0.0007 + float64(int8(b[i+1])), float64(int8(b[i+2])) * 1e-4}
			}
			z := unit.Elevation(p[1]*0.02 + (p[0]-off)*0.03) // one plane: crossings agree
			switch {
			case b[i]&64 == 0:
				shots = append(shots, Shot{At: p, Z: z, SD: unit.Length(float64(seed%7) / 100)})
			case b[i]&1 != 0 && len(lines) > 0:
				l := &lines[len(lines)-1]
				l.Path, l.Z = append(l.Path, p), append(l.Z, z)
			default:
				lines = append(lines, Line{Path: orb.LineString{p}, Z: []unit.Elevation{z}, SD: 0.01})
			}
		}
		s, err := Triangulate(shots, lines)
		if err != nil {
			var in *InputError
			if !errors.As(err, &in) {
				t.Fatalf("refused, and not as input: %v", err)
			}
			return
		}
		area := 0.0
		for _, tr := range s.Triangles() {
			a, b, c := tr.At[0], tr.At[1], tr.At[2]
			d := (b[0]-a[0])*(c[1]-a[1]) - (b[1]-a[1])*(c[0]-a[0])
			if d < 0 {
				t.Fatalf("a triangle runs clockwise: %v", tr.At)
			}
			area += d / 2
		}
		var all orb.MultiPoint
		for _, x := range shots {
			all = append(all, x.At)
		}
		for _, l := range lines {
			all = append(all, orb.MultiPoint(l.Path)...)
		}
		if want := hullArea(all); math.Abs(area-want) > slack+1e-9*want {
			t.Fatalf("the triangles cover %v of %v m2", area, want)
		}
		for _, x := range shots {
			if l, ok := s.At(x.At); ok && math.Abs(float64(l.Elevation-x.Z)) > 0.005 {
				t.Fatalf("at the shot %v: %v, measured %v", x.At, l.Elevation, x.Z)
			}
		}
	})
}

// hullArea is the area of the convex hull by gift wrapping: slow and plain.
func hullArea(ps orb.MultiPoint) float64 {
	at := ps[0]
	for _, p := range ps {
		if p[0] < at[0] || p[0] == at[0] && p[1] < at[1] {
			at = p
		}
	}
	first, area := at, 0.0
	for range ps {
		next := at
		for _, p := range ps {
			c := (next[0]-at[0])*(p[1]-at[1]) - (next[1]-at[1])*(p[0]-at[0])
			if next == at || c < 0 || c == 0 && math.Hypot(p[0]-at[0], p[1]-at[1]) > math.Hypot(next[0]-at[0], next[1]-at[1]) {
				next = p
			}
		}
		area += (at[0]-first[0])*(next[1]-first[1]) - (at[1]-first[1])*(next[0]-first[0])
		if at = next; at == first {
			break
		}
	}
	return area / 2
}
