package document

// Criteria files and the criteria of a document: the built-in keys, nothing
// else, with lengths in feet turned into metres.

import (
	"bytes"
	"cmp"
	"encoding/json"
	"fmt"
	"math"
	"reflect"
	"slices"
	"sort"
	"strings"
	"sync"

	"go.yaml.in/yaml/v3"

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
	for _, r := range []struct {
		key string
		v   any
	}{{"clearance.front_m", c.Clearance.Front}, {"clearance.side_m", c.Clearance.Side}, {"clearance.rear_m", c.Clearance.Rear}} {
		if v := reflect.ValueOf(r.v); !v.IsNil() {
			check(r.key, v.Elem().Float(), 0, 100)
		}
	}
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
	check("pipe.least_velocity_ms", float64(c.Pipe.LeastVelocity), 0, 5)
	check("trench.width_m", float64(c.Trench.Width), 0.05, 3)
	check("trench.bedding_m", float64(c.Trench.Bedding), 0, 1)
	check("trench.over_pipe_m", float64(c.Trench.OverPipe), 0, 2)
	check("trench.cap_m", float64(c.Trench.Cap), 0, 1)
	check("trench.void_ratio", c.Trench.VoidRatio, 0, 0.6)
	check("takeoff.swell", c.Takeoff.Swell, 1, 2)
	check("storm.return_years", float64(c.Storm.ReturnYears), 1, 1000)
	check("storm.roof_min", float64(c.Storm.RoofMin), 1, 120)
	check("storm.yard_min", float64(c.Storm.YardMin), 1, 240)
	check("runoff.roof_c", c.Runoff.RoofC, 0, 1)
	check("runoff.yard_c", c.Runoff.YardC, 0, 1)
	check("tie_in.reach_m", float64(c.TieIn.Reach), 0, 50)
	check("route.join_angle_deg", c.Route.JoinAngle, 1, 90)
	check("route.utility_angle_deg", c.Route.UtilityAngle, 0, 90)
	check("route.bend_angle_deg", c.Route.BendAngle, 1, 180)
	check("route.cleanout_every_m", float64(c.Route.CleanoutEvery), 1, 1000)
	if c.Route.Outlet != "nearest" && c.Route.Outlet != "cheapest" {
		out = append(out, parcels.Fault{Slug: "criterion-invalid", Pointer: pointer + "/route/outlet", Member: "route.outlet", Detail: "The criterion route.outlet is nearest or cheapest."})
	}
	solid := false
	for i, p := range c.Pipe.Stock {
		key := fmt.Sprintf("pipe.stock.%d", i)
		check(key+".diameter_mm", p.Diameter, 10, 3000)
		check(key+".outside_diameter_mm", p.OutsideDiameter, p.Diameter, 4000)
		check(key+".n", float64(p.N), 0.005, 0.1)
		solid = solid || p.Pipe == "solid"
		if p.Pipe != "solid" && p.Pipe != "perforated" || p.Wall != "smooth" && p.Wall != "corrugated" {
			out = append(out, parcels.Fault{Slug: "criterion-invalid", Pointer: pointer + "/" + strings.ReplaceAll(key, ".", "/"), Member: key, Detail: "A stock pipe is solid or perforated, and smooth or corrugated."})
		}
	}
	if !solid {
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
