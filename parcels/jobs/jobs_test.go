package jobs

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"sync/atomic"
	"testing"
	"time"

	"github.com/paulmach/orb"
	"go.uber.org/goleak"
)

// The curve of the first two orders, drawn by hand: it visits every cell once,
// each next to the one before.
func TestPropertyHilbertIsAWalk(t *testing.T) {
	const side = 32
	var pts []orb.Point
	for y := range side {
		for x := range side {
			pts = append(pts, orb.Point{float64(x), float64(y)})
		}
	}
	order := Order(pts)
	seen := map[int]bool{}
	for k, i := range order {
		if seen[i] {
			t.Fatalf("cell %d twice", i)
		}
		seen[i] = true
		if k == 0 {
			continue
		}
		a, b := pts[order[k-1]], pts[i]
		if d := math.Abs(a[0]-b[0]) + math.Abs(a[1]-b[1]); d != 1 {
			t.Fatalf("step %d goes from %v to %v", k, a, b)
		}
	}
}

func TestOrderOfFewPoints(t *testing.T) {
	if len(Order(nil)) != 0 {
		t.Error("no points")
	}
	same := []orb.Point{{1, 1}, {1, 1}, {1, 1}}
	for i, k := range Order(same) {
		if i != k {
			t.Errorf("equal places changed their order: %v", Order(same))
		}
	}
}

// Whatever the workers and chunks, every item is worked once and what is set
// aside comes back in order.
func TestPropertyEveryItemOnce(t *testing.T) {
	defer goleak.VerifyNone(t)
	rng := rand.New(rand.NewPCG(1, 2))
	for range 40 {
		n := rng.IntN(200)
		counts := make([]atomic.Int32, n)
		aside, err := Run(t.Context(), n, func(_ context.Context, _, i int) error {
			counts[i].Add(1)
			switch {
			case i%17 == 3:
				return errors.New("poison")
			case i%29 == 5:
				panic("worse")
			}
			return nil
		}, Options{Workers: 1 + rng.IntN(6), Chunk: 1 + rng.IntN(30), Order: rng.Perm(n)})
		if err != nil {
			t.Fatal(err)
		}
		bad := 0
		for i := range counts {
			if counts[i].Load() != 1 {
				t.Fatalf("item %d worked %d times", i, counts[i].Load())
			}
			if i%17 == 3 || i%29 == 5 {
				if bad >= len(aside) || aside[bad].Item != i || aside[bad].Err == nil {
					t.Fatalf("item %d is not set aside: %v", i, aside)
				}
				bad++
			}
		}
		if bad != len(aside) {
			t.Fatalf("%d set aside, want %d", len(aside), bad)
		}
	}
}

func TestCancelPauseResume(t *testing.T) {
	defer goleak.VerifyNone(t)
	ctx, cancel := context.WithCancel(t.Context())
	var n atomic.Int32
	_, err := Run(ctx, 1000, func(ctx context.Context, _, i int) error {
		if n.Add(1) == 50 {
			cancel()
		}
		if i > 100 { // the other worker waits, as real work would, and is told
			<-ctx.Done()
		}
		return nil
	}, Options{Workers: 2, Chunk: 8})
	if !errors.Is(err, context.Canceled) || n.Load() > 120 {
		t.Errorf("%v after %d items", err, n.Load())
	}

	// held: nothing moves; released: all is done
	var p Pause
	p.Hold()
	p.Hold()
	n.Store(0)
	finished := make(chan error)
	go func() {
		_, err := Run(t.Context(), 100, func(context.Context, int, int) error { n.Add(1); return nil }, Options{Workers: 3, Chunk: 4, Pause: &p})
		finished <- err
	}()
	select {
	case <-finished:
		t.Fatal("a held job ended")
	case <-time.After(30 * time.Millisecond):
	}
	if n.Load() != 0 || !p.Held() {
		t.Errorf("%d items worked while held", n.Load())
	}
	p.Release()
	if err := <-finished; err != nil || n.Load() != 100 {
		t.Errorf("%v after %d items", err, n.Load())
	}
}

// What a stopped job had kept is not worked again.
func TestResumeFromKept(t *testing.T) {
	kept := map[int]bool{}
	stop := errors.New("disk full")
	_, err := Run(t.Context(), 100, func(context.Context, int, int) error { return nil }, Options{Workers: 1, Chunk: 10,
		Chunked: func(items []int) error {
			if len(kept) == 50 {
				return stop
			}
			for _, i := range items {
				kept[i] = true
			}
			return nil
		}})
	if !errors.Is(err, stop) || len(kept) != 50 {
		t.Fatalf("%v with %d kept", err, len(kept))
	}
	again := 0
	var last Progress
	if _, err = Run(t.Context(), 100, func(_ context.Context, _, i int) error {
		again++
		if kept[i] {
			t.Errorf("item %d again", i)
		}
		return nil
	}, Options{Workers: 1, Chunk: 7, Done: func(i int) bool { return kept[i] }, Report: func(p Progress) { last = p }}); err != nil {
		t.Fatal(err)
	}
	if again != 50 || last.Done != 100 || last.Percent() != 100 {
		t.Errorf("%d items again, progress %+v", again, last)
	}
}

func TestRefusesAWrongOrder(t *testing.T) {
	if _, err := Run(t.Context(), 3, func(context.Context, int, int) error { return nil }, Options{Order: []int{0}}); err == nil {
		t.Error("an order of one item for three was taken")
	}
	if p := (Progress{}); p.Percent() != 100 {
		t.Error("nothing to do is not done")
	}
}
