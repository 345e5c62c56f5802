package main

// fallwright worker, and audits of stored sites: the same audit in this process
// or by as many workers as were started on one PostgreSQL.

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"runtime"
	"strings"

	_ "github.com/lib/pq" // the driver that audits in the queue go by
	"go.yaml.in/yaml/v3"

	"fallwright/parcels"
	"fallwright/parcels/auditor"
	"fallwright/parcels/jobs"
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
	q, err := jobs.Open(ctx, db, map[string]jobs.Begin{auditor.JobKind: auditor.Begin(loadFrom(store))})
	if err != nil {
		db.Close()
		return nil, nil, err
	}
	return q, func() { db.Close() }, nil
}

// loadFrom reads a stored site's document, in the version that was asked for.
func loadFrom(store parcels.Store) auditor.Load {
	return func(ctx context.Context, site string, version int64) ([]byte, error) {
		info, err := store.Site(ctx, site)
		if err != nil {
			return nil, err
		}
		if version != 0 && info.Version != version {
			return nil, &parcels.Error{Kind: parcels.Conflict, Op: "audit", Subject: site, Err: fmt.Errorf("the site is at version %d, the audit was asked for version %d", info.Version, version)}
		}
		return store.Document(ctx, site)
	}
}

// stored audits a stored site.
func (c auditCmd) stored(e *env) (*parcels.Audit, *parcels.Site, error) {
	if c.Site == "" {
		return nil, nil, inputFault("", "site-missing", "Name the stored site: --site NAME.")
	}
	store, err := openStore(c.Store, storeRead)
	if err != nil {
		return nil, nil, err
	}
	defer store.Close()
	info, err := store.Site(e.ctx, c.Site)
	if err != nil {
		return nil, nil, err
	}
	if !isPostgres(c.Store) {
		doc, err := store.Document(e.ctx, c.Site)
		if err != nil {
			return nil, nil, err
		}
		s, err := c.read(e, doc)
		if err != nil {
			return nil, nil, err
		}
		a, err := c.inProcess(e, s, nil)
		return a, s, err
	}
	q, done, err := openQueue(e.ctx, c.Store, store)
	if err != nil {
		return nil, nil, err
	}
	defer done()
	r := auditor.Request{Site: c.Site, Version: info.Version, Checks: c.Checks, Lots: c.Lots, KeepGoing: c.KeepGoing, Zones: true, Worst: c.Worst, Program: "fallwright " + version()}
	if c.Criteria != "" {
		if r.Criteria, err = e.criteriaJSON(c.Criteria); err != nil {
			return nil, nil, err
		}
	}
	load := loadFrom(store)
	id, err := auditor.Submit(e.ctx, q, r, load, 64)
	if err != nil {
		return nil, nil, err
	}
	// This process works too, beside whatever workers were started.
	ctx, stop := context.WithCancel(e.ctx)
	worked := make(chan error, 1)
	go func() { worked <- q.Work(ctx, workers(c.Workers)) }()
	_, state, err := q.Wait(e.ctx, id, 0, e.progress("audit"))
	e.progressDone()
	stop()
	<-worked
	if err != nil {
		return nil, nil, err
	}
	if state == jobs.Canceled {
		return nil, nil, &parcels.Error{Kind: parcels.Failed, Op: "audit", Subject: c.Site, Err: fmt.Errorf("job %d was canceled", id)}
	}
	a, s, err := auditor.Gather(e.ctx, q, id, r, load)
	if err != nil {
		return nil, nil, err
	}
	return a, s, q.Forget(e.ctx, id)
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
