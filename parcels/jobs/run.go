package jobs

// Work in one process.

import (
	"context"
	"fmt"
	"runtime"
	"sync"
	"time"
)

// Progress is how far a job is.
type Progress struct {
	Items    int           `json:"items"`
	Done     int           `json:"done"`
	SetAside int           `json:"set_aside"`
	Elapsed  time.Duration `json:"-"`
	// PerSecond is the mean rate so far, pauses included; Left the time that the
	// rest takes at it, nil until something is known.
	PerSecond float64        `json:"per_second"`
	Left      *time.Duration `json:"-"`
	Paused    bool           `json:"paused"`
}

// Percent is the share done, 0 to 100.
func (p Progress) Percent() float64 {
	if p.Items == 0 {
		return 100
	}
	return 100 * float64(p.Done) / float64(p.Items)
}

// SetAside is an item that could not be worked.
type SetAside struct {
	Item int
	Err  error
}

// Options of a run.
type Options struct {
	// Order lists the items in the order in which they are taken up; nil: 0 to n-1.
	Order []int
	// Workers and Chunk: 0 is one worker a processor, and 64 items a chunk.
	Workers, Chunk int
	// Report is called now and then, never by two at once, and once at the end.
	Report func(Progress)
	// Every is the least time between two reports; 0 is half a second.
	Every time.Duration
	// Pause holds the workers before their next chunk; nil: never.
	Pause *Pause
	// Open makes ready for a chunk, by its number and items, before its worker
	// works them; an error ends the run.
	Open func(ctx context.Context, worker, chunk int, items []int) error
	// Done marks items that were finished before: they are not worked again.
	Done func(item int) bool
	// Chunked is called by the worker that finished a chunk, with its items, so
	// that a caller can keep what is done; an error ends the run.
	Chunked func(items []int) error
}

// Pause is a switch that holds and releases workers. The zero value lets them
// go.
type Pause struct {
	mu   sync.Mutex
	gate chan struct{} // not nil while held; closed on release
}

// Hold stops workers before their next chunk.
func (p *Pause) Hold() {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.gate == nil {
		p.gate = make(chan struct{})
	}
}

// Release lets them go on.
func (p *Pause) Release() {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.gate != nil {
		close(p.gate)
		p.gate = nil
	}
}

// Held says whether workers are held.
func (p *Pause) Held() bool {
	if p == nil {
		return false
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.gate != nil
}

func (p *Pause) wait(ctx context.Context) error {
	if p == nil {
		return ctx.Err()
	}
	p.mu.Lock()
	gate := p.gate
	p.mu.Unlock()
	if gate != nil {
		select {
		case <-gate:
		case <-ctx.Done():
		}
	}
	return ctx.Err()
}

// Run works n items, chunk by chunk. work is called for one item at a time with
// the number of its worker (0 to Workers-1); what it makes it keeps by the
// item's number. An error of an item, or a panic, sets the item aside; the
// result lists them by item. Run itself fails only when ctx ends or Open or
// Chunked does; chunks that were begun are then finished or not begun, never half
// counted.
func Run(ctx context.Context, n int, work func(ctx context.Context, worker, item int) error, o Options) ([]SetAside, error) {
	order := o.Order
	if order == nil {
		order = make([]int, n)
		for i := range order {
			order[i] = i
		}
	}
	if len(order) != n {
		return nil, fmt.Errorf("jobs: the order has %d items, the job %d", len(order), n)
	}
	workers, size := o.Workers, o.Chunk
	if workers <= 0 {
		workers = runtime.GOMAXPROCS(0)
	}
	if size <= 0 {
		size = 64
	}
	every := o.Every
	if every <= 0 {
		every = time.Second / 2
	}
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)

	var (
		mu       sync.Mutex
		next     int
		done     int
		failed   = map[int]error{}
		begun    = time.Now()
		reported time.Time
	)
	report := func(final bool) { // under mu
		if o.Report == nil || !final && time.Since(reported) < every {
			return
		}
		reported = time.Now()
		p := Progress{Items: n, Done: done, SetAside: len(failed), Elapsed: time.Since(begun), Paused: o.Pause.Held()}
		if s := p.Elapsed.Seconds(); s > 0 && done > 0 {
			p.PerSecond = float64(done) / s
			left := time.Duration(float64(n-done) / p.PerSecond * float64(time.Second))
			p.Left = &left
		}
		o.Report(p)
	}
	take := func() (number int, items []int) {
		mu.Lock()
		defer mu.Unlock()
		if next >= n {
			return 0, nil
		}
		number, items = next/size, order[next:min(next+size, n)]
		next += len(items)
		return number, items
	}
	one := func(worker, item int) (err error) {
		defer func() {
			if r := recover(); r != nil {
				err = fmt.Errorf("jobs: item %d: %v", item, r)
			}
		}()
		return work(ctx, worker, item)
	}
	var wg sync.WaitGroup
	for w := range workers {
		wg.Go(func() {
			for {
				if o.Pause.wait(ctx) != nil {
					return
				}
				number, chunk := take()
				if chunk == nil {
					return
				}
				if o.Open != nil {
					if err := o.Open(ctx, w, number, chunk); err != nil {
						cancel(err)
						return
					}
				}
				bad := map[int]error{}
				for _, item := range chunk {
					if ctx.Err() != nil {
						return
					}
					if o.Done != nil && o.Done(item) {
						continue
					}
					if err := one(w, item); err != nil {
						if ctx.Err() != nil {
							return
						}
						bad[item] = err
					}
				}
				if o.Chunked != nil {
					if err := o.Chunked(chunk); err != nil {
						cancel(err)
						return
					}
				}
				mu.Lock()
				done += len(chunk)
				for k, v := range bad {
					failed[k] = v
				}
				report(false)
				mu.Unlock()
			}
		})
	}
	wg.Wait()
	mu.Lock()
	defer mu.Unlock()
	report(true)
	var aside []SetAside
	for i := range n {
		if err := failed[i]; err != nil {
			aside = append(aside, SetAside{i, err})
		}
	}
	if ctx.Err() != nil {
		return aside, context.Cause(ctx)
	}
	return aside, nil
}
