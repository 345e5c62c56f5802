package jobs_test

// Audits under faults, many of them: workers killed at random moments, a
// database that goes away and comes back, a worker that is frozen. What comes out
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

func TestPropertyFaults(t *testing.T) {
	n, err := strconv.Atoi(os.Getenv("FALLWRIGHT_FAULTS"))
	if err != nil || n < 1 {
		t.Skip("takes minutes: set FALLWRIGHT_FAULTS=100 (make trust)")
	}
	dsn, lose, back := pgtemp.StartLosable(t)
	dsn += " options='-c synchronous_commit=on'"
	q, _ := open(t, dsn, nil)
	st, err := postgis.Open(dsn)
	if err != nil {
		t.Fatal(err)
	}
	defer st.Close()
	if _, err := st.PutSite(t.Context(), sampledata.Site, sampledata.StatePlane(), 0, "test"); err != nil {
		t.Fatal(err)
	}
	site, err := document.Read(sampledata.StatePlane(), document.Options{})
	if err != nil {
		t.Fatal(err)
	}
	o := auditor.Options{Checks: []string{"zone", "footprints", "fences"}, Zones: true}
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
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Minute)
	defer cancel()
	r := rand.New(rand.NewPCG(13, 1))
	// audit submits one and disturbs it until it is done, then compares.
	audit := func(what string, disturb func(done <-chan struct{})) {
		t.Helper()
		id, err := auditor.Submit(ctx, q, auditor.Request{Site: sampledata.Site, Checks: o.Checks, Zones: true}, st, 3)
		if err != nil {
			t.Fatal(what, err)
		}
		done, ended := make(chan struct{}), make(chan struct{})
		go func() { defer close(ended); disturb(done) }()
		p, state, err := q.Wait(ctx, id, 30*time.Millisecond, nil)
		close(done)
		<-ended
		if err != nil || state != jobs.Done || p.Done != p.Items || p.SetAside != 0 {
			t.Fatalf("%s: %+v %s %v", what, p, state, err)
		}
		res, err := auditor.Gather(ctx, q, id, st)
		if err != nil {
			t.Fatal(what, err)
		}
		defer res.Close()
		var got bytes.Buffer
		if err := res.WriteJSON(&got); err != nil {
			t.Fatal(what, err)
		}
		if !bytes.Equal(got.Bytes(), want) {
			t.Fatalf("%s: other bytes than one process gives", what)
		}
		if err := q.Forget(ctx, id); err != nil {
			t.Fatal(what, err)
		}
	}
	over := func(done <-chan struct{}, after time.Duration) bool {
		select {
		case <-done:
			return true
		case <-time.After(after):
			return false
		}
	}
	stop := func(c *exec.Cmd) { c.Process.Kill(); c.Wait() }

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
