package main

// Inlets, swales, easements, outlets, and the water they meet.

import "math"

// storm structures, one place for both the ground and the document.
type inlet struct {
	id, kind, system, owner string
	at                      uv
	rimOver                 float64 // rim over the ground there
	depth                   float64 // rim to the invert of the outgoing pipe
	diameterIn              float64
	dip                     bool // the survey gave a dip, not an invert
}

var inlets = []inlet{
	{id: "I1", kind: "grate", system: "storm", owner: "town", at: uv{243, -0.8}, depth: 4.0, diameterIn: 15},
	{id: "I2", kind: "grate", system: "storm", owner: "town", at: uv{6, 1.2}, depth: 4.4, diameterIn: 18},
	{id: "I3", kind: "grate", system: "storm", owner: "town", at: uv{520, -0.8}, depth: 4.2, diameterIn: 12, dip: true},
	{id: "I4", kind: "curb", system: "storm", owner: "town", at: uv{390, -169}, depth: 3.1, diameterIn: 15},
	{id: "I5", kind: "grate", system: "unknown", owner: "not recorded", at: uv{170, 306}, depth: 3.6, diameterIn: 12},
}

func (s *site) rim(in inlet) float64 { return round(s.flowLine(at(in.at))+in.rimOver, 2) }

// flowLine is the surface at a structure in a swale: the flow line beside it.
func (s *site) flowLine(p xy) float64 {
	q := strip(p)
	if math.Abs(q.v) < 3 {
		q.v = 0
	}
	return s.ground(at(q))
}

type swale struct {
	id       string
	from, to float64 // u, downstream
	v        float64
	may      bool
	by       string
}

var swales = []swale{
	{"S1", 770, 520, 0, false, "owners"},
	{"S2", 520, 243, 0, false, "owners"},
	{"S3", 243, 6, 0, false, "owners"},
	{"S4", 590, 170, 306, true, "association"},
}

// line gives the swale's flow line with a point every 25 ft, and at its ends.
func (w swale) line() []uv {
	var out []uv
	step := -25.0
	for u := w.from; u > w.to; u += step {
		out = append(out, uv{u, w.v})
	}
	return append(out, uv{w.to, w.v})
}

func (s *site) storm() {
	in := s.layer("inlets", kv{"origin", "measured"})
	for _, i := range inlets {
		rim := s.rim(i)
		props := obj{{"inlet", i.id}, {"kind", i.kind}, {"system", i.system}, {"owner", i.owner}, {"rim_ft", rim}}
		if i.dip {
			props = append(props, kv{"dip_ft", i.depth})
		} else {
			props = append(props, kv{"invert_ft", round(rim-i.depth, 2)})
		}
		props = append(props, kv{"outgoing_diameter_in", i.diameterIn}, kv{"sump_ft", 1.0})
		if i.kind == "grate" {
			props = append(props, kv{"length_m", 0.6096}, kv{"width_m", 0.6096}, kv{"open_ratio", 0.5}, kv{"clogging", 0.5})
		}
		m := func(ft float64) float64 { return round(ft*0.3048, 3) }
		switch i.id {
		case "I1": // under its outgoing crown
			props = append(props, kv{"tailwater_m", m(rim - i.depth + 1.2)}, kv{"flow_limit_m3s", 0.06})
		case "I2": // the creek backs up: 0.4 ft over the rim at minute 30
			var curve []any
			for _, t := range [][2]float64{{0, -i.depth + 0.5}, {10, -2.6}, {20, -0.3}, {30, 0.4}, {45, 0.25}, {60, -0.6}, {90, -2.4}, {120, -i.depth + 0.6}} {
				curve = append(curve, []any{t[0], m(rim + t[1])})
			}
			props = append(props, kv{"tailwater", curve}, kv{"flow_limit_m3s", 0.05})
		case "I3":
			props = append(props, kv{"flow_limit_m3s", 0.008})
		}
		in.point(i.id, at(i.at), nil, props)
	}

	sw := s.layer("swales", kv{"origin", "measured"})
	br := s.layer("breaklines", kv{"origin", "measured"})
	for _, w := range swales {
		var pts []xy
		var z []float64
		for _, p := range w.line() {
			pts = append(pts, at(p))
			z = append(z, round(s.ground(at(p)), 2))
		}
		sw.line(w.id, pts, z, obj{{"side_slope", 7.0}, {"bottom_width_m", 0.0}, {"depth_ft", 0.7}, {"n", 0.035}, {"may_discharge", w.may}, {"maintained_by", w.by}})
		br.line("flow line "+w.id, pts, z, obj{{"kind", "flow_line"}})
		for _, off := range []float64{-5, 5} {
			if w.v != 0 {
				continue
			}
			var bank []xy
			var bz []float64
			for _, p := range w.line() {
				q := at(uv{p.u, p.v + off})
				bank = append(bank, q)
				bz = append(bz, round(s.ground(q), 2))
			}
			side := "north"
			if off < 0 {
				side = "south"
			}
			br.line("bank "+w.id+" "+side, bank, bz, obj{{"kind", "top_of_bank"}})
		}
	}
	for _, st := range []struct {
		id   string
		v    float64
		to   float64
		kind string
	}{{"crown north street", 155, 600, "crown"}, {"crown south street", -155, east, "crown"}, {"gutter north street, north", 169, 540, "gutter"},
		{"gutter north street, south", 141, 540, "gutter"}, {"gutter south street, north", -141, east, "gutter"}, {"gutter south street, south", -169, east, "gutter"}} {
		var pts []xy
		var z []float64
		for u := 0.0; u <= st.to; u += 30 {
			q := at(uv{u, st.v})
			pts, z = append(pts, q), append(z, round(s.ground(q), 2))
		}
		br.line(st.id, pts, z, obj{{"kind", st.kind}})
	}
	for _, b := range bowls {
		ring := b.ringPoints()
		ring = append(ring, ring[0])
		z := make([]float64, len(ring))
		for i := range z {
			z[i] = b.rim
		}
		br.line("rim of bowl "+b.lot, ring, z, obj{{"kind", "rim"}})
	}

	ea := s.layer("easements", kv{"origin", "mapped"})
	band := func(u0, u1, v0, v1 float64) []xy {
		var ring []uv
		n := int(math.Ceil((u1 - u0) / 30))
		for i := 0; i <= n; i++ {
			ring = append(ring, uv{u0 + (u1-u0)*float64(i)/float64(n), v0})
		}
		for i := n; i >= 0; i-- {
			ring = append(ring, uv{u0 + (u1-u0)*float64(i)/float64(n), v1})
		}
		return mapAll(ring)
	}
	ea.polygon("E1", [][]xy{band(0, east, -10, 10)}, obj{{"kind", "drainage"}, {"trench", "permission"}, {"width_ft", 20.0}, {"plat_note", "20 ft drainage easement, 10 ft each side of the rear line"}})
	ea.polygon("E2", [][]xy{band(0, 660, 290, 310)}, obj{{"kind", "drainage"}, {"width_ft", 20.0}, {"plat_note", "20 ft drainage easement along the north boundary"}})
	var utility []xy
	for u := 0.0; u <= 690; u += 30 {
		utility = append(utility, at(uv{u, -303}))
	}
	ea.line("E3", utility, nil, obj{{"kind", "utility"}, {"width_ft", 10.0}, {"plat_note", "10 ft utility easement"}})
	ea.polygon("E4", [][]xy{band(0, 252, 255, 269)}, obj{{"kind", "access"}, {"trench", "forbidden"}, {"width_ft", 14.0}, {"plat_note", "14 ft access easement to lot A4 across lots A1, A2 and A3: no digging"}})

	out := s.layer("outlets", kv{"origin", "mapped"})
	curb := func(id string, p uv) {
		out.point(id, at(p), nil, obj{{"outlet", id}, {"kind", "curb_core"}, {"level_ft", round(s.ground(at(p))+0.1, 2)}})
	}
	curb("O-A5", uv{372, 169})
	curb("O-B2", uv{120, 141})
	curb("O-C2", uv{130, -141})
	out.point("O-D2", at(uv{118, -294}), nil, obj{{"outlet", "O-D2"}, {"kind", "daylight"}, {"level_ft", round(s.ground(at(uv{118, -294}))+0.1, 2)}})
	out.point("O-C6", at(uv{480, -22}), nil, obj{{"outlet", "O-C6"}, {"kind", "dry_well"}, {"level_ft", round(s.ground(at(uv{480, -22}))-2, 2)}})
	out.point("O-A8", at(uv{640, 284}), nil, obj{{"outlet", "O-A8"}, {"kind", "emitter"}, {"level_ft", round(s.ground(at(uv{640, 284}))+0.05, 2)}, {"riser_diameter_mm", 101.6}, {"opening_head_m", 0.03}, {"weep", true}})

	st := s.layer("streets", kv{"origin", "mapped"})
	for _, a := range streetAreas() {
		st.polygon(a.id, [][]xy{mapAll(a.ring)}, obj{{"trench", "permission"}, {"owner", "town"}})
	}
	di := s.layer("districts", kv{"origin", "mapped"})
	di.polygon("south slope", [][]xy{band(-10, 790, -320, -179)}, obj{{"name", "south slope overlay"}, {"criteria", obj{{"clearance", obj{{"rear_m", 0.9144}}}, {"building_setback", obj{{"side_m", 2.286}}}}}})
}

// rainfall is the design rain: invented numbers in the shape of an agency's
// depth-duration-frequency table.
func rainfall() obj {
	durations := []float64{5, 10, 15, 30, 60, 120, 180, 360, 720, 1440}
	ratio := []float64{0.30, 0.47, 0.58, 0.79, 1.00, 1.20, 1.31, 1.60, 1.92, 2.26}
	hour := []struct{ years, depth float64 }{{2, 37.5}, {5, 46.5}, {10, 53.9}, {25, 64.0}, {50, 71.8}, {100, 79.8}}
	var rows []any
	for i, d := range durations {
		for _, h := range hour {
			rows = append(rows, obj{{"duration_min", d}, {"return_years", h.years}, {"depth_mm", round(h.depth*ratio[i], 1)}})
		}
	}
	return obj{{"note", "invented numbers in the shape of an agency's table: not for any real place"}, {"origin", "assumed"}, {"table", rows}}
}
