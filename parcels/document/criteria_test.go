package document

import (
	"errors"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"

	"fallwright/parcels"
)

// Every number of the criteria has bounds: not one of them takes a value that is no
// number, is infinite, or is absurdly far below or above. A key added without bounds
// fails here.
func TestPropertyCriteriaAreBounded(t *testing.T) {
	try := func(path string, v reflect.Value, c *parcels.Criteria) {
		was := v.Float()
		for _, bad := range []float64{math.NaN(), math.Inf(1), -1e12, 1e12} {
			v.SetFloat(bad)
			if len(absurd(*c, "")) == 0 {
				t.Errorf("%s takes %g", path, bad)
			}
		}
		v.SetFloat(was)
		if f := absurd(*c, ""); len(f) > 0 {
			t.Fatalf("%s at %g: %s", path, was, f[0].Detail)
		}
	}
	c := parcels.DefaultCriteria()
	n := 0
	var walk func(path string, v reflect.Value)
	walk = func(path string, v reflect.Value) {
		switch v.Kind() {
		case reflect.Struct:
			for i := range v.NumField() {
				name, _, _ := strings.Cut(v.Type().Field(i).Tag.Get("yaml"), ",")
				walk(path+"."+name, v.Field(i))
			}
		case reflect.Slice:
			for i := range v.Len() {
				walk(fmt.Sprintf("%s.%d", path, i), v.Index(i))
			}
		case reflect.Pointer:
			if v.Type().Elem().Kind() == reflect.Float64 {
				was := reflect.ValueOf(v.Interface())
				v.Set(reflect.New(v.Type().Elem()))
				v.Elem().SetFloat(1)
				walk(path, v.Elem())
				v.Set(was)
			}
		case reflect.Map:
			if v.Type().Elem().Kind() == reflect.Float64 {
				for _, k := range v.MapKeys() {
					x := reflect.New(v.Type().Elem()).Elem()
					x.Set(v.MapIndex(k))
					was := v.MapIndex(k)
					for _, bad := range []float64{math.NaN(), -1, 1e12} {
						x.SetFloat(bad)
						v.SetMapIndex(k, x)
						if len(absurd(c, "")) == 0 {
							t.Errorf("%s.%v takes %g", path, k, bad)
						}
					}
					v.SetMapIndex(k, was)
				}
			}
		case reflect.Float64:
			n++
			try(path, v, &c)
		}
	}
	walk("", reflect.ValueOf(&c).Elem())
	if n < 80 {
		t.Errorf("%d numbers looked at", n)
	}
}

// A slip in a word, or a stock of which nothing may be laid, is told with the key.
func TestHandCriteriaWords(t *testing.T) {
	for text, want := range map[string]string{
		"pipe: {wall: smoth}":                            "pipe.wall",
		"pipe: {roof_in_perforated: alowed}":             "pipe.roof_in_perforated",
		"route: {outlet: nearst}":                        "route.outlet",
		"pipe: {least_diameter_mm: 2000}":                "pipe.stock",
		"pipe: {wall: corrugated, least_diameter_in: 8}": "pipe.stock",
		"takeoff: {load_m3: 0}":                          "takeoff.load_m3",
		"storm: {freeboard_m: .nan}":                     "storm.freeboard_m",
		"runoff: {frequency_factor: {0: 1}}":             "runoff.frequency_factor.0",
		`pipe: {stock: [{size: "4 in", pipe: solid, wall: smooth, diameter_mm: 101.6, outside_diameter_mm: 107.1, n: 0.012, stick_m: 0}]}`: "pipe.stock.0.stick_m",
	} {
		_, _, err := ReadCriteria([]byte(text))
		var in *parcels.InputError
		if !errors.As(err, &in) || !slices.ContainsFunc(in.Faults, func(f parcels.Fault) bool { return f.Member == want && f.Slug == "criterion-invalid" }) {
			t.Errorf("%s: %v", text, err)
		}
	}
	for _, text := range []string{"pipe: {wall: any}", "pipe: {wall: corrugated}", "pipe: {roof_in_perforated: allowed}", "pipe: {least_diameter_in: 6}", "audit: {assume_fall_m: 0.5}", "building_setback: {front_ft: 25}"} {
		if _, _, err := ReadCriteria([]byte(text)); err != nil {
			t.Errorf("%s: %v", text, err)
		}
	}
}
