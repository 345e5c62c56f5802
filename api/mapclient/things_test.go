package mapclient_test

// Things put on the plan and taken off it by hand.

import (
	"fmt"
	"strings"
	"testing"
)

// TestAddThings: a lot that has no intakes is given four downspouts and a tree by
// the pointer, where the sample has them, and a wall by the keys of the plan; it is planned with them, and
// they are kept.
func TestAddThings(t *testing.T) { atEachSize(t, addThings) }

func addThings(t *testing.T, b *browser, s size) {
	b.page(t, s.width, s.height, s.phone)
	b.open(serve(t))
	open := func() {
		b.until(`document.documentElement.dataset.ready === 'yes'`)
		b.eval(`(async () => {
			const site = await (await fetch('/assets/sample.json')).json();
			site.site = 'Bare';
			window.__spouts = site.layers.intakes.features.filter(f => f.properties.lot === 'B4' && f.properties.kind === 'downspout').slice(0, 4).map(f => f.geometry.coordinates);
			window.__tree = site.layers.obstacles.features.find(f => f.properties.lot === 'B4' && f.properties.kind === 'tree').geometry.coordinates;
			delete site.layers.intakes; delete site.layers.perforated_runs;
			site.layers.obstacles.features = site.layers.obstacles.features.filter(f => f.properties.kind !== 'tree');
			window.__site = site;
			const d = new DataTransfer(); d.items.add(new File([JSON.stringify(site)], 'bare.json'));
			document.dispatchEvent(new DragEvent('drop', { dataTransfer: d }));
		})()`, nil)
		b.until(`document.getElementById('verdict').textContent.includes('Bare: 36 lots') || document.getElementById('verdict').textContent.includes('Lot B4:')`)
	}
	open()
	b.choose("lot", "B4")
	b.until(planned)
	b.until(`document.getElementById('verdict').textContent.includes('Add things (key T)')`)
	b.atRest()

	// tap clicks where a place of the document is on the screen: the lot is drawn, and
	// says how the site lies there
	tap := func(place string) {
		b.t.Helper()
		b.until(`document.getElementById('verdict').dataset.state !== 'busy'`)
		b.atRest()
		var at [2]float64
		b.eval(`(p => {
			const board = document.getElementById('board').getBoundingClientRect();
			const ring = window.__site.layers.parcels.features.find(f => f.properties.lot === 'B4').geometry.coordinates[0];
			const seen = document.querySelector('#overlay .chosenLot').getAttribute('points').split(' ').map(p => p.split(',').map(Number));
			const box = (l, i) => [Math.min(...l.map(p => p[i])), Math.max(...l.map(p => p[i]))];
			const [west, east] = box(ring, 0), [south, north] = box(ring, 1), [left, right] = box(seen, 0), [top, bottom] = box(seen, 1);
			return [board.x + left + (p[0] - west) / (east - west) * (right - left), board.y + bottom - (p[1] - south) / (north - south) * (bottom - top)];
		})(`+place+`)`, &at)
		b.mouse("mousePressed", at[0], at[1])
		b.mouse("mouseReleased", at[0], at[1])
	}
	kind := func(words string) {
		b.eval(fmt.Sprintf(`(s => { s.selectedIndex = [...s.options].findIndex(o => o.textContent === %q); s.dispatchEvent(new Event('change')); })(document.getElementById('addKind'))`, words), nil)
	}
	count := func() string {
		return b.text(`(k => { const e = JSON.parse(localStorage.getItem(k) ?? '{"edits":{"added":[],"gone":[]}}').edits; return e.added.length + ' added, ' + e.gone.length + ' gone'; })(Object.keys(localStorage).find(k => k.startsWith('fallwright.edits')))`)
	}
	b.eval(`document.getElementById('modeAdd').click()`, nil)
	kind("Downspout")
	for i := range 4 {
		tap(fmt.Sprintf(`window.__spouts[%d]`, i))
	}
	kind("Tree")
	if got := b.text(`document.getElementById('addSizeWords').textContent + ': ' + document.getElementById('addSize').value`); got != "Radius of its root zone, ft: 10" {
		t.Errorf("a tree is asked for its %q", got)
	}
	b.eval(`document.getElementById('addSize').value = '-3'`, nil)
	tap(`window.__tree`)
	if got := count(); got != "4 added, 0 gone" {
		t.Errorf("after a tree of no size: %s", got)
	}
	b.eval(`document.getElementById('addSize').value = '6'`, nil)
	tap(`window.__tree`)
	if got := count(); got != "5 added, 0 gone" {
		t.Errorf("after a tree: %s", got)
	}
	const laid = `document.querySelectorAll('#overlay .pipe').length > 3 && document.getElementById('verdict').dataset.state !== 'busy' && !document.getElementById('verdict').textContent.includes('Add things')`
	b.until(laid)
	b.until(grounded)
	if got := b.text(`[...document.querySelectorAll('#runs tbody tr, #profile option')].map(e => e.textContent).join(' ')`); !containsAll(got, "B4-DS1", "B4-DS2", "B4-DS3", "B4-DS4") {
		t.Errorf("the plan does not drain each downspout: %s", got)
	}
	b.eval(`document.getElementById('modeMove').click()`, nil)
	b.until(`document.querySelectorAll('#overlay .grip').length === 5`)
	b.picture(s.pictures("added-"))

	// a wall, by the keys: the last point twice ends it
	b.eval(`document.getElementById('board').focus()`, nil)
	b.key("t")
	kind("Wall")
	b.eval(`document.getElementById('board').focus()`, nil)
	b.key("Enter")
	for range 6 {
		b.key("ArrowRight")
	}
	b.key("Enter")
	b.until(`!document.getElementById('addFinish').hidden && document.querySelectorAll('#overlay .tapeEnd').length === 2`)
	b.key("Enter")
	b.until(`document.getElementById('addFinish').hidden && document.querySelectorAll('#overlay .tapeEnd').length === 0`)
	if got := count(); got != "6 added, 0 gone" {
		t.Errorf("after a wall: %s", got)
	}
	// the wall is taken away again, then by undo it is there, and by redo gone
	b.eval(`document.getElementById('modeMove').click()`, nil)
	b.until(`document.querySelectorAll('#overlay .grip').length === 6`)
	b.eval(`document.getElementById('board').focus()`, nil)
	for range 6 {
		b.key("m")
	}
	b.until(`!document.getElementById('takeAway').hidden && document.getElementById('takeAway').textContent === 'Remove wall'`)
	b.key("Delete")
	b.until(`document.querySelectorAll('#overlay .grip').length === 5 && document.getElementById('takeAway').hidden`)
	b.eval(`document.getElementById('undo').click()`, nil)
	b.until(`document.querySelectorAll('#overlay .grip').length === 6`)
	b.eval(`document.getElementById('redo').click()`, nil)
	b.until(`document.querySelectorAll('#overlay .grip').length === 5`)
	if got := count(); got != "6 added, 1 gone" {
		t.Errorf("after the wall was taken away: %s", got)
	}
	b.until(laid)

	// what is saved has them as features of their layers
	b.eval(`(() => { const make = URL.createObjectURL.bind(URL); URL.createObjectURL = blob => { blob.text().then(t => { window.__text = t; }); return make(blob); }; })()`, nil)
	b.eval(`document.getElementById('saveSite').click()`, nil)
	b.until(`window.__text`)
	if got := b.text(`(l => [...l.intakes.features, ...l.obstacles.features.filter(f => f.properties.kind === 'tree')].map(f => JSON.stringify(f.properties)).join())(JSON.parse(window.__text).layers)`); got != `{"kind":"downspout","lot":"B4","intake":"B4-DS1"},{"kind":"downspout","lot":"B4","intake":"B4-DS2"},{"kind":"downspout","lot":"B4","intake":"B4-DS3"},{"kind":"downspout","lot":"B4","intake":"B4-DS4"},{"kind":"tree","lot":"B4","radius_m":1.8288}` {
		t.Errorf("saved: %s", got)
	}

	// the same file opened later: they are found again
	b.call(b.session, "Page.reload", nil, nil)
	b.until(`document.readyState === 'complete' && !window.__text`)
	open()
	b.until(planned)
	b.until(laid)
	b.eval(`document.getElementById('modeMove').click()`, nil)
	b.until(`document.querySelectorAll('#overlay .grip').length === 5`)
	b.quiet()
}

func containsAll(text string, words ...string) bool {
	for _, w := range words {
		if !strings.Contains(text, w) {
			return false
		}
	}
	return true
}
