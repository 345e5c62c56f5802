package auditor

// Whether two workers over the queue do twice what one does. They share the
// machine with PostgreSQL, so its part of the processors is told beside.

import (
	"bytes"
	"context"
	"database/sql"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"fallwright/parcels/jobs"
	"fallwright/parcels/jobs/pgtemp"
	postgisstore "fallwright/parcels/store/postgis"
)

const (
	queueEnv     = "FALLWRIGHT_QUEUE_WORKER" // the database, for a worker process of its own
	queueLotsEnv = "FALLWRIGHT_QUEUE_LOTS"   // in place of 20000
)

// TestQueueAlone is a worker process on one processor, until it is killed.
func TestQueueAlone(t *testing.T) {
	dsn := os.Getenv(queueEnv)
	if dsn == "" {
		t.Skip("the process that BenchmarkQueueWorkers starts")
	}
	db, err := sql.Open("postgres", dsn)
	if err != nil {
		t.Fatal(err)
	}
	st, err := postgisstore.Open(dsn)
	if err != nil {
		t.Fatal(err)
	}
	q, err := jobs.Open(context.Background(), db, map[string]jobs.Begin{JobKind: Begin(st)})
	if err != nil {
		t.Fatal(err)
	}
	fmt.Println("READY")
	if err := q.Work(context.Background(), 1); err != nil {
		t.Fatal(err)
	}
}

// ticks is the processor time of a process and of the children it has waited
// for, in seconds.
func ticks(pid int) float64 {
	stat, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		return 0
	}
	f := strings.Fields(string(stat[bytes.LastIndexByte(stat, ')')+1:]))
	sum := 0.0
	for _, k := range f[11:15] { // utime, stime, cutime, cstime
		v, _ := strconv.ParseFloat(k, 64)
		sum += v / 100
	}
	return sum
}

// serverSeconds is the processor time of a PostgreSQL server, all its processes.
func serverSeconds(postmaster int) float64 {
	sum := ticks(postmaster)
	all, _ := filepath.Glob("/proc/[0-9]*/stat")
	for _, p := range all {
		stat, err := os.ReadFile(p)
		if err != nil {
			continue
		}
		f := strings.Fields(string(stat[bytes.LastIndexByte(stat, ')')+1:]))
		if f[1] == strconv.Itoa(postmaster) {
			pid, _ := strconv.Atoi(filepath.Base(filepath.Dir(p)))
			sum += ticks(pid)
		}
	}
	return sum
}

// BenchmarkQueueWorkers works an audit of a county over the queue by one worker
// process and by two, in turn, each on one processor, and reports how many times
// as fast two are, by the best time of each from the audit's submission to its
// last chunk less what reading it once for all took (survey-s); what putting
// it together takes (gather-s); and which part of the processor time of the best
// run of one worker is PostgreSQL's.
func BenchmarkQueueWorkers(b *testing.B) {
	dsn := pgtemp.Start(b)
	st, err := postgisstore.Open(dsn)
	if err != nil {
		b.Fatal(err)
	}
	defer st.Close()
	n, err := strconv.Atoi(os.Getenv(queueLotsEnv))
	if err != nil {
		n = 20_000
	}
	put(b, st, "county", asDocument(b, county(b, n)))
	db, err := sql.Open("postgres", dsn)
	if err != nil {
		b.Fatal(err)
	}
	defer db.Close()
	if _, err := db.Exec("vacuum analyze"); err != nil {
		b.Fatal(err)
	}
	var pid int
	if err := db.QueryRow(`select pg_backend_pid()`).Scan(&pid); err != nil {
		b.Fatal(err)
	}
	stat, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		b.Skip("no /proc here to read the server's processor time from")
	}
	postmaster, _ := strconv.Atoi(strings.Fields(string(stat[bytes.LastIndexByte(stat, ')')+1:]))[1])
	q, err := jobs.Open(context.Background(), db, nil)
	if err != nil {
		b.Fatal(err)
	}
	ctx := context.Background()
	type spent struct{ wall, survey, gather, server, workers float64 }
	once := func(n int) (s spent) {
		var procs []*exec.Cmd
		for range n {
			c := exec.Command(os.Args[0], "-test.run=^TestQueueAlone$", "-test.v")
			c.Env = append(os.Environ(), queueEnv+"="+dsn, "GOMAXPROCS=1")
			out, err := c.StdoutPipe()
			if err != nil {
				b.Fatal(err)
			}
			if err := c.Start(); err != nil {
				b.Fatal(err)
			}
			defer func() { c.Process.Kill(); c.Wait() }()
			var line [64]byte
			for text := ""; !strings.Contains(text, "READY"); {
				k, err := out.Read(line[:])
				if err != nil {
					b.Fatal("the worker ended: ", text)
				}
				text += string(line[:k])
			}
			procs = append(procs, c)
		}
		t0 := time.Now()
		id, err := Submit(ctx, q, Request{Site: "county", Checks: countyChecks, Zones: true}, st, 0)
		if err != nil {
			b.Fatal(err)
		}
		t1, server := time.Now(), serverSeconds(postmaster)
		workers := 0.0
		for _, p := range procs {
			workers -= ticks(p.Process.Pid)
		}
		if p, state, err := q.Wait(ctx, id, 50*time.Millisecond, nil); err != nil || state != jobs.Done || p.SetAside > 0 {
			b.Fatal(p, state, err)
		}
		t2 := time.Now()
		s.server = serverSeconds(postmaster) - server
		for _, p := range procs {
			workers += ticks(p.Process.Pid)
		}
		s.workers = workers
		res, err := Gather(ctx, q, id, st)
		if err != nil {
			b.Fatal(err)
		}
		defer res.Close()
		if err := res.WriteJSON(io.Discard); err != nil {
			b.Fatal(err)
		}
		s.survey, s.wall, s.gather = t1.Sub(t0).Seconds(), t2.Sub(t1).Seconds(), time.Since(t2).Seconds()
		if err := q.Forget(ctx, id); err != nil {
			b.Fatal(err)
		}
		return s
	}
	var best [3]spent
	for b.Loop() {
		for range 3 {
			for n := 1; n <= 2; n++ {
				if s := once(n); best[n].wall == 0 || s.wall < best[n].wall {
					best[n] = s
				}
			}
		}
	}
	b.ReportMetric(best[1].wall/best[2].wall, "two/one")
	b.ReportMetric(best[1].wall, "one-s")
	b.ReportMetric(best[2].survey, "survey-s")
	b.ReportMetric(best[2].gather, "gather-s")
	b.ReportMetric(best[1].server/(best[1].server+best[1].workers), "PostgreSQL-part")
	b.ReportMetric((best[1].server+best[1].workers)/best[1].wall, "busy-one")
	b.ReportMetric((best[2].server+best[2].workers)/best[2].wall, "busy-two")
}
