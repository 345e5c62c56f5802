package document

// Typed reading of a feature's properties: units by the ending of the key,
// each quantity once, and values that cannot be meant told apart from values.

import (
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"strings"

	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/parcels"
)

// props reads the properties of one feature, or the members of one object.
type props struct {
	r    *reader
	p    place
	m    map[string]json.RawMessage
	site *parcels.Site
}

func (q props) wrong(key, want string) {
	p := q.p
	p.pointer += "/" + escapePointer(key)
	if q.p.feature < 0 {
		q.r.fault(parcels.Fault{Slug: "property-invalid", Pointer: p.pointer, Member: key,
			Detail: fmt.Sprintf("The member %s is %s; give %s.", p.pointer, parcels.Excerpt(string(q.m[key])), want)})
		return
	}
	f := p.fault("property-invalid", fmt.Sprintf(": %q is %s; give %s.", key, parcels.Excerpt(string(q.m[key])), want))
	f.Member = key
	q.r.fault(f)
}

func (q props) has(key string) bool {
	raw, ok := q.m[key]
	return ok && !isNull(raw)
}

// text gives a text property; a number is taken as its digits.
func (q props) text(key string) string {
	if !q.has(key) {
		return ""
	}
	raw := q.m[key]
	switch kindOf(raw) {
	case "text":
		return unquote(raw)
	case "number":
		return string(raw)
	}
	q.wrong(key, "a text")
	return ""
}

// one gives a text of a closed list, or def where it is absent.
func (q props) one(key, def string, list ...string) string {
	if !q.has(key) {
		return def
	}
	v := q.text(key)
	for _, l := range list {
		if v == l {
			return v
		}
	}
	q.wrong(key, "one of "+strings.Join(list, ", "))
	return def
}

func (q props) flag(key string) bool {
	if !q.has(key) {
		return false
	}
	switch string(q.m[key]) {
	case "true":
		return true
	case "false":
		return false
	}
	q.wrong(key, "true or false")
	return false
}

// number gives a bare number between bounds.
func (q props) number(key string, lo, hi float64) *float64 {
	if !q.has(key) {
		return nil
	}
	raw := q.m[key]
	v, ok, isNumber := number(raw)
	if !isNumber && kindOf(raw) == "text" { // exports write numbers as text
		s := strings.TrimSpace(unquote(raw))
		if s == "" {
			return nil
		}
		x, err := strconv.ParseFloat(s, 64)
		v, ok, isNumber = x, err == nil && !math.IsNaN(x) && !math.IsInf(x, 0), err == nil
	}
	if !isNumber || !ok {
		q.wrong(key, "a number")
		return nil
	}
	if v < lo || v > hi {
		q.wrong(key, fmt.Sprintf("a number from %g to %g", lo, hi))
		return nil
	}
	return &v
}

type form struct {
	ending string
	factor float64
}

// quantity reads stem in one of its forms; the same quantity twice is a fault.
func (q props) quantity(stem string, lo, hi float64, forms ...form) *float64 {
	var out *float64
	found := ""
	for _, f := range forms {
		var room [64]byte // most forms are not there: no text is made of their keys
		if raw, ok := q.m[string(append(append(room[:0], stem...), f.ending...))]; !ok || isNull(raw) {
			continue
		}
		key := stem + f.ending
		if found != "" {
			q.wrong(key, fmt.Sprintf("it once only: it stands in %q already", found))
			return nil
		}
		found = key
		if v := q.number(key, math.Inf(-1), math.Inf(1)); v != nil {
			x := *v * f.factor
			if x < lo || x > hi {
				q.wrong(key, fmt.Sprintf("a value from %g to %g%s", lo/f.factor, hi/f.factor, strings.ReplaceAll(f.ending, "_", " ")))
				return nil
			}
			out = &x
		}
	}
	return out
}

const foot = float64(unit.Foot)

func as[T ~float64](v *float64) *T {
	if v == nil {
		return nil
	}
	t := T(*v)
	return &t
}

func (q props) length(stem string, hi float64) *unit.Length {
	return as[unit.Length](q.quantity(stem, 0, hi, form{"_m", 1}, form{"_ft", foot}))
}

// size reads a small length given in millimetres or inches, in metres.
func (q props) size(stem string, hi float64) *unit.Length {
	return as[unit.Length](q.quantity(stem, 0, hi, form{"_mm", 0.001}, form{"_in", 0.0254}))
}

func (q props) area(stem string) *unit.Area {
	return as[unit.Area](q.quantity(stem, 0, 1e9, form{"_m2", 1}, form{"_ft2", foot * foot}))
}

func (q props) rate(stem string) *hydro.Intensity {
	return as[hydro.Intensity](q.quantity(stem, 0, 2000, form{"_mmh", 1}, form{"_inh", 25.4}))
}

// elevation reads a level; a value that cannot be meant is missing and said so
// once the site's range is known (see sentinels).
func (q props) elevation(stem string) *unit.Elevation {
	return as[unit.Elevation](q.quantity(stem, -500, 1e5, form{"_m", 1}, form{"_ft", foot}))
}

// IsSentinel says whether a number is one that exports write for "unknown", in
// metres or as it is in feet. Whether it can be meant after all shows beside the
// site's own heights only.
func IsSentinel(v float64) bool {
	if v == 0 {
		return true
	}
	a := math.Abs(v)
	if a < 888*foot-1e-9 { // the least of them
		return false
	}
	for _, s := range []float64{888, 8888, 999, 9999, 99999, 999999} {
		if a == s || math.Abs(a-s*foot) < 1e-9 || a == s+0.99 || a == s+0.9 {
			return true
		}
	}
	return false
}
