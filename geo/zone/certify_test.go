package zone

// What the certificate is for: a zone that was drawn, cut or linked wrongly.

import (
	"math"
	"math/rand"
	"reflect"
	"slices"
	"testing"
)

// off is how far a spoilt vertex lies from where it should be.
const off = 0.002

// spoiler spoils one thing of a zone on its way, and tells whether there was
// anything to spoil. early is at work when the edges are taken up and nothing is
// drawn yet, late when all is drawn and nothing linked.
type spoiler struct {
	name        string
	early, late func(rng *rand.Rand, w *scratch) bool
}

// aside is a step of the length off in any direction.
func aside(rng *rand.Rand) vec {
	s, c := math.Sincos(rng.Float64() * 2 * math.Pi)
	return vec{off * c, off * s}
}

func (p vec) plus(q vec) vec { return vec{p.x + q.x, p.y + q.y} }

// onGround draws one of the chains that are the zone's edge, with at least n
// points; nil for none.
func onGround(rng *rand.Rand, w *scratch, n int32) *chain {
	var is []int
	for i := range w.chains {
		if c := &w.chains[i]; c.to-c.from >= n && w.ground(w.pts[c.from], -1) {
			is = append(is, i)
		}
	}
	if len(is) == 0 {
		return nil
	}
	return &w.chains[is[rng.Intn(len(is))]]
}

// anEdge draws an edge that yes is said of; nil for none.
func anEdge(rng *rand.Rand, w *scratch, yes func(s *side) bool) *side {
	var is []int
	for i := range w.sides {
		if yes(&w.sides[i]) {
			is = append(is, i)
		}
	}
	if len(is) == 0 {
		return nil
	}
	return &w.sides[is[rng.Intn(len(is))]]
}

// splice puts points in the place of vertex k.
func splice(w *scratch, k int32, by ...vec) {
	w.pts = slices.Replace(w.pts, int(k), int(k)+1, by...)
	more := int32(len(by) - 1)
	move := func(i *int32) {
		if *i > k {
			*i += more
		}
	}
	for i := range w.chains {
		move(&w.chains[i].from)
		move(&w.chains[i].to)
	}
	for i := range w.fans {
		move(&w.fans[i].from)
		move(&w.fans[i].to)
	}
}

// between draws a vertex of a chain that is neither its first nor its last.
func between(rng *rand.Rand, c *chain) int32 { return c.from + 1 + rng.Int31n(c.to-c.from-1) }

// outward is a step of the length off from vertex k away from the line through
// those beside it.
func outward(w *scratch, k int32, by float64) vec {
	p, q := w.pts[k-1], w.pts[k+1]
	x, y := q.x-p.x, q.y-p.y
	by /= math.Hypot(x, y)
	return vec{y * by, -x * by}
}

// towards is the point the length off from p on the way to q.
func towards(p, q vec) vec {
	k := off / math.Sqrt(apart2(p, q))
	return vec{p.x + k*(q.x-p.x), p.y + k*(q.y-p.y)}
}

// done is a mark that assemble takes for a chain already linked.
const done = 1 << 30

// closed tells whether a chain is a loop by itself.
func (c *chain) closed(w *scratch) bool { return apart2(w.pts[c.from], w.pts[c.to]) <= join*join }

var spoilers = []spoiler{
	{name: "a curve begins 2 mm aside", early: func(rng *rand.Rand, w *scratch) bool {
		s := &w.sides[rng.Intn(len(w.sides))]
		s.at = s.at.plus(aside(rng))
		return true
	}},
	{name: "a curve begins 2 mm too near its line", early: func(rng *rand.Rand, w *scratch) bool {
		s := &w.sides[rng.Intn(len(w.sides))]
		s.at = vec{s.at.x + off*s.d.y, s.at.y - off*s.d.x}
		return true
	}},
	{name: "a mitre 2 mm along", early: func(rng *rand.Rand, w *scratch) bool {
		s := anEdge(rng, w, func(s *side) bool { return s.mitred })
		if s == nil || s.l == 0 {
			return false
		}
		f, by := &w.sides[s.next], off
		if rng.Intn(2) == 0 {
			by = -off
		}
		s.hi += by
		f.lo += by
		f.at = vec{f.at.x + by*f.d.x, f.at.y + by*f.d.y}
		return true
	}},
	{name: "an arc left out", early: func(rng *rand.Rand, w *scratch) bool {
		s := anEdge(rng, w, (*side).inward)
		if s == nil {
			return false
		}
		s.mitred = true
		return true
	}},
	{name: "a turn into the ground taken for one away", early: func(rng *rand.Rand, w *scratch) bool {
		s := anEdge(rng, w, func(s *side) bool { return s.turn < -0.01 })
		if s == nil {
			return false
		}
		s.turn = -s.turn
		return true
	}},
	{name: "the ground within a thing taken for the lot's", early: func(rng *rand.Rand, w *scratch) bool {
		did := false
		for i := range w.rings {
			if l := &w.rings[i]; l.thing >= 0 && l.area {
				l.area, did = false, true
			}
		}
		return did
	}},
	{name: "a vertex 2 mm out", late: func(rng *rand.Rand, w *scratch) bool {
		c := onGround(rng, w, 2)
		if c == nil {
			return false
		}
		k := between(rng, c)
		w.pts[k] = w.pts[k].plus(outward(w, k, off))
		return true
	}},
	{name: "a vertex 2 mm in", late: func(rng *rand.Rand, w *scratch) bool {
		c := onGround(rng, w, 2)
		if c == nil {
			return false
		}
		k := between(rng, c)
		w.pts[k] = w.pts[k].plus(outward(w, k, -off))
		return true
	}},
	{name: "the start of a chain that was cut 2 mm aside", late: func(rng *rand.Rand, w *scratch) bool {
		c := onGround(rng, w, 1)
		if c == nil || c.closed(w) {
			return false
		}
		w.pts[c.from] = w.pts[c.from].plus(aside(rng))
		return true
	}},
	{name: "the end of a chain that was cut 2 mm aside", late: func(rng *rand.Rand, w *scratch) bool {
		c := onGround(rng, w, 1)
		if c == nil || c.closed(w) {
			return false
		}
		w.pts[c.to] = w.pts[c.to].plus(aside(rng))
		return true
	}},
	{name: "a vertex left out", late: func(rng *rand.Rand, w *scratch) bool {
		c := onGround(rng, w, 2)
		if c == nil {
			return false
		}
		splice(w, between(rng, c))
		return true
	}},
	{name: "two vertices the wrong way round", late: func(rng *rand.Rand, w *scratch) bool {
		c := onGround(rng, w, 3)
		if c == nil {
			return false
		}
		i := c.from + 1 + rng.Int31n(c.to-c.from-2)
		w.pts[i], w.pts[i+1] = w.pts[i+1], w.pts[i]
		return true
	}},
	{name: "a corner cut by 2 mm", late: func(rng *rand.Rand, w *scratch) bool {
		c := onGround(rng, w, 2)
		if c == nil {
			return false
		}
		k := between(rng, c)
		p, a, b := w.pts[k], w.pts[k-1], w.pts[k+1]
		if x, y := towards(p, a), towards(p, b); apart2(x, y) > 3.8*off*off {
			return false // in an arc, which is no corner
		}
		splice(w, k, towards(p, a), towards(p, b))
		return true
	}},
	{name: "a hole left out", late: func(rng *rand.Rand, w *scratch) bool {
		for i := range w.chains {
			c := &w.chains[i]
			if c.closed(w) && areaOf(w.pts[c.from:c.to+1]) < 0 && w.ground(w.pts[c.from], -1) {
				c.loop = done
				return true
			}
		}
		return false
	}},
	{name: "part of a loop left out", late: func(rng *rand.Rand, w *scratch) bool {
		c := onGround(rng, w, 1)
		if c == nil || c.closed(w) {
			return false
		}
		c.loop = done
		return true
	}},
	{name: "a chain twice", late: func(rng *rand.Rand, w *scratch) bool {
		c := onGround(rng, w, 2)
		if c == nil {
			return false
		}
		twin := *c
		if c.closed(w) {
			twin.next = int32(len(w.chains))
		}
		w.chains = append(w.chains, twin)
		return true
	}},
	{name: "a ring the wrong way", late: func(rng *rand.Rand, w *scratch) bool {
		c := onGround(rng, w, 2)
		if c == nil || !c.closed(w) {
			return false
		}
		slices.Reverse(w.pts[c.from : c.to+1])
		return true
	}},
	{name: "a chain that goes on in the wrong one", late: func(rng *rand.Rand, w *scratch) bool {
		c, d := onGround(rng, w, 1), onGround(rng, w, 1)
		if c == d || c == nil {
			return false
		}
		for i := range w.chains {
			if d == &w.chains[i] {
				c.next = int32(i)
			}
		}
		return true
	}},
}

// Property: a zone spoilt on its way is refused, or is right all the same: of the
// vertices left out some are those where an arc sets out along a straight curve.
// What was spoilt beyond the lot line or within a thing comes to nothing: the zone
// is the same to the last bit.
func TestPropertySpoiltZoneRefused(t *testing.T) {
	rng := newRand(22)
	tries := max(lotsToTry()/10, 300)
	var w scratch
	for _, sp := range spoilers {
		spoilt, same, right := 0, 0, 0
		for i := 0; i < tries; i++ {
			lot, out, more := randomYard(rng)
			whole, ok, _ := w.zone(lot, out, more, nil)
			if !ok || !w.enter(lot, out, float64(more)) {
				continue
			}
			did := sp.early != nil && sp.early(rng, &w)
			w.walk()
			if did = did || sp.late != nil && sp.late(rng, &w); !did {
				continue
			}
			spoilt++
			if !w.assemble() {
				continue
			}
			z, ok := w.answer(out, more, newRoom(0))
			if !ok {
				continue
			}
			if z.Area == whole.Area && reflect.DeepEqual(z.Shape, whole.Shape) {
				same++
				continue
			}
			right++
			ref, err := byOverlay(lot, out, more, arc{off: 3e-4})
			if err != nil {
				t.Fatal(err)
			}
			err = agree(z, ref, true)
			if err != nil { // as in tally.try
				if ref, err = byOverlay(lot, out, more, arc{off: 2e-7}); err != nil {
					t.Fatal(err)
				}
				err = agree(z, ref, true)
			}
			if err != nil {
				t.Errorf("%s: lot %d: the certificate let through: %v\nlot %v %v\nout %v", sp.name, i, err, lot.Shape, lot.Edges, out)
				break
			}
		}
		t.Logf("%s: %d lots, of %d it came to nothing, %d (%.1f %%) were right all the same", sp.name, spoilt, same, right, 100*float64(right)/float64(max(spoilt, 1)))
		if refused := spoilt - same - right; refused < spoilt/4 || refused < 10 {
			t.Errorf("%s: %d refused tells nothing", sp.name, refused)
		}
	}
}

// Property: so is a table of arcs that is spoilt.
func TestPropertySpoiltTableRefused(t *testing.T) {
	rng := newRand(23)
	var w scratch
	for i := 0; i < 300; i++ {
		r := 0.05 + 5*rng.Float64()
		s := w.table(r)
		if s == nil {
			t.Fatalf("no table of radius %v", r)
		}
		k := rng.Intn(len(s.steps) - 1)
		spoilt := func(what string, steps ...step) {
			copied := *s
			copied.steps = slices.Replace(slices.Clone(s.steps), k, k+1, steps...)
			if copied.certify() {
				t.Errorf("radius %v: the certificate let through a step %s", r, what)
			}
		}
		q, by := s.steps[k], aside(rng)
		at := func(x, y float64) step { return step{x, y, q.cos, q.sin, q.end} }
		spoilt("2 mm aside", at(q.x+by.x, q.y+by.y))
		spoilt("2 mm nearer", at(q.x*(1-off/r), q.y*(1-off/r)))
		spoilt("2 mm further off", at(q.x*(1+off/r), q.y*(1+off/r)))
		spoilt("left out")
		spoilt("twice", q, q)
		spoilt("in no direction", step{q.x, q.y, q.cos * (1 + 1e-9), q.sin * (1 + 1e-9), q.end})
	}
}
