package document

// Criteria files and the criteria of a document: the built-in keys, nothing
// else, with lengths in feet turned into metres.

import (
	"bytes"
	"cmp"
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"reflect"
	"slices"
	"sort"
	"strings"
	"sync"

	"go.yaml.in/yaml/v3"

	"fallwright/geo/unit"
	"fallwright/parcels"
)

// ReadCriteria reads a criteria file (YAML, or JSON, which is YAML) over the
// built-in criteria. It returns which keys ("clearance.lot_line_m") the file
// set. The error is a *parcels.InputError.
func ReadCriteria(data []byte) (parcels.Criteria, map[string]bool, error) {
	c, given, faults := mergeCriteria(data, parcels.DefaultCriteria(), "")
	if len(faults) > 0 {
		return c, nil, &parcels.InputError{Kind: parcels.Invalid, Faults: faults}
	}
	return c, given, nil
}

// MergeCriteria puts raw criteria (JSON) over base, as for districts and for
// the criteria of a request.
func MergeCriteria(data []byte, base parcels.Criteria) (parcels.Criteria, error) {
	c, _, faults := mergeCriteria(data, base, "/criteria")
	if len(faults) > 0 {
		return base, &parcels.InputError{Kind: parcels.Invalid, Faults: faults}
	}
	return c, nil
}

func mergeCriteria(data []byte, base parcels.Criteria, pointer string) (parcels.Criteria, map[string]bool, []parcels.Fault) {
	if firstBadUTF8(data) >= 0 {
		return base, nil, []parcels.Fault{{Slug: "not-utf8", Pointer: pointer, Detail: "The criteria are not UTF-8. Save the file as UTF-8."}}
	}
	var m map[string]any
	if err := yaml.Unmarshal(data, &m); err != nil {
		return base, nil, []parcels.Fault{{Slug: "criteria-syntax", Pointer: pointer, Detail: "The criteria cannot be read: " + parcels.Excerpt(strings.TrimPrefix(err.Error(), "yaml: ")) + "."}}
	}
	var faults []parcels.Fault
	given := map[string]bool{}
	convert(m, "", pointer, given, &faults)
	if len(faults) > 0 {
		return base, nil, faults
	}
	known(m, reflect.TypeOf(base), "", pointer, &faults)
	if len(faults) > 0 {
		return base, nil, faults
	}
	text, err := yaml.Marshal(m)
	if err != nil {
		return base, nil, []parcels.Fault{{Slug: "criteria-syntax", Pointer: pointer, Detail: "The criteria cannot be read."}}
	}
	out := base
	if given["pipe.stock"] {
		out.Pipe.Stock = nil
	} else {
		out.Pipe.Stock = append([]parcels.StockPipe(nil), base.Pipe.Stock...)
	}
	out.Runoff.FrequencyFactor = map[int]float64{}
	for k, v := range base.Runoff.FrequencyFactor {
		out.Runoff.FrequencyFactor[k] = v
	}
	dec := yaml.NewDecoder(bytes.NewReader(text))
	dec.KnownFields(true)
	if err := dec.Decode(&out); err != nil && len(m) > 0 {
		msg := strings.ReplaceAll(strings.TrimPrefix(err.Error(), "yaml: unmarshal errors:\n"), "\n", ";")
		return base, nil, []parcels.Fault{{Slug: "criterion-invalid", Pointer: pointer, Detail: "The criteria do not fit: " + parcels.Excerpt(strings.TrimSpace(msg)) + "."}}
	}
	faults = append(faults, absurd(out, pointer)...)
	return out, given, faults
}

// convert turns _ft, _in and _inh keys into SI ones, in place.
func convert(m map[string]any, path, pointer string, given map[string]bool, faults *[]parcels.Fault) {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	for _, k := range keys {
		full := strings.TrimPrefix(path+"."+k, ".")
		if sub, ok := m[k].(map[string]any); ok {
			convert(sub, full, pointer+"/"+escapePointer(k), given, faults)
			continue
		}
		given[full] = true
		if full == "pipe.stock" {
			if list, ok := m[k].([]any); ok {
				for i, e := range list {
					if sub, ok := e.(map[string]any); ok {
						convert(sub, "pipe.stock[]", fmt.Sprintf("%s/stock/%d", pointer, i), map[string]bool{}, faults)
					}
				}
			}
			continue
		}
		for _, u := range []struct {
			from, to string
			by       float64
		}{{"_ft", "_m", foot}, {"_in", "_mm", 25.4}, {"_ft2", "_m2", foot * foot}, {"_inh", "_mmh", 25.4}} {
			stem, ok := strings.CutSuffix(k, u.from)
			if !ok {
				continue
			}
			to := stem + u.to
			by := u.by
			if u.from == "_in" && !strings.Contains(k, "diameter") {
				to, by = stem+"_m", 0.0254
			}
			if _, twice := m[to]; twice {
				*faults = append(*faults, parcels.Fault{Slug: "criterion-invalid", Pointer: pointer + "/" + escapePointer(k), Member: full, Detail: fmt.Sprintf("The criterion %s is given twice, as %s and %s. Keep one.", stem, k, to)})
				continue
			}
			v, ok := asFloat(m[k])
			if m[k] != nil && !ok {
				*faults = append(*faults, parcels.Fault{Slug: "criterion-invalid", Pointer: pointer + "/" + escapePointer(k), Member: full, Detail: fmt.Sprintf("The criterion %s is no number.", full)})
				continue
			}
			delete(m, k)
			delete(given, full)
			if ok {
				m[to] = v * by
			} else {
				m[to] = nil
			}
			given[strings.TrimPrefix(path+"."+to, ".")] = true
		}
	}
}

func asFloat(v any) (float64, bool) {
	switch v := v.(type) {
	case int:
		return float64(v), true
	case int64:
		return float64(v), true
	case float64:
		return v, !math.IsNaN(v) && !math.IsInf(v, 0)
	}
	return 0, false
}

// known names every key that no criterion has, and the nearest that is.
func known(m map[string]any, t reflect.Type, path, pointer string, faults *[]parcels.Fault) {
	fields := map[string]reflect.Type{}
	for i := 0; i < t.NumField(); i++ {
		name, _, _ := strings.Cut(t.Field(i).Tag.Get("yaml"), ",")
		fields[name] = t.Field(i).Type
	}
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	for _, k := range keys {
		ft, ok := fields[k]
		full := strings.TrimPrefix(path+"."+k, ".")
		if !ok {
			names := make([]string, 0, len(fields))
			for n := range fields {
				names = append(names, n)
			}
			sort.Strings(names)
			*faults = append(*faults, parcels.Fault{Slug: "criterion-unknown", Pointer: pointer + "/" + escapePointer(k), Member: parcels.Excerpt(full),
				Detail: fmt.Sprintf("There is no criterion %q. Known here: %s.", parcels.Excerpt(full), strings.Join(names, ", "))})
			continue
		}
		sub, isMap := m[k].(map[string]any)
		if ft.Kind() == reflect.Struct {
			if m[k] == nil {
				delete(m, k)
			} else if !isMap {
				*faults = append(*faults, parcels.Fault{Slug: "criterion-invalid", Pointer: pointer + "/" + escapePointer(k), Member: full, Detail: fmt.Sprintf("The criterion %s is a group of keys, not a value.", full)})
			} else {
				known(sub, ft, full, pointer+"/"+escapePointer(k), faults)
			}
		}
	}
}

// mostStock is how many pipes package hydro/profile chooses among.
const mostStock = 64

// absurd refuses values that no rule can mean.
func absurd(c parcels.Criteria, pointer string) []parcels.Fault {
	var out []parcels.Fault
	check := func(key string, v, lo, hi float64) {
		if !(v >= lo && v <= hi) {
			out = append(out, parcels.Fault{Slug: "criterion-invalid", Pointer: pointer + "/" + strings.ReplaceAll(key, ".", "/"), Member: key, Actual: v, Limit: []float64{lo, hi},
				Detail: fmt.Sprintf("The criterion %s is %g; give a value from %g to %g.", key, v, lo, hi)})
		}
	}
	check("clearance.lot_line_m", float64(c.Clearance.LotLine), 0, 100)
	given := func(key string, v *unit.Length, lo, hi float64) {
		if v != nil {
			check(key, float64(*v), lo, hi)
		}
	}
	one := func(key, v string, of ...string) {
		if !slices.Contains(of, v) {
			out = append(out, parcels.Fault{Slug: "criterion-invalid", Pointer: pointer + "/" + strings.ReplaceAll(key, ".", "/"), Member: key,
				Detail: fmt.Sprintf("The criterion %s is %q; give one of %s.", key, parcels.Excerpt(v), strings.Join(of, ", "))})
		}
	}
	given("clearance.front_m", c.Clearance.Front, 0, 100)
	given("clearance.side_m", c.Clearance.Side, 0, 100)
	given("clearance.rear_m", c.Clearance.Rear, 0, 100)
	check("clearance.line_margin_m", float64(c.Clearance.LineMargin), 0, 20)
	check("clearance.most_chance", c.Clearance.MostChance, 0, 1)
	check("clearance.fence_post_m", float64(c.Clearance.FencePost), 0, 5)
	check("clearance.foundation_m", float64(c.Clearance.Foundation), 0, 50)
	check("clearance.foundation_perforated_m", float64(c.Clearance.FoundationPerforated), 0, 50)
	check("clearance.utility_m", float64(c.Clearance.Utility), 0, 50)
	check("clearance.septic_m", float64(c.Clearance.Septic), 0, 200)
	check("clearance.well_m", float64(c.Clearance.Well), 0, 200)
	check("clearance.root_zone_per_trunk", c.Clearance.RootZonePerTrunk, 0, 50)
	check("pipe.target_slope", float64(c.Pipe.TargetSlope), 0.0001, 1)
	check("pipe.least_slope", float64(c.Pipe.LeastSlope), 0.0001, float64(c.Pipe.TargetSlope))
	check("pipe.greatest_slope", float64(c.Pipe.GreatestSlope), float64(c.Pipe.TargetSlope), 10)
	check("pipe.least_cover_m", float64(c.Pipe.LeastCover), 0, 5)
	check("pipe.greatest_depth_m", float64(c.Pipe.GreatestDepth), 0.1, 10)
	check("pipe.least_diameter_mm", c.Pipe.LeastDiameter, 0, 3000)
	check("pipe.least_velocity_ms", float64(c.Pipe.LeastVelocity), 0, 5)
	one("pipe.roof_in_perforated", c.Pipe.RoofInPerforated, "forbidden", "allowed")
	one("pipe.wall", c.Pipe.Wall, "smooth", "corrugated", "any")
	check("trench.width_m", float64(c.Trench.Width), 0.05, 3)
	check("trench.bedding_m", float64(c.Trench.Bedding), 0, 1)
	check("trench.over_pipe_m", float64(c.Trench.OverPipe), 0, 2)
	check("trench.cap_m", float64(c.Trench.Cap), 0, 1)
	check("trench.cap_intake_mmh", float64(c.Trench.CapIntake), 0, 10000)
	check("trench.void_ratio", c.Trench.VoidRatio, 0, 0.6)
	check("takeoff.swell", c.Takeoff.Swell, 1, 2)
	check("takeoff.stone_density_tm3", c.Takeoff.StoneDensity, 0.5, 5)
	check("takeoff.fabric_lap_m", float64(c.Takeoff.FabricLap), 0, 5)
	check("takeoff.sod_extra_m", float64(c.Takeoff.SodExtra), 0, 20)
	check("takeoff.load_m3", c.Takeoff.Load, 0.1, 1000)
	check("takeoff.waste.stone", c.Takeoff.Waste.Stone, 0, 1)
	check("takeoff.waste.fabric", c.Takeoff.Waste.Fabric, 0, 1)
	check("takeoff.waste.pipe", c.Takeoff.Waste.Pipe, 0, 1)
	check("storm.return_years", float64(c.Storm.ReturnYears), 1, 1000)
	check("storm.roof_min", float64(c.Storm.RoofMin), 1, 120)
	check("storm.yard_min", float64(c.Storm.YardMin), 1, 240)
	check("storm.freeboard_m", float64(c.Storm.Freeboard), 0, 5)
	check("runoff.roof_c", c.Runoff.RoofC, 0, 1)
	check("runoff.yard_c", c.Runoff.YardC, 0, 1)
	for _, y := range slices.Sorted(maps.Keys(c.Runoff.FrequencyFactor)) {
		key := fmt.Sprintf("runoff.frequency_factor.%d", y)
		check(key, c.Runoff.FrequencyFactor[y], 0.5, 2)
		if y < 1 {
			out = append(out, parcels.Fault{Slug: "criterion-invalid", Pointer: pointer + "/" + strings.ReplaceAll(key, ".", "/"), Member: key, Detail: fmt.Sprintf("The criterion %s is for no return period; give years of 1 or more.", key)})
		}
	}
	given("building_setback.front_m", c.BuildingSetback.Front, 0, 200)
	given("building_setback.side_m", c.BuildingSetback.Side, 0, 200)
	given("building_setback.rear_m", c.BuildingSetback.Rear, 0, 200)
	check("tie_in.reach_m", float64(c.TieIn.Reach), 0, 50)
	check("discharge.from_line_m", float64(c.Discharge.FromLine), 0, 200)
	check("discharge.from_building_m", float64(c.Discharge.FromBuilding), 0, 200)
	check("discharge.from_street_m", float64(c.Discharge.FromStreet), 0, 200)
	check("route.join_angle_deg", c.Route.JoinAngle, 1, 90)
	check("route.utility_angle_deg", c.Route.UtilityAngle, 0, 90)
	check("route.bend_angle_deg", c.Route.BendAngle, 1, 180)
	check("route.cleanout_every_m", float64(c.Route.CleanoutEvery), 1, 1000)
	check("route.least_straight_m", float64(c.Route.LeastStraight), 0.05, 10)
	one("route.outlet", c.Route.Outlet, "nearest", "cheapest")
	for _, p := range []struct {
		key   string
		v, lo float64
	}{{"trench_per_m", c.Prices.TrenchPerM, 1e-6}, {"depth_per_m2", c.Prices.DepthPerM2, 0}, {"pipe_per_m_per_mm", c.Prices.PipePerMPerMM, 0}, {"paving_per_m", c.Prices.PavingPerM, 0},
		{"permission_per_m", c.Prices.PermissionPerM, 0}, {"utility_crossing_each", c.Prices.UtilityCrossingEach, 0}, {"bend_each", c.Prices.BendEach, 0}, {"wye_each", c.Prices.WyeEach, 0},
		{"cleanout_each", c.Prices.CleanoutEach, 0}, {"tie_in_each", c.Prices.TieInEach, 0}, {"earthwork_per_m3", c.Prices.EarthworkPerM3, 0}, {"pump_each", c.Prices.PumpEach, 0}} {
		check("prices."+p.key, p.v, p.lo, 1e9)
	}
	check("ground.foundation_fall", float64(c.Ground.FoundationFall), 0, 1)
	check("ground.foundation_fall_over_m", float64(c.Ground.FoundationFallOver), 0.1, 50)
	check("ground.swale_least_slope", float64(c.Ground.SwaleLeastSlope), 0, 1)
	check("ground.pond_least_depth_m", float64(c.Ground.PondLeastDepth), 0, 5)
	check("ground.shot_sd_m", float64(c.Ground.ShotSD), 0, 5)
	check("ground.laying_sd_m", float64(c.Ground.LayingSD), 0, 5)
	check("survey.bust_m", float64(c.Survey.Bust), 0.001, 1000)
	check("audit.least_zone_m2", float64(c.Audit.LeastZone), 0, 1e6)
	if v := c.Audit.AssumeFall; v != nil {
		check("audit.assume_fall_m", *v, -100, 100)
	}
	solid, usable := false, false
	if n := len(c.Pipe.Stock); n > mostStock {
		out = append(out, parcels.Fault{Slug: "criterion-invalid", Pointer: pointer + "/pipe/stock", Member: "pipe.stock", Actual: n, Limit: mostStock, Detail: fmt.Sprintf("The stock has %d pipes; at most %d are taken. Leave out what is not laid.", n, mostStock)})
	}
	for i, p := range c.Pipe.Stock {
		key := fmt.Sprintf("pipe.stock.%d", i)
		check(key+".diameter_mm", p.Diameter, 10, 3000)
		check(key+".outside_diameter_mm", p.OutsideDiameter, p.Diameter, 4000)
		check(key+".n", float64(p.N), 0.005, 0.1)
		given(key+".stick_m", p.Stick, 0.1, 1000)
		given(key+".coil_m", p.Coil, 0.1, 10000)
		solid = solid || p.Pipe == "solid"
		usable = usable || p.Pipe == "solid" && (c.Pipe.Wall == "any" || c.Pipe.Wall == p.Wall) && p.Diameter >= c.Pipe.LeastDiameter-1e-9
		if p.Pipe != "solid" && p.Pipe != "perforated" || p.Wall != "smooth" && p.Wall != "corrugated" {
			out = append(out, parcels.Fault{Slug: "criterion-invalid", Pointer: pointer + "/" + strings.ReplaceAll(key, ".", "/"), Member: key, Detail: "A stock pipe is solid or perforated, and smooth or corrugated."})
		}
	}
	switch {
	case len(out) > 0 && solid: // the list is told of first
	case solid && !usable:
		out = append(out, parcels.Fault{Slug: "criterion-invalid", Pointer: pointer + "/pipe/stock", Member: "pipe.stock",
			Detail: fmt.Sprintf("The stock has no solid pipe of wall %s that is %g mm wide or more inside. Give one, or change pipe.wall or pipe.least_diameter_mm.", c.Pipe.Wall, c.Pipe.LeastDiameter)})
	case !solid:
		out = append(out, parcels.Fault{Slug: "criterion-invalid", Pointer: pointer + "/pipe/stock", Member: "pipe.stock", Detail: "The stock has no solid pipe. Give at least one."})
	}
	return out
}

// criteriaAssumptions lists the defaults that stand because nobody set them.
func (d *siteReader) criteriaAssumptions(given map[string]bool) (out []string) {
	all := builtInRules()
	if d.o.Criteria != nil {
		all = rules(*d.o.Criteria)
	}
	for _, r := range all {
		if !given[r.key] {
			out = append(out, r.told)
		}
	}
	return out
}

// rule is a criterion by its key, and how it is told as a default.
type rule struct{ key, told string }

var builtInRules = sync.OnceValue(func() []rule { return rules(parcels.DefaultCriteria()) })

// rules are those of the criteria that bear on a drain and are one value each, in
// the order of the words in which they are told.
func rules(c parcels.Criteria) (out []rule) {
	raw, _ := json.Marshal(c)
	var m map[string]map[string]any
	_ = json.Unmarshal(raw, &m)
	for group, keys := range m {
		if group == "prices" || group == "sheet" || group == "survey" || group == "audit" || group == "takeoff" {
			continue
		}
		for k, v := range keys {
			full := group + "." + k
			switch v := v.(type) {
			case float64, string, bool:
				out = append(out, rule{full, fmt.Sprintf("%s = %v (built-in default)", full, v)})
			}
		}
	}
	slices.SortFunc(out, func(a, b rule) int { return cmp.Compare(a.told, b.told) })
	return out
}
