package zone

// Any rings as a lot and as a thing in it through Trench, CentreLine and
// CheckLine: a zone that keeps its clearances, or an error about the shape.

import (
	"encoding/binary"
	"errors"
	"math"
	"testing"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
	"fallwright/geo/unit"
)

// positions reads two bytes (whole metres) or, after 0x80, four (millimetres)
// as a position.
func positions(b []byte) []orb.Point {
	var out []orb.Point
	for len(b) >= 2 {
		if b[0] == 0x80 && len(b) >= 5 {
			out = append(out, orb.Point{float64(int16(binary.LittleEndian.Uint16(b[1:]))) / 1000, float64(int16(binary.LittleEndian.Uint16(b[3:]))) / 1000})
			b = b[5:]
			continue
		}
		out = append(out, orb.Point{float64(int8(b[0])), float64(int8(b[1]))})
		b = b[2:]
	}
	return out
}

// asked holds that an error is about what was handed in.
func asked(t *testing.T, err error) {
	var bad *shape.InvalidError
	if !errors.As(err, &bad) {
		t.Fatalf("refused, and not as a shape: %v", err)
	}
}

func FuzzTrench(f *testing.F) {
	lot := []byte{0, 0, 30, 0, 30, 40, 0, 40}
	f.Add(lot, []byte{8, 10, 20, 10, 20, 20, 8, 20}, []byte{2, 2, 2, 38, 28, 38}, uint16(610), uint16(914), uint16(305))
	f.Add(lot, []byte{30, 0, 40, 0, 40, 9}, []byte{0, 0, 30, 40}, uint16(0), uint16(0), uint16(0))
	f.Add([]byte{0, 0, 60, 0, 60, 2, 4, 2, 4, 50, 0, 50}, []byte{2, 1}, []byte{1, 1, 59, 1}, uint16(999), uint16(10), uint16(300))
	f.Add([]byte{0, 0, 5, 1, 10, 0, 5, 2}, []byte{5, 1, 6, 1}, []byte{1, 1}, uint16(100), uint16(100), uint16(100))
	f.Add([]byte{0, 0, 0x80, 0x10, 0x27, 1, 0, 20, 0, 20, 20, 0, 20}, []byte{}, []byte{1, 1, 19, 19}, uint16(610), uint16(0), uint16(150))
	f.Fuzz(func(t *testing.T, a, thing, way []byte, clear, keep, width uint16) {
		if len(a) > 160 || len(thing) > 80 || len(way) > 80 {
			return
		}
		mm := func(v uint16) unit.Length { return unit.Length(v) / 1000 }
		ring := orb.Ring(positions(a))
		if len(ring) > 0 {
			ring = append(ring, ring[0])
		}
		lot := Lot{Shape: orb.MultiPolygon{{ring}}, Clearance: mm(clear)}
		var out []KeepOut
		if ps := positions(thing); len(ps) > 0 {
			var g orb.Geometry
			switch len(ps) {
			case 1:
				g = ps[0]
			case 2:
				g = orb.LineString(ps)
			default:
				g = orb.Polygon{append(orb.Ring(ps), ps[0])}
			}
			out = []KeepOut{{ID: "h", Kind: Building, Geometry: g, Clearance: mm(keep)}}
		}
		c, err := CheckLine(positions(way), mm(width), lot, out, 0.15)
		if err != nil {
			asked(t, err)
		} else {
			if c.Inside && float64(c.LeastClearance) < float64(lot.Clearance)-1e-6 || c.LengthOutside > c.Length+1e-6 || c.LengthOffLot > c.LengthOutside+1e-6 ||
				math.IsNaN(float64(c.LeastClearance)) || c.Inside != (len(c.Stretches) == 0) {
				t.Fatalf("a line that contradicts itself: %+v", c)
			}
		}
		for _, w := range []unit.Length{0, mm(width)} {
			z, err := CentreLine(lot, out, w)
			if w == 0 {
				z, err = Trench(lot, out)
			}
			if err != nil {
				asked(t, err)
				return
			}
			faults := shape.Check(lot.Shape)
			for _, k := range out {
				faults = append(faults, shape.Check(k.Geometry)...)
			}
			if len(faults) > 0 {
				t.Fatalf("a zone, and %v", faults[0])
			}
			if (z.Area > 0) == (z.EmptyReason != "") || (z.Area > 0) != (len(z.Shape) > 0) || z.Area > shape.Area(lot.Shape)+1e-6 {
				t.Fatalf("%v m2 in %d pieces, and the reason is %q", z.Area, len(z.Shape), z.EmptyReason)
			}
			if len(z.Shape) == 0 {
				continue
			}
			if bad := shape.Check(z.Shape); len(bad) > 0 {
				t.Fatalf("the zone is not valid: %v\n%v", bad[0], z.Shape)
			}
			for _, p := range z.Shape {
				for _, r := range p {
					for _, v := range r {
						if d, _, _ := shape.LineBoundary(orb.LineString{v, v}, lot.Shape); float64(d) < float64(lot.Clearance+w/2)-1e-6 || shape.Locate(v, lot.Shape) == shape.Outside && d > 1e-6 {
							t.Fatalf("the zone has %v, %v m from the lot line, and %v is asked", v, d, lot.Clearance+w/2)
						}
						for _, k := range out {
							d, err := Between(k.Geometry, orb.LineString{v, v})
							if err == nil && float64(d) < float64(k.Clearance+w/2)-1e-6 {
								t.Fatalf("the zone has %v, %v m from the thing, and %v is asked", v, d, k.Clearance+w/2)
							}
						}
					}
				}
			}
		}
	})
}
