package mapclient_test

// A small driver of Debian's headless Chromium: the DevTools protocol over two
// pipes, so that no library and no free port is needed.

import (
	"bufio"
	"bytes"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"slices"
	"sort"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"
)

// patience is how long a walk waits for the page: a busy machine is no fault.
const patience = 90 * time.Second

type browser struct {
	t       *testing.T
	out     *os.File
	next    atomic.Int64
	mu      sync.Mutex
	waiting map[int64]chan reply
	session string
	// context is the page's own: its storage and permissions.
	context string
	// trace is what was traced, and traced is closed when it is whole.
	trace  []traced
	ending chan struct{}
	// said is what the page wrote to its console or threw.
	said []string
}

type reply struct {
	ID     int64           `json:"id"`
	Method string          `json:"method"`
	Params json.RawMessage `json:"params"`
	Result json.RawMessage `json:"result"`
	Error  *struct {
		Message string `json:"message"`
	} `json:"error"`
}

// openBrowser starts Chromium.
func openBrowser(t *testing.T) *browser {
	t.Helper()
	path, err := exec.LookPath("chromium")
	if err != nil && os.Getenv("CI") != "" {
		t.Fatal("chromium is not installed, and in CI the page must be walked")
	}
	if err != nil {
		t.Skip("chromium is not installed: the page is not walked")
	}
	profile := t.TempDir()
	cmd := exec.Command(path, "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
		"--disable-component-update", "--disable-sync", "--hide-scrollbars", "--user-data-dir="+profile, "--remote-debugging-pipe", "about:blank")
	in, toIn, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	fromOut, out, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	cmd.ExtraFiles = []*os.File{in, out} // 3: Chromium reads, 4: it writes
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	in.Close()
	out.Close()
	b := &browser{t: t, out: toIn, waiting: map[int64]chan reply{}}
	done := make(chan struct{})
	go func() { b.read(fromOut); close(done) }()
	t.Cleanup(func() {
		toIn.Close() // Chromium ends with its pipe
		ended := make(chan error, 1)
		go func() { ended <- cmd.Wait() }()
		select {
		case <-ended:
		case <-time.After(5 * time.Second):
			_ = cmd.Process.Kill()
			<-ended
		}
		<-done
		fromOut.Close()
	})
	return b
}

// page makes an empty page of the size given, with a storage of its own.
func (b *browser) page(t *testing.T, width, height int, phone bool) {
	t.Helper()
	b.t = t
	b.mu.Lock()
	b.said = nil
	b.mu.Unlock()
	var own struct{ BrowserContextID string }
	b.call("", "Target.createBrowserContext", nil, &own)
	b.context = own.BrowserContextID
	var target struct{ TargetID string }
	b.call("", "Target.createTarget", map[string]any{"url": "about:blank", "browserContextId": own.BrowserContextID}, &target)
	var attached struct{ SessionID string }
	b.call("", "Target.attachToTarget", map[string]any{"targetId": target.TargetID, "flatten": true}, &attached)
	b.session = attached.SessionID
	for _, d := range []string{"Page", "Runtime", "Log"} {
		b.call(b.session, d+".enable", nil, nil)
	}
	b.call(b.session, "Emulation.setDeviceMetricsOverride", map[string]any{"width": width, "height": height, "deviceScaleFactor": 1, "mobile": phone}, nil)
}

func (b *browser) read(from *os.File) {
	r := bufio.NewReaderSize(from, 1<<20)
	for {
		text, err := r.ReadBytes(0)
		if err != nil {
			b.mu.Lock()
			for id, c := range b.waiting {
				delete(b.waiting, id)
				close(c)
			}
			b.mu.Unlock()
			return
		}
		var m reply
		if json.Unmarshal(bytes.TrimSuffix(text, []byte{0}), &m) != nil {
			continue
		}
		b.mu.Lock()
		switch {
		case m.ID != 0:
			if c := b.waiting[m.ID]; c != nil {
				delete(b.waiting, m.ID)
				c <- m
			}
		case m.Method == "Tracing.dataCollected":
			var part struct{ Value []traced }
			_ = json.Unmarshal(m.Params, &part)
			b.trace = append(b.trace, part.Value...)
		case m.Method == "Tracing.tracingComplete" && b.ending != nil:
			close(b.ending)
			b.ending = nil
		case m.Method == "Runtime.exceptionThrown" || m.Method == "Log.entryAdded":
			b.said = append(b.said, string(m.Params))
		}
		b.mu.Unlock()
	}
}

func (b *browser) call(session, method string, params, result any) {
	b.t.Helper()
	id := b.next.Add(1)
	m := map[string]any{"id": id, "method": method}
	if params != nil {
		m["params"] = params
	}
	if session != "" {
		m["sessionId"] = session
	}
	text, err := json.Marshal(m)
	if err != nil {
		b.t.Fatal(err)
	}
	c := make(chan reply, 1)
	b.mu.Lock()
	b.waiting[id] = c
	b.mu.Unlock()
	if _, err := b.out.Write(append(text, 0)); err != nil {
		b.t.Fatalf("chromium: %s: %v", method, err)
	}
	select {
	case got, ok := <-c:
		if !ok {
			b.t.Fatalf("chromium ended during %s", method)
		}
		if got.Error != nil {
			b.t.Fatalf("chromium: %s: %s", method, got.Error.Message)
		}
		if result != nil {
			if err := json.Unmarshal(got.Result, result); err != nil {
				b.t.Fatalf("chromium: %s: %v", method, err)
			}
		}
	case <-time.After(patience):
		b.t.Fatalf("chromium: %s is not answered", method)
	}
}

func (b *browser) open(url string) {
	b.t.Helper()
	b.call(b.session, "Page.navigate", map[string]any{"url": url}, nil)
	b.until("document.readyState === 'complete' && location.href !== 'about:blank'")
}

// eval is the value of an expression, as JSON.
func (b *browser) eval(expression string, into any) {
	b.t.Helper()
	var got struct {
		Result           struct{ Value json.RawMessage }
		ExceptionDetails *struct {
			Text      string
			Exception struct{ Description string }
		}
	}
	b.call(b.session, "Runtime.evaluate", map[string]any{"expression": expression, "returnByValue": true, "awaitPromise": true}, &got)
	if got.ExceptionDetails != nil {
		b.t.Fatalf("%s: %s %s", expression, got.ExceptionDetails.Text, got.ExceptionDetails.Exception.Description)
	}
	if into != nil && len(got.Result.Value) > 0 {
		if err := json.Unmarshal(got.Result.Value, into); err != nil {
			b.t.Fatalf("%s: %v", expression, err)
		}
	}
}

func (b *browser) text(expression string) string {
	b.t.Helper()
	var s string
	b.eval("String("+expression+")", &s)
	return s
}

// until waits for an expression to hold; the page says why where it does not.
func (b *browser) until(expression string) {
	b.t.Helper()
	for end := time.Now().Add(patience); ; {
		var ok bool
		b.eval("!!("+expression+")", &ok)
		if ok {
			return
		}
		if time.Now().After(end) {
			told := b.text("document.getElementById('verdict')?.textContent") // before the lock: it calls
			b.mu.Lock()
			defer b.mu.Unlock()
			b.t.Fatalf("never: %s\nverdict: %s\nconsole: %v", expression, told, b.said)
		}
		time.Sleep(60 * time.Millisecond)
	}
}

func (b *browser) key(key string) {
	b.t.Helper()
	for _, kind := range []string{"keyDown", "keyUp"} {
		b.call(b.session, "Input.dispatchKeyEvent", map[string]any{"type": kind, "key": key}, nil)
	}
}

func (b *browser) mouse(kind string, x, y float64) {
	b.t.Helper()
	b.call(b.session, "Input.dispatchMouseEvent", map[string]any{"type": kind, "x": x, "y": y, "button": "left", "buttons": 1, "clickCount": 1}, nil)
}

// atRest waits until the plan is painted and its words are placed.
func (b *browser) atRest() {
	b.t.Helper()
	b.eval("new Promise(r => requestAnimationFrame(() => requestAnimationFrame(() => r(0))))", nil)
	b.until("(d => !d || d.painted !== 'no' && d.words !== 'moving')(document.getElementById('board')?.dataset)")
	b.eval("new Promise(r => requestAnimationFrame(() => requestAnimationFrame(() => r(0))))", nil)
}

// picture writes what the page looks like now.
func (b *browser) picture(file string) []byte {
	b.t.Helper()
	b.atRest()
	var got struct{ Data string }
	b.call(b.session, "Page.captureScreenshot", map[string]any{"format": "png"}, &got)
	png, err := base64.StdEncoding.DecodeString(got.Data)
	if err != nil {
		b.t.Fatal(err)
	}
	if file != "" {
		if err := os.WriteFile(file, png, 0o644); err != nil {
			b.t.Fatal(err)
		}
	}
	return png
}

// quiet fails on anything the page threw or the browser refused (the policy).
func (b *browser) quiet() {
	b.t.Helper()
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, s := range b.said {
		b.t.Error(fmt.Sprintf("the page's console: %.400s", s))
	}
}

// traced is an event of Chromium's tracing, times in microseconds; Tdur is the
// processor time of its thread.
type traced struct {
	Name, Ph  string
	Pid, Tid  int
	Ts        float64
	Dur, Tdur float64
	Args      struct{ Name string }
}

// frames traces what is done meanwhile and gives, for each frame of the page, the
// processor time of its main thread in milliseconds.
func (b *browser) frames(do func()) []float64 {
	b.t.Helper()
	ending := make(chan struct{})
	b.mu.Lock()
	b.trace, b.ending = nil, ending
	b.mu.Unlock()
	b.call("", "Tracing.start", map[string]any{"transferMode": "ReportEvents", "traceConfig": map[string]any{"includedCategories": []string{"toplevel", "devtools.timeline"}}}, nil)
	do()
	b.call("", "Tracing.end", nil, nil)
	select {
	case <-ending:
	case <-time.After(patience):
		b.t.Fatal("chromium: the trace does not end")
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	// the main thread on which most animation frames were
	type thread struct{ pid, tid int }
	main := map[thread]bool{}
	count := map[thread]int{}
	for _, e := range b.trace {
		if e.Name == "thread_name" && e.Args.Name == "CrRendererMain" {
			main[thread{e.Pid, e.Tid}] = true
		}
		if e.Name == "FireAnimationFrame" {
			count[thread{e.Pid, e.Tid}]++
		}
	}
	var own thread
	for t := range main {
		if count[t] > count[own] {
			own = t
		}
	}
	var starts []float64
	for _, e := range b.trace {
		if e.Name == "FireAnimationFrame" && own == (thread{e.Pid, e.Tid}) {
			starts = append(starts, e.Ts)
		}
	}
	slices.Sort(starts)
	if len(starts) < 3 {
		return nil
	}
	// one frame may fire several callbacks: what lies within 2 ms is one
	frame := starts[:1]
	for _, s := range starts[1:] {
		if s-frame[len(frame)-1] > 2000 {
			frame = append(frame, s)
		}
	}
	spent := make([]float64, len(frame))
	for _, e := range b.trace {
		if !strings.HasSuffix(e.Name, "RunTask") || own != (thread{e.Pid, e.Tid}) {
			continue
		}
		if i := sort.SearchFloat64s(frame, e.Ts+e.Dur); i > 0 && i < len(frame) {
			spent[i-1] += e.Tdur / 1000
		}
	}
	return spent[:len(spent)-1]
}
