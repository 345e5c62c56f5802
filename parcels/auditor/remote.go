package auditor

// An audit over several machines: what is put in the queue, what a worker does
// with it, and how the result is put together. The rows are the same that Audit
// makes in one process, so the audit has the same bytes.

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"

	"github.com/paulmach/orb"

	"fallwright/parcels"
	"fallwright/parcels/document"
	"fallwright/parcels/jobs"
)

// JobKind is the kind of an audit in the queue.
const JobKind = "audit"

// Request is an audit as it stands in the queue. The site is a stored one, by
// name and version, or the document itself.
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
}

// Load gives the document of a stored site in one version.
type Load func(ctx context.Context, site string, version int64) ([]byte, error)

// job is a request made ready.
type job struct {
	a     *Auditor
	items []int // places of the lots
	o     Options
}

func (r Request) open(ctx context.Context, load Load) (*job, error) {
	text := []byte(r.Document)
	if len(text) == 0 {
		if load == nil {
			return nil, &parcels.Error{Kind: parcels.NotFound, Op: "auditor: open", Subject: r.Site, Err: errors.New("no store was given")}
		}
		var err error
		if text, err = load(ctx, r.Site, r.Version); err != nil {
			return nil, err
		}
	}
	read := document.Options{KeepGoing: r.KeepGoing}
	if len(r.Criteria) > 0 {
		c, given, err := document.ReadCriteria(r.Criteria)
		if err != nil {
			return nil, err
		}
		read.Criteria, read.CriteriaGiven = &c, given
	}
	s, err := document.Read(text, read)
	if err != nil {
		return nil, err
	}
	o := Options{Checks: r.Checks, Lots: r.Lots, Zones: r.Zones, Worst: r.Worst, Program: r.Program}
	a, err := New(s, o)
	if err != nil {
		return nil, err
	}
	items, err := a.lots(r.Lots)
	return &job{a, items, o}, err
}

// kept is what a worker keeps of one lot.
type kept struct {
	Row  parcels.AuditRow `json:"row"`
	Zone orb.MultiPolygon `json:"zone,omitempty"`
}

// Begin is what a worker does with an audit in the queue.
func Begin(load Load) jobs.Begin {
	return func(ctx context.Context, input []byte) (jobs.Item, error) {
		var r Request
		if err := json.Unmarshal(input, &r); err != nil {
			return nil, fmt.Errorf("auditor: a request in the queue: %w", err)
		}
		j, err := r.open(ctx, load)
		if err != nil {
			return nil, err
		}
		return func(_ context.Context, item int) ([]byte, error) {
			if item < 0 || item >= len(j.items) {
				return nil, fmt.Errorf("auditor: lot %d of %d", item, len(j.items))
			}
			row, err := j.a.Lot(j.items[item])
			if err != nil {
				return nil, err
			}
			return json.Marshal(kept{row, row.ZoneShape})
		}, nil
	}
}

// Submit puts an audit in the queue, its lots along a Hilbert curve.
func Submit(ctx context.Context, q *jobs.Queue, r Request, load Load, chunk int) (int64, error) {
	j, err := r.open(ctx, load)
	if err != nil {
		return 0, err
	}
	input, err := json.Marshal(r)
	if err != nil {
		return 0, err
	}
	return q.Submit(ctx, JobKind, input, len(j.items), jobs.Order(j.centres()), chunk)
}

func (j *job) centres() []orb.Point {
	out := make([]orb.Point, len(j.items))
	for k, i := range j.items {
		out[k] = j.a.site.Lots[i].Shape.Bound().Center()
	}
	return out
}

// Gather puts the audit together from a queued job that is done. The site is
// given back for writing.
func Gather(ctx context.Context, q *jobs.Queue, id int64, r Request, load Load) (*parcels.Audit, *parcels.Site, error) {
	j, err := r.open(ctx, load)
	if err != nil {
		return nil, nil, err
	}
	rows := make([]parcels.AuditRow, len(j.items))
	n := 0
	err = q.Results(ctx, id, func(item int, result []byte, fault string) error {
		if item != n || item >= len(rows) {
			return fmt.Errorf("auditor: gather: lot %d where %d was due: the job is not done", item, n)
		}
		n++
		lot := &j.a.site.Lots[j.items[item]]
		if fault != "" {
			rows[item] = Failed(lot, errors.New(fault))
			return nil
		}
		var k kept
		if err := json.Unmarshal(result, &k); err != nil {
			return err
		}
		k.Row.Shape, k.Row.ZoneShape = lot.Shape, k.Zone
		rows[item] = k.Row
		return nil
	})
	if err != nil {
		return nil, nil, err
	}
	if n != len(rows) {
		return nil, nil, &parcels.Error{Kind: parcels.Conflict, Op: "auditor: gather", Subject: fmt.Sprint(id), Err: fmt.Errorf("%d of %d lots are worked: the job is not done", n, len(rows))}
	}
	a, err := j.a.Sum(rows, j.o)
	return a, j.a.site, err
}
