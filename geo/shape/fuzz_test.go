package shape

// Any rings through Check and Clean: no panic, and what is called valid stays
// valid when it is cleaned, begun at another vertex or run the other way.

import (
	"encoding/binary"
	"math"
	"slices"
	"testing"

	"github.com/paulmach/orb"
)

// rings reads bytes as polygons: a control byte, then a position. Positions are
// on a coarse grid (so that rings touch and overlap), in between, or any
// float64 at all.
func rings(b []byte) orb.MultiPolygon {
	mp := orb.MultiPolygon{{{}}}
	for len(b) >= 3 {
		c := b[0]
		var p orb.Point
		switch {
		case c&3 == 3 && len(b) >= 17:
			p = orb.Point{math.Float64frombits(binary.LittleEndian.Uint64(b[1:])), math.Float64frombits(binary.LittleEndian.Uint64(b[9:]))}
			b = b[17:]
		case c&3 == 2 && len(b) >= 5:
			p = orb.Point{float64(int16(binary.LittleEndian.Uint16(b[1:]))) / 1000, float64(int16(binary.LittleEndian.Uint16(b[3:]))) / 1000}
			b = b[5:]
		default:
			p = orb.Point{float64(int8(b[1])), float64(int8(b[2]))}
			b = b[3:]
		}
		poly := &mp[len(mp)-1]
		ring := &(*poly)[len(*poly)-1]
		*ring = append(*ring, p)
		if c&4 != 0 && c&8 == 0 && len(*ring) > 2 { // close it
			*ring = append(*ring, (*ring)[0])
		}
		if c&16 != 0 {
			if c&32 != 0 {
				mp = append(mp, orb.Polygon{{}})
			} else {
				*poly = append(*poly, orb.Ring{})
			}
		}
	}
	return mp
}

func FuzzCheck(f *testing.F) {
	square := []byte{0, 0, 0, 0, 9, 0, 0, 9, 9, 4, 0, 9}
	f.Add(square)
	f.Add(append(slices.Clone(square[:9]), 20, 0, 9, 0, 2, 2, 0, 2, 4, 4, 4, 4))       // with a hole
	f.Add(append(slices.Clone(square[:9]), 52, 0, 9, 0, 9, 9, 0, 20, 9, 4, 20, 20))    // two parts that touch
	f.Add([]byte{0, 0, 0, 0, 9, 9, 0, 9, 0, 4, 0, 9})                                  // a bow-tie
	f.Add([]byte{3, 0, 0, 0, 0, 0, 0, 0xf0, 0x7f, 0, 0, 0, 0, 0, 0, 0, 0, 4, 1, 1})    // an infinity
	f.Add([]byte{2, 1, 0, 0, 0, 2, 2, 0, 0, 0, 2, 2, 0, 1, 0, 6, 1, 0, 1, 0, 0, 0, 0}) // a millimetre across
	f.Fuzz(func(t *testing.T, b []byte) {
		if len(b) > 6000 {
			return
		}
		mp := rings(b)
		faults := Check(mp)
		if len(faults) > MaxFaults {
			t.Fatalf("%d faults", len(faults))
		}
		for _, e := range faults {
			if e.Rule == "" || e.Error() == "" {
				t.Fatalf("a fault that says nothing: %+v", e)
			}
		}
		if len(faults) > 0 {
			return
		}
		if b := mp.Bound(); max(-b.Min[0], -b.Min[1], b.Max[0], b.Max[1]) > 1e8 {
			return // further than any plane of a site: no more is promised than an end
		}
		// the same shape, told otherwise
		other := orb.MultiPolygon{}
		for _, p := range mp {
			q := orb.Polygon{}
			for _, r := range p {
				k := len(r) / 2
				s := append(slices.Clone(r[k:]), r[1:k+1]...)
				slices.Reverse(s)
				q = append(q, s)
			}
			other = append(other, q)
		}
		if bad := Check(other); len(bad) > 0 {
			t.Fatalf("valid, but not when begun elsewhere and run backward: %v\n%v", bad[0], mp)
		}
		c, bad := Clean(mp)
		if len(bad) > 0 {
			return // too small once welded: refused, with the place
		}
		if bad := Check(c.Shape); len(bad) > 0 {
			t.Fatalf("clean, and not valid: %v\n%v\n%v", bad[0], mp, c.Shape)
		}
		if a := Area(c.Shape); !(a > 0) {
			t.Fatalf("clean, and its area is %v", a)
		}
		again, bad := Clean(c.Shape)
		if len(bad) > 0 || !again.Shape.Equal(c.Shape) {
			t.Fatalf("cleaned twice is something else: %v\n%v\n%v", bad, c.Shape, again.Shape)
		}
	})
}
