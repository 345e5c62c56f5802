package verify

// Lies: a right plan with one thing changed, each to be caught by the check
// named. What else then fails is not asked, but for the ones marked only.

import (
	"encoding/json"
	"math"
	"slices"
	"strings"
	"testing"

	"fallwright/geo/unit"
	"fallwright/parcels"
)

type lie struct {
	name  string
	check string
	tell  func(f *fixture)
}

func set(id, key string, v any) func(*fixture) {
	return func(f *fixture) { f.props(id)[key] = v }
}

func summary(key string, v any) func(*fixture) {
	return func(f *fixture) { f.plan["summary"].(obj)[key] = v }
}

func criteria(change func(c *parcels.Criteria)) func(*fixture) {
	return func(f *fixture) { change(&f.criteria) }
}

func each(list any, do func(o obj)) {
	for _, x := range list.([]any) {
		do(x.(obj))
	}
}

// scale multiplies a number of a run.
func scale(id, key string, by float64) func(*fixture) {
	return func(f *fixture) { f.props(id)[key] = f.props(id)[key].(float64) * by }
}

func all(fs ...func(*fixture)) func(*fixture) {
	return func(f *fixture) {
		for _, g := range fs {
			g(f)
		}
	}
}

// reverse changes the direction of a run, with its figures.
func reverse(id string) func(*fixture) {
	return func(f *fixture) {
		p := f.props(id)
		p["from"], p["to"] = p["to"], p["from"]
		slices.Reverse(f.feature(id)["geometry"].(obj)["coordinates"].([]any))
	}
}

func without(list *any, keep func(o obj) bool) {
	var out []any
	each(*list, func(o obj) {
		if keep(o) {
			out = append(out, o)
		}
	})
	*list = out
}

func drop(id string) func(*fixture) {
	return func(f *fixture) {
		n := f.plan["network"].(obj)
		fs := n["features"]
		without(&fs, func(o obj) bool { p := o["properties"].(obj); return p["run"] != id && p["point"] != id })
		n["features"] = fs
	}
}

// remedies makes the plan an infeasible one with a remedy told.
func remedies(r obj) func(*fixture) {
	return func(f *fixture) {
		s := f.plan["summary"].(obj)
		s["verdict"], s["why_not"] = "not_feasible", "Too low."
		f.find("arrival_level", "stop", "I1", "Too low.")
		f.plan["remedies"] = []any{r}
	}
}

// coverStep is one that may stand in a remedy of two.
var coverStep = obj{"remedy": "less_cover", "from": 0.3048, "to": 0.2}

func trenchField(i int, key string, v any) func(*fixture) {
	return func(f *fixture) { f.plan["trenches"].([]any)[i].(obj)[key] = v }
}

func rowField(profile, row int, key string, v any) func(*fixture) {
	return func(f *fixture) {
		f.plan["profiles"].([]any)[profile].(obj)["rows"].([]any)[row].(obj)[key] = v
	}
}

func siteProps(layer string, i int, key string, v any) func(*fixture) {
	return func(f *fixture) { f.layer(layer)[i].(obj)["properties"].(obj)[key] = v }
}

// taken draws lot 2 so that it takes a corner of lot 1: 0.12 m deep at x = 3, over
// 6 m, far from the trenches.
func taken(f *fixture) {
	f.layer("parcels")[1].(obj)["geometry"] = f.ring(0, 45.72, 3, 45.60, 6, 45.72, 30.48, 45.72, 30.48, 91.44, 0, 91.44)
}

// inPartTold ends the shots at x = 22, so that the upper 3/10 of R6, which comes down
// from x = 25 to 15, lie outside them, and tells of it as a plan must.
func inPartTold(f *fixture) {
	f.site["layers"].(obj)["spots"] = obj{"type": "FeatureCollection", "features": []any{}}
	for _, x := range []float64{-5, 0, 5, 10, 15, 20, 22} {
		for y := -5.0; y <= 60; y += 5 {
			f.add("spots", f.point(x, y), obj{"elevation_m": handGround(x, y)})
		}
	}
	siteProps("intakes", 2, "rim_m", round4(handGround(25, 28)))(f)
	b1 := f.props("B1")
	b1["rim_m"] = round4(handGround(25, 28))
	b1["freeboard_m"] = round4(b1["rim_m"].(float64) - b1["water_level_m"].(float64))
	deepest := 0.0
	each(f.plan["network"].(obj)["features"], func(o obj) {
		p := o["properties"].(obj)
		if p["run"] == "R6" {
			p["least_cover_m"], p["greatest_depth_m"] = nil, nil
		} else if d, ok := p["greatest_depth_m"].(float64); ok {
			deepest = max(deepest, d)
		}
	})
	summary("greatest_depth_m", deepest)(f)
	f.find("ground_unknown", "warn", "R6", "Run R6 leaves the surveyed ground.", "not_proven", true, "cure", "Shoot the ground along it.")
	summary("verdict", "not_proven")(f)
	summary("cure", "Shoot the ground along it.")(f)
}

// A plan over ground known in part passes where it tells so.
func TestHandGroundInPart(t *testing.T) {
	for name, make := range map[string]func(*testing.T) *fixture{"feet": feet, "degrees": degrees, "metres": metres} {
		f := make(t)
		inPartTold(f)
		v := f.verify()
		if names, d := failed(v); len(names) > 0 {
			t.Errorf("%s: %s", name, d)
		}
		for _, c := range v.Checks {
			// 3/10 of the run's 15.62 m
			if c.Check == "ground_in_part" && (c.Worst == nil || math.Abs(*c.Worst-0.3*math.Hypot(10, 12)) > 0.11) {
				t.Errorf("%s: %v m outside the shots", name, c.Worst)
			}
		}
	}
}

// A first run of 1.9 m where 1.07 m clear the wall is too long, unless another lot is
// drawn over the ground between.
func TestHandLeadOffPastAnOverlap(t *testing.T) {
	for _, over := range []bool{false, true} {
		f := feet(t)
		f.shape("R3", 20, 22, 20, 23.9)
		f.shape("R4", 20, 23.9, 15, 30)
		f.shape("N2", 20, 23.9)
		if over { // 0.8 m of ground from 0.2 m before the wall on, over both sides of the way
			f.add("parcels", f.ring(19, 22.2, 30.48, 22.2, 30.48, 23, 19, 23), obj{"lot": "3", "line_source": "survey"})
		}
		for _, c := range f.verify().Checks {
			if c.Check == "lead_off_run" && c.Passed != over {
				t.Errorf("another lot over it %v: passed %v: %s", over, c.Passed, c.Detail)
			}
		}
	}
}

// Breaklines are ground as spots are.
func TestHandBreaklinesAlone(t *testing.T) {
	f := metres(t)
	spots := f.layer("spots")
	var lines []any
	for i := 0; i+14 <= len(spots); i += 14 { // a column of the grid, of one x
		var c []any
		each(spots[i:i+14], func(o obj) {
			c = append(c, append(append([]any{}, o["geometry"].(obj)["coordinates"].([]any)...), o["properties"].(obj)["elevation_m"]))
		})
		lines = append(lines, obj{"type": "Feature", "properties": obj{}, "geometry": obj{"type": "LineString", "coordinates": c}})
	}
	delete(f.site["layers"].(obj), "spots")
	f.site["layers"].(obj)["breaklines"] = obj{"type": "FeatureCollection", "features": lines}
	if names, d := failed(f.verify()); len(names) > 0 {
		t.Error(d)
	}
}

// caseField changes case i; in the fixture they are free_outfall of 2 and 10
// years, at_crown and at_rim of 10, free_outfall of 25 and 100.
func caseField(i int, change func(k obj)) func(*fixture) {
	return func(f *fixture) { change(f.plan["water_cases"].([]any)[i].(obj)) }
}

// stands moves the level of a point in a case, and where that is the case the plan
// is sized for, at the point and in the profiles too.
func stands(i int, id string, by float64) func(*fixture) {
	return func(f *fixture) {
		levels := f.plan["water_cases"].([]any)[i].(obj)["water_level_m"].(obj)
		levels[id] = levels[id].(float64) + by
		if i != 1 {
			return
		}
		f.props(id)["water_level_m"] = levels[id]
		each(f.plan["profiles"], func(q obj) {
			each(q["rows"], func(w obj) {
				if w["point"] == id {
					w["water_level_m"] = levels[id]
				}
			})
		})
	}
}

// trunkField changes a point of the table of where the sizes grow.
func trunkField(i int, key string, v any) func(*fixture) {
	return func(f *fixture) { f.plan["trunks"].([]any)[0].(obj)["points"].([]any)[i].(obj)[key] = v }
}

// came says what was come upon in the trench of R5, whose invert runs from W1
// (about 98.71) to W2 (about 98.41) over 10 m.
func came(props obj) func(*fixture) {
	return func(f *fixture) {
		o := obj{"run": "R5", "station_m": 5.0, "kind": "rock", "low_m": nil, "high_m": 98.0}
		for k, v := range props {
			o[k] = v
		}
		f.plan["met"] = []any{o}
	}
}

// bent gives run R5 a detour, its figures left as they are but for what the
// detour itself changes.
func bent(xy ...float64) func(*fixture) {
	return func(f *fixture) { f.shape("R5", append(append([]float64{15, 30}, xy...), 15, 40)...) }
}

// shareD2 leaves downspout D2 without an area of its own: it gets what D1 leaves
// of a roof of 130 m2.
func shareD2(f *fixture) {
	f.layer("buildings")[0].(obj)["properties"].(obj)["roof_area_m2"] = 130
	delete(f.layer("intakes")[1].(obj)["properties"].(obj), "roof_area_m2")
	f.props("D2")["roof_area_m2"] = 70.0
	f.find("roof_shared", "warn", "D2", "D2 is reckoned with 70 m2.")
}

var lies = []lie{
	// come upon in a trench
	{"through a rock", "met", came(obj{"high_m": 98.55})},
	{"a rock nearer than the bedding", "met", came(obj{"high_m": 98.53})},
	{"through a root", "met", came(obj{"kind": "root", "low_m": 98.5, "high_m": 98.6})},
	{"a utility within its clearance", "met", came(obj{"kind": "utility", "low_m": 98.2, "high_m": 98.3})},
	{"a utility within its clearance above", "met", came(obj{"kind": "utility", "low_m": 98.9, "high_m": 99.0})},
	{"met beyond the run", "met", came(obj{"station_m": 10.5})},
	{"met on no run", "met", came(obj{"run": "R99"})},
	{"met a thing of no kind", "met", came(obj{"kind": "ghost"})},
	{"upside down", "met", came(obj{"kind": "root", "low_m": 98.2, "high_m": 98.1})},

	// water levels
	{"a level lowered", "water_levels", stands(1, "W2", -0.02)},
	{"a level raised", "water_levels", stands(1, "B1", 0.02)},
	{"a level lowered under a full inlet", "water_levels", stands(3, "C1", -0.02)},
	{"a level of a rare storm lowered", "water_levels", stands(5, "D1", -0.02)},
	{"the levels of a lesser storm", "water_levels", func(f *fixture) {
		w := f.plan["water_cases"].([]any)
		w[5].(obj)["water_level_m"] = w[0].(obj)["water_level_m"]
	}},
	{"a return period raised", "water_levels", caseField(4, func(k obj) { k["return_years"] = 50.0 })},
	{"a case missing", "water_levels", func(f *fixture) { f.plan["water_cases"] = f.plan["water_cases"].([]any)[:5] }},
	{"no full inlet told", "water_levels", func(f *fixture) {
		w := f.plan["water_cases"].([]any)
		f.plan["water_cases"] = append(append([]any{}, w[:3]...), w[4:]...)
	}},
	{"a case twice", "water_levels", func(f *fixture) {
		f.plan["water_cases"] = append(f.plan["water_cases"].([]any), f.plan["water_cases"].([]any)[0])
	}},
	{"a case of a state that is not asked for", "water_levels", caseField(2, func(k obj) { k["case"] = "stated" })},
	{"a lower water in the inlet", "water_levels", caseField(3, func(k obj) { k["outlet_level_m"] = 98.5 })},
	{"a point left out of a case", "water_levels", caseField(3, func(k obj) { delete(k["water_level_m"].(obj), "W1") })},
	{"a spill that is none", "water_levels", caseField(5, func(k obj) { k["first_spill"] = "B1" })},
	{"nothing spills", "water_levels", siteProps("intakes", 2, "rim_m", 98.75)}, // B1: the pipe under it takes more
	{"it runs over in no storm", "water_levels", func(f *fixture) { f.find("runs_over", "note", "", "x", "lot", "1", "measured", 25.0) }},
	{"a point's water told lower", "water_levels", func(f *fixture) { f.props("B1")["water_level_m"] = f.props("B1")["water_level_m"].(float64) - 0.01 }},
	{"freeboard told greater", "water_levels", func(f *fixture) {
		f.props("D1")["rim_m"] = f.props("D1")["ground_m"]
		f.props("D1")["freeboard_m"] = 0.9
	}},
	{"a profile's water told lower", "water_levels", rowField(0, 1, "water_level_m", 98.0)},
	{"an opening without its freeboard", "water_levels", func(f *fixture) {
		f.add("openings", f.point(20, 21), obj{"kind": "window_well", "level_m": 99.6})
	}},
	{"water levels in a yard without rain", "water_levels", func(f *fixture) { delete(f.site, "rainfall") }},

	// where the sizes grow
	{"no table of the trunk", "trunk", func(f *fixture) { f.plan["trunks"] = []any{} }},
	{"a trunk to nowhere", "trunk", func(f *fixture) { f.plan["trunks"].([]any)[0].(obj)["outlet"] = "I9" }},
	{"a point left out", "trunk", func(f *fixture) {
		t := f.plan["trunks"].([]any)[0].(obj)
		t["points"] = slices.Delete(slices.Clone(t["points"].([]any)), 1, 2)
	}},
	{"its head left out", "trunk", func(f *fixture) {
		t := f.plan["trunks"].([]any)[0].(obj)
		t["points"] = t["points"].([]any)[1:]
	}},
	{"the way of less water", "trunk", func(f *fixture) {
		t := f.plan["trunks"].([]any)[0].(obj)["points"].([]any)
		for i, id := range []string{"R1", "R2"} {
			r := f.props(id)
			for _, k := range []string{"flow_m3s", "size", "diameter_mm", "pipe_count"} {
				t[i].(obj)[k] = r[k]
			}
			t[i].(obj)["run"], t[i].(obj)["point"], t[i].(obj)["ca_m2"] = id, r["from"], 57.0
		}
		t[2].(obj)["joins"] = []any{"R4"}
	}},
	{"a joining run not named", "trunk", trunkField(2, "joins", []any{})},
	{"flow of another run", "trunk", trunkField(2, "flow_m3s", 0.001)},
	{"what is added halved", "trunk", trunkField(2, "added_m3s", 0.0012)},
	{"a size that did not grow", "trunk", trunkField(3, "grown", true)},
	{"another pipe", "trunk", trunkField(3, "size", "6 in")},
	{"capacity to spare", "trunk", trunkField(3, "spare", 0.9)},
	{"no word of what is to spare", "trunk", trunkField(3, "spare", nil)},
	{"stations of another line", "trunk", trunkField(4, "station_m", 12.0)},
	{"area of another run", "trunk", trunkField(3, "ca_m2", 100.0)},

	// the text and the frame
	{"status dropped", "status", func(f *fixture) { delete(f.plan, "status") }},
	{"status says final", "status", func(f *fixture) { f.plan["status"] = "final" }},
	{"one caution dropped", "status", func(f *fixture) { f.plan["cautions"] = f.plan["cautions"].([]any)[1:] }},
	{"another system", "frame", func(f *fixture) { f.plan["frame"].(obj)["crs"] = "EPSG:2276" }},
	{"feet called metres and a half", "frame", func(f *fixture) { f.plan["frame"].(obj)["metres_per_unit"] = 1.5 }},
	{"survey feet called feet", "frame", func(f *fixture) { f.plan["frame"].(obj)["metres_per_unit"] = 0.3048 }},
	{"feet called metres", "frame", func(f *fixture) { f.plan["frame"].(obj)["metres_per_unit"] = 1 }},
	{"no unit", "frame", func(f *fixture) { delete(f.plan["frame"].(obj), "metres_per_unit") }},
	{"length is text", "document", set("R5", "length_m", "10")},
	{"length missing", "document", func(f *fixture) { delete(f.props("R5"), "length_m") }},
	{"two runs of one name", "document", set("R5", "run", "R7")},
	{"two points of one name", "document", set("C1", "point", "W1")},
	{"no summary", "document", func(f *fixture) { delete(f.plan, "summary") }},
	{"a severity of its own", "document", func(f *fixture) { f.find("x", "fatal", "R1", "x") }},
	{"half a pipe", "document", set("R5", "pipe_count", 0.5)},
	{"negative diameter", "document", set("R5", "diameter_mm", -101.6)},
	{"polygon in the network", "document", func(f *fixture) { f.feature("R5")["geometry"] = f.ring(0, 0, 1, 0, 1, 1) }},
	{"some levels null", "document", set("R5", "invert_up_m", nil)},

	// pipes that cannot be bought
	{"bore a size up, name kept", "stock", set("R5", "diameter_mm", 104.6)},
	{"smoother than the stock", "stock", set("R5", "n", 0.009)},
	{"thin wall", "stock", set("R5", "outside_diameter_mm", 102.0)},
	{"wall of another kind", "stock", set("R5", "wall", "corrugated")},
	{"name of a bigger pipe", "stock", set("R5", "size", "6 in")},
	{"pipe of no kind", "places", set("R5", "pipe", "slotted")},

	// places
	{"run ends short of its point", "places", func(f *fixture) { f.shape("R5", 15, 30, 15, 39.9) }},
	{"intake moved", "places", func(f *fixture) { f.shape("D1", 10, 22.01) }},
	{"inlet moved", "places", func(f *fixture) { f.shape("I1", 15, 46.99) }},
	{"intake invented", "places", all(set("N1", "kind", "intake"))},
	{"inlet invented", "places", set("C1", "kind", "inlet")},
	{"inlet called outlet", "places", set("I1", "kind", "outlet")},
	{"point of no kind", "places", set("W1", "kind", "magic")},
	{"run to nowhere", "places", set("R5", "to", "W9")},
	{"run to itself", "places", set("R5", "to", "W1")},

	// the tree
	{"two ways out", "tree", all(set("R6", "from", "D1"))},
	{"round and round", "tree", set("R7", "to", "W1")},
	{"last run dropped", "tree", drop("R8")},
	{"a branch from nowhere", "tree", all(drop("R1"))},
	{"water leaves the inlet", "tree", reverse("R8")},
	{"a run dropped", "connected", drop("R6")},
	{"a point by itself", "tree", func(f *fixture) {
		n := f.plan["network"].(obj)
		n["features"] = append(n["features"].([]any), obj{"type": "Feature", "geometry": f.point(5, 40), "properties": obj{"point": "X", "kind": "wye"}})
	}},
	{"intake left out", "connected", all(drop("R6"), drop("B1"))},
	{"intake of a lot not in the site", "connected", summary("lots", []any{"1", "99"})},
	{"no lots", "connected", summary("lots", []any{})},
	{"intake of another lot joined", "connected", siteProps("intakes", 2, "lot", "2")},
	{"middle run dropped", "connected", drop("R7")},

	// where it ends
	{"sanitary sewer", "outlet", siteProps("inlets", 0, "system", "sanitary")},
	{"combined sewer", "outlet", siteProps("inlets", 0, "system", "combined")},
	{"unknown sewer called feasible", "outlet", siteProps("inlets", 0, "system", "unknown")},
	{"system not given", "outlet", func(f *fixture) { delete(f.layer("inlets")[0].(obj)["properties"].(obj), "system") }},
	{"outlet of another name", "outlet", summary("outlet", "I2")},

	// the lot and its lines
	{"over the side line", "inside_lot", bent(-1, 35)},
	{"trench edge 1 mm over the line", "inside_lot", bent(0.1514, 35)},
	{"lot of another", "inside_lot", set("R5", "lot", "2")},
	{"lot of nobody", "inside_lot", set("R5", "lot", "7")},
	{"tie-in forgotten", "inside_lot", set("R8", "tie_in", false)},
	{"1 cm inside the clearance", "lot_line_clearance", bent(0.7520, 35)},
	{"a tenth of a millimetre inside the clearance", "lot_line_clearance", bent(0.7619, 35)},
	{"criteria's side clearance", "lot_line_clearance", all(criteria(func(c *parcels.Criteria) { c.Clearance.Rear = parcels.Num(unit.Length(0.7)) }), siteProps("parcels", 0, "line_roles", []any{"front", "side", "rear", "side"}))},
	{"ground that another lot takes too", "lot_line_clearance", func(f *fixture) {
		f.add("parcels", f.ring(0, 25, 14.6, 25, 14.6, 40, 0, 40), obj{"lot": "3"})
	}},
	{"a margin", "lot_line_clearance", criteria(func(c *parcels.Criteria) { c.Clearance.LineMargin = 0.01 })},
	{"the lot's own clearance", "lot_line_clearance", siteProps("parcels", 0, "clearance_m", 0.7)},
	{"the lot's own clearance in feet", "lot_line_clearance", siteProps("parcels", 0, "clearance_ft", 2.1)},
	{"least clearance told greater", "lot_line_clearance", scale("R5", "least_clearance_m", 1.01)},
	{"roles guessed and not told", "lot_line_clearance", criteria(func(c *parcels.Criteria) { c.Clearance.Rear = parcels.Num(unit.Length(3)) })},
	{"roles that do not fit", "lot_line_clearance", siteProps("parcels", 0, "line_roles", []any{"front", "side"})},
	{"a wider trench", "lot_line_clearance", trenchField(6, "width_m", 0.3348)},

	// walls and things
	{"through the house", "foundation_clearance", func(f *fixture) { f.shape("R2", 10, 23.0678, 15, 16, 15, 30) }},
	{"1 mm too near the wall", "foundation_clearance", func(f *fixture) { f.shape("R2", 10, 23.0658, 15, 30) }},
	{"perforated at the distance of solid", "foundation_clearance", set("R2", "pipe", "perforated")},
	{"a shed forgotten", "foundation_clearance", func(f *fixture) { f.add("buildings", f.ring(15.5, 34, 18, 34, 18, 36, 15.5, 36), obj{}) }},
	{"a ring of walls round a run", "foundation_clearance", func(f *fixture) {
		f.add("buildings", f.ring(1, 23.5, 29, 23.5, 29, 44.9, 1, 44.9), obj{})
	}},
	{"eaves with a wall behind", "foundation_clearance", func(f *fixture) {
		f.add("buildings", f.ring(15.8, 34, 18, 34, 18, 36, 15.8, 36), obj{"outline": "roof", "overhang_m": 0.2})
	}},
	{"a pool", "obstacle_clearance", func(f *fixture) {
		f.add("obstacles", f.ring(15.1, 33, 18, 33, 18, 36, 15.1, 36), obj{"kind": "pool"})
	}},
	{"a root zone", "obstacle_clearance", func(f *fixture) { f.add("obstacles", f.point(18, 35), obj{"kind": "tree", "radius_m": 2.9}) }},
	{"a root zone by the trunk", "obstacle_clearance", func(f *fixture) { f.add("obstacles", f.point(18, 35), obj{"kind": "tree", "trunk_mm": 240}) }},
	{"a root zone by the trunk in inches", "obstacle_clearance", func(f *fixture) { f.add("obstacles", f.point(18, 35), obj{"kind": "tree", "trunk_in": 9.6}) }},
	{"a well's clear space", "obstacle_clearance", func(f *fixture) { f.add("obstacles", f.point(18.1, 35), obj{"kind": "well"}) }},
	{"a septic field's own clear space", "obstacle_clearance", func(f *fixture) {
		f.add("obstacles", f.ring(18, 33, 20, 33, 20, 36, 18, 36), obj{"kind": "septic", "keep_clear_ft": 10})
	}},
	{"a gas main that must not be crossed", "obstacle_clearance", func(f *fixture) {
		f.add("obstacles", obj{"type": "LineString", "coordinates": []any{f.to(15.6, 20), f.to(15.6, 50)}}, obj{"kind": "utility", "crossing": "forbidden", "width_m": 0.1})
	}},
	{"a wall across", "obstacle_clearance", func(f *fixture) {
		f.add("obstacles", obj{"type": "LineString", "coordinates": []any{f.to(0, 35), f.to(30, 35)}}, obj{"kind": "wall"})
	}},
	{"an easement where no trench may lie", "forbidden_ground", siteProps("easements", 0, "trench", "forbidden")},
	{"an access easement", "forbidden_ground", siteProps("easements", 0, "kind", "access")},
	{"an easement of no kind", "forbidden_ground", func(f *fixture) { delete(f.layer("easements")[0].(obj)["properties"].(obj), "kind") }},
	{"a forbidden band", "forbidden_ground", func(f *fixture) {
		f.add("easements", obj{"type": "LineString", "coordinates": []any{f.to(0, 38), f.to(30, 38)}}, obj{"kind": "other", "width_ft": 10})
	}},
	{"a band a hand from the run", "forbidden_ground", func(f *fixture) {
		f.add("easements", obj{"type": "LineString", "coordinates": []any{f.to(16.2, 30), f.to(16.2, 40)}}, obj{"kind": "access", "width_m": 2.2})
	}},
	{"a forbidden band across the last run", "forbidden_ground", func(f *fixture) {
		f.add("easements", obj{"type": "LineString", "coordinates": []any{f.to(0, 46), f.to(30, 46)}}, obj{"kind": "access", "width_m": 0.5})
	}},
	{"a forbidden band beside the last run, into its trench before the structure", "forbidden_ground", func(f *fixture) {
		f.add("easements", f.ring(15.1, 45.5, 15.4, 45.5, 15.4, 46.5, 15.1, 46.5), obj{"kind": "access"})
	}},

	// the first and the last run
	{"tie-in beyond reach", "tie_in_run", criteria(func(c *parcels.Criteria) { c.TieIn.Reach = 2.04 })},
	{"tie-in with a bend", "tie_in_run", func(f *fixture) { f.shape("R8", 15, 44.95, 15.2, 46, 15, 47) }},
	{"tie-in in the middle", "tie_in_run", set("R5", "tie_in", true)},
	{"tie-in over the neighbour", "tie_in_run", siteProps("easements", 0, "trench", "forbidden")},
	{"tie-in beyond the easement", "tie_in_run", func(f *fixture) {
		f.layer("easements")[0].(obj)["geometry"] = f.ring(0, 42.67, 30.48, 42.67, 30.48, 46.5, 0, 46.5)
	}},
	{"tie-in edge beside the easement", "tie_in_run", func(f *fixture) {
		f.layer("easements")[0].(obj)["geometry"] = f.ring(0, 42.67, 15.1, 42.67, 15.1, 48.77, 0, 48.77)
	}},
	{"lead-off from a basin", "lead_off_run", set("R6", "lead_off", true)},
	{"lead-off further than needed", "lead_off_run", func(f *fixture) { f.shape("R1", 10, 22, 10, 23.2) }},
	{"lead-off aslant", "lead_off_run", func(f *fixture) { f.shape("R1", 10, 22, 10.5, 23.0678) }},
	{"lead-off with a bend", "lead_off_run", func(f *fixture) { f.shape("R1", 10, 22, 10.1, 22.5, 10, 23.0678) }},
	{"lead-off not clear", "foundation_clearance", func(f *fixture) { f.shape("R1", 10, 22, 10, 23.0) }},
	{"lead-off in the middle", "lead_off_run", set("R5", "lead_off", true)},
	{"lead-off forgotten", "foundation_clearance", set("R1", "lead_off", false)},
	{"permission asked for another run", "permission", func(f *fixture) { f.plan["findings"].([]any)[2].(obj)["feature"] = "R6" }},
	{"no permission to tie in", "permission", func(f *fixture) {
		f.plan["findings"] = f.plan["findings"].([]any)[1:]
		f.plan["findings"].([]any)[0].(obj)["feature"] = "R7"
	}},
	{"no permission asked", "permission", func(f *fixture) { f.plan["findings"] = []any{} }},

	// lengths and levels
	{"length 5 mm short", "lengths", func(f *fixture) { f.props("R5")["length_m"] = 9.995 }},
	{"length a survey foot off", "lengths", set("R5", "length_m", 10.3048)},
	{"fall told greater", "falls", scale("R5", "fall_m", 1.05)},
	{"slope told greater", "falls", scale("R5", "slope", 1.05)},
	{"uphill", "least_slope", all(set("R5", "invert_down_m", 99.0))},
	{"level", "least_slope", func(f *fixture) { f.props("R5")["invert_down_m"] = f.props("R5")["invert_up_m"] }},
	{"flatter than asked", "least_slope", criteria(func(c *parcels.Criteria) { c.Pipe.LeastSlope = 0.0301 })},
	{"no chance told", "fall_chance", set("R1", "chance_under_least_fall", nil)},
	{"a chance told less", "fall_chance", scale("R1", "chance_under_least_fall", 0.5)},
	{"a chance told for another run", "fall_chance", func(f *fixture) {
		f.props("R5")["chance_under_least_fall"] = f.props("R1")["chance_under_least_fall"]
	}},
	{"a standard error without laying", "fall_chance", set("R5", "fall_sd_m", 0.0141)},
	{"a run told as laid", "fall_chance", set("R1", "laid", true)},
	{"worse shots than the plan says", "fall_chance", criteria(func(c *parcels.Criteria) { c.Ground.ShotSD = 0.02 })},
	{"leaves above where it comes in", "inverts", func(f *fixture) { f.props("R5")["invert_up_m"] = f.props("R5")["invert_up_m"].(float64) + 0.002 }},
	{"a point's invert told higher", "inverts", func(f *fixture) { f.props("W1")["invert_m"] = f.props("W1")["invert_m"].(float64) + 0.01 }},
	{"a point's depth told less", "inverts", scale("W1", "depth_m", 0.95)},
	{"above the intake's own invert", "inverts", siteProps("intakes", 0, "invert_m", 98.9)},
	{"ground told higher", "ground", func(f *fixture) { f.props("W1")["ground_m"] = f.props("W1")["ground_m"].(float64) + 0.05 }},
	{"a bowl in the ground", "cover", func(f *fixture) { f.add("spots", f.point(15, 35), obj{"elevation_m": handGround(15, 35) - 0.2}) }},
	{"a bowl beside a shot", "cover", func(f *fixture) {
		f.add("breaklines", obj{"type": "LineString", "coordinates": []any{append(f.to(12, 36), 98.7), append(f.to(18, 36), 98.7)}}, obj{})
	}},
	{"a swale across", "cover", func(f *fixture) {
		f.add("swales", obj{"type": "LineString", "coordinates": []any{f.to(12, 36), f.to(18, 36)}}, obj{"invert_up_m": 98.72, "invert_down_m": 98.70})
	}},
	{"a mound", "depth", func(f *fixture) { f.add("spots", f.point(15, 35), obj{"elevation_m": handGround(15, 35) + 0.8}) }},
	{"cover told greater", "cover", scale("R5", "least_cover_m", 1.05)},
	{"cover not told", "cover", set("R5", "least_cover_m", nil)},
	{"a footing undermined and not told", "depth", func(f *fixture) { f.layer("buildings")[0].(obj)["properties"].(obj)["footing_depth_m"] = 0.1 }},
	{"a footing undermined, told of another run", "depth", func(f *fixture) {
		f.layer("buildings")[0].(obj)["properties"].(obj)["footing_depth_m"] = 0.1
		f.find("undermines_footing", "stop", "R8", "It would undermine it.")
	}},
	{"depth told less", "depth", scale("R5", "greatest_depth_m", 0.95)},
	{"more cover asked", "cover", criteria(func(c *parcels.Criteria) { c.Pipe.LeastCover = 0.36 })},
	{"less depth allowed", "depth", criteria(func(c *parcels.Criteria) { c.Pipe.GreatestDepth = 0.5 })},

	// angles and sizes
	{"join against the flow", "join_angle", func(f *fixture) { f.shape("R6", 25, 28, 16, 44, 15, 40) }},
	{"join by 46 degrees", "join_angle", criteria(func(c *parcels.Criteria) { c.Route.JoinAngle = 35 })},
	{"hairpin", "bend_angle", bent(15, 39, 15.5, 35)},
	{"bends by criteria", "bend_angle", criteria(func(c *parcels.Criteria) { c.Route.BendAngle = 30 })},
	{"narrower downstream", "diameters", all(set("R7", "diameter_mm", 76.2), set("R7", "outside_diameter_mm", 82.6), set("R7", "size", "3 in"))},

	{"a stub between fittings", "least_straight", criteria(func(c *parcels.Criteria) { c.Route.LeastStraight = 5 })},
	{"no cleanout for long", "cleanouts", criteria(func(c *parcels.Criteria) { c.Route.CleanoutEvery = 15 })},
	{"under the target slope and not told", "warnings", criteria(func(c *parcels.Criteria) { c.Pipe.TargetSlope = 0.04 })},
	{"slow water and not told", "warnings", criteria(func(c *parcels.Criteria) { c.Pipe.LeastVelocity = 3 })},
	{"in the strip of the fence posts and not told", "warnings", criteria(func(c *parcels.Criteria) { c.Clearance.FencePost = 1 })},
	{"lines of a map taken for sure", "warnings", siteProps("parcels", 0, "line_source", "gis")},
	{"lines that nobody vouches for taken for sure", "warnings", siteProps("parcels", 0, "line_source", nil)},
	{"lines not sure enough, told as no matter", "warnings", all(siteProps("parcels", 0, "line_sd_m", 0.7), func(f *fixture) {
		f.find("line_accuracy", "warn", "", "The lines are not sure enough.", "lot", "1", "not_proven", false)
	})},
	{"one line of four of a map taken for sure", "warnings", siteProps("parcels", 0, "line_source", []any{"survey", "survey", "gis", "pins"})},
	{"one line of four hardly known taken for sure", "warnings", siteProps("parcels", 0, "line_sd_m", []any{0.02, 0.02, 0.5, 0.02})},
	{"one line of four hardly known, told of another lot", "warnings", all(siteProps("parcels", 0, "line_sd_m", []any{0.02, 0.02, 0.5, 0.02}), func(f *fixture) {
		f.find("line_accuracy", "warn", "", "The lines are not sure enough.", "lot", "2", "not_proven", true, "cure", "Find the pins.")
	})},
	{"ground that the next lot takes too kept quiet", "warnings", taken},
	{"ground that the next lot takes too told of another", "warnings", all(taken, func(f *fixture) {
		f.find("parcels_overlap", "warn", "3", "Lots 1 and 3 overlap.", "lot", "1", "measured", 0.12)
	})},
	{"ground that the next lot takes too told narrower", "warnings", all(taken, func(f *fixture) {
		f.find("parcels_overlap", "warn", "2", "Lots 1 and 2 overlap.", "lot", "1", "measured", 0.11)
	})},
	{"an elevation unit assumed in silence", "warnings", func(f *fixture) { delete(f.site, "elevation_unit") }},

	// profiles and trenches
	{"no profile", "profiles", func(f *fixture) { f.plan["profiles"] = f.plan["profiles"].([]any)[1:] }},
	{"profile by another way", "profiles", func(f *fixture) {
		f.plan["profiles"].([]any)[0].(obj)["runs"] = []any{"R1", "R2", "R7", "R8"}
	}},
	{"profile stops early", "profiles", func(f *fixture) {
		p := f.plan["profiles"].([]any)[0].(obj)
		p["rows"] = p["rows"].([]any)[:4]
	}},
	{"profile's invert", "profiles", rowField(0, 2, "invert_m", 98.9)},
	{"profile's ground", "profiles", rowField(0, 2, "ground_m", 99.9)},
	{"profile's cut", "profiles", rowField(0, 2, "cut_m", 0.6)},
	{"profile's crown", "profiles", rowField(0, 2, "crown_m", 98.9)},
	{"profile's stations", "profiles", rowField(0, 2, "station_m", 3.0)},
	{"a narrow trench", "trenches", trenchField(4, "width_m", 0.1)},
	{"a trench without its run", "trenches", trenchField(4, "runs", []any{})},
	{"a run in two trenches", "trenches", trenchField(4, "runs", []any{"R5", "R7"})},
	{"a short trench", "trenches", trenchField(4, "length_m", 8)},
	{"a shallow trench", "trenches", trenchField(4, "greatest_depth_m", 0.3)},
	{"excavation told less", "trenches", trenchField(4, "excavation_m3", 0.5)},

	// water
	{"area told less", "flow_balance", scale("R7", "area_m2", 0.9)},
	{"roof C A told less", "flow_balance", scale("R5", "roof_ca_m2", 0.9)},
	{"yard C A told less", "flow_balance", scale("R6", "yard_ca_m2", 0.9)},
	{"an intake's own C", "flow_balance", siteProps("intakes", 2, "yard_c", 0.5)},
	{"a share told less", "roof_shares", all(shareD2, set("D2", "roof_area_m2", 68.0))},
	{"a share told greater", "roof_shares", all(shareD2, set("D2", "roof_area_m2", 72.0))},
	{"a share kept quiet", "roof_shares", all(shareD2, func(f *fixture) { delete(f.props("D2"), "roof_area_m2") })},
	{"a share without a finding", "roof_shares", all(shareD2, func(f *fixture) { f.plan["findings"] = []any{} })},
	{"a share that the runs do not carry", "flow_balance", all(shareD2, scale("R3", "area_m2", 0.9))},
	{"a share of a house that is not there", "roof_shares", all(shareD2, func(f *fixture) { f.layer("buildings")[0].(obj)["geometry"] = f.ring(8, 1, 22, 1, 22, 9, 8, 9) })},
	{"a stated roof told otherwise", "roof_shares", set("D1", "roof_area_m2", 61.0)},
	{"the roof of a basin", "roof_shares", set("B1", "roof_area_m2", 10.0)},
	{"the roof of a wye", "roof_shares", set("W1", "roof_area_m2", 10.0)},
	{"an intake's roof in square feet", "flow_balance", func(f *fixture) {
		p := f.layer("intakes")[0].(obj)["properties"].(obj)
		delete(p, "roof_area_m2")
		p["roof_area_ft2"] = 700
	}},
	{"flow out of nothing", "flow_balance", set("R7", "stated_flow_m3s", 0.001)},
	{"a stated flow forgotten", "flow_balance", siteProps("intakes", 2, "flow_m3s", 0.004)},
	{"carries clean water only", "flow_balance", set("R7", "carries", "yard")},
	{"an area that nobody knows", "flow_balance", func(f *fixture) { delete(f.layer("intakes")[2].(obj)["properties"].(obj), "yard_area_m2") }},
	{"a time of concentration under the floor", "time_of_concentration", set("R5", "time_of_concentration_min", 3)},
	{"a long time of concentration", "time_of_concentration", all(set("R7", "time_of_concentration_min", 15), set("R7", "intensity_mmh", 101.6))},
	{"a long time and its weak storm", "flow", all(set("R7", "time_of_concentration_min", 15), set("R7", "intensity_mmh", 101.6), scale("R7", "flow_m3s", 101.6/121.92))},
	{"a weak storm", "rainfall", scale("R7", "intensity_mmh", 0.9)},
	{"another return period", "rainfall", criteria(func(c *parcels.Criteria) { c.Storm.ReturnYears = 2 })},
	{"flow told less", "flow", scale("R7", "flow_m3s", 0.97)},
	{"flow not told", "flow", set("R7", "flow_m3s", nil)},
	{"a frequency factor forgotten", "flow_balance", criteria(func(c *parcels.Criteria) { c.Runoff.FrequencyFactor = map[int]float64{10: 1.2} })},
	{"capacity told greater", "manning", scale("R7", "capacity_m3s", 1.05)},
	{"capacity of two pipes", "manning", scale("R7", "capacity_m3s", 2)},
	{"fill told less", "manning", scale("R7", "fill_ratio", 0.9)},
	{"velocity told greater", "manning", scale("R7", "velocity_ms", 1.1)},
	{"shear told greater", "manning", scale("R7", "shear_pa", 1.2)},
	{"more rain than the pipe takes", "capacity", func(f *fixture) {
		each(f.site["rainfall"].(obj)["table"], func(o obj) { o["depth_mm"] = toFloat(o["depth_mm"]) * 2 })
		for _, id := range []string{"R1", "R2", "R3", "R4", "R5", "R6", "R7", "R8"} {
			for _, k := range []string{"intensity_mmh", "flow_m3s"} {
				f.props(id)[k] = f.props(id)[k].(float64) * 2
			}
		}
	}},
	{"roof water in a perforated pipe", "roof_water", set("R5", "pipe", "perforated")},
	{"roof water in a perforated pipe, allowed, not told", "roof_water", all(set("R5", "pipe", "perforated"), criteria(func(c *parcels.Criteria) { c.Pipe.RoofInPerforated = "allowed" }))},
	{"perforated called mixed", "roof_water", all(set("R7", "pipe", "perforated"))},

	// arrival
	{"under the tie-in level", "arrival", siteProps("inlets", 0, "tie_in_m", 98.25)},
	{"under the crown and not told", "arrival", siteProps("inlets", 0, "outgoing_diameter_mm", 900)},
	{"under the invert", "arrival", siteProps("inlets", 0, "invert_m", 98.3)},
	{"under the invert by the dip", "arrival", func(f *fixture) {
		p := f.layer("inlets")[0].(obj)["properties"].(obj)
		delete(p, "invert_m")
		p["dip_ft"] = 1
	}},
	{"over the rim", "arrival", siteProps("inlets", 0, "rim_m", 98.2)},
	{"no level known", "arrival", func(f *fixture) {
		p := f.layer("inlets")[0].(obj)["properties"].(obj)
		delete(p, "invert_m")
	}},
	{"a level of -9999", "arrival", siteProps("inlets", 0, "invert_m", -9999)},

	// the plan at a glance
	{"length", "summary", summary("length_m", 40)},
	{"trench length", "summary", summary("trench_length_m", 40)},
	{"fall", "summary", summary("fall_m", 2)},
	{"least slope", "summary", summary("least_slope", 0.05)},
	{"flow", "summary", summary("flow_m3s", 0.005)},
	{"greatest depth", "summary", summary("greatest_depth_m", 0.4)},
	{"greatest depth not told", "summary", summary("greatest_depth_m", nil)},

	// the verdict
	{"feasible over a stop", "verdict", func(f *fixture) { f.find("cover_short", "stop", "R5", "Cover is short.") }},
	{"feasible and not proven", "verdict", func(f *fixture) { f.find("x", "warn", "R5", "Who knows.", "not_proven", true) }},
	// what an outlet may be given
	{"more than the inlet's limit", "outlet", siteProps("inlets", 0, "flow_limit_m3s", 1e-5)},
	{"an alternative that is nowhere", "summary", func(f *fixture) {
		f.plan["alternatives"] = []any{obj{"outlet": "", "kind": "dry_well", "verdict": "feasible", "length_m": nil, "cost_index": nil, "short_m": nil}}
	}},

	// what would mend it
	{"a remedy where none is needed", "remedies", func(f *fixture) {
		f.plan["remedies"] = []any{obj{"remedy": "less_cover", "verdict": "not_feasible", "message": "x", "from": 0.3048, "to": 0.2}}
	}},
	{"a remedy of its own", "remedies", remedies(obj{"remedy": "prayer", "verdict": "not_feasible", "message": "x"})},
	{"a remedy without a price", "remedies", remedies(obj{"remedy": "less_cover", "verdict": "feasible", "message": "x", "from": 0.3048, "to": 0.2})},
	{"a remedy that does it and is short", "remedies", remedies(obj{"remedy": "less_cover", "verdict": "feasible", "message": "x", "from": 0.3048, "to": 0.2, "cost_index": 90, "short_m": 0.1})},
	{"a remedy from another cover", "remedies", remedies(obj{"remedy": "less_cover", "verdict": "feasible", "message": "x", "from": 0.4, "to": 0.2, "cost_index": 90})},
	{"more cover as less", "remedies", remedies(obj{"remedy": "less_cover", "verdict": "feasible", "message": "x", "from": 0.3048, "to": 0.5, "cost_index": 90})},
	{"negative fill", "remedies", remedies(obj{"remedy": "fill_bowl", "verdict": "feasible", "message": "x", "cost_index": 90, "fill_m3": -1})},
	{"a tie-in no lower than the drain", "remedies", remedies(obj{"remedy": "lower_tie_in", "outlet": "I1", "verdict": "feasible", "message": "x", "from": 200, "to": 199, "cost_index": 90})},
	{"a remedy at no outlet", "remedies", remedies(obj{"remedy": "pump", "outlet": "I77", "verdict": "feasible", "message": "x", "cost_index": 90, "flow_m3s": 1, "head_m": 1})},
	{"another inlet that is the plan's own", "remedies", remedies(obj{"remedy": "other_inlet", "outlet": "I1", "verdict": "not_proven", "message": "x", "cost_index": 90})},
	{"another inlet beyond another reach", "remedies", remedies(obj{"remedy": "other_inlet", "verdict": "not_proven", "message": "x", "cost_index": 90, "from": 3, "to": 6})},
	{"another inlet by a shorter last run", "remedies", remedies(obj{"remedy": "other_inlet", "verdict": "not_proven", "message": "x", "cost_index": 90, "from": 4.572, "to": 4})},
	{"half of two remedies", "remedies", remedies(obj{"remedy": "combined", "outlet": "I1", "verdict": "feasible", "message": "x", "cost_index": 90, "steps": []any{coverStep}})},
	{"one remedy twice", "remedies", remedies(obj{"remedy": "combined", "outlet": "I1", "verdict": "feasible", "message": "x", "cost_index": 90, "steps": []any{coverStep, coverStep}})},
	{"two remedies from another slope", "remedies", remedies(obj{"remedy": "combined", "outlet": "I1", "verdict": "feasible", "message": "x", "cost_index": 90, "steps": []any{coverStep, obj{"remedy": "larger_flatter_pipe", "from": 0.02, "to": 0.004}}})},
	{"a trench no deeper", "remedies", remedies(obj{"remedy": "combined", "outlet": "I1", "verdict": "feasible", "message": "x", "cost_index": 90, "steps": []any{coverStep, obj{"remedy": "deeper_trench", "from": 1.2192, "to": 1.2}}})},
	{"a pump as half a remedy", "remedies", remedies(obj{"remedy": "combined", "outlet": "I1", "verdict": "feasible", "message": "x", "cost_index": 90, "steps": []any{coverStep, obj{"remedy": "pump"}}})},
	{"a step at another outlet", "remedies", remedies(obj{"remedy": "combined", "outlet": "I2", "verdict": "not_proven", "message": "x", "cost_index": 90, "steps": []any{coverStep, obj{"remedy": "other_inlet", "outlet": "I1"}}})},
	{"filled ground, checked", "remedies", remedies(obj{"remedy": "combined", "outlet": "I1", "verdict": "feasible", "message": "x", "cost_index": 90, "checked": true, "steps": []any{coverStep, obj{"remedy": "fill_bowl"}}})},
	{"checked, and does not do it", "remedies", remedies(obj{"remedy": "less_cover", "verdict": "not_feasible", "message": "x", "from": 0.3048, "to": 0.2, "checked": true})},
	{"steps of one thing", "remedies", remedies(obj{"remedy": "less_cover", "verdict": "not_feasible", "message": "x", "from": 0.3048, "to": 0.2, "steps": []any{coverStep}})},
	{"two where one does it", "remedies", func(f *fixture) {
		remedies(obj{"remedy": "combined", "outlet": "I1", "verdict": "feasible", "message": "x", "cost_index": 90, "steps": []any{coverStep, obj{"remedy": "deeper_trench", "from": 1.2192, "to": 1.5}}})(f)
		f.plan["remedies"] = append(f.plan["remedies"].([]any), obj{"remedy": "less_cover", "outlet": "I1", "verdict": "feasible", "message": "x", "from": 0.3048, "to": 0.2, "cost_index": 80})
	}},
	{"a pump of no duty", "remedies", remedies(obj{"remedy": "pump", "outlet": "I1", "verdict": "feasible", "message": "x", "cost_index": 90})},
	{"a pump too small", "remedies", remedies(obj{"remedy": "pump", "outlet": "I1", "verdict": "feasible", "message": "x", "cost_index": 90, "flow_m3s": 1e-5, "head_m": 1})},

	{"not feasible without a stop", "verdict", all(summary("verdict", "not_feasible"), summary("why_not", "x"))},
	{"no verdict", "verdict", summary("verdict", "")},
	{"no cure", "verdict", all(summary("verdict", "not_proven"), func(f *fixture) { f.find("x", "warn", "R5", "Who knows.", "not_proven", true) })},
	{"no why", "verdict", all(summary("verdict", "not_feasible"), func(f *fixture) { f.find("x", "stop", "R5", "No.") })},
	{"feasible without footprints", "verdict", func(f *fixture) { delete(f.site["layers"].(obj), "buildings") }},
	{"feasible without ground", "verdict", func(f *fixture) { delete(f.site["layers"].(obj), "spots") }},
	{"feasible without rain", "verdict", func(f *fixture) { delete(f.site, "rainfall") }},
	{"easements not supplied and not told", "verdict", func(f *fixture) { delete(f.site["layers"].(obj), "easements") }},
	{"a stop about another run", "least_slope", all(
		criteria(func(c *parcels.Criteria) { c.Pipe.LeastSlope = 0.0301 }), summary("verdict", "not_feasible"), summary("why_not", "x"),
		func(f *fixture) { f.find("slope_short", "stop", "R1", "Too flat.") })},
	{"a stop about another rule", "least_slope", all(
		criteria(func(c *parcels.Criteria) { c.Pipe.LeastSlope = 0.0301 }), summary("verdict", "not_feasible"), summary("why_not", "x"),
		func(f *fixture) {
			for _, id := range []string{"R1", "R2", "R3", "R4", "R5", "R6", "R7", "R8"} {
				f.find("least_cover", "stop", id, "Cover is short.")
			}
		})},
	{"ground known in part, and not told", "ground_in_part", all(inPartTold, func(f *fixture) {
		f.plan["findings"] = f.plan["findings"].([]any)[:len(f.plan["findings"].([]any))-1]
		summary("verdict", "feasible")(f)
	})},
	{"ground known in part, told as proven", "ground_in_part", all(inPartTold, func(f *fixture) {
		fs := f.plan["findings"].([]any)
		fs[len(fs)-1].(obj)["not_proven"] = false
		summary("verdict", "feasible")(f)
	})},
	{"ground known in part, told of another run", "ground_in_part", all(inPartTold, func(f *fixture) {
		fs := f.plan["findings"].([]any)
		fs[len(fs)-1].(obj)["feature"] = "R5"
	})},
	{"a cover over ground known in part", "ground_in_part", all(inPartTold, set("R6", "least_cover_m", 0.35))},
	{"a depth over ground known in part", "ground_in_part", all(inPartTold, set("R6", "greatest_depth_m", 0.5))},
	{"a fault of the site kept quiet", "document", func(f *fixture) {
		f.add("obstacles", f.point(16, 36), obj{"kind": "tree"})
	}},
}

// inPlane are the checks that stand on the plane.
var inPlane = map[string]bool{"places": true, "inside_lot": true, "lot_line_clearance": true, "foundation_clearance": true, "obstacle_clearance": true,
	"forbidden_ground": true, "tie_in_run": true, "lead_off_run": true, "lengths": true, "cover": true, "depth": true, "bend_angle": true, "join_angle": true}

func toFloat(v any) float64 {
	switch n := v.(type) {
	case int:
		return float64(n)
	case float64:
		return n
	}
	return math.NaN()
}

// Each lie is caught by its check, in feet as in degrees.
func TestHandLies(t *testing.T) {
	seen := map[string]bool{}
	for _, l := range lies {
		if seen[l.name+l.check] {
			t.Errorf("%s: twice in the table", l.name)
		}
		seen[l.name+l.check] = true
		for name, make := range map[string]func(*testing.T) *fixture{"feet": feet, "degrees": degrees} {
			if name == "degrees" && !inPlane[l.check] || l.name == "a tenth of a millimetre inside the clearance" && name == "degrees" {
				continue // what does not ask for the plane is the same in both
			}
			t.Run(l.check+"/"+l.name+"/"+name, func(t *testing.T) {
				f := make(t)
				l.tell(f)
				v := f.verify()
				names, d := failed(v)
				if v.Passed || !slices.Contains(names, l.check) {
					t.Errorf("not caught by %s; failed were: %s", l.check, d)
				}
				for _, c := range v.Checks {
					if !c.Passed && (c.Where == "" || c.Detail == "") {
						t.Errorf("%s fails without where and detail", c.Check)
					}
				}
			})
		}
	}
	t.Logf("%d lies", len(lies))
}

// The frame of longitudes and latitudes.
func TestHandLiesDegrees(t *testing.T) {
	for _, l := range []lie{
		{"centre moved by 2e-6", "frame", func(f *fixture) {
			f.plan["frame"].(obj)["centre_lon"] = f.plan["frame"].(obj)["centre_lon"].(float64) + 2e-6
		}},
		{"no centre", "frame", func(f *fixture) { delete(f.plan["frame"].(obj), "centre_lat") }},
		{"a unit of feet", "frame", func(f *fixture) { f.plan["frame"].(obj)["metres_per_unit"] = 0.3048 }},
	} {
		t.Run(l.name, func(t *testing.T) {
			f := degrees(t)
			l.tell(f)
			if names, d := failed(f.verify()); !slices.Contains(names, l.check) {
				t.Errorf("not caught by %s; failed were: %s", l.check, d)
			}
		})
	}
	f := feet(t)
	f.plan["frame"].(obj)["centre_lon"], f.plan["frame"].(obj)["centre_lat"] = -86.0, 36.0
	if names, _ := failed(f.verify()); !slices.Contains(names, "frame") {
		t.Error("a centre in degrees for a plane in feet was taken")
	}
}

// Lines of a map pass where the plan tells that they are not sure enough, and
// how that is mended; a line of 0.3 m passes untold: 0.6096 m are more than 1.64
// of it, which is 5 % (P-30; the quantile of the normal distribution).
func TestHandSureness(t *testing.T) {
	f := feet(t)
	siteProps("parcels", 0, "line_source", "gis")(f)
	f.find("line_accuracy", "warn", "", "The lines are not sure enough.", "lot", "1", "not_proven", true, "cure", "Find the pins.")
	summary("verdict", "not_proven")(f)
	summary("cure", "Find the pins.")(f)
	if v := f.verify(); !v.Passed {
		_, d := failed(v)
		t.Errorf("told and refused:\n%s", d)
	}
	f = feet(t)
	siteProps("parcels", 0, "line_sd_m", 0.3)(f)
	if v := f.verify(); !v.Passed {
		_, d := failed(v)
		t.Errorf("sure enough and refused:\n%s", d)
	}
}

// One number an edge counts for its own edge: 1.5 m of the right line, which no
// trench comes nearer than 5.33 m (25 of 30.48 m, less half a trench: 3.5 of it,
// 0.02 %), passes untold.
func TestHandSurenessByEdge(t *testing.T) {
	for key, each := range map[string][]any{"line_sd_m": {0.02, 1.5, 0.02, 0.02}, "line_source": {"survey", "gis", "pins", "survey"}} {
		f := feet(t)
		siteProps("parcels", 0, key, each)(f)
		if v := f.verify(); !v.Passed {
			_, d := failed(v)
			t.Errorf("%s sure enough and refused:\n%s", key, d)
		}
	}
}

// Ground that the next lot takes too passes where the plan tells of it.
func TestHandOverlapTold(t *testing.T) {
	for _, make := range []func(*testing.T) *fixture{feet, degrees, metres} {
		f := make(t)
		taken(f)
		f.find("parcels_overlap", "warn", "2", "Lots 1 and 2 overlap.", "lot", "1", "measured", 0.12)
		if v := f.verify(); !v.Passed {
			_, d := failed(v)
			t.Errorf("told and refused:\n%s", d)
		}
	}
}

// What was come upon and is kept clear of passes: a rock under the bedding, a
// root just over the pipe, a utility beyond its clearance.
func TestHandMetAndCleared(t *testing.T) {
	for _, o := range []obj{{"high_m": 98.50}, {"kind": "root", "low_m": 98.67, "high_m": 98.8}, {"kind": "root", "low_m": 98.3, "high_m": 98.55}, {"kind": "utility", "low_m": 98.0, "high_m": 98.25}} {
		f := feet(t)
		came(o)(f)
		if v := f.verify(); !v.Passed {
			_, d := failed(v)
			t.Errorf("%v refused:\n%s", o, d)
		}
	}
}

// What is told by a stop that names the run may stand in an infeasible plan.
func TestHandTold(t *testing.T) {
	for _, l := range []lie{
		{"slope", "least_slope", criteria(func(c *parcels.Criteria) { c.Pipe.LeastSlope = 0.0301 })},
		{"cover", "cover", criteria(func(c *parcels.Criteria) { c.Pipe.LeastCover = 0.36 })},
		{"depth", "depth", criteria(func(c *parcels.Criteria) { c.Pipe.GreatestDepth = 0.5 })},
		{"tie-in level", "arrival", siteProps("inlets", 0, "tie_in_m", 98.25)},
	} {
		t.Run(l.name, func(t *testing.T) {
			f := feet(t)
			l.tell(f)
			f.chances()
			f.plan["summary"].(obj)["verdict"] = "not_feasible"
			f.plan["summary"].(obj)["why_not"] = "A criterion is broken."
			for _, id := range []string{"R1", "R2", "R3", "R4", "R5", "R6", "R7", "R8"} {
				f.find(map[string]string{"least_slope": "least_slope", "cover": "least_cover", "depth": "greatest_depth", "arrival": "arrival_level"}[l.check], "stop", id, "A criterion is broken.")
			}
			v := f.verify()
			if !v.Passed {
				_, d := failed(v)
				t.Fatalf("refused:\n%s", d)
			}
			told := false
			for _, c := range v.Checks {
				told = told || c.Check == l.check && strings.HasPrefix(c.Detail, "told")
			}
			if !told {
				t.Error("the row does not say that it was told")
			}
		})
	}
}

// An infeasible plan with nothing drawn is judged too.
func TestHandNothingDrawn(t *testing.T) {
	f := feet(t)
	f.plan["network"].(obj)["features"] = []any{}
	f.plan["trenches"], f.plan["profiles"], f.plan["trunks"], f.plan["water_cases"] = []any{}, []any{}, []any{}, []any{}
	s := f.plan["summary"].(obj)
	for _, k := range []string{"fall_m", "least_slope", "flow_m3s", "greatest_depth_m"} {
		s[k] = nil
	}
	s["length_m"], s["trench_length_m"], s["outlet"] = 0, 0, ""
	s["verdict"], s["why_not"] = "not_feasible", "No route."
	f.find("no_route", "stop", "", "No route.", "lot", "1")
	if v := f.verify(); !v.Passed {
		_, d := failed(v)
		t.Fatalf("refused:\n%s", d)
	}
	f.plan["findings"].([]any)[3].(obj)["lot"] = "2"
	if v := f.verify(); v.Passed {
		t.Error("a stop of another lot excused the intakes")
	}
}

// Text that is no document or no plan.
func TestHandGarbage(t *testing.T) {
	f := feet(t)
	site, plan := f.bytes()
	for _, bad := range []string{"", "null", "[]", "{", "{}", `{"status":"preliminary"}`, `{"status":"preliminary","status":"preliminary"}`, string(plan) + "x", strings.Replace(string(plan), "0.012", "NaN", 1), strings.Repeat("[", 100)} {
		v, err := Checker{}.Verify(site, f.criteria, []byte(bad))
		if err == nil && v.Passed {
			t.Errorf("%.40q passed", bad)
		}
		if err == nil && len(v.Checks) == 0 {
			t.Errorf("%.40q: no row says why", bad)
		}
	}
	for _, bad := range []string{"", "null", "{}", `{"layers":{}}`, `{"layers":{"parcels":{}}}`, `{"layers":{"parcels":{"type":"FeatureCollection","features":[]}}}`, string(site) + "{}"} {
		if v, err := (Checker{}).Verify([]byte(bad), f.criteria, plan); err == nil && v.Passed {
			t.Errorf("site %.40q: passed", bad)
		}
	}
	// the second of two members must not be the one that counts
	twice := strings.Replace(string(plan), `"status":"preliminary"`, `"status":"preliminary","status":"final"`, 1)
	if v, _ := (Checker{}).Verify(site, f.criteria, []byte(twice)); v.Passed {
		t.Error("a member twice passed")
	}
	if !json.Valid(plan) {
		t.Fatal("the fixture is no JSON")
	}
}
