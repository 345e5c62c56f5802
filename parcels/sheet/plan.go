package sheet

// The plan, true to scale.

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
	"fallwright/geo/unit"
	"fallwright/parcels"
	"fallwright/parcels/display"
	"fallwright/parcels/siting"
	"fallwright/parcels/stakeout"
)

// scale is points a metre, and how it is said.
type scale struct {
	per  float64
	said string
	bar  unit.Length // of the scale bar
}

// scales, finest first: the trade's engineer scales, or the metric ones.
func scales(u display.Units) []scale {
	var out []scale
	if u == display.SI {
		for _, n := range []float64{50, 100, 200, 250, 500, 1000, 2000} {
			out = append(out, scale{72 / 0.0254 / n, fmt.Sprintf("1:%.0f", n), unit.Length(n / 20)})
		}
		return out
	}
	for _, n := range []float64{5, 10, 20, 30, 40, 50, 60, 100, 200, 400} {
		out = append(out, scale{72 / (n * 0.3048), fmt.Sprintf("1 in = %.0f ft", n), unit.Length(2*n) * unit.Foot})
	}
	return out
}

// fit gives the finest scale at which w x h metres fit.
func fit(u display.Units, w, h, room, tall float64) scale {
	all := scales(u)
	for _, s := range all {
		if w*s.per <= room && h*s.per <= tall {
			return s
		}
	}
	return all[len(all)-1]
}

const (
	edge  = 26.0  // frame from the paper's edge
	strip = 50.0  // height of the title block
	side  = 158.0 // width of the column beside the plan
)

// drawing is the frame of one drawn sheet.
type drawing struct {
	*page
	in rect // inside the frame, above the title block
}

func newDrawing(w, h float64) drawing {
	p := &page{w: w, h: h}
	return drawing{p, rect{edge, edge, w - 2*edge, h - 2*edge - strip}}
}

// block writes the title block once the number of sheets is known.
func (d *draft) block(g drawing, title, said string, n, of int) {
	y, h := g.in.y+g.in.h, strip
	g.box(edge, edge, g.w-2*edge, g.h-2*edge, nil, &black, 1.2)
	g.line(1.2, black, nil, xy{edge, y}, xy{g.w - edge, y})
	t := d.c.Sheet
	or := func(s string) string {
		if s == "" {
			return "____________"
		}
		return s
	}
	cells := []struct {
		share float64
		rows  [][2]string
	}{
		{1.5, [][2]string{{"Prepared by", or(t.Firm)}, {"Licence", or(t.Licence)}}},
		{2.1, [][2]string{{"Project", siteName(d.p.Site)}, {"Drains", lots(d.p.Summary.Lots) + " to " + orNone(d.p.Summary.Outlet)}}},
		{1.7, [][2]string{{"Sheet", title}, {"Scale", said}}},
		{1.4, [][2]string{{"Status", "PRELIMINARY: " + verdict(d.p.Summary.Verdict)}, {"Datum", orNone(d.s.VerticalDatum)}}},
		{1.0, [][2]string{{"Drawn", or(t.Drawn)}, {"Date", "____________"}}},
		{0.8, [][2]string{{"Revision", or(t.Revision)}, {"Sheet no.", fmt.Sprintf("%d of %d", n, of)}}},
	}
	sum := 0.0
	for _, c := range cells {
		sum += c.share
	}
	x := edge
	for i, c := range cells {
		w := c.share / sum * (g.w - 2*edge)
		if i > 0 {
			g.line(0.6, black, nil, xy{x, y}, xy{x, y + h})
		}
		for j, r := range c.rows {
			g.words(xy{x + 4, y + 9 + 25*float64(j)}, 5.5, false, grey, r[0])
			if rs := []rune(r[1]); len(rs) > 120 {
				r[1] = string(rs[:120])
			}
			size := 8.5
			for size > 5 && width(r[1], size, true) > w-8 {
				size -= 0.25
			}
			lines := append(wrap(r[1], w-8, size, true), "")
			g.words(xy{x + 4, y + 19.5 + 25*float64(j)}, size, true, black, lines[0])
		}
		x += w
	}
}

func orNone(s string) string {
	if s == "" {
		return "not given"
	}
	return s
}

// planSheets are all drawn sheets of the plan.
func (d *draft) planSheets(w, h float64) []*page {
	type made struct {
		g     drawing
		title string
		said  string
	}
	var all []made
	g, said := d.planView(w, h)
	all = append(all, made{g, "Plan", said})
	gs, saids := d.profiles(w, h)
	for i := range gs {
		all = append(all, made{gs[i], "Profiles", saids[i]})
	}
	g, said = d.details(w, h)
	all = append(all, made{g, "Trench sections and notes", said})
	for _, g := range d.runTable(w, h) {
		all = append(all, made{g, "Runs and points", "none"})
	}
	var out []*page
	for i, m := range all {
		d.block(m.g, m.title, m.said, i+1, len(all))
		out = append(out, m.g.page)
	}
	return out
}

// planView draws the lots from above.
func (d *draft) planView(w, h float64) (drawing, string) {
	g := newDrawing(w, h)
	room := rect{g.in.x, g.in.y, g.in.w - side, g.in.h}
	var b orb.Bound
	first := true
	add := func(o orb.Bound) {
		if first {
			b, first = o, false
		} else {
			b = b.Union(o)
		}
	}
	for _, id := range d.p.Summary.Lots {
		if l := d.s.Lot(id); l != nil {
			add(l.Shape.Bound())
		}
	}
	for i := range d.p.Runs {
		add(d.p.Runs[i].Line.Bound())
	}
	if first {
		add(orb.Bound{Max: orb.Point{1, 1}})
	}
	b = b.Pad(2)
	sc := fit(d.u, b.Max[0]-b.Min[0], b.Max[1]-b.Min[1], room.w-8, room.h-8)
	c := b.Center()
	at := func(p orb.Point) xy {
		return xy{room.x + room.w/2 + (p[0]-c[0])*sc.per, room.y + room.h/2 - (p[1]-c[1])*sc.per}
	}
	path := func(l []orb.Point) []xy {
		out := make([]xy, len(l))
		for i, p := range l {
			out[i] = at(p)
		}
		return out
	}
	seen := orb.Bound{Min: orb.Point{c[0] - room.w/2/sc.per, c[1] - room.h/2/sc.per}, Max: orb.Point{c[0] + room.w/2/sc.per, c[1] + room.h/2/sc.per}}
	pl := &placer{area: rect{room.x + 2, room.y + 2, room.w - 4, room.h - 4}}
	for i := range d.p.Runs {
		l := d.p.Runs[i].Line
		pl.drains = append(pl.drains, [2]xy{at(l[0]), at(l[len(l)-1])})
	}
	type label struct {
		at    orb.Point
		size  float64
		bold  bool
		c     ink
		lines []string
		must  int // lower is placed first
	}
	var labels []label
	say := func(must int, p orb.Point, size float64, bold bool, c ink, lines ...string) {
		if seen.Contains(p) {
			labels = append(labels, label{p, size, bold, c, lines, must})
		}
	}
	g.clip(room.x, room.y, room.w, room.h)
	rings := func(geo orb.Geometry, f func(r orb.Ring, hole bool)) {
		var mp orb.MultiPolygon
		switch x := geo.(type) {
		case orb.Polygon:
			mp = orb.MultiPolygon{x}
		case orb.MultiPolygon:
			mp = x
		}
		for _, p := range mp {
			for i, r := range p {
				if r.Bound().Intersects(seen) {
					f(r, i > 0)
				}
			}
		}
	}
	used := map[string]bool{}
	sheetPaving, sheetHouse := ink{244, 244, 244}, ink{222, 222, 222}
	for i := range d.s.Streets {
		st := &d.s.Streets[i]
		rings(st.Geometry, func(r orb.Ring, _ bool) { g.area(&sheetPaving, &pale, 0.5, path(r)...) })
		if geo := st.Geometry; geo.Bound().Intersects(seen) {
			if x, ok := inside(geo, seen); ok {
				say(8, x, 6, false, grey, siting.Label(st.Common)+" (street)")
			}
		}
	}
	for i := range d.s.Obstacles {
		o := &d.s.Obstacles[i]
		switch o.Kind {
		case "paving":
			rings(o.Geometry, func(r orb.Ring, _ bool) { used["paving"] = true; g.area(&sheetPaving, &pale, 0.4, path(r)...) })
		case "pool", "shed", "wall", "septic", "other":
			rings(o.Geometry, func(r orb.Ring, _ bool) {
				g.area(&white, &grey, 0.6, path(r)...)
				say(6, r.Bound().Center(), 5.5, false, grey, o.Kind)
			})
		}
	}
	for i := range d.s.Buildings {
		rings(d.s.Buildings[i].Shape, func(r orb.Ring, hole bool) {
			used["building"] = true
			if hole {
				g.area(&white, &black, 0.9, path(r)...)
				return
			}
			g.area(&sheetHouse, &black, 0.9, path(r)...)
			if d.s.Buildings[i].Lot == "" || slices.Contains(d.p.Summary.Lots, d.s.Buildings[i].Lot) {
				say(6, r.Bound().Center(), 7, false, grey, "house")
			}
		})
	}
	for i := range d.s.Easements {
		e := &d.s.Easements[i]
		used["easement"] = used["easement"] || e.Geometry.Bound().Intersects(seen)
		rings(e.Geometry, func(r orb.Ring, _ bool) { g.line(0.6, grey, []float64{6, 2, 1.5, 2}, path(r)...) })
		if l, ok := e.Geometry.(orb.LineString); ok {
			g.line(0.6, grey, []float64{6, 2, 1.5, 2}, path(l)...)
		}
		if x, ok := inside(e.Geometry, seen); ok {
			say(5, x, 6, false, grey, "easement "+e.ID+" ("+e.Kind+")")
		}
	}
	for i := range d.s.Swales {
		if d.s.Swales[i].Line.Bound().Intersects(seen) {
			used["swale"] = true
			g.line(0.7, grey, []float64{1, 2}, path(d.s.Swales[i].Line)...)
		}
	}
	for i := range d.s.Lots {
		l := &d.s.Lots[i]
		own := slices.Contains(d.p.Summary.Lots, l.ID)
		for _, p := range l.Shape {
			for _, r := range p {
				if !r.Bound().Intersects(seen) {
					continue
				}
				if own {
					g.line(1.3, black, []float64{14, 3, 3, 3, 3, 3}, path(r)...)
				} else {
					g.line(0.5, grey, []float64{14, 3, 3, 3, 3, 3}, path(r)...)
				}
			}
		}
		if x, ok := inside(l.Shape, seen); ok {
			if own {
				say(4, x, 9, true, black, "LOT "+l.ID)
			} else {
				say(7, x, 6.5, false, grey, "lot "+l.ID)
			}
		}
	}
	for i := range d.s.Obstacles {
		o := &d.s.Obstacles[i]
		if !o.Geometry.Bound().Pad(5).Intersects(seen) {
			continue
		}
		switch o.Kind {
		case "tree":
			if p, ok := o.Geometry.(orb.Point); ok {
				used["tree"] = true
				r := float64(siting.Extent(o, *d.c)) * sc.per
				g.circle(at(p), math.Max(r, 2), nil, &pale, 0.5)
				g.circle(at(p), 1.4, &grey, nil, 0)
			}
		case "utility", "irrigation", "existing_drain", "fence":
			l, ok := o.Geometry.(orb.LineString)
			if !ok {
				continue
			}
			letter, c := locating(o)
			used[letter] = true
			g.line(0.8, c, []float64{7, 3}, path(l)...)
			tag(g.page, path(l), room, letter, c)
		case "well":
			if p, ok := o.Geometry.(orb.Point); ok {
				g.circle(at(p), 3, &white, &grey, 0.8)
				say(6, p, 5.5, false, grey, "well")
			}
		}
	}
	// the drains
	perforated := false
	for i := range d.p.Runs {
		r := &d.p.Runs[i]
		var dash []float64
		if r.Pipe == "perforated" {
			perforated = true
			dash = []float64{5, 2.2}
		}
		g.line(1.9, navy, dash, path(r.Line)...)
		a, z := at(r.Line[0]), at(r.Line[len(r.Line)-1])
		long := math.Hypot(z.x-a.x, z.y-a.y)
		if long > 16 {
			arrow(g.page, a, z, 0.5, navy)
		}
		if long > 34 {
			mid := shape.PointAt(r.Line, r.Length*0.38)
			say(3, mid, 6, false, navy, fmt.Sprintf("%s  %s  %s  %s", r.ID, d.u.Size(r.Size, r.Diameter), d.u.Distance(r.Length), display.Or(r.Slope, d.u.Slope)))
		}
	}
	unlabelled := 0
	for i := range d.p.Points {
		pt := &d.p.Points[i]
		x := at(pt.At)
		switch pt.Kind {
		case parcels.PointInlet, parcels.PointOutlet:
			g.box(x.x-4, x.y-4, 8, 8, &white, &black, 1.1)
			g.line(0.8, black, nil, xy{x.x - 4, x.y - 4}, xy{x.x + 4, x.y + 4})
			g.line(0.8, black, nil, xy{x.x - 4, x.y + 4}, xy{x.x + 4, x.y - 4})
			pl.taken = append(pl.taken, rect{x.x - 5, x.y - 5, 10, 10})
			say(0, pt.At, 7, true, black, pt.ID, "rim "+display.Or(pt.Rim, d.u.Elevation), "pipe in "+display.Or(pt.Invert, d.u.Elevation))
		case parcels.PointIntake, parcels.PointBasin:
			if slices.ContainsFunc(pt.Fittings, func(f string) bool { return strings.Contains(f, "basin") }) {
				g.box(x.x-3.2, x.y-3.2, 6.4, 6.4, &white, &navy, 1.1)
			} else {
				g.circle(x, 2.9, &navy, &white, 0.5)
			}
			pl.taken = append(pl.taken, rect{x.x - 3.5, x.y - 3.5, 7, 7})
			say(1, pt.At, 6.5, true, black, pt.ID, "inv "+display.Or(pt.Invert, d.u.Elevation))
		case parcels.PointCleanout:
			g.circle(x, 2.6, &white, &navy, 0.9)
			pl.taken = append(pl.taken, rect{x.x - 3, x.y - 3, 6, 6})
			say(2, pt.At, 5.5, false, navy, "CO "+pt.ID)
		default:
			g.circle(x, 1.3, &navy, nil, 0)
			pl.taken = append(pl.taken, rect{x.x - 1.5, x.y - 1.5, 3, 3})
			say(3, pt.At, 5.5, false, navy, pt.ID)
		}
	}
	for _, op := range d.s.Openings {
		if seen.Contains(op.At) {
			used["opening"] = true
			x := at(op.At)
			g.area(&white, &black, 0.7, xy{x.x, x.y - 3}, xy{x.x + 3, x.y + 2.4}, xy{x.x - 3, x.y + 2.4})
			pl.taken = append(pl.taken, rect{x.x - 3, x.y - 3, 6, 6})
			say(2, op.At, 5.5, false, grey, strings.ReplaceAll(op.Kind, "_", " ")+" "+display.Or(op.Level, d.u.Elevation))
		}
	}
	for i := range d.s.Inlets {
		in := &d.s.Inlets[i]
		if seen.Contains(in.At) && d.p.Point(in.ID) == nil {
			x := at(in.At)
			g.box(x.x-3.5, x.y-3.5, 7, 7, &white, &grey, 0.9)
			pl.taken = append(pl.taken, rect{x.x - 4, x.y - 4, 8, 8})
			say(2, in.At, 6, false, grey, in.ID)
		}
	}
	lines := stakeout.Lines(d.p)
	for _, l := range lines {
		if float64(l.Length)*sc.per > 24 {
			mid := lineAt(l, l.Length*0.72)
			say(2, mid, 7, true, navy, "line "+l.Name)
		}
	}
	slices.SortStableFunc(labels, func(a, b label) int { return a.must - b.must })
	for _, l := range labels {
		if !pl.put(g.page, at(l.at), l.size, l.bold, l.c, l.lines...) {
			unlabelled++
		}
	}
	g.unclip()
	d.column(g, rect{room.x + room.w, room.y, side, room.h}, sc, used, perforated, unlabelled)
	return g, sc.said
}

// lineAt is the place on a line at a station.
func lineAt(l stakeout.Line, s unit.Length) orb.Point {
	for i := 1; i < len(l.Rows); i++ {
		a, b := l.Rows[i-1], l.Rows[i]
		if b.Station >= s && b.Station > a.Station {
			f := float64((s - a.Station) / (b.Station - a.Station))
			return orb.Point{a.At[0] + f*(b.At[0]-a.At[0]), a.At[1] + f*(b.At[1]-a.At[1])}
		}
	}
	return l.Rows[len(l.Rows)-1].At
}

// inside is a place in a geometry, within what is seen, for its name: the middle
// of the part that is seen if that lies in it, else the nearest of a small grid.
func inside(g orb.Geometry, seen orb.Bound) (orb.Point, bool) {
	b := g.Bound()
	if !b.Intersects(seen) {
		return orb.Point{}, false
	}
	b = orb.Bound{Min: orb.Point{math.Max(b.Min[0], seen.Min[0]), math.Max(b.Min[1], seen.Min[1])}, Max: orb.Point{math.Min(b.Max[0], seen.Max[0]), math.Min(b.Max[1], seen.Max[1])}}
	var mp orb.MultiPolygon
	switch x := g.(type) {
	case orb.Polygon:
		mp = orb.MultiPolygon{x}
	case orb.MultiPolygon:
		mp = x
	case orb.LineString:
		// the place on the line, in steps, nearest the middle of what is seen
		best, found, least := orb.Point{}, false, math.Inf(1)
		n := shape.Length(x)
		for i := 0; i <= 60; i++ {
			p := shape.PointAt(x, n*unit.Length(i)/60)
			c := seen.Center()
			if d := math.Hypot(p[0]-c[0], p[1]-c[1]); seen.Contains(p) && d < least {
				best, found, least = p, true, d
			}
		}
		return best, found
	default:
		return b.Center(), true
	}
	best, found, least := orb.Point{}, false, math.Inf(1)
	c := b.Center()
	for i := 1; i < 8; i++ {
		for j := 1; j < 8; j++ {
			p := orb.Point{b.Min[0] + (b.Max[0]-b.Min[0])*float64(i)/8, b.Min[1] + (b.Max[1]-b.Min[1])*float64(j)/8}
			if d := math.Hypot(p[0]-c[0], p[1]-c[1]); d < least && shape.Locate(p, mp) == shape.Inside {
				best, found, least = p, true, d
			}
		}
	}
	return best, found
}

// locating is the letter and the colour of an existing line: the colours of
// utility locating (P-16).
func locating(o *parcels.Obstacle) (string, ink) {
	kind := o.Kind
	var u string
	if json.Unmarshal(o.Properties["utility"], &u) == nil && u != "" {
		kind = u
	}
	switch kind {
	case "electric", "power":
		return "E", ink{200, 0, 0}
	case "gas", "oil":
		return "G", ink{176, 140, 0}
	case "telecom", "communication", "cable", "telephone":
		return "T", ink{226, 110, 0}
	case "water":
		return "W", ink{0, 70, 190}
	case "sewer", "sanitary", "existing_drain", "storm":
		return "S", ink{0, 120, 50}
	case "irrigation":
		return "I", ink{120, 40, 140}
	case "fence":
		return "x", grey
	}
	return "U", grey
}

// tag writes a line's letter along it, in its gaps.
func tag(p *page, l []xy, room rect, letter string, c ink) {
	every, next := 70.0, 26.0
	for i := 1; i < len(l); i++ {
		a, b := l[i-1], l[i]
		n := math.Hypot(b.x-a.x, b.y-a.y)
		for next < n {
			x := xy{a.x + (b.x-a.x)*next/n, a.y + (b.y-a.y)*next/n}
			next += every
			if x.x < room.x+4 || x.x > room.x+room.w-4 || x.y < room.y+4 || x.y > room.y+room.h-4 {
				continue
			}
			w := width(letter, 5.5, true)
			p.box(x.x-w/2-0.8, x.y-3.2, w+1.6, 6.4, &white, nil, 0)
			p.words(xy{x.x - w/2, x.y + 2}, 5.5, true, c, letter)
		}
		next -= n
	}
}

// arrow draws a flow arrow at a share of the way.
func arrow(p *page, a, b xy, f float64, c ink) {
	n := math.Hypot(b.x-a.x, b.y-a.y)
	ux, uy := (b.x-a.x)/n, (b.y-a.y)/n
	t := xy{a.x + (b.x-a.x)*f + ux*4, a.y + (b.y-a.y)*f + uy*4}
	p.area(&c, &white, 0.4, t, xy{t.x - 8*ux - 3.4*uy, t.y - 8*uy + 3.4*ux}, xy{t.x - 8*ux + 3.4*uy, t.y - 8*uy - 3.4*ux})
}

// column is what stands beside the plan: north, scale bar, legend, notes.
func (d *draft) column(g drawing, r rect, sc scale, used map[string]bool, perforated bool, unlabelled int) {
	g.line(0.8, black, nil, xy{r.x, r.y}, xy{r.x, r.y + r.h})
	x, y := r.x+10, r.y+14
	// north is up: the grid's
	c := xy{r.x + 24, y + 18}
	g.area(&black, &black, 0.6, xy{c.x, c.y - 18}, xy{c.x - 6, c.y + 10}, xy{c.x, c.y + 5})
	g.area(&white, &black, 0.6, xy{c.x, c.y - 18}, xy{c.x + 6, c.y + 10}, xy{c.x, c.y + 5})
	g.words(xy{c.x - 3, c.y + 20}, 9, true, black, "N")
	g.words(xy{c.x + 18, y + 8}, 7, true, black, sc.said)
	g.words(xy{c.x + 18, y + 17}, 5.5, false, grey, "grid north; true at full size")
	w := float64(sc.bar) * sc.per / 2
	for i := 0; i < 2; i++ {
		fill := black
		if i == 1 {
			fill = white
		}
		g.box(c.x+18+float64(i)*w/1.0*0.5, y+22, w*0.5, 4, &fill, &black, 0.6)
	}
	half := unit.Length(float64(sc.bar) / 2)
	g.words(xy{c.x + 18, y + 33}, 5.5, false, black, "0")
	end := d.u.Distance(half)
	g.words(xy{c.x + 18 + w - width(end, 5.5, false)/2, y + 33}, 5.5, false, black, end)
	y += 56
	g.words(xy{x, y}, 8, true, black, "LEGEND")
	y += 10
	row := func(draw func(a xy), text string) {
		draw(xy{x, y - 2})
		for i, l := range wrap(text, r.w-50, 6.2, false) {
			g.words(xy{x + 34, y + 7.4*float64(i)}, 6.2, false, black, l)
			if i > 0 {
				y += 7.4
			}
		}
		y += 10
	}
	stroke := func(w float64, c ink, dash []float64) func(a xy) {
		return func(a xy) { g.line(w, c, dash, a, xy{a.x + 27, a.y}) }
	}
	row(func(a xy) {
		g.line(1.9, navy, nil, a, xy{a.x + 27, a.y})
		arrow(g.page, a, xy{a.x + 27, a.y}, 0.5, navy)
	}, "new solid pipe, flow")
	if perforated {
		row(stroke(1.9, navy, []float64{5, 2.2}), "new perforated pipe")
	}
	row(func(a xy) { g.circle(xy{a.x + 13, a.y}, 2.9, &navy, &white, 0.5) }, "downspout, inv = pipe invert")
	row(func(a xy) { g.box(a.x+10, a.y-3.2, 6.4, 6.4, &white, &navy, 1.1) }, "basin with grate")
	row(func(a xy) { g.circle(xy{a.x + 13, a.y}, 2.6, &white, &navy, 0.9) }, "CO: cleanout")
	row(func(a xy) { g.circle(xy{a.x + 13, a.y}, 1.3, &navy, nil, 0) }, "P: wye, bend or reducer")
	row(func(a xy) {
		g.box(a.x+9, a.y-4, 8, 8, &white, &black, 1.1)
		g.line(0.8, black, nil, xy{a.x + 9, a.y - 4}, xy{a.x + 17, a.y + 4})
		g.line(0.8, black, nil, xy{a.x + 9, a.y + 4}, xy{a.x + 17, a.y - 4})
	}, "storm structure tied into")
	row(stroke(1.3, black, []float64{14, 3, 3, 3, 3, 3}), "lot line ("+d.lineSource()+")")
	for _, k := range []struct {
		key  string
		draw func(a xy)
		text string
	}{
		{"building", func(a xy) { g.box(a.x+2, a.y-4, 22, 7, &ink{222, 222, 222}, &black, 0.9) }, "building"},
		{"paving", func(a xy) { g.box(a.x+2, a.y-4, 22, 7, &ink{244, 244, 244}, &pale, 0.4) }, "paving, street"},
		{"easement", stroke(0.6, grey, []float64{6, 2, 1.5, 2}), "easement"},
		{"swale", stroke(0.7, grey, []float64{1, 2}), "swale"},
		{"tree", func(a xy) {
			g.circle(xy{a.x + 13, a.y}, 4.5, nil, &pale, 0.5)
			g.circle(xy{a.x + 13, a.y}, 1.4, &grey, nil, 0)
		}, "tree, root zone"},
		{"opening", func(a xy) {
			g.area(&white, &black, 0.7, xy{a.x + 13, a.y - 3}, xy{a.x + 16, a.y + 2.4}, xy{a.x + 10, a.y + 2.4})
		}, "lowest opening of a house"},
	} {
		if used[k.key] {
			row(k.draw, k.text)
		}
	}
	for _, k := range []struct{ letter, kind, text string }{{"E", "electric", "electric"}, {"G", "gas", "gas"}, {"T", "telecom", "telecom"}, {"W", "water", "water"}, {"S", "sewer", "existing sewer or drain"}, {"I", "irrigation", "irrigation"}, {"U", "", "utility, kind not known"}, {"x", "fence", "fence"}} {
		if used[k.letter] {
			o := &parcels.Obstacle{Kind: k.kind}
			_, c := locating(o)
			row(func(a xy) {
				g.line(0.8, c, []float64{7, 3}, a, xy{a.x + 27, a.y})
				tag(g.page, []xy{{a.x - 12, a.y}, {a.x + 27, a.y}}, rect{a.x - 20, a.y - 20, 80, 40}, k.letter, c)
			}, k.text+" (as mapped, not located)")
		}
	}
	y += 4
	g.words(xy{x, y}, 8, true, black, "NOTES")
	y += 3
	notes := []string{
		"Lines of pipes stand in the table of runs; lines A, B, ... are drawn in profile.",
		fmt.Sprintf("Elevations in %s, %s. Benchmark: %s.", d.u.LengthUnit(), orNone(d.s.VerticalDatum), orNone(d.s.Benchmark)),
		"Worked in: " + d.p.Frame.Plane + ".",
		"Call the utility locating service before digging. " + "Never connect to a sanitary or combined sewer.",
	}
	if unlabelled > 0 {
		notes = append(notes, fmt.Sprintf("%d names had no room here; the table of runs and points has them all.", unlabelled))
	}
	for i, n := range notes {
		for j, l := range wrap(n, r.w-26, 6, false) {
			if y+8 > r.y+r.h-4 {
				return
			}
			y += 7.4
			if j == 0 {
				g.words(xy{x, y}, 6, false, black, fmt.Sprintf("%d.", i+1))
			}
			g.words(xy{x + 10, y}, 6, false, black, l)
		}
		y += 2
	}
}

func (d *draft) lineSource() string {
	for _, id := range d.p.Summary.Lots {
		if l := d.s.Lot(id); l != nil && len(l.LineSources) > 0 {
			switch l.LineSources[0] {
			case parcels.LineSurvey:
				return "by survey"
			case parcels.LinePins:
				return "by pins"
			}
			return "from a map: approximate, no survey"
		}
	}
	return "source not given: no survey"
}
