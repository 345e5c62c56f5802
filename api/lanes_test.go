package api

import (
	"context"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync/atomic"
	"testing"
	"time"
)

// One plan runs and one waits in a lane for one. The client of each goes away, the
// waiting one first: it never runs, the running one stops, and the lane is free.
func TestHandClientGone(t *testing.T) {
	step := make(chan struct{})
	var begun, stopped atomic.Int64
	slow := slowEngine(1, step, &stopped)
	c := newClient(t, func(o *Options) {
		o.Config.Limits = Limits{Concurrent: 2, Waiting: 4} // of plans one at once
		o.Engine = exampleEngine{execute: func(ctx context.Context, r Request) (Answer, error) {
			begun.Add(1)
			return slow.execute(ctx, r)
		}}
	})
	server := httptest.NewServer(c.s)
	defer server.Close()
	send := func(ctx context.Context) chan int {
		done := make(chan int, 1)
		r, err := http.NewRequestWithContext(ctx, "POST", server.URL+"/processes/plan/execution", strings.NewReader(`{"inputs":{"site":{},"options":{"quick":true}}}`))
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Content-Type", appJSON)
		go func() {
			res, err := http.DefaultClient.Do(r)
			if err != nil {
				done <- 0
				return
			}
			res.Body.Close()
			done <- res.StatusCode
		}()
		return done
	}
	until := func(what string, yes func() bool) {
		t.Helper()
		for end := time.Now().Add(20 * time.Second); !yes(); time.Sleep(2 * time.Millisecond) {
			if time.Now().After(end) {
				t.Fatalf("never: %s", what)
			}
		}
	}
	row := c.s.s.lanes.quick.waiting
	one, goneOne := context.WithCancel(t.Context())
	first := send(one)
	until("the first runs", func() bool { return begun.Load() == 1 })
	two, goneTwo := context.WithCancel(t.Context())
	second := send(two)
	until("the second waits", func() bool { return len(row) == 2 })
	goneTwo()
	until("the second has left the row", func() bool { return len(row) == 1 })
	goneOne()
	until("the first has stopped", func() bool { return stopped.Load() == 1 && len(row) == 0 })
	if a, b := <-first, <-second; a != 0 || b != 0 || begun.Load() != 1 {
		t.Errorf("answered %d and %d, %d begun", a, b, begun.Load())
	}
	third := send(t.Context())
	step <- struct{}{}
	if got := <-third; got != http.StatusOK {
		t.Errorf("the lane is not free: %d", got)
	}
}
