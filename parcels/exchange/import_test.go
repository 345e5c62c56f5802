package exchange

import (
	"fmt"
	"strings"
	"testing"

	"fallwright/parcels"
)

func TestHandMapping(t *testing.T) {
	collection := func(props ...string) []byte {
		var fs []string
		for i, p := range props {
			fs = append(fs, fmt.Sprintf(`{"type":"Feature","geometry":{"type":"Point","coordinates":[%g,36]},"properties":%s}`, -86+float64(i)/1000, p))
		}
		return []byte(`{"type":"FeatureCollection","features":[` + strings.Join(fs, ",") + `]}`)
	}
	for _, c := range []struct {
		name string
		o    Options
		in   string
		want string
	}{
		{"unit in the name", Options{}, `{"FACILITYID":"CB-1","RIM_ELEV_FT":"100.5","Type":"Curb inlet"}`, `{"FACILITYID":"CB-1","RIM_ELEV_FT":"100.5","Type":"Curb inlet","inlet":"CB-1","kind":"curb","rim_ft":100.5}`},
		{"unit said", Options{ElevationUnit: "m"}, `{"id":7,"Rim Elevation":30.25}`, `{"id":7,"Rim Elevation":30.25,"inlet":"7","rim_m":30.25}`},
		// 3937 US survey feet are 1200 m by definition
		{"survey feet", Options{ElevationUnit: "us_ft"}, `{"id":7,"rim_elev":3937}`, `{"id":7,"rim_elev":3937,"inlet":"7","rim_m":1200}`},
		{"ours stays", Options{}, `{"inlet":"A","rim_m":3,"kind":"grate"}`, `{"inlet":"A","rim_m":3,"kind":"grate"}`},
		{"inches", Options{}, `{"id":1,"PIPESIZE":15}`, `{"id":1,"PIPESIZE":15,"inlet":"1","outgoing_diameter_in":15}`},
		{"millimetres", Options{}, `{"id":1,"PIPESIZE":375}`, `{"id":1,"PIPESIZE":375,"inlet":"1","outgoing_diameter_mm":375}`},
		{"no number", Options{ElevationUnit: "ft"}, `{"id":1,"rimelev":"unspec"}`, `{"id":1,"rimelev":"unspec","inlet":"1"}`},
		{"system", Options{}, `{"id":1,"WaterType":"Sanitary"}`, `{"id":1,"WaterType":"Sanitary","inlet":"1","system":"sanitary"}`},
		{"mapped", Options{Map: Mapping{"rim": {From: "A", Unit: "ft"}, "kind": {From: "B", Values: map[string]string{"X1": "manhole"}}, "note": {From: "B"}}}, `{"A":1,"B":"X1"}`, `{"A":1,"B":"X1","kind":"manhole","note":"X1","rim_ft":1}`},
		{"empty", Options{}, `null`, `null`},
	} {
		c.o.Layer = parcels.LayerInlets
		_, fs, err := read("inlets.geojson", collection(c.in), c.o)
		if err != nil || len(fs) != 1 || string(fs[0].Properties) != c.want {
			t.Errorf("%s: %v %v, want %s", c.name, err, fs, c.want)
			if len(fs) == 1 {
				t.Logf("got %s", fs[0].Properties)
			}
		}
	}
	_, _, err := read("inlets.geojson", collection(`{"id":1,"RIM_ELEV":3}`), Options{Layer: parcels.LayerInlets})
	if s := slugsOf(err); len(s) != 1 || s[0] != "unit-unknown" || !strings.Contains(err.Error(), "--elevation-unit") {
		t.Errorf("a unit nobody said: %v", err)
	}
	// the same lot number twice names the first parcel only, and it is told
	m, err := ReadMapping([]byte("lot: A\nrim: {from: B, unit: ft}\n"))
	if err != nil || m["lot"].From != "A" || m["rim"].Unit != "ft" {
		t.Errorf("%+v %v", m, err)
	}
	for _, bad := range []string{"rim: {from: B, unit: cubit}", "rim: {frm: B}", "- a", "rim: {unit: ft}"} {
		if _, err := ReadMapping([]byte(bad)); err == nil {
			t.Errorf("%q was taken", bad)
		}
	}
}

func TestHandLots(t *testing.T) {
	var fs []string
	for i, pin := range []string{`"1"`, `"2"`, `"1"`} {
		x := -86 + float64(i)/100
		fs = append(fs, fmt.Sprintf(`{"type":"Feature","properties":{"PIN":%s},"geometry":{"type":"Polygon","coordinates":[[[%g,36],[%g,36],[%g,36.001],[%g,36]]]}}`, pin, x, x+0.001, x+0.001, x))
	}
	bad := `{"type":"Feature","properties":{"PIN":"9"},"geometry":{"type":"Polygon","coordinates":[[[0,0],[1,1],[1,0],[0,1],[0,0]]]}}`
	text := []byte(`{"type":"FeatureCollection","features":[` + strings.Join(fs, ",") + "," + bad + `]}`)
	r, got, err := read("p.geojson", text, Options{KeepGoing: true})
	if err != nil || r.Read != 4 || r.Taken != 3 || len(got) != 3 || len(r.Refused) != 1 || r.Refused[0].Slug != "self-intersection" || *r.Refused[0].Feature != 3 {
		t.Fatalf("%+v %v", r, err)
	}
	if string(got[2].Properties) != `{"PIN":"1"}` || len(r.Mended) != 1 || r.Mended[0].Count != 1 {
		t.Errorf("%s %+v", got[2].Properties, r.Mended)
	}
	if r, _, err := read("p.geojson", text, Options{}); err == nil || r.Taken != 0 {
		t.Errorf("one faulty feature refuses all: %+v", r)
	}
	to := "EPSG:2274"
	r, got, err = read("p.geojson", []byte(`{"type":"FeatureCollection","features":[`+fs[0]+`]}`), Options{To: &to})
	if err != nil || r.CRS != to || r.FromCRS != "EPSG:4326" || !strings.Contains(string(got[0].Geometry), "196") || len(r.Notes) == 0 {
		// the central meridian of the zone is -86, its false easting 1968500 ft
		t.Errorf("%+v %v %v", r, got, err)
	}
}

func TestHandTextFormats(t *testing.T) {
	o := Options{Layer: parcels.LayerInlets}
	for name, text := range map[string]string{
		"a.csv":    "lon;lat;z;id\n-86.5;36.25;1.5;007\n",
		"b.csv":    "\xef\xbb\xbfWKT,id\n\"SRID=4326;POINT ZM (-86.5 36.25 1.5 9)\",007\n",
		"c.tsv":    "X\tY\tZ\tid\n-86.5\t36.25\t1.5\t007\n",
		"d.ndjson": "\n" + `{"type":"Feature","geometry":{"type":"Point","coordinates":[-86.5,36.25,1.5]},"properties":{"id":"007"}}` + "\n",
		"e.txt":    "\x1e" + `{"type":"Feature","geometry":{"type":"MultiPoint","coordinates":[[-86.5,36.25,1.5]]},"properties":{"id":"007"}}` + "\n",
	} {
		r, fs, err := read(name, []byte(text), o)
		if err != nil || len(fs) != 1 || string(fs[0].Geometry) != `{"type":"Point","coordinates":[-86.5,36.25,1.5]}` || string(fs[0].Properties) != `{"id":"007","inlet":"007"}` {
			t.Errorf("%s: %+v %v %v", name, r, fs, err)
		}
	}
	r, fs, err := read("p.csv", []byte("wkt\n\"MULTIPOLYGON (((0 0,1 0,1 1,0 0)),((5 5,6 5,6 6,5 5)))\"\n\"Polygon((0 10,1 10,.5 11,0 10))\"\n"), Options{})
	if err != nil || len(fs) != 2 || string(fs[1].Geometry) != `{"type":"Polygon","coordinates":[[[0,10],[1,10],[0.5,11],[0,10]]]}` {
		t.Errorf("%+v %v %v", r, fs, err)
	}
}

// A line of several parts becomes as many lines where nothing calls it by a
// name; a drain keeps its name, so it is refused with what to do.
func TestHandParts(t *testing.T) {
	text := []byte(`{"type":"FeatureCollection","features":[
	 {"type":"Feature","id":7,"properties":{"elevation_m":3},"geometry":{"type":"MultiLineString","coordinates":[[[0,0],[1,1]],[[2,2],[3,3]]]}},
	 {"type":"Feature","id":8,"properties":{},"geometry":{"type":"MultiLineString","coordinates":[[[0,0],[1,1]],[[2,2]]]}}]}`)
	r, fs, err := read("c.geojson", text, Options{Layer: parcels.LayerContours, KeepGoing: true})
	if err != nil || r.Read != 2 || r.Taken != 1 || r.Parts != 1 || len(fs) != 2 || len(r.Refused) == 0 {
		t.Fatalf("%+v %v %v", r, fs, err)
	}
	if fs[0].ID != "7/1" || fs[1].ID != "7/2" || string(fs[1].Geometry) != `{"type":"LineString","coordinates":[[2,2],[3,3]]}` || string(fs[1].Properties) != `{"elevation_m":3}` {
		t.Errorf("%+v", fs)
	}
	_, _, err = read("c.geojson", text, Options{Layer: parcels.LayerDrains})
	if s := slugsOf(err); len(s) == 0 || s[0] != "geometry-type" {
		t.Errorf("drains: %v", err)
	}
}

// Numbers for "unknown" keep their face through the conversion of units, so that
// a reading beside the site's own heights can tell them, and they are counted.
func TestHandPlaceholders(t *testing.T) {
	text := []byte(`{"type":"FeatureCollection","features":[`)
	for i, v := range []string{"9999", "0", "102.5", "999", "9999"} {
		if i > 0 {
			text = append(text, ',')
		}
		text = fmt.Appendf(text, `{"type":"Feature","properties":{"id":%d,"RIM_ELEV":%s},"geometry":{"type":"Point","coordinates":[%d,1]}}`, i, v, i)
	}
	r, fs, err := read("i.geojson", append(text, `]}`...), Options{Layer: parcels.LayerInlets, ElevationUnit: "us_ft"})
	if err != nil || len(fs) != 5 {
		t.Fatal(err)
	}
	if !strings.Contains(string(fs[0].Properties), `"rim_ft":9999`) || !strings.Contains(string(fs[2].Properties), `"rim_m":31.24`) {
		t.Errorf("%s %s", fs[0].Properties, fs[2].Properties)
	}
	if !strings.Contains(strings.Join(r.Notes, " "), "0 1 times, 999 1 times, 9999 2 times") {
		t.Errorf("%v", r.Notes)
	}
}
