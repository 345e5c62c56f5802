package zone

import (
	"bytes"
	"database/sql"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"
	"unsafe"

	_ "github.com/lib/pq"
	"github.com/paulmach/orb"
	"github.com/paulmach/orb/encoding/wkt"

	"fallwright/geo/internal/geosop"
	"fallwright/geo/internal/geosop/peer"
	"fallwright/geo/shape"
)

const (
	inFrom  = 0.6096
	outFrom = 0.9144
)

// yard is a lot with its house.
type yard struct {
	lot   Lot
	house KeepOut
}

// generatedYards are the generated lots that have a house.
func generatedYards(n int) (out []yard) {
	rng := newRand(20)
	for len(out) < n {
		lot, things := randomLot(rng)
		if len(things) > 0 && things[0].Kind == Building {
			out = append(out, yard{lot, things[0]})
		}
	}
	return out
}

// realYards are real lots without holes that a house fits in: a house of five
// corners stands where there is most room, half as wide.
func realYards(b *testing.B, name string, most int) (out []yard) {
	for _, mp := range realSets(b)[name] {
		c, faults := shape.Clean(mp)
		if len(faults) > 0 || len(c.Shape) != 1 || len(c.Shape[0]) != 1 || len(out) == most {
			continue
		}
		m, r, err := geosop.InscribedCircle(c.Shape, 0.05)
		if err != nil || r < 4 {
			continue
		}
		x := float64(r) * 0.5
		h := orb.Ring{{m[0] - x, m[1] - x*.8}, {m[0] + x, m[1] - x*.8}, {m[0] + x, m[1]}, {m[0] + x*.3, m[1]}, {m[0] + x*.3, m[1] + x}, {m[0] - x, m[1] + x}, {m[0] - x, m[1] - x*.8}}
		out = append(out, yard{Lot{Shape: c.Shape, Clearance: inFrom}, KeepOut{ID: "h", Kind: Building, Geometry: orb.Polygon{h}, Clearance: outFrom}})
	}
	return out
}

func sets(b *testing.B, run func(b *testing.B, yards []yard)) {
	b.Run("generated", func(b *testing.B) { run(b, generatedYards(500)) })
	for _, name := range []string{"epinay", "village", "williamsburg"} {
		b.Run(name, func(b *testing.B) { run(b, realYards(b, name, 500)) })
	}
}

// trenches works out all zones in one workspace, as the audit of a county does.
func trenches(b *testing.B, w *Workspace, yards []yard) (area float64) {
	var out [1]KeepOut
	for i := range yards {
		out[0] = yards[i].house
		z, err := w.Trench(yards[i].lot, out[:])
		if err != nil {
			b.Fatal(err)
		}
		area += float64(z.Area)
	}
	return area
}

// wall is the time of day in seconds.
func wall() float64 { return float64(time.Now().UnixNano()) / 1e9 }

// thread is the processor time of the calling thread in seconds, so that other
// programs on the machine don't count; the time of day where it can't be told.
func thread() float64 { return processor(3) } // CLOCK_THREAD_CPUTIME_ID

// processor reads a clock of Linux; see clock_getcpuclockid(3).
func processor(clock uintptr) float64 {
	var t syscall.Timespec
	if _, _, errno := syscall.Syscall(syscall.SYS_CLOCK_GETTIME, clock, uintptr(unsafe.Pointer(&t)), 0); errno != 0 {
		return wall()
	}
	return float64(t.Nano()) / 1e9
}

// backend is the processor time of the server process of a connection.
func backend(b *testing.B, db *sql.DB) func() float64 {
	pid := 0
	if err := db.QueryRow("select pg_backend_pid()").Scan(&pid); err != nil {
		b.Fatal(err)
	}
	clock := uintptr(uint32(^pid<<3 | 2)) // the clock of a process by its id
	return func() float64 { return processor(clock) }
}

// alternate runs ours and the peer in turn, each by its own clock, and reports
// the time of each a lot and the median of their ratios. Ours is run several
// times a turn, for the clock's sake.
func alternate(b *testing.B, n int, clock, clockOf func() float64, ours, theirs func()) {
	const times = 5
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	ours()
	theirs()
	var a, p []float64
	b.ResetTimer()
	for i := 0; i < b.N; i++ {
		t := clock()
		for k := 0; k < times; k++ {
			ours()
		}
		a = append(a, (clock()-t)/times)
		t = clockOf()
		theirs()
		p = append(p, clockOf()-t)
	}
	b.StopTimer()
	report(b, n, a, p)
}

func report(b *testing.B, n int, ours, theirs []float64) {
	ratio := make([]float64, len(ours))
	for i := range ours {
		ratio[i] = theirs[i] / ours[i]
	}
	median := func(v []float64) float64 { slices.Sort(v); return v[len(v)/2] }
	b.ReportMetric(0, "ns/op")
	b.ReportMetric(median(ours)/float64(n)*1e6, "us/lot")
	b.ReportMetric(median(theirs)/float64(n)*1e6, "peer-us/lot")
	b.ReportMetric(median(ratio), "x")
}

// What the peer must do for a zone as good as ours: so many chords a quarter
// circle that, drawn round the true arc, none lies more than a millimetre off.
const (
	inChords  = 14
	outChords = 17
)

// drawnRound is the radius whose chords touch the true arc from outside.
func drawnRound(r float64, quadrant int) float64 { return r / math.Cos(math.Pi/4/float64(quadrant)) }

// BenchmarkTrenchGEOS: the trench zone of a lot with house against the GEOS C
// calls themselves (buffer in, buffer out, difference), which give a zone as good
// as ours in three things: never nearer than asked, at most a millimetre further
// off, both inputs found valid first ("same"); and at GEOS's default of 8 chords
// a quarter circle, which puts the zone up to 4 mm too near a corner, unchecked
// ("default").
func BenchmarkTrenchGEOS(b *testing.B) {
	sets(b, func(b *testing.B, yards []yard) {
		var lots, things [][]float64
		flat := func(r orb.Ring) (out []float64) {
			for _, p := range r {
				out = append(out, p[0], p[1])
			}
			return out
		}
		for _, y := range yards {
			lots, things = append(lots, flat(y.lot.Shape[0][0])), append(things, flat(y.house.Geometry.(orb.Polygon)[0]))
		}
		c := peer.New(lots, things)
		var w Workspace
		same := func() float64 {
			return c.Zones(drawnRound(inFrom, inChords), drawnRound(outFrom, outChords), inChords, outChords, true)
		}
		if ours, theirs := trenches(b, &w, yards), same(); ours > theirs*1.003 || ours < theirs*0.997 {
			b.Fatalf("areas %v and %v m2", ours, theirs)
		}
		b.Run("same", func(b *testing.B) {
			alternate(b, len(yards), thread, thread, func() { trenches(b, &w, yards) }, func() { same() })
		})
		b.Run("default", func(b *testing.B) {
			alternate(b, len(yards), thread, thread, func() { trenches(b, &w, yards) }, func() { c.Zones(inFrom, outFrom, 8, 8, false) })
		})
	})
}

// postgres starts a throwaway PostgreSQL with PostGIS, or skips.
func postgres(b *testing.B) *sql.DB {
	list, err := exec.Command("dpkg", "-L", "postgresql-15").Output()
	if err != nil {
		b.Skip("no PostgreSQL 15 package here to measure against")
	}
	bin := ""
	for _, l := range strings.Split(string(list), "\n") {
		if strings.HasSuffix(l, "/bin/initdb") {
			bin = filepath.Dir(l)
		}
	}
	dir, err := os.MkdirTemp("", "zonepg")
	if err != nil {
		b.Fatal(err)
	}
	os.Chmod(dir, 0o755)
	run := func(args ...string) {
		if os.Getuid() == 0 {
			exec.Command("chown", "-R", "postgres", dir).Run()
			args = append([]string{"setpriv", "--reuid=postgres", "--regid=postgres", "--clear-groups", "env", "HOME=" + dir}, args...)
		}
		cmd := exec.Command(args[0], args[1:]...)
		var said bytes.Buffer
		cmd.Stderr = &said
		if err := cmd.Run(); err != nil {
			b.Skipf("PostgreSQL does not start here: %v: %s", err, said.String())
		}
	}
	run(bin+"/initdb", "-D", dir+"/data", "-U", "postgres", "-A", "trust", "-E", "UTF8", "--locale=C", "-N")
	run(bin+"/pg_ctl", "-D", dir+"/data", "-w", "-s", "-l", dir+"/log", "-o", "-c listen_addresses='' -k "+dir+" -c fsync=off -c jit=off -c max_parallel_workers_per_gather=0", "start")
	db, err := sql.Open("postgres", "host="+dir+" user=postgres dbname=postgres sslmode=disable")
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() {
		db.Close()
		run(bin+"/pg_ctl", "-D", dir+"/data", "-m", "immediate", "-s", "stop")
		os.RemoveAll(dir)
	})
	db.SetMaxOpenConns(1)
	if _, err := db.Exec("create extension postgis"); err != nil {
		b.Skipf("no PostGIS here to measure against: %v", err)
	}
	return db
}

func fill(b *testing.B, db *sql.DB, yards []yard, lines []orb.LineString) {
	b.Helper()
	if _, err := db.Exec("drop table if exists yards; create table yards(lot geometry, house geometry, drain geometry)"); err != nil {
		b.Fatal(err)
	}
	for i, y := range yards {
		var l orb.LineString
		if lines != nil {
			l = lines[i]
		}
		if _, err := db.Exec("insert into yards values(ST_GeomFromText($1), ST_GeomFromText($2), ST_GeomFromText($3))",
			wkt.MarshalString(y.lot.Shape[0]), wkt.MarshalString(y.house.Geometry), wkt.MarshalString(l)); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkTrenchPostGIS: the same against one PostGIS statement over all lots,
// so that the way to the server counts for nothing; one thread; of the server the
// processor time of its one process.
func BenchmarkTrenchPostGIS(b *testing.B) {
	db := postgres(b)
	sets(b, func(b *testing.B, yards []yard) {
		fill(b, db, yards, nil)
		statement := func(in, out float64, inChords, outChords int, checked string) func() float64 {
			q := fmt.Sprintf("select sum(ST_Area(ST_Difference(ST_Buffer(lot, %v, 'quad_segs=%d'), ST_Buffer(house, %v, 'quad_segs=%d')))) from yards %s",
				-in, inChords, out, outChords, checked)
			return func() (area float64) {
				if err := db.QueryRow(q).Scan(&area); err != nil {
					b.Fatal(err)
				}
				return area
			}
		}
		var w Workspace
		same := statement(drawnRound(inFrom, inChords), drawnRound(outFrom, outChords), inChords, outChords, "where ST_IsValid(lot) and ST_IsValid(house)")
		plain := statement(inFrom, outFrom, 8, 8, "")
		if a, p := trenches(b, &w, yards), same(); a > p*1.003 || a < p*0.997 {
			b.Fatalf("areas %v and %v m2", a, p)
		}
		b.Run("same", func(b *testing.B) {
			alternate(b, len(yards), thread, backend(b, db), func() { trenches(b, &w, yards) }, func() { same() })
		})
		b.Run("default", func(b *testing.B) {
			alternate(b, len(yards), thread, backend(b, db), func() { trenches(b, &w, yards) }, func() { plain() })
		})
	})
}

// drains draws a line of three points on each yard: four of five keep inside,
// as drains mostly do, the fifth runs to a corner of the lot.
func drains(yards []yard) (lines []orb.LineString) {
	rng := newRand(21)
	for i, y := range yards {
		b := y.lot.Shape.Bound()
		p := func() orb.Point {
			return orb.Point{b.Min[0] + rng.Float64()*(b.Max[0]-b.Min[0]), b.Min[1] + rng.Float64()*(b.Max[1]-b.Min[1])}
		}
		l := orb.LineString{p(), p(), p()}
		for try := 0; try < 3000; try++ {
			if c, err := CheckLine(l, 0.3048, y.lot, []KeepOut{y.house}, 0); err == nil && c.Inside {
				break
			}
			if try > 1000 { // a narrow yard: a short drain
				q := p()
				l = orb.LineString{q, {q[0] + 0.5, q[1]}, {q[0] + 0.5, q[1] + 0.5}}
				continue
			}
			l = orb.LineString{p(), p(), p()}
		}
		if i%5 == 0 {
			l[2] = y.lot.Shape[0][0][len(y.lot.Shape[0][0])/2]
		}
		lines = append(lines, l)
	}
	return lines
}

// BenchmarkCheckPostGIS: the check of a drawn drain against PostGIS written with
// distances, in one statement over all lots, the three inputs found valid first
// as ours are. "verdict" is Keeps, which tells what the statement tells; "report"
// is CheckLine with the least distances and, for one drain in five, each stretch
// that is too close and how to mend it.
func BenchmarkCheckPostGIS(b *testing.B) {
	db := postgres(b)
	const width = 0.3048
	sets(b, func(b *testing.B, yards []yard) {
		lines := drains(yards)
		fill(b, db, yards, lines)
		q := fmt.Sprintf(`select count(*) from yards where ST_IsValid(lot) and ST_IsValid(house) and ST_IsValid(drain) and ST_Covers(lot, drain)
			and ST_Distance(drain, ST_Boundary(lot)) >= %v and ST_Distance(drain, house) >= %v`, inFrom+width/2-1e-9, outFrom+width/2-1e-9)
		theirs := func() (n int) {
			if err := db.QueryRow(q).Scan(&n); err != nil {
				b.Fatal(err)
			}
			return n
		}
		count := func(keeps func(line orb.LineString, lot Lot, out []KeepOut) (bool, error)) func() int {
			return func() (n int) {
				var out [1]KeepOut
				for i := range yards {
					out[0] = yards[i].house
					ok, err := keeps(lines[i], yards[i].lot, out[:])
					if err != nil {
						b.Fatal(err)
					}
					if ok {
						n++
					}
				}
				return n
			}
		}
		verdict := count(func(line orb.LineString, lot Lot, out []KeepOut) (bool, error) { return Keeps(line, width, lot, out) })
		full := count(func(line orb.LineString, lot Lot, out []KeepOut) (bool, error) {
			c, err := CheckLine(line, width, lot, out, 0)
			return c.Inside, err
		})
		if a, f, p := verdict(), full(), theirs(); a != p || f != p {
			b.Fatalf("%d, %d and %d drains inside", a, f, p)
		}
		b.Run("verdict", func(b *testing.B) {
			alternate(b, len(yards), thread, backend(b, db), func() { verdict() }, func() { theirs() })
		})
		b.Run("report", func(b *testing.B) {
			alternate(b, len(yards), thread, backend(b, db), func() { full() }, func() { theirs() })
		})
	})
}

// BenchmarkTrenchThreads: two threads against one, each taking block after block
// as the audit's workers do (a lot left to the overlay costs as much as a hundred:
// halves fixed beforehand differ by a tenth). The machine may be shared, so it is
// not the time of day that counts but the most that it would be on two processors
// with nothing else to do: half the processor time of the whole process and half
// the last block's, for the one ends within that block of the other. One thread's
// time is the whole process's too.
func BenchmarkTrenchThreads(b *testing.B) {
	const block = 20
	yards := generatedYards(8000)
	var spaces [3]Workspace // the third for one alone
	both := func() float64 {
		var wg sync.WaitGroup
		var taken atomic.Int64
		var last [2]float64
		for k := 0; k < 2; k++ {
			wg.Add(1)
			go func() {
				defer wg.Done()
				runtime.LockOSThread()
				defer runtime.UnlockOSThread()
				for i := int(taken.Add(block)); i <= len(yards); i = int(taken.Add(block)) {
					t := thread()
					trenches(b, &spaces[k], yards[i-block:i])
					last[k] = thread() - t
				}
			}()
		}
		wg.Wait()
		return max(last[0], last[1])
	}
	all := func() float64 {
		var u syscall.Rusage
		if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
			b.Fatal(err)
		}
		return float64(u.Utime.Nano()+u.Stime.Nano()) / 1e9
	}
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	var two, one []float64
	both()
	b.ResetTimer()
	for i := 0; i < b.N; i++ {
		t := all()
		last := both()
		two = append(two, (all()-t+last)/2)
		t = all()
		trenches(b, &spaces[2], yards)
		one = append(one, all()-t)
	}
	b.StopTimer()
	report(b, len(yards), two, one)
}

// BenchmarkTrench is the direct routine alone, for profiles.
func BenchmarkTrench(b *testing.B) {
	sets(b, func(b *testing.B, yards []yard) {
		var w Workspace
		trenches(b, &w, yards) // its memory
		b.ReportAllocs()
		b.ResetTimer()
		for i := 0; i < b.N; i++ {
			k := i % len(yards)
			trenches(b, &w, yards[k:k+1])
		}
	})
}

// BenchmarkCheckLine is the check alone, for profiles.
func BenchmarkCheckLine(b *testing.B) {
	yards := generatedYards(500)
	lines := drains(yards)
	var out [1]KeepOut
	b.ReportAllocs()
	inside := 0
	b.ResetTimer()
	for i := 0; i < b.N; i++ {
		k := i % len(yards)
		out[0] = yards[k].house
		c, err := CheckLine(lines[k], 0.3048, yards[k].lot, out[:], 0)
		if err != nil {
			b.Fatal(err)
		}
		if c.Inside {
			inside++
		}
	}
	b.ReportMetric(float64(inside)/float64(b.N), "inside")
}
