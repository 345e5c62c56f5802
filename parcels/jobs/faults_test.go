package jobs_test

// Audits under faults, many of them: workers killed at random moments, a
// database that goes away and comes back, a worker that is frozen, clocks that
// step. What comes out
// is each time the bytes of one process that nobody disturbed. FALLWRIGHT_FAULTS
// says how many kills; there are a fifth as many losses (make trust: 100, 20).

import (
	"bytes"
	"context"
	"math/rand/v2"
	"os"
	"os/exec"
	"strconv"
	"syscall"
	"testing"
	"time"

	"fallwright/parcels/auditor"
	"fallwright/parcels/document"
	"fallwright/parcels/jobs"
	"fallwright/parcels/jobs/pgtemp"
	"fallwright/parcels/store/postgis"
	"fallwright/sampledata"
)

// trial is a server of its own, a site in it, and what an audit of it gives that
// nobody disturbs.
type trial struct {
	t    *testing.T
	ctx  context.Context
	n    int // kills asked for
	dsn  string
	lose func()
	back func()
	q    *jobs.Queue
	st   *postgis.Store
	o    auditor.Options
	want []byte
}

func newTrial(t *testing.T) *trial {
	n, err := strconv.Atoi(os.Getenv("FALLWRIGHT_FAULTS"))
	if err != nil || n < 1 {
		t.Skip("takes minutes: set FALLWRIGHT_FAULTS=100 (make trust)")
	}
	x := &trial{t: t, n: n, o: auditor.Options{Checks: []string{"zone", "footprints", "fences"}, Zones: true}}
	x.dsn, x.lose, x.back = pgtemp.StartLosable(t)
	x.dsn += " options='-c synchronous_commit=on'"
	x.q, _ = open(t, x.dsn, nil)
	if x.st, err = postgis.Open(x.dsn); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { x.st.Close() })
	if _, err := x.st.PutSite(t.Context(), sampledata.Site, sampledata.StatePlane(), 0, "test"); err != nil {
		t.Fatal(err)
	}
	site, err := document.Read(sampledata.StatePlane(), document.Options{})
	if err != nil {
		t.Fatal(err)
	}
	a, err := auditor.New(site, x.o)
	if err != nil {
		t.Fatal(err)
	}
	alone, err := a.Audit(t.Context(), x.o)
	if err != nil {
		t.Fatal(err)
	}
	if x.want, err = auditor.Write(alone, site.Frame); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), 25*time.Minute)
	t.Cleanup(cancel)
	x.ctx = ctx
	return x
}

// audit submits one and disturbs it until it is done, then compares.
func (x *trial) audit(what string, disturb func(done <-chan struct{})) {
	t, ctx := x.t, x.ctx
	t.Helper()
	id, err := auditor.Submit(ctx, x.q, auditor.Request{Site: sampledata.Site, Checks: x.o.Checks, Zones: true}, x.st, 3)
	if err != nil {
		t.Fatal(what, err)
	}
	done, ended := make(chan struct{}), make(chan struct{})
	go func() { defer close(ended); disturb(done) }()
	p, state, err := x.q.Wait(ctx, id, 30*time.Millisecond, nil)
	close(done)
	<-ended
	if err != nil || state != jobs.Done || p.Done != p.Items || p.SetAside != 0 {
		t.Fatalf("%s: %+v %s %v", what, p, state, err)
	}
	res, err := auditor.Gather(ctx, x.q, id, x.st)
	if err != nil {
		t.Fatal(what, err)
	}
	defer res.Close()
	var got bytes.Buffer
	if err := res.WriteJSON(&got); err != nil {
		t.Fatal(what, err)
	}
	if !bytes.Equal(got.Bytes(), x.want) {
		t.Fatalf("%s: other bytes than one process gives", what)
	}
	if err := x.q.Forget(ctx, id); err != nil {
		t.Fatal(what, err)
	}
}

func stop(c *exec.Cmd) { c.Process.Kill(); c.Wait() }

// Two workers whose clocks step by an hour each second and whose every other
// chunk fails, so that it is put off by one of those clocks; the one that submits
// goes by such a clock too.
func TestPropertyFaultsOfClocks(t *testing.T) {
	jobs.Clock(stepping{time.Hour})
	defer jobs.Clock(nil)
	x := newTrial(t)
	n := max(1, x.n/20)
	for range n {
		x.audit("clocks step", func(done <-chan struct{}) {
			one, two := start(t, x.dsn, clockEnv+"=1h"), start(t, x.dsn, clockEnv+"=-1h")
			<-done
			stop(one)
			stop(two)
		})
	}
	t.Logf("%d of %d clock trials survived (each clock steps by an hour each second), with the same bytes", n, n)
}

func TestPropertyFaults(t *testing.T) {
	x := newTrial(t)
	n, dsn, lose, back, audit := x.n, x.dsn, x.lose, x.back, x.audit
	r := rand.New(rand.NewPCG(13, 1))
	over := func(done <-chan struct{}, after time.Duration) bool {
		select {
		case <-done:
			return true
		case <-time.After(after):
			return false
		}
	}

	// two workers, one of them killed again and again
	kills, audits := 0, 0
	steady := start(t, dsn)
	for kills < n {
		audit("killed", func(done <-chan struct{}) {
			for {
				victim := start(t, dsn)
				gone := over(done, time.Duration(r.Float64()*1.2*float64(time.Second)))
				stop(victim)
				if gone {
					return
				}
				kills++
			}
		})
		audits++
	}
	t.Logf("%d of %d kills of a worker survived, in %d audits of 36 lots with the same bytes", kills, kills, audits)

	// the database lost and back
	second := start(t, dsn)
	losses := 0
	audits = 0
	for losses < max(1, n/5) {
		audit("database lost", func(done <-chan struct{}) {
			for !over(done, time.Duration((0.3+1.2*r.Float64())*float64(time.Second))) {
				lose()
				time.Sleep(time.Duration(r.Float64() * 0.5 * float64(time.Second)))
				back()
				losses++
			}
		})
		audits++
	}
	t.Logf("%d of %d losses of the database survived, in %d audits of 36 lots with the same bytes", losses, losses, audits)

	// a worker frozen in the middle of a chunk, its connection open, and thawed
	// when others have done its work
	stop(steady)
	stop(second)
	frozen := 0
	for range 3 {
		var sleeper *exec.Cmd
		audit("frozen", func(done <-chan struct{}) {
			sleeper = start(t, dsn, frozenEnv+"=1500ms")
			if over(done, 1500*time.Millisecond+time.Duration(r.Float64()*float64(time.Second)/2)) {
				return
			}
			if err := sleeper.Process.Signal(syscall.SIGSTOP); err != nil {
				t.Error(err)
				return
			}
			frozen++
			other := start(t, dsn)
			<-done
			stop(other)
		})
		sleeper.Process.Signal(syscall.SIGCONT)
		time.Sleep(300 * time.Millisecond) // it finds what it held gone
		stop(sleeper)
	}
	t.Logf("%d of %d frozen workers survived, with the same bytes", frozen, frozen)
}
