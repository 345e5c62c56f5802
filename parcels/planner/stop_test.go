package planner_test

// A plan whose asker has gone stops at the next of its stages, or in the midst of the
// search for the route.

import (
	"context"
	"errors"
	"testing"

	"fallwright/parcels/document"
	"fallwright/parcels/planner"
	"fallwright/parcels/verify"
	"fallwright/sampledata"
)

// asking is a context that ends when it has been asked so many times.
type asking struct {
	context.Context
	left, asked int
}

func (a *asking) Err() error {
	a.asked++
	if a.left--; a.left < 0 {
		return context.Canceled
	}
	return nil
}

// Lot B1 of the sample drains; A1 does not, so that its remedies are planned one by
// one. Wherever the context ends, no plan comes and hardly anything asks again (a
// remedy whose search was stopped is left to the next stage), and with all the work
// done it is asked at each stage: before each of lay, finish, lines and the gate, once
// more for each remedy that is planned anew, and many times in each search.
func TestPropertyStops(t *testing.T) {
	s, err := document.Read(sampledata.StatePlane(), document.Options{})
	if err != nil {
		t.Fatal(err)
	}
	p := planner.Planner{Verifier: verify.Checker{}}
	for _, c := range []struct {
		lot   string
		quick bool
		least int
	}{{"B1", true, 15}, {"B1", false, 30}, {"A1", false, 20}} {
		whole := &asking{Context: context.Background(), left: 1 << 30}
		if _, _, err := p.Plan(whole, s, planner.Options{Lots: []string{c.lot}, Quick: c.quick}); err != nil {
			t.Fatal(err)
		}
		if whole.asked < c.least {
			t.Errorf("lot %s: asked %d times, want %d or more", c.lot, whole.asked, c.least)
		}
		for n := 0; n < whole.asked; n += 1 + whole.asked/12 {
			ctx := &asking{Context: context.Background(), left: n}
			plan, body, err := p.Plan(ctx, s, planner.Options{Lots: []string{c.lot}, Quick: c.quick})
			if !errors.Is(err, context.Canceled) || plan != nil || body != nil {
				t.Errorf("lot %s, ended at stage %d: %v", c.lot, n, err)
			}
			if ctx.asked > n+3 {
				t.Errorf("lot %s, ended at stage %d, asked %d times more", c.lot, n, ctx.asked-n-1)
			}
		}
	}
}
