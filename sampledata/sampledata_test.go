package sampledata_test

// The sample is what its documentation says: strict GeoJSON, one site in two
// systems, lots that fit together, and each hard case measured with plain
// arithmetic of this file's own.

import (
	"bytes"
	"encoding/json"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"

	"fallwright/sampledata"
)

type pt [2]float64

type feature struct {
	ID    string
	Kind  string
	Parts [][][]pt // polygons: parts, rings; a line or point: one part, one ring
	Z     []float64
	Props map[string]any
}

type doc struct {
	top    map[string]json.RawMessage
	layers map[string][]feature
}

func read(t *testing.T, text []byte) doc {
	t.Helper()
	d := doc{layers: map[string][]feature{}}
	dec := json.NewDecoder(bytes.NewReader(text))
	if err := dec.Decode(&d.top); err != nil {
		t.Fatal(err)
	}
	if dec.More() {
		t.Fatal("text after the document")
	}
	var layers map[string]struct {
		Type     string `json:"type"`
		Features []struct {
			Type     string         `json:"type"`
			ID       string         `json:"id"`
			Props    map[string]any `json:"properties"`
			Geometry struct {
				Type        string          `json:"type"`
				Coordinates json.RawMessage `json:"coordinates"`
			} `json:"geometry"`
		} `json:"features"`
	}
	if err := json.Unmarshal(d.top["layers"], &layers); err != nil {
		t.Fatal(err)
	}
	for name, l := range layers {
		if l.Type != "FeatureCollection" {
			t.Errorf("%s: type %q", name, l.Type)
		}
		for _, f := range l.Features {
			g := feature{ID: f.ID, Kind: f.Geometry.Type, Props: f.Props}
			line := func(c [][]float64) []pt {
				var out []pt
				for _, p := range c {
					if len(p) < 2 || len(p) > 3 || len(p) != len(c[0]) {
						t.Fatalf("%s %s: position %v", name, f.ID, p)
					}
					out = append(out, pt{p[0], p[1]})
					if len(p) == 3 {
						g.Z = append(g.Z, p[2])
					}
				}
				return out
			}
			var err error
			switch f.Geometry.Type {
			case "Point":
				var c []float64
				err = json.Unmarshal(f.Geometry.Coordinates, &c)
				g.Parts = [][][]pt{{line([][]float64{c})}}
			case "LineString":
				var c [][]float64
				err = json.Unmarshal(f.Geometry.Coordinates, &c)
				g.Parts = [][][]pt{{line(c)}}
			case "Polygon":
				var c [][][]float64
				err = json.Unmarshal(f.Geometry.Coordinates, &c)
				g.Parts = [][][]pt{nil}
				for _, r := range c {
					g.Parts[0] = append(g.Parts[0], line(r))
				}
			case "MultiPolygon":
				var c [][][][]float64
				err = json.Unmarshal(f.Geometry.Coordinates, &c)
				for _, part := range c {
					var rings [][]pt
					for _, r := range part {
						rings = append(rings, line(r))
					}
					g.Parts = append(g.Parts, rings)
				}
			default:
				t.Errorf("%s %s: geometry %q", name, f.ID, f.Geometry.Type)
			}
			if err != nil || f.Type != "Feature" || f.ID == "" || f.Props == nil {
				t.Errorf("%s %s: %q %v", name, f.ID, f.Type, err)
			}
			d.layers[name] = append(d.layers[name], g)
		}
	}
	return d
}

func (d doc) find(t *testing.T, layer, id string) feature {
	t.Helper()
	for _, f := range d.layers[layer] {
		if f.ID == id {
			return f
		}
	}
	t.Fatalf("no %s %s", layer, id)
	return feature{}
}

func cross(o, a, b pt) float64 { return (a[0]-o[0])*(b[1]-o[1]) - (a[1]-o[1])*(b[0]-o[0]) }

func area(r []pt) float64 {
	var s float64
	for i := 1; i+1 < len(r); i++ {
		s += cross(r[0], r[i], r[i+1])
	}
	return s / 2
}

func segDist(p, a, b pt) float64 {
	dx, dy := b[0]-a[0], b[1]-a[1]
	t := 0.0
	if l := dx*dx + dy*dy; l > 0 {
		t = math.Max(0, math.Min(1, ((p[0]-a[0])*dx+(p[1]-a[1])*dy)/l))
	}
	return math.Hypot(p[0]-a[0]-t*dx, p[1]-a[1]-t*dy)
}

func ringDist(p pt, r []pt) float64 {
	d := math.Inf(1)
	for i := 1; i < len(r); i++ {
		d = math.Min(d, segDist(p, r[i-1], r[i]))
	}
	return d
}

func inside(p pt, r []pt) bool {
	in := false
	for i := 1; i < len(r); i++ {
		a, b := r[i-1], r[i]
		if (a[1] > p[1]) != (b[1] > p[1]) && p[0] < a[0]+(p[1]-a[1])/(b[1]-a[1])*(b[0]-a[0]) {
			in = !in
		}
	}
	return in
}

// proper says whether two segments cross in points inside both.
func proper(a, b, c, d pt) bool {
	return cross(a, b, c)*cross(a, b, d) < 0 && cross(c, d, a)*cross(c, d, b) < 0
}

func ringsCross(r, s []pt) bool {
	for i := 1; i < len(r); i++ {
		for j := 1; j < len(s); j++ {
			if proper(r[i-1], r[i], s[j-1], s[j]) {
				return true
			}
		}
	}
	return false
}

func TestPropertyStrictGeoJSON(t *testing.T) {
	for name, text := range map[string][]byte{"state plane": sampledata.StatePlane(), "longitude, latitude": sampledata.LonLat()} {
		d := read(t, text)
		for layer, fs := range d.layers {
			seen := map[string]bool{}
			for _, f := range fs {
				if seen[f.ID] {
					t.Errorf("%s: %s %s twice", name, layer, f.ID)
				}
				seen[f.ID] = true
				for _, part := range f.Parts {
					for k, r := range part {
						for i, p := range r {
							if i > 0 && p == r[i-1] {
								t.Errorf("%s: %s %s: vertex %d repeats", name, layer, f.ID, i)
							}
						}
						if !strings.HasSuffix(f.Kind, "Polygon") {
							continue
						}
						if len(r) < 4 || r[0] != r[len(r)-1] {
							t.Errorf("%s: %s %s: ring %d not closed", name, layer, f.ID, k)
						}
						if (area(r) > 0) != (k == 0) {
							t.Errorf("%s: %s %s: ring %d the wrong way round", name, layer, f.ID, k)
						}
						if ringsCross(r, r) {
							t.Errorf("%s: %s %s: ring %d crosses itself", name, layer, f.ID, k)
						}
					}
				}
				if layer == "spots" || layer == "swales" || layer == "breaklines" {
					if len(f.Z) != len(f.Parts[0][0]) {
						t.Errorf("%s: %s %s without elevations", name, layer, f.ID)
					}
				}
			}
		}
		if n := len(d.layers["parcels"]); n != 36 {
			t.Errorf("%s: %d lots", name, n)
		}
		if n := len(d.layers["inlets"]); n != 5 {
			t.Errorf("%s: %d inlets", name, n)
		}
		for _, f := range d.layers["parcels"] {
			if n := len(f.Props["line_roles"].([]any)); n != len(f.Parts[0][0])-1 {
				t.Errorf("%s: lot %s has %d edges and %d roles", name, f.ID, len(f.Parts[0][0])-1, n)
			}
		}
	}
}

// lambert is EPSG:2274 (NAD83 / Tennessee, US survey feet) by the closed
// formulas of a Lambert conformal conic on GRS 80: J. P. Snyder, Map
// Projections, USGS PP 1395 (1987), equations 15-1 to 15-8, 14-15, 15-9.
// Parallels 35 15 and 36 25 N, origin 34 20 N 86 W, false easting 600 000 m
// (EPSG). From memory, held by the agreement with PROJ itself below.
func lambert(lon, lat float64) pt {
	const a, f = 6378137.0, 1 / 298.257222101
	e := math.Sqrt(2*f - f*f)
	rad := math.Pi / 180
	m := func(p float64) float64 { return math.Cos(p) / math.Sqrt(1-e*e*math.Sin(p)*math.Sin(p)) }
	tt := func(p float64) float64 {
		s := e * math.Sin(p)
		return math.Tan(math.Pi/4-p/2) / math.Pow((1-s)/(1+s), e/2)
	}
	p1, p2, p0 := (35+15.0/60)*rad, (36+25.0/60)*rad, (34+20.0/60)*rad
	n := (math.Log(m(p1)) - math.Log(m(p2))) / (math.Log(tt(p1)) - math.Log(tt(p2)))
	F := m(p1) / (n * math.Pow(tt(p1), n))
	rho := a * F * math.Pow(tt(lat*rad), n)
	rho0 := a * F * math.Pow(tt(p0), n)
	th := n * (lon + 86) * rad
	const perFoot = 3937.0 / 1200
	return pt{(600000 + rho*math.Sin(th)) * perFoot, (rho0 - rho*math.Cos(th)) * perFoot}
}

// PROJ wrote the second file; the formulas here must bring it back onto the
// first to a millimetre. No datum shift: both files carry the same positions on
// NAD 83 and WGS 84, which differ on real ground by up to about 2 m.
func TestOracleTheTwoFilesAgree(t *testing.T) {
	feet, deg := read(t, sampledata.StatePlane()), read(t, sampledata.LonLat())
	worst := 0.0
	for layer, fs := range feet.layers {
		gs := deg.layers[layer]
		if len(fs) != len(gs) {
			t.Fatalf("%s: %d and %d features", layer, len(fs), len(gs))
		}
		for i, f := range fs {
			g := gs[i]
			if f.ID != g.ID || f.Kind != g.Kind || !reflect.DeepEqual(f.Props, g.Props) || !slices.Equal(f.Z, g.Z) {
				t.Fatalf("%s: %s and %s differ beside their positions", layer, f.ID, g.ID)
			}
			for a := range f.Parts {
				for b := range f.Parts[a] {
					for c, p := range f.Parts[a][b] {
						q := g.Parts[a][b][c]
						r := lambert(q[0], q[1])
						worst = math.Max(worst, math.Hypot(p[0]-r[0], p[1]-r[1])*1200/3937)
					}
				}
			}
		}
	}
	if !(worst < 0.001) {
		t.Errorf("positions differ by up to %.6f m", worst)
	}
	t.Logf("largest difference %.6f m", worst)
	for _, k := range []string{"site", "elevation_unit", "vertical_datum", "benchmark", "rainfall", "soil"} {
		if !bytes.Equal(feet.top[k], deg.top[k]) {
			t.Errorf("%s differs", k)
		}
	}
	if string(feet.top["crs"]) != `"EPSG:2274"` || deg.top["crs"] != nil {
		t.Errorf("crs is %s and %s", feet.top["crs"], deg.top["crs"])
	}
	for _, p := range feet.layers["parcels"] {
		if q := p.Parts[0][0][0]; q[0] < 1e5 || q[1] < 1e5 || q[0] > 1e7 {
			t.Errorf("lot %s at %v", p.ID, q)
		}
	}
}

// Lots neither overlap nor leave slivers: no lines cross, no corner of one
// lies inside another or within half a foot of another's line unless on it.
func TestPropertyLotsFitTogether(t *testing.T) {
	d := read(t, sampledata.StatePlane())
	type ring struct {
		lot string
		pts []pt
	}
	var rings []ring
	for _, f := range d.layers["parcels"] {
		for _, part := range f.Parts {
			rings = append(rings, ring{f.ID, part[0]})
		}
	}
	for i, r := range rings {
		for j, s := range rings {
			if i == j {
				continue
			}
			if ringsCross(r.pts, s.pts) {
				t.Errorf("lots %s and %s cross", r.lot, s.lot)
			}
			for _, p := range r.pts {
				dist := ringDist(p, s.pts)
				if slices.Contains(s.pts, p) {
					continue
				}
				if dist < 0.5 || inside(p, s.pts) {
					t.Errorf("a corner of %s lies at %v, %.4f ft from %s", r.lot, p, dist, s.lot)
				}
			}
			// a point just inside each edge belongs to one lot only
			for k := 1; k < len(r.pts); k++ {
				a, b := r.pts[k-1], r.pts[k]
				l := math.Hypot(b[0]-a[0], b[1]-a[1])
				q := pt{(a[0]+b[0])/2 - (b[1]-a[1])/l*0.01, (a[1]+b[1])/2 + (b[0]-a[0])/l*0.01}
				if inside(q, s.pts) {
					t.Errorf("lots %s and %s overlap at %v", r.lot, s.lot, q)
				}
			}
		}
	}
}

func lotOf(t *testing.T, d doc, id string) []pt { return d.find(t, "parcels", id).Parts[0][0] }

// Every building stands on its own lot, clear of the lines by 4 ft at least,
// and of each other; intakes stand on their lots, downspouts at the wall.
func TestPropertyYards(t *testing.T) {
	d := read(t, sampledata.StatePlane())
	for i, b := range d.layers["buildings"] {
		lot := b.Props["lot"].(string)
		ring := lotOf(t, d, lot)
		for _, p := range b.Parts[0][0] {
			if !inside(p, ring) || ringDist(p, ring) < 4 {
				t.Errorf("%s: wall corner %v is %.2f ft from the line of %s", b.ID, p, ringDist(p, ring), lot)
			}
		}
		for _, c := range d.layers["buildings"][i+1:] {
			if ringsCross(b.Parts[0][0], c.Parts[0][0]) {
				t.Errorf("%s and %s cross", b.ID, c.ID)
			}
		}
	}
	n := map[string]int{}
	for _, f := range d.layers["intakes"] {
		lot, p := f.Props["lot"].(string), f.Parts[0][0][0]
		if !inside(p, lotOf(t, d, lot)) {
			t.Errorf("intake %s is not on lot %s", f.ID, lot)
		}
		if f.Props["kind"] == "downspout" {
			n[lot]++
			house := d.find(t, "buildings", "house "+lot).Parts[0][0]
			if dist := ringDist(p, house); dist > 0.5 || inside(p, house) {
				t.Errorf("downspout %s stands %.2f ft off the wall", f.ID, dist)
			}
		}
	}
	for _, p := range d.layers["parcels"] {
		if n[p.ID] < 4 || n[p.ID] > 6 {
			t.Errorf("lot %s has %d downspouts", p.ID, n[p.ID])
		}
	}
	for _, o := range d.layers["obstacles"] {
		if k := o.Props["kind"]; k == "pool" || k == "shed" || k == "septic" {
			for _, p := range o.Parts[0][0] {
				if !inside(p, lotOf(t, d, o.Props["lot"].(string))) {
					t.Errorf("%s leaves its lot", o.ID)
				}
			}
		}
	}
	// bearings are not all square: lot lines point in many directions
	seen := map[int]bool{}
	for _, p := range d.layers["parcels"] {
		r := p.Parts[0][0]
		for i := 1; i < len(r); i++ {
			a := math.Atan2(r[i][1]-r[i-1][1], r[i][0]-r[i-1][0]) * 180 / math.Pi
			seen[int(math.Round(math.Mod(a+360, 90)))] = true
		}
	}
	if len(seen) < 20 {
		t.Errorf("only %d bearings modulo a right angle", len(seen))
	}
}

func num(t *testing.T, f feature, key string) float64 {
	t.Helper()
	v, ok := f.Props[key].(float64)
	if !ok {
		t.Fatalf("%s has no %s", f.ID, key)
	}
	return v
}

// invert gives rim, outgoing invert and its crown, in feet.
func structure(t *testing.T, f feature) (rim, invert, crown float64) {
	t.Helper()
	rim = num(t, f, "rim_ft")
	if v, ok := f.Props["invert_ft"].(float64); ok {
		invert = v
	} else {
		invert = rim - num(t, f, "dip_ft")
	}
	return rim, invert, invert + num(t, f, "outgoing_diameter_in")/12
}

func TestHandHardCases(t *testing.T) {
	d := read(t, sampledata.StatePlane())
	edges := func(id, role string) (out [][2]pt) {
		f := d.find(t, "parcels", id)
		r := f.Parts[0][0]
		for i, v := range f.Props["line_roles"].([]any) {
			if v == role {
				out = append(out, [2]pt{r[i], r[i+1]})
			}
		}
		return out
	}

	t.Run("side yard too narrow", func(t *testing.T) {
		// 2 ft to the line, 3 ft to the foundation and a 1 ft trench need 6 ft;
		// each of the two side lines comes nearer to the wall than that, so
		// front yard and rear yard do not join.
		house := d.find(t, "buildings", "house "+sampledata.SideTooNarrow).Parts[0][0]
		for _, e := range edges(sampledata.SideTooNarrow, "side") {
			least := math.Inf(1)
			for i := range house {
				least = math.Min(least, segDist(house[i], e[0], e[1]))
			}
			if !(least > 4 && least < 6) {
				t.Errorf("side yard of %.2f ft", least)
			}
		}
		// and every other house has room on at least one side
		for _, p := range d.layers["parcels"] {
			if p.ID == sampledata.SideTooNarrow {
				continue
			}
			most := 0.0
			for _, e := range edges(p.ID, "side") {
				least := math.Inf(1)
				for _, c := range d.find(t, "buildings", "house "+p.ID).Parts[0][0] {
					least = math.Min(least, segDist(c, e[0], e[1]))
				}
				most = math.Max(most, least)
			}
			if most < 6.5 {
				t.Errorf("lot %s has side yards of %.2f ft at most", p.ID, most)
			}
		}
	})
	t.Run("flag", func(t *testing.T) {
		// the pole is 20 to 30 ft wide for at least 50 ft, the body much wider
		s := edges(sampledata.Flag, "side")
		width := segDist(s[0][0], s[len(s)-1][0], s[len(s)-1][1])
		for i := 0; i <= 10; i++ {
			a := s[0]
			p := pt{a[0][0] + (a[1][0]-a[0][0])*float64(i)/10, a[0][1] + (a[1][1]-a[0][1])*float64(i)/10}
			w := segDist(p, s[len(s)-1][0], s[len(s)-1][1])
			if w < 20 || w > 31 {
				t.Errorf("pole %.1f ft wide", w)
			}
		}
		if l := math.Hypot(s[0][1][0]-s[0][0][0], s[0][1][1]-s[0][0][1]); l < 50 || width < 15 {
			t.Errorf("pole %.1f ft long", l)
		}
	})
	t.Run("pie", func(t *testing.T) {
		length := func(role string) (s float64) {
			for _, e := range edges(sampledata.Pie, role) {
				s += math.Hypot(e[1][0]-e[0][0], e[1][1]-e[0][1])
			}
			return s
		}
		if f, r := length("front"), length("rear"); !(f < 50 && r > 1.8*f) {
			t.Errorf("front %.1f ft, rear %.1f ft", f, r)
		}
	})
	t.Run("L", func(t *testing.T) {
		// one corner turns right by about a right angle, and the lot fills less
		// than 85 % of its convex hull (the hull of its corners, by sorting)
		r := lotOf(t, d, sampledata.LShaped)
		right := 0
		for i := 1; i < len(r); i++ {
			n := r[1:][i%(len(r)-1)]
			a := math.Atan2(cross(r[i-1], r[i], n), (r[i][0]-r[i-1][0])*(n[0]-r[i][0])+(r[i][1]-r[i-1][1])*(n[1]-r[i][1]))
			if a < -80*math.Pi/180 {
				right++
			}
		}
		if right != 1 || area(r)/area(hull(r)) > 0.88 {
			t.Errorf("%d right turns, %.2f of its hull", right, area(r)/area(hull(r)))
		}
	})
	t.Run("two pieces", func(t *testing.T) {
		f := d.find(t, "parcels", sampledata.TwoPieces)
		if f.Kind != "MultiPolygon" || len(f.Parts) != 2 {
			t.Fatalf("%s in %d parts", f.Kind, len(f.Parts))
		}
		gap := math.Inf(1)
		for _, p := range f.Parts[1][0] {
			gap = math.Min(gap, ringDist(p, f.Parts[0][0]))
		}
		if gap < 10 || gap > 25 {
			t.Errorf("pieces %.1f ft apart", gap)
		}
	})
	t.Run("ground below the inlet", func(t *testing.T) {
		in := d.find(t, "inlets", sampledata.NearInlet(sampledata.BelowInlet))
		_, invert, _ := structure(t, in)
		for _, f := range d.layers["intakes"] {
			if f.Props["lot"] == sampledata.BelowInlet && num(t, f, "rim_ft") > invert-1 {
				t.Errorf("%s at %.2f ft, the inlet's invert at %.2f", f.ID, num(t, f, "rim_ft"), invert)
			}
		}
		// no other inlet stands within 50 ft of the lot
		for _, o := range d.layers["inlets"] {
			if o.ID != in.ID && ringDist(o.Parts[0][0][0], lotOf(t, d, sampledata.BelowInlet)) < 50 {
				t.Errorf("inlet %s is near too", o.ID)
			}
		}
	})
	t.Run("drain over the line by 4 in", func(t *testing.T) {
		lot := lotOf(t, d, sampledata.DrainStrays)
		out := 0.0
		for _, p := range d.find(t, "drains", "DR-"+sampledata.DrainStrays).Parts[0][0] {
			if !inside(p, lot) {
				out = math.Max(out, ringDist(p, lot))
			}
		}
		if math.Abs(out*12-4) > 0.01 {
			t.Errorf("strays by %.3f in", out*12)
		}
	})
	t.Run("forbidden easement splits", func(t *testing.T) {
		// the band crosses the lot from side line to side line: both its long
		// edges cross both, and ground is left on either side
		e := d.find(t, "easements", "E4")
		if e.Props["trench"] != "forbidden" {
			t.Errorf("trench %v", e.Props["trench"])
		}
		for _, s := range edges(sampledata.SplitByEasement, "side") {
			n := 0
			r := e.Parts[0][0]
			for i := 1; i < len(r); i++ {
				if proper(r[i-1], r[i], s[0], s[1]) {
					n++
				}
			}
			if n != 2 || inside(s[0], r) || inside(s[1], r) {
				t.Errorf("the easement crosses a side line %d times", n)
			}
		}
		in := d.find(t, "inlets", sampledata.NearInlet(sampledata.SplitByEasement)).Parts[0][0][0]
		house := d.find(t, "buildings", "house "+sampledata.SplitByEasement).Parts[0][0][0]
		crossings := 0
		r := e.Parts[0][0]
		for i := 1; i < len(r); i++ {
			if proper(r[i-1], r[i], in, house) {
				crossings++
			}
		}
		if crossings != 2 {
			t.Error("the inlet is not behind the easement")
		}
	})
	t.Run("inlet backs up", func(t *testing.T) {
		f := d.find(t, "inlets", sampledata.BackedUp)
		top := math.Inf(-1)
		for _, row := range f.Props["tailwater"].([]any) {
			top = math.Max(top, row.([]any)[1].(float64))
		}
		rim := num(t, f, "rim_ft") * 0.3048
		if top < rim+0.1 || top > rim+0.3 {
			t.Errorf("water at %.3f m, rim at %.3f m", top, rim)
		}
		// the water does not reach the next inlet's tie-in level up the line
		_, _, crown := structure(t, d.find(t, "inlets", "I1"))
		if crown*0.3048 < top {
			t.Errorf("I1's crown %.3f m lies under it", crown*0.3048)
		}
	})
	t.Run("garage in the easement", func(t *testing.T) {
		g := d.find(t, "buildings", "garage "+sampledata.GarageInEasement).Parts[0][0]
		n := 0
		for _, p := range g {
			if inside(p, d.find(t, "easements", "E1").Parts[0][0]) {
				n++
			}
		}
		if n < 2 {
			t.Error("it stands clear")
		}
	})
	t.Run("fence dams the swale", func(t *testing.T) {
		f := d.find(t, "obstacles", "fence "+sampledata.FenceDamsSwale)
		w := d.find(t, "swales", "S2").Parts[0][0]
		fence := f.Parts[0][0]
		hit := false
		for i := 1; i < len(fence); i++ {
			for j := 1; j < len(w); j++ {
				hit = hit || proper(fence[i-1], fence[i], w[j-1], w[j]) || ringDist(fence[i], w) < 0.05
			}
		}
		if !hit || f.Props["bottom"] != "solid" {
			t.Error("it does not cross")
		}
	})
	t.Run("swale filled", func(t *testing.T) {
		// the flow line of S2, drawn downstream, rises once, beside the lot
		w := d.find(t, "swales", "S2")
		rises := 0
		for i := 1; i < len(w.Z); i++ {
			if w.Z[i] > w.Z[i-1] {
				rises++
				if dist := ringDist(w.Parts[0][0][i], lotOf(t, d, sampledata.SwaleFilled)); dist > 1 {
					t.Errorf("it rises %.1f ft away", dist)
				}
				if up := w.Z[i] - w.Z[i-1]; up < 0.15 || up > 0.4 {
					t.Errorf("it rises %.2f ft", up)
				}
			}
		}
		if rises != 1 {
			t.Errorf("%d rises", rises)
		}
	})
	t.Run("reach", func(t *testing.T) {
		// an inlet that NearInlet names stands within 15 ft of the lot's ground
		// 2.5 ft inside its line; one it does not name, farther
		for _, p := range d.layers["parcels"] {
			for _, in := range d.layers["inlets"] {
				dist := ringDist(in.Parts[0][0][0], p.Parts[0][0])
				if sampledata.NearInlet(p.ID) == in.ID && dist > 11.5 {
					t.Errorf("%s is %.1f ft from %s", in.ID, dist, p.ID)
				}
				if sampledata.NearInlet(p.ID) != in.ID && dist < 15 {
					t.Errorf("%s is %.1f ft from %s, which does not name it", in.ID, dist, p.ID)
				}
			}
		}
	})
}

// hull is the convex hull, monotone chain, closed.
func hull(r []pt) []pt {
	p := slices.Clone(r[:len(r)-1])
	slices.SortFunc(p, func(a, b pt) int {
		if a[0] != b[0] {
			return int(math.Copysign(1, a[0]-b[0]))
		}
		return int(math.Copysign(1, a[1]-b[1]))
	})
	half := func(q []pt) []pt {
		var h []pt
		for _, c := range q {
			for len(h) > 1 && cross(h[len(h)-2], h[len(h)-1], c) <= 0 {
				h = h[:len(h)-1]
			}
			h = append(h, c)
		}
		return h
	}
	lo := half(p)
	slices.Reverse(p)
	hi := half(p)
	return append(append(lo[:len(lo)-1], hi[:len(hi)-1]...), lo[0])
}

// The bowls hold what they are said to: rim shots level, one low shot in the
// middle, no other shot within the rim, ground that falls away on one side
// only under the rim (so it spills at the rim) and the cone's volume.
func TestHandBowls(t *testing.T) {
	d := read(t, sampledata.StatePlane())
	for _, b := range sampledata.Bowls {
		rim := d.find(t, "breaklines", "rim of bowl "+b.Lot)
		ring := rim.Parts[0][0]
		if len(ring) != 9 {
			t.Fatalf("%d rim shots", len(ring)-1)
		}
		var bottom *feature
		lowest, highest := math.Inf(1), math.Inf(-1)
		for _, s := range d.layers["spots"] {
			p := s.Parts[0][0][0]
			dist := ringDist(p, ring)
			switch {
			case inside(p, ring) && dist > 1:
				if bottom != nil {
					t.Errorf("%s: two shots inside", b.Lot)
				}
				bottom = &s
			case dist > 0.01 && dist < 30:
				lowest, highest = math.Min(lowest, s.Z[0]), math.Max(highest, s.Z[0])
			}
		}
		for _, z := range rim.Z {
			if z != rim.Z[0] {
				t.Errorf("%s: the rim is not level", b.Lot)
			}
		}
		if depth := rim.Z[0] - bottom.Z[0]; math.Abs(depth-b.DepthFt) > 0.005 {
			t.Errorf("%s: %.3f ft deep", b.Lot, depth)
		}
		// a third of base times height, feet to metres
		const survey = 1200.0 / 3937
		v := area(ring) * survey * survey * b.DepthFt * 0.3048 / 3
		if math.Abs(v/b.VolumeM3()-1) > 0.0005 {
			t.Errorf("%s: %.4f m3, said to hold %.4f", b.Lot, v, b.VolumeM3())
		}
		if !(lowest < rim.Z[0] && highest > rim.Z[0]) {
			t.Errorf("%s: shots about it from %.2f to %.2f, rim %.2f", b.Lot, lowest, highest, rim.Z[0])
		}
		t.Logf("bowl on %s: %.3f m3, rim %.2f ft", b.Lot, v, rim.Z[0])
	}
}

// The sample lot drains by hand arithmetic: from the farthest downspout along
// the side yard to the inlet at 1 % with 12 in of cover, no deeper than 4 ft,
// and in above the crown of the outgoing pipe.
func TestHandSampleLotDrains(t *testing.T) {
	d := read(t, sampledata.StatePlane())
	in := d.find(t, "inlets", sampledata.NearInlet(sampledata.Sample))
	rim, _, crown := structure(t, in)
	at := in.Parts[0][0][0]
	if in.Props["system"] != "storm" {
		t.Fatal("no storm inlet")
	}
	const (
		cover   = 1.0           // ft
		outside = 107.1 / 304.8 // 4 in pipe
		wall    = (107.1 - 101.6) / 2 / 304.8
		bedding = 2.0 / 12
		slope   = 0.01
	)
	spots := 0
	var highest, lowest feature
	for _, f := range d.layers["intakes"] {
		if f.Props["lot"] != sampledata.Sample {
			continue
		}
		if spots == 0 || num(t, f, "rim_ft") > num(t, highest, "rim_ft") {
			highest = f
		}
		if spots == 0 || num(t, f, "rim_ft") < num(t, lowest, "rim_ft") {
			lowest = f
		}
		spots++
	}
	if spots != 6 {
		t.Errorf("%d intakes", spots)
	}
	for _, f := range d.layers["intakes"] {
		if f.Props["lot"] != sampledata.Sample {
			continue
		}
		p := f.Parts[0][0][0]
		// at most: straight to the inlet, and 30 % more for going round
		length := 1.3 * math.Hypot(p[0]-at[0], p[1]-at[1])
		start := num(t, f, "rim_ft") - cover - outside + wall
		// the ground along the way is highest at the house: the arrival is
		// governed by the cover at the inlet, or by the start and the slope
		arrive := math.Min(start-slope*length, rim-cover-outside+wall)
		depth := rim - arrive + wall + bedding
		if arrive < crown || depth > 4 {
			t.Errorf("%s: %.0f ft, arrives at %.2f ft over a crown of %.2f, %.2f ft deep", f.ID, length, arrive, crown, depth)
		}
		t.Logf("%s: %.0f ft, start %.2f, arrives %.2f, crown %.2f, depth there %.2f", f.ID, length, start, arrive, crown, depth)
	}
	if num(t, lowest, "rim_ft") >= num(t, highest, "rim_ft") || lowest.Props["kind"] != "yard_basin" {
		t.Error("the yard basin is not the lowest intake")
	}
	// the width of the side yards: 6 ft are needed on one side at least
	for _, layer := range []string{"perforated_runs", "swales", "easements"} {
		if len(d.layers[layer]) == 0 {
			t.Errorf("no %s", layer)
		}
	}
}

// The rain table grows with the return period and with the duration, and its
// intensity falls with the duration.
func TestPropertyRainfall(t *testing.T) {
	var r struct {
		Table []struct {
			Duration float64 `json:"duration_min"`
			Return   float64 `json:"return_years"`
			Depth    float64 `json:"depth_mm"`
		}
	}
	if err := json.Unmarshal(read(t, sampledata.StatePlane()).top["rainfall"], &r); err != nil {
		t.Fatal(err)
	}
	for _, a := range r.Table {
		for _, b := range r.Table {
			if a.Return == b.Return && a.Duration < b.Duration && !(a.Depth < b.Depth && a.Depth/a.Duration > b.Depth/b.Duration) {
				t.Errorf("%v and %v", a, b)
			}
			if a.Duration == b.Duration && a.Return < b.Return && a.Depth >= b.Depth {
				t.Errorf("%v and %v", a, b)
			}
		}
	}
	if len(r.Table) != 60 {
		t.Errorf("%d rows", len(r.Table))
	}
}
