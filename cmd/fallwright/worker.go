package main

// fallwright worker, and audits of stored sites: the same audit in this process
// or by as many workers as were started on one PostgreSQL.

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"runtime"
	"strings"

	_ "github.com/lib/pq" // the driver that audits in the queue go by
	"go.yaml.in/yaml/v3"

	"fallwright/parcels"
	"fallwright/parcels/auditor"
	"fallwright/parcels/document"
	"fallwright/parcels/jobs"
	"fallwright/parcels/store"
	"fallwright/parcels/store/gpkg"
	"fallwright/parcels/store/postgis"
)

type workerCmd struct {
	Store   string `required:"" help:"Store with the queue: postgres://..." placeholder:"S" env:"FALLWRIGHT_STORE"`
	Workers int    `help:"Chunks worked at once; 0: one a processor."`
}

func (c workerCmd) Run(e *env) error {
	if !isPostgres(c.Store) {
		return inputFault("", "store-unsupported", "A worker takes work from PostgreSQL only: give --store postgres://.... A GeoPackage is audited by the audit command itself.")
	}
	store, err := openStore(c.Store, storeWritten)
	if err != nil {
		return err
	}
	defer store.Close()
	q, done, err := openQueue(e.ctx, c.Store, store)
	if err != nil {
		return err
	}
	defer done()
	fmt.Fprintln(e.stderr, "worker: waiting for work; stop with Ctrl-C")
	err = q.Work(e.ctx, workers(c.Workers))
	if e.ctx.Err() != nil {
		return nil // stopped as asked: what it held goes back to the queue
	}
	return err
}

func workers(n int) int {
	if n <= 0 {
		return runtime.GOMAXPROCS(0)
	}
	return n
}

func isPostgres(name string) bool {
	return strings.HasPrefix(name, "postgres://") || strings.HasPrefix(name, "postgresql://")
}

// openQueue opens the queue in the database of a PostGIS store.
func openQueue(ctx context.Context, name string, store parcels.Store) (*jobs.Queue, func(), error) {
	db, err := sql.Open("postgres", name)
	if err != nil {
		return nil, nil, &parcels.Error{Kind: parcels.Failed, Op: "worker: open", Err: err}
	}
	q, err := jobs.Open(ctx, db, map[string]jobs.Begin{auditor.JobKind: auditor.Begin(sourceOf(store))})
	if err != nil {
		db.Close()
		return nil, nil, err
	}
	return q, func() { db.Close() }, nil
}

// Both stores give what an audit asks of one.
var (
	_ auditor.Source = (*gpkg.Store)(nil)
	_ auditor.Source = (*postgis.Store)(nil)
)

func sourceOf(s parcels.Store) auditor.Source { return s.(auditor.Source) }

// stored audits a stored site, window by window.
func (c auditCmd) stored(e *env) (*auditor.Result, error) {
	if c.Store == "" {
		return nil, inputFault("", "store-missing", "Name the store of the site: --store S.")
	}
	r := auditor.Request{Site: c.Site, Checks: c.Checks, Lots: c.Lots, KeepGoing: c.KeepGoing, Zones: true, Worst: c.Worst, Program: "fallwright " + version()}
	if c.Criteria != "" {
		var err error
		if r.Criteria, err = e.criteriaJSON(c.Criteria); err != nil {
			return nil, err
		}
	}
	st, err := openStore(c.Store, storeRead)
	if err != nil {
		return nil, err
	}
	defer st.Close()
	a, err := overGround(e.ctx, st, r, auditor.Options{Workers: c.Workers, Report: e.progress("audit")})
	if a != nil || err != nil {
		e.progressDone()
		return a, err
	}
	if !isPostgres(c.Store) {
		a, err := auditor.Stored(e.ctx, sourceOf(st), r, auditor.Options{Workers: c.Workers, Report: e.progress("audit")})
		e.progressDone()
		return a, err
	}
	q, done, err := openQueue(e.ctx, c.Store, st)
	if err != nil {
		return nil, err
	}
	defer done()
	a, err = queued(e.ctx, q, sourceOf(st), r, workers(c.Workers), e.progress("audit"))
	e.progressDone()
	return a, err
}

// overGround audits a stored site whose document names a raster as its ground:
// whole and in this process, since a raster is not read by windows. It is nil
// where the document names none, or no check asks for ground.
func overGround(ctx context.Context, st parcels.Store, r auditor.Request, o auditor.Options) (*auditor.Result, error) {
	head, err := sourceOf(st).Head(ctx, r.Site)
	if err != nil {
		return nil, err
	}
	if store.Terrain(head) == "" || !auditor.WantsGround(r.Checks) {
		return nil, nil
	}
	doc, err := st.Document(ctx, r.Site)
	if err != nil {
		return nil, err
	}
	opts, err := json.Marshal(options{KeepGoing: r.KeepGoing})
	if err != nil {
		return nil, err
	}
	s, _, err := readSite(doc, r.Criteria, opts, document.Limits{})
	if err != nil {
		return nil, err
	}
	if o.Surface, _, err = storedGround(ctx, st, r.Site, s, ""); err != nil {
		return nil, err
	}
	o.Checks, o.Lots, o.Zones, o.Worst, o.Program = r.Checks, r.Lots, r.Zones, r.Worst, r.Program
	a, err := auditor.New(s, o)
	if err != nil {
		return nil, err
	}
	audit, err := a.Audit(ctx, o)
	if err != nil {
		return nil, err
	}
	return auditor.Of(audit, s), nil
}

// queued audits over the queue: this process works too, beside whatever workers
// were started.
func queued(ctx context.Context, q *jobs.Queue, src auditor.Source, r auditor.Request, workers int, report func(jobs.Progress)) (*auditor.Result, error) {
	id, err := auditor.Submit(ctx, q, r, src, 0)
	if err != nil {
		return nil, err
	}
	work, stop := context.WithCancel(ctx)
	worked := make(chan error, 1)
	go func() { worked <- q.Work(work, workers) }()
	_, state, err := q.Wait(ctx, id, 0, report)
	stop()
	<-worked
	if err != nil {
		return nil, errors.Join(err, q.Forget(context.WithoutCancel(ctx), id))
	}
	if state == jobs.Canceled {
		why, err := q.Reason(ctx, id)
		if err == nil && why == "" {
			why = "it was canceled"
		}
		return nil, errors.Join(&parcels.Error{Kind: parcels.Conflict, Op: "audit", Subject: r.Site, Err: errors.New(why)}, err)
	}
	a, err := auditor.Gather(ctx, q, id, src)
	if err != nil {
		return nil, err
	}
	return a, q.Forget(ctx, id)
}

// criteriaJSON is a criteria file as JSON, for the queue.
func (e *env) criteriaJSON(file string) (json.RawMessage, error) {
	b, err := e.read(file)
	if err != nil {
		return nil, err
	}
	var m map[string]any
	if err := yaml.Unmarshal(b, &m); err != nil {
		return nil, inputFault(file, "criteria-syntax", "The criteria cannot be read: "+parcels.Excerpt(err.Error())+".")
	}
	return json.Marshal(m)
}
