package jobs_test

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	_ "github.com/lib/pq"

	"fallwright/parcels"
	"fallwright/parcels/auditor"
	"fallwright/parcels/document"
	"fallwright/parcels/jobs"
	"fallwright/parcels/jobs/pgtemp"
	"fallwright/parcels/store/postgis"
	"fallwright/sampledata"
)

// workerEnv makes this test program a worker on the database it names.
const workerEnv = "FALLWRIGHT_TEST_WORKER"

func TestMain(m *testing.M) {
	if dsn := os.Getenv(workerEnv); dsn != "" {
		if err := workForever(dsn); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		return
	}
	os.Exit(m.Run())
}

// frozenEnv is after how long such a worker counts as frozen.
const frozenEnv = "FALLWRIGHT_TEST_FROZEN_AFTER"

// clockEnv is by how much the clock of such a worker steps, to and fro, each
// second; every other chunk that it takes up fails, to be put off by that clock.
const clockEnv = "FALLWRIGHT_TEST_CLOCK"

type stepping struct{ by time.Duration }

func (c stepping) Now() time.Time {
	now := time.Now()
	return now.Add(time.Duration(now.Unix()%3-1) * c.by)
}

// NowOrNil leaves the server to its own clock, as with the machine's time.
func (stepping) NowOrNil() *time.Time { return nil }

// workForever is a worker process: audits, each lot held up a little so that
// there is time to be killed in.
func workForever(dsn string) error {
	if d, err := time.ParseDuration(os.Getenv(frozenEnv)); err == nil {
		jobs.FrozenAfter(d)
	}
	steps, err := time.ParseDuration(os.Getenv(clockEnv))
	wrong := err == nil
	if wrong {
		jobs.Clock(stepping{steps})
		jobs.PutOffAfter(3 * time.Second)
	}
	var taken atomic.Int64
	db, err := sql.Open("postgres", dsn)
	if err != nil {
		return err
	}
	st, err := postgis.Open(dsn)
	if err != nil {
		return err
	}
	slow := func(ctx context.Context, input []byte) (jobs.Work, error) {
		work, err := auditor.Begin(st)(ctx, input)
		return func(ctx context.Context, chunk int, items []int) (jobs.Item, error) {
			if wrong && taken.Add(1)%2 == 1 {
				return nil, errors.New("a failure that another try mends")
			}
			item, err := work(ctx, chunk, items)
			return func(ctx context.Context, i int) ([]byte, error) {
				time.Sleep(40 * time.Millisecond)
				if i == poison && os.Getenv("FALLWRIGHT_TEST_POISON") != "" {
					panic("poison")
				}
				return item(ctx, i)
			}, err
		}, err
	}
	q, err := jobs.Open(context.Background(), db, map[string]jobs.Begin{auditor.JobKind: slow})
	if err != nil {
		return err
	}
	return q.Work(context.Background(), 1)
}

const poison = 7

func open(t *testing.T, dsn string, kinds map[string]jobs.Begin) (*jobs.Queue, *sql.DB) {
	t.Helper()
	db, err := sql.Open("postgres", dsn)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	q, err := jobs.Open(t.Context(), db, kinds)
	if err != nil {
		t.Fatal(err)
	}
	return q, db
}

func start(t *testing.T, dsn string, more ...string) *exec.Cmd {
	t.Helper()
	c := exec.Command(os.Args[0], "-test.run=^$")
	c.Env = append(append(os.Environ(), workerEnv+"="+dsn), more...)
	c.Stderr = os.Stderr
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Process.Kill(); c.Wait() })
	return c
}

// One server for all: starting it takes longest.
func TestQueue(t *testing.T) {
	dsn := pgtemp.Start(t)
	t.Run("a killed worker changes nothing", func(t *testing.T) { killedWorkerChangesNothing(t, dsn) })
	t.Run("one process", func(t *testing.T) { oneProcess(t, dsn) })
}

// A stored site audited with every check: three worker processes over one
// PostGIS, one killed in the middle of a chunk, the rest held and released. Every
// lot is there once, and the bytes are those of one worker that nobody disturbed
// and of one process without a queue.
func killedWorkerChangesNothing(t *testing.T, dsn string) {
	q, db := open(t, dsn, nil)
	st, err := postgis.Open(dsn)
	if err != nil {
		t.Fatal(err)
	}
	defer st.Close()
	if _, err := st.PutSite(t.Context(), sampledata.Site, sampledata.StatePlane(), 0, "test"); err != nil {
		t.Fatal(err)
	}
	var all []string
	for _, c := range auditor.Checks {
		all = append(all, c.Name)
	}
	r := auditor.Request{Site: sampledata.Site, Checks: all, Zones: true}
	site, err := document.Read(sampledata.StatePlane(), document.Options{})
	if err != nil {
		t.Fatal(err)
	}
	o := auditor.Options{Checks: all, Zones: true}
	a, err := auditor.New(site, o)
	if err != nil {
		t.Fatal(err)
	}
	alone, err := a.Audit(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	want, err := auditor.Write(alone, site.Frame)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), 3*time.Minute)
	defer cancel()
	gathered := func(id int64) *auditor.Result {
		t.Helper()
		res, err := auditor.Gather(t.Context(), q, id, st)
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { res.Close() })
		return res
	}
	same := func(what string, id int64) {
		t.Helper()
		var got bytes.Buffer
		if err := gathered(id).WriteJSON(&got); err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(want, got.Bytes()) {
			t.Error(what, "gives other bytes than one process")
		}
	}

	id, err := auditor.Submit(t.Context(), q, r, st, 12)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := auditor.Gather(t.Context(), q, id, st); err == nil {
		t.Error("an audit that is not done was put together")
	}
	one := start(t, dsn)
	if p, state, err := q.Wait(ctx, id, 0, nil); err != nil || state != jobs.Done || p.Done != 36 || p.SetAside != 0 {
		t.Fatalf("%+v %s %v", p, state, err)
	}
	same("one worker", id)

	two, three := start(t, dsn), start(t, dsn)
	time.Sleep(time.Second) // until they ask for work
	if id, err = auditor.Submit(t.Context(), q, r, st, 3); err != nil {
		t.Fatal(err)
	}
	killed, held := false, false
	p, state, err := q.Wait(ctx, id, 20*time.Millisecond, func(p jobs.Progress) {
		var mine int // chunks that the victim holds: it is in the middle of one
		if !killed {
			if err := db.QueryRow(`select count(*) from work_chunk where job = $1 and done is null and (job, chunk) not in
				(select job, chunk from work_chunk where job = $1 and done is null for update skip locked)`, id).Scan(&mine); err != nil {
				t.Fatal(err)
			}
		}
		// all three at it, one of them the victim
		if !killed && p.Done > 0 && mine == 3 {
			killed = true
			if err := one.Process.Kill(); err != nil {
				t.Fatal(err)
			}
			one.Wait()
			return
		}
		if killed && !held && p.Done < 30 {
			held = true
			if err := q.Pause(ctx, id); err != nil {
				t.Fatal(err)
			}
			time.Sleep(1500 * time.Millisecond) // chunks under way end
			before, s, err := q.Progress(ctx, id)
			if err != nil || s != jobs.Paused || !before.Paused {
				t.Errorf("%+v %s %v", before, s, err)
			}
			time.Sleep(1500 * time.Millisecond)
			if after, _, err := q.Progress(ctx, id); err != nil || after.Done > before.Done+6 {
				t.Errorf("%d lots done, then %d, while held: %v", before.Done, after.Done, err)
			}
			if err := q.Resume(ctx, id); err != nil {
				t.Fatal(err)
			}
		}
	})
	if err != nil || state != jobs.Done || p.Done != 36 || p.SetAside != 0 || !killed {
		t.Fatalf("%+v %s %v, killed %v", p, state, err, killed)
	}
	if p.PerSecond <= 0 || p.Left == nil || *p.Left != 0 {
		t.Errorf("rate %v, time left %v at the end", p.PerSecond, p.Left)
	}
	same("three workers, one killed,", id)
	t.Logf("%d lots in %v, held on the way: %v", p.Done, p.Elapsed.Round(time.Millisecond), held)

	// a poison lot is set aside with its error, the rest goes on
	for _, c := range []*exec.Cmd{two, three} {
		c.Process.Kill()
		c.Wait()
	}
	r.Checks = []string{"zone"}
	if id, err = auditor.Submit(t.Context(), q, r, st, 9); err != nil {
		t.Fatal(err)
	}
	sick := start(t, dsn, "FALLWRIGHT_TEST_POISON=1")
	if p, state, err = q.Wait(ctx, id, 0, nil); err != nil || state != jobs.Done || p.SetAside != 1 || p.Done != 36 {
		t.Fatalf("%+v %s %v", p, state, err)
	}
	audit, err := gathered(id).Load()
	if err != nil {
		t.Fatal(err)
	}
	if audit.Complete || audit.Totals.SetAside != 1 || !strings.Contains(audit.Rows[poison].Error, "poison") || audit.Rows[poison].Shape == nil || audit.Rows[poison+1].Error != "" {
		t.Errorf("%+v %q", audit.Totals, audit.Rows[poison].Error)
	}

	// a site that changes under its audit ends it, with the reason
	sick.Process.Kill()
	sick.Wait()
	if id, err = auditor.Submit(t.Context(), q, r, st, 9); err != nil {
		t.Fatal(err)
	}
	if _, err := st.PutSite(t.Context(), sampledata.Site, sampledata.StatePlane(), 0, "test"); err != nil {
		t.Fatal(err)
	}
	start(t, dsn)
	if _, state, err = q.Wait(ctx, id, 0, nil); err != nil || state != jobs.Canceled {
		t.Fatalf("%s %v", state, err)
	}
	if why, err := q.Reason(ctx, id); err != nil || !strings.Contains(why, "version") {
		t.Errorf("reason %q, %v", why, err)
	}
}

// every is work without anything to make ready.
func every(item jobs.Item) jobs.Work {
	return func(context.Context, int, []int) (jobs.Item, error) { return item, nil }
}

// Submitting, progress, pause, resume, cancel, errors, in one process.
func oneProcess(t *testing.T, dsn string) {
	var worked atomic.Int32
	gate := make(chan struct{})
	kinds := map[string]jobs.Begin{
		"square": func(_ context.Context, input []byte) (jobs.Work, error) {
			return every(func(_ context.Context, i int) ([]byte, error) {
				worked.Add(1)
				switch i {
				case 13:
					return nil, errors.New("thirteen\x00 is \xff bad")
				case 17:
					panic("seventeen")
				}
				return fmt.Appendf(nil, "%s%d", input, i*i), nil
			}), nil
		},
		"gated": func(context.Context, []byte) (jobs.Work, error) {
			return every(func(ctx context.Context, i int) ([]byte, error) {
				worked.Add(1)
				select {
				case <-gate:
				case <-ctx.Done():
				case <-time.After(1200 * time.Millisecond):
				}
				return nil, nil
			}), nil
		},
	}
	q, _ := open(t, dsn, kinds)
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- q.Work(ctx, 2) }()

	order := make([]int, 40)
	for i := range order {
		order[i] = 39 - i
	}
	id, err := q.Submit(t.Context(), "square", []byte("n"), 40, order, 7)
	if err != nil {
		t.Fatal(err)
	}
	p, state, err := q.Wait(t.Context(), id, 0, nil)
	if err != nil || state != jobs.Done || p.Done != 40 || p.SetAside != 2 || worked.Load() != 40 {
		t.Fatalf("%+v %s %v, %d worked", p, state, err, worked.Load())
	}
	next := 0
	if err := q.Results(t.Context(), id, func(i int, b []byte, fault string) error {
		if i != next {
			t.Errorf("item %d where %d was due", i, next)
		}
		next++
		switch {
		case i == 13 && fault != "thirteen  is ? bad", i == 17 && !strings.Contains(fault, "seventeen"):
			t.Errorf("item %d: %q", i, fault)
		case i != 13 && i != 17 && (string(b) != fmt.Sprintf("n%d", i*i) || fault != ""):
			t.Errorf("item %d: %q %q", i, b, fault)
		}
		return nil
	}); err != nil || next != 40 {
		t.Fatalf("%d results, %v", next, err)
	}
	var e *parcels.Error
	if err := q.Pause(t.Context(), id); !errors.As(err, &e) || e.Kind != parcels.Conflict {
		t.Errorf("a job that is done was paused: %v", err)
	}

	// paused before it begins: nothing moves
	worked.Store(0)
	id, err = q.Submit(t.Context(), "gated", nil, 6, nil, 1)
	if err != nil {
		t.Fatal(err)
	}
	if err := q.Pause(t.Context(), id); err != nil {
		t.Fatal(err)
	}
	time.Sleep(700 * time.Millisecond)
	before := worked.Load() // what had been taken up at once
	time.Sleep(1500 * time.Millisecond)
	if worked.Load() > before || before > 2 {
		t.Errorf("%d items begun, then %d, while paused", before, worked.Load())
	}
	if p, s, _ := q.Progress(t.Context(), id); s != jobs.Paused || !p.Paused {
		t.Errorf("%+v %s", p, s)
	}
	close(gate)
	if err := q.Resume(t.Context(), id); err != nil {
		t.Fatal(err)
	}
	wait, cancel := context.WithTimeout(t.Context(), 30*time.Second)
	defer cancel()
	if p, s, err := q.Wait(wait, id, 0, nil); err != nil || s != jobs.Done || p.Done != 6 {
		t.Fatalf("%+v %s %v", p, s, err)
	}

	// canceled: the open chunk keeps nothing
	gate = make(chan struct{})
	worked.Store(0)
	if id, err = q.Submit(t.Context(), "gated", nil, 20, nil, 20); err != nil {
		t.Fatal(err)
	}
	for worked.Load() == 0 {
		time.Sleep(10 * time.Millisecond)
	}
	if err := q.Cancel(t.Context(), id); err != nil {
		t.Fatal(err)
	}
	if p, s, err := q.Wait(wait, id, 0, nil); err != nil || s != jobs.Canceled || p.Done != 0 {
		t.Fatalf("%+v %s %v", p, s, err)
	}
	if err := q.Resume(t.Context(), id); !errors.As(err, &e) || e.Kind != parcels.Conflict {
		t.Errorf("a canceled job was resumed: %v", err)
	}
	time.Sleep(2500 * time.Millisecond)
	n := 0
	if err := q.Results(t.Context(), id, func(int, []byte, string) error { n++; return nil }); err != nil || n != 0 || worked.Load() > 4 {
		t.Errorf("a canceled job kept %d results, %d items begun, %v", n, worked.Load(), err)
	}

	if _, _, err := q.Progress(t.Context(), 999); !errors.As(err, &e) || e.Kind != parcels.NotFound {
		t.Errorf("no such job: %v", err)
	}
	if _, err := q.Submit(t.Context(), "square", nil, 3, []int{1}, 0); err == nil {
		t.Error("an order of one item for three was taken")
	}
	if id, err = q.Submit(t.Context(), "square", nil, 0, nil, 0); err != nil {
		t.Fatal(err)
	}
	if p, s, err := q.Progress(t.Context(), id); err != nil || s != jobs.Done || p.Percent() != 100 {
		t.Errorf("a job of nothing: %+v %s %v", p, s, err)
	}
	if err := q.Forget(t.Context(), id); err != nil {
		t.Fatal(err)
	}
	stop()
	if err := <-ended; err != nil {
		t.Errorf("stopping: %v", err)
	}
}
