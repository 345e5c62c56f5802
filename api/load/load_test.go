package load_test

// The service under load: a steady mix of plans, checks and reads of features,
// then more than it can do, then peace. Requests are sent when they are due,
// whether or not those before them have been answered, and their time counts
// from when they were due.
//
//	FALLWRIGHT_LOAD=1m      how long the mix lasts (without it the trial is left out)
//	FALLWRIGHT_LOAD_RATE=1  times the rates of the mix below
//	FALLWRIGHT_LOAD_LOTS    lots in the store, 20000
//	FALLWRIGHT_LOAD_LINES=1 instead, each line of the rates that are asked by
//	                        itself, plans and checks together, and all at once at a
//	                        fifth, from a store of 100,000 lots; and what the slowest answers waited
//	                        for. Or the names of some lines: plan,check,plan+check
//
// The documents of plans and checks differ each from the last: an intake stands
// elsewhere, as while it is dragged.

import (
	"bufio"
	"bytes"
	"cmp"
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/labstack/echo/v4"

	"fallwright/sampledata"
)

// bareEnv makes this test program the bare handler: POST sets what a kind
// answers, GET of a path under it or PUT answers with that.
const bareEnv = "FALLWRIGHT_LOAD_BARE"

func TestMain(m *testing.M) {
	addr := os.Getenv(bareEnv)
	if addr == "" {
		os.Exit(m.Run())
	}
	var mu sync.RWMutex
	same := map[string][]byte{}
	e := echo.New()
	e.HideBanner, e.HidePort = true, true
	e.Any("/:kind", func(c echo.Context) error {
		body, err := io.ReadAll(c.Request().Body)
		if err != nil {
			return err
		}
		if c.Request().Method == http.MethodPatch {
			mu.Lock()
			same[c.Param("kind")] = body
			mu.Unlock()
		}
		mu.RLock()
		defer mu.RUnlock()
		return c.Blob(http.StatusOK, "application/json", same[c.Param("kind")])
	})
	if err := e.Start(addr); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

// free is an address that nobody listens on.
func free(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}

// up starts a process that serves addr and waits until path answers.
func up(t *testing.T, c *exec.Cmd, url string) {
	t.Helper()
	var said bytes.Buffer
	c.Stderr = &said
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Process.Kill(); c.Wait() })
	for end := time.Now().Add(time.Minute); ; time.Sleep(50 * time.Millisecond) {
		res, err := http.Get(url)
		if err == nil {
			res.Body.Close()
			if res.StatusCode == 200 {
				return
			}
		}
		if time.Now().After(end) {
			t.Fatalf("%s does not answer: %v %s", url, err, said.String())
		}
	}
}

// lots writes n square lots as GeoJSON.
func lots(t *testing.T, n int) string {
	t.Helper()
	name := filepath.Join(t.TempDir(), "parcels.geojson")
	f, err := os.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	w := bufio.NewWriter(f)
	fmt.Fprint(w, `{"type":"FeatureCollection","crs":{"type":"name","properties":{"name":"urn:ogc:def:crs:EPSG::2274"}},"features":[`)
	for i := range n {
		if i > 0 {
			w.WriteString(",\n")
		}
		x, y := 1700000+float64(i%100)*100, 600000+float64(i/100)*100
		fmt.Fprintf(w, `{"type":"Feature","id":"p%d","properties":{"lot":"%d"},"geometry":{"type":"Polygon","coordinates":[[[%.1f,%.1f],[%.1f,%.1f],[%.1f,%.1f],[%.1f,%.1f],[%.1f,%.1f]]]}}`,
			i, i, x, y, x+99, y, x+99, y+99, x, y+99, x, y)
	}
	w.WriteString("]}")
	if err := w.Flush(); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	return name
}

// resident is the memory of a process, in MiB.
func resident(t *testing.T, pid int) float64 {
	b, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		t.Error(err)
		return 0
	}
	_, after, _ := strings.Cut(string(b), "VmRSS:")
	kib, err := strconv.ParseFloat(strings.Fields(after)[0], 64)
	if err != nil {
		t.Error(err)
	}
	return kib / 1024
}

// worked is the processor time that a process has had.
func worked(t *testing.T, pid int) time.Duration {
	b, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		t.Fatal(err)
	}
	_, after, _ := strings.Cut(string(b), ") ")
	f := strings.Fields(after) // from field 3 on; 14 and 15 are in ticks of 10 ms
	user, err := strconv.Atoi(f[11])
	if err != nil {
		t.Fatal(err)
	}
	system, err := strconv.Atoi(f[12])
	if err != nil {
		t.Fatal(err)
	}
	return time.Duration(user+system) * 10 * time.Millisecond
}

// queued is how long the threads of a process have waited for a processor.
func queued(t *testing.T, pid int) (wait time.Duration) {
	threads, err := filepath.Glob(fmt.Sprintf("/proc/%d/task/*/schedstat", pid))
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range threads {
		b, err := os.ReadFile(name)
		if err != nil {
			continue // it has ended
		}
		f := strings.Fields(string(b)) // time on a processor, time waiting for one, turns
		if len(f) != 3 {
			t.Fatalf("%s: %q", name, b)
		}
		ns, err := strconv.ParseInt(f[1], 10, 64)
		if err != nil {
			t.Fatal(err)
		}
		wait += time.Duration(ns)
	}
	return wait
}

// wanting is how many processes wanted a processor in the last minute.
func wanting(t *testing.T) float64 {
	b, err := os.ReadFile("/proc/loadavg")
	if err != nil {
		t.Fatal(err)
	}
	v, err := strconv.ParseFloat(strings.Fields(string(b))[0], 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// kind is one kind of request of the mix.
type kind struct {
	name   string
	rate   float64 // a second
	method string
	path   func(i int) string
	body   func(i int) []byte
}

// eight is the sample with two basins more on its lot, eight intakes with the
// perforated run, cut where the place of the first basin stands.
func eight(t *testing.T) (before []byte, x float64, after []byte) {
	t.Helper()
	text := sampledata.StatePlane()
	mark := []byte(`{"type":"Feature","id":"` + sampledata.Sample + `-YB1"`)
	from := bytes.Index(text, mark)
	if from < 0 {
		t.Fatal("the sample has no basin to drag")
	}
	const member = `"coordinates":[`
	at := from + bytes.Index(text[from:], []byte(member)) + len(member)
	comma := at + bytes.IndexByte(text[at:], ',')
	end := comma + bytes.IndexByte(text[comma:], ']')
	x, err := strconv.ParseFloat(string(text[at:comma]), 64)
	if err != nil {
		t.Fatal(err)
	}
	y, err := strconv.ParseFloat(string(text[comma+1:end]), 64)
	if err != nil {
		t.Fatal(err)
	}
	var more []byte
	for k, off := range [][2]float64{{-14, 4}, {10, -12}} {
		more = fmt.Appendf(more, `{"type":"Feature","id":"more-%d","geometry":{"type":"Point","coordinates":[%.4f,%.4f]},"properties":{"intake":"more-%[1]d","lot":%[4]q,"kind":"yard_basin","yard_area_ft2":900,"length_m":0.3048,"width_m":0.3048}},`, k, x+off[0], y+off[1], sampledata.Sample)
	}
	return slices.Concat(text[:from], more, text[from:at]), x, text[comma:]
}

// times are those of the answers of a kind, by status; 0 is no answer.
type times struct {
	mu     sync.Mutex
	by     map[int][]time.Duration
	stages []staged // of those that say
}

// staged is an answer that says where its time went.
type staged struct {
	took time.Duration
	ms   map[string]float64 // by stage, as Server-Timing tells it
}

func (s *times) add(status int, d time.Duration, timing string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.by == nil {
		s.by = map[int][]time.Duration{}
	}
	s.by[status] = append(s.by[status], d)
	if timing == "" {
		return
	}
	ms := map[string]float64{}
	for _, part := range strings.Split(timing, ", ") {
		name, dur, _ := strings.Cut(part, ";dur=")
		if v, err := strconv.ParseFloat(dur, 64); err == nil {
			ms[name] = v
		}
	}
	s.stages = append(s.stages, staged{d, ms})
}

// slowest tells of what the slowest answers, two in a hundred, are made up: the
// mean of each stage and what is left, which passed outside the handler (at the
// client, on the way, before it was begun on).
func (s *times) slowest() string {
	if len(s.stages) == 0 {
		return ""
	}
	slices.SortFunc(s.stages, func(a, b staged) int { return cmp.Compare(b.took, a.took) })
	some := s.stages[:max(1, len(s.stages)/50)]
	var b strings.Builder
	rest, whole := 0.0, 0.0
	for _, a := range some {
		rest += a.took.Seconds() * 1000
	}
	whole = rest
	for _, stage := range []string{"body", "read", "lane", "work"} {
		sum := 0.0
		for _, a := range some {
			sum += a.ms[stage]
		}
		rest -= sum
		fmt.Fprintf(&b, "%s %.1f, ", stage, sum/float64(len(some)))
	}
	fmt.Fprintf(&b, "outside the handler %.1f, of %.1f ms", rest/float64(len(some)), whole/float64(len(some)))
	return b.String()
}

func at(d []time.Duration, q float64) float64 {
	if len(d) == 0 {
		return 0
	}
	slices.Sort(d)
	return d[int(q*float64(len(d)-1))].Seconds() * 1000
}

// send sends one request; a nil body is none.
func send(client *http.Client, method, url string, body []byte) (int, []byte) {
	status, answer, _ := timed(client, method, url, body)
	return status, answer
}

// timed is send with what the answer says of its time.
func timed(client *http.Client, method, url string, body []byte) (status int, answer []byte, timing string) {
	r, err := http.NewRequest(method, url, bytes.NewReader(body))
	if err != nil {
		return 0, []byte(err.Error()), ""
	}
	if body != nil {
		r.Header.Set("Content-Type", "application/json")
	}
	res, err := client.Do(r)
	if err != nil {
		return 0, []byte(err.Error()), ""
	}
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	if err != nil {
		return 0, []byte(err.Error()), ""
	}
	return res.StatusCode, b, res.Header.Get("Server-Timing")
}

// steady sends n requests at a rate, each when it is due.
func steady(ctx context.Context, rate float64, one func(i int, due time.Time)) {
	var wg sync.WaitGroup
	start := time.Now()
	for i := 0; ; i++ {
		due := start.Add(time.Duration(float64(i) / rate * float64(time.Second)))
		select {
		case <-ctx.Done():
			wg.Wait()
			return
		case <-time.After(time.Until(due)):
		}
		wg.Go(func() { one(i, due) })
	}
}

// trial sends the kinds at their rates times faster for so long, each to the
// service and after it to the bare handler.
func trial(t *testing.T, client *http.Client, addr, bareAddr string, mix []kind, faster float64, long time.Duration) (own, peer []times) {
	ctx, cancel := context.WithTimeout(t.Context(), long)
	defer cancel()
	own, peer = make([]times, len(mix)), make([]times, len(mix))
	var wrong atomic.Int64
	var wg sync.WaitGroup
	for j, k := range mix {
		wg.Go(func() {
			steady(ctx, k.rate*faster, func(i int, due time.Time) {
				ask := k.body(i)
				status, body, timing := timed(client, k.method, "http://"+addr+k.path(i), ask)
				own[j].add(status, time.Since(due), timing)
				if status != 200 && status != 503 && wrong.Add(1) <= 5 {
					t.Errorf("%s: %d %.200s", k.name, status, body)
				}
				if k.rate > 100 && i%8 > 0 {
					return // the bare handler takes its share of the processors too
				}
				asked := time.Now()
				status, _ = send(client, k.method, "http://"+bareAddr+"/"+k.name, ask)
				peer[j].add(status, time.Since(asked), "")
			})
		})
	}
	wg.Wait()
	return own, peer
}

func TestPropertyLoad(t *testing.T) {
	long, err := time.ParseDuration(os.Getenv("FALLWRIGHT_LOAD"))
	if err != nil {
		t.Skip("takes minutes: set FALLWRIGHT_LOAD=1m (make trust), 10m for the long form")
	}
	number := func(env string, or float64) float64 {
		if v, err := strconv.ParseFloat(os.Getenv(env), 64); err == nil {
			return v
		}
		return or
	}
	faster, n := number("FALLWRIGHT_LOAD_RATE", 1), int(number("FALLWRIGHT_LOAD_LOTS", 20000))
	lines := os.Getenv("FALLWRIGHT_LOAD_LINES")
	if lines == "1" && n < 100000 {
		n = 100000
	}
	program, store := filepath.Join(t.TempDir(), "fallwright"), filepath.Join(t.TempDir(), "s.gpkg")
	if out, err := exec.Command("go", "build", "-o", program, "fallwright/cmd/fallwright").CombinedOutput(); err != nil {
		t.Fatalf("%v %s", err, out)
	}
	if out, err := exec.Command(program, "import", lots(t, n), "--store", store, "--site", "field", "--layer", "parcels").CombinedOutput(); err != nil {
		t.Fatalf("%v %s", err, out)
	}
	addr, bareAddr := free(t), free(t)
	service := exec.Command(program, "serve", "--store", store, "--addr", addr, "--quiet")
	up(t, service, "http://"+addr+"/readyz")
	bare := exec.Command(os.Args[0])
	bare.Env = append(os.Environ(), bareEnv+"="+bareAddr)
	up(t, bare, "http://"+bareAddr+"/x")
	client := &http.Client{Timeout: time.Minute, Transport: &http.Transport{MaxIdleConnsPerHost: 256, DisableCompression: true}}

	head, x, tail := eight(t)
	input := func(options string) func(i int) []byte {
		return func(i int) []byte {
			return slices.Concat([]byte(`{"inputs":{"site":`), head, strconv.AppendFloat(nil, x+float64(i%997)/500, 'f', 4, 64), tail, []byte(`,"lots":["`+sampledata.Sample+`"]`+options+`}}`))
		}
	}
	none := func(int) []byte { return nil }
	fixed := func(p string) func(int) string { return func(int) string { return p } }
	rows := max(1, n/100-10)
	mix := []kind{
		{"plan", 2, "POST", fixed("/processes/plan/execution"), input(`,"options":{"quick":true}`)},
		{"check", 5, "POST", fixed("/processes/check/execution"), input("")},
		{"feature", 100, "GET", func(i int) string { return fmt.Sprintf("/collections/parcels/items/p%d", i*7919%n) }, none},
		{"window", 20, "GET", func(i int) string {
			x, y := 1700000+i*37%90*100, 600000+i*53%rows*100
			return fmt.Sprintf("/collections/parcels/items?limit=100&bbox=%d,%d,%d,%d&bbox-crs=http://www.opengis.net/def/crs/EPSG/0/2274", x+1, y+1, x+999, y+999)
		}, none},
	}
	for _, k := range mix {
		status, body := send(client, k.method, "http://"+addr+k.path(1), k.body(1))
		if status != 200 {
			t.Fatalf("%s: %d %.300s", k.name, status, body)
		}
		if status, _ = send(client, http.MethodPatch, "http://"+bareAddr+"/"+k.name, body); status != 200 {
			t.Fatalf("bare %s: %d", k.name, status)
		}
	}

	if lines != "" {
		asked := map[string]float64{"plan": 20, "check": 20, "feature": 2000, "window": 300}
		most := map[string]float64{"plan": 50, "check": 10, "feature": 25, "window": 150}
		var all []kind
		whole := 0.0 // processors that the lines of one kind kept busy
		t.Logf("each line %v; %.1f processes wanted a processor before, there are %d", long, wanting(t), runtime.NumCPU())
		t.Logf("%-30s %8s %8s %8s %8s %8s %9s %8s %6s", "line", "a second", "p50 ms", "p95 ms", "p99 ms", "asked ms", "bare p99", "ratio", "wrong")
		for _, part := range []struct {
			kinds []string
			share float64 // of the rates asked
		}{{[]string{"plan"}, 1}, {[]string{"check"}, 1}, {[]string{"plan", "check"}, 1}, {[]string{"feature"}, 1}, {[]string{"window"}, 1}, {[]string{"plan", "check", "feature", "window"}, .2}} {
			name := strings.Join(part.kinds, "+")
			if part.share != 1 {
				name = fmt.Sprintf("%g of all", part.share)
			}
			if lines != "1" && !slices.Contains(strings.Split(lines, ","), name) {
				continue
			}
			all = all[:0]
			for _, k := range mix {
				if slices.Contains(part.kinds, k.name) {
					k.rate = asked[k.name] * part.share
					all = append(all, k)
				}
			}
			pid := service.Process.Pid
			was, waited := worked(t, pid), queued(t, pid)
			own, peer := trial(t, client, addr, bareAddr, all, 1, long)
			spent, waits, answers := worked(t, pid)-was, queued(t, pid)-waited, 0
			for j := range all {
				answers += len(own[j].by[200])
			}
			for j, k := range all {
				good, total := own[j].by[200], 0
				for _, d := range own[j].by {
					total += len(d)
				}
				p99, bare := at(good, .99), at(peer[j].by[200], .99)
				t.Logf("%-30s %8.1f %8.1f %8.1f %8.1f %8.0f %9.1f %8.1f %6d", name+": "+k.name, float64(total)/long.Seconds(), at(good, .5), at(good, .95), p99, most[k.name], bare, p99/bare, total-len(good))
				if tells := own[j].slowest(); tells != "" {
					t.Logf("%-30s the slowest: %s", "", tells)
				}
			}
			if len(part.kinds) == 1 {
				whole += spent.Seconds() / long.Seconds()
			}
			t.Logf("%-30s an answer: %.2f ms on a processor, %.2f ms its threads waited for one", "", spent.Seconds()*1000/float64(max(1, answers)), waits.Seconds()*1000/float64(max(1, answers)))
		}
		if lines == "1" {
			t.Logf("all at once at the full rates would keep %.1f processors busy, by the lines above; there are %d, shared with the client", whole, runtime.NumCPU())
		}
		return
	}

	// the service's memory of documents is filled first: while it fills, what is
	// resident grows
	for i := range 100 {
		for _, k := range mix[:2] {
			if k.name == "plan" && i%4 > 0 {
				continue
			}
			if status, body := send(client, k.method, "http://"+addr+k.path(i), k.body(900-i)); status != 200 {
				t.Fatalf("%s: %d %.300s", k.name, status, body)
			}
		}
	}
	wanted := wanting(t)
	ctx, cancel := context.WithTimeout(t.Context(), long)
	defer cancel()
	var memory []float64
	var wg sync.WaitGroup
	wg.Go(func() {
		for {
			select {
			case <-ctx.Done():
				return
			case <-time.After(min(time.Second, long/40)):
				memory = append(memory, resident(t, service.Process.Pid))
			}
		}
	})
	own, peer := trial(t, client, addr, bareAddr, mix, faster, long)
	cancel()
	wg.Wait()
	all, wrong, busy := 0, 0, 0
	for j, k := range mix {
		good := own[j].by[200]
		total := 0
		for _, d := range own[j].by {
			total += len(d)
		}
		all, wrong, busy = all+total, wrong+total-len(good), busy+len(own[j].by[503])
		t.Logf("%-8s %6.1f a second, p50 %.1f ms, p99 %.1f ms; bare handler p50 %.1f ms, p99 %.1f ms", k.name, float64(total)/long.Seconds(), at(good, .5), at(good, .99), at(peer[j].by[200], .5), at(peer[j].by[200], .99))
	}
	// flat: what it is in the last quarter is what it was in the second
	middle := func(part []float64) float64 { part = slices.Sorted(slices.Values(part)); return part[len(part)/2] }
	q := len(memory) / 4
	was, is := middle(memory[q:2*q]), middle(memory[3*q:])
	t.Logf("load held: %d answers in %v, %d wrong, %d of them refused as busy (%.1f processes wanted a processor before it began, there are %d)", all, long, wrong, busy, wanted, runtime.NumCPU())
	t.Logf("memory flat: %.0f MiB resident in the second quarter, %.0f in the last", was, is)
	// on a machine that has its hands full already, a refusal is right
	if wrong > busy || busy > 0 && wanted < float64(runtime.NumCPU()) {
		t.Errorf("%d of %d requests were not answered with 200", wrong, all)
	}
	if is > 1.15*was+16 {
		t.Errorf("memory grew from %.0f to %.0f MiB", was, is)
	}

	// past capacity
	alone := func() (d []time.Duration) {
		for range 5 {
			start := time.Now()
			if status, body := send(client, "POST", "http://"+addr+mix[0].path(0), mix[0].body(0)); status != 200 {
				t.Fatalf("alone: %d %.200s", status, body)
			}
			d = append(d, time.Since(start))
		}
		return d
	}
	before := alone()
	flood, stop := context.WithTimeout(t.Context(), 5*time.Second)
	defer stop()
	var past times
	full := input("")
	steady(flood, 100, func(i int, _ time.Time) {
		start := time.Now() // what the client itself is late by is not the service's
		status, _ := send(client, "POST", "http://"+addr+mix[0].path(i), full(i))
		past.add(status, time.Since(start), "")
	})
	start := time.Now()
	after := alone()
	recovered := time.Since(start)
	refused := append(slices.Clone(past.by[429]), past.by[503]...)
	others := 0
	for status, d := range past.by {
		if status != 200 && status != 429 && status != 503 {
			others += len(d)
		}
	}
	t.Logf("past capacity: 100 plans a second: %d done, %d refused with 429 or 503 in p50 %.1f ms, p99 %.1f ms, %d other; then 5 plans in %.2f s (one: %.0f ms before, %.0f ms after)",
		len(past.by[200]), len(refused), at(refused, .5), at(refused, .99), others, recovered.Seconds(), at(before, .5), at(after, .5))
	if others > 0 || len(refused) == 0 || len(past.by[200]) == 0 {
		t.Errorf("past capacity: %d done, %d refused, %d other", len(past.by[200]), len(refused), others)
	}
	// the median, since the machine may have other work
	if m := at(refused, .5); m > 50 && wanted < float64(runtime.NumCPU()) {
		t.Errorf("past capacity: refused after %.0f ms", m)
	}
}
