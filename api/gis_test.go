package api

// GIS programs read what is stored, with no help of ours.

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os/exec"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/paulmach/orb/encoding/mvt"
	"github.com/paulmach/orb/maptile"

	"github.com/paulmach/orb"
)

// lotField lays out n lots of 100 ft by 150 ft, 50 in a row, in EPSG:2274 (US
// survey feet), the first at easting 1740000, northing 640000.
func lotField(name string, n int) []byte {
	var b strings.Builder
	fmt.Fprintf(&b, `{"site":%q,"crs":"EPSG:2274","layers":{"parcels":{"type":"FeatureCollection","features":[`, name)
	for i := range n {
		x, y := 1740000+100*float64(i%50), 640000+150*float64(i/50)
		if i > 0 {
			b.WriteByte(',')
		}
		fmt.Fprintf(&b, `{"type":"Feature","id":"p%d","geometry":{"type":"Polygon","coordinates":[[[%g,%g],[%g,%g],[%g,%g],[%g,%g],[%g,%g]]]},"properties":{"lot":"L%d","row":"%d"}}`,
			i, x, y, x+100, y, x+100, y+150, x, y+150, x, y, i, i/50)
	}
	b.WriteString(`]},"inlets":{"type":"FeatureCollection","features":[{"type":"Feature","geometry":{"type":"Point","coordinates":[1740050,640075,200.5]},"properties":{"inlet":"I1","rim_m":200.5}}]}}}`)
	return []byte(b.String())
}

func withField(t testing.TB, n int) *client {
	c := newClient(t)
	c.want(c.do("POST /sites", lotField("field", n)), 201, "")
	return c
}

type itemsPage struct {
	NumberMatched, NumberReturned int
	Links                         []link
	Features                      []struct {
		ID         string
		Geometry   struct{ Coordinates json.RawMessage }
		Properties map[string]any
	}
}

func (p itemsPage) next() string {
	for _, l := range p.Links {
		if l.Rel == "next" {
			u, _ := url.Parse(l.Href)
			return u.RequestURI()
		}
	}
	return ""
}

func TestPaging(t *testing.T) {
	c := withField(t, 250)
	seen := map[string]bool{}
	pages := 0
	for at := "/collections/parcels/items?limit=60&row=3"; at != ""; pages++ {
		p := read[itemsPage](t, c.do("GET "+at, nil))
		if p.NumberMatched != 50 || p.NumberReturned != len(p.Features) {
			t.Fatalf("%d matched, %d returned, %d there", p.NumberMatched, p.NumberReturned, len(p.Features))
		}
		at = p.next()
	}
	if pages != 1 {
		t.Errorf("50 features took %d pages of 60", pages)
	}
	for at := "/collections/parcels/items?limit=60"; at != ""; pages++ {
		p := read[itemsPage](t, c.do("GET "+at, nil))
		for _, f := range p.Features {
			if seen[f.ID] {
				t.Errorf("%s came twice", f.ID)
			}
			seen[f.ID] = true
		}
		at = p.next()
	}
	if len(seen) != 250 || pages != 1+5 {
		t.Errorf("%d features on %d pages", len(seen), pages-1)
	}
}

// TestHandBoxes: a box in the plane that touches just the first lot of the
// first two rows; the same box by longitude and latitude (one tenth of a second
// of arc is near 10 ft).
func TestHandBoxes(t *testing.T) {
	c := withField(t, 250)
	p := read[itemsPage](t, c.do("GET /collections/parcels/items?bbox=1740010,640010,1740020,640160&bbox-crs="+url.QueryEscape(epsgURI+"2274"), nil))
	if p.NumberMatched != 2 || p.Features[0].ID != "p0" || p.Features[1].ID != "p50" {
		t.Errorf("plane: %+v", p)
	}
	one := read[struct {
		Geometry struct{ Coordinates [][][2]float64 }
	}](t, c.do("GET /collections/parcels/items/p0", nil))
	ring := one.Geometry.Coordinates[0]
	lon, lat := (ring[0][0]+ring[2][0])/2, (ring[0][1]+ring[2][1])/2
	if lon > -85 || lon < -88 || lat < 35 || lat > 37 {
		t.Fatalf("the lot lies at %g, %g, not in Tennessee", lon, lat)
	}
	box := fmt.Sprintf("%.7f,%.7f,%.7f,%.7f", lon-2e-5, lat-2e-5, lon+2e-5, lat+2e-5)
	p = read[itemsPage](t, c.do("GET /collections/parcels/items?bbox="+box, nil))
	if p.NumberMatched != 1 || p.Features[0].ID != "p0" {
		t.Errorf("degrees: %+v", p)
	}
	swapped := fmt.Sprintf("%.7f,%.7f,%.7f,%.7f", lat-2e-5, lon-2e-5, lat+2e-5, lon+2e-5)
	p = read[itemsPage](t, c.do("GET /collections/parcels/items?bbox="+swapped+"&bbox-crs="+url.QueryEscape(latLonURI), nil))
	if p.NumberMatched != 1 {
		t.Errorf("latitude first: %d", p.NumberMatched)
	}
	for box, want := range map[string]int{"-180,-90,180,90": 250, "0,0,10,10": 0, "170,-90,-60,90": 250, "-180,-90,0,180,90,100": 250} {
		if p = read[itemsPage](t, c.do("GET /collections/parcels/items?bbox="+box, nil)); p.NumberMatched != want {
			t.Errorf("bbox %s: %d, want %d", box, p.NumberMatched, want)
		}
	}
}

// TestPropertyThereAndBack: what is sent in another system comes back to the
// stored one within a tenth of a millimetre, height and all.
func TestPropertyThereAndBack(t *testing.T) {
	c := withField(t, 5)
	at := func(crs string) []float64 {
		res := c.do("GET /collections/inlets/items/1?crs="+url.QueryEscape(crs), nil)
		if got := res.Header.Get("Content-Crs"); got != "<"+crs+">" {
			t.Errorf("Content-Crs %s", got)
		}
		return read[struct {
			Geometry struct{ Coordinates []float64 }
		}](t, res).Geometry.Coordinates
	}
	plane, ll, yx, web := at(epsgURI+"2274"), at(crs84), at(latLonURI), at(epsgURI+"3857")
	if plane[0] != 1740050 || plane[1] != 640075 || plane[2] != 200.5 {
		t.Errorf("stored: %v", plane)
	}
	if ll[0] != yx[1] || ll[1] != yx[0] {
		t.Errorf("%v and %v are not each other's reverse", ll, yx)
	}
	// spherical Mercator by its formula, R = 6378137 m
	x := 6378137 * ll[0] * math.Pi / 180
	y := 6378137 * math.Log(math.Tan(math.Pi/4+ll[1]*math.Pi/360))
	if math.Hypot(x-web[0], y-web[1]) > 2e-3 {
		t.Errorf("web Mercator %v, by formula %g %g", web, x, y)
	}
	f := newFrames()
	m, err := f.between(systemOf(crs84), systemOf(epsgURI+"2274"))
	if err != nil {
		t.Fatal(err)
	}
	if back := m([2]float64{ll[0], ll[1]}); math.Hypot(back[0]-1740050, back[1]-640075) > 1e-3 {
		t.Errorf("back at %v", back)
	}
}

// TestTwoSites: ids of the same name in two sites are told apart.
func TestTwoSites(t *testing.T) {
	c := withField(t, 3)
	c.want(c.do("POST /sites", lotField("other", 2)), 201, "")
	p := read[itemsPage](t, c.do("GET /collections/parcels/items?limit=2", nil))
	var ids []string
	for {
		for _, f := range p.Features {
			ids = append(ids, f.ID)
			r := read[map[string]any](t, c.do("GET /collections/parcels/items/"+url.PathEscape(f.ID), nil))
			if r["id"] != f.ID {
				t.Errorf("%s came as %v", f.ID, r["id"])
			}
		}
		if p.next() == "" {
			break
		}
		p = read[itemsPage](t, c.do("GET "+p.next(), nil))
	}
	if fmt.Sprint(ids) != "[field:p0 field:p1 field:p2 other:p0 other:p1]" || p.NumberMatched != 5 {
		t.Errorf("%v of %d", ids, p.NumberMatched)
	}
	c.want(c.do("GET /collections/parcels/items/p0", nil), 409, "conflict")
	c.want(c.do("GET /collections/parcels/items/p2", nil), 200, "")
	c.want(c.do("GET /collections/parcels/items/p0?site=other", nil), 200, "")
	if p := read[itemsPage](t, c.do("GET /collections/parcels/items?site=other", nil)); p.NumberMatched != 2 || p.Features[0].ID != "p0" || p.Features[0].Properties["site"] != "other" {
		t.Errorf("%+v", p)
	}
}

// TestMarkup: what features say is text on every page.
func TestMarkup(t *testing.T) {
	c := newClient(t)
	evil := `{"type":"FeatureCollection","features":[{"type":"Feature","id":"A-1' OR '1'='1","geometry":{"type":"Polygon","coordinates":[[[1,2],[1.001,2],[1.001,2.001],[1,2]]]},"properties":{"lot":"<script>window.__owned=1</script>","link":"javascript:alert(1)","__proto__":{"a":1},"apn":"'; DROP TABLE parcels; --"}}]}`
	c.want(c.do("POST /sites?site=bad&layer=parcels", evil, header{"Content-Type": geoJSON}), 201, "")
	for _, path := range []string{"/collections/parcels/items?f=html", "/collections/parcels/items/" + url.PathEscape("A-1' OR '1'='1") + "?f=html", "/sites?f=html"} {
		res := c.do("GET "+path, nil)
		body, _ := io.ReadAll(res.Body)
		if res.StatusCode != 200 || strings.Contains(string(body), "<script") || strings.Contains(string(body), `href="javascript`) {
			t.Errorf("%s: %d %s", path, res.StatusCode, body)
		}
	}
	p := read[itemsPage](t, c.do("GET /collections/parcels/items?apn="+url.QueryEscape("'; DROP TABLE parcels; --"), nil))
	if p.NumberMatched != 1 || p.Features[0].Properties["lot"] != "<script>window.__owned=1</script>" {
		t.Errorf("%+v", p)
	}
}

// TestOracleTile: a tile read back by the library's reader has the lots where
// the web Mercator formula puts them.
func TestOracleTile(t *testing.T) {
	c := withField(t, 250)
	ll := read[struct {
		Geometry struct{ Coordinates []float64 }
	}](t, c.do("GET /collections/inlets/items/1", nil)).Geometry.Coordinates
	tile := maptile.At([2]float64{ll[0], ll[1]}, 18)
	res := c.do(fmt.Sprintf("GET /sites/field/tiles/18/%d/%d.mvt", tile.X, tile.Y), nil)
	body, _ := io.ReadAll(res.Body)
	layers, err := mvt.Unmarshal(body)
	if err != nil || res.StatusCode != 200 {
		t.Fatal(res.StatusCode, err)
	}
	layers.ProjectToWGS84(tile)
	names := map[string]int{}
	for _, l := range layers {
		names[l.Name] = len(l.Features)
		if l.Name == "inlets" {
			p := l.Features[0].Geometry.Bound().Center()
			if math.Abs(p[0]-ll[0]) > 1e-6 || math.Abs(p[1]-ll[1]) > 1e-6 {
				t.Errorf("inlet at %v, want %v", p, ll)
			}
		}
	}
	if names["parcels"] == 0 || names["parcels"] > 100 || names["inlets"] != 1 {
		t.Errorf("layers %v", names)
	}
	if res := c.do("GET /sites/field/tiles/18/0/0.mvt", nil); res.StatusCode != 204 {
		t.Errorf("an empty tile: %d", res.StatusCode)
	}
	// a tile that cannot hold all says so
	small := newClient(t, func(o *Options) { o.Config.Limits.TileItems = 10 })
	small.want(small.do("POST /sites", lotField("field", 250)), 201, "")
	body, _ = io.ReadAll(small.do("GET /sites/field/tiles/0/0/0.mvt", nil).Body)
	layers, _ = mvt.Unmarshal(body)
	marked := false
	for _, l := range layers {
		marked = marked || l.Name == incomplete && l.Features[0].Properties["complete"] == false
	}
	if !marked {
		t.Error("a cut tile is not marked")
	}
}

// TestOracleGDAL: GDAL's driver for OGC API - Features finds the collections by
// itself and reads them through paging and with a box; its GeoJSON driver reads
// them in the plane they are stored in.
func TestOracleGDAL(t *testing.T) {
	tool, err := exec.LookPath("ogrinfo")
	if err != nil {
		t.Skip("ogrinfo is not installed (apt-get install gdal-bin)")
	}
	c := withField(t, 250)
	server := httptest.NewServer(c.s)
	defer server.Close()
	run := func(args ...string) string {
		out, err := exec.CommandContext(context.Background(), tool, args...).CombinedOutput()
		if err != nil || strings.Contains(string(out), "ERROR") {
			t.Fatalf("ogrinfo %v: %v %s", args, err, out)
		}
		return string(out)
	}
	source := "OAPIF:" + server.URL
	list := run("-ro", "-so", source)
	for _, want := range []string{"parcels", "inlets"} {
		if !strings.Contains(list, want) {
			t.Errorf("GDAL lists %s", list)
		}
	}
	count := regexp.MustCompile(`Feature Count: (\d+)`)
	number := func(text string) int {
		m := count.FindStringSubmatch(text)
		if m == nil {
			t.Fatalf("no count in %s", text)
		}
		n, _ := strconv.Atoi(m[1])
		return n
	}
	all := run("-ro", "-oo", "PAGE_SIZE=60", source, "parcels")
	if n := number(all); n != 250 || strings.Count(all, "OGRFeature(parcels)") != 250 {
		t.Errorf("GDAL counts %d and reads %d of 250", n, strings.Count(all, "OGRFeature(parcels)"))
	}
	if !strings.Contains(all, "lot (String) = L249") || !strings.Contains(all, "POLYGON ((-8") {
		t.Errorf("the last feature: %.300s", all[max(0, len(all)-400):])
	}
	var one struct {
		Geometry struct{ Coordinates [][][2]float64 }
	}
	res, err := http.Get(server.URL + "/collections/parcels/items/p0")
	if err != nil {
		t.Fatal(err)
	}
	if err := json.NewDecoder(res.Body).Decode(&one); err != nil {
		t.Fatal(err)
	}
	res.Body.Close()
	p := one.Geometry.Coordinates[0][0]
	boxed := run("-ro", "-so", "-spat", fmt.Sprint(p[0]+1e-5), fmt.Sprint(p[1]+1e-5), fmt.Sprint(p[0]+2e-5), fmt.Sprint(p[1]+2e-5), source, "parcels")
	if n := number(boxed); n != 1 {
		t.Errorf("GDAL counts %d features in a box of one", n)
	}
	plane := run("-ro", "-al", server.URL+"/collections/parcels/items?limit=1000&crs="+url.QueryEscape(epsgURI+"2274"))
	if !strings.Contains(plane, "POLYGON ((1740000 640000,1740100 640000") || number(plane) != 250 {
		t.Errorf("in the plane: %.600s", plane)
	}
}

// TestOracleOWSLib: OWSLib, a client library for OGC services that knows nothing of
// this one, finds its way from the landing page: conformance, the API document,
// collections, a box, pages, one feature, and the processes.
func TestOracleOWSLib(t *testing.T) {
	python := "/usr/bin/python3" // the one that Debian's packages are for
	if err := exec.Command(python, "-c", "import owslib.ogcapi.processes").Run(); err != nil {
		t.Skip("OWSLib is not installed (apt-get install python3-owslib)")
	}
	c := withField(t, 250)
	server := httptest.NewServer(c.s)
	defer server.Close()
	const script = `
import json, sys
from owslib.ogcapi.features import Features
from owslib.ogcapi.processes import Processes
w = Features(sys.argv[1])
page = w.collection_items("parcels", limit=60)
seen = [f["id"] for f in page["features"]]
while True:
    more = [l["href"] for l in page["links"] if l["rel"] == "next"]
    if not more:
        break
    page = Features(sys.argv[1])._request(path=more[0])
    seen += [f["id"] for f in page["features"]]
one = w.collection_item("parcels", "p7")
x, y = one["geometry"]["coordinates"][0][0]
p = Processes(sys.argv[1])
listed = p.processes()
if isinstance(listed, dict): # as some versions of it hand them over
    listed = listed["processes"]
print(json.dumps({
    "conforms": w.conformance()["conformsTo"],
    "openapi": w.api()["openapi"],
    "collections": w.feature_collections(),
    "title": w.collection("parcels")["title"],
    "seen": len(set(seen)),
    "box": w.collection_items("parcels", bbox=[x + 1e-5, y + 1e-5, x + 2e-5, y + 2e-5])["numberMatched"],
    "row": w.collection_items("parcels", row="3")["numberMatched"],
    "lot": one["properties"]["lot"],
    "processes": sorted(q["id"] for q in listed),
    "inputs": sorted(p.process("plan")["inputs"]),
}))
`
	out, err := exec.Command(python, "-c", script, server.URL).CombinedOutput()
	if err != nil {
		t.Fatalf("%v %s", err, out)
	}
	var got struct {
		Conforms, Collections, Processes, Inputs []string
		OpenAPI, Title, Lot                      string
		Seen, Box, Row                           int
	}
	if err := json.Unmarshal(out, &got); err != nil {
		t.Fatalf("%v %s", err, out)
	}
	if !slices.Contains(got.Conforms, "http://www.opengis.net/spec/ogcapi-features-1/1.0/conf/core") || !strings.HasPrefix(got.OpenAPI, "3.") {
		t.Errorf("conformance %v, OpenAPI %q", got.Conforms, got.OpenAPI)
	}
	if !slices.Contains(got.Collections, "parcels") || !slices.Contains(got.Collections, "inlets") || got.Title != "Parcels" {
		t.Errorf("collections %v, %q", got.Collections, got.Title)
	}
	if got.Seen != 250 || got.Box != 1 || got.Row != 50 || got.Lot != "L7" {
		t.Errorf("%d of 250 features on all pages, %d in a box of one, %d in a row of 50, lot %q", got.Seen, got.Box, got.Row, got.Lot)
	}
	if !slices.Contains(got.Processes, "plan") || !slices.Equal(got.Inputs, []string{"criteria", "lots", "options", "site"}) {
		t.Errorf("processes %v, inputs of plan %v", got.Processes, got.Inputs)
	}
}

// TestOracleMoveGeometry: a geometry as the stores write it, whose positions are
// moved where they stand, against the same geometry with its members the other
// way round, which is parsed first.
func TestOracleMoveGeometry(t *testing.T) {
	shift := func(p orb.Point) orb.Point { return orb.Point{p[0] + 0.5, -p[1]} }
	for kind, c := range map[string][2]string{
		"Point":        {`[1,2]`, `[1.50,-2.00]`},
		"LineString":   {`[[1,2],[-3.25,4e1,7.125]]`, `[[1.50,-2.00],[-2.75,-40.00,7.125]]`},
		"Polygon":      {"[ [ [1 , 2], [3,4, 5,6] ], []]", "[ [ [1.50,-2.00], [3.50,-4.00,5,6] ], []]"},
		"MultiPolygon": {`[[[[1,2],[3,4]]],[[[5,6]]]]`, `[[[[1.50,-2.00],[3.50,-4.00]]],[[[5.50,-6.00]]]]`},
	} {
		want := `{"type":"` + kind + `","coordinates":` + c[1] + `}`
		for _, from := range []string{`{"type":"` + kind + `","coordinates":` + c[0] + `}`, `{"coordinates":` + c[0] + `,"type":"` + kind + `"}`,
			`{"type":"` + kind + `","coordinates":` + c[0] + `,"bbox":[1,2,3,4]}`} {
			if got, err := moveGeometry([]byte(from), shift, 2); err != nil || string(got) != want {
				t.Errorf("%s: %s %v, want %s", from, got, err, want)
			}
		}
	}
	got, err := moveGeometry([]byte(`{"type":"GeometryCollection","geometries":[{"type":"Point","coordinates":[1,2]}]}`), shift, 0)
	if err != nil || string(got) != `{"geometries":[{"type":"Point","coordinates":[2,-2]}],"type":"GeometryCollection"}` {
		t.Errorf("collection: %s %v", got, err)
	}
	for _, bad := range []string{`{"type":"Point","coordinates":[1]}`, `{"type":"Point","coordinates":[1,"2"]}`, `{"type":"Point","coordinates":[1,-]}`, `{"type":"Point","coordinates":[1,2}`, `{"type":"Point","coordinates":[1e999,2]}`} {
		if got, err := moveGeometry([]byte(bad), shift, 2); err == nil {
			t.Errorf("%s became %s", bad, got)
		}
	}
}
