// Package relief draws the ground of a site as a picture for people: its relief,
// contours, the hollows that hold water by their depth, what drains to the
// greatest of them, the ways on which water runs together, houses and lot lines,
// with a scale, north and a table of the hollows. It draws what answer.Ground
// works out, and works out nothing itself.
//
// The picture is one SVG file that needs no other: the relief is a PNG in it, one
// pixel a cell; all else is lines. There is no clock: the same ground gives the
// same bytes. It may import parcels and its rooms for water and display, and geo.
package relief

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"html"
	"image"
	"image/color"
	"image/png"
	"math"
	"slices"
	"strings"

	"github.com/paulmach/orb"

	"fallwright/geo/ground"
	"fallwright/geo/overland"
	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/parcels/display"
	"fallwright/parcels/yardwater"
)

// Picture is what is drawn.
type Picture struct {
	Title    string
	Box      orb.Bound // the part of the plane that is shown
	Water    *overland.Water
	Ponds    []yardwater.Pond // greatest first: these are numbered
	Ways     []overland.Thread
	Contours []ground.ContourLine
	Interval unit.Length
	Lots     []orb.MultiPolygon
	Houses   []orb.MultiPolygon
	Units    display.Units
}

const (
	longSide  = 1000.0 // of the map, in pixels
	besideMap = 390.0  // for the table
	edge      = 20.0
	// mostTold hollows are numbered and stand in the table; of the first
	// mostTinted what drains to them is tinted.
	mostTold   = 12
	mostTinted = 6
	// exaggeration of heights in the relief's light.
	exaggeration = 3.0
	// mostPixels on the long side of the relief: of a wider raster each second,
	// third, ... cell is one.
	mostPixels = 4000
	// leastStep of a line: what nobody could see, in pixels.
	leastStep = 0.2
)

var tints = [mostTinted]color.RGBA{{214, 96, 40, 255}, {98, 150, 40, 255}, {150, 84, 180, 255}, {200, 160, 20, 255}, {40, 150, 140, 255}, {190, 70, 110, 255}}

// SVG draws the picture.
func (p Picture) SVG() ([]byte, error) {
	// no further than there is ground
	g := p.Water.Grid.Bound()
	for k := range p.Box.Min {
		p.Box.Min[k], p.Box.Max[k] = max(p.Box.Min[k], g.Min[k]), min(p.Box.Max[k], g.Max[k])
	}
	size := [2]float64{p.Box.Max[0] - p.Box.Min[0], p.Box.Max[1] - p.Box.Min[1]}
	if !(size[0] > 0 && size[1] > 0) {
		return nil, fmt.Errorf("relief: a picture of %.3f by %.3f m", size[0], size[1])
	}
	scale := longSide / max(size[0], size[1])
	d := drawing{p: p, scale: scale, w: size[0] * scale, h: size[1] * scale}
	relief, water, err := d.images()
	if err != nil {
		return nil, err
	}
	high := max(d.h, 470)
	d.add(`<svg xmlns="http://www.w3.org/2000/svg" width="%.0f" height="%.0f" viewBox="0 0 %.0f %.0f" font-family="DejaVu Sans, Verdana, sans-serif">`, d.w+besideMap+2*edge, high+2*edge, d.w+besideMap+2*edge, high+2*edge)
	d.add(`<title>%s</title>`, html.EscapeString(p.Title))
	d.add(`<rect width="100%%" height="100%%" fill="#fff"/>`)
	d.add(`<defs><clipPath id="map"><rect width="%.1f" height="%.1f"/></clipPath></defs>`, d.w, d.h)
	d.add(`<g transform="translate(%.0f %.0f)"><g clip-path="url(#map)">`, edge, edge)
	d.add(`<rect width="%.1f" height="%.1f" fill="#e4e4e0"/>`, d.w, d.h)
	d.add("%s", relief)
	d.tints()
	d.contours()
	d.add("%s", water)
	d.lines()
	d.marks()
	d.add(`</g><rect width="%.1f" height="%.1f" fill="none" stroke="#444"/>`, d.w, d.h)
	d.table()
	d.add(`</g></svg>`)
	return d.out.Bytes(), nil
}

type drawing struct {
	p           Picture
	scale, w, h float64
	wet         map[int][]overland.Run // cells of the hollows that are told, by row
	out         bytes.Buffer
}

func (d *drawing) add(format string, a ...any) {
	fmt.Fprintf(&d.out, format, a...)
	d.out.WriteByte('\n')
}

func (d *drawing) at(p orb.Point) (x, y float64) {
	return (p[0] - d.p.Box.Min[0]) * d.scale, (d.p.Box.Max[1] - p[1]) * d.scale
}

func (d *drawing) path(line []orb.Point, closed bool) string {
	var s strings.Builder
	u, v := math.Inf(1), 0.0
	for i, p := range line {
		x, y := d.at(p)
		if math.Abs(x-u) < leastStep && math.Abs(y-v) < leastStep && i < len(line)-1 {
			continue
		}
		u, v = x, y
		fmt.Fprintf(&s, "%s%.1f %.1f", map[bool]string{true: "M", false: "L"}[i == 0], x, y)
	}
	if closed {
		s.WriteByte('Z')
	}
	return s.String()
}

func (d *drawing) area(mp orb.MultiPolygon) string {
	var s strings.Builder
	for _, poly := range mp {
		for _, ring := range poly {
			s.WriteString(d.path(ring, true))
		}
	}
	return s.String()
}

// images are the relief, shaded from the north-west and tinted by height, and the
// water in the hollows by its depth.
func (d *drawing) images() (relief, water string, err error) {
	f := d.p.Water
	g := f.Grid
	c0, c1 := max(int((d.p.Box.Min[0]-g.West)/g.CellX), 0), min(int(math.Ceil((d.p.Box.Max[0]-g.West)/g.CellX)), g.Cols)
	r0, r1 := max(int((g.North-d.p.Box.Max[1])/g.CellY), 0), min(int(math.Ceil((g.North-d.p.Box.Min[1])/g.CellY)), g.Rows)
	if c0 >= c1 || r0 >= r1 {
		return "", "", fmt.Errorf("relief: there is no ground in the picture")
	}
	step := (max(c1-c0, r1-r0) + mostPixels - 1) / mostPixels
	var heights []float32
	for r := r0; r < r1; r += step {
		row := f.Heights(r)
		for c := c0; c < c1; c += step {
			if z := row[c]; z == z {
				heights = append(heights, z)
			}
		}
	}
	slices.Sort(heights)
	low, high := 0.0, 1.0
	if n := len(heights); n > 0 { // but for a few outliers, which would take all the colour
		low, high = float64(heights[n/50]), float64(heights[n-1-n/50])
	}
	// only hollows that are told are water: puddles of the data's noise are not
	d.wet = map[int][]overland.Run{}
	for _, p := range d.p.Ponds {
		for _, u := range p.Runs {
			d.wet[u.First/g.Cols] = append(d.wet[u.First/g.Cols], u)
		}
	}
	for _, runs := range d.wet {
		slices.SortFunc(runs, func(a, b overland.Run) int { return a.First - b.First })
	}
	wide, tall := (c1-c0+step-1)/step, (r1-r0+step-1)/step
	ground, pools := image.NewNRGBA(image.Rect(0, 0, wide, tall)), image.NewNRGBA(image.Rect(0, 0, wide, tall))
	about := make([]float32, 3*g.Cols) // a row and the two beside it
	for r := r0; r < r1; r += step {
		for k := range 3 {
			copy(about[k*g.Cols:], f.Heights(min(max(r+k-1, 0), g.Rows-1)))
		}
		levels := f.Levels(r)
		for c := c0; c < c1; c += step {
			z := float64(about[g.Cols+c])
			if z != z {
				continue // see-through
			}
			t := max(0, min(1, (z-low)/max(high-low, 1e-6)))
			ink := mix(color.NRGBA{214, 222, 196, 255}, color.NRGBA{238, 226, 204, 255}, t)
			lit := 0.0
			if r > 0 && r < g.Rows-1 {
				three := g
				three.Rows, three.Z = 3, about
				lit = light(three, c, 1)
			}
			if lit < 0 {
				ink = mix(ink, color.NRGBA{40, 44, 52, 255}, -lit)
			} else {
				ink = mix(ink, color.NRGBA{255, 255, 255, 255}, lit)
			}
			ground.SetNRGBA((c-c0)/step, (r-r0)/step, ink)
			if overland.Holds(d.wet[r], r*g.Cols+c) {
				deep := float64(levels[c]) - z
				pools.SetNRGBA((c-c0)/step, (r-r0)/step, color.NRGBA{20, 90, 190, uint8(255 * min(0.85, 0.45+deep/2))})
			}
		}
	}
	x, y := d.at(orb.Point{g.West + float64(c0)*g.CellX, g.North - float64(r0)*g.CellY})
	place := func(img image.Image) (string, error) {
		var b bytes.Buffer
		err := png.Encode(&b, img)
		return fmt.Sprintf(`<image x="%.2f" y="%.2f" width="%.2f" height="%.2f" preserveAspectRatio="none" href="data:image/png;base64,%s"/>`,
			x, y, float64(wide*step)*g.CellX*d.scale, float64(tall*step)*g.CellY*d.scale, base64.StdEncoding.EncodeToString(b.Bytes())), err
	}
	if relief, err = place(ground); err == nil {
		water, err = place(pools)
	}
	return relief, water, err
}

func mix(a, b color.NRGBA, t float64) color.NRGBA {
	m := func(x, y uint8) uint8 { return uint8(float64(x)*(1-t) + float64(y)*t + 0.5) }
	return color.NRGBA{m(a.R, b.R), m(a.G, b.G), m(a.B, b.B), 255}
}

// light is how much brighter (to 1) or darker (to -1) than level ground a cell is.
func light(g ground.Grid, c, r int) float64 {
	east, south, ok := g.Slope(c, r)
	if !ok {
		return 0
	}
	// the sun stands in the north-west, 45 degrees up
	x, y := exaggeration*east, exaggeration*south
	v := (1 + (x+y)/math.Sqrt2) / math.Sqrt(1+x*x+y*y)
	return max(-0.75, min(0.5, 0.7*(v-1)))
}

// tints lays what drains to the greatest hollows under all lines, the widest
// first: one may lie in another's.
func (d *drawing) tints() {
	f := d.p.Water
	type tint struct {
		number int
		runs   []overland.Run
		cells  int
	}
	var list []tint
	for k, p := range d.p.Ponds[:min(mostTinted, len(d.p.Ponds))] {
		t := tint{number: k, runs: f.Catchment(p.Runs)}
		for _, u := range t.runs {
			t.cells += u.Last - u.First + 1
		}
		list = append(list, t)
	}
	slices.SortStableFunc(list, func(a, b tint) int { return b.cells - a.cells })
	for _, t := range list {
		c := tints[t.number]
		d.add(`<path d="%s" fill="rgb(%d,%d,%d)" fill-opacity=".22" fill-rule="evenodd" stroke="rgb(%d,%d,%d)" stroke-opacity=".8" stroke-width="1"/>`, d.area(overland.Outline(f.Grid, t.runs)), c.R, c.G, c.B, c.R, c.G, c.B)
	}
}

func (d *drawing) contours() {
	d.add(`<g fill="none" stroke="#8a6a45" stroke-opacity=".55" stroke-linejoin="round">`)
	for _, l := range d.p.Contours {
		d.add(`<path d="%s" stroke-width="%s"/>`, d.path(l.Line, l.Closed), map[bool]string{true: "1", false: ".45"}[l.Number%5 == 0])
	}
	d.add(`</g>`)
}

func (d *drawing) lines() {
	d.add(`<g fill="none" stroke="#1450b4" stroke-linecap="round" stroke-linejoin="round">`)
	least := math.Inf(1)
	for _, w := range d.p.Ways {
		least = min(least, float64(w.Area))
	}
	for _, w := range d.p.Ways {
		wide := min(4, 0.7+0.4*math.Log2(float64(w.Area)/least))
		for _, part := range d.dry(w.Line) {
			d.add(`<path d="%s" stroke-width="%.1f" stroke-opacity=".85"/>`, d.path(part, false), wide)
		}
	}
	d.add(`</g><g fill="none" stroke="#222" stroke-width=".8" stroke-opacity=".7">`)
	for _, l := range d.p.Lots {
		d.add(`<path d="%s"/>`, d.area(l))
	}
	d.add(`</g><g fill="#5a5550" fill-opacity=".9" stroke="#2c2925" stroke-width=".6" fill-rule="evenodd">`)
	for _, h := range d.p.Houses {
		d.add(`<path d="%s"/>`, d.area(h))
	}
	d.add(`</g>`)
}

// dry cuts a way where it crosses a full hollow: on still water it is no way that
// anybody could see.
func (d *drawing) dry(line orb.LineString) (parts []orb.LineString) {
	f := d.p.Water
	var part orb.LineString
	for i, p := range line {
		j, ok := f.CellAt(p, 0)
		wet := ok && overland.Holds(d.wet[j/f.Grid.Cols], j)
		if !wet || len(part) > 0 {
			part = append(part, p) // one point into the water
		}
		if wet || i == len(line)-1 {
			if len(part) > 1 {
				parts = append(parts, part)
			}
			part = nil
		}
	}
	return parts
}

// marks numbers the hollows and shows where they run over.
func (d *drawing) marks() {
	told := d.p.Ponds[:min(mostTold, len(d.p.Ponds))]
	for _, p := range told {
		if p.Spill != nil {
			x, y := d.at(*p.Spill)
			d.add(`<path d="M%.1f %.1fl4.5 8h-9z" fill="#fff" stroke="#0b2f74" stroke-width="1.2"/>`, x, y-5)
		}
	}
	for k, p := range told {
		x, y := d.at(p.Location)
		x, y = max(10, min(d.w-10, x)), max(10, min(d.h-10, y))
		d.add(`<circle cx="%.1f" cy="%.1f" r="9" fill="#fff" stroke="#0b2f74" stroke-width="1.4"/><text x="%.1f" y="%.1f" font-size="11" font-weight="bold" text-anchor="middle" fill="#0b2f74">%d</text>`, x, y, x, y+4, k+1)
	}
}

// table stands right of the map.
func (d *drawing) table() {
	u := d.p.Units
	x := d.w + 24
	text := func(x, y float64, size int, style, s string) {
		d.add(`<text x="%.1f" y="%.1f" font-size="%d" %s>%s</text>`, x, y, size, style, html.EscapeString(s))
	}
	const right, bold = `text-anchor="end"`, `font-weight="bold"`
	y := 16.0
	text(x, y, 16, bold, d.p.Title)
	y += 26
	// a scale of a round length, about a third of the map at most
	each := 1.0
	if u == display.US {
		each = float64(unit.Foot)
	}
	round := 1.0
	for _, m := range []float64{1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10000} {
		if m*each*d.scale <= 200 {
			round = m
		}
	}
	step := round * each
	d.add(`<path d="M%.1f %.1fv5h%.1fv-5" fill="none" stroke="#222"/>`, x, y, step*d.scale)
	text(x+step*d.scale+8, y+6, 11, "", fmt.Sprintf("%g %s", round, u.LengthUnit()))
	d.add(`<path d="M%.1f %.1fl6 16l-6 -4l-6 4z" fill="#222"/>`, x+280, y-14)
	text(x+280, y+14, 11, `text-anchor="middle"`, "N")
	y += 30
	key := func(mark, s string) {
		d.add(`<g transform="translate(%.1f %.1f)">%s</g>`, x, y-4, mark)
		text(x+36, y, 11, "", s)
		y += 18
	}
	if len(d.p.Contours) > 0 {
		key(`<path d="M0 0h26" stroke="#8a6a45"/>`, "contours every "+u.Length(d.p.Interval))
	}
	if len(d.p.Ways) > 0 {
		key(`<path d="M0 0h26" stroke="#1450b4" stroke-width="2"/>`, "where water runs together")
	}
	if len(d.p.Ponds) > 0 {
		key(`<rect y="-6" width="26" height="11" fill="#2f6cc0"/>`, "hollow full of water, darker where deeper")
		key(`<path d="M13 -6l4.500 8h-9z" fill="#fff" stroke="#0b2f74" stroke-width="1.2"/>`, "where a numbered one runs over")
		key(`<rect y="-6" width="26" height="11" fill="rgb(214,96,40)" fill-opacity=".3" stroke="rgb(214,96,40)"/>`, "what drains to one of the greatest")
	}
	if len(d.p.Houses) > 0 {
		key(`<rect y="-6" width="26" height="11" fill="#5a5550"/>`, "house: no water runs through it")
	}
	y += 12
	if len(d.p.Ponds) == 0 {
		text(x, y, 12, "", "No hollow holds water here.")
		return
	}
	ends := [5]float64{x + 20, x + 96, x + 176, x + 272, x + 360}
	for k, s := range []string{"hollow", "deep", "area", "holds", "drains"} {
		if k == 0 {
			text(x, y, 11, bold, s)
		} else {
			text(ends[k], y, 11, right+" "+bold, s)
		}
	}
	d.add(`<path d="M%.1f %.1fH%.1f" stroke="#999"/>`, x, y+5, ends[4])
	y += 20
	for k, p := range d.p.Ponds[:min(mostTold, len(d.p.Ponds))] {
		if k < mostTinted {
			c := tints[k]
			d.add(`<rect x="%.1f" y="%.1f" width="9" height="9" fill="rgb(%d,%d,%d)"/>`, x+22, y-8, c.R, c.G, c.B)
		}
		text(x+14, y, 11, right, fmt.Sprint(k+1))
		for n, s := range []string{u.Length(p.Depth), u.Area(p.Area), u.Water(hydro.Volume(p.Volume)), u.Area(p.Catchment)} {
			text(ends[n+1], y, 11, right, s)
		}
		y += 17
	}
	if more := len(d.p.Ponds) - mostTold; more > 0 {
		text(x, y+4, 11, "", fmt.Sprintf("and %d smaller", more))
		y += 21
	}
	text(x, y+14, 10, `fill="#555"`, "A preliminary planning estimate, no survey.")
}
