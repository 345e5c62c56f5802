package answer

// The ground of a site as a document: contours, hollows, the ways that water
// takes together, and a grid of heights to draw a relief from.

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"

	"github.com/paulmach/orb"

	"fallwright/geo/frame"
	"fallwright/geo/ground"
	"fallwright/geo/overland"
	"fallwright/geo/unit"
	"fallwright/parcels"
	"fallwright/parcels/document"
	"fallwright/parcels/planner"
	"fallwright/parcels/yardwater"
)

// GroundOptions say which ground and how.
type GroundOptions struct {
	Lots    []string       // with what lies aroundLots about them; none: the site
	Surface ground.Surface // in place of the site's own (a raster); nil: that
	// Interval of the contours; 0: the least of 0.5, 1, 2, 5 and so on of Foot that
	// makes no more than usualContours of them.
	Interval unit.Length
	// Foot is what intervals are round in; 0: the foot.
	Foot unit.Length
	// Wide is where the water is worked over a Surface that is a *ground.Wide.
	Wide yardwater.Workplace
	// Stream leaves the text of the document to Write: Body stays empty.
	Stream bool
}

const (
	aroundLots    = 20 * unit.Metre
	usualContours = 40
	// together is how much ground must drain through a place for its water to
	// count as a flow of its own: a large roof's worth.
	together = 150 * unit.Area(1)
	// mostHeights in the grid of a relief.
	mostHeights = 60_000
	// Of a wide piece of ground the least way that is told is this part of its area,
	// and the usual interval of contours grows until no more than so many faces are
	// crossed: a county in the detail of a yard is no drawing.
	togetherOf    = 1.0 / 100_000
	mostCrossings = 4_000_000
)

// Relief is a grid of heights, by rows from the north-west, each row from the
// west: the height is Base + Heights[i]/1000, in metres; a negative number: not
// known. Corner is the middle of its first cell, in the document's system; the
// cells are squares of the site's plane.
type Relief struct {
	Corner  orb.Point      `json:"corner"`
	Cell    unit.Length    `json:"cell_m"`
	Columns int            `json:"columns"`
	Rows    int            `json:"rows"`
	Base    unit.Elevation `json:"base_m"`
	Heights []int32        `json:"heights_mm"`
}

// ContourRow, PondRow and FlowRow are the properties of the features.
type ContourRow struct {
	Kind      string         `json:"kind"` // contour
	Elevation unit.Elevation `json:"elevation_m"`
	Heavy     bool           `json:"heavy"` // every fifth
	Closed    bool           `json:"closed"`
}

// PondRow is a hollow that stands full before its water runs on.
type PondRow struct {
	Kind      string         `json:"kind"` // pond
	Level     unit.Elevation `json:"level_m"`
	Depth     unit.Length    `json:"depth_m"`
	Area      unit.Area      `json:"area_m2"`
	Volume    float64        `json:"volume_m3"`
	Catchment unit.Area      `json:"catchment_m2"`
	Lowest    orb.Point      `json:"lowest"`
	Spill     *orb.Point     `json:"spill"`
	Lots      []string       `json:"lots"`
	Intakes   []string       `json:"intakes"`
	Houses    []string       `json:"houses"`
}

// FlowRow is a way on which water runs together.
type FlowRow struct {
	Kind string    `json:"kind"` // flow
	Area unit.Area `json:"area_m2"`
}

// GroundCollection is the document with what its tables say.
type GroundCollection struct {
	Collection
	Interval unit.Length
	Contours int
	Ponds    []PondRow
	Flows    int
	Drawn    Drawn

	frame  *frame.Frame
	rows   []document.Row
	beside map[string]any
}

// Write writes the document.
func (g *GroundCollection) Write(w io.Writer) error {
	return document.StreamCollection(w, g.frame, g.rows, g.beside)
}

// Drawn is what stands in the document in the site's plane, for a picture.
type Drawn struct {
	Box      orb.Bound
	Water    *yardwater.Report // its ponds greatest first
	Contours []ground.ContourLine
	Ways     []overland.Thread
	Lots     []orb.MultiPolygon
	Houses   []orb.MultiPolygon
}

// Ground draws the ground. A site without any is an *parcels.InputError that
// says what to give.
func Ground(ctx context.Context, s *parcels.Site, o GroundOptions) (*GroundCollection, error) {
	lots, err := chosen(s, o.Lots)
	if err != nil {
		return nil, err
	}
	if o.Interval < 0 || math.IsNaN(float64(o.Interval)) || o.Interval > 100 {
		return nil, &parcels.InputError{Kind: parcels.Invalid, Faults: []parcels.Fault{{Slug: "option-invalid", Pointer: "/interval_m", Member: "interval_m", Detail: fmt.Sprintf("The contour interval %g m is not between 0 and 100.", float64(o.Interval))}}}
	}
	surface, told := o.Surface, []parcels.Finding(nil)
	if surface == nil {
		if surface, told, err = planner.Surface(s); err != nil {
			return nil, err
		}
	}
	if surface == nil {
		return nil, &parcels.InputError{Kind: parcels.Invalid, Faults: []parcels.Fault{{Slug: "ground-missing", Layer: string(parcels.LayerSpots), Pointer: "/layers/spots",
			Detail: "The site has no ground. Give survey shots as the layer spots, contours, or a raster beside the document."}}}
	}
	near := *s
	near.Lots = nil
	for _, l := range lots {
		near.Lots = append(near.Lots, s.Lots[l])
	}
	box := near.Lots[0].Shape.Bound()
	for _, l := range near.Lots {
		box = box.Union(l.Shape.Bound())
	}
	box = box.Pad(float64(aroundLots))
	if len(o.Lots) > 0 {
		// the houses, inlets and neighbours whose water comes in
		near.Lots = nil
		for _, l := range s.Lots {
			if l.Shape.Bound().Intersects(box) {
				near.Lots = append(near.Lots, l)
			}
		}
	}
	var water *yardwater.Report
	wide, isWide := surface.(*ground.Wide)
	if isWide {
		water, err = yardwater.LookWide(&near, wide, o.Wide)
	} else {
		water, err = yardwater.Look(&near, surface)
	}
	var in *parcels.InputError
	if errors.As(err, &in) {
		return nil, err // of the raster, read on the way
	}
	if err != nil {
		return nil, &parcels.InputError{Kind: parcels.Invalid, Faults: []parcels.Fault{{Slug: "ground-missing", Layer: string(parcels.LayerSpots), Pointer: "/layers/spots", Detail: "The water over the ground cannot be worked out: " + err.Error() + "."}}}
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	out := &GroundCollection{}
	var rows []document.Row
	add := func(g orb.Geometry, properties any) {
		rows = append(rows, document.Row{Geometry: g, Properties: properties})
	}

	relief, rise := relieve(s, water.Water, box)
	out.Interval = o.Interval
	if out.Interval == 0 {
		out.Interval = interval(relief, rise, cmp.Or(o.Foot, unit.Foot))
	}
	lines, err := ground.Contours(surface, ground.Contouring{Interval: out.Interval, Within: &box})
	if err != nil {
		return nil, &parcels.InputError{Kind: parcels.Invalid, Faults: []parcels.Fault{{Slug: "option-invalid", Pointer: "/interval_m", Member: "interval_m", Detail: "The contours cannot be drawn: " + err.Error() + ". Give a greater interval."}}}
	}
	for _, l := range lines {
		add(l.Line, ContourRow{Kind: "contour", Elevation: unit.Elevation(round(float64(l.Elevation), 4)), Heavy: l.Number%5 == 0, Closed: l.Closed})
	}
	out.Contours = len(lines)
	slices.SortStableFunc(water.Ponds, func(a, b yardwater.Pond) int { return cmp.Compare(b.Volume, a.Volume) })
	for _, p := range water.Ponds {
		row := PondRow{Kind: "pond", Level: unit.Elevation(round(float64(p.Level), 3)), Depth: unit.Length(round(float64(p.Depth), 3)), Area: unit.Area(round(float64(p.Area), 2)),
			Volume: round(p.Volume, 3), Catchment: unit.Area(round(float64(p.Catchment), 1)), Lowest: document.Position(s.Frame, p.Location),
			Lots: list(p.Lots), Intakes: list(p.Intakes), Houses: list(p.Houses)}
		if p.Spill != nil {
			row.Spill = parcels.Num(document.Position(s.Frame, *p.Spill))
		}
		add(p.Shape, row)
		out.Ponds = append(out.Ponds, row)
	}
	least := max(together, togetherOf*unit.Area((box.Max[0]-box.Min[0])*(box.Max[1]-box.Min[1])))
	for _, t := range water.Water.Threads(least) {
		if !t.Line.Bound().Intersects(box) {
			continue
		}
		t.Line = calm(t)
		add(t.Line, FlowRow{Kind: "flow", Area: unit.Area(round(float64(t.Area), 1))})
		out.Flows++
		out.Drawn.Ways = append(out.Drawn.Ways, t)
	}
	if err := water.Water.Err(); err != nil {
		return nil, err
	}
	out.Drawn.Box, out.Drawn.Water, out.Drawn.Contours = box, water, lines
	for i := range s.Lots {
		out.Drawn.Lots = append(out.Drawn.Lots, s.Lots[i].Shape)
	}
	for i := range s.Buildings {
		out.Drawn.Houses = append(out.Drawn.Houses, s.Buildings[i].Shape)
	}
	beside := beside(s)
	beside["relief"], beside["interval_m"] = relief, round(float64(out.Interval), 4)
	if water.MorePonds > 0 {
		told = append(told, parcels.Finding{Code: "terrain", Severity: parcels.Note, Feature: "terrain", Message: fmt.Sprintf("The %d greatest hollows are told; %d smaller ones are not. Cut out the part of interest to see those there.", len(water.Ponds), water.MorePonds)})
	}
	if least > together {
		told = append(told, parcels.Finding{Code: "terrain", Severity: parcels.Note, Feature: "terrain", Measured: parcels.Num(round(float64(least), 1)), Unit: "m2",
			Message: fmt.Sprintf("On ground so wide, ways of water are told from %.0f m2 on that drain through them.", float64(least))})
	}
	beside["findings"] = append(append([]parcels.Finding{}, told...), water.Findings...)
	out.frame, out.rows, out.beside = s.Frame, rows, beside
	if !o.Stream {
		out.Body, err = document.WriteCollection(s.Frame, rows, beside)
	}
	return out, err
}

func list(names []string) []string { return append([]string{}, names...) }

// calm leaves out every point of a way but each second and the ends: the steps
// of the grid are no bends of the water.
func calm(t overland.Thread) orb.LineString {
	out := orb.LineString{t.Line[0]}
	for i := 2; i < len(t.Line)-1; i += 2 {
		out = append(out, orb.Point{(t.Line[i-1][0] + t.Line[i][0] + t.Line[i+1][0]) / 3, (t.Line[i-1][1] + t.Line[i][1] + t.Line[i+1][1]) / 3})
	}
	return append(out, t.Line[len(t.Line)-1])
}

// relieve cuts the box out of a grid, by every so many cells. rise is by how much
// the ground goes up and down from cell to cell along all rows and columns of the
// box, in metres.
func relieve(s *parcels.Site, w *overland.Water, box orb.Bound) (out Relief, rise float64) {
	g := w.Grid
	c0, c1 := max(int((box.Min[0]-g.West)/g.CellX), 0), min(int((box.Max[0]-g.West)/g.CellX), g.Cols-1)
	r0, r1 := max(int((g.North-box.Max[1])/g.CellY), 0), min(int((g.North-box.Min[1])/g.CellY), g.Rows-1)
	step := 1
	for (c1-c0+step)/step*((r1-r0+step)/step) > mostHeights {
		step++
	}
	out = Relief{Corner: document.Position(s.Frame, g.Centre(c0, r0)), Cell: unit.Length(g.CellX * float64(step)),
		Columns: max((c1-c0+step)/step, 0), Rows: max((r1-r0+step)/step, 0), Heights: []int32{}}
	base := float32(math.Inf(1))
	above := make([]float32, g.Cols)
	for r := range g.Rows {
		row := w.Heights(r)
		for _, z := range row {
			if z < base {
				base = z
			}
		}
		if r >= r0 && r <= r1 {
			for c := c0; c <= c1; c++ {
				if d := row[c] - above[c]; r > r0 && d == d {
					rise += math.Abs(float64(d))
				}
				if c > c0 {
					if d := row[c] - row[c-1]; d == d {
						rise += math.Abs(float64(d))
					}
				}
			}
		}
		copy(above, row)
	}
	if math.IsInf(float64(base), 0) {
		base = 0
	}
	out.Base = unit.Elevation(round(float64(base), 3))
	for r := r0; r <= r1; r += step {
		row := w.Heights(r)
		for c := c0; c <= c1; c += step {
			h := int32(-1)
			if z := row[c]; z == z {
				h = int32(max(math.Round((float64(z)-float64(out.Base))*1000), 0))
			}
			out.Heights = append(out.Heights, h)
		}
	}
	return out, rise
}

// interval is the usual one for the range of heights. A contour crosses a face for
// each time that it crosses a row, a column or a diagonal, about one and a half
// times as often as the first two.
func interval(r Relief, rise float64, foot unit.Length) unit.Length {
	most := int32(0)
	for _, h := range r.Heights {
		most = max(most, h)
	}
	for scale := 1.0; ; scale *= 10 {
		for _, ft := range []float64{0.5, 1, 2} {
			if step := ft * scale * float64(foot); float64(most)/1000 <= usualContours*step && 1.5*rise <= mostCrossings*step {
				return unit.Length(step)
			}
		}
	}
}
