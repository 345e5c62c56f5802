package mapclient_test

// How quick the page is, printed and not judged: FALLWRIGHT_MEASURE=1.

import (
	"os"
	"slices"
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
	// tell prints half, 95 of 100 and the slowest of times in milliseconds.
	tell := func(what string, ms []float64) {
		if len(ms) == 0 {
			t.Errorf("%s: nothing was measured", what)
			return
		}
		slices.Sort(ms)
		t.Logf("%s: %d, half within %.1f ms, 95 of 100 within %.1f ms, slowest %.1f ms", what, len(ms), ms[len(ms)/2], ms[len(ms)*95/100], ms[len(ms)-1])
	}
	// feedback counts from each event of the pointer to the end of the frame that
	// shows it, and from frame to frame
	const feedback = `window.__fed = []; window.__frames = []; window.__stop = false;
		document.getElementById('board').addEventListener('pointermove', e => requestAnimationFrame(() => { const c = new MessageChannel(); c.port1.onmessage = () => window.__fed.push(performance.now() - e.timeStamp); c.port2.postMessage(0); }));
		(function go(last) { requestAnimationFrame(now => { if (last) window.__frames.push(now - last); if (!window.__stop) go(now); }); })(0)`
	told := func(what string, work []float64) {
		var fed, frames []float64
		b.eval(`window.__fed`, &fed)
		b.eval(`window.__frames`, &frames)
		b.eval(`window.__stop = true`, nil)
		tell(what+", from hand to picture", fed)
		tell(what+", frame to frame", frames)
		tell(what+", processor time of a frame", work)
	}
	drag := func(x, y float64, steps int) func() {
		return func() {
			b.mouse("mousePressed", x, y)
			for i := 1; i <= steps; i++ {
				b.mouse("mouseMoved", x+float64(2*i), y+float64(i%20))
				time.Sleep(12 * time.Millisecond)
			}
			b.mouse("mouseReleased", x+float64(2*steps), y)
		}
	}

	// what the browser itself takes: the same hand over a page of one line of text
	// that the handler changes, with nothing else in it
	b.page(t, 1280, 820, false)
	b.open("data:text/html,<title>floor</title>")
	b.eval(`document.body.innerHTML = '<div id="board" style="position:fixed;inset:0">0</div>'; document.getElementById('board').addEventListener('pointermove', e => { document.getElementById('board').textContent = e.clientX; })`, nil)
	b.eval(feedback, nil)
	told("the browser's floor, a number that follows the hand", b.frames(drag(600, 300, 100)))

	b.page(t, 1280, 820, false)
	b.open(at)
	b.until(`document.documentElement.dataset.ready === 'yes'`)
	t.Logf("page usable %s ms after the first byte", b.text(`(n => Math.round(n.domContentLoadedEventEnd - n.responseStart))(performance.getEntriesByType('navigation')[0])`))
	b.eval(`document.getElementById('sample').click()`, nil)
	b.until(`document.getElementById('lot').options.length === 37`)
	b.eval(`(s => { s.value = 'B4'; s.dispatchEvent(new Event('change')); })(document.getElementById('lot'))`, nil)
	b.until(planned)
	b.until(grounded)
	b.until(`document.getElementById('board').dataset.painted === 'yes'`)
	b.eval(`document.getElementById('board').focus()`, nil)
	b.key("d")
	b.key("Enter")
	b.key("ArrowRight")
	b.key("Enter")
	b.until(`document.querySelectorAll('#overlay .handle').length === 2`)
	var p struct{ X, Y float64 }
	b.eval(`(h => { const r = h.getBoundingClientRect(); return {x: r.x + 6, y: r.y + 6}; })(document.querySelectorAll('#overlay .handle')[1])`, &p)
	b.eval(feedback, nil)
	told("dragging a vertex", b.frames(drag(p.X, p.Y, 100)))
	t.Logf("a check of the line while it was dragged was answered in %s ms, of the whole site when it was let go in %s ms", b.text(`document.getElementById('live').dataset.dragMs`), b.text(`document.getElementById('live').dataset.ms`))

	b.page(t, 1280, 820, false)
	b.open(at)
	b.until(`document.documentElement.dataset.ready === 'yes'`)
	began := time.Now()
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
	b.until(`document.getElementById('board').dataset.painted === 'yes'`)
	b.eval(feedback, nil)
	told("panning 20,000 lots", b.frames(drag(700, 300, 100)))
	for range 5 {
		b.eval(`document.getElementById('zoomIn').click()`, nil)
	}
	b.until(`document.getElementById('board').dataset.painted === 'yes'`)
	b.eval(feedback, nil)
	told("panning among them, near", b.frames(drag(700, 300, 100)))
}
