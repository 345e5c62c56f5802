package mapclient_test

// Walks of the page in headless Chromium against the program itself, and what
// can be held of its files without a browser.

import (
	"bufio"
	"bytes"
	"fmt"
	"image"
	_ "image/png"
	"io/fs"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"fallwright/api/mapclient"
	"fallwright/sampledata"
)

// built is the program, made once for all walks; TestMain takes it away.
var built struct {
	once sync.Once
	dir  string
	err  error
}

func program(t *testing.T) string {
	t.Helper()
	built.once.Do(func() {
		if built.dir, built.err = os.MkdirTemp("", "fallwright-page"); built.err != nil {
			return
		}
		if out, err := exec.Command("go", "build", "-o", filepath.Join(built.dir, "fallwright"), "fallwright/cmd/fallwright").CombinedOutput(); err != nil {
			built.err = fmt.Errorf("%w\n%s", err, out)
		}
	})
	if built.err != nil {
		t.Fatal(built.err)
	}
	return filepath.Join(built.dir, "fallwright")
}

func TestMain(m *testing.M) {
	code := m.Run()
	if built.dir != "" {
		_ = os.RemoveAll(built.dir)
	}
	os.Exit(code)
}

// serve starts the program as a user does and gives its address.
func serve(t *testing.T, flags ...string) string {
	t.Helper()
	cmd := exec.Command(program(t), append([]string{"serve", "--quiet", "--addr", "127.0.0.1:0"}, flags...)...)
	pipe, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = cmd.Process.Signal(os.Interrupt)
		_ = cmd.Wait()
	})
	line, err := bufio.NewReader(pipe).ReadString('\n')
	if err != nil {
		t.Fatal(err)
	}
	at := regexp.MustCompile(`http://[0-9.:]+/`).FindString(line)
	if at == "" {
		t.Fatalf("no address in %q", line)
	}
	return at
}

// A size is that of a screen on which the page is walked.
type size struct {
	name          string
	width, height int
	phone         bool
}

// sizes are those that every walk is walked at: a desktop and a phone.
var sizes = []size{{"desktop", 1200, 780, false}, {"phone", 390, 844, true}}

// pictures is where the picture of a walk goes that the page is judged by; empty:
// nowhere.
func (s size) pictures(name string) string {
	if dir := os.Getenv("FALLWRIGHT_PICTURES"); dir != "" {
		return filepath.Join(dir, "map-"+name+s.name+".png")
	}
	return ""
}

// atEachSize walks at every size, each in a browser of its own beside the other;
// but is the size alone to be walked, or empty.
func atEachSize(t *testing.T, walks func(t *testing.T, b *browser, s size)) {
	for _, s := range sizes {
		t.Run(s.name, func(t *testing.T) {
			t.Parallel()
			walks(t, openBrowser(t), s)
		})
	}
}

// grounded: relief and contours of the lot have come.
const grounded = `document.getElementById('board').dataset.ground === 'shown'`

const planned = `document.getElementById('verdict').textContent.includes('Lot B4:')`

// The main job: sample, lot, plan, walk, route, what-if, undo; and a file whose texts are markup.
func TestWalkThePage(t *testing.T) { atEachSize(t, walkThePage) }

func walkThePage(t *testing.T, b *browser, s size) {
	at := serve(t)

	t.Run("the main job", func(t *testing.T) {
		b.page(t, s.width, s.height, s.phone)
		b.open(at)
		b.eval(`document.getElementById('sample').click()`, nil)
		b.until(`document.getElementById('lot').options.length === 37`)
		if n := b.text(`document.querySelectorAll('#cautionList li').length`); n != "6" {
			t.Errorf("%s cautions are shown before any plan, 6 wanted", n)
		}
		b.eval(`(s => { s.value = 'B4'; s.dispatchEvent(new Event('change')); })(document.getElementById('lot'))`, nil)
		b.until(planned)
		if n := b.text(`document.querySelectorAll('#overlay .pipe').length > 10 && document.querySelectorAll('#overlay .mark').length > 3`); n != "true" {
			t.Error("the network or the findings are not on the plan")
		}
		b.until(grounded)
		light(t, b.picture(s.pictures("")), s.width, s.height)
		if wide := b.text(`document.documentElement.scrollWidth`); wide != strconv.Itoa(s.width) {
			t.Errorf("the page is %s px wide on a screen of %d", wide, s.width)
		}

		// the ground: relief, contours and the hollow of the lot are on the plan,
		// and switched off they change it
		count := `(c => { const t = new OffscreenCanvas(c.width, c.height).getContext('2d', { willReadFrequently: true }); t.drawImage(c, 0, 0); const d = t.getImageData(0, 0, c.width, c.height).data; let n = 0; for (let i = 0; i < d.length; i += 4) n = (n * 31 + d[i] + d[i + 1] + d[i + 2]) % 1e9; return n; })(document.getElementById('ground'))`
		b.until(`document.querySelectorAll('#layers input').length === 24`)
		with := b.text(count)
		for _, name := range []string{"Relief", "Contours", "Hollows", "Ways of water"} {
			b.eval(`[...document.querySelectorAll('#layers label')].find(l => l.textContent.startsWith(`+fmt.Sprintf("%q", name)+`)).querySelector('input').click()`, nil)
			b.until(count + ` !== ` + with)
			with = b.text(count)
		}
		for range 4 {
			b.eval(`[...document.querySelectorAll('#layers input')].filter(i => !i.checked && /Relief|Contours|Hollows|Ways of water/.test(i.parentNode.textContent)).forEach(i => i.click())`, nil)
		}

		// the papers: the bytes that the service sends are handed on
		b.eval(`(() => { window.__saved = []; const make = URL.createObjectURL.bind(URL); URL.createObjectURL = blob => { blob.slice(0, 5).text().then(head => window.__saved.push([head, blob.size])); return make(blob); }; })()`, nil)
		for i, name := range []string{"Plan and profile sheet, PDF", "Stake-out, CSV", "Upkeep calendar, ICS"} {
			b.eval(`document.querySelector('#papers button[aria-label="`+name+`"]').click()`, nil)
			b.until(fmt.Sprintf(`window.__saved.length === %d`, i+1))
		}
		if heads := b.text(`window.__saved.map(s => s[0]).join(' ')`); !strings.HasPrefix(heads, "%PDF- ") || !strings.HasSuffix(heads, " BEGIN") {
			t.Errorf("papers begin with %q", heads)
		}

		// a mark tells its finding where it stands
		var m struct{ X, Y float64 }
		b.eval(`(h => { const r = h.getBoundingClientRect(); return {x: r.x + r.width / 2, y: r.y + r.height / 2}; })(document.querySelector('#overlay .mark.warn path'))`, &m)
		b.mouse("mousePressed", m.X, m.Y)
		b.mouse("mouseReleased", m.X, m.Y)
		b.until(`!document.getElementById('tale').hidden && document.getElementById('tale').textContent.includes('warn:')`)
		b.picture(s.pictures("finding-"))

		// the walk, by keyboard
		b.eval(`document.getElementById('board').focus()`, nil)
		first := b.text(`document.getElementById('card').textContent`)
		b.key("n")
		b.until(`document.getElementById('card').textContent !== ` + fmt.Sprintf("%q", first))

		// a route by keyboard: on either side of the lot line, so that it strays
		b.key("d")
		b.key("Enter")
		for range 3 {
			b.key("ArrowRight")
		}
		b.key("Enter")
		b.until(`document.getElementById('routeAnswer').textContent.includes('Your route is')`)
		// dragging a vertex checks again and says how far it is off
		var p struct{ X, Y float64 }
		b.eval(`(h => { const r = h.getBoundingClientRect(); return {x: r.x + 6, y: r.y + 6}; })(document.querySelectorAll('#overlay .handle')[1])`, &p)
		b.mouse("mousePressed", p.X, p.Y)
		for i := 1; i <= 8; i++ {
			b.mouse("mouseMoved", p.X+float64(20*i), p.Y)
		}
		b.mouse("mouseReleased", p.X+160, p.Y)
		b.until(`document.querySelectorAll('#overlay .tell').length > 0`)
		time.Sleep(300 * time.Millisecond) // the check of the line as it lies now
		b.picture(s.pictures("route-"))
		b.key("Escape")
		if kept := b.text(`Object.keys(localStorage).filter(k => k.startsWith('fallwright.edits')).length`); kept != "1" {
			t.Errorf("the drawing is kept %s times in the browser", kept)
		}
		for range 3 {
			b.eval(`document.getElementById('undo').click()`, nil)
		}
		b.until(`document.querySelectorAll('#overlay .handle').length === 0 && document.getElementById('undo').disabled`)

		// what if: another slope plans again and stands beside the first plan
		b.eval(`(s => { s.value = '2'; s.dispatchEvent(new Event('input')); s.dispatchEvent(new Event('change')); })(document.getElementById('ifSlope'))`, nil)
		b.eval(`document.getElementById('ifBox').open = true`, nil)
		b.until(`document.querySelector('#compare table') && ` + planned)
		b.eval(`(s => { s.value = 'si'; s.dispatchEvent(new Event('change')); })(document.getElementById('units'))`, nil)
		b.until(`/ m of pipe/.test(document.getElementById('verdictText').textContent)`)
		b.quiet()
	})

	t.Run("nothing drawn is lost", func(t *testing.T) {
		b.page(t, s.width, s.height, s.phone)
		b.call(b.session, "Network.enable", nil, nil)
		b.open(at + "#sample=&lot=B4")
		b.until(planned)
		b.eval(`document.getElementById('board').focus()`, nil)
		// move the first thing of the lot by keyboard: the service plans again
		flow := b.text(`document.getElementById('verdictText').textContent`)
		b.key("m")
		b.key("ArrowDown")
		b.key("ArrowDown")
		b.until(`!document.getElementById('undo').disabled && ` + planned + ` && document.getElementById('verdictText').textContent !== ` + fmt.Sprintf("%q", flow))
		// a route, with the cable pulled
		b.call(b.session, "Network.emulateNetworkConditions", map[string]any{"offline": true, "latency": 0, "downloadThroughput": -1, "uploadThroughput": -1}, nil)
		b.key("d")
		b.key("Enter")
		b.key("Enter") // once more at the same place is no point
		b.until(`document.getElementById('live').textContent.includes('where the last point lies')`)
		for range 6 {
			b.key("ArrowLeft")
		}
		b.key("Enter")
		b.until(`document.getElementById('live').textContent.includes('Nothing you drew is lost')`)
		b.call(b.session, "Network.emulateNetworkConditions", map[string]any{"offline": false, "latency": 0, "downloadThroughput": -1, "uploadThroughput": -1}, nil)
		b.call(b.session, "Page.reload", nil, nil)
		b.until(`document.getElementById('verdict') && ` + planned + ` && document.querySelectorAll('#overlay .handle').length === 2`)
		b.until(`document.getElementById('routeAnswer').textContent.includes('Your route is')`)
		b.eval(`document.getElementById('undo').click()`, nil)
		b.until(`document.querySelectorAll('#overlay .handle').length === 0 && Object.keys(localStorage).every(k => !k.startsWith('fallwright.edits'))`)
		b.until(planned + ` && document.getElementById('verdictText').textContent === ` + fmt.Sprintf("%q", flow))
	})

	t.Run("what comes late, and what is undone", func(t *testing.T) {
		b.page(t, s.width, s.height, s.phone)
		b.call(b.session, "Network.enable", nil, nil)
		b.open(at + "#sample=&lot=B4")
		b.until(planned)
		// reasons in the units shown: no metres among them
		b.eval(`document.getElementById('endsBox').open = true`, nil)
		b.until(`document.querySelectorAll('#alternatives tbody tr').length > 2`)
		if got := b.text(`document.getElementById('alternatives').textContent`); regexp.MustCompile(`\d m\b`).MatchString(got) || !strings.Contains(got, " ft") {
			t.Errorf("in feet: %s", got)
		}
		// another end is of this lot: on the next one nothing is left to undo
		b.eval(`[...document.querySelectorAll('#alternatives button')].find(x => !x.disabled).click()`, nil)
		b.until(`!document.getElementById('undo').disabled`)
		b.choose("lot", "B5")
		b.until(`document.getElementById('verdict').textContent.includes('Lot B5:') && document.getElementById('undo').disabled`)
		// by keys alone: the lot in the middle of the plan
		b.choose("lot", "B4")
		b.until(planned)
		b.eval(`document.getElementById('fitSite').click(); document.getElementById('board').focus()`, nil)
		b.key("Enter")
		b.until(`document.getElementById('lot').value !== 'B4' && document.getElementById('verdict').textContent.includes('Lot ' + document.getElementById('lot').value + ':')`)
		// the service is gone and comes back
		offline := func(is bool) {
			b.call(b.session, "Network.emulateNetworkConditions", map[string]any{"offline": is, "latency": 0, "downloadThroughput": -1, "uploadThroughput": -1}, nil)
		}
		offline(true)
		b.choose("lot", "B4")
		b.until(`document.getElementById('verdictWord').textContent === 'No plan' && !document.getElementById('again').hidden && /does not answer/.test(document.getElementById('verdictText').textContent)`)
		b.picture(s.pictures("gone-"))
		offline(false)
		b.eval(`document.getElementById('reportClose').click(); document.getElementById('again').click()`, nil)
		b.until(planned + ` && document.getElementById('again').hidden`)
		// a plan that comes when another site is open is not that site's
		b.eval(`window.__late = 0; (f => { window.fetch = async (to, o) => { if (!String(o?.body).includes('"lots":["B5"]')) return f(to, o); const r = await f(to, { ...o, signal: undefined }); await new Promise(d => setTimeout(d, 1500)); window.__late++; return r; }; })(window.fetch)`, nil)
		b.choose("lot", "B5")
		b.drop("parcels.geojson", `{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"lot":"7"},"geometry":{"type":"Polygon","coordinates":[[[-85,36],[-84.9997,36],[-84.9997,36.0003],[-85,36.0003],[-85,36]]]}}]}`)
		b.until(`document.getElementById('lot').options.length === 2`)
		b.until(`window.__late >= 2`)
		time.Sleep(500 * time.Millisecond)
		if got := b.text(`document.getElementById('verdictWord').textContent + document.querySelectorAll('#overlay .pipe').length`); got != "site: 1 lot0" {
			t.Errorf("another site is open, and the plan of the last is on it: %s", got)
		}
	})

	t.Run("state plane feet", func(t *testing.T) {
		b.page(t, s.width, s.height, s.phone)
		b.open(at)
		b.eval(fmt.Sprintf(`(() => { const d = new DataTransfer(); d.items.add(new File([%q], 'site.json')); document.dispatchEvent(new DragEvent('drop', { dataTransfer: d })); })()`, sampledata.StatePlane()), nil)
		b.until(`document.getElementById('lot').options.length === 37`)
		b.eval(`(s => { s.value = 'B4'; s.dispatchEvent(new Event('change')); })(document.getElementById('lot'))`, nil)
		b.until(planned)
		// the scale bar of the page against the length that the service tells of a run
		var drawn, told float64
		b.eval(`(() => { const p = document.querySelector('#overlay .pipe').getAttribute('points').split(' ').map(q => q.split(',').map(Number));
			let d = 0; for (let i = 1; i < p.length; i++) d += Math.hypot(p[i][0] - p[i-1][0], p[i][1] - p[i-1][1]);
			const bar = Number(/h([\d.]+)v/.exec(document.querySelector('.barLine').getAttribute('d'))[1]), text = parseFloat(document.querySelector('#bar text').textContent); return d / bar * text; })()`, &drawn)
		b.eval(`document.getElementById('runsBox').open = true`, nil)
		b.until(`document.querySelector('#runs tbody tr')`)
		b.eval(`parseFloat(document.querySelector('#runs tbody tr').cells[2].textContent)`, &told)
		if math.Abs(drawn-told) > 0.02*told {
			t.Errorf("the first run is %.2f ft by the scale bar, %.2f ft by the service", drawn, told)
		}
		b.quiet()
	})

	t.Run("a GIS export into a store", func(t *testing.T) {
		at := serve(t, "--store", filepath.Join(t.TempDir(), "sites.gpkg"))
		b.page(t, s.width, s.height, s.phone)
		b.open(at)
		b.until(`!document.getElementById('store').hidden`)
		bring := func(name, text, layer string) {
			b.eval(fmt.Sprintf(`(() => { const d = new DataTransfer(); d.items.add(new File([%q], %q)); document.dispatchEvent(new DragEvent('drop', { dataTransfer: d })); })()`, text, name), nil)
			b.until(`document.getElementById('bring').open`)
			if got := b.text(`document.getElementById('bringLayer').value`); got != layer {
				t.Errorf("%s is taken for the layer %s", name, got)
			}
			b.eval(`document.getElementById('bringSite').value = 'field'; document.querySelector('#bring button[value=read]').click()`, nil)
			b.until(`!document.getElementById('report').hidden`)
		}
		bring("parcels.csv", "WKT,LOT_ID\n\"POLYGON((-85 36,-84.9997 36,-84.9997 36.0003,-85 36.0003,-85 36))\",7\n", "parcels")
		b.until(`document.getElementById('lot').options.length === 2`)
		if got := b.text(`document.getElementById('reportTitle').textContent + ' / ' + document.getElementById('reportList').textContent`); !strings.Contains(got, "was read") || !strings.Contains(got, "parcels: 1") {
			t.Errorf("the report: %s", got)
		}
		// two browsers store the same site: the later one is told, and loses nothing
		b.eval(`fetch('/sites?site=field&replace=true', { method: 'POST', headers: { 'Content-Type': 'application/json' }, body: JSON.stringify({ site: 'field', layers: { parcels: { type: 'FeatureCollection', features: [{ type: 'Feature', properties: { lot: '8' }, geometry: { type: 'Polygon', coordinates: [[[-85, 36], [-84.9997, 36], [-84.9997, 36.0003], [-85, 36.0003], [-85, 36]]] } }] } } }) }).then(r => { window.__put = r.status; })`, nil)
		b.until(`window.__put === 200`)
		b.eval(`document.getElementById('reportClose').click(); document.getElementById('store').click()`, nil)
		b.until(`document.getElementById('reportTitle').textContent.includes('Somebody else stored this site')`)
		// a file that is no such thing
		b.eval(`(() => { const d = new DataTransfer(); d.items.add(new File(['PK'], 'broken.zip')); document.dispatchEvent(new DragEvent('drop', { dataTransfer: d })); })()`, nil)
		b.until(`document.getElementById('bring').open`)
		b.eval(`document.querySelector('#bring button[value=read]').click()`, nil)
		b.until(`document.getElementById('reportTitle').textContent.includes('were not opened')`)
	})

	t.Run("hostile", func(t *testing.T) {
		b.page(t, s.width, s.height, s.phone)
		b.open(at)
		b.eval(`(() => {
			const evil = '<img src=x onerror="window.__owned=1"><script>window.__owned=1<\/script>';
			const site = { site: evil, layers: { parcels: { type: 'FeatureCollection', features: [{ type: 'Feature', id: evil, properties: { lot: evil },
				geometry: { type: 'Polygon', coordinates: [[[-85, 36], [-84.9997, 36], [-84.9997, 36.0003], [-85, 36.0003], [-85, 36]]] } }] } } };
			const d = new DataTransfer(); d.items.add(new File([JSON.stringify(site)], 'site.json'));
			document.dispatchEvent(new DragEvent('drop', { dataTransfer: d }));
		})()`, nil)
		b.until(`document.getElementById('lot').options.length === 2`)
		b.eval(`(s => { s.selectedIndex = 1; s.dispatchEvent(new Event('change')); })(document.getElementById('lot'))`, nil)
		b.until(`document.getElementById('verdict').textContent.includes('Lot <img') || document.getElementById('verdict').textContent.includes('No plan')`)
		// a file that is no such thing says so and leaves the site open
		b.eval(`(() => { const d = new DataTransfer(); d.items.add(new File(['<b onclick=1>'], '<img src=x onerror=window.__owned=1>.json')); document.dispatchEvent(new DragEvent('drop', { dataTransfer: d })); })()`, nil)
		b.until(`!document.getElementById('report').hidden && document.getElementById('reportText').textContent.includes('is no JSON')`)
		if got := b.text(`window.__owned`); got != "undefined" {
			t.Errorf("window.__owned is %s: a file's text became markup", got)
		}
		if n := b.text(`document.querySelectorAll('img, script').length`); n != "1" {
			t.Errorf("%s img or script elements, 1 wanted", n)
		}
		b.quiet()
	})
}

// light holds that a picture has the size asked for and that the ground is
// drawn: the light band of the trench zone and the dark of the pipes.
func light(t *testing.T, png []byte, width, height int) {
	t.Helper()
	m, _, err := image.Decode(bytes.NewReader(png))
	if err != nil {
		t.Fatal(err)
	}
	if m.Bounds().Dx() != width || m.Bounds().Dy() != height {
		t.Errorf("the picture is %v", m.Bounds())
	}
	house := 0
	for y := range height {
		for x := range width {
			if r, g, b, _ := m.At(x, y).RGBA(); r>>8 == 0x85 && g>>8 == 0x7a && b>>8 == 0x6c {
				house++
			}
		}
	}
	if house < 1000 {
		t.Errorf("%d pixels of footprints on the plan: the ground is not drawn", house)
	}
}

// touching lists the words and marks on the plan that touch or lie over each
// other, are cut by the edge of the plan, or lie under its buttons and lines of
// text: by the corners at which the browser has them, two being apart if a side
// of either parts them.
const touching = `(() => {
	const board = document.getElementById('board'), sheet = board.getBoundingClientRect(), out = [];
	const quad = e => { const r = e.getBBox(), m = e.getScreenCTM(); return [[r.x, r.y], [r.x + r.width, r.y], [r.x + r.width, r.y + r.height], [r.x, r.y + r.height]].map(([x, y]) => [m.a * x + m.c * y + m.e, m.b * x + m.d * y + m.f]); };
	const rect = e => { const r = e.getBoundingClientRect(); return [[r.left, r.top], [r.right, r.top], [r.right, r.bottom], [r.left, r.bottom]]; };
	const apart = (p, q) => [p, q].some(s => s.some((a, i) => { const b = s[(i + 1) % 4], n = [b[1] - a[1], a[0] - b[0]], on = t => t.map(v => v[0] * n[0] + v[1] * n[1]); const u = on(p), w = on(q); return Math.max(...u) <= Math.min(...w) || Math.max(...w) <= Math.min(...u); }));
	const seen = e => getComputedStyle(e).visibility !== 'hidden';
	const words = [...board.querySelectorAll('#overlay text')].filter(e => seen(e) && !e.closest('.mark')).map(e => [e.textContent, quad(e)]);
	for (const m of board.querySelectorAll('#overlay .mark')) if (seen(m)) words.push(['mark ' + m.textContent, quad(m)]);
	words.forEach(([name, q], i) => {
		if (q.some(p => p[0] < sheet.left - 0.5 || p[0] > sheet.right + 0.5 || p[1] < sheet.top - 0.5 || p[1] > sheet.bottom + 0.5)) out.push(name + ' is cut by the edge');
		for (const over of board.querySelectorAll('.zoom, #north, #bar, #live, #tale')) if (over.getClientRects().length && !apart(q, rect(over))) out.push(name + ' lies under ' + (over.id || over.className));
		for (const [other, r] of words.slice(i + 1)) if (!apart(q, r)) out.push(name + ' touches ' + other);
	});
	return { words: words.length, out };
})()`

// apart holds that no words on the plan touch when it is at rest, and that there
// are some; an answer of the service may stir it once more.
func (b *browser) apart(least int) {
	b.t.Helper()
	var got struct {
		Words int
		Out   []string
	}
	for range 5 {
		b.atRest()
		if b.eval(touching, &got); len(got.Out) == 0 {
			break
		}
		time.Sleep(200 * time.Millisecond)
	}
	if got.Words < least {
		b.t.Errorf("%d words are on the plan, at least %d wanted", got.Words, least)
	}
	for _, s := range got.Out {
		b.t.Errorf("on the plan %s", s)
	}
}

// No words on the plan touch: lot names, levels, inlets, pipe sizes, marks,
// mends, rings to move and shots, near and from far, panned, and drawn over.
func TestPropertyWordsKeepApart(t *testing.T) { atEachSize(t, wordsKeepApart) }

func wordsKeepApart(t *testing.T, b *browser, s size) {
	at := serve(t)
	b.page(t, s.width, s.height, s.phone)
	b.open(at + "#sample=")
	b.until(`document.getElementById('lot').options.length === 37`)
	b.apart(15) // the site: names of lots and inlets
	press := func(id string) { b.eval(fmt.Sprintf(`document.getElementById(%q).click()`, id), nil) }
	for range 3 {
		press("zoomIn")
		b.apart(1)
	}
	b.choose("lot", "B4")
	b.until(planned)
	b.until(grounded)
	b.apart(15)
	for _, id := range []string{"zoomOut", "zoomOut", "fitLot", "zoomIn", "zoomIn", "zoomIn", "fitLot"} {
		press(id)
		b.apart(4)
	}
	b.eval(`document.getElementById('board').focus()`, nil)
	for _, k := range []string{"ArrowLeft", "ArrowUp", "ArrowUp", "ArrowRight"} {
		b.key(k)
		b.apart(8)
	}
	press("fitLot")
	// rings to move, each with its name
	b.key("m")
	b.apart(10)
	if n := b.text(`document.querySelectorAll('#overlay .gripText').length`); n == "0" {
		t.Error("no ring has its name")
	}
	b.key("Escape")
	// a route over the middle of the plan and the lot's line, over most of the words
	b.key("d")
	for _, k := range []string{"Enter", "ArrowRight", "ArrowRight", "ArrowRight", "Enter", "ArrowDown", "ArrowLeft", "ArrowLeft", "Enter", "ArrowDown", "ArrowRight", "ArrowRight", "ArrowRight", "ArrowRight", "ArrowRight", "ArrowRight", "Enter", "ArrowUp", "ArrowUp", "Enter"} {
		for range map[bool]int{true: 1, false: 4}[k == "Enter"] {
			b.key(k)
		}
	}
	b.key("Escape")
	b.until(`document.querySelectorAll('#overlay .tell').length > 0`)
	b.apart(8)
	for _, id := range []string{"zoomIn", "zoomIn", "zoomOut", "zoomOut", "zoomOut", "fitLot"} {
		press(id)
		b.apart(3)
	}
	b.choose("units", "si")
	b.apart(8)
	b.picture(s.pictures("words-"))
	b.quiet()
}

// The policy of the service forbids inline script and style, markup from text
// forbids itself, and no file may name an address outside.
func TestPropertyFilesObeyThePolicy(t *testing.T) {
	page, err := mapclient.Page([]byte(`{}`), []string{"Dig with care."}, []string{"https://tiles.example.org/{z}/{x}/{y}.png"}, true)
	if err != nil {
		t.Fatal(err)
	}
	size := 0
	bad := regexp.MustCompile(`innerHTML|outerHTML|insertAdjacentHTML|document\.write|\beval\(|new Function|<style|\sstyle=|\son[a-z]+="|javascript:`)
	outside := regexp.MustCompile(`https?://[a-z0-9.]+`)
	err = fs.WalkDir(page, ".", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		text, err := fs.ReadFile(page, path)
		size += len(text)
		if m := bad.Find(text); m != nil {
			t.Errorf("%s holds %q", path, m)
		}
		for _, m := range outside.FindAllString(string(text), -1) {
			switch {
			case m == "http://www.w3.org", m == "http://www.opengis.net": // names of a vocabulary and of reference systems, never fetched
			case path == "assets/settings.json": // what the operator configured
			default:
				t.Errorf("%s names the address %s", path, m)
			}
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	if size > 300<<10 {
		t.Errorf("the page has %d bytes", size)
	}
	for name, want := range map[string]string{"assets/sample.json": "{}", "assets/cautions.json": `["Dig with care."]`, "assets/settings.json": `{"store":true,"tiles":["https://tiles.example.org/{z}/{x}/{y}.png"]}`} {
		if got, err := fs.ReadFile(page, name); err != nil || string(got) != want {
			t.Errorf("%s: %q, %v", name, got, err)
		}
	}
	if _, err := page.Open("assets/../mapclient.go"); err == nil {
		t.Error("a path upward is opened")
	}
}

// Every id that a source asks for stands in the page once.
func TestPropertyIdsMatch(t *testing.T) {
	page, err := mapclient.Page(nil, nil, nil, false)
	if err != nil {
		t.Fatal(err)
	}
	html, err := fs.ReadFile(page, "index.html")
	if err != nil {
		t.Fatal(err)
	}
	sources, err := filepath.Glob("source/*.ts")
	if err != nil {
		t.Fatal(err)
	}
	asks := regexp.MustCompile(`(?:\$|\bbutton|\binput|\bchoice)(?:<[A-Za-z]+>)?\('([A-Za-z]+)'\)`)
	asked := map[string]bool{}
	for _, name := range sources {
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range asks.FindAllSubmatch(text, -1) {
			asked[string(m[1])] = true
		}
	}
	if len(asked) < 60 {
		t.Fatalf("only %d ids are asked for", len(asked))
	}
	for id := range asked {
		if n := strings.Count(string(html), fmt.Sprintf(`id="%s"`, id)); n != 1 {
			t.Errorf("id %s stands %d times in the page", id, n)
		}
	}
}
