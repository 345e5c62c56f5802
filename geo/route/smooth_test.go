package route

import (
	"math"
	"testing"

	"github.com/paulmach/orb"
)

// TestHandSmooth: the way from a makes a detour of 3 m to the north that nothing asks
// for. Straight it is 38 m; b lies 8 m off it and comes to it by the longest slant, at
// 45 degrees: 8 m times the root of 2. (Bends are dear, so that it is not worth while
// to bend the way towards b.)
func TestHandSmooth(t *testing.T) {
	p := &Problem{Zone: orb.MultiPolygon{{rect(0, 0, 42, 20)}}, Rules: DefaultRules(), Prices: testPrices,
		Sources: []Source{{ID: "a", At: orb.Point{2, 10}}, {ID: "b", At: orb.Point{10, 18}}},
		Targets: []Target{{ID: "out", At: orb.Point{40, 10}}}}
	p.Prices.Bend = 20
	tree := &Tree{Nodes: []Node{{orb.Point{2, 10}, KindSource, 0}, {orb.Point{15, 13}, KindBend, -1}, {orb.Point{20, 13}, KindJoin, -1},
		{orb.Point{25, 13}, KindBend, -1}, {orb.Point{40, 10}, KindTarget, -1}, {orb.Point{10, 18}, KindSource, 1}},
		Runs: []Run{{From: 0, To: 1}, {From: 5, To: 2}, {From: 1, To: 2}, {From: 2, To: 3}, {From: 3, To: 4}}}
	got, err := Smooth(p, tree)
	if err != nil || got == nil {
		t.Fatal(got, err)
	}
	if bad := Check(p, got); len(bad) > 0 {
		t.Error(bad)
	}
	want := testPrices.TieIn + testPrices.Join + testPrices.Metre*(38+8*math.Sqrt2)
	if math.Abs(got.Cost-want) > 0.01 || len(got.Nodes) != 4 {
		t.Errorf("%.4f for %d nodes, want %.4f for 4", got.Cost, len(got.Nodes), want)
	}
	if again, err := Smooth(p, got); again != nil || err != nil {
		t.Errorf("a straight tree is smoothed to %+v, %v", again, err)
	}
}

// A tree that is read back is the same tree: as dear by the sum of prices, with the
// same runs, whether or not a line is kept; and what Smooth makes of one that was
// found with other prices keeps every rule and is cheaper.
func TestPropertyReadBack(t *testing.T) {
	gained := 0
	for seed := int64(1); seed <= 40; seed++ {
		l := newLot(seed, 6)
		p := &l.problem
		if seed%4 == 0 { // the first source's lead-off, drawn
			h := newSite(p).heads[0]
			if len(h.pts) > 1 {
				o := newSite(p).origin
				p.Kept = []orb.LineString{{add(h.pts[0], o), add(h.pts[1], o)}}
			}
		}
		found := *p
		if seed%2 == 1 {
			found.Prices.Bend, found.Prices.Askew = 0, 0.2*found.Prices.Metre
		}
		res, err := Solve(&found)
		if err != nil || res.Best == nil {
			t.Fatal(seed, err)
		}
		s := newSite(&found)
		q := s.readBack(res.Best)
		if q == nil {
			t.Errorf("lot %d is not read back", seed)
			continue
		}
		if again := s.tree(q); math.Abs(again.Cost-res.Best.Cost) > 1e-6 || len(again.Runs) != len(res.Best.Runs) || len(s.check(again)) > 0 {
			t.Errorf("lot %d: %.6f for %d runs, read back %.6f for %d, %v", seed, res.Best.Cost, len(res.Best.Runs), again.Cost, len(again.Runs), s.check(again))
		}
		better, err := Smooth(p, res.Best)
		if err != nil {
			t.Fatal(err)
		}
		if better == nil {
			continue
		}
		gained++
		s = newSite(p)
		if was := s.bare(s.readBack(res.Best)); better.Cost >= was {
			t.Errorf("lot %d: %.4f smoothed to %.4f", seed, was, better.Cost)
		}
		if bad := Check(p, better); len(bad) > 0 {
			t.Errorf("lot %d: %v", seed, bad)
		}
	}
	if gained < 10 {
		t.Errorf("only %d trees gained", gained)
	}
}

// What is no tree of the problem is not smoothed.
func TestHandSmoothRefuses(t *testing.T) {
	p := &Problem{Zone: orb.MultiPolygon{{rect(0, 0, 42, 20)}}, Rules: DefaultRules(), Prices: testPrices,
		Sources: []Source{{ID: "a", At: orb.Point{2, 10}}}, Targets: []Target{{ID: "out", At: orb.Point{40, 10}}, {ID: "shut", At: orb.Point{40, 10}, Closed: "full"}}}
	nodes := func(mid orb.Point) []Node {
		return []Node{{orb.Point{2, 10}, KindSource, 0}, {mid, KindBend, -1}, {orb.Point{40, 10}, KindTarget, -1}}
	}
	runs := []Run{{From: 0, To: 1}, {From: 1, To: 2}}
	for name, tree := range map[string]*Tree{
		"outside":  {Nodes: nodes(orb.Point{20, 25}), Runs: runs},
		"sharp":    {Nodes: nodes(orb.Point{41, 19}), Runs: runs},
		"target":   {Target: 1, Nodes: nodes(orb.Point{20, 15}), Runs: runs},
		"no runs":  {Nodes: nodes(orb.Point{20, 15})},
		"nothing":  {},
		"not ours": {Nodes: []Node{{orb.Point{3, 3}, KindSource, 0}, {orb.Point{40, 10}, KindTarget, -1}}, Runs: []Run{{From: 0, To: 1}}},
	} {
		if got, err := Smooth(p, tree); got != nil || err != nil {
			t.Errorf("%s: %+v, %v", name, got, err)
		}
	}
	if got, err := Smooth(p, &Tree{Nodes: nodes(orb.Point{20, 15}), Runs: runs}); err != nil || got == nil || math.Abs(float64(got.Length)-38) > 1e-6 {
		t.Errorf("%+v, %v", got, err)
	}
}
