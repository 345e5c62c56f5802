package mapclient_test

// Walks of the page's further work: calculation, quantities and cost, shots on
// the laid pipe, backgrounds, a county in tiles, big and broken files, the way
// of a crew with a phone, and print.

import (
	"encoding/base64"
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"net/http/httptest"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"time"
)

// drop drops a file on the page.
func (b *browser) drop(name, text string) {
	b.t.Helper()
	b.eval(fmt.Sprintf(`(() => { const d = new DataTransfer(); d.items.add(new File([%s], %q)); document.dispatchEvent(new DragEvent('drop', { dataTransfer: d })); })()`, quoted(text), name), nil)
}

func quoted(s string) string { q, _ := json.Marshal(s); return string(q) }

// choose puts a value into a control as a hand does.
func (b *browser) choose(id, value string) {
	b.t.Helper()
	b.eval(fmt.Sprintf(`(s => { s.value = %s; s.dispatchEvent(new Event('change')); })(document.getElementById(%q))`, quoted(value), id), nil)
}

// quietBut fails on anything that the page threw, but for answers of the
// service that the test asked for, which the browser notes as errors.
func (b *browser) quietBut(status string) {
	b.t.Helper()
	b.mu.Lock()
	kept := b.said[:0]
	for _, s := range b.said {
		if !strings.Contains(s, "a status of "+status) {
			kept = append(kept, s)
		}
	}
	b.said = kept
	b.mu.Unlock()
	b.quiet()
}

// shotsOf is a point file of the plan shown: a shot at both ends and every 2 m,
// the longest flat run sagging by half a metre in its middle.
const shotsOf = `(async () => {
	const site = await (await fetch('/assets/sample.json')).text();
	const r = await fetch('/processes/plan/execution', { method: 'POST', headers: { 'Content-Type': 'application/json' }, body: '{"inputs":{"lots":["B4"],"site":' + site + '}}' });
	const runs = (await r.json()).network.features.filter(f => f.properties.run).map(f => [f.properties, f.geometry.coordinates]);
	const long = runs.filter(x => x[0].slope < 0.02).sort((a, b) => b[0].length_m - a[0].length_m)[0];
	const out = [];
	for (const [p, c] of runs) { const n = Math.max(1, Math.ceil(p.length_m / 2)); for (let i = 0; i <= n; i++) { const f = i / n;
		out.push([out.length + 1, (c[0][1] + f * (c[1][1] - c[0][1])).toFixed(9), (c[0][0] + f * (c[1][0] - c[0][0])).toFixed(9),
			((p.invert_up_m + f * (p.invert_down_m - p.invert_up_m) - (p === long[0] ? 0.5 * Math.sin(Math.PI * f) : 0)) / 0.3048).toFixed(4), 'INV ' + p.run].join(',')); } }
	return out.join('\n') + '\n';
})()`

func TestWorkOnThePage(t *testing.T) { atEachSize(t, workOnThePage) }

func workOnThePage(t *testing.T, b *browser, s size) {
	at := serve(t)

	t.Run("calculation, quantities, cost and shots", func(t *testing.T) {
		b.page(t, s.width, s.height, s.phone)
		b.open(at + "#sample=&lot=B4")
		b.until(planned)
		b.until(grounded)
		// the steps of the last run: its flow by the formula that is shown
		b.eval(`document.getElementById('runsBox').open = true`, nil)
		b.eval(`[...document.querySelectorAll('#runs button')].at(-1).click()`, nil)
		b.until(`document.querySelectorAll('#steps .working li').length > 5`)
		var flow, ca, i float64
		b.eval(`(t => Number(/Q = CA · i\/3600000 \+ Qs = ([0-9.e-]+) m³\/s/.exec(t)[1]))(document.getElementById('steps').textContent)`, &flow)
		b.eval(`(t => Number(/with CA = ([0-9.]+) m²/.exec(t)[1]))(document.getElementById('steps').textContent)`, &ca)
		b.eval(`(t => Number(/, i = ([0-9.]+) mm/.exec(t)[1]))(document.getElementById('steps').textContent)`, &i)
		if !(flow > 0) || math.Abs(ca*i/3.6e6-flow) > 1e-4*flow { // the rational method in SI: Q = C A i / 3.6e6
			t.Errorf("Q is %g by the page, %g by its figures", flow, ca*i/3.6e6)
		}
		// in the units shown the flow is that of the metric figure: 1 m³/s is 15850.3 gpm (3.785411784 l to the gallon)
		var gpm float64
		b.eval(`(t => Number(/Q = CA · i\/3600000 \+ Qs = [0-9.e-]+ m³\/s \(([0-9.]+) gpm\)/.exec(t)[1]))(document.getElementById('steps').textContent)`, &gpm)
		if math.Abs(gpm-flow*15850.3) > 0.51 {
			t.Errorf("Q is %g m³/s and %g gpm", flow, gpm)
		}
		b.picture(s.pictures("steps-"))

		// quantities follow the plan; a price book puts money on them: 250 for the job
		// and 302 ft of stakes at 0.50 are 401
		b.eval(`document.getElementById('quantitiesBox').open = true`, nil)
		b.until(`document.querySelectorAll('#quantities tbody tr').length > 20`)
		before := b.text(`document.getElementById('quantities').textContent`)
		book := "item,unit,unit_price,date,region\ncurrency,USD,1,2026-01-01,here\nmobilisation,ea,250,2026-01-01,here\nlayout and stakes,ft,0.5,2026-01-01,here\n"
		b.eval(fmt.Sprintf(`(() => { const d = new DataTransfer(); d.items.add(new File([%s], 'book.csv')); const i = document.getElementById('prices'); i.files = d.files; i.dispatchEvent(new Event('change')); })()`, quoted(book)), nil)
		b.until(`document.querySelector('#quantities caption')?.textContent.startsWith('Cost by book.csv')`)
		if got := b.text(`document.querySelector('#quantities tbody tr').cells[2].textContent`); got != "401" {
			t.Errorf("the direct cost is %s, 401 wanted", got)
		}
		b.picture(s.pictures("cost-"))
		b.eval(`(() => { const d = new DataTransfer(); d.items.add(new File(['no book'], 'bad.csv')); const i = document.getElementById('prices'); i.files = d.files; i.dispatchEvent(new Event('change')); })()`, nil)
		b.until(`document.querySelector('#quantities .told')?.textContent.includes('were not priced by bad.csv')`)
		b.eval(`document.getElementById('pricesOff').click()`, nil)
		b.until(`document.querySelectorAll('#quantities tbody tr').length > 20`)
		b.choose("ifWall", "corrugated")
		b.until(`document.querySelectorAll('#quantities tbody tr').length > 20 && document.getElementById('quantities').textContent !== ` + quoted(before))
		b.eval(`document.getElementById('undo').click()`, nil)
		b.until(`document.getElementById('quantities').textContent === ` + quoted(before))

		// shots: a file that sags, told with its depth on the plan, on the section and in the table
		var file string
		b.eval(shotsOf, &file)
		b.drop("shots.csv", file)
		b.until(`document.getElementById('shotsAsk').open`)
		b.eval(`document.getElementById('shotsUnit').value = 'ft'; document.querySelector('#shotsAsk button[value=built]').click()`, nil)
		b.until(`document.querySelector('#built table') && document.querySelectorAll('#section .shot').length > 5`)
		if got := b.text(`document.getElementById('built').textContent`); !strings.Contains(got, "not feasible") || !strings.Contains(got, "stop:") {
			t.Errorf("a pipe that sags by half a metre: %.400s", got)
		}
		b.atRest()
		if got := b.text(`[...document.querySelectorAll('#overlay .tell')].map(e => e.textContent).join()`); !strings.Contains(got, "water stands") {
			t.Errorf("on the plan: %q", got)
		}
		if n := b.text(`document.querySelectorAll('#overlay .shot').length`); n == "0" {
			t.Error("no shot is on the plan")
		}
		b.picture(s.pictures("built-"))
		b.apart(3)
		if got := b.text(`(d => d.scrollWidth - d.clientWidth)(document.querySelector('.drawers'))`); got != "0" {
			t.Errorf("the table of the shots makes the drawers %s px too wide", got)
		}
		// the browser keeps them
		b.call(b.session, "Page.reload", nil, nil)
		b.until(`document.getElementById('verdict') && ` + planned + ` && document.querySelectorAll('#section .shot').length > 5`)
		b.eval(`document.getElementById('builtBox').open = true`, nil)
		// one more by hand, then a file that is none, then back; 545.5 ft are 545.4989 US survey feet (1200/3937 m)
		b.choose("shotsUnitNow", "us_ft")
		b.eval(`document.querySelector('#shotsForm button').click(); document.getElementById('shotAlong').value = '1'; document.getElementById('shotLevel').value = '545.5'; document.querySelector('#shotForm button').click()`, nil)
		b.until(`document.getElementById('shotsText').value.trim().split('\n').at(-1).split(',')[3] === '545.4989'`)
		b.eval(`document.getElementById('undo').click(); document.getElementById('undo').click()`, nil)
		b.until(`document.getElementById('shotsUnitNow').value === 'ft'`)
		b.eval(`document.getElementById('shotAlong').value = '1'; document.getElementById('shotLevel').value = '545.5'; document.querySelector('#shotForm button').click()`, nil)
		b.until(fmt.Sprintf(`document.getElementById('shotsText').value.trim().split('\n').length === %d`, strings.Count(file, "\n")+1))
		b.eval(`document.getElementById('shotsText').value = 'this is no file'; document.querySelector('#shotsForm button').click()`, nil)
		b.until(`document.querySelector('#built .told')?.textContent.includes('The shots were not read')`)
		b.eval(`document.getElementById('undo').click(); document.getElementById('undo').click(); document.getElementById('undo').click()`, nil)
		b.until(`document.querySelectorAll('#overlay .shot').length === 0`)
		b.quietBut("422")
	})

	t.Run("background", func(t *testing.T) {
		// a server of tiles of one colour, which no layer has
		var asked atomic.Int64
		tiles := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			asked.Add(1)
			w.Header().Set("Content-Type", "image/svg+xml")
			fmt.Fprint(w, `<svg xmlns="http://www.w3.org/2000/svg" width="256" height="256"><rect width="256" height="256" fill="#b7d1c3"/></svg>`)
		}))
		defer tiles.Close()
		address := tiles.URL + "/{z}/{x}/{y}.svg"
		at := serve(t, "--tiles", address)
		b.page(t, s.width, s.height, s.phone)
		b.open(at + "#sample=&lot=B4")
		b.until(planned)
		if asked.Load() != 0 {
			t.Error("a background was fetched that nobody chose")
		}
		b.choose("backdrop", address)
		b.until(`document.getElementById('board').dataset.backdrop === 'shown'`)
		b.picture(s.pictures("background-"))
		if asked.Load() == 0 {
			t.Error("no tile was fetched")
		}
		// an address that the service was not started with is refused in words
		b.choose("backdrop", "own")
		b.eval(`document.getElementById('backdropAddress').value = 'https://elsewhere.example.org/{z}/{x}/{y}.png'; document.getElementById('backdropUse').click()`, nil)
		b.until(`document.getElementById('live').textContent.includes('lets the page fetch no pictures from https://elsewhere.example.org')`)
		// and the choice is kept
		b.call(b.session, "Page.reload", nil, nil)
		b.until(`document.getElementById('verdict') && ` + planned + ` && document.getElementById('board').dataset.backdrop === 'shown'`)
		b.quiet()
	})

	t.Run("a county in tiles", func(t *testing.T) {
		dir := t.TempDir()
		store := filepath.Join(dir, "county.gpkg")
		var lots []string
		for i := range 80 {
			for j := range 70 {
				x, y := -85+float64(i)*3e-4, 36+float64(j)*4e-4
				lots = append(lots, fmt.Sprintf(`{"type":"Feature","properties":{"lot":"%d-%d"},"geometry":{"type":"Polygon","coordinates":[[[%.4f,%.4f],[%.4f,%.4f],[%.4f,%.4f],[%.4f,%.4f],[%.4f,%.4f]]]}}`, i, j, x, y, x+3e-4, y, x+3e-4, y+4e-4, x, y+4e-4, x, y))
			}
		}
		at := serve(t, "--store", store)
		res, err := http.Post(at+"sites?site=county", "application/json", strings.NewReader(`{"site":"county","criteria":{"clearance":{"lot_line_m":2}},"layers":{"parcels":{"type":"FeatureCollection","features":[`+strings.Join(lots, ",")+`]}}}`))
		if err != nil {
			t.Fatal(err)
		}
		res.Body.Close()
		if res.StatusCode != http.StatusCreated {
			t.Fatalf("the county was not stored: %s", res.Status)
		}
		b.page(t, s.width, s.height, s.phone)
		b.open(at + "#site=county")
		b.until(`document.getElementById('verdict').textContent.includes('5600 lots') && !document.getElementById('lotNamedBox').hidden`)
		b.eval(`document.getElementById('lotNamed').value = '40-35'; document.querySelector('#lotNamedForm button').click()`, nil)
		b.until(`document.getElementById('verdict').textContent.includes('Lot 40-35') || document.getElementById('verdictWord').textContent === 'No plan'`)
		if got := b.text(`performance.getEntriesByType('resource').filter(e => e.name.endsWith('.mvt')).length > 0 && !performance.getEntriesByType('resource').some(e => e.name.endsWith('/document')) && performance.getEntriesByType('resource').some(e => e.name.endsWith('/document?features=false'))`); got != "true" {
			t.Error("the county was not looked at in tiles, its document was fetched, or its rules were not")
		}
		b.until(`document.querySelector('#overlay .chosenLot')`)
		// the lot's lines: ink on stone
		b.until(`(c => { const t = new OffscreenCanvas(c.width, c.height).getContext('2d', { willReadFrequently: true }); t.drawImage(c, 0, 0); const d = t.getImageData(0, 0, c.width, c.height).data; let n = 0; for (let i = 0; i < d.length; i += 4) if (d[i] === 0xd8 && d[i + 1] === 0xd1 && d[i + 2] === 0xc4) n++; return n; })(document.getElementById('ground')) > 50000`)
		b.picture(s.pictures("county-"))
		// a route drawn 1 m inside the lot's west line, as if this browser had kept it: by the
		// site's own clearance of 2 m, which came with the head, its check refuses it
		b.call(b.session, "Page.addScriptToEvaluateOnNewDocument", map[string]any{"source": `(f => { window.__checks = []; window.fetch = (to, o) => { if (String(to).includes('/processes/check/')) window.__checks.push(o.body); return f(to, o); }; })(window.fetch)`}, nil)
		b.eval(`localStorage.setItem(Object.keys(localStorage).find(k => k.startsWith('fallwright.edits.store.')) ?? 'fallwright.edits.store.county', JSON.stringify({ lot: '40-35', edits: { moves: {}, route: [[-85 + 40 * 3e-4 + 1 / 90000, 36.01408], [-85 + 40 * 3e-4 + 1 / 90000, 36.0143]], what: {}, outlet: '', shots: null } }))`, nil)
		b.call(b.session, "Page.reload", nil, nil)
		b.until(`window.__checks?.length > 0 && document.querySelector('#overlay .mend')`)
		if got := b.text(`String(JSON.parse(window.__checks.at(-1)).inputs.site.criteria?.clearance?.lot_line_m)`); got != "2" {
			t.Errorf("the check was sent with a clearance of %s m, the site's own is 2", got)
		}
		b.eval(`document.getElementById('lotNamed').value = 'nowhere'; document.querySelector('#lotNamedForm button').click()`, nil)
		b.until(`document.getElementById('reportText').textContent.includes('has no lot nowhere')`)
		b.call(b.session, "Page.navigate", map[string]any{"url": "about:blank"}, nil) // its service stops: no tile is to be on its way
	})

	t.Run("mends and the tilted ground", func(t *testing.T) {
		b.page(t, s.width, s.height, s.phone)
		b.open(at)
		// a route 0.3 m inside the lot's longest line, as if this browser had kept it
		b.eval(`(async () => {
			const site = JSON.parse(await (await fetch('/assets/sample.json')).text()), ring = site.layers.parcels.features.find(f => f.properties.lot === 'B4').geometry.coordinates[0];
			const ky = 111132, kx = 111320 * Math.cos(ring[0][1] * Math.PI / 180), p = ring.map(q => [(q[0] - ring[0][0]) * kx, (q[1] - ring[0][1]) * ky]);
			let area = 0, best = 0, long = 0;
			for (let i = 0; i + 1 < p.length; i++) { area += p[i][0] * p[i + 1][1] - p[i + 1][0] * p[i][1]; const d = Math.hypot(p[i + 1][0] - p[i][0], p[i + 1][1] - p[i][1]); if (d > long) { long = d; best = i; } }
			const a = p[best], z = p[best + 1], n = [-(z[1] - a[1]) / long * Math.sign(area), (z[0] - a[0]) / long * Math.sign(area)];
			const at = (t, off) => [ring[0][0] + (a[0] + t * (z[0] - a[0]) + off * n[0]) / kx, ring[0][1] + (a[1] + t * (z[1] - a[1]) + off * n[1]) / ky];
			window.name = JSON.stringify({ a, n, kx, ky, from: ring[0] }); // outlives the reload
			localStorage.setItem('fallwright.edits.sample.' + site.site, JSON.stringify({ lot: 'B4', edits: { moves: {}, route: [at(0.35, 0.3), at(0.5, 0.3)], what: {}, outlet: '', shots: null } }));
		})()`, nil)
		b.eval(`location.hash = '#sample=&lot=B4'`, nil)
		b.call(b.session, "Page.reload", nil, nil)
		b.until(`document.getElementById('verdict') && ` + planned + ` && document.querySelector('#overlay .mend') && document.querySelector('#routeAnswer button.small')`)
		if got := b.text(`document.getElementById('live').textContent`); !strings.Contains(got, "moves the worst stretch") || !strings.Contains(got, "mends it") {
			t.Errorf("the mend in words: %q", got)
		}
		// zoom to it for the picture
		b.picture(s.pictures("mend-"))
		off := `(g => Math.min(...JSON.parse(localStorage.getItem(Object.keys(localStorage).find(k => k.startsWith('fallwright.edits')))).edits.route.map(q => ((q[0] - g.from[0]) * g.kx - g.a[0]) * g.n[0] + ((q[1] - g.from[1]) * g.ky - g.a[1]) * g.n[1])))(JSON.parse(window.name))`
		b.eval(`document.getElementById('board').focus()`, nil)
		b.key("a")
		b.until(`document.querySelectorAll('#overlay .mend').length === 0 && !document.getElementById('live').textContent.includes('moves the worst') && document.getElementById('mendWorst').hidden`)
		// two feet of clearance and half a trench of a foot, by the built-in criteria
		var away float64
		b.eval(off, &away)
		if away < 0.6096+0.1524-0.01 || away > 0.6096+0.1524+0.02 {
			t.Errorf("mended, the route lies %.3f m inside the line", away)
		}
		b.eval(`document.getElementById('undo').click()`, nil)
		b.until(`document.querySelector('#overlay .mend')`)
		// the button does what the key does
		b.until(`!document.getElementById('mendWorst').hidden`)
		b.eval(`document.getElementById('mendWorst').click()`, nil)
		b.until(`document.querySelectorAll('#overlay .mend').length === 0`)
		b.eval(`document.getElementById('clearRoute').click()`, nil)
		b.until(`document.querySelectorAll('#overlay .handle').length === 0`)

		// the ground tilted: the service's what-if stands beside the plan as it is
		b.eval(`document.getElementById('ifBox').open = true`, nil)
		b.choose("ifTilt", "0.02")
		b.until(`/2 % steeper/.test(document.getElementById('compare').textContent) && document.querySelectorAll('#compare table tbody tr').length > 3 && ` + planned)
		b.picture(s.pictures("tilt-"))
		b.choose("ifTilt", "")
		b.until(`!/steeper/.test(document.getElementById('compare').textContent)`)
		// no store: what is read into one is not offered, and why is told
		if got := b.text(`document.getElementById('file').accept + ' ' + document.getElementById('fileHelp').textContent`); strings.Contains(got, ".gpkg,") || !strings.Contains(got, "started without one") {
			t.Errorf("offered without a store: %s", got)
		}
		b.quietBut("404")
	})

	t.Run("a tree over the edges of what is painted", func(t *testing.T) {
		b.page(t, s.width, s.height, s.phone)
		b.open(at)
		b.drop("site.json", `{"site":"wood","layers":{"parcels":{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"lot":"7"},"geometry":{"type":"Polygon","coordinates":[[[-85,36],[-84.9997,36],[-84.9997,36.0003],[-85,36.0003],[-85,36]]]}}]},
			"obstacles":{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"kind":"tree","lot":"7","radius_m":5},"geometry":{"type":"Point","coordinates":[-84.999828,36.000177]}}]}}}`)
		b.until(`document.getElementById('lot').options.length === 2 || !document.getElementById('report').hidden`)
		b.choose("lot", "7")
		b.until(`document.getElementById('verdict').textContent.includes('Lot 7:')`)
		b.eval(`document.getElementById('board').focus()`, nil)
		b.key("m")
		// its crown has one colour in all four directions, wherever the pieces of the ground meet
		for i := range 5 {
			b.eval(`document.getElementById('zoomIn').click()`, nil)
			b.atRest()
			var seen []string
			b.eval(`(() => {
				const ring = document.querySelector('#overlay .grip'), c = document.getElementById('ground'), x = +ring.getAttribute('cx'), y = +ring.getAttribute('cy');
				const bar = Number(/h([\d.]+)v/.exec(document.querySelector('.barLine').getAttribute('d'))[1]) / parseFloat(document.querySelector('#bar text').textContent) / 0.3048; // pixels a metre
				const t = new OffscreenCanvas(c.width, c.height).getContext('2d', { willReadFrequently: true }), out = []; t.drawImage(c, 0, 0);
				for (const [dx, dy] of [[1, 1], [-1, 1], [1, -1], [-1, -1]]) for (const r of [1.5, 3.3]) { const u = Math.round(x + r * dx * bar), v = Math.round(y + r * dy * bar); if (u >= 0 && v >= 0 && u < c.width && v < c.height) out.push([...t.getImageData(u, v, 1, 1).data].join()); }
				return [...new Set(out)];
			})()`, &seen)
			if len(seen) != 1 {
				t.Errorf("zoomed in %d times the crown has the colours %v", i+1, seen)
			}
		}
		b.quiet()
	})

	t.Run("big and broken files", func(t *testing.T) {
		b.page(t, s.width, s.height, s.phone)
		b.open(at)
		// a lot of 200,000 vertices on a circle
		b.eval(`(() => {
			const ring = []; for (let i = 0; i < 200000; i++) { const a = 2 * Math.PI * i / 200000; ring.push([+(-85 + 0.002 * Math.cos(a)).toFixed(9), +(36 + 0.0016 * Math.sin(a)).toFixed(9)]); } ring.push(ring[0]);
			const site = { site: 'round', layers: { parcels: { type: 'FeatureCollection', features: [{ type: 'Feature', properties: { lot: 'round' }, geometry: { type: 'Polygon', coordinates: [ring] } }] } } };
			const d = new DataTransfer(); d.items.add(new File([JSON.stringify(site)], 'site.json')); document.dispatchEvent(new DragEvent('drop', { dataTransfer: d }));
		})()`, nil)
		b.until(`document.getElementById('lot').options.length === 2 || !document.getElementById('report').hidden`)
		got := b.text(`document.getElementById('lot').options.length === 2 ? 'open' : document.getElementById('reportText').textContent`)
		if got != "open" && !strings.Contains(got, "vert") && !strings.Contains(got, "limit") {
			t.Errorf("200,000 vertices: %s", got)
		}
		t.Logf("200,000 vertices: %s", got)
		for _, c := range []struct{ name, text, says string }{
			{"notes.txt", "hello", "give a site document"},
			{"parcels.geojson", `{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"lot":"1"},"geometry":{"type":"Polygon","coordinates":[[[-85,36],[-84.9997,36.0003],[-84.9997,36],[-85,36.0003],[-85,36]]]}}]}`, "parcels"}, // crosses itself: the service says where
			{"lots.geojson", `{"type":"FeatureCollection","features":[]}`, "name the file by its layer"},
			{"site.json", `{"layers":{}}`, "parcels"},
			{"empty.json", ``, "is no JSON"},
		} {
			b.eval(`document.getElementById('report').hidden = true`, nil)
			b.drop(c.name, c.text)
			b.until(`!document.getElementById('report').hidden`)
			if got := b.text(`document.getElementById('report').textContent`); !strings.Contains(got, c.says) || !strings.Contains(got, "were not opened") {
				t.Errorf("%s: %s", c.name, got)
			}
		}
		b.picture(s.pictures("refused-"))
		b.quietBut("422")
	})

	t.Run("a crew at the trench", func(t *testing.T) {
		b.page(t, s.width, s.height, s.phone)
		b.call("", "Browser.grantPermissions", map[string]any{"permissions": []string{"geolocation"}, "browserContextId": b.context}, nil)
		b.call(b.session, "Emulation.setTouchEmulationEnabled", map[string]any{"enabled": true}, nil)
		b.open(at + "#sample=&lot=B4")
		b.until(planned)
		var end struct{ Lon, Lat float64 }
		b.eval(`(async () => { const s = JSON.parse(await (await fetch('/assets/sample.json')).text()).layers.inlets.features.find(f => f.properties.inlet === 'I1').geometry.coordinates; return { lon: s[0], lat: s[1] }; })()`, &end)
		b.call(b.session, "Emulation.setGeolocationOverride", map[string]any{"latitude": end.Lat, "longitude": end.Lon, "accuracy": 6}, nil)
		b.eval(`document.getElementById('whereAmI').click()`, nil)
		b.until(`document.querySelector('#overlay .accuracy') && document.getElementById('live').textContent.includes('This is no survey')`)
		b.until(`document.querySelector('#card .nearest') && document.getElementById('card').textContent.includes('Cut')`)
		// targets for a gloved hand: 44 px, as the guidelines for touch ask
		if !s.phone {
			b.picture(s.pictures("crew-"))
			b.quiet()
			return // the rest is of a screen that is touched
		}
		var small []string
		b.eval(`[...document.querySelectorAll('.top button, .top .button, .zoom button, .steps button, .drawers summary')].filter(e => e.offsetParent && Math.min(e.offsetWidth, e.offsetHeight) < 40).map(e => e.textContent)`, &small)
		if len(small) > 0 {
			t.Errorf("targets under 40 px: %q", small)
		}
		// a finger pans and two zoom
		was := b.text(`document.getElementById('bar').getAttribute('aria-label')`)
		touch := func(kind string, points ...[2]float64) {
			list := []map[string]any{}
			for i, p := range points {
				list = append(list, map[string]any{"x": p[0], "y": p[1], "id": i})
			}
			b.call(b.session, "Input.dispatchTouchEvent", map[string]any{"type": kind, "touchPoints": list}, nil)
		}
		touch("touchStart", [2]float64{150, 450}, [2]float64{240, 450})
		for i := range 6 {
			touch("touchMove", [2]float64{150 - float64(10*i), 450}, [2]float64{240 + float64(10*i), 450})
			time.Sleep(20 * time.Millisecond)
		}
		touch("touchEnd")
		b.until(`document.getElementById('bar').getAttribute('aria-label') !== ` + quoted(was))
		b.picture(s.pictures("crew-"))
		if wide := b.text(`document.documentElement.scrollWidth`); wide != strconv.Itoa(s.width) {
			t.Errorf("the page is %s px wide on a phone of %d", wide, s.width)
		}
		b.quiet()
	})

	t.Run("keyboard, labels, contrast", func(t *testing.T) {
		b.page(t, s.width, s.height, s.phone)
		b.open(at + "#sample=&lot=B4")
		b.until(planned)
		for _, id := range []string{"findingsBox", "ifBox", "endsBox", "stormsBox", "runsBox", "quantitiesBox", "builtBox", "papersBox", "restsBox"} {
			b.eval(fmt.Sprintf(`document.getElementById(%q).open = true`, id), nil)
			b.eval("new Promise(r => setTimeout(() => r(0), 50))", nil)
			// every control has a name, and every text 4.5 to 1 against what lies under it
			var nameless, faint []string
			b.eval(`[...document.querySelectorAll('button, input, select, textarea, a, summary, [role=application], [role=img]')].filter(e => e.offsetParent !== null || e.getClientRects().length).filter(e => !(e.getAttribute('aria-label') || e.textContent.trim() || e.labels?.length || e.title)).map(e => e.outerHTML.slice(0, 80))`, &nameless)
			if len(nameless) > 0 {
				t.Errorf("%s: without a name: %q", id, nameless)
			}
			b.eval(contrast, &faint)
			if len(faint) > 0 {
				t.Errorf("%s: under 4.5 to 1: %q", id, faint)
			}
		}
		// a tape by keyboard
		b.eval(`document.getElementById('board').focus()`, nil)
		for _, k := range []string{"l", "Enter", "ArrowRight", "ArrowRight", "Enter"} {
			b.key(k)
		}
		b.until(`/measured on the plan/.test(document.getElementById('live').textContent)`)
		b.key("Escape")
		b.quiet()
	})

	t.Run("print", func(t *testing.T) {
		b.page(t, s.width, s.height, s.phone)
		b.open(at + "#sample=&lot=B4")
		b.until(planned)
		var got struct{ Data string }
		b.call(b.session, "Page.printToPDF", map[string]any{"printBackground": true, "preferCSSPageSize": true}, &got)
		pdf, err := base64.StdEncoding.DecodeString(got.Data)
		if err != nil || !strings.HasPrefix(string(pdf), "%PDF-") {
			t.Fatalf("%v %.20q", err, pdf)
		}
		text := printed(t, pdf)
		for _, want := range []string{"Lot B4", "Planning estimate only", "Run", "warn"} {
			if !strings.Contains(text, want) {
				t.Errorf("the printed sheet lacks %q", want)
			}
		}
		b.quiet()
	})
}

// printed is the text of a PDF.
func printed(t *testing.T, pdf []byte) string {
	t.Helper()
	cmd := exec.Command("pdftotext", "-", "-")
	cmd.Stdin = strings.NewReader(string(pdf))
	out, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	return string(out)
}

// contrast lists texts that stand too weakly against what lies under them, by
// the luminance of WCAG 2.1; disabled controls are exempt there.
const contrast = `(() => {
	const parse = c => { const m = c.match(/[\d.]+/g).map(Number); return [m[0], m[1], m[2], m[3] ?? 1]; };
	const light = c => { const [r, g, b] = c.map(v => { v /= 255; return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; }); return 0.2126 * r + 0.7152 * g + 0.0722 * b; };
	const under = e => { for (; e; e = e.parentElement) { const b = parse(getComputedStyle(e).backgroundColor); if (b[3] > 0.8) return b; } return [255, 255, 255, 1]; };
	const out = new Set(), walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
	for (let n = walk.nextNode(); n; n = walk.nextNode()) {
		const e = n.parentElement;
		if (!n.textContent.trim() || !e.getClientRects().length || e.closest('svg, option, :disabled, noscript')) continue;
		const a = light(parse(getComputedStyle(e).color)), b = light(under(e)), ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
		if (ratio < 4.5) out.add(ratio.toFixed(2) + ' ' + n.textContent.trim().slice(0, 40));
	}
	return [...out].slice(0, 10);
})()`
