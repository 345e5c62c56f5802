package sheet

// The plan, true to scale.

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/paulmach/orb"

	"fallwright/geo/ground"
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
		for _, n := range [][2]float64{{50, 1}, {100, 2}, {200, 5}, {250, 5}, {500, 10}, {1000, 20}, {2000, 50}} {
			out = append(out, scale{72 / 0.0254 / n[0], fmt.Sprintf("1:%.0f", n[0]), unit.Length(n[1])})
		}
		return out
	}
	for _, n := range []float64{5, 10, 20, 30, 40, 50, 60, 100, 200, 400} {
		out = append(out, scale{72 / (n * 0.3048), fmt.Sprintf("1 in = %.0f ft", n), unit.Length(n) * unit.Foot})
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
	for _, v := range d.planViews(w, h) {
		all = append(all, made{v.drawing, v.title, v.said})
	}
	gs, saids := d.profiles(w, h)
	for i := range gs {
		all = append(all, made{gs[i], "Profiles", saids[i]})
	}
	g, said := d.details(w, h)
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

// view is a drawn plan.
type view struct {
	drawing
	title, said string
}

// window is the piece of ground that a plan shows.
type window struct {
	sc     scale
	centre orb.Point
	// core is the piece that is this sheet's own; the ground beyond it is drawn on
	// the sheets named in beyond (left, right, below, above; 0: none).
	core   *orb.Bound
	beyond [4]int
	// tiles are shown on a key plan, with the number of their sheet.
	tiles []tile
	// owner leaves out what an owner does not read: levels, joints, utilities.
	owner bool
}

type tile struct {
	core  orb.Bound
	sheet int
}

// coarsest is the scale below which a plan is not read on site: beyond it the
// plan goes over several sheets.
func coarsest(u display.Units) scale {
	for _, s := range scales(u) {
		if s.said == "1 in = 50 ft" || s.said == "1:500" {
			return s
		}
	}
	panic("sheet: no such scale")
}

const mostTiles = 60

// planViews are the plan, on one sheet where it fits at a scale that can be
// read, else a key plan and sheets with match lines.
func (d *draft) planViews(w, h float64) []view {
	b := d.bound()
	room := planRoom(newDrawing(w, h))
	one := window{sc: fit(d.u, b.Max[0]-b.Min[0], b.Max[1]-b.Min[1], room.w-8, room.h-8), centre: b.Center()}
	least := coarsest(d.u)
	if one.sc.per >= least.per {
		return []view{d.planView(w, h, one, "Plan")}
	}
	// tiles a little smaller than the room, so that the ground about a match line
	// is seen on both sheets
	tw, th := (room.w-2*lap)/least.per, (room.h-2*lap)/least.per
	across, down := math.Ceil((b.Max[0]-b.Min[0])/tw), math.Ceil((b.Max[1]-b.Min[1])/th)
	if !(across*down <= mostTiles*4) { // a whole town
		return []view{d.planView(w, h, one, "Plan")}
	}
	cols, rows := int(across), int(down)
	c := b.Center()
	number := map[[2]int]int{}
	cores := map[[2]int]orb.Bound{}
	var order [][2]int
	for j := rows - 1; j >= 0; j-- { // from the upper left, as one reads
		for i := 0; i < cols; i++ {
			x, y := c[0]+(float64(i)-float64(cols)/2)*tw, c[1]+(float64(j)-float64(rows)/2)*th
			core := orb.Bound{Min: orb.Point{x, y}, Max: orb.Point{x + tw, y + th}}
			holds := slices.ContainsFunc(d.p.Runs, func(r parcels.Run) bool { return crosses(r.Line, core) })
			if holds && len(order) < mostTiles {
				k := [2]int{i, j}
				order, cores[k], number[k] = append(order, k), core, len(order)+2
			}
		}
	}
	key := one
	for _, k := range order {
		key.tiles = append(key.tiles, tile{cores[k], number[k]})
	}
	out := []view{d.planView(w, h, key, "Key plan")}
	for n, k := range order {
		core := cores[k]
		win := window{sc: least, centre: core.Center(), core: &core}
		for side, step := range [4][2]int{{-1, 0}, {1, 0}, {0, -1}, {0, 1}} {
			win.beyond[side] = number[[2]int{k[0] + step[0], k[1] + step[1]}]
		}
		out = append(out, d.planView(w, h, win, fmt.Sprintf("Plan, part %d of %d", n+1, len(order))))
	}
	return out
}

const lap = 20.0 // points beyond a match line

// crosses says whether a line has a part in a box.
func crosses(l orb.LineString, b orb.Bound) bool {
	r := rect{b.Min[0], b.Min[1], b.Max[0] - b.Min[0], b.Max[1] - b.Min[1]}
	for i := 1; i < len(l); i++ {
		if r.cuts(xy{l[i-1][0], l[i-1][1]}, xy{l[i][0], l[i][1]}) {
			return true
		}
	}
	return false
}

// planRoom is what the column beside the plan leaves of a sheet.
func planRoom(g drawing) rect { return rect{g.in.x, g.in.y, g.in.w - side, g.in.h} }

// bound is the ground that the plan must show: its lots and runs.
func (d *draft) bound() orb.Bound {
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
	return b.Pad(2)
}

// planView draws what a window shows from above.
func (d *draft) planView(w, h float64, win window, title string) view {
	g := newDrawing(w, h)
	room := planRoom(g)
	sc, c := win.sc, win.centre
	key := len(win.tiles) > 0
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
	own := seen // where names are this sheet's
	if win.core != nil {
		own = *win.core
	}
	pl := &placer{area: rect{room.x + 2, room.y + 2, room.w - 4, room.h - 4}}
	for i := range d.p.Runs {
		if l := d.p.Runs[i].Line; l.Bound().Intersects(seen) {
			pl.drains = append(pl.drains, [2]xy{at(l[0]), at(l[len(l)-1])})
		}
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
		if win.owner && (must == 3 || must == 8) {
			return
		}
		if own.Contains(p) && (!key || must == 0 || must >= 4) {
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
			if x, ok := inside(geo, own); ok {
				say(8, x, 6, false, grey, strings.ReplaceAll(siting.Label(st.Common), "_", " ")+" (street)")
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
	plain := key || win.owner
	if !plain {
		used["contour"] = d.contours(g, path, seen, sc, say)
	}
	for i := range d.s.Buildings {
		rings(d.s.Buildings[i].Shape, func(r orb.Ring, hole bool) {
			used["building"] = true
			if hole {
				g.area(&white, &black, 0.9, path(r)...)
				return
			}
			g.area(&sheetHouse, &black, 0.9, path(r)...)
			pl.edge(path(r))
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
		if x, ok := inside(e.Geometry, own); ok {
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
		drained := slices.Contains(d.p.Summary.Lots, l.ID)
		for _, p := range l.Shape {
			for _, r := range p {
				if !r.Bound().Intersects(seen) {
					continue
				}
				if drained {
					g.line(1.3, black, []float64{14, 3, 3, 3, 3, 3}, path(r)...)
					pl.edge(path(r))
				} else {
					g.line(0.5, grey, []float64{14, 3, 3, 3, 3, 3}, path(r)...)
				}
			}
		}
		if x, ok := inside(l.Shape, own); ok {
			if drained {
				say(4, x, 9, true, black, "LOT "+l.ID)
			} else {
				say(7, x, 6.5, false, grey, "lot "+l.ID)
			}
		}
	}
	for i := range d.s.Obstacles {
		o := &d.s.Obstacles[i]
		if !o.Geometry.Bound().Pad(5).Intersects(seen) || win.owner && o.Kind != "tree" {
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
			pl.taken = append(pl.taken, tag(g.page, path(l), room, letter, c)...)
		case "well":
			if p, ok := o.Geometry.(orb.Point); ok {
				g.circle(at(p), 3, &white, &grey, 0.8)
				say(6, p, 5.5, false, grey, "well")
			}
		}
	}
	if !plain {
		for i := range d.p.Overflow {
			o := &d.p.Overflow[i]
			if len(o.Path) < 2 || !o.Path.Bound().Intersects(seen) {
				continue
			}
			used["overflow"] = true
			l := path(o.Path)
			g.line(0.8, grey, []float64{0.8, 2.6}, l...)
			arrows(g.page, l, pl.area)
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
		if !seen.Contains(pt.At) {
			continue
		}
		switch pt.Kind {
		case parcels.PointInlet, parcels.PointOutlet:
			end := []string{pt.ID, "rim " + display.Or(pt.Rim, d.u.Elevation), "pipe in " + display.Or(pt.Invert, d.u.Elevation)}
			if pt.Kind == parcels.PointInlet {
				structure(g.page, x)
			} else {
				openEnd(g.page, x)
				end = []string{pt.ID, "pipe ends " + display.Or(pt.Invert, d.u.Elevation)}
			}
			pl.taken = append(pl.taken, rect{x.x - 5, x.y - 5, 10, 10})
			if win.owner {
				say(0, pt.At, 7.5, true, black, "outlet "+pt.ID)
				continue
			}
			say(0, pt.At, 7, true, black, end...)
		case parcels.PointIntake, parcels.PointBasin:
			if slices.ContainsFunc(pt.Fittings, func(f string) bool { return strings.Contains(f, "basin") }) {
				g.box(x.x-3.2, x.y-3.2, 6.4, 6.4, &white, &navy, 1.1)
			} else {
				g.circle(x, 2.9, &navy, &white, 0.5)
			}
			pl.taken = append(pl.taken, rect{x.x - 3.5, x.y - 3.5, 7, 7})
			if win.owner {
				say(1, pt.At, 6.5, false, black, pt.ID)
				continue
			}
			say(1, pt.At, 6.5, true, black, pt.ID, "inv "+display.Or(pt.Invert, d.u.Elevation))
		case parcels.PointCleanout:
			g.circle(x, 2.6, &white, &navy, 0.9)
			pl.taken = append(pl.taken, rect{x.x - 3, x.y - 3, 6, 6})
			if win.owner {
				say(2, pt.At, 6, false, navy, "cleanout")
				continue
			}
			say(2, pt.At, 5.5, false, navy, "CO "+pt.ID)
		default:
			g.circle(x, 1.3, &navy, nil, 0)
			pl.taken = append(pl.taken, rect{x.x - 1.5, x.y - 1.5, 3, 3})
			say(3, pt.At, 5.5, false, navy, pt.ID)
		}
	}
	for _, op := range d.s.Openings {
		if !win.owner && seen.Contains(op.At) {
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
		if !win.owner && float64(l.Length)*sc.per > 24 {
			mid := lineAt(l, l.Length*0.72)
			say(2, mid, 7, true, navy, "line "+l.Name)
		}
	}
	slices.SortStableFunc(labels, func(a, b label) int { return a.must - b.must })
	for _, l := range labels {
		if !pl.put(g.page, at(l.at), l.size, l.bold, l.c, l.lines...) && (l.must < 4 || l.bold) {
			unlabelled++ // a name that stands for nothing beyond the lot is no loss
		}
	}
	for _, t := range win.tiles {
		a, z := at(t.core.Min), at(t.core.Max)
		g.box(a.x, z.y, z.x-a.x, a.y-z.y, nil, &black, 1)
		name := fmt.Sprintf("sheet %d", t.sheet)
		g.box(a.x+2, z.y+2, width(name, 8, true)+4, 11, &white, nil, 0)
		g.words(xy{a.x + 4, z.y + 10.5}, 8, true, black, name)
	}
	g.unclip()
	d.matchLines(g, room, win, at)
	d.column(g, rect{room.x + room.w, room.y, side, room.h}, win, used, perforated, unlabelled)
	return view{g, title, sc.said}
}

// matchLines marks where a sheet's own ground ends, and the sheet that goes on.
func (d *draft) matchLines(g drawing, room rect, win window, at func(orb.Point) xy) {
	if win.core == nil {
		return
	}
	a, z := at(win.core.Min), at(win.core.Max) // lower left, upper right
	dash := []float64{18, 4, 4, 4}
	for side, sheet := range win.beyond {
		if sheet == 0 {
			continue
		}
		name := fmt.Sprintf("MATCH LINE, see sheet %d", sheet)
		w := width(name, 7, true)
		switch side {
		case 0, 1:
			x, tx := a.x, a.x-4
			if side == 1 {
				x, tx = z.x, z.x+10
			}
			g.line(1.4, black, dash, xy{x, room.y}, xy{x, room.y + room.h})
			y := room.y + room.h/2
			g.box(tx-7.5, y-w/2-2, 10, w+4, &white, nil, 0)
			g.marks = append(g.marks, mark{text: name, at: xy{tx, y + w/2}, size: 7, bold: true, angle: 90, ink: black})
		default:
			y, ty := a.y, a.y+10
			if side == 3 {
				y, ty = z.y, z.y-4
			}
			g.line(1.4, black, dash, xy{room.x, y}, xy{room.x + room.w, y})
			x := room.x + room.w/2
			g.box(x-w/2-2, ty-7.5, w+4, 10, &white, nil, 0)
			g.words(xy{x - w/2, ty}, 7, true, black, name)
		}
	}
}

// interval between contours at a scale: so that they stand apart on paper.
func interval(u display.Units, sc scale) unit.Length {
	if u == display.SI {
		switch {
		case sc.per >= 72/0.0254/250-1e-9:
			return 0.25
		case sc.per >= 72/0.0254/500-1e-9:
			return 0.5
		}
		return 1
	}
	switch {
	case sc.per >= 72/(50*0.3048)-1e-9:
		return 1 * unit.Foot
	case sc.per >= 72/(100*0.3048)-1e-9:
		return 2 * unit.Foot
	}
	return 5 * unit.Foot
}

// contours draws the ground as it lies, every fifth line heavier and named. It
// says whether there was any.
func (d *draft) contours(g drawing, path func([]orb.Point) []xy, seen orb.Bound, sc scale, say func(int, orb.Point, float64, bool, ink, ...string)) bool {
	if d.ground == nil {
		return false
	}
	lines, err := ground.Contours(d.ground, ground.Contouring{Interval: interval(d.u, sc), Within: &seen})
	if err != nil {
		return false // levels that cannot be meant, or a surface of another kind: the sheet does without
	}
	for _, l := range lines {
		w := 0.3
		if l.Number%5 == 0 {
			w = 0.6
		}
		g.line(w, earth, nil, path(l.Line)...)
		// the name: on the part that is seen, longest first come
		var inSight []orb.Point
		length := 0.0
		for i, p := range l.Line {
			if seen.Contains(p) {
				inSight = append(inSight, p)
				if i > 0 {
					length += math.Hypot(p[0]-l.Line[i-1][0], p[1]-l.Line[i-1][1])
				}
			}
		}
		if len(inSight) > 2 && length*sc.per > 60 {
			say(9, inSight[len(inSight)/2], 5.2, false, earth, level(d.u, l.Elevation))
		}
	}
	return len(lines) > 0
}

// level names a contour, without digits that its interval does not need.
func level(u display.Units, e unit.Elevation) string {
	if u == display.SI {
		return trim(float64(e))
	}
	return trim(unit.Length(e).Feet())
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

// tag writes a line's letter along it, in its gaps, and says where.
func tag(p *page, l []xy, room rect, letter string, c ink) (taken []rect) {
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
			r := rect{x.x - w/2 - 0.8, x.y - 3.2, w + 1.6, 6.4}
			p.box(r.x, r.y, r.w, r.h, &white, nil, 0)
			p.words(xy{x.x - w/2, x.y + 2}, 5.5, true, c, letter)
			taken = append(taken, r)
		}
		next -= n
	}
	return taken
}

// structure draws a storm structure at x, openEnd a place where a pipe lets its water out.
func structure(p *page, x xy) {
	p.box(x.x-4, x.y-4, 8, 8, &white, &black, 1.1)
	p.line(0.8, black, nil, xy{x.x - 4, x.y - 4}, xy{x.x + 4, x.y + 4})
	p.line(0.8, black, nil, xy{x.x - 4, x.y + 4}, xy{x.x + 4, x.y - 4})
}

func openEnd(p *page, x xy) {
	p.box(x.x-4, x.y-4, 8, 8, &white, &black, 1.1)
	p.circle(x, 2, &white, &black, 0.8)
}

// arrow draws a flow arrow at a share of the way.
func arrow(p *page, a, b xy, f float64, c ink) {
	n := math.Hypot(b.x-a.x, b.y-a.y)
	ux, uy := (b.x-a.x)/n, (b.y-a.y)/n
	t := xy{a.x + (b.x-a.x)*f + ux*4, a.y + (b.y-a.y)*f + uy*4}
	p.area(&c, &white, 0.4, t, xy{t.x - 8*ux - 3.4*uy, t.y - 8*uy + 3.4*ux}, xy{t.x - 8*ux + 3.4*uy, t.y - 8*uy - 3.4*ux})
}

// arrows are small open heads along a way of water.
func arrows(p *page, l []xy, area rect) {
	every, next := 60.0, 24.0
	for i := 1; i < len(l); i++ {
		a, b := l[i-1], l[i]
		n := math.Hypot(b.x-a.x, b.y-a.y)
		for next < n {
			t := xy{a.x + (b.x-a.x)*next/n, a.y + (b.y-a.y)*next/n}
			next += every
			if (rect{t.x - 4, t.y - 4, 8, 8}).within(area) {
				ux, uy := (b.x-a.x)/n, (b.y-a.y)/n
				p.line(0.8, grey, nil, xy{t.x - 4*ux - 2.2*uy, t.y - 4*uy + 2.2*ux}, t, xy{t.x - 4*ux + 2.2*uy, t.y - 4*uy - 2.2*ux})
			}
		}
		next -= n
	}
}

// column is what stands beside the plan: north, scale bar, legend, notes.
func (d *draft) column(g drawing, r rect, win window, used map[string]bool, perforated bool, unlabelled int) {
	sc := win.sc
	g.line(0.8, black, nil, xy{r.x, r.y}, xy{r.x, r.y + r.h})
	x, y := r.x+10, r.y+14
	// north is up: the grid's
	c := xy{r.x + 24, y + 18}
	g.area(&black, &black, 0.6, xy{c.x, c.y - 18}, xy{c.x - 6, c.y + 10}, xy{c.x, c.y + 5})
	g.area(&white, &black, 0.6, xy{c.x, c.y - 18}, xy{c.x + 6, c.y + 10}, xy{c.x, c.y + 5})
	g.words(xy{c.x - 3, c.y + 20}, 9, true, black, "N")
	g.words(xy{c.x + 18, y + 8}, 7, true, black, sc.said)
	g.words(xy{c.x + 18, y + 17}, 5.5, false, grey, "grid north; true at full size")
	w := float64(sc.bar) * sc.per
	for i := 0; i < 2; i++ {
		fill := black
		if i == 1 {
			fill = white
		}
		g.box(c.x+18+float64(i)*w*0.5, y+22, w*0.5, 4, &fill, &black, 0.6)
	}
	g.words(xy{c.x + 18, y + 33}, 5.5, false, black, "0")
	end := d.u.Step(sc.bar)
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
	downspout, cleanout := "downspout, inv = pipe invert", "CO: cleanout"
	if win.owner {
		downspout, cleanout = "downspout", "cleanout, where the pipe is rinsed"
	}
	row(func(a xy) { g.circle(xy{a.x + 13, a.y}, 2.9, &navy, &white, 0.5) }, downspout)
	row(func(a xy) { g.box(a.x+10, a.y-3.2, 6.4, 6.4, &white, &navy, 1.1) }, "basin with grate")
	row(func(a xy) { g.circle(xy{a.x + 13, a.y}, 2.6, &white, &navy, 0.9) }, cleanout)
	if !win.owner {
		row(func(a xy) { g.circle(xy{a.x + 13, a.y}, 1.3, &navy, nil, 0) }, "P: wye, bend or reducer")
	}
	ends := func(kind parcels.PointKind) bool {
		return slices.ContainsFunc(d.p.Points, func(pt parcels.Point) bool { return pt.Kind == kind })
	}
	if ends(parcels.PointInlet) {
		row(func(a xy) { structure(g.page, xy{a.x + 13, a.y}) }, "storm structure tied into")
	}
	if ends(parcels.PointOutlet) {
		row(func(a xy) { openEnd(g.page, xy{a.x + 13, a.y}) }, "open end (swale, slope, curb, emitter)")
	}
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
		{"contour", stroke(0.5, earth, nil), "ground as it lies, every " + d.u.Step(interval(d.u, sc))},
		{"overflow", func(a xy) {
			g.line(0.8, grey, []float64{0.8, 2.6}, a, xy{a.x + 27, a.y})
			arrows(g.page, []xy{{a.x - 8, a.y}, {a.x + 27, a.y}}, rect{a.x - 20, a.y - 20, 80, 40})
		}, "way of the water when a grate is clogged"},
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
	if win.owner {
		notes = []string{"To show what is meant; it is not built from. The plan and profile sheets have the levels.", "Lines of electricity, gas, water and telephone are not shown: the locating service marks them before digging.", "Worked in: " + d.p.Frame.Plane + "."}
	} else if unlabelled > 0 {
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
