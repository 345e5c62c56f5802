package sheet

// Profiles of the lines, stationed from the outlet up, and where a line is longer
// than the sheet, pieces with match lines.

import (
	"fmt"
	"math"

	"fallwright/geo/unit"
	"fallwright/parcels/display"
	"fallwright/parcels/stakeout"
)

// piece is a stretch of a line that fits on a sheet.
type piece struct {
	l        stakeout.Line
	from, to unit.Length
	more     bool // the line goes on
	start    bool
	stub     bool // too short for a scale of elevations beside it
}

// gutter is what the elevations take beside a piece.
func (p piece) gutter() float64 {
	if p.stub {
		return 8
	}
	return gutter
}

const (
	most   = 400  // pieces of profile in one document
	gutter = 30.0 // for the elevations beside it
)

// headroom is what the names above a profile take: metres have more digits.
func (d *draft) headroom() float64 {
	if d.u == display.SI {
		return 122
	}
	return 106
}

// profiles packs the pieces on sheets, left to right and down.
func (d *draft) profiles(w, h float64) (out []drawing, said []string) {
	lines := stakeout.Lines(d.p)
	if len(lines) == 0 {
		return nil, nil
	}
	longest, tallest := 0.0, 0.0
	for _, l := range lines {
		longest = math.Max(longest, float64(l.Length))
		lo, hi := reach(l.Rows)
		tallest = math.Max(tallest, hi-lo)
	}
	inner := w - 2*edge - 16
	room := h - 2*edge - strip - 30
	// the finest at which the longest line fits, down to 40 ft an inch; beyond
	// that it goes over several pieces
	all := scales(d.u)
	sc := all[len(all)-1]
	coarse := 72 / (40 * 0.3048)
	d.exaggerated = 0
	for _, x := range []float64{5, 2, 1} {
		for _, s := range all {
			if d.exaggerated == 0 && s.per <= 72/(10*0.3048)+1e-9 && (longest*s.per <= inner-gutter-8 || s.per <= coarse && s.per > coarse/2) && (tallest+0.6)*s.per*x <= room-d.headroom()-22 {
				sc, d.exaggerated = s, x
			}
		}
	}
	if d.exaggerated == 0 {
		d.exaggerated = 1
	}
	fits := unit.Length((inner - gutter - 8) / sc.per)
	var ps []piece
	for _, l := range lines {
		for at := unit.Length(0); at < l.Length-1e-6; at += fits {
			to := min(at+fits, l.Length)
			if len(ps) == most {
				break // what is longer stands in the stake table
			}
			ps = append(ps, piece{l: l, from: at, to: to, more: to < l.Length-1e-6, start: at == 0, stub: float64(l.Length)*sc.per < 30})
		}
	}
	text := fmt.Sprintf("horizontal %s, vertical x %.0f", sc.said, d.exaggerated)
	var shelves []*shelf
	for _, p := range ps {
		rows := rowsOf(p)
		lo, hi := reach(rows)
		step := 1 * unit.Foot
		if d.u == display.SI {
			step = 0.25
		}
		for (hi-lo)/float64(step) > 60 {
			step *= 2
		}
		lo = math.Floor((lo-0.15)/float64(step)) * float64(step)
		hi = math.Ceil((hi+0.05)/float64(step)) * float64(step)
		names := 0
		for _, r := range rows {
			if r.Point != "" {
				names++
			}
		}
		pw := math.Max(float64(p.to-p.from)*sc.per, float64(names)*8.4+6) + p.gutter() + 8
		ph := (hi-lo)*sc.per*d.exaggerated + d.headroom() + 14
		if p.more || !p.start {
			ph += 8 // for the name of the match line
		}
		at := d.place(&out, &shelves, w, h, pw, ph)
		d.profile(at.g, p, rows, xy{at.x - pw - 8, at.y}, pw, lo, hi, float64(step), sc)
	}
	for range out {
		said = append(said, text)
	}
	for _, g := range out {
		d.profileKey(g)
	}
	return out, said
}

// shelf is a row of profiles on a sheet; x is where the next one goes.
type shelf struct {
	g          drawing
	x, y, tall float64
	last       bool // nothing lies under it
}

// place finds room for a profile: on the first shelf where it fits, else on a new
// shelf, else on a new sheet. The shelf's x has moved past it.
func (d *draft) place(out *[]drawing, shelves *[]*shelf, w, h, pw, ph float64) *shelf {
	foot := func(g drawing) float64 { return g.in.y + g.in.h - 18 }
	take := func(s *shelf) *shelf {
		s.x, s.tall = s.x+pw+8, math.Max(s.tall, ph)
		return s
	}
	for _, s := range *shelves {
		if s.x+pw <= s.g.in.x+s.g.in.w-4 && (ph <= s.tall || s.last && s.y+ph <= foot(s.g)) {
			return take(s)
		}
	}
	for _, s := range *shelves {
		if s.last && s.y+s.tall+8+ph <= foot(s.g) {
			s.last = false
			n := &shelf{g: s.g, x: s.g.in.x + 8, y: s.y + s.tall + 8, last: true}
			*shelves = append(*shelves, n)
			return take(n)
		}
	}
	g := newDrawing(w, h)
	*out = append(*out, g)
	n := &shelf{g: g, x: g.in.x + 8, y: g.in.y + 8, last: true}
	*shelves = append(*shelves, n)
	return take(n)
}

// profileKey says along the foot of a sheet what its lines and letters mean.
func (d *draft) profileKey(g drawing) {
	x, y := g.in.x+10, g.in.y+g.in.h-7
	for _, k := range []struct {
		w    float64
		c    ink
		dash []float64
		text string
	}{{0.9, grey, []float64{7, 2}, "ground over the pipe (G)"}, {1.5, navy, nil, "invert (I)"}, {0.8, navy, nil, "inside top of pipe"}, {0.7, black, []float64{1, 1.6}, "water level, " + years(float64(d.c.Storm.ReturnYears)) + " storm"}} {
		g.line(k.w, k.c, k.dash, xy{x, y - 2}, xy{x + 22, y - 2})
		g.words(xy{x + 25, y}, 6, false, black, k.text)
		x += 25 + width(k.text, 6, false) + 16
	}
	g.words(xy{x, y}, 6, false, black, "C cut, ground to invert. Stations and elevations in "+d.u.LengthUnit()+", from the outlet up.")
}

// reach is the lowest and highest level among rows.
func reach(rows []stakeout.Row) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, r := range rows {
		lo, hi = math.Min(lo, float64(r.Invert)), math.Max(hi, float64(r.Crown))
		if r.Ground != nil {
			lo, hi = math.Min(lo, float64(*r.Ground)), math.Max(hi, float64(*r.Ground))
		}
		if r.Water != nil {
			hi = math.Max(hi, float64(*r.Water))
		}
	}
	return lo, hi
}

// rowsOf are the rows of a piece, with one at each cut.
func rowsOf(p piece) []stakeout.Row {
	var out []stakeout.Row
	if p.from > 0 {
		out = append(out, p.l.At(p.from))
	}
	for _, r := range p.l.Rows {
		if r.Station >= p.from && r.Station <= p.to {
			out = append(out, r)
		}
	}
	if p.more {
		out = append(out, p.l.At(p.to))
	}
	return out
}

// profile draws one piece with its upper left corner at o.
func (d *draft) profile(g drawing, p piece, rows []stakeout.Row, o xy, pw, lo, hi, step float64, sc scale) {
	left, top := o.x+p.gutter(), o.y+d.headroom()
	bottom := top + (hi-lo)*sc.per*d.exaggerated
	right := o.x + pw - 8
	X := func(s unit.Length) float64 { return left + float64(s-p.from)*sc.per }
	Y := func(e float64) float64 { return bottom - (e-lo)*sc.per*d.exaggerated }
	name := "LINE " + p.l.Name + ": " + p.l.From + " to " + p.l.To
	if !p.start {
		name += " (continued)"
	}
	if p.stub {
		name = "LINE " + p.l.Name
	}
	size := 7.5
	for size > 4.5 && width(name, size, true) > pw-2 {
		size -= 0.25
	}
	g.words(xy{o.x, o.y + 7}, size, true, black, name)
	for k := 0; k <= 200; k++ {
		e := lo + float64(k)*step
		if e > hi+1e-9 {
			break
		}
		g.line(0.25, pale, nil, xy{left, Y(e)}, xy{right, Y(e)})
		t := d.u.LengthBare(unit.Length(e))
		if d.u == display.US {
			t = fmt.Sprintf("%.0f", e/0.3048)
		}
		if !p.stub && (sc.per*d.exaggerated*step > 7 || k%2 == 0) {
			g.words(xy{left - 3 - width(t, 5.5, false), Y(e) + 2}, 5.5, false, grey, t)
		}
	}
	tick, mark := 25*unit.Foot, 50*unit.Foot
	if d.u == display.SI {
		tick, mark = 5, 10
	}
	for k := int(math.Ceil(float64(p.from/tick) - 1e-9)); unit.Length(k)*tick <= p.to+1e-9; k++ {
		s := unit.Length(k) * tick
		g.line(0.25, pale, nil, xy{X(s), top}, xy{X(s), bottom + 3})
		if math.Mod(float64(s/mark)+1e-9, 1) < 1e-6 {
			t := stakeout.Station(s, d.u)
			g.words(xy{X(s) - width(t, 5.5, false)/2, bottom + 10}, 5.5, false, black, t)
		}
	}
	g.line(0.6, black, nil, xy{left, top}, xy{left, bottom}, xy{right, bottom})
	var ground, water, invert, crown []xy
	flush := func(pts *[]xy, w float64, c ink, dash []float64) {
		if len(*pts) > 1 {
			g.line(w, c, dash, *pts...)
		}
		*pts = nil
	}
	for i, r := range rows {
		x := X(r.Station)
		if r.Ground != nil {
			ground = append(ground, xy{x, Y(float64(*r.Ground))})
		} else {
			flush(&ground, 0.9, grey, []float64{7, 2})
		}
		if r.Water != nil {
			water = append(water, xy{x, Y(math.Max(float64(*r.Water), float64(r.Invert)))}) // a free fall ends at the invert
		}
		invert = append(invert, xy{x, Y(float64(r.Invert))})
		crown = append(crown, xy{x, Y(float64(r.Crown))})
		if r.InvUp != nil && i < len(rows)-1 {
			invert = append(invert, xy{x, Y(float64(*r.InvUp))})
		}
		if r.CrownUp != nil && i < len(rows)-1 {
			crown = append(crown, xy{x, Y(float64(*r.CrownUp))})
		}
	}
	flush(&ground, 0.9, grey, []float64{7, 2})
	flush(&water, 0.7, black, []float64{1, 1.6})
	flush(&crown, 0.8, navy, nil)
	flush(&invert, 1.5, navy, nil)
	// the runs' size and grade, under the pipe where there is room
	station := unit.Length(0)
	for _, id := range p.l.Runs {
		r := d.p.Run(id)
		a, b := max(station, p.from), min(station+r.Length, p.to)
		station += r.Length
		text := fmt.Sprintf("%s %s %s", id, d.u.Size(r.Size, r.Diameter), display.Or(r.Slope, d.u.Slope))
		// grid lines under it are covered
		if b <= a || float64(b-a)*sc.per < width(text, 5.5, false)+3 {
			continue
		}
		mid := (a + b) / 2
		row := p.l.At(mid)
		y := Y(float64(row.Invert)) + 9
		drop := float64(p.l.At(a).Invert - p.l.At(b).Invert)
		y += math.Abs(drop) * sc.per * d.exaggerated / 2 * width(text, 5.5, false) / (float64(b-a) * sc.per)
		if y > bottom-1.5 {
			y = bottom - 1.5
		}
		w := width(text, 5.5, false)
		g.box(X(mid)-w/2-1, y-5, w+2, 6.4, &white, nil, 0)
		g.words(xy{X(mid) - w/2, y}, 5.5, false, navy, text)
	}
	// names above, turned, spread so that none overlaps
	var at []float64
	var shown []stakeout.Row
	for _, r := range rows {
		if r.Point != "" {
			at, shown = append(at, X(r.Station)), append(shown, r)
		}
	}
	const apart = 8.2
	put := append([]float64(nil), at...)
	for k := 1; k < len(put); k++ {
		put[k] = math.Max(put[k], put[k-1]+apart)
	}
	if n := len(put); n > 0 && put[n-1] > right+6 {
		put[n-1] = math.Max(right+6, put[0]+apart*float64(n-1))
		for k := n - 2; k >= 0; k-- {
			put[k] = math.Min(put[k], put[k+1]-apart)
		}
	}
	for k, r := range shown {
		g.line(0.35, grey, nil, xy{at[k], Y(float64(r.Invert))}, xy{at[k], top - 2}, xy{put[k], top - 9})
		var cut *unit.Length
		if r.Ground != nil {
			c := r.Ground.Above(r.Invert)
			cut = &c
		}
		t := fmt.Sprintf("%s  %s  G %s  I %s  C %s", stakeout.Station(r.Station, d.u), r.Point, display.Or(r.Ground, d.u.Elevation), d.u.Elevation(r.Invert), display.Or(cut, d.u.LengthBare))
		size := 6.0
		for width(t, size, false) > d.headroom()-21 {
			size -= 0.1
		}
		g.turned(xy{put[k] + 2, top - 11}, size, 90, black, t)
	}
	for _, m := range []struct {
		show bool
		s    unit.Length
	}{{!p.start, p.from}, {p.more, p.to}} {
		if m.show {
			g.line(1, black, []float64{8, 3, 2, 3}, xy{X(m.s), top - 4}, xy{X(m.s), bottom + 4})
			t := "match line " + stakeout.Station(m.s, d.u)
			w := width(t, 5.5, true)
			g.words(xy{math.Max(math.Min(X(m.s)-w/2, g.in.x+g.in.w-w-3), g.in.x+3), bottom + 18}, 5.5, true, black, t)
		}
	}
}
