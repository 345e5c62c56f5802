package sheet

// The trench sections from the plan's own sizes, the notes, and the table of runs.

import (
	"fmt"
	"math"
	"strings"

	"fallwright/geo/unit"
	"fallwright/parcels"
	"fallwright/parcels/display"
)

// dim writes a trench dimension: inches, or millimetres.
func (d *draft) dim(l unit.Length) string {
	if d.u == display.SI {
		return fmt.Sprintf("%.0f mm", float64(l)*1000)
	}
	return display.Inches(l)
}

// sectionOf is a kind of trench in the plan.
type sectionOf struct {
	title       string
	w, od       unit.Length
	depth       unit.Length // mean of the trenches of this kind, or the least that holds
	pipes       []string    // solid, perforated
	french      bool
	wall        unit.Length
	least, most *unit.Length
}

// sections are the kinds of trench that the plan holds.
func (d *draft) sections() []sectionOf {
	var out []sectionOf
	index := map[string]int{}
	for i := range d.p.Trenches {
		t := &d.p.Trenches[i]
		var s sectionOf
		s.w = t.Width
		size, seen := "", map[string]bool{}
		for _, id := range t.Runs {
			r := d.p.Run(id)
			if r == nil {
				continue
			}
			size = d.u.Size(r.Size, r.Diameter)
			s.od = max(s.od, unit.Length(r.OutsideDiameter/1000))
			s.wall = unit.Length((r.OutsideDiameter - r.Diameter) / 2000)
			key := r.Pipe
			if !seen[key] {
				seen[key] = true
				for k := 0; k < max(r.PipeCount, 1); k++ {
					s.pipes = append(s.pipes, r.Pipe)
				}
			}
			s.french = s.french || r.Pipe == "perforated"
		}
		s.title = fmt.Sprintf("%s %s", size, strings.Join(s.pipes, " and "))
		key := fmt.Sprintf("%s/%.3f", s.title, float64(s.w))
		k, ok := index[key]
		if !ok {
			k = len(out)
			index[key] = k
			out = append(out, s)
		}
		if t.LeastDepth != nil && (out[k].least == nil || *t.LeastDepth < *out[k].least) {
			out[k].least = t.LeastDepth
		}
		if t.GreatestDepth != nil && (out[k].most == nil || *t.GreatestDepth > *out[k].most) {
			out[k].most = t.GreatestDepth
		}
	}
	for k := range out {
		s := &out[k]
		s.depth = d.c.Trench.Bedding + s.od + d.c.Trench.OverPipe + d.c.Trench.Cap
		if s.least != nil && s.most != nil {
			s.depth = (*s.least + *s.most) / 2
		}
	}
	return out
}

// details draws the sections on the left and the notes and cautions on the right.
func (d *draft) details(w, h float64) (drawing, string) {
	g := newDrawing(w, h)
	ss := d.sections()
	leftW := g.in.w * 0.6
	var sc scale
	said := "none"
	if len(ss) > 0 {
		deep, wide := 0.0, 0.0
		for _, s := range ss {
			deep, wide = math.Max(deep, float64(s.depth)), math.Max(wide, float64(s.w))
		}
		cols := 2
		if len(ss) == 1 {
			cols = 1
		}
		lines := int(math.Ceil(float64(len(ss)) / float64(cols)))
		cw, ch := leftW/float64(cols), g.in.h/float64(lines)
		// 1 in = 1/2, 1, 2, 4 ft or 1:10, 1:20, 1:50
		for _, n := range []float64{0.5, 1, 1.5, 2, 3, 4, 6, 8, 12} {
			sc = scale{per: 72 / (n * 0.3048), said: fmt.Sprintf("1 in = %g ft", n)}
			if d.u == display.SI {
				m := map[float64]float64{0.5: 5, 1: 10, 1.5: 15, 2: 20, 3: 30, 4: 50, 6: 75, 8: 100, 12: 150}[n]
				sc = scale{per: 72 / 0.0254 / m, said: fmt.Sprintf("1:%g", m)}
			}
			if wide*sc.per <= cw-145 && deep*sc.per <= ch-72 {
				break
			}
		}
		said = "sections " + sc.said
		for i, s := range ss {
			d.section(g, s, rect{g.in.x + float64(i%cols)*cw, g.in.y + float64(i/cols)*ch, cw, ch}, sc)
		}
	} else {
		g.words(xy{g.in.x + 12, g.in.y + 24}, 9, false, black, "The plan has no trench.")
	}
	x, y := g.in.x+leftW+10, g.in.y+14
	g.line(0.8, black, nil, xy{g.in.x + leftW, g.in.y}, xy{g.in.x + leftW, g.in.y + g.in.h})
	room := g.in.w - leftW - 20
	put := func(head string, rows []string) {
		g.words(xy{x, y}, 8, true, black, head)
		y += 2
		for i, r := range rows {
			ls := wrap(r, room-12, 6.3, false)
			if y+float64(len(ls))*7.6 > g.in.y+g.in.h-6 {
				g.words(xy{x, y + 8}, 6.3, true, black, fmt.Sprintf("%d more in the permit narrative.", len(rows)-i))
				y += 10
				break
			}
			for j, l := range ls {
				y += 7.6
				if j == 0 {
					g.words(xy{x, y}, 6.3, false, black, fmt.Sprintf("%d.", i+1))
				}
				g.words(xy{x + 12, y}, 6.3, false, black, l)
			}
			y += 1.6
		}
		y += 13
	}
	put("CAUTIONS", d.p.Cautions)
	put("CONSTRUCTION NOTES", d.notes)
	return g, said
}

func cite(f parcels.Finding) string {
	if f.Source == "" {
		return ""
	}
	return " [" + f.Source + "]"
}

// section draws one trench section in a cell.
func (d *draft) section(g drawing, s sectionOf, r rect, sc scale) {
	c := d.c
	w, deep := float64(s.w)*sc.per, float64(s.depth)*sc.per
	g.words(xy{r.x + 10, r.y + 16}, 8, true, black, "TRENCH: "+s.title)
	rangeText := "depth not known"
	if s.least != nil && s.most != nil {
		rangeText = "ground to trench bottom " + d.u.Length(*s.least) + " to " + d.u.Length(*s.most) + "; drawn at the middle"
	}
	for i, l := range wrap(rangeText, r.w-20, 6, false) {
		g.words(xy{r.x + 10, r.y + 25 + 7*float64(i)}, 6, false, grey, l)
	}
	x0, y0 := r.x+52, r.y+46
	y1 := y0 + deep
	capT, bed, od, over := float64(c.Trench.Cap)*sc.per, float64(c.Trench.Bedding)*sc.per, float64(s.od)*sc.per, float64(c.Trench.OverPipe)*sc.per
	stoneTop := y1 - bed - od - over
	if s.french || stoneTop < y0+capT {
		stoneTop = y0 + capT
	}
	soil, stone := ink{214, 214, 214}, ink{248, 248, 248}
	g.box(x0, y0, w, deep, &white, nil, 0)
	g.box(x0, y0, w, capT, &soil, nil, 0)
	for x := x0 + 2; x < x0+w-1; x += 4 { // sod
		g.line(0.5, black, nil, xy{x, y0}, xy{x - 1.3, y0 - 4})
		g.line(0.5, black, nil, xy{x, y0}, xy{x + 1.3, y0 - 4})
	}
	g.box(x0, stoneTop, w, y1-stoneTop, &stone, nil, 0)
	// stones in a fixed pattern, clear of the pipe
	n := float64(len(s.pipes))
	gap := w / (n + 1)
	var centres []xy
	for k := range s.pipes {
		centres = append(centres, xy{x0 + gap*float64(k+1), y1 - bed - od/2})
	}
	k := 0
	for y := stoneTop + 3; y < y1-2; y += 5.2 {
		for x := x0 + 3 + 2.6*float64(k%2); x < x0+w-2; x += 5.2 {
			near := false
			for _, q := range centres {
				near = near || math.Hypot(x-q.x, y-q.y) < od/2+2.4
			}
			if !near {
				g.circle(xy{x, y}, 1.7, nil, &pale, 0.4)
			}
		}
		k++
	}
	for j, q := range centres {
		g.circle(q, od/2, &white, &navy, 1.4)
		if s.pipes[j] == "perforated" {
			for _, a := range []float64{0.25, 0.75, 0.4, 0.6} {
				s, co := math.Sincos(math.Pi * a * 1)
				g.circle(xy{q.x + od/2*co, q.y + od/2*s}, 1.2, &white, &navy, 0.3)
			}
		}
	}
	g.line(1.1, black, nil, xy{x0, y0}, xy{x0, y1}, xy{x0 + w, y1}, xy{x0 + w, y0})
	g.line(0.9, black, nil, xy{x0 - 14, y0}, xy{x0, y0})
	g.line(0.9, black, nil, xy{x0 + w, y0}, xy{x0 + w + 12, y0})
	if s.french && c.Trench.Wrap {
		g.line(1.1, black, []float64{3, 1.6}, xy{x0 + 1.6, stoneTop + 1.2}, xy{x0 + 1.6, y1 - 1.6}, xy{x0 + w - 1.6, y1 - 1.6}, xy{x0 + w - 1.6, stoneTop + 1.2}, xy{x0 + 1.6, stoneTop + 1.2})
	}
	// dimensions left, names right, spread
	bar := func(a, b float64, text string, off float64) {
		x := x0 - off
		g.line(0.4, black, nil, xy{x, a}, xy{x, b})
		g.line(0.4, black, nil, xy{x - 2, a}, xy{x + 2, a})
		g.line(0.4, black, nil, xy{x - 2, b}, xy{x + 2, b})
		g.words(xy{x - 3 - width(text, 5.8, false), (a+b)/2 + 2}, 5.8, false, black, text)
	}
	bar(y0, y0+capT, d.dim(c.Trench.Cap), 7)
	bar(stoneTop, y1-bed-od, d.dim(unit.Length((y1-bed-od-stoneTop)/sc.per)), 7)
	bar(y1-bed-od, y1-bed, d.dim(s.od), 7)
	bar(y1-bed, y1, d.dim(c.Trench.Bedding), 7)
	g.line(0.4, black, nil, xy{x0, y1 + 8}, xy{x0 + w, y1 + 8})
	g.line(0.4, black, nil, xy{x0, y1 + 5.5}, xy{x0, y1 + 10.5})
	g.line(0.4, black, nil, xy{x0 + w, y1 + 5.5}, xy{x0 + w, y1 + 10.5})
	t := d.dim(s.w)
	g.words(xy{x0 + w/2 - width(t, 5.8, false)/2, y1 + 16}, 5.8, false, black, t)
	type note struct {
		y    float64
		text string
	}
	notes := []note{{y0, "sod"}, {y0 + capT/2, "topsoil cap, taking in " + d.u.Intensity(c.Trench.CapIntake) + " or more"}}
	if stoneTop > y0+capT+2 {
		notes = append(notes, note{(y0 + capT + stoneTop) / 2, "backfill with dug soil, in lifts"})
	}
	if s.french && c.Trench.Wrap {
		notes = append(notes, note{stoneTop + 1, "filter fabric, lapped " + d.dim(c.Takeoff.FabricLap)})
	}
	notes = append(notes, note{stoneTop + 8, "washed open-graded stone"}, note{y1 - bed - od/2, s.title + ", outside " + d.dim(s.od)}, note{y1 - bed/2, "stone bedding"})
	y := math.Inf(-1)
	for _, nn := range notes {
		ls := wrap(nn.text, r.x+r.w-(x0+w+24)-4, 6, false)
		yy := math.Max(nn.y+2, y)
		g.line(0.35, grey, nil, xy{x0 + w - 4, nn.y}, xy{x0 + w + 14, yy - 2}, xy{x0 + w + 22, yy - 2})
		for _, l := range ls {
			g.words(xy{x0 + w + 24, yy}, 6, false, black, l)
			yy += 7.2
		}
		y = yy + 1.5
	}
}

// runTable are the sheets of runs and points.
func (d *draft) runTable(w, h float64) []drawing {
	var out []drawing
	f := &flow{w: w, h: h}
	start := func() {
		g := newDrawing(w, h)
		out = append(out, g)
		f.pages = append(f.pages, g.page)
		f.left, f.column, f.y = edge+10, w-2*edge-20, edge+6
		f.h = h - strip - edge + margin - 8
	}
	start()
	turned := func(head []string, share []float64, right string, rows [][]string) {
		for len(rows) > 0 || head != nil {
			n := 0
			for n < len(rows) && f.y+20+float64(n+1)*11 < h-edge-strip-8 {
				n++
			}
			if n == 0 && len(rows) > 0 {
				start()
				continue
			}
			f.table(head, share, right, rows[:n], 6)
			rows = rows[n:]
			if len(rows) == 0 {
				return
			}
			start()
		}
	}
	var rows [][]string
	for i := range d.p.Runs {
		r := &d.p.Runs[i]
		pipe := d.u.Size(r.Size, r.Diameter) + " " + r.Pipe
		if r.PipeCount > 1 {
			pipe = fmt.Sprintf("%d x %s", r.PipeCount, pipe)
		}
		mark := ""
		if r.LeadOff {
			mark = "first run"
		}
		if r.TieIn {
			mark = "tie-in"
		}
		rows = append(rows, []string{r.ID, r.From, r.To, string(r.Carries), pipe, d.u.Distance(r.Length), display.Or(r.Slope, d.u.Slope), display.Or(r.InvertUp, d.u.Elevation), display.Or(r.InvertDown, d.u.Elevation), display.Or(r.Flow, d.u.Flow), display.Or(r.Capacity, d.u.Flow), display.Or(r.Velocity, d.u.Velocity), display.Or(r.LeastCover, d.u.Length), display.Or(r.GreatestDepth, d.u.Length), display.Or(r.ChanceUnder, display.Chance), mark})
	}
	if len(rows) == 0 {
		rows = append(rows, []string{"none"})
		for len(rows[0]) < 16 {
			rows[0] = append(rows[0], "")
		}
	}
	turned([]string{"run", "from", "to", "carries", "pipe", "length", "slope", "invert up", "invert down", "flow", "full", "velocity", "cover", "deepest", "too flat by chance", ""}, []float64{5, 8, 8, 6, 12, 7, 7, 7, 7, 7, 8, 7, 7, 7, 5, 6}, "_____rrrrrrrrrr_", rows)
	rows = nil
	for i := range d.p.Points {
		p := &d.p.Points[i]
		at := d.s.Frame.Document(p.At)
		digits := 2
		if d.s.Frame.Geographic() {
			digits = 7
		}
		rows = append(rows, []string{p.ID, string(p.Kind), fmt.Sprintf("%.*f", digits, at[1]), fmt.Sprintf("%.*f", digits, at[0]), display.Or(p.Ground, d.u.Elevation), display.Or(p.Rim, d.u.Elevation), display.Or(p.Invert, d.u.Elevation), display.Or(p.Depth, d.u.Length), display.Or(p.WaterLevel, d.u.Elevation), strings.Join(p.Fittings, ", ")})
	}
	north, east := "northing", "easting"
	if d.s.Frame.Geographic() {
		north, east = "latitude", "longitude"
	}
	if len(rows) > 0 {
		turned([]string{"point", "kind", north, east, "ground", "rim", "invert", "depth", "water", "fittings"}, []float64{8, 7, 11, 11, 8, 8, 8, 8, 8, 30}, "__rrrrrrr_", rows)
	}
	return out
}
