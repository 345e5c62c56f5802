package verify

// The criteria by which a lot is judged: the site's, with those of the
// districts that hold the middle of the lot laid over. Read again from the
// document, by means of this room's own.

import (
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"fallwright/parcels"
)

// district is an area with criteria of its own.
type district struct {
	thing
	over map[string]any // the criteria, keys in SI
}

func (s *site) readDistrict(f *feature) {
	d := district{}
	if !s.shape(f.geom, &d.thing) || len(d.polys) == 0 {
		s.fault(*f, "no polygon")
		return
	}
	over, ok := f.props.v.get("criteria").plain().(map[string]any)
	if !ok || len(over) == 0 {
		return
	}
	d.over = over
	inSI(over)
	s.districts = append(s.districts, d)
}

// plain gives the value as encoding/json would have it.
func (v val) plain() any {
	switch v.k {
	case object:
		m := map[string]any{}
		for _, e := range v.ms {
			m[e.key] = e.v.plain()
		}
		return m
	case list:
		a := []any{}
		for _, e := range v.a {
			a = append(a, e.plain())
		}
		return a
	case text:
		return v.s
	case number:
		return v.n
	case boolean:
		return v.n != 0
	}
	return nil
}

// inSI turns keys that end in _ft, _in, _ft2 and _inh into those that the
// criteria are kept in.
func inSI(v any) {
	switch v := v.(type) {
	case []any:
		for _, e := range v {
			inSI(e)
		}
	case map[string]any:
		for _, k := range slices.Sorted(maps.Keys(v)) {
			inSI(v[k])
			n, ok := v[k].(float64)
			if !ok {
				continue
			}
			at := strings.LastIndexByte(k, '_')
			to, by := "", 1.0
			switch k[at+1:] {
			case "ft":
				to, by = "_m", foot
			case "ft2":
				to, by = "_m2", squareFoot
			case "inh":
				to, by = "_mmh", 25.4
			case "in":
				if to, by = "_m", inch; strings.Contains(k, "diameter") {
					to, by = "_mm", 25.4
				}
			}
			if to != "" && at >= 0 {
				delete(v, k)
				v[k[:at]+to] = n * by
			}
		}
	}
}

// middle is the middle of the widest span on the level line through the middle
// of the box of the lot's largest piece.
func (l *lot) middle() (pt, bool) {
	var g *poly
	most := math.Inf(-1)
	for i := range l.pieces {
		a, r := 0.0, l.pieces[i].rings[0]
		for k := range r {
			p, q := r[k], r[(k+1)%len(r)]
			a += (p.x - r[0].x) * (q.y - r[0].y)
			a -= (q.x - r[0].x) * (p.y - r[0].y)
		}
		if a = math.Abs(a); a > most {
			g, most = &l.pieces[i], a
		}
	}
	if g == nil {
		return pt{}, false
	}
	low, high := math.Inf(1), math.Inf(-1)
	for _, p := range g.rings[0] {
		low, high = min(low, p.y), max(high, p.y)
	}
	y := (low + high) / 2
	var xs []float64
	for _, r := range g.rings {
		for k := range r {
			p, q := r[k], r[(k+1)%len(r)]
			if (p.y > y) != (q.y > y) {
				xs = append(xs, p.x+(y-p.y)/(q.y-p.y)*(q.x-p.x))
			}
		}
	}
	slices.Sort(xs)
	best, wide := pt{}, math.Inf(-1)
	for k := 0; k+1 < len(xs); k += 2 {
		if w := xs[k+1] - xs[k]; w > wide {
			best, wide = pt{x: (xs[k] + xs[k+1]) / 2, y: y}, w
		}
	}
	return best, wide > 0
}

// rule works out the criteria of each lot of the plan.
func (j *judge) rule() error {
	if len(j.s.districts) == 0 {
		return nil
	}
	j.ruled = map[string]*parcels.Criteria{}
	ids := slices.Clone(j.p.summary.lots)
	for i := range j.p.runs {
		if id := j.p.runs[i].lot; !slices.Contains(ids, id) {
			ids = append(ids, id) // an easement's, beyond the plan's lots
		}
	}
	for _, id := range ids {
		l := j.s.lot(id)
		if l == nil {
			continue
		}
		at, ok := l.middle()
		if !ok {
			continue
		}
		c := j.c
		for _, d := range j.s.districts {
			if !j.in(&d.thing, at) {
				continue
			}
			text, err := json.Marshal(d.over)
			if err != nil {
				return fmt.Errorf("verify: site document: criteria of a district: %w", err)
			}
			// a copy that shares no list or map with the site's
			whole, err := json.Marshal(c)
			if err == nil {
				c = parcels.Criteria{}
				if err = json.Unmarshal(whole, &c); err == nil {
					if p, ok := d.over["pipe"].(map[string]any); ok && p["stock"] != nil {
						c.Pipe.Stock = nil
					}
					err = json.Unmarshal(text, &c)
				}
			}
			if err != nil {
				return fmt.Errorf("verify: site document: criteria of a district: %w", err)
			}
		}
		j.ruled[id] = &c
	}
	// What is asked of no run in particular is asked by the rules of the first lot.
	if len(j.p.summary.lots) > 0 {
		j.c = *j.of(j.p.summary.lots[0])
	}
	return nil
}

// of gives the criteria that rule a lot.
func (j *judge) of(lot string) *parcels.Criteria {
	if c := j.ruled[lot]; c != nil {
		return c
	}
	return &j.c
}

// lotOf is the lot of a trench: that of its first run.
func (j *judge) lotOf(t *trench) string {
	for _, id := range t.runs {
		if k, ok := j.p.runAt[id]; ok {
			return j.p.runs[k].lot
		}
	}
	return ""
}
