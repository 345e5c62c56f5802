package api

// The plan of the sample as a drawing, for the plain page at / and wherever a
// picture without script is wanted. It draws what the documents say and works
// out nothing but the scale of the sheet.

import (
	"context"
	"encoding/json"
	"fmt"
	"html/template"
	"math"
	"strings"

	"fallwright/openapi"
	"fallwright/parcels"
)

type sampleDrawing struct {
	lead string
	svg  template.HTML
}

// drawSample plans the sample once. Where the plan fails, the page says so and
// draws the worked example.
func (s *service) drawSample() sampleDrawing {
	ctx, cancel := context.WithTimeout(context.Background(), s.limits.SyncTime)
	defer cancel()
	lead := "The plan of the sample lot. Send your own to /processes/plan/execution; see Docs."
	a, err := s.Engine.Execute(ctx, Request{Process: "plan", Site: s.Sample, Lots: s.SampleLots, Progress: func(int, int, string) {}})
	sample := s.Sample
	if err != nil {
		s.Log.Error("the sample was not planned", "cause", err.Error())
		lead = "The sample lot could not be planned; this is the worked example of the interface. Send your own to /processes/plan/execution; see Docs."
		a.Body, _ = openapi.Example("plan")
		sample, _ = openapi.Example("site")
	}
	svg, err := drawing(sample, a.Body, false)
	if err != nil {
		s.Log.Error("the sample was not drawn", "cause", err.Error())
		return sampleDrawing{lead: "The sample could not be drawn; see Docs."}
	}
	return sampleDrawing{lead, template.HTML(svg)} // every text in it was escaped
}

type drawnFeature struct {
	Geometry struct {
		Type        string
		Coordinates json.RawMessage
	}
	Properties map[string]any
}

type drawnCollection struct{ Features []drawnFeature }

// lines gives the rings or lines of a geometry, x and y only.
func (f drawnFeature) lines() (out [][][]float64) {
	var one []float64
	var line [][]float64
	var rings [][][]float64
	var parts [][][][]float64
	switch f.Geometry.Type {
	case "Point":
		if json.Unmarshal(f.Geometry.Coordinates, &one) == nil {
			out = [][][]float64{{one}}
		}
	case "LineString":
		if json.Unmarshal(f.Geometry.Coordinates, &line) == nil {
			out = [][][]float64{line}
		}
	case "Polygon", "MultiLineString":
		if json.Unmarshal(f.Geometry.Coordinates, &rings) == nil {
			out = rings
		}
	case "MultiPolygon":
		if json.Unmarshal(f.Geometry.Coordinates, &parts) == nil {
			for _, p := range parts {
				out = append(out, p...)
			}
		}
	}
	for _, l := range out {
		for _, p := range l {
			if len(p) < 2 {
				return nil
			}
		}
	}
	return out
}

// Drawing draws a plan over its site as SVG: the lots of the plan, footprints,
// easements, runs with size and fall, points, a scale bar, north, and the
// cautions. site and plan are documents of the contract, in one system.
func Drawing(site, plan []byte) (string, error) { return drawing(site, plan, true) }

// drawing may leave out the cautions where the page around it shows them.
func drawing(site, plan []byte, withCautions bool) (string, error) {
	var doc struct {
		CRS    json.RawMessage
		Site   string
		Layers map[string]drawnCollection
	}
	var p struct {
		Frame struct {
			MetresPerUnit float64 `json:"metres_per_unit"`
		}
		Summary  parcels.Summary
		Network  drawnCollection
		Cautions []string
	}
	if err := json.Unmarshal(site, &doc); err != nil {
		return "", fmt.Errorf("api: drawing: site: %w", err)
	}
	if err := json.Unmarshal(plan, &p); err != nil {
		return "", fmt.Errorf("api: drawing: plan: %w", err)
	}
	lots := map[string]bool{}
	for _, l := range p.Summary.Lots {
		lots[l] = true
	}
	// bounds: the plan's lots and its network
	minX, minY, maxX, maxY := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	grow := func(f drawnFeature) {
		for _, l := range f.lines() {
			for _, q := range l {
				minX, maxX = min(minX, q[0]), max(maxX, q[0])
				minY, maxY = min(minY, q[1]), max(maxY, q[1])
			}
		}
	}
	for i, f := range doc.Layers["parcels"].Features {
		if lot := fmt.Sprint(f.Properties["lot"]); lots[lot] || lots[fmt.Sprintf("#%d", i)] {
			grow(f)
		}
	}
	for _, f := range p.Network.Features {
		grow(f)
	}
	if !(maxX > minX && maxY > minY) {
		return "", fmt.Errorf("api: drawing: the plan has no extent")
	}
	// degrees are drawn true to shape at the middle of the sheet; metres of a
	// degree of latitude as on a sphere (a drawing, no measure)
	kx, ky, metres := 1.0, 1.0, p.Frame.MetresPerUnit
	if len(doc.CRS) == 0 && math.Abs(minX) <= 180 && math.Abs(maxY) <= 90 {
		kx, ky, metres = 111320*math.Cos((minY+maxY)/2*math.Pi/180), 111320, 1
	}
	if metres == 0 {
		metres = 1
	}
	const width, margin = 900.0, 50.0
	foot := 30.0
	if withCautions {
		foot = 200
	}
	scale := min((width-2*margin)/((maxX-minX)*kx), 620/((maxY-minY)*ky))
	height := (maxY-minY)*ky*scale + 2*margin
	left := (width - (maxX-minX)*kx*scale) / 2
	at := func(q []float64) (float64, float64) {
		return left + (q[0]-minX)*kx*scale, height - margin - (q[1]-minY)*ky*scale
	}
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %.0f %.0f" role="img" aria-labelledby="drawing-title" font-family="sans-serif" font-size="13">`, width, height+foot)
	title := "Drain plan"
	if len(p.Summary.Lots) > 0 {
		title += " of lot " + strings.Join(p.Summary.Lots, ", ")
	}
	fmt.Fprintf(&b, `<title id="drawing-title">%s</title>`, esc(title+", preliminary"))
	b.WriteString(`<defs><marker id="flow" viewBox="0 0 8 8" refX="7" refY="4" markerUnits="userSpaceOnUse" markerWidth="13" markerHeight="13" orient="auto"><path d="M0 0L8 4L0 8z" fill="#0b5f73"/></marker></defs>`)
	fmt.Fprintf(&b, `<rect width="%.0f" height="%.0f" fill="#fff"/>`, width, height+foot)
	path := func(f drawnFeature, close bool) string {
		var d strings.Builder
		for _, l := range f.lines() {
			for i, q := range l {
				x, y := at(q)
				fmt.Fprintf(&d, "%c%.1f %.1f", map[bool]rune{true: 'M', false: 'L'}[i == 0], x, y)
			}
			if close {
				d.WriteByte('Z')
			}
		}
		return d.String()
	}
	layer := func(name, attrs string, closed bool) {
		for _, f := range doc.Layers[name].Features {
			if d := path(f, closed && strings.HasSuffix(f.Geometry.Type, "Polygon")); d != "" && f.Geometry.Type != "Point" {
				fmt.Fprintf(&b, `<path d="%s" %s/>`, d, attrs)
			}
		}
	}
	fmt.Fprintf(&b, `<clipPath id="sheet"><rect width="%.0f" height="%.0f"/></clipPath><g clip-path="url(#sheet)">`, width, height)
	layer("easements", `fill="#eaf3e6" stroke="#7a9a6a" stroke-dasharray="2 3"`, true)
	layer("swales", `fill="none" stroke="#6f9fb8" stroke-width="2" stroke-dasharray="8 4"`, false)
	layer("buildings", `fill="#e4dfd6" stroke="#6b6457"`, true)
	layer("parcels", `fill="none" stroke="#333" stroke-width="1.6" stroke-dasharray="12 3 2 3"`, true)
	b.WriteString(`</g>`)
	number := func(m map[string]any, key string) (float64, bool) {
		v, ok := m[key].(float64)
		return v, ok
	}
	var labels strings.Builder
	for _, f := range p.Network.Features {
		if f.Geometry.Type != "LineString" {
			continue
		}
		fmt.Fprintf(&b, `<path d="%s" fill="none" stroke="#0b5f73" stroke-width="4" marker-end="url(#flow)"/>`, path(f, false))
		slope, ok := number(f.Properties, "slope")
		length, ok2 := number(f.Properties, "length_m")
		if l := f.lines(); ok && ok2 && len(l) > 0 && length > 3 {
			x1, y1 := at(l[0][0])
			x2, y2 := at(l[0][len(l[0])-1])
			fmt.Fprintf(&labels, `<text x="%.1f" y="%.1f" fill="#0b5f73" stroke="#fff" stroke-width="3" paint-order="stroke">%s, %.1f ft at %.1f %%</text>`,
				(x1+x2)/2+8, (y1+y2)/2, esc(fmt.Sprint(f.Properties["size"])), length/0.3048, slope*100)
		}
	}
	for _, f := range p.Network.Features {
		if l := f.lines(); f.Geometry.Type == "Point" && len(l) > 0 {
			x, y := at(l[0][0])
			kind := fmt.Sprint(f.Properties["kind"])
			switch kind {
			case "inlet", "outlet":
				fmt.Fprintf(&b, `<rect x="%.1f" y="%.1f" width="14" height="14" fill="#0b5f73" stroke="#fff"/>`, x-7, y-7)
			case "intake":
				fmt.Fprintf(&b, `<circle cx="%.1f" cy="%.1f" r="6" fill="#fff" stroke="#0b5f73" stroke-width="3"/>`, x, y)
			default:
				fmt.Fprintf(&b, `<circle cx="%.1f" cy="%.1f" r="3.5" fill="#0b5f73"/>`, x, y)
				continue
			}
			name := fmt.Sprintf("%s %v", kind, f.Properties["point"])
			if inv, ok := number(f.Properties, "invert_m"); ok {
				name += fmt.Sprintf(", invert %.2f ft", inv/0.3048)
			}
			fmt.Fprintf(&labels, `<text x="%.1f" y="%.1f" stroke="#fff" stroke-width="3" paint-order="stroke">%s</text>`, x+10, y-8, esc(name))
		}
	}
	b.WriteString(labels.String())
	// scale bar of a round number of feet near a quarter of the sheet
	feetPerUnit := metres / 0.3048
	perFoot := scale / feetPerUnit
	bar := math.Pow(10, math.Floor(math.Log10(width/4/perFoot)))
	for _, k := range []float64{5, 2} {
		if bar*k*perFoot <= width/4 {
			bar *= k
			break
		}
	}
	fmt.Fprintf(&b, `<path d="M%.0f %.0fv-6h%.1fv6" fill="none" stroke="#333" stroke-width="2"/><text x="%.0f" y="%.0f">%g ft</text>`, margin, height-8, bar*perFoot, margin+4, height-18, bar)
	fmt.Fprintf(&b, `<g transform="translate(%.0f 46)"><path d="M0 -30L8 8L0 2L-8 8z" fill="#333"/><text y="24" text-anchor="middle">N</text></g>`, width-40)
	verdict := strings.ReplaceAll(string(p.Summary.Verdict), "_", " ")
	line := fmt.Sprintf("%s: %s, preliminary. %.1f ft of pipe", title, verdict, float64(p.Summary.Length)/0.3048)
	if p.Summary.Fall != nil {
		line += fmt.Sprintf(", fall %.2f ft", float64(*p.Summary.Fall)/0.3048)
	}
	if p.Summary.Outlet != "" {
		line += " to " + p.Summary.Outlet
	}
	fmt.Fprintf(&b, `<text x="%.0f" y="%.0f" font-weight="bold">%s.</text>`, margin, height+18, esc(line))
	y := height + 40
	cautions := p.Cautions
	if len(cautions) == 0 {
		cautions = parcels.Cautions
	}
	if !withCautions {
		cautions = nil
	}
	for _, c := range cautions {
		for _, row := range wrap(c, 128) {
			fmt.Fprintf(&b, `<text x="%.0f" y="%.0f" font-size="11.5" fill="#7a3b00">%s</text>`, margin, y, esc(row))
			y += 14
		}
	}
	b.WriteString(`</svg>`)
	return b.String(), nil
}

func esc(s string) string { return template.HTMLEscapeString(s) }

// wrap breaks a text into rows of at most n characters.
func wrap(s string, n int) (rows []string) {
	row := ""
	for _, w := range strings.Fields(s) {
		if row != "" && len(row)+1+len(w) > n {
			rows, row = append(rows, row), ""
		}
		if row != "" {
			row += " "
		}
		row += w
	}
	return append(rows, row)
}
