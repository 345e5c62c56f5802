package main

// Houses and what stands in the yards.

import (
	"fmt"
	"math"
)

// house stands in a frame whose y axis runs to the rear; x0..x1 by 0..depth,
// with a garage that juts 6 ft towards the street.
type house struct {
	lot     string
	f       localFrame
	u       float64
	w, d    float64
	garageR bool
	ring    []xy
	corners []xy    // where downspouts stand, just off the wall
	grade   float64 // ground at the wall
	fd      float64 // wall to street line
}

type place struct {
	lot   string
	at    uv      // middle of the front wall
	deg   float64 // heading of the rear
	w, d  float64
	fd    float64 // front wall to the street line, for the drive
	spout int     // downspouts
}

func places() []place {
	var out []place
	mid := func(a []float64, i int) float64 { return (a[i] + a[i+1]) / 2 }
	for i := 0; i < 6; i++ {
		out = append(out, place{fmt.Sprintf("A%d", i+1), uv{mid(aFront, i)*0.7 + mid(aRear, i)*0.3, 206}, 90, 50 + 2*float64(i%2), 41, 26, 4})
	}
	out = append(out,
		place{"A7", uv{538, 208}, 90, 48, 42, 28, 4},
		place{"A8", uv{634, 232}, 84, 46, 38, 30, 4},
		place{"A9", uv{732, 228}, 90, 50, 38, 22, 4})
	for i := 0; i < 6; i++ {
		p := place{fmt.Sprintf("B%d", i+1), uv{mid(bFront, i)*0.6 + mid(bRear, i)*0.4, 105}, -90, 54, 44, 25, 4}
		switch i {
		case 3:
			p.w, p.spout = 54, 5
		case 4:
			p.w, p.at.u = 69, p.at.u+0.9 // both side yards too narrow
		}
		out = append(out, p)
	}
	out = append(out,
		place{"B7", uv{530, 104}, -90, 54, 42, 26, 4},
		place{"B8", uv{662, 92}, -45, 48, 40, 28, 4},
		place{"B9", uv{679, 156}, 0, 44, 40, 26, 4})
	for i := 0; i < 9; i++ {
		p := place{fmt.Sprintf("C%d", i+1), uv{mid(cFront, i)*0.65 + mid(cRear, i)*0.35, -105}, 90, 58, 42, 25, 4}
		switch i {
		case 5:
			p.at.u = 474
		case 6:
			p.at.u, p.d, p.spout = 559, 34, 4
		case 8:
			p.at.u, p.w, p.spout = 735, 62, 6
		}
		out = append(out, p)
	}
	for i := 0; i < 9; i++ {
		p := place{fmt.Sprintf("D%d", i+1), uv{mid(dFront, i)*0.75 + mid(dRear, i)*0.25, -206}, -90, 60, 43, 26, 4}
		if i == 8 {
			p.at.u, p.w, p.d = 734, 54, 38
		}
		out = append(out, p)
	}
	return out
}

func (s *site) build() {
	for n, p := range places() {
		h := house{lot: p.lot, f: newFrame(p.at, p.deg), u: p.at.u, w: p.w, d: p.d, fd: p.fd, garageR: n%3 != 1}
		a, b := -p.w/2, p.w/2
		pts := [][2]float64{{a, 0}, {b - 22, 0}, {b - 22, -6}, {b, -6}, {b, p.d}, {a, p.d}}
		if !h.garageR {
			pts = [][2]float64{{a, -6}, {a + 22, -6}, {a + 22, 0}, {b, 0}, {b, p.d}, {a, p.d}}
		}
		if n%4 == 3 { // a sun room at the back
			last := len(pts) - 1
			pts = append(pts[:last:last], [2]float64{b - 3, p.d}, [2]float64{b - 3, p.d + 7}, [2]float64{b - 17, p.d + 7}, [2]float64{b - 17, p.d}, pts[last])
		}
		h.ring = h.f.ring(pts...)
		const off = 0.3
		front := [2]float64{0, -6}
		if !h.garageR {
			front = [2]float64{-6, 0}
		}
		h.corners = h.f.ring([][2]float64{{a - off, front[0] + 1}, {b + off, front[1] + 1}, {b + off, p.d - 1}, {a - off, p.d - 1}, {a + 12, p.d + off}, {b - 12, p.d + off}}[:p.spout]...)
		s.houses = append(s.houses, h)
	}
	for i := range s.houses {
		h := &s.houses[i]
		var sum float64
		for _, c := range h.ring {
			q := strip(c)
			sum += base(q.u) + along(q.v) + lowLot(q)
		}
		h.grade = round(sum/float64(len(h.ring))+1.0, 2)
	}
	s.setBowls()
}

func (s *site) house(lot string) *house {
	for i := range s.houses {
		if s.houses[i].lot == lot {
			return &s.houses[i]
		}
	}
	panic("no house on " + lot)
}

// lotRing is the outer line of a lot's first part, on the ground.
func (s *site) lotRing(id string) []xy {
	for _, l := range s.lots {
		if l.id == id {
			var ring []xy
			for _, c := range l.parts[0] {
				ring = append(ring, at(c.uv))
			}
			return ring
		}
	}
	panic("no lot " + id)
}

func (s *site) yards() {
	pa := s.layer("parcels", kv{"origin", "mapped"})
	for _, l := range s.lots {
		var parts [][][]xy
		var roles []any
		for k, part := range l.parts {
			var ring []xy
			for _, c := range part {
				ring = append(ring, at(c.uv))
				if k == 0 {
					roles = append(roles, c.role)
				}
			}
			parts = append(parts, [][]xy{ring})
		}
		source := map[byte]string{'A': "gis", 'B': "pins", 'C': "pins", 'D': "survey"}[l.row]
		props := obj{{"lot", l.id}, {"block", string(l.row)}, {"line_roles", roles}, {"line_source", source}}
		if l.id == "D9" {
			props = obj{{"lot", l.id}, {"block", string(l.row)}, {"line_roles", roles}, {"line_source", source}, {"note", "in two pieces: the path between them is no lot"}}
			pa.multiPolygon(l.id, parts, props)
			continue
		}
		pa.polygon(l.id, parts[0], props)
	}

	bu := s.layer("buildings", kv{"origin", "mapped"})
	op := s.layer("openings", kv{"origin", "measured"})
	it := s.layer("intakes", kv{"origin", "measured"})
	ob := s.layer("obstacles", kv{"origin", "mapped"})
	for n, h := range s.houses {
		plan := math.Abs(signedArea(h.ring))
		roof := round(plan+2*1.5*(h.w+h.d+6), 0) // 1.5 ft eaves
		bu.polygon("house "+h.lot, [][]xy{h.ring}, obj{{"lot", h.lot}, {"roof_area_ft2", roof}, {"outline", "wall"}, {"footing_depth_ft", 2.5}})
		for i, c := range h.corners {
			share := round(roof/float64(len(h.corners)), 1)
			it.point(fmt.Sprintf("%s-DS%d", h.lot, i+1), c, nil, obj{{"intake", fmt.Sprintf("%s-DS%d", h.lot, i+1)}, {"lot", h.lot}, {"kind", "downspout"}, {"roof_area_ft2", share}, {"rim_ft", round(s.surface(c), 2)}})
			s.shoot(c, "DS")
		}
		switch n % 4 {
		case 0:
			w := h.f.at(-h.w/2+10, h.d+0.5)
			op.point(h.lot+" window well", w, nil, obj{{"lot", h.lot}, {"kind", "window_well"}, {"level_ft", round(h.grade+0.45, 2)}})
		case 2:
			w := h.f.at(2, h.d+0.2)
			op.point(h.lot+" rear door", w, nil, obj{{"lot", h.lot}, {"kind", "door"}, {"level_ft", round(h.grade+0.7, 2)}})
		}
		// drive from the garage to the curb, walk from the door to the drive
		g0, g1, side := h.w/2-20, h.w/2-2, 1.0
		if !h.garageR {
			g0, g1, side = -h.w/2+2, -h.w/2+20, -1
		}
		if h.lot == "A9" { // by the pole
			ob.polygon("drive A9", [][]xy{mapAll([]uv{{639.4, 174}, {703, 212}, {755, 211}, {755, 221.9}, {690, 221.9}, {632.6, 184}})}, obj{{"kind", "paving"}, {"lot", h.lot}, {"surface", "drive"}})
			ob.line("water A9", mapAll([]uv{{630, 179}, {694, 216}, {726, 227.8}}), nil, obj{{"kind", "utility"}, {"utility", "water"}, {"cover_ft", 3.0}, {"confidence", "drawn along the drive"}})
			s.trees(ob, n, h)
			continue
		}
		ob.polygon("drive "+h.lot, [][]xy{h.f.ring([2]float64{g0, -h.fd - 10}, [2]float64{g1, -h.fd - 10}, [2]float64{g1, -6}, [2]float64{g0, -6})}, obj{{"kind", "paving"}, {"lot", h.lot}, {"surface", "drive"}})
		inner := g0
		if side < 0 {
			inner = g1
		}
		door := inner - side*9
		ob.polygon("walk "+h.lot, [][]xy{h.f.ring([2]float64{inner, -12}, [2]float64{inner, -8.5}, [2]float64{door + side*2, -8.5}, [2]float64{door + side*2, -0.1}, [2]float64{door - side*2, -0.1}, [2]float64{door - side*2, -12})}, obj{{"kind", "paving"}, {"lot", h.lot}, {"surface", "walk"}})
		// services from the street
		ob.line("water "+h.lot, []xy{h.f.at(-side*6, -h.fd-12), h.f.at(-side*6, -0.1)}, nil, obj{{"kind", "utility"}, {"utility", "water"}, {"cover_ft", 3.0}, {"confidence", "drawn from the meter straight to the house"}})
		ob.line("gas "+h.lot, []xy{h.f.at(-side*(h.w/2-3), -h.fd-12), h.f.at(-side*(h.w/2-3), -0.1)}, nil, obj{{"kind", "utility"}, {"utility", "gas"}, {"cover_ft", 1.5}, {"confidence", "drawn from the meter straight to the house"}})
		// trees: two tries a lot in the rear yard, one in front
		s.trees(ob, n, h)
	}
	// a detached garage that stands in the rear drainage easement
	f := newFrame(uv{726, 24}, -90)
	bu.polygon("garage B8", [][]xy{f.ring([2]float64{-10, 0}, [2]float64{10, 0}, [2]float64{10, 18}, [2]float64{-10, 18})}, obj{{"lot", "B8"}, {"roof_area_ft2", 360.0}, {"outline", "wall"}})

	s.furniture(ob, it)
}

func (s *site) trees(ob *layer, n int, h house) {
	if h.lot == "B4" {
		ob.point("tree B4", at(uv{303, 46}), nil, obj{{"kind", "tree"}, {"lot", "B4"}, {"radius_ft", 7.0}})
		ob.point("tree B4 front", h.f.at(-14, -15), nil, obj{{"kind", "tree"}, {"lot", "B4"}, {"trunk_mm", 75.0}})
		return
	}
	ring := s.lotRing(h.lot)
	id := 0
	for try := int64(0); try < 6 && id < 2; try++ {
		x := hash(int64(n)*7+try, 1) * h.w * 0.6
		y := h.d + 14 + (hash(int64(n)*7+try, 2)+1)*16
		if try%3 == 2 {
			x, y = -h.w/2+hash(int64(n), 3)*4, -16
		}
		p := h.f.at(x, y)
		d, in := toRing(p, ring)
		if !in || d < 9 {
			continue
		}
		// clear of all houses and of the bowls
		ok := true
		for _, o := range s.houses {
			dd, inside := toRing(p, o.ring)
			ok = ok && !inside && dd > 10
		}
		for _, b := range bowls {
			ok = ok && dist(p, at(b.centre)) > b.radius+8
		}
		if !ok {
			continue
		}
		id++
		props := obj{{"kind", "tree"}, {"lot", h.lot}, {"trunk_mm", round(90+60*(hash(int64(n), 9+try)+1), 0)}}
		if try%2 == 1 {
			props = obj{{"kind", "tree"}, {"lot", h.lot}, {"radius_ft", round(4+2*(hash(int64(n), 19+try)+1), 1)}}
		}
		ob.point(fmt.Sprintf("tree %s %d", h.lot, id), p, nil, props)
	}
}

// furniture is what single lots have.
func (s *site) furniture(ob, it *layer) {
	rect := func(p uv, deg, w, d float64) [][]xy {
		f := newFrame(p, deg)
		return [][]xy{f.ring([2]float64{-w / 2, 0}, [2]float64{w / 2, 0}, [2]float64{w / 2, d}, [2]float64{-w / 2, d})}
	}
	for _, o := range []struct {
		lot  string
		p    uv
		w, d float64
	}{{"A5", uv{350, 272}, 10, 8}, {"C4", uv{285, -30}, 12, 10}, {"D3", uv{205, -270}, 10, 10}} {
		deg := 90.0
		if o.lot[0] == 'D' {
			deg = -90
		}
		ob.polygon("shed "+o.lot, rect(o.p, deg, o.w, o.d), obj{{"kind", "shed"}, {"lot", o.lot}})
	}
	ob.polygon("pool D6", rect(uv{478, -262}, -90, 30, 16), obj{{"kind", "pool"}, {"lot", "D6"}})
	ob.polygon("pool C9", rect(uv{740, -48}, 90, 32, 18), obj{{"kind", "pool"}, {"lot", "C9"}})
	ob.polygon("patio B4", [][]xy{s.house("B4").f.ring([2]float64{4, 44.1}, [2]float64{20, 44.1}, [2]float64{20, 54}, [2]float64{4, 54})}, obj{{"kind", "paving"}, {"lot", "B4"}, {"surface", "patio"}})
	ob.point("well D7", at(uv{640, -282}), nil, obj{{"kind", "well"}, {"lot", "D7"}, {"radius_ft", 0.5}})
	ob.polygon("wall C9", rect(uv{775, -90}, 90, 0.8, 60), obj{{"kind", "wall"}, {"lot", "C9"}})
	ob.polygon("septic field D2", rect(uv{148, -262}, -90, 30, 16), obj{{"kind", "septic"}, {"lot", "D2"}})

	// fences stand 0.5 ft inside the line
	fence := func(id, lot, bottom string, pts ...uv) {
		ob.line(id, mapAll(pts), nil, obj{{"kind", "fence"}, {"lot", lot}, {"bottom", bottom}})
	}
	fence("fence B4 east", "B4", "open", uv{318.0, 58}, uv{317.5, 11})
	fence("fence C2", "C2", "open", uv{84.7, -58}, uv{84.5, -6}, uv{169.3, -6}, uv{170.6, -58})
	fence("fence D4", "D4", "solid", uv{262.6, -252}, uv{262.6, -297}, uv{348.8, -297})
	// solid, and on over the rear line: it dams the swale
	fence("fence C6", "C6", "solid", uv{429.4, -62}, uv{428.5, 0}, uv{428.4, 6})

	// irrigation laterals and the mains in the streets
	f := s.house("B4").f
	ob.line("irrigation B4", []xy{f.at(-26, -18), f.at(2, -18), f.at(2, -13)}, nil, obj{{"kind", "irrigation"}, {"lot", "B4"}, {"cover_ft", 0.7}})
	f = s.house("C5").f
	ob.line("irrigation C5", []xy{f.at(-30, 62), f.at(28, 62)}, nil, obj{{"kind", "irrigation"}, {"lot", "C5"}, {"cover_ft", 0.8}})
	main := func(id, what string, v, to, cover float64) {
		var pts []xy
		for u := 0.0; u <= to; u += 60 {
			pts = append(pts, at(uv{u, v}))
		}
		ob.line(id, pts, nil, obj{{"kind", "utility"}, {"utility", what}, {"cover_ft", cover}})
	}
	main("water main north street", "water", 164, 540, 3.5)
	main("gas main north street", "gas", 146, 540, 2.5)
	main("water main south street", "water", -146, east, 3.5)
	main("gas main south street", "gas", -164, east, 2.5)
	main("telecom south easement", "telecom", -303, 660, 2.0)

	// basins and perforated runs
	basin := func(id, lot string, p xy, area float64) {
		z := round(s.surface(p), 2)
		it.point(id, p, nil, obj{{"intake", id}, {"lot", lot}, {"kind", "yard_basin"}, {"yard_area_ft2", area}, {"rim_ft", z}, {"length_m", 0.3048}, {"width_m", 0.3048}, {"open_ratio", 0.45}, {"clogging", 0.5}})
	}
	basin("B4-YB1", "B4", at(bowls[0].centre), 2400)
	basin("A6-YB1", "A6", at(bowls[1].centre), 2100)
	basin("C3-YB1", "C3", at(uv{214, -24}), 1900)
	basin("D5-YB1", "D5", at(uv{390, -292}), 3000)
	basin("C7-YB1", "C7", at(uv{592, -66}), 700)
	pr := s.layer("perforated_runs", kv{"origin", "assumed"})
	pr.line("PR-B4", mapAll([]uv{{300, 19}, {276, 19}, {252, 19}}), nil, obj{{"lot", "B4"}, {"pipe_count", 1}, {"width_ft", 1.0}, {"depth_ft", 2.0}})
	pr.line("PR-B1", mapAll([]uv{{68, 15}, {44, 15}, {22, 15}}), nil, obj{{"lot", "B1"}, {"pipe_count", 1}})
	pr.line("PR-C4", mapAll([]uv{{325, -16}, {302, -16}}), nil, obj{{"lot", "C4"}, {"pipe_count", 1}})
	pr.line("PR-A6", mapAll([]uv{{484, 284}, {428, 284}}), nil, obj{{"lot", "A6"}, {"pipe_count", 1}})

	s.drains(ob)
}

// drains that exist or are drawn. The one on C3 strays over the side line by
// 4 in, measured square to it.
func (s *site) drains(ob *layer) {
	dr := s.layer("drains", kv{"origin", "measured"})
	// C3's east side line runs from u 258 at the street to u 262 at the rear
	a, b := at(uv{258, -130}), at(uv{262, 0})
	l := dist(a, b)
	tx, ty := (b.x-a.x)/l, (b.y-a.y)/l
	// off is square to the line, positive to the left of street-to-rear, which
	// is the lot's own side
	along := func(share, off float64) xy {
		return xy{a.x + (b.x-a.x)*share - ty*off, a.y + (b.y-a.y)*share + tx*off}
	}
	fall := func(pts []xy, drop float64) (up, down float64) {
		up = round(s.surface(pts[0])-1.4, 2)
		return up, round(up-drop, 2)
	}
	put := func(id, lot, status string, pts []xy, drop, dia float64, extra ...kv) {
		up, down := fall(pts, drop)
		dr.line(id, pts, nil, append(obj{{"drain", id}, {"lot", lot}, {"status", status}, {"invert_up_ft", up}, {"invert_down_ft", down}, {"diameter_mm", dia}, {"pipe", "solid"}, {"n", 0.012}}, extra...))
	}
	put("DR-C3", "C3", "existing", []xy{along(0.20, 3.2), along(0.45, 2.9), along(0.62, -4.0/12), along(0.80, 2.6), along(0.95, 3.0)}, 2.2, 101.6, kv{"keep", false})
	put("DR-D1", "D1", "existing", mapAll([]uv{{14, -262}, {18, -274}, {30, -286}}), 1.4, 101.6, kv{"keep", true})
	put("DR-C5", "C5", "proposed", mapAll([]uv{{345.6, -62}, {342.6, -20}}), 0.6, 101.6)
	put("DR-B2", "B2", "laid", mapAll([]uv{{92, 58}, {96, 30}, {100, 14}}), 0.9, 152.4)
	ob.line("old drain B6", mapAll([]uv{{420, 58}, {424, 14}}), nil, obj{{"kind", "existing_drain"}, {"lot", "B6"}, {"cover_ft", 1.0}})
}
