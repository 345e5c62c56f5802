package mapclient_test

// How quick the page is, printed and not judged: FALLWRIGHT_MEASURE=1.

import (
	"os"
	"testing"
	"time"
)

// TestMeasure drops 20,000 lots and pans them, and drags a vertex of a route
// on the sample, counting the milliseconds from frame to frame.
func TestMeasure(t *testing.T) {
	if os.Getenv("FALLWRIGHT_MEASURE") == "" {
		t.Skip("set FALLWRIGHT_MEASURE=1 to measure the page")
	}
	b := openBrowser(t)
	at := serve(t)
	const frames = `window.__frames = []; (function go(last) { requestAnimationFrame(now => { if (last) window.__frames.push(now - last); if (!window.__stop) go(now); }); })(0)`
	const told = `(f => { f.sort((a, b) => a - b); return f.length + ' frames, half within ' + f[f.length >> 1].toFixed(0) + ' ms, 95 of 100 within ' + f[Math.floor(f.length * .95)].toFixed(0) + ' ms, slowest ' + f[f.length - 1].toFixed(0) + ' ms'; })(window.__frames)`
	drag := func(x, y float64, steps int) {
		b.mouse("mousePressed", x, y)
		for i := 1; i <= steps; i++ {
			b.mouse("mouseMoved", x+float64(2*i), y+float64(i%20))
			time.Sleep(12 * time.Millisecond)
		}
		b.mouse("mouseReleased", x+float64(2*steps), y)
	}

	b.page(t, 1280, 820, false)
	began := time.Now()
	b.open(at)
	b.until(`document.querySelectorAll('#cautionList li').length === 6`)
	t.Logf("page usable after %v", time.Since(began).Round(time.Millisecond))
	b.eval(`document.getElementById('sample').click()`, nil)
	b.until(`document.getElementById('lot').options.length === 37`)
	b.eval(`(s => { s.value = 'B4'; s.dispatchEvent(new Event('change')); })(document.getElementById('lot'))`, nil)
	b.until(planned)
	b.eval(`document.getElementById('board').focus()`, nil)
	b.key("d")
	b.key("Enter")
	b.key("ArrowRight")
	b.key("Enter")
	b.until(`document.querySelectorAll('#overlay .handle').length === 2`)
	var p struct{ X, Y float64 }
	b.eval(`(h => { const r = h.getBoundingClientRect(); return {x: r.x + 6, y: r.y + 6}; })(document.querySelectorAll('#overlay .handle')[1])`, &p)
	b.eval(frames, nil)
	drag(p.X, p.Y, 100)
	t.Logf("dragging a vertex: %s; a check was answered in %s ms", b.text(told), b.text(`document.getElementById('live').dataset.ms`))

	b.page(t, 1280, 820, false)
	b.open(at)
	began = time.Now()
	b.eval(`(() => {
		const features = [];
		for (let i = 0; i < 200; i++) for (let j = 0; j < 100; j++) {
			const x = -85 + i * 3e-4, y = 36 + j * 4e-4;
			features.push({ type: 'Feature', properties: { lot: i + '-' + j }, geometry: { type: 'Polygon', coordinates: [[[x, y], [x + 3e-4, y], [x + 3e-4, y + 4e-4], [x, y + 4e-4], [x, y]]] } });
		}
		const d = new DataTransfer(); d.items.add(new File([JSON.stringify({ type: 'FeatureCollection', features })], 'parcels.geojson'));
		document.dispatchEvent(new DragEvent('drop', { dataTransfer: d }));
	})()`, nil)
	b.until(`document.getElementById('lot').options.length === 20001 || !document.getElementById('report').hidden`)
	t.Logf("20,000 lots open after %v; %s", time.Since(began).Round(time.Millisecond), b.text(`document.getElementById('reportText').textContent`))
	b.eval(`window.__stop = false;`+frames, nil)
	drag(700, 300, 100)
	t.Logf("panning 20,000 lots: %s", b.text(told))
}
