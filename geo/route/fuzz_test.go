package route

// Any zone, sources and targets through Solve: a tree that keeps every rule, a
// reason, or a fault of the problem.

import (
	"errors"
	"math"
	"testing"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
	"fallwright/geo/unit"
)

func FuzzSolve(f *testing.F) {
	yard := []byte{0, 0, 120, 0, 120, 120, 0, 120}
	f.Add(int64(-1), yard, []byte{40, 40, 80, 40, 80, 80, 40, 80}, []byte{10, 10, 1, 60, 20, 2, 90, 90, 0}, []byte{60, 118, 3, 10, 119, 0}, uint8(0))
	f.Add(int64(-1), yard, []byte{}, []byte{10, 10, 4, 10, 10, 4}, []byte{10, 10, 0}, uint8(3)) // all on one place
	f.Add(int64(-1), []byte{0, 0, 60, 0, 60, 1, 0, 1}, []byte{}, []byte{1, 0, 0, 59, 1, 0}, []byte{30, 1, 9}, uint8(1))
	f.Add(int64(3), []byte{}, []byte{}, []byte{20, 40, 0}, []byte{70, 70, 9}, uint8(2))
	f.Add(int64(8), []byte{}, []byte{}, []byte{}, []byte{}, uint8(4))
	f.Fuzz(func(t *testing.T, seed int64, outer, hole, sources, targets []byte, kind uint8) {
		if len(outer) > 60 || len(hole) > 40 || len(sources) > 24 || len(targets) > 12 {
			return
		}
		at := func(b []byte) orb.Point { return orb.Point{float64(int8(b[0])) / 4, float64(int8(b[1])) / 4} }
		ring := func(b []byte) orb.Ring {
			var r orb.Ring
			for i := 0; i+1 < len(b); i += 2 {
				r = append(r, at(b[i:]))
			}
			if len(r) > 0 {
				r = append(r, r[0])
			}
			return r
		}
		p := &Problem{Rules: DefaultRules(), Prices: testPrices, Effort: 8}
		if seed >= 0 {
			*p = newLot(seed%500, 2+int(kind)%4).problem
			p.Effort = 8
		} else {
			p.Zone = orb.MultiPolygon{{ring(outer)}}
			if h := ring(hole); len(h) > 0 {
				p.Zone[0] = append(p.Zone[0], h)
			}
		}
		for i := 0; i+2 < len(sources); i += 3 {
			s := Source{ID: string(rune('a' + i)), At: at(sources[i:]), Basin: sources[i+2]&1 != 0, LeadOff: sources[i+2]&2 != 0}
			if s.LeadOff {
				s.LeadOffWithin = orb.MultiPolygon{{rect(-40, -40, 40, 40)}}
			}
			if sources[i+2]&4 != 0 {
				s.From = &orb.Point{s.At[0] - 1, s.At[1]}
			}
			p.Sources = append(p.Sources, s)
		}
		for i := 0; i+2 < len(targets); i += 3 {
			p.Targets = append(p.Targets, Target{ID: string(rune('A' + i)), At: at(targets[i:]), Reach: unit.Length(targets[i+2]) / 10,
				LastRunWithin: orb.MultiPolygon{{rect(-40, -40, 40, 40)}}})
		}
		if kind&8 != 0 {
			p.Choice = Cheapest
		}
		if kind&16 != 0 && len(outer) >= 4 {
			p.Kept = []orb.LineString{{at(outer), at(outer[2:])}}
		}
		if kind&32 != 0 {
			p.Regions = []Region{{Name: "drive", Shape: orb.MultiPolygon{{rect(3, 3, 20, 9)}}, PerMetre: 4, Each: 2}}
		}
		p.Prove = kind&64 != 0
		r, err := Solve(p)
		if err != nil {
			var bad *shape.InvalidError
			var fault *Fault
			if !errors.As(err, &bad) && !errors.As(err, &fault) {
				t.Fatalf("refused, and not as a problem: %v", err)
			}
			return
		}
		for _, a := range r.Alternatives {
			if a.Tree == nil && a.Reason == "" {
				t.Fatalf("target %d has no tree and no reason", a.Target)
			}
			if a.Tree == nil {
				continue
			}
			if broken := Check(p, a.Tree); len(broken) > 0 {
				t.Fatalf("a tree that breaks a rule: %v", broken)
			}
			if c := a.Tree.Cost; math.IsNaN(c) || math.IsInf(c, 0) || c < 0 {
				t.Fatalf("a tree that costs %v", c)
			}
		}
		if r.Best == nil && len(r.Unreached) == 0 && len(r.Alternatives) == 0 && len(p.Targets) > 0 && len(p.Sources) > 0 {
			t.Fatal("nothing, and no reason")
		}
		if r.Best != nil && r.Bound != nil && r.Bound.Cost > r.Best.Cost*(1+1e-9) {
			t.Fatalf("the bound %v lies over the price %v", r.Bound.Cost, r.Best.Cost)
		}
	})
}
