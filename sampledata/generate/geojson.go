package main

// Writing: members in a fixed order, one feature a line, rings closed and
// oriented as RFC 7946 has them.

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"sort"
	"strconv"

	"github.com/paulmach/orb"

	"fallwright/geo/frame"
)

const crs = "EPSG:2274"

type kv struct {
	k string
	v any
}

// obj is a JSON object whose members keep their order.
type obj []kv

func (o obj) MarshalJSON() ([]byte, error) {
	var b bytes.Buffer
	b.WriteByte('{')
	for i, m := range o {
		if i > 0 {
			b.WriteByte(',')
		}
		k, err := json.Marshal(m.k)
		if err != nil {
			return nil, err
		}
		v, err := json.Marshal(m.v)
		if err != nil {
			return nil, err
		}
		b.Write(k)
		b.WriteByte(':')
		b.Write(v)
	}
	b.WriteByte('}')
	return b.Bytes(), nil
}

type feature struct {
	id    string
	kind  string
	point xy
	parts [][][]xy // polygons; a line is parts[0][0]
	z     []float64
	props obj
}

type layer struct {
	name     string
	members  obj
	features []feature
}

type site struct {
	lots   []lot
	houses []house
	layers map[string]*layer
	shots  []shot
}

type shot struct {
	p    xy
	code string
}

func newSite() *site {
	s := &site{lots: plat(), layers: map[string]*layer{}}
	s.build()
	s.yards()
	s.storm()
	s.shots0()
	return s
}

func (s *site) layer(name string, members ...kv) *layer {
	l := s.layers[name]
	if l == nil {
		l = &layer{name: name, members: members}
		s.layers[name] = l
	}
	return l
}

func (l *layer) add(f feature) { l.features = append(l.features, f) }

func (l *layer) point(id string, p xy, z []float64, props obj) {
	l.add(feature{id: id, kind: "Point", point: p, z: z, props: props})
}
func (l *layer) line(id string, pts []xy, z []float64, props obj) {
	l.add(feature{id: id, kind: "LineString", parts: [][][]xy{{pts}}, z: z, props: props})
}
func (l *layer) polygon(id string, rings [][]xy, props obj) {
	l.add(feature{id: id, kind: "Polygon", parts: [][][]xy{orient(rings)}, props: props})
}
func (l *layer) multiPolygon(id string, parts [][][]xy, props obj) {
	for i := range parts {
		parts[i] = orient(parts[i])
	}
	l.add(feature{id: id, kind: "MultiPolygon", parts: parts, props: props})
}

// orient turns outer rings counter-clockwise. Lots come counter-clockwise
// already, so that their line_roles keep their places.
func orient(rings [][]xy) [][]xy {
	for i, r := range rings {
		if (signedArea(r) > 0) != (i == 0) {
			for a, b := 0, len(r)-1; a < b; a, b = a+1, b-1 {
				r[a], r[b] = r[b], r[a]
			}
		}
	}
	return rings
}

// shoot keeps a place to be shot beside the grid.
func (s *site) shoot(p xy, code string) { s.shots = append(s.shots, shot{p, code}) }

// shots0 fills the layer of ground shots: a 25 ft grid along the state plane,
// and what a crew shoots beside it: downspout bases, lot corners, house
// corners, structures, the bowls.
func (s *site) shots0() {
	sp := s.layer("spots", kv{"origin", "measured"})
	n := 0
	put := func(p xy, z float64, code string) {
		n++
		sp.point(fmt.Sprintf("P%04d", n), p, []float64{round(z, 2)}, obj{{"code", code}})
	}
	special := append([]shot(nil), s.shots...)
	for _, h := range s.houses {
		for _, c := range h.ring {
			shotAlready := false
			for _, o := range s.shots {
				shotAlready = shotAlready || dist(c, o.p) < 2
			}
			if !shotAlready {
				special = append(special, shot{c, "FC"})
			}
		}
	}
	seen := map[uv]bool{}
	for _, l := range s.lots {
		for _, part := range l.parts {
			for _, c := range part {
				if !seen[c.uv] {
					seen[c.uv] = true
					special = append(special, shot{at(c.uv), "PIN"})
				}
			}
		}
	}
	// along the side lines, where the side swales run
	for _, l := range s.lots {
		part := l.parts[0]
		for i, c := range part {
			n := part[(i+1)%len(part)]
			if c.role != side {
				continue
			}
			a, b := at(c.uv), at(n.uv)
			steps := int(dist(a, b) / 16)
			for k := 1; k < steps; k++ {
				t := float64(k) / float64(steps)
				p := xy{a.x + t*(b.x-a.x), a.y + t*(b.y-a.y)}
				clear := true
				for _, o := range special {
					clear = clear && dist(p, o.p) > 4
				}
				if clear {
					special = append(special, shot{p, "SL"})
				}
			}
		}
	}
	var lines [][]xy
	for _, f := range s.layers["breaklines"].features {
		lines = append(lines, f.parts[0][0])
	}
	near := func(p xy, d float64) bool {
		for _, o := range special {
			if dist(p, o.p) < d {
				return true
			}
		}
		for _, l := range lines {
			for i := 1; i < len(l); i++ {
				if toSegment(p, l[i-1], l[i]) < math.Min(d, 1.5) {
					return true
				}
			}
		}
		for _, b := range bowls {
			if dist(p, at(b.centre)) < b.radius+2 {
				return true
			}
		}
		return false
	}
	inHouse := func(p xy) bool {
		for _, h := range s.houses {
			if _, in := toRing(p, h.ring); in {
				return true
			}
		}
		return false
	}
	x0, x1, y0, y1 := math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
	for _, l := range s.lots {
		for _, part := range l.parts {
			for _, c := range part {
				p := at(c.uv)
				x0, x1, y0, y1 = math.Min(x0, p.x), math.Max(x1, p.x), math.Min(y0, p.y), math.Max(y1, p.y)
			}
		}
	}
	for y := math.Floor(y0/25) * 25; y <= y1+25; y += 25 {
		for x := math.Floor(x0/25) * 25; x <= x1+25; x += 25 {
			p := xy{x, y}
			q := strip(p)
			if q.u < -40 || q.u > east+15 || q.v < -325 || q.v > 325 || inHouse(p) || near(p, 3) {
				continue
			}
			// a crew does not hold the rod to the hundredth on grass
			put(p, s.surface(p)+0.03*hash(int64(x), int64(y)), "GS")
		}
	}
	for _, b := range bowls {
		for _, p := range b.ringPoints() {
			put(p, b.rim, "GS")
		}
		put(at(b.centre), b.rim-b.depth, "LP")
	}
	for _, i := range inlets {
		if i.kind == "grate" {
			continue // the flow line's breakline has its level
		}
		put(at(i.at), s.rim(i), "RIM")
	}
	for _, o := range special {
		onLine := false
		for _, l := range lines {
			for i := 1; i < len(l); i++ {
				onLine = onLine || toSegment(o.p, l[i-1], l[i]) < 0.5
			}
		}
		inBowl := false
		for _, b := range bowls {
			inBowl = inBowl || dist(o.p, at(b.centre)) < b.radius+0.5
		}
		if !onLine && !inBowl {
			put(o.p, s.surface(o.p), o.code)
		}
	}
}

// lonLat gives the conversion of state-plane positions, rounded as they are
// written, to longitude and latitude.
func lonLat() (func(xy) [2]float64, error) {
	o := at(uv{400, 0})
	f, err := frame.New(crs, orb.Bound{Min: orb.Point{o.x, o.y}, Max: orb.Point{o.x, o.y}})
	if err != nil {
		return nil, err
	}
	return func(p xy) [2]float64 {
		q := f.LonLat(f.Plane(orb.Point{round(p.x, 4), round(p.y, 4)}))
		return [2]float64{round(q[0], 9), round(q[1], 9)}
	}, nil
}

func (s *site) write(to func(xy) [2]float64, decimals int, crs string) []byte {
	var b bytes.Buffer
	put := func(indent, key string, v any) {
		t, err := json.Marshal(v)
		if err != nil {
			panic(err)
		}
		fmt.Fprintf(&b, "%s%q: %s,\n", indent, key, t)
	}
	b.WriteString("{\n")
	put("", "site", "quillmere_hollow")
	if crs != "" {
		put("", "crs", crs)
	}
	put("", "elevation_unit", "ft")
	put("", "vertical_datum", "NAVD88")
	put("", "benchmark", "top of the hydrant bolt at the corner of the collector and the south street, 543.11 ft (invented)")
	put("", "origin", "mapped")
	put("", "rainfall", rainfall())
	put("", "soil", obj{{"texture", "silt loam"}, {"conductivity_mh", 0.0076}, {"infiltration_mmh", 7.6}, {"water_table_depth_m", 1.8}, {"origin", "assumed"}})
	b.WriteString("\"layers\": {\n")
	names := []string{"parcels", "streets", "districts", "buildings", "openings", "easements", "swales", "inlets", "outlets", "intakes", "perforated_runs", "obstacles", "drains", "spots", "breaklines"}
	if len(names) != len(s.layers) {
		var have []string
		for n := range s.layers {
			have = append(have, n)
		}
		sort.Strings(have)
		panic(fmt.Sprint("layers are ", have))
	}
	num := func(v float64, dec int) string { return strconv.FormatFloat(v, 'f', dec, 64) }
	pos := func(p xy, z []float64, i int) string {
		q := to(p)
		t := "[" + num(q[0], decimals) + "," + num(q[1], decimals)
		if z != nil {
			t += "," + num(z[i], 2)
		}
		return t + "]"
	}
	ring := func(r []xy) string {
		t := "["
		for i := range r {
			t += pos(r[i], nil, 0) + ","
		}
		return t + pos(r[0], nil, 0) + "]"
	}
	for k, name := range names {
		l := s.layers[name]
		fmt.Fprintf(&b, "%q: {\"type\": \"FeatureCollection\", ", name)
		for _, m := range l.members {
			t, _ := json.Marshal(m.v)
			fmt.Fprintf(&b, "%q: %s, ", m.k, t)
		}
		b.WriteString("\"features\": [\n")
		for i, f := range l.features {
			var c string
			switch f.kind {
			case "Point":
				c = pos(f.point, f.z, 0)
			case "LineString":
				c = "["
				for j, p := range f.parts[0][0] {
					if j > 0 {
						c += ","
					}
					c += pos(p, f.z, j)
				}
				c += "]"
			case "Polygon", "MultiPolygon":
				for j, part := range f.parts {
					if j > 0 {
						c += ","
					}
					c += "["
					for m, r := range part {
						if m > 0 {
							c += ","
						}
						c += ring(r)
					}
					c += "]"
				}
				if f.kind == "MultiPolygon" {
					c = "[" + c + "]"
				}
			}
			props, err := json.Marshal(f.props)
			if err != nil {
				panic(err)
			}
			id, _ := json.Marshal(f.id)
			end := ",\n"
			if i == len(l.features)-1 {
				end = "\n"
			}
			fmt.Fprintf(&b, "{\"type\":\"Feature\",\"id\":%s,\"geometry\":{\"type\":%q,\"coordinates\":%s},\"properties\":%s}%s", id, f.kind, c, props, end)
		}
		if k == len(names)-1 {
			b.WriteString("]}\n")
		} else {
			b.WriteString("]},\n")
		}
	}
	b.WriteString("}\n}\n")
	return b.Bytes()
}
