package api

import (
	"fmt"
	"math"
	"strings"
	"testing"
)

// Published: EPSG:2274 (NAD83 / Tennessee, US survey feet) has its origin at
// 34 deg 20 min north, 86 deg west, false easting 1968500 ftUS, false northing 0
// (EPSG registry, coordinate operation 15381; from memory). The datum's shift to
// WGS 84 is null there.
func TestPublishedPositions(t *testing.T) {
	c := newClient(t)
	got := read[struct {
		Positions [][2]float64
	}](t, c.do("GET /positions?crs=EPSG:2274&at=1968500,0&at=1968500,100000", nil))
	if len(got.Positions) != 2 || math.Abs(got.Positions[0][0]+86) > 1e-7 || math.Abs(got.Positions[0][1]-(34+1.0/3)) > 1e-7 {
		t.Errorf("the origin is %v", got.Positions)
	}
	// due north on the central meridian: a degree of latitude is 110.93 km there
	// (WGS 84, 34 degrees 28 minutes), the scale of the projection within 1e-4
	if d := got.Positions[1][1] - got.Positions[0][1]; math.Abs(got.Positions[1][0]+86) > 1e-7 || math.Abs(d-100000.0*1200/3937/110_930) > 2e-4 {
		t.Errorf("100,000 ft north is %v, %.6f degrees", got.Positions[1], d)
	}
	if got := read[struct{ Positions [][2]float64 }](t, c.do("GET /positions?crs=EPSG:4326&at=-86,34", nil)); got.Positions[0] != [2]float64{-86, 34} {
		t.Errorf("longitude, latitude comes back as %v", got.Positions)
	}
	many := strings.Repeat("&at=1,1", 101)
	for _, bad := range []string{"?crs=EPSG:2274", "?crs=EPSG:2274&at=", "?crs=EPSG:2274&at=1", "?crs=EPSG:2274&at=NaN,1", "?crs=EPSG:2274&at=1e999,1", "?crs=nothing&at=1,1", "?at=1,1", "?crs=EPSG:4326&at=200,1", "?crs=EPSG:2274" + many} {
		c.want(c.do("GET /positions"+bad, nil), 400, "parameter-invalid")
	}
}

// What pages may load from outside is what is configured, to the letter.
func TestHandBackgroundTiles(t *testing.T) {
	c := newClient(t, func(o *Options) {
		o.Config.Tiles = []string{"https://tiles.example.org:8443/a/{z}/{x}/{y}.png", "http://127.0.0.1:9/wmts?TILEMATRIX={TileMatrix}&TILEROW={TileRow}&TILECOL={TileCol}"}
	})
	policy := c.do("GET /healthz", nil).Header.Get("Content-Security-Policy")
	if !strings.Contains(policy, "img-src 'self' data: blob: https://tiles.example.org:8443 http://127.0.0.1:9;") || !strings.Contains(policy, "connect-src 'self';") {
		t.Errorf("the policy is %s", policy)
	}
	if policy := newClient(t).do("GET /healthz", nil).Header.Get("Content-Security-Policy"); strings.Contains(policy, "http") {
		t.Errorf("without tiles the policy is %s", policy)
	}
	for i, bad := range []string{"", "tiles/{z}/{x}/{y}", "https://tiles.example.org/{z}/{x}.png", "file:///{z}/{x}/{y}", "https://a.example.org; script-src *//{z}/{x}/{y}", "https://*.example.org/{z}/{x}/{y}", "https://user@a.example.org:x/{z}/{x}/{y}", "javascript:{z}{x}{y}"} {
		if _, err := New(Options{Engine: exampleEngine{}, Config: Config{Tiles: []string{bad}}}); err == nil || !strings.Contains(err.Error(), fmt.Sprintf("%q", bad)) {
			t.Errorf("%d: tiles %q: %v", i, bad, err)
		}
	}
}
