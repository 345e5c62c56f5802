package verify

// Plans made by hand: a lot of 100 ft by 150 ft falling to the rear, two
// downspouts and a yard basin, joined to an inlet beyond the rear line within a
// drainage easement. Worked in metres from the lot's front left corner; every
// figure follows from the few set here by the formula beside it.

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"github.com/paulmach/orb"

	"fallwright/geo/frame"
	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/hydro/gradeline"
	"fallwright/hydro/pipe"
	"fallwright/parcels"
)

type obj = map[string]any

type fixture struct {
	t        *testing.T
	site     obj
	plan     obj
	criteria parcels.Criteria
	to       func(x, y float64) []any // plane of the hand work to the document
}

func (f *fixture) bytes() (site, plan []byte) {
	a, err := json.Marshal(f.site)
	if err != nil {
		f.t.Fatal(err)
	}
	b, err := json.Marshal(f.plan)
	if err != nil {
		f.t.Fatal(err)
	}
	return a, b
}

func (f *fixture) verify() parcels.Verification {
	s, p := f.bytes()
	v, err := Checker{}.Verify(s, f.criteria, p)
	if err != nil {
		f.t.Fatalf("could not judge: %v", err)
	}
	return v
}

// failed lists the checks that did not pass.
func failed(v parcels.Verification) (names []string, detail string) {
	var d []string
	for _, c := range v.Checks {
		if !c.Passed {
			names = append(names, c.Check)
			d = append(d, c.Check+" @ "+c.Where+": "+c.Detail)
		}
	}
	return names, strings.Join(d, "\n")
}

func (f *fixture) feature(id string) obj {
	for _, k := range f.plan["network"].(obj)["features"].([]any) {
		p := k.(obj)["properties"].(obj)
		if p["run"] == id || p["point"] == id {
			return k.(obj)
		}
	}
	f.t.Fatalf("no feature %s", id)
	return nil
}

func (f *fixture) props(id string) obj { return f.feature(id)["properties"].(obj) }

func (f *fixture) layer(name string) []any {
	return f.site["layers"].(obj)[name].(obj)["features"].([]any)
}

// shape sets the geometry of a network feature from hand coordinates.
func (f *fixture) shape(id string, xy ...float64) {
	var c []any
	for i := 0; i < len(xy); i += 2 {
		c = append(c, f.to(xy[i], xy[i+1]))
	}
	g := f.feature(id)["geometry"].(obj)
	if g["type"] == "Point" {
		g["coordinates"] = c[0]
	} else {
		g["coordinates"] = c
	}
}

func (f *fixture) find(code, severity, feature, message string, more ...any) {
	o := obj{"code": code, "severity": severity, "feature": feature, "message": message}
	for i := 0; i < len(more); i += 2 {
		o[more[i].(string)] = more[i+1]
	}
	f.plan["findings"] = append(f.plan["findings"].([]any), o)
}

func (f *fixture) add(layer string, geometry obj, props obj) {
	l, ok := f.site["layers"].(obj)[layer].(obj)
	if !ok {
		l = obj{"type": "FeatureCollection", "features": []any{}}
		f.site["layers"].(obj)[layer] = l
	}
	l["features"] = append(l["features"].([]any), obj{"type": "Feature", "geometry": geometry, "properties": props})
}

func (f *fixture) ring(xy ...float64) obj {
	var r []any
	for i := 0; i < len(xy); i += 2 {
		r = append(r, f.to(xy[i], xy[i+1]))
	}
	r = append(r, r[0])
	return obj{"type": "Polygon", "coordinates": []any{r}}
}

func (f *fixture) point(x, y float64) obj {
	return obj{"type": "Point", "coordinates": f.to(x, y)}
}

// ground of the hand-made yard, a plane: falls 3 % to the rear, 0.4 % to the left.
func handGround(x, y float64) float64 { return 100 - 0.03*y + 0.004*x }

func round4(v float64) float64 { return math.Round(v*1e4) / 1e4 }

// feet gives a document in US survey feet of EPSG:2274.
func feet(t *testing.T) *fixture {
	const foot = 1200.0 / 3937
	to := func(x, y float64) []any {
		return []any{round4(1740000.25 + x/foot), round4(650000.75 + y/foot)}
	}
	return handMade(t, "EPSG:2274", to, obj{"crs": "EPSG:2274", "metres_per_unit": 1200.0 / 3937, "plane": "grid"})
}

// degrees gives the same yard in longitude and latitude; PROJ takes the hand
// work there.
func degrees(t *testing.T) *fixture {
	lon, lat := -86.8101234, 36.0409876
	// the middle of the parcels' bounds: the two lots are 30.48 m by 91.44 m
	near, err := frame.New("", orb.Bound{Min: orb.Point{lon, lat}, Max: orb.Point{lon, lat}})
	if err != nil {
		t.Fatal(err)
	}
	at := func(x, y float64) orb.Point {
		p := near.Document(orb.Point{x - 15.24, y - 45.72})
		return orb.Point{math.Round(p[0]*1e9) / 1e9, math.Round(p[1]*1e9) / 1e9}
	}
	b := orb.MultiPoint{at(0, 0), at(30.48, 0), at(0, 91.44), at(30.48, 91.44)}.Bound()
	own, err := frame.New("", b)
	if err != nil {
		t.Fatal(err)
	}
	to := func(x, y float64) []any { p := at(x, y); return []any{p[0], p[1]} }
	return handMade(t, "", to, obj{"crs": "OGC:CRS84", "plane": "transverse Mercator", "metres_per_unit": 1, "centre_lon": own.Origin()[0], "centre_lat": own.Origin()[1]})
}

// metres gives the yard in a system in metres.
func metres(t *testing.T) *fixture {
	to := func(x, y float64) []any { return []any{round4(950000 + x), round4(6700000 + y)} }
	return handMade(t, "EPSG:2154", to, obj{"crs": "EPSG:2154", "metres_per_unit": 1, "plane": "grid"})
}

type handNode struct {
	id, kind string
	x, y     float64
	invert   float64
}

func handMade(t *testing.T, crs string, to func(x, y float64) []any, frameStatement obj) *fixture {
	f := &fixture{t: t, to: to, criteria: parcels.DefaultCriteria()}
	f.site = obj{"site": "By hand", "elevation_unit": "m", "layers": obj{}}
	if crs != "" {
		f.site["crs"] = crs
	}
	f.add("parcels", f.ring(0, 0, 30.48, 0, 30.48, 45.72, 0, 45.72), obj{"lot": "1", "line_source": "survey"})
	f.add("parcels", f.ring(0, 45.72, 30.48, 45.72, 30.48, 91.44, 0, 91.44), obj{"lot": "2", "line_source": "survey"})
	f.add("buildings", f.ring(8, 10, 22, 10, 22, 22, 8, 22), obj{"name": "house"})
	f.add("easements", f.ring(0, 42.67, 30.48, 42.67, 30.48, 48.77, 0, 48.77), obj{"easement": "E1", "kind": "drainage"})
	f.add("obstacles", obj{"type": "LineString", "coordinates": []any{to(2, -5), to(2, 50)}}, obj{"obstacle": "gas", "kind": "utility", "width_m": 0.1})
	f.add("obstacles", f.point(26, 40), obj{"obstacle": "oak", "kind": "tree", "radius_m": 3})
	f.add("inlets", f.point(15, 47), obj{"inlet": "I1", "system": "storm", "rim_m": 98.7, "invert_m": 97.5, "outgoing_diameter_mm": 300})
	f.add("intakes", f.point(10, 22), obj{"intake": "D1", "lot": "1", "kind": "downspout", "roof_area_m2": 60})
	f.add("intakes", f.point(20, 22), obj{"intake": "D2", "lot": "1", "kind": "downspout", "roof_area_m2": 70})
	f.add("intakes", f.point(25, 28), obj{"intake": "B1", "lot": "1", "kind": "yard_basin", "yard_area_m2": 200})
	for x := -5.0; x <= 35; x += 5 {
		for y := -5.0; y <= 60; y += 5 {
			f.add("spots", f.point(x, y), obj{"elevation_m": handGround(x, y)})
		}
	}
	f.site["rainfall"] = obj{"table": []any{
		obj{"duration_min": 5, "return_years": 10, "depth_mm": 12.7},
		obj{"duration_min": 10, "return_years": 10, "depth_mm": 20.32},
		obj{"duration_min": 15, "return_years": 10, "depth_mm": 25.4},
		obj{"duration_min": 60, "return_years": 10, "depth_mm": 48.26},
		obj{"duration_min": 5, "return_years": 2, "depth_mm": 9},
		obj{"duration_min": 60, "return_years": 2, "depth_mm": 33},
	}}

	// 23.0678 is the wall at 22, 3 ft of clearance, half a foot of trench and the
	// millimetre in hand.
	nodes := []handNode{
		{id: "D1", kind: "intake", x: 10, y: 22}, {id: "D2", kind: "intake", x: 20, y: 22}, {id: "B1", kind: "intake", x: 25, y: 28},
		{id: "N1", kind: "bend", x: 10, y: 23.0678}, {id: "N2", kind: "bend", x: 20, y: 23.0678},
		{id: "W1", kind: "wye", x: 15, y: 30}, {id: "W2", kind: "wye", x: 15, y: 40},
		{id: "C1", kind: "cleanout", x: 15, y: 44.95}, {id: "I1", kind: "inlet", x: 15, y: 47},
	}
	at := map[string]*handNode{}
	for i := range nodes {
		n := &nodes[i]
		n.invert = math.Floor((handGround(n.x, n.y)-0.45)*1000) / 1000
		at[n.id] = n
	}
	const d, od, nMan = 0.1016, 0.1071, 0.012
	type hand struct {
		id, from, to, carries string
		area, roofCA, yardCA  float64
		tc, intensity         float64
		lead, tie             bool
	}
	const i5, i10 = 152.4, 121.92 // 12.7 mm in 5 min, 20.32 mm in 10 min
	runs := []hand{
		{id: "R1", from: "D1", to: "N1", carries: "roof", area: 60, roofCA: 57, tc: 5, intensity: i5, lead: true},
		{id: "R2", from: "N1", to: "W1", carries: "roof", area: 60, roofCA: 57, tc: 5, intensity: i5},
		{id: "R3", from: "D2", to: "N2", carries: "roof", area: 70, roofCA: 66.5, tc: 5, intensity: i5, lead: true},
		{id: "R4", from: "N2", to: "W1", carries: "roof", area: 70, roofCA: 66.5, tc: 5, intensity: i5},
		{id: "R5", from: "W1", to: "W2", carries: "roof", area: 130, roofCA: 123.5, tc: 5, intensity: i5},
		{id: "R6", from: "B1", to: "W2", carries: "yard", area: 200, yardCA: 70, tc: 10, intensity: i10},
		{id: "R7", from: "W2", to: "C1", carries: "mixed", area: 330, roofCA: 123.5, yardCA: 70, tc: 10, intensity: i10},
		{id: "R8", from: "C1", to: "I1", carries: "mixed", area: 330, roofCA: 123.5, yardCA: 70, tc: 10, intensity: i10, tie: true},
	}
	var features []any
	for _, n := range nodes {
		g := handGround(n.x, n.y)
		features = append(features, obj{"type": "Feature", "geometry": f.point(n.x, n.y), "properties": obj{
			"point": n.id, "kind": n.kind, "ground_m": round4(g), "rim_m": map[string]any{"I1": 98.7}[n.id], "invert_m": n.invert, "depth_m": round4(g - n.invert),
			"water_level_m": nil, "freeboard_m": nil, "angle_deg": map[string]any{"N1": 35.79, "N2": 35.79, "W1": 35.79, "W2": 39.81, "C1": 0.0}[n.id], "fittings": []any{}}})
	}
	var trenches []any
	total, leastSlope, deepest := 0.0, math.Inf(1), 0.0
	byID := map[string]hand{}
	length := map[string]float64{}
	for _, r := range runs {
		byID[r.id] = r
		a, b := at[r.from], at[r.to]
		l := math.Hypot(b.x-a.x, b.y-a.y)
		length[r.id] = l
		fall := a.invert - b.invert
		slope := fall / l
		q := r.intensity * (r.roofCA + r.yardCA) / 3.6e6
		// capacity full: 0.3117/n D^(8/3) S^(1/2), with 0.3117 = pi/4 (1/4)^(2/3)
		full := math.Pi / 4 * math.Pow(0.25, 2.0/3) / nMan * math.Pow(d, 8.0/3) * math.Sqrt(slope)
		ga, gb := handGround(a.x, a.y)-a.invert, handGround(b.x, b.y)-b.invert
		top := (d + od) / 2
		under := (od-d)/2 + 0.0508
		clear := min(a.x, b.x, 30.48-a.x, 30.48-b.x, a.y, b.y, 45.72-a.y, 45.72-b.y) - 0.1524
		fill, v, tau := slowNormal(q, d, nMan, slope)
		features = append(features, obj{"type": "Feature", "geometry": obj{"type": "LineString", "coordinates": []any{to(a.x, a.y), to(b.x, b.y)}}, "properties": obj{
			"run": r.id, "from": r.from, "to": r.to, "lot": "1", "trench": "T" + r.id[1:], "carries": r.carries, "pipe": "solid", "wall": "smooth", "size": "4 in",
			"diameter_mm": 101.6, "outside_diameter_mm": 107.1, "pipe_count": 1, "n": nMan, "length_m": math.Round(l*1000) / 1000, "fall_m": math.Round(fall*1000) / 1000,
			"slope": math.Round(slope*1e6) / 1e6, "invert_up_m": a.invert, "invert_down_m": b.invert, "area_m2": r.area, "time_of_concentration_min": r.tc, "intensity_mmh": r.intensity,
			"flow_m3s": math.Round(q*1e6) / 1e6, "capacity_m3s": math.Round(full*1e6) / 1e6, "fill_ratio": math.Round(fill*1e4) / 1e4, "velocity_ms": math.Round(v*1e4) / 1e4, "shear_pa": math.Round(tau*100) / 100,
			"least_cover_m": math.Round((min(ga, gb)-top)*1000) / 1000, "greatest_depth_m": math.Round((max(ga, gb)+under)*1000) / 1000, "least_clearance_m": math.Round(clear*1000) / 1000,
			"tie_in": r.tie, "lead_off": r.lead, "roof_ca_m2": r.roofCA, "yard_ca_m2": r.yardCA, "stated_flow_m3s": 0}})
		l3 := math.Round(l*1000) / 1000
		total += l3
		leastSlope = min(leastSlope, slope)
		dpt := math.Round((max(ga, gb)+under)*1000) / 1000
		deepest = max(deepest, dpt)
		mean := (ga+gb)/2 + under
		trenches = append(trenches, obj{"trench": "T" + r.id[1:], "runs": []any{r.id}, "width_m": 0.3048, "length_m": l3, "least_depth_m": math.Round((min(ga, gb)+under)*1000) / 1000,
			"mean_depth_m": math.Round(mean*1000) / 1000, "greatest_depth_m": dpt, "excavation_m3": math.Round(0.3048*mean*l*1000) / 1000,
			// bedding, pipe and 6 in over it, less the pipe; no fabric round a solid pipe
			"stone_m3": math.Round(((0.0508+od+0.1524)*0.3048-math.Pi*od*od/4)*l*1000) / 1000, "fabric_m2": 0, "cap_m3": math.Round(0.1016*0.3048*l*1000) / 1000})
	}
	var profiles []any
	for _, way := range [][]string{{"R1", "R2", "R5", "R7", "R8"}, {"R3", "R4", "R5", "R7", "R8"}, {"R6", "R7", "R8"}} {
		var rows, ids []any
		s := 0.0
		row := func(n *handNode) {
			g := handGround(n.x, n.y)
			rows = append(rows, obj{"at": to(n.x, n.y), "station_m": math.Round(s*1000) / 1000, "point": n.id, "ground_m": round4(g), "invert_m": n.invert, "crown_m": round4(n.invert + d), "water_level_m": nil, "cut_m": round4(g - n.invert)})
		}
		row(at[byID[way[0]].from])
		for _, id := range way {
			s += length[id]
			ids = append(ids, id)
			row(at[byID[id].to])
		}
		profiles = append(profiles, obj{"from": byID[way[0]].from, "to": "I1", "runs": ids, "rows": rows})
	}
	// the trunk: R4 brings more than R2, R5 more than R6
	var points []any
	station, above := 0.0, obj(nil)
	for _, id := range []string{"R3", "R4", "R5", "R7", "R8"} {
		var q obj
		for _, x := range features {
			if o := x.(obj)["properties"].(obj); o["run"] == id {
				q = o
			}
		}
		flow := q["flow_m3s"].(float64)
		added := flow
		if above != nil {
			added -= above["flow_m3s"].(float64)
		}
		joins := map[string][]any{"R5": {"R2"}, "R7": {"R6"}}[id]
		if joins == nil {
			joins = []any{}
		}
		points = append(points, obj{"point": q["from"], "run": id, "station_m": math.Round(station*1000) / 1000, "joins": joins, "lots": []any{}, "added_m3s": added, "flow_m3s": flow,
			"ca_m2": byID[id].roofCA + byID[id].yardCA, "time_of_concentration_min": byID[id].tc, "size": "4 in", "diameter_mm": 101.6, "pipe_count": 1, "grown": false,
			"spare": math.Round(1e4*(1-flow/q["capacity_m3s"].(float64))) / 1e4})
		station += length[id]
		above = q
	}
	var cautions []any
	for _, c := range parcels.Cautions {
		cautions = append(cautions, c)
	}
	f.plan = obj{"status": "preliminary", "site": "By hand", "frame": frameStatement,
		"summary": obj{"verdict": "feasible", "lots": []any{"1"}, "outlet": "I1", "length_m": math.Round(total*1000) / 1000, "trench_length_m": math.Round(total*1000) / 1000,
			"fall_m": math.Round((at["D1"].invert-at["I1"].invert)*1000) / 1000, "least_slope": math.Round(leastSlope*1e6) / 1e6, "flow_m3s": 0.006553, "greatest_depth_m": deepest, "cost_index": nil},
		"network":  obj{"type": "FeatureCollection", "features": features},
		"trenches": trenches, "profiles": profiles, "trunks": []any{obj{"outlet": "I1", "points": points}}, "alternatives": []any{}, "water_cases": []any{}, "bound": obj{},
		"findings": []any{}, "cautions": cautions, "assumptions": []any{"crs is not given: longitude, latitude."}, "rests_on": obj{}}
	high := max(at["D1"].invert, at["D2"].invert, at["B1"].invert)
	f.plan["summary"].(obj)["fall_m"] = math.Round((high-at["I1"].invert)*1000) / 1000
	f.chances()
	f.water()
	f.find("tie_in_permission", "warn", "I1", "A tie-in needs the owner's permission.")
	f.find("easement_permission", "warn", "R8", "Works in easement E1 need permission.")
	f.find("easement_permission", "warn", "R7", "Works in easement E1 need permission.")
	return f
}

// chances writes how sure the falls are: 0.01 m of a shot and 0.006 m of laying,
// at both ends, against the criteria's least slope.
func (f *fixture) chances() {
	each(f.plan["network"].(obj)["features"], func(o obj) {
		p := o["properties"].(obj)
		if p["run"] == nil {
			return
		}
		short := float64(f.criteria.Pipe.LeastSlope)*p["length_m"].(float64) - (p["invert_up_m"].(float64) - p["invert_down_m"].(float64))
		p["fall_sd_m"], p["chance_under_least_fall"] = 0.0165, math.Round(1e4*math.Erfc(-short/(2*math.Hypot(0.01, 0.006)))/2)/1e4
	})
}

// water writes the water levels that package gradeline works: an oracle of this
// checker's own, given a basin's square edge of 0.5 at each intake and the wyes'
// and bends' angles. Storms: the ratio of intensities by hand from the table, 2
// years by its rows, beyond 10 years its last column, times the frequency factor.
func (f *fixture) water() {
	var net gradeline.Network
	index := map[string]int{}
	var ids []string
	each(f.plan["network"].(obj)["features"], func(o obj) {
		p := o["properties"].(obj)
		if p["point"] == nil {
			return
		}
		n := gradeline.Node{Name: p["point"].(string)}
		switch p["kind"] {
		case "intake":
			n.Kind, n.Entrance, n.Rim = gradeline.Open, 0.5, parcels.Num(unit.Elevation(p["ground_m"].(float64)))
		case "inlet":
			net.Outlet = len(ids)
		}
		index[n.Name] = len(ids)
		ids = append(ids, n.Name)
		net.Nodes = append(net.Nodes, n)
	})
	var flows []obj
	each(f.plan["network"].(obj)["features"], func(o obj) {
		p := o["properties"].(obj)
		if p["run"] == nil {
			return
		}
		r := gradeline.Run{Name: p["run"].(string), From: index[p["from"].(string)], To: index[p["to"].(string)], Length: unit.Length(p["length_m"].(float64)),
			InvertUp: unit.Elevation(p["invert_up_m"].(float64)), InvertDown: unit.Elevation(p["invert_down_m"].(float64)),
			Pipes: pipe.Alike(1, pipe.Pipe{Diameter: unit.Length(p["diameter_mm"].(float64) / 1000), N: hydro.Roughness(p["n"].(float64))})}
		to := f.props(p["to"].(string))
		angle, _ := to["angle_deg"].(float64)
		switch {
		case to["kind"] == "wye" && (r.Name == "R2" || r.Name == "R4" || r.Name == "R6"):
			r.JoinAngle = angle
		case angle > 1 && to["kind"] != "wye":
			r.Bends = []float64{angle}
		}
		net.Runs = append(net.Runs, r)
		flows = append(flows, p)
	})
	of2 := map[float64]float64{5: 108, 10: 6 * math.Exp(math.Log(9)+math.Log(33.0/9)*math.Log(2)/math.Log(12))} // mm/h of the 2-year storm
	var cases []any
	for _, c := range []struct {
		name  string
		years float64
		level *unit.Elevation
	}{{"free_outfall", 2, nil}, {"free_outfall", 10, nil}, {"at_crown", 10, parcels.Num(unit.Elevation(97.8))}, {"at_rim", 10, parcels.Num(unit.Elevation(98.7))}, {"free_outfall", 25, nil}, {"free_outfall", 100, nil}} {
		net.Level = c.level
		for i, p := range flows {
			by := map[float64]float64{2: of2[p["time_of_concentration_min"].(float64)] / p["intensity_mmh"].(float64), 10: 1, 25: 1.1, 100: 1.25}[c.years]
			net.Runs[i].Flow = hydro.Flow(p["flow_m3s"].(float64) * by)
		}
		res, err := gradeline.Solve(net)
		if err != nil {
			f.t.Fatal(err)
		}
		levels := obj{}
		for i, n := range res.Nodes {
			levels[ids[i]] = math.Round(float64(n.Level)*1000) / 1000
		}
		cases = append(cases, obj{"case": c.name, "return_years": c.years, "outlet_level_m": c.level, "water_level_m": levels, "message": "x"})
		if c.name != "free_outfall" || c.years != 10 {
			continue
		}
		for _, id := range ids {
			p := f.props(id)
			p["water_level_m"] = levels[id]
			if rim, ok := p["rim_m"].(float64); ok {
				p["freeboard_m"] = rim - levels[id].(float64)
			}
		}
		each(f.plan["profiles"], func(q obj) {
			each(q["rows"], func(w obj) { w["water_level_m"] = levels[w["point"].(string)] })
		})
	}
	f.plan["water_cases"] = cases
}

// slowNormal scans the part-full circle for the flow: depth over diameter,
// velocity, shear.
func slowNormal(q, d, n, s float64) (fill, v, tau float64) {
	for x := 1e-3; x < 0.938; x += 2e-4 {
		th := 2 * math.Acos(1-2*x)
		a := d * d / 8 * (th - math.Sin(th))
		r := a / (d * th / 2)
		if a*math.Pow(r, 2.0/3)*math.Sqrt(s)/n >= q {
			return x, q / a, 9810 * r * s
		}
	}
	return 1, q / (math.Pi * d * d / 4), 9810 * d / 4 * s
}
