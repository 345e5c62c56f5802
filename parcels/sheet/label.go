package sheet

// Labels that do not overlap.

import "math"

type rect struct{ x, y, w, h float64 }

func (a rect) meets(b rect) bool {
	return a.x < b.x+b.w && b.x < a.x+a.w && a.y < b.y+b.h && b.y < a.y+a.h
}

func (a rect) within(b rect) bool {
	return a.x >= b.x && a.y >= b.y && a.x+a.w <= b.x+b.w && a.y+a.h <= b.y+b.h
}

// cuts says whether a straight line from p to q passes through the rectangle.
func (a rect) cuts(p, q xy) bool {
	lo, hi := 0.0, 1.0
	for _, s := range [2][3]float64{{p.x, q.x - p.x, 0}, {p.y, q.y - p.y, 1}} {
		least, most := a.x, a.x+a.w
		if s[2] == 1 {
			least, most = a.y, a.y+a.h
		}
		if s[1] == 0 {
			if s[0] < least || s[0] > most {
				return false
			}
			continue
		}
		t0, t1 := (least-s[0])/s[1], (most-s[0])/s[1]
		if t0 > t1 {
			t0, t1 = t1, t0
		}
		lo, hi = math.Max(lo, t0), math.Min(hi, t1)
	}
	return lo <= hi
}

// placer keeps the labels of a drawing apart. A label never overlaps another or
// a symbol; among the free places the nearest that crosses no drain is taken, and
// rather one that covers no lot line or wall.
type placer struct {
	area   rect
	taken  []rect
	drains [][2]xy
	edges  [][2]xy
}

// edge adds a line that a label had better not cover.
func (pl *placer) edge(l []xy) {
	for i := 1; i < len(l); i++ {
		pl.edges = append(pl.edges, [2]xy{l[i-1], l[i]})
	}
}

func (pl *placer) free(r rect) bool {
	if !r.within(pl.area) {
		return false
	}
	for _, t := range pl.taken {
		if r.meets(t) {
			return false
		}
	}
	return true
}

// put sets lines of text near a place. It returns false where there is no room
// within reach; then nothing is drawn and the caller says so elsewhere.
func (pl *placer) put(p *page, at xy, size float64, bold bool, c ink, lines ...string) bool {
	w := 0.0
	for _, l := range lines {
		w = math.Max(w, width(l, size, bold))
	}
	w += 2.4
	h := float64(len(lines))*size*1.15 + 1.2
	best, least := rect{}, math.Inf(1)
	for _, d := range []float64{4, 8, 13, 20, 28, 38, 50, 64} {
		for k := 0; k < 16; k++ {
			s, co := math.Sincos(float64(k)*math.Pi/8 - math.Pi/4)
			r := rect{at.x + co*d - w/2 + co*w/2, at.y + s*d - h/2 + s*h/2, w, h}
			if !pl.free(r) {
				continue
			}
			cost := d
			for _, l := range pl.drains {
				if r.cuts(l[0], l[1]) {
					cost += 22
				}
				if d > 8 && rect.cuts(rect{r.x + r.w/2 - 1, r.y + r.h/2 - 1, 2, 2}, l[0], l[1]) {
					cost += 4
				}
			}
			for _, l := range pl.edges {
				if r.cuts(l[0], l[1]) {
					cost += 9
				}
			}
			if cost < least {
				best, least = r, cost
			}
		}
		if least <= d {
			break
		}
	}
	if math.IsInf(least, 1) {
		return false
	}
	// a leader to the nearest side of the text
	to := xy{math.Min(math.Max(at.x, best.x), best.x+best.w), math.Min(math.Max(at.y, best.y), best.y+best.h)}
	if math.Hypot(to.x-at.x, to.y-at.y) > 7 {
		p.line(0.35, grey, nil, at, to)
	}
	p.box(best.x, best.y, best.w, best.h, &white, nil, 0)
	for i, l := range lines {
		p.words(xy{best.x + 1.2, best.y + size*(0.95+1.15*float64(i))}, size, bold, c, l)
	}
	pl.taken = append(pl.taken, best)
	return true
}
