package auditor

// An audit made ready to be worked in chunks, by this process or over several
// machines: what is put in the queue, what a worker does with it, and how the
// result is put together. The rows are the same however they were worked, so
// the audit has the same bytes.

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"runtime"

	"github.com/paulmach/orb"

	"fallwright/parcels"
	"fallwright/parcels/document"
	"fallwright/parcels/jobs"
)

// JobKind is the kind of an audit in the queue.
const JobKind = "audit"

// Request is an audit as it stands in the queue. The site is a stored one, by
// name and version (0: as it is), or the document itself.
type Request struct {
	Site     string          `json:"site,omitempty"`
	Version  int64           `json:"version,omitempty"`
	Document json.RawMessage `json:"document,omitempty"`
	// Criteria lie over the built-in ones, under the document's own.
	Criteria  json.RawMessage `json:"criteria,omitempty"`
	Checks    []string        `json:"checks,omitempty"`
	Lots      []string        `json:"lots,omitempty"`
	KeepGoing bool            `json:"keep_going,omitempty"`
	Zones     bool            `json:"zones,omitempty"`
	Worst     int             `json:"worst,omitempty"`
	Program   string          `json:"program,omitempty"`
	// Plan is found by Submit.
	Plan *plan `json:"plan,omitempty"`
}

func (r *Request) options() Options {
	return Options{Checks: r.Checks, Lots: r.Lots, Zones: r.Zones, Worst: r.Worst, Program: r.Program}
}

// job is an audit made ready.
type job struct {
	*basis
	land  land
	n     int   // lots asked for
	order []int // in which they are taken up; nil after another's survey
	open  func(ctx context.Context, chunk int, items []int) (func(k int) (parcels.AuditRow, error), error)
	lot   func(k int) (*parcels.Lot, error)
	o     Options
}

// prepare makes a request ready: a stored site is surveyed unless another has
// done it.
func (r *Request) prepare(ctx context.Context, src Source, chunk, workers int) (*job, error) {
	read := document.Options{KeepGoing: r.KeepGoing}
	if len(r.Criteria) > 0 {
		c, given, err := document.ReadCriteria(r.Criteria)
		if err != nil {
			return nil, err
		}
		read.Criteria, read.CriteriaGiven = &c, given
	}
	if len(r.Document) == 0 {
		if src == nil {
			return nil, &parcels.Error{Kind: parcels.NotFound, Op: "auditor: open", Subject: r.Site, Err: errNoStore}
		}
		var v *stored
		var order []int
		var err error
		if r.Plan == nil {
			v, order, err = survey(ctx, src, r, read, chunk, workers)
		} else {
			v, err = join(ctx, src, r, read)
		}
		if err == nil {
			r.Plan, r.Version = v.plan, v.plan.Version
			return &job{basis: v.basis, land: v, n: v.plan.Lots, order: order, open: v.open, lot: v.lot, o: r.options()}, nil
		}
		if !errors.Is(err, document.ErrWhole) {
			return nil, err
		}
		if r.Document, err = src.Document(ctx, r.Site); err != nil {
			return nil, err
		}
	}
	s, err := document.Read(r.Document, read)
	if err != nil {
		return nil, err
	}
	a, err := New(s, r.options())
	if err != nil {
		return nil, err
	}
	items, err := a.lots(r.Lots)
	if err != nil {
		return nil, err
	}
	centres := make([]orb.Point, len(items))
	for k, i := range items {
		centres[k] = s.Lots[i].Shape.Bound().Center()
	}
	return &job{basis: a.basis, land: a, n: len(items), order: jobs.Order(centres), o: r.options(),
		open: func(context.Context, int, []int) (func(int) (parcels.AuditRow, error), error) {
			return func(k int) (parcels.AuditRow, error) { return a.Lot(items[k]) }, nil
		},
		lot: func(k int) (*parcels.Lot, error) { return &s.Lots[items[k]], nil }}, nil
}

// aside keeps the record of a lot that could not be worked.
func (j *job) aside(rows *spool, k int, why error) error {
	lot, err := j.lot(k)
	if err != nil {
		return err
	}
	row := Failed(lot, why)
	rec, err := record(nil, j.base.Frame, &row)
	if err != nil {
		return err
	}
	return rows.put(k, rec)
}

// result sums up rows that are all there.
func (j *job) result(rows *spool) (*Result, error) {
	out := &Result{Base: j.base, rows: rows}
	s := newSummary(j.o.Worst)
	err := out.EachRow(func(r *parcels.AuditRow) error { s.add(r); return nil })
	if err != nil {
		return nil, err
	}
	a, err := s.finish(j.basis, j.land, j.o)
	if err != nil {
		return nil, err
	}
	if v, ok := j.land.(*stored); ok {
		if err := v.current(); err != nil {
			return nil, err
		}
	}
	a.Rows, out.Audit = nil, *a
	return out, nil
}

// Begin is what a worker does with an audit in the queue.
func Begin(src Source) jobs.Begin {
	return func(ctx context.Context, input []byte) (jobs.Work, error) {
		var r Request
		if err := json.Unmarshal(input, &r); err != nil {
			return nil, fmt.Errorf("auditor: a request in the queue: %w", err)
		}
		j, err := r.prepare(ctx, src, windowLots, 1)
		if err != nil {
			return nil, err
		}
		return func(ctx context.Context, chunk int, items []int) (jobs.Item, error) {
			lot, err := j.open(ctx, chunk, items)
			if err != nil {
				return nil, err
			}
			return func(_ context.Context, k int) ([]byte, error) {
				if k < 0 || k >= j.n {
					return nil, fmt.Errorf("auditor: lot %d of %d", k, j.n)
				}
				row, err := lot(k)
				if err != nil {
					return nil, err
				}
				return record(nil, j.base.Frame, &row)
			}, nil
		}, nil
	}
}

// Submit puts an audit in the queue, its lots along a Hilbert curve, chunk at a
// time (0: 512).
func Submit(ctx context.Context, q *jobs.Queue, r Request, src Source, chunk int) (int64, error) {
	if chunk <= 0 {
		chunk = windowLots
	}
	j, err := r.prepare(ctx, src, chunk, runtime.GOMAXPROCS(0))
	if err != nil {
		return 0, err
	}
	input, err := json.Marshal(r)
	if err != nil {
		return 0, err
	}
	return q.Submit(ctx, JobKind, input, j.n, j.order, chunk)
}

// Gather puts the audit together from a queued job that is done.
func Gather(ctx context.Context, q *jobs.Queue, id int64, src Source) (*Result, error) {
	input, err := q.Input(ctx, id)
	if err != nil {
		return nil, err
	}
	var r Request
	if err := json.Unmarshal(input, &r); err != nil {
		return nil, fmt.Errorf("auditor: a request in the queue: %w", err)
	}
	j, err := r.prepare(ctx, src, windowLots, 1)
	if err != nil {
		return nil, err
	}
	rows, err := newSpool(j.n)
	if err != nil {
		return nil, err
	}
	n := 0
	err = q.Results(ctx, id, func(k int, rec []byte, fault string) error {
		if k != n || k >= j.n {
			return fmt.Errorf("auditor: gather: lot %d where %d was due: the job is not done", k, n)
		}
		n++
		if fault != "" {
			return j.aside(rows, k, errors.New(fault))
		}
		return rows.put(k, rec)
	})
	if err == nil && n != j.n {
		err = &parcels.Error{Kind: parcels.Conflict, Op: "auditor: gather", Subject: fmt.Sprint(id), Err: fmt.Errorf("%d of %d lots are worked: the job is not done", n, j.n)}
	}
	var out *Result
	if err == nil {
		out, err = j.result(rows)
	}
	if err != nil {
		rows.close()
		return nil, err
	}
	return out, nil
}

// workers is how many work at once.
func (o Options) workers() int {
	if o.Workers <= 0 {
		return runtime.GOMAXPROCS(0)
	}
	return o.Workers
}
