package jobs

// Work on several machines, over one PostgreSQL. River (the queue library)
// hands out chunks; two tables of our own hold what came of them. A chunk is
// worked in one transaction that holds its row: its results, its being done
// and the completion of its queue entry are kept together or not at all. So a
// worker killed at any moment loses no item, and none is kept twice: its
// connection ends, the row is free again, and the next worker finds it either
// when River rescues the entry or, sooner, by the sweep below.

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"strings"
	"sync"
	"time"

	"github.com/lib/pq"
	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver/riverdatabasesql"
	"github.com/riverqueue/river/rivermigrate"
	"github.com/riverqueue/river/rivertype"

	"fallwright/parcels"
)

// Item works one item of a job and returns what is kept of it.
type Item func(ctx context.Context, item int) ([]byte, error)

// Work makes ready for a chunk of a job, by its number and items.
type Work func(ctx context.Context, chunk int, items []int) (Item, error)

// Begin makes ready to work on a job from what was submitted. It is called once
// a worker process and job. An error of Begin or Work that another try cannot
// mend (see permanent) ends the job with that reason; any other is tried
// again.
type Begin func(ctx context.Context, input []byte) (Work, error)

// State of a queued job.
type State string

const (
	Running  State = "running"
	Paused   State = "paused"
	Canceled State = "canceled"
	Done     State = "done"
)

// Queue keeps jobs in a PostgreSQL. It may be used by several goroutines and,
// over one database, by many processes at once.
type Queue struct {
	db     *sql.DB
	kinds  map[string]Begin
	insert *river.Client[*sql.Tx] // inserts only

	mu    sync.Mutex
	begun map[int64]*begun // jobs this process has begun
}

type begun struct {
	once sync.Once
	work Work
	err  error
}

const queueName = "fallwright"

// args of a queue entry: one chunk.
type chunkArgs struct {
	Job   int64 `json:"job"`
	Chunk int   `json:"chunk"`
}

func (chunkArgs) Kind() string { return "fallwright_chunk" }

// schema is run where its last name is missing, so that to open the queue takes
// no lock that workers wait for. Results are short texts by the thousand: to
// press each and lay it apart would cost the server more than all else it does
// for them, so they stay as they are, in their rows up to a page.
const schema = `
create table if not exists work_job (
	id bigserial primary key, kind text not null, input bytea not null, items int not null,
	state text not null default 'running' check (state in ('running','paused','canceled')),
	submitted timestamptz not null default now());
create table if not exists work_chunk (
	job bigint not null references work_job on delete cascade, chunk int not null, items int[] not null,
	entry bigint not null, done timestamptz, primary key (job, chunk));
alter table work_job add column if not exists reason text;
alter table work_chunk add column if not exists size int not null generated always as (cardinality(items)) stored;
create index if not exists work_chunk_open on work_chunk (job) where done is null;
create table if not exists work_item (
	job bigint not null references work_job on delete cascade, item int not null,
	result bytea, error text, primary key (job, item));
alter table work_item alter column result set storage external;
alter table work_item set (toast_tuple_target = 8160);
create index if not exists ` + lastName + ` on work_item (job) where error is not null;`

const lastName = "work_item_fault"

// Open makes the tables where they are missing and returns the queue. kinds
// says how each kind of job is worked; a process that only submits may give
// none. The database is not closed by the queue.
func Open(ctx context.Context, db *sql.DB, kinds map[string]Begin) (*Queue, error) {
	fail := func(err error) error { return &parcels.Error{Kind: parcels.Failed, Op: "jobs: open", Err: err} }
	// one process at a time: workers start together
	conn, err := db.Conn(ctx)
	if err != nil {
		return nil, fail(err)
	}
	defer conn.Close()
	const lock = 0x66616c6c
	if _, err := conn.ExecContext(ctx, `select pg_advisory_lock($1)`, lock); err != nil {
		return nil, fail(err)
	}
	defer conn.ExecContext(context.WithoutCancel(ctx), `select pg_advisory_unlock($1)`, lock)
	m, err := rivermigrate.New(riverdatabasesql.New(db), &rivermigrate.Config{Logger: quiet()})
	if err != nil {
		return nil, fail(err)
	}
	if _, err := m.Migrate(ctx, rivermigrate.DirectionUp, nil); err != nil {
		return nil, fail(err)
	}
	made := false
	if err := conn.QueryRowContext(ctx, `select to_regclass($1) is not null`, lastName).Scan(&made); err != nil {
		return nil, fail(err)
	}
	if !made {
		if _, err := conn.ExecContext(ctx, schema); err != nil {
			return nil, fail(err)
		}
	}
	c, err := river.NewClient(riverdatabasesql.New(db), &river.Config{Logger: quiet(), Test: river.TestConfig{Time: clock}})
	if err != nil {
		return nil, fail(err)
	}
	return &Queue{db: db, kinds: kinds, insert: c, begun: map[int64]*begun{}}, nil
}

// quiet keeps the library's log to itself: what goes wrong comes back as an
// error or stands in the item.
func quiet() *slog.Logger { return slog.New(slog.NewTextHandler(io.Discard, nil)) }

// Submit puts a job of n items in the queue, all of it or nothing: order is the
// order in which they are taken up (nil: 0 to n-1), chunk how many at a time
// (0: 64).
func (q *Queue) Submit(ctx context.Context, kind string, input []byte, n int, order []int, chunk int) (int64, error) {
	fail := func(err error) (int64, error) {
		return 0, &parcels.Error{Kind: parcels.Failed, Op: "jobs: submit", Subject: kind, Err: err}
	}
	if order == nil {
		order = make([]int, n)
		for i := range order {
			order[i] = i
		}
	}
	if len(order) != n {
		return fail(fmt.Errorf("the order has %d items, the job %d", len(order), n))
	}
	if chunk <= 0 {
		chunk = 64
	}
	if input == nil {
		input = []byte{}
	}
	tx, err := q.db.BeginTx(ctx, nil)
	if err != nil {
		return fail(err)
	}
	defer tx.Rollback()
	var id int64
	if err := tx.QueryRowContext(ctx, `insert into work_job (kind, input, items) values ($1, $2, $3) returning id`, kind, input, n).Scan(&id); err != nil {
		return fail(err)
	}
	var entries []river.InsertManyParams
	var chunks [][]int
	for at := 0; at < n; at += chunk {
		entries = append(entries, river.InsertManyParams{Args: chunkArgs{id, len(chunks)}, InsertOpts: &river.InsertOpts{Queue: queueName, MaxAttempts: 1000}})
		chunks = append(chunks, order[at:min(at+chunk, n)])
	}
	for at := 0; at < len(entries); at += 1000 {
		to := min(at+1000, len(entries))
		in, err := q.insert.InsertManyTx(ctx, tx, entries[at:to])
		if err != nil {
			return fail(err)
		}
		copyIn, err := tx.PrepareContext(ctx, pq.CopyIn("work_chunk", "job", "chunk", "items", "entry"))
		if err != nil {
			return fail(err)
		}
		for k, e := range in {
			items := make([]int64, len(chunks[at+k]))
			for i, v := range chunks[at+k] {
				items[i] = int64(v)
			}
			if _, err := copyIn.ExecContext(ctx, id, at+k, pq.Array(items), e.Job.ID); err != nil {
				return fail(err)
			}
		}
		if _, err := copyIn.ExecContext(ctx); err != nil {
			return fail(err)
		}
		if err := copyIn.Close(); err != nil {
			return fail(err)
		}
	}
	if err := tx.Commit(); err != nil {
		return fail(err)
	}
	return id, nil
}

// Work takes chunks and works them, workers at a time, until ctx ends.
func (q *Queue) Work(ctx context.Context, workers int) error {
	fail := func(err error) error { return &parcels.Error{Kind: parcels.Failed, Op: "jobs: work", Err: err} }
	ws := river.NewWorkers()
	if err := river.AddWorkerSafely(ws, &chunkWorker{q: q}); err != nil {
		return fail(err)
	}
	c, err := river.NewClient(riverdatabasesql.New(q.db), &river.Config{
		Logger: quiet(), Workers: ws, Queues: map[string]river.QueueConfig{queueName: {MaxWorkers: workers}},
		// lib/pq brings no notifications: poll; after a chunk the next at once
		PollOnly: true, FetchCooldown: 2 * time.Millisecond, FetchPollInterval: 250 * time.Millisecond,
		// a chunk may take long; the row it holds says that somebody is at it, so
		// that an entry rescued too soon is put off and no work is done twice
		JobTimeout: -1, RescueStuckJobsAfter: time.Minute, Test: river.TestConfig{Time: clock},
	})
	if err != nil {
		return fail(err)
	}
	if err := c.Start(ctx); err != nil {
		return fail(err)
	}
	tick := time.NewTicker(sweepEvery)
	defer tick.Stop()
	for {
		select {
		case <-tick.C:
			// what goes wrong here goes wrong for the queue's own workers too
			for {
				found, err := q.sweep(ctx)
				if !found || err != nil {
					break
				}
			}
		case <-ctx.Done():
			stop, cancel := context.WithTimeout(context.WithoutCancel(ctx), 10*time.Second)
			defer cancel()
			if err := c.StopAndCancel(stop); err != nil {
				return fail(err)
			}
			return nil
		}
	}
}

const (
	sweepEvery = time.Second
	// sweepAfter is how long an entry may be handed out without its row being
	// held before its worker counts as gone.
	sweepAfter = "2 seconds"
	// again is after what an entry that cannot be worked now is tried again, and
	// latest the longest that one waits which failed often: a database that comes
	// and goes must not put the last chunk off by hours.
	again  = time.Second
	latest = 15 * time.Second
	// lost is how long Wait bears a database that is away.
	lost = 2 * time.Minute
)

// clock is the time that the library goes by; nil is the machine's. For trials.
var clock rivertype.TimeGenerator

// putOffAfter is how long ago an entry may have been submitted or tried last that
// is not due yet: longer than one ever has to wait. It was put off by a process
// whose clock is wrong, and is worked by the sweep, which goes by the server's
// clock alone.
var putOffAfter = 30 * time.Second

// frozenAfter is how long a worker may give no sign before the server ends its
// transaction and with it its hold on the chunk: it is stopped, swapped out or
// cut off. It gives one five times in that while, however long an item takes.
var frozenAfter = 30 * time.Second

type chunkWorker struct {
	river.WorkerDefaults[chunkArgs]
	q *Queue
}

// NextRetry replaces the library's fourth power of the attempts.
func (*chunkWorker) NextRetry(j *river.Job[chunkArgs]) time.Time {
	now := time.Now()
	if clock != nil {
		now = clock.Now()
	}
	return now.Add(min(again*time.Duration(max(1, j.Attempt)), latest))
}

func (w *chunkWorker) Work(ctx context.Context, j *river.Job[chunkArgs]) error {
	tx, err := w.q.db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback()
	var items pq.Int64Array
	err = tx.QueryRowContext(ctx, `select items from work_chunk where job = $1 and chunk = $2 and done is null for update skip locked`, j.Args.Job, j.Args.Chunk).Scan(&items)
	if errors.Is(err, sql.ErrNoRows) {
		// done by another worker, gone with its job, or held
		var held bool
		if err := w.q.db.QueryRowContext(ctx, `select exists (select from work_chunk where job = $1 and chunk = $2 and done is null)`, j.Args.Job, j.Args.Chunk).Scan(&held); err != nil {
			return err
		}
		if held {
			return river.JobSnooze(again)
		}
		return nil
	}
	if err != nil {
		return err
	}
	switch state, err := w.q.state(ctx, j.Args.Job); {
	case err != nil:
		return err
	case state == Paused:
		return river.JobSnooze(again)
	case state == Canceled:
		return river.JobCancel(errCanceled)
	}
	if err := w.q.chunk(ctx, tx, j.Args.Job, j.Args.Chunk, items); err != nil {
		if errors.Is(err, errCanceled) {
			return river.JobCancel(err)
		}
		return err
	}
	if _, err := river.JobCompleteTx[*riverdatabasesql.Driver](ctx, tx, j); err != nil {
		return err
	}
	return tx.Commit()
}

var errCanceled = errors.New("jobs: the job was canceled")

// sweep works one chunk whose entry was handed out and whose worker is gone,
// nobody holding its row, or whose entry was put off by a wrong clock. The entry
// itself is completed when River rescues it or hands it out.
func (q *Queue) sweep(ctx context.Context) (found bool, err error) {
	tx, err := q.db.BeginTx(ctx, nil)
	if err != nil {
		return false, err
	}
	defer tx.Rollback()
	var job int64
	var chunk int
	var items pq.Int64Array
	err = tx.QueryRowContext(ctx, `select c.job, c.chunk, c.items from work_chunk c
		join work_job j on j.id = c.job join river_job r on r.id = c.entry
		where c.done is null and j.state = 'running' and (r.state = 'running' and r.attempted_at < now() - $1::interval
			or (r.state in ('retryable', 'scheduled') or r.state = 'available' and r.scheduled_at > now())
				and coalesce(r.attempted_at, j.submitted) < now() - $2 * interval '1 second')
		order by c.job, c.chunk limit 1 for update of c skip locked`, sweepAfter, putOffAfter.Seconds()).Scan(&job, &chunk, &items)
	if errors.Is(err, sql.ErrNoRows) {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	if err := q.chunk(ctx, tx, job, chunk, items); err != nil {
		return false, err
	}
	return true, tx.Commit()
}

// chunk works the items of a chunk whose row tx holds, and writes what came of
// them.
func (q *Queue) chunk(ctx context.Context, tx *sql.Tx, job int64, chunk int, items []int64) error {
	signs, err := signsOfLife(ctx, tx)
	if err != nil {
		return err
	}
	defer signs()
	item, err := q.open(ctx, job, chunk, items)
	if err != nil {
		if permanent(err) {
			return q.giveUp(ctx, job, err)
		}
		return err
	}
	type outcome struct {
		result []byte
		fault  *string
	}
	out := make([]outcome, len(items))
	looked := time.Now()
	for k, i := range items {
		if time.Since(looked) > again {
			looked = time.Now()
			if s, err := q.state(ctx, job); err != nil {
				return err
			} else if s == Canceled {
				return errCanceled
			}
		}
		b, err := guard(ctx, item, int(i))
		if ctx.Err() != nil {
			return ctx.Err()
		}
		out[k].result = b
		if err != nil {
			text := told(err)
			out[k] = outcome{fault: &text}
		}
	}
	signs() // a copy takes the connection for itself
	put, err := tx.PrepareContext(ctx, pq.CopyIn("work_item", "job", "item", "result", "error"))
	if err != nil {
		return err
	}
	for k, i := range items {
		var result any
		if out[k].result != nil {
			result = out[k].result
		}
		var fault any
		if out[k].fault != nil {
			fault = *out[k].fault
		}
		if _, err := put.ExecContext(ctx, job, i, result, fault); err != nil {
			return err
		}
	}
	if _, err := put.ExecContext(ctx); err != nil {
		return err
	}
	if err := put.Close(); err != nil {
		return err
	}
	_, err = tx.ExecContext(ctx, `update work_chunk set done = now() where job = $1 and chunk = $2`, job, chunk)
	return err
}

// signsOfLife tells the server now and then that the holder of tx is at work,
// until the function it returns is called, and has tx ended when it is not told.
func signsOfLife(ctx context.Context, tx *sql.Tx) (stop func(), err error) {
	if _, err := tx.ExecContext(ctx, fmt.Sprintf("set local idle_in_transaction_session_timeout = %d", frozenAfter.Milliseconds())); err != nil {
		return nil, err
	}
	quit, ended := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(ended)
		tick := time.NewTicker(frozenAfter / 5)
		defer tick.Stop()
		for {
			select {
			case <-quit:
				return
			case <-tick.C:
				if _, err := tx.ExecContext(ctx, "select 1"); err != nil {
					return // the chunk's next statement tells it
				}
			}
		}
	}()
	return sync.OnceFunc(func() { close(quit); <-ended }), nil
}

// told is an error as PostgreSQL takes it.
func told(err error) string {
	text := strings.ToValidUTF8(strings.ReplaceAll(err.Error(), "\x00", " "), "?")
	if len(text) > 4096 {
		text = strings.ToValidUTF8(text[:4096], "")
	}
	return text
}

// permanent says whether an error will be the same at the next try: what was
// asked for is gone, has changed or cannot be read.
func permanent(err error) bool {
	var in *parcels.InputError
	var e *parcels.Error
	if errors.As(err, &in) {
		return true
	}
	if !errors.As(err, &e) {
		return false
	}
	switch e.Kind {
	case parcels.NotFound, parcels.Conflict, parcels.Invalid, parcels.Unreadable, parcels.Unsupported:
		return true
	}
	return false
}

// giveUp ends a job that cannot be worked, with the reason.
func (q *Queue) giveUp(ctx context.Context, job int64, why error) error {
	if _, err := q.db.ExecContext(ctx, `update work_job set state = 'canceled', reason = $2 where id = $1 and state <> 'canceled'`, job, told(why)); err != nil {
		return err
	}
	return errCanceled
}

// open makes ready for a chunk; a panic is an error.
func (q *Queue) open(ctx context.Context, job int64, chunk int, items []int64) (item Item, err error) {
	defer func() {
		if r := recover(); r != nil {
			item, err = nil, &parcels.Error{Kind: parcels.Invalid, Op: "jobs: open", Subject: fmt.Sprintf("chunk %d", chunk), Err: fmt.Errorf("%v", r)}
		}
	}()
	work, err := q.begin(ctx, job)
	if err != nil {
		return nil, err
	}
	list := make([]int, len(items))
	for i, v := range items {
		list[i] = int(v)
	}
	return work(ctx, chunk, list)
}

// guard turns a panic of an item into its error.
func guard(ctx context.Context, item Item, i int) (b []byte, err error) {
	defer func() {
		if r := recover(); r != nil {
			b, err = nil, fmt.Errorf("jobs: item %d: %v", i, r)
		}
	}()
	return item(ctx, i)
}

// begin makes ready for a job, once in this process.
func (q *Queue) begin(ctx context.Context, job int64) (Work, error) {
	q.mu.Lock()
	b := q.begun[job]
	if b == nil {
		b = &begun{}
		q.begun[job] = b
	}
	q.mu.Unlock()
	b.once.Do(func() {
		var kind string
		var input []byte
		if b.err = q.db.QueryRowContext(ctx, `select kind, input from work_job where id = $1`, job).Scan(&kind, &input); b.err != nil {
			return
		}
		f := q.kinds[kind]
		if f == nil {
			b.err = fmt.Errorf("jobs: this worker knows no work of kind %q", parcels.Excerpt(kind))
			return
		}
		b.work, b.err = f(context.WithoutCancel(ctx), input)
	})
	if b.err != nil { // try anew next time
		q.mu.Lock()
		if q.begun[job] == b {
			delete(q.begun, job)
		}
		q.mu.Unlock()
	}
	return b.work, b.err
}

func (q *Queue) state(ctx context.Context, job int64) (State, error) {
	var s State
	err := q.db.QueryRowContext(ctx, `select state from work_job where id = $1`, job).Scan(&s)
	if errors.Is(err, sql.ErrNoRows) {
		return Canceled, nil
	}
	return s, err
}

// Progress tells how far a job is.
func (q *Queue) Progress(ctx context.Context, job int64) (Progress, State, error) {
	var p Progress
	var s State
	var elapsed float64
	var open int
	err := q.db.QueryRowContext(ctx, `select j.state, j.items,
		(select coalesce(sum(c.size), 0) from work_chunk c where c.job = j.id and c.done is not null),
		(select count(*) from work_chunk c where c.job = j.id and c.done is null),
		(select count(*) from work_item i where i.job = j.id and i.error is not null),
		extract(epoch from coalesce((select max(c.done) from work_chunk c where c.job = j.id having count(*) filter (where c.done is null) = 0), now()) - j.submitted)
		from work_job j where j.id = $1`, job).Scan(&s, &p.Items, &p.Done, &open, &p.SetAside, &elapsed)
	if errors.Is(err, sql.ErrNoRows) {
		return p, "", &parcels.Error{Kind: parcels.NotFound, Op: "jobs: progress", Subject: fmt.Sprint(job), Err: errors.New("there is no such job")}
	}
	if err != nil {
		return p, "", &parcels.Error{Kind: parcels.Failed, Op: "jobs: progress", Err: err}
	}
	p.Elapsed = time.Duration(elapsed * float64(time.Second))
	p.Paused = s == Paused
	if elapsed > 0 && p.Done > 0 {
		p.PerSecond = float64(p.Done) / elapsed
		left := time.Duration(float64(p.Items-p.Done) / p.PerSecond * float64(time.Second))
		p.Left = &left
	}
	if s == Running && open == 0 {
		s = Done
	}
	return p, s, nil
}

// Pause holds a job before its next chunks, Resume lets it go on, Cancel ends
// it: chunks under way stop at their next item and keep nothing. Each is a
// Conflict for a job that is canceled or done.
func (q *Queue) Pause(ctx context.Context, job int64) error  { return q.set(ctx, job, Paused) }
func (q *Queue) Resume(ctx context.Context, job int64) error { return q.set(ctx, job, Running) }
func (q *Queue) Cancel(ctx context.Context, job int64) error { return q.set(ctx, job, Canceled) }

func (q *Queue) set(ctx context.Context, job int64, to State) error {
	r, err := q.db.ExecContext(ctx, `update work_job j set state = $2 where id = $1 and state <> 'canceled'
		and exists (select from work_chunk c where c.job = j.id and c.done is null)`, job, to)
	if err != nil {
		return &parcels.Error{Kind: parcels.Failed, Op: "jobs: " + string(to), Err: err}
	}
	if n, _ := r.RowsAffected(); n > 0 {
		return nil
	}
	_, s, err := q.Progress(ctx, job)
	if err != nil {
		return err
	}
	return &parcels.Error{Kind: parcels.Conflict, Op: "jobs: " + string(to), Subject: fmt.Sprint(job), Err: fmt.Errorf("the job is %s", s)}
}

// Input is what a job was submitted with, and Reason why it was ended, empty
// where it was not or by a person.
func (q *Queue) Input(ctx context.Context, job int64) (input []byte, err error) {
	err = q.db.QueryRowContext(ctx, `select input from work_job where id = $1`, job).Scan(&input)
	return input, q.fault("input", job, err)
}

func (q *Queue) Reason(ctx context.Context, job int64) (reason string, err error) {
	err = q.db.QueryRowContext(ctx, `select coalesce(reason, '') from work_job where id = $1`, job).Scan(&reason)
	return reason, q.fault("reason", job, err)
}

func (q *Queue) fault(op string, job int64, err error) error {
	switch {
	case err == nil:
		return nil
	case errors.Is(err, sql.ErrNoRows):
		return &parcels.Error{Kind: parcels.NotFound, Op: "jobs: " + op, Subject: fmt.Sprint(job), Err: errors.New("there is no such job")}
	}
	return &parcels.Error{Kind: parcels.Failed, Op: "jobs: " + op, Err: err}
}

// Wait follows a job to its end, telling its progress; it returns the last
// progress and state. It may be called where no worker runs. A database that goes
// away and comes back within two minutes does not end it.
func (q *Queue) Wait(ctx context.Context, job int64, every time.Duration, report func(Progress)) (Progress, State, error) {
	if every <= 0 {
		every = time.Second / 4
	}
	seen := time.Now()
	for {
		p, s, err := q.Progress(ctx, job)
		var e *parcels.Error
		switch {
		case err == nil:
			seen = time.Now()
			if report != nil {
				report(p)
			}
		case ctx.Err() != nil, errors.As(err, &e) && e.Kind == parcels.NotFound, time.Since(seen) > lost:
			return p, s, err
		}
		if s == Done || s == Canceled {
			return p, s, nil
		}
		select {
		case <-time.After(every):
		case <-ctx.Done():
			return p, s, ctx.Err()
		}
	}
}

// Results gives what was kept of each item, in the order of the items. fault is
// the error of an item that was set aside.
func (q *Queue) Results(ctx context.Context, job int64, f func(item int, result []byte, fault string) error) error {
	rows, err := q.db.QueryContext(ctx, `select item, result, coalesce(error, '') from work_item where job = $1 order by item`, job)
	if err != nil {
		return &parcels.Error{Kind: parcels.Failed, Op: "jobs: results", Err: err}
	}
	defer rows.Close()
	for rows.Next() {
		var item int
		var result []byte
		var fault string
		if err := rows.Scan(&item, &result, &fault); err != nil {
			return &parcels.Error{Kind: parcels.Failed, Op: "jobs: results", Err: err}
		}
		if err := f(item, result, fault); err != nil {
			return err
		}
	}
	if err := rows.Err(); err != nil {
		return &parcels.Error{Kind: parcels.Failed, Op: "jobs: results", Err: err}
	}
	return nil
}

// Forget drops a job with its results.
func (q *Queue) Forget(ctx context.Context, job int64) error {
	_, err := q.db.ExecContext(ctx, `delete from work_job where id = $1`, job)
	if err != nil {
		return &parcels.Error{Kind: parcels.Failed, Op: "jobs: forget", Err: err}
	}
	q.mu.Lock()
	delete(q.begun, job)
	q.mu.Unlock()
	return nil
}
