package api

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"runtime"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"fallwright/parcels"
)

// slowEngine works n steps and tells its progress after each; it waits for step
// before every one, and stops when its context ends.
func slowEngine(n int, step chan struct{}, stopped *atomic.Int64) exampleEngine {
	return exampleEngine{execute: func(ctx context.Context, r Request) (Answer, error) {
		for i := range n {
			select {
			case <-step:
			case <-ctx.Done():
				stopped.Add(1)
				return Answer{}, ctx.Err()
			}
			r.Progress(i+1, n, "lot <b>12</b>")
		}
		return Answer{Body: []byte(`{"type":"FeatureCollection","features":[],"status":"preliminary","cautions":["c"]}`)}, nil
	}}
}

type event struct {
	id   string
	data statusInfo
}

// events reads a stream to its end, or until n events came.
func events(t *testing.T, url, last string, n int) (out []event, status int) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	r, _ := http.NewRequestWithContext(ctx, "GET", url, nil)
	if last != "" {
		r.Header.Set("Last-Event-ID", last)
	}
	res, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	var e event
	for lines := bufio.NewScanner(res.Body); (n == 0 || len(out) < n) && lines.Scan(); {
		switch key, v, _ := strings.Cut(lines.Text(), ": "); key {
		case "id":
			e.id = v
		case "data":
			e.data = read[statusInfo](t, &http.Response{Body: io.NopCloser(strings.NewReader(v))})
		case "":
			if e.id != "" {
				out = append(out, e)
			}
			e = event{}
		}
	}
	return out, res.StatusCode
}

// TestEventsResume: a client that loses the stream and comes back with the id
// of the last event gets each event once.
func TestEventsResume(t *testing.T) {
	step := make(chan struct{})
	var stopped atomic.Int64
	c := newClient(t, func(o *Options) { o.Engine = slowEngine(4, step, &stopped) })
	server := httptest.NewServer(c.s)
	defer server.Close()
	res := c.do("POST /processes/zone/execution", `{"inputs":{"site":{}}}`, header{"Prefer": "wait=1, respond-async"})
	c.want(res, 201, "")
	if res.Header.Get("Preference-Applied") != "respond-async" || res.Header.Get("Location") == "" {
		t.Errorf("headers %v", res.Header)
	}
	j := read[statusInfo](t, res)
	url := server.URL + "/jobs/" + j.JobID + "/events"
	c.want(c.do("GET /jobs/"+j.JobID+"/results", nil), 404, "job-not-finished")
	step <- struct{}{}
	first, _ := events(t, url, "", 3) // accepted, running, 25 %
	if len(first) != 3 || first[2].data.Progress != 25 || first[0].data.Status != accepted {
		t.Fatalf("%+v", first)
	}
	step <- struct{}{}
	step <- struct{}{}
	step <- struct{}{}
	rest, _ := events(t, url, first[2].id, 0)
	var got []string
	for _, e := range append(first, rest...) {
		got = append(got, fmt.Sprintf("%s %s %d", e.id, e.data.Status, e.data.Progress))
	}
	want := "1 accepted 0, 2 running 0, 3 running 25, 4 running 50, 5 running 75, 6 running 99, 7 successful 100"
	if strings.Join(got, ", ") != want {
		t.Errorf("got  %s\nwant %s", strings.Join(got, ", "), want)
	}
	if _, status := events(t, url, "7", 0); status != 204 {
		t.Errorf("nothing left to send: %d", status)
	}
	if _, status := events(t, url, "x", 0); status != 400 {
		t.Errorf("no number: %d", status)
	}
	c.want(c.do("GET /jobs/"+j.JobID+"/results", nil), 200, "")
}

// TestDismiss: a dismissed job stops within two seconds, and its place is free
// again.
func TestDismiss(t *testing.T) {
	var stopped atomic.Int64
	c := newClient(t, func(o *Options) {
		o.Engine = slowEngine(1, make(chan struct{}), &stopped)
		o.Config.Limits.RunningJobs, o.Config.Limits.QueuedJobs = 1, 1
	})
	start := func() statusInfo {
		return read[statusInfo](t, c.do("POST /processes/zone/execution", `{"inputs":{"site":{}}}`, header{"Prefer": "respond-async"}))
	}
	a := start()
	waitFor(t, func() bool { return read[statusInfo](t, c.do("GET /jobs/"+a.JobID, nil)).Status == running })
	b := start()
	res := c.do("POST /processes/zone/execution", `{"inputs":{"site":{}}}`, header{"Prefer": "respond-async"})
	c.want(res, 503, "busy")
	if res.Header.Get("Retry-After") == "" {
		t.Error("no Retry-After")
	}
	asked := time.Now()
	if got := read[statusInfo](t, c.do("DELETE /jobs/"+b.JobID, nil)); got.Status != dismissed {
		t.Errorf("%+v", got)
	}
	if got := read[statusInfo](t, c.do("DELETE /jobs/"+a.JobID, nil)); got.Status != dismissed {
		t.Errorf("%+v", got)
	}
	waitFor(t, func() bool { return stopped.Load() == 1 })
	if took := time.Since(asked); took > 2*time.Second {
		t.Errorf("stopped after %s", took)
	}
	c.want(c.do("GET /jobs/"+a.JobID+"/results", nil), 404, "not-found")
	d := start() // the place is free
	waitFor(t, func() bool { return read[statusInfo](t, c.do("GET /jobs/"+d.JobID, nil)).Status == running })
	if list := read[struct{ Jobs []statusInfo }](t, c.do("GET /jobs?limit=2", nil)); len(list.Jobs) != 2 || list.Jobs[0].JobID != d.JobID {
		t.Errorf("%+v", list)
	}
}

// TestFailedJob: a job that fails, or panics, says why, as the direct execution
// would have.
func TestFailedJob(t *testing.T) {
	for _, row := range []struct {
		execute func(context.Context, Request) (Answer, error)
		status  int
		slug    string
	}{
		{func(context.Context, Request) (Answer, error) {
			return Answer{}, &parcels.InputError{Kind: parcels.Invalid, Faults: []parcels.Fault{{Slug: "ring-not-closed", Detail: "Ring 0 is not closed."}}}
		}, 422, "ring-not-closed"},
		{func(context.Context, Request) (Answer, error) {
			return Answer{}, &parcels.InputError{Kind: parcels.Failed, Faults: []parcels.Fault{{Slug: "plan-not-verified", Detail: "Run R-1 leaves the lot by 0.02 m."}}}
		}, 500, "plan-not-verified"},
		{func(context.Context, Request) (Answer, error) { panic("at the wrong place") }, 500, "internal-error"},
	} {
		c := newClient(t, func(o *Options) { o.Engine = exampleEngine{execute: row.execute} })
		c.want(c.do("POST /processes/plan/execution", `{"inputs":{"site":{}}}`), row.status, row.slug)
		j := read[statusInfo](t, c.do("POST /processes/plan/execution", `{"inputs":{"site":{}}}`, header{"Prefer": "respond-async"}))
		waitFor(t, func() bool { return read[statusInfo](t, c.do("GET /jobs/"+j.JobID, nil)).Status == failed })
		c.want(c.do("GET /jobs/"+j.JobID+"/results", nil), row.status, row.slug)
	}
}

// TestClientGone: a direct execution stops when its client goes.
func TestClientGone(t *testing.T) {
	var stopped atomic.Int64
	c := newClient(t, func(o *Options) { o.Engine = slowEngine(1, make(chan struct{}), &stopped) })
	server := httptest.NewServer(c.s)
	defer server.Close()
	ctx, cancel := context.WithTimeout(context.Background(), 50*time.Millisecond)
	defer cancel()
	r, _ := http.NewRequestWithContext(ctx, "POST", server.URL+"/processes/zone/execution", strings.NewReader(`{"inputs":{"site":{}}}`))
	r.Header.Set("Content-Type", appJSON)
	if _, err := http.DefaultClient.Do(r); !errors.Is(err, context.DeadlineExceeded) {
		t.Fatal(err)
	}
	waitFor(t, func() bool { return stopped.Load() == 1 })
}

// TestPastCapacity: what does not fit is refused at once, not kept waiting.
func TestPastCapacity(t *testing.T) {
	step := make(chan struct{})
	var stopped atomic.Int64
	c := newClient(t, func(o *Options) {
		o.Engine = slowEngine(1, step, &stopped)
		o.Config.Limits.Concurrent, o.Config.Limits.Waiting = 1, 1
	})
	done := make(chan *http.Response, 2)
	for range 2 {
		go func() { done <- c.do("POST /processes/zone/execution", `{"inputs":{"site":{}}}`) }()
	}
	waitFor(t, func() bool { return len(c.s.s.lanes.short.waiting) == 2 })
	c.want(c.do("POST /processes/zone/execution", `{"inputs":{"site":{}}}`), 503, "busy")
	if len(done) > 0 { // it did not wait for those before it
		t.Error("refused only after another ended")
	}
	for range 2 {
		step <- struct{}{}
	}
	for range 2 {
		c.want(<-done, 200, "")
	}
}

// TestLanes: a plan that takes long keeps neither a check nor a quick plan waiting,
// and a row of plans that is full refuses plans alone.
func TestLanes(t *testing.T) {
	step, running := make(chan struct{}), make(chan struct{}, 9)
	c := newClient(t, func(o *Options) {
		o.Engine = exampleEngine{execute: func(ctx context.Context, r Request) (Answer, error) {
			if r.Process == "plan" && !strings.Contains(string(r.Options), `"quick":true`) || strings.Contains(string(r.Options), "shared") {
				running <- struct{}{}
				<-step
			}
			return exampleEngine{}.Execute(ctx, r)
		}}
		o.Config.Limits.Concurrent, o.Config.Limits.Waiting = 2, 1
	})
	done := make(chan *http.Response, 3)
	plan := func(options string) {
		done <- c.do("POST /processes/plan/execution", `{"inputs":{"site":{},"options":`+options+`}}`)
	}
	go plan(`{}`)
	<-running
	c.want(c.do("POST /processes/plan/execution", `{"inputs":{"site":{},"options":{"quick":true}}}`), 200, "")
	c.want(c.do("POST /processes/check/execution", `{"inputs":{"site":{}}}`), 200, "")
	go plan(`{"quick":true,"shared":true}`) // many lots: no short work
	go plan(`{}`)
	waitFor(t, func() bool { return len(c.s.s.lanes.long.waiting) == 3 })
	c.want(c.do("POST /processes/plan/execution", `{"inputs":{"site":{},"options":{"quick":true}}}`), 503, "busy")
	c.want(c.do("POST /processes/check/execution", `{"inputs":{"site":{}}}`), 200, "")
	if len(running) > 0 {
		t.Error("two plans at once on two processors")
	}
	for range 3 {
		step <- struct{}{}
	}
	for range 3 {
		c.want(<-done, 200, "")
	}
}

// TestTimeLimit: work that takes too long for a direct answer is stopped.
func TestTimeLimit(t *testing.T) {
	var stopped atomic.Int64
	c := newClient(t, func(o *Options) {
		o.Engine = slowEngine(1, make(chan struct{}), &stopped)
		o.Config.Limits.SyncTime = 20 * time.Millisecond
	})
	c.want(c.do("POST /processes/zone/execution", `{"inputs":{"site":{}}}`), 503, "time-limit")
	if stopped.Load() != 1 {
		t.Error("the work goes on")
	}
}

// TestBombs: a body that unpacks to much more than it is, or is larger than the
// limit, is refused while little of it is in memory.
func TestBombs(t *testing.T) {
	var bomb bytes.Buffer
	z := gzip.NewWriter(&bomb)
	for range 64 {
		_, _ = z.Write(make([]byte, 1<<20))
	}
	_ = z.Close()
	c := newClient(t)
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	c.want(c.do("POST /processes/zone/execution", bomb.Bytes(), header{"Content-Encoding": "gzip"}), 413, "body-too-large")
	runtime.ReadMemStats(&after)
	if grown := after.TotalAlloc - before.TotalAlloc; grown > 48<<20 {
		t.Errorf("%d MiB were made of a body that unpacks to 64", grown>>20)
	}
	var good bytes.Buffer
	z = gzip.NewWriter(&good)
	_, _ = z.Write(example(t, "execute"))
	_ = z.Close()
	c.want(c.do("POST /processes/zone/execution", good.Bytes(), header{"Content-Encoding": "gzip"}), 200, "")
	c.want(c.do("POST /processes/zone/execution", good.Bytes()[:good.Len()-6], header{"Content-Encoding": "gzip"}), 400, "unreadable")
	// a body that says it is longer than it may be is not read at all
	r := httptest.NewRequest("POST", "http://localhost/processes/zone/execution", io.NopCloser(neverRead{t}))
	r.Header.Set("Content-Type", appJSON)
	r.ContentLength = 1 << 40
	w := httptest.NewRecorder()
	c.s.ServeHTTP(w, r)
	c.want(w.Result(), 413, "body-too-large")
}

type neverRead struct{ t *testing.T }

func (n neverRead) Read([]byte) (int, error) {
	n.t.Error("the body was read")
	return 0, io.EOF
}

// TestServe: the service listens, answers over HTTP/1.1 and HTTP/2, refuses
// connections past the cap, and stops with open event streams.
func TestServe(t *testing.T) {
	var stopped atomic.Int64
	s, err := New(Options{Engine: slowEngine(1, make(chan struct{}), &stopped), Config: Config{Addr: "127.0.0.1:0", Limits: Limits{Connections: 3}}})
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	addr, ended := make(chan string, 1), make(chan error, 1)
	go func() { ended <- Serve(ctx, s, func(a string) { addr <- a }) }()
	url := "http://" + <-addr
	var h2 http.Protocols
	h2.SetUnencryptedHTTP2(true)
	two := &http.Client{Transport: &http.Transport{Protocols: &h2}}
	res, err := two.Get(url + "/healthz")
	if err != nil || res.ProtoMajor != 2 || res.StatusCode != 200 {
		t.Fatal(res, err)
	}
	res.Body.Close()
	two.CloseIdleConnections()
	r, _ := http.NewRequest("POST", url+"/processes/zone/execution", strings.NewReader(`{"inputs":{"site":{}}}`))
	r.Header.Set("Content-Type", appJSON)
	r.Header.Set("Prefer", "respond-async")
	if res, err = http.DefaultClient.Do(r); err != nil {
		t.Fatal(err)
	}
	j := read[statusInfo](t, res)
	http.DefaultClient.CloseIdleConnections()
	stream := make(chan int, 1)
	go func() {
		e, _ := events(t, url+"/jobs/"+j.JobID+"/events", "", 0)
		stream <- len(e)
	}()
	waitFor(t, func() bool { return s.s.jobs.idle() })
	var held []net.Conn
	refused := false
	for range 6 {
		c, err := net.Dial("tcp", url[len("http://"):])
		if err != nil {
			t.Fatal(err)
		}
		held = append(held, c)
		_ = c.SetReadDeadline(time.Now().Add(200 * time.Millisecond))
		var head [32]byte
		if n, _ := c.Read(head[:]); strings.HasPrefix(string(head[:n]), "HTTP/1.1 503") {
			refused = true
			break
		}
	}
	if !refused {
		t.Error("no connection was refused past the cap")
	}
	for _, c := range held {
		c.Close()
	}
	stop()
	if err := <-ended; err != nil { // also past the time of grace
		t.Error(err)
	}
	<-stream
	if stopped.Load() != 1 {
		t.Error("the job went on")
	}
}

// idle says that no job waits.
func (l *jobList) idle() bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	return len(l.waiting) == 0
}

// TestJobsOutliveTheProcess: a second service over the same store, as after a
// restart or on another machine, answers for the jobs of the first: status,
// events, result; and its dismissal stops the work in the first. A job whose
// process has gone is told as interrupted. A write that is sent again under its
// Idempotency-Key is not done twice.
func TestJobsOutliveTheProcess(t *testing.T) {
	step := make(chan struct{})
	var stopped atomic.Int64
	var shift atomic.Int64
	now := func() time.Time { return time.Now().Add(time.Duration(shift.Load())) }
	first := newClient(t, func(o *Options) { o.Engine, o.Now = slowEngine(2, step, &stopped), now })
	second := newClient(t, func(o *Options) {
		o.Engine, o.Store, o.Now = slowEngine(1, make(chan struct{}), &stopped), first.store, now
	})
	start := func() statusInfo {
		return read[statusInfo](t, first.do("POST /processes/zone/execution", `{"inputs":{"site":{}}}`, header{"Prefer": "respond-async", "Idempotency-Key": "k"}))
	}
	a := start()
	step <- struct{}{}
	server := httptest.NewServer(second.s)
	defer server.Close()
	told := make(chan []event, 1)
	go func() {
		all, _ := events(t, server.URL+"/jobs/"+a.JobID+"/events", "", 0)
		told <- all
	}()
	time.Sleep(50 * time.Millisecond)
	step <- struct{}{}
	waitFor(t, func() bool {
		return read[statusInfo](t, second.do("GET /jobs/"+a.JobID, nil)).Status == successful
	})
	second.want(second.do("GET /jobs/"+a.JobID+"/results", nil), 200, "")
	if all := <-told; len(all) == 0 || all[len(all)-1].data.Status != successful {
		t.Errorf("events from the second process: %+v", all)
	}
	if list := read[struct{ Jobs []statusInfo }](t, second.do("GET /jobs", nil)).Jobs; len(list) != 1 || list[0].JobID != a.JobID {
		t.Errorf("jobs of the second process: %+v", list)
	}
	again := read[statusInfo](t, second.do("POST /processes/zone/execution", `{"inputs":{"site":{}}}`, header{"Prefer": "respond-async", "Idempotency-Key": "k"}))
	if again.JobID != a.JobID {
		t.Errorf("sent again after a restart: job %s, not %s", again.JobID, a.JobID)
	}
	second.want(second.do("POST /processes/zone/execution", `{"inputs":{"site":{}, "lots":["1"]}}`, header{"Prefer": "respond-async", "Idempotency-Key": "k"}), 422, "idempotency-mismatch")

	b := read[statusInfo](t, first.do("POST /processes/zone/execution", `{"inputs":{"site":{}}}`, header{"Prefer": "respond-async"}))
	waitFor(t, func() bool { return read[statusInfo](t, second.do("GET /jobs/"+b.JobID, nil)).Status == running })
	before := stopped.Load()
	if got := read[statusInfo](t, second.do("DELETE /jobs/"+b.JobID, nil)); got.Status != dismissed {
		t.Errorf("%+v", got)
	}
	waitFor(t, func() bool { return stopped.Load() > before })

	dead := parcels.Job{ID: "dead", Owner: "local", State: running, Created: now(), Updated: now().Add(-time.Hour), Status: []byte(`{"type":"process","processID":"zone","jobID":"dead","status":"running","progress":10,"created":"2026-01-01T00:00:00Z","updated":"2026-01-01T00:00:00Z"}`)}
	if err := first.store.PutJob(t.Context(), dead); err != nil {
		t.Fatal(err)
	}
	if got := read[statusInfo](t, second.do("GET /jobs/dead", nil)); got.Status != failed || got.Problem == nil || got.Problem.Status != 503 {
		t.Errorf("a job whose process has gone: %+v", got)
	}
	second.want(second.do("GET /jobs/dead/results", nil), 503, "interrupted")

	shift.Store(int64(48 * time.Hour))
	second.want(second.do("GET /jobs/"+a.JobID, nil), 404, "not-found")
}
