package answer

import (
	"context"
	"encoding/json"
	"math"
	"testing"

	"fallwright/parcels/document"
	"fallwright/sampledata"
)

// collected is what a test reads of a collection.
type collected struct {
	CRS      any `json:"crs"`
	Features []struct {
		Geometry   struct{ Coordinates json.RawMessage }
		Properties struct {
			Lot     string      `json:"lot"`
			WorstAt *[2]float64 `json:"worst_at"`
			Verdict string      `json:"verdict"`
			Area    float64     `json:"area_m2"`
		}
	}
	Frame struct{ CRS string } `json:"frame"`
}

// The answers about the sample in state plane feet, asked for in longitude and
// latitude, stand where those about the sample in longitude and latitude do, and the
// figures are those of the plane.
func TestOracleAnotherSystem(t *testing.T) {
	read := func(text []byte) func(crs string) (zone, check collected) {
		s, err := document.Read(text, document.Options{})
		if err != nil {
			t.Fatal(err)
		}
		return func(crs string) (zone, check collected) {
			o := Options{CRS: crs}
			for _, one := range []struct {
				into *collected
				of   func() (*Collection, error)
			}{
				{&zone, func() (*Collection, error) { return Zones(context.Background(), s, o) }},
				{&check, func() (*Collection, error) { return Checks(context.Background(), s, o) }},
			} {
				c, err := one.of()
				if err != nil {
					t.Fatal(err)
				}
				if err := json.Unmarshal(c.Body, one.into); err != nil {
					t.Fatal(err)
				}
			}
			return zone, check
		}
	}
	feet, degrees := read(sampledata.StatePlane()), read(sampledata.LonLat())
	own, _ := feet("")
	zone, check := feet("OGC:CRS84")
	there, thereCheck := degrees("")
	if zone.CRS != nil || zone.Frame.CRS != "EPSG:2274" || len(zone.Features) != len(there.Features) || len(check.Features) == 0 {
		t.Fatalf("crs %v, frame %q, %d zones, %d drains", zone.CRS, zone.Frame.CRS, len(zone.Features), len(check.Features))
	}
	first := func(raw json.RawMessage) (p [2]float64) {
		for {
			var list []json.RawMessage
			if json.Unmarshal(raw, &list) != nil || len(list) == 0 {
				t.Fatalf("no position in %.80s", raw)
			}
			if json.Unmarshal(raw, &p) == nil {
				return p
			}
			raw = list[0]
		}
	}
	for i, f := range check.Features {
		a, b := first(f.Geometry.Coordinates), first(thereCheck.Features[i].Geometry.Coordinates)
		if math.Hypot(a[0]-b[0], a[1]-b[1]) > 1e-7 { // a centimetre
			t.Errorf("drain %d begins at %v, in the document of degrees at %v", i, a, b)
		}
		if f.Properties.Verdict == "" {
			t.Errorf("drain %d has no verdict", i)
		}
		if w := f.Properties.WorstAt; w != nil && (math.Abs(w[0]) > 180 || math.Abs(w[1]) > 90) {
			t.Errorf("drain %d: the worst place is told as %v", i, *w)
		}
	}
	for i := range own.Features {
		if own.Features[i].Properties.Area != zone.Features[i].Properties.Area {
			t.Errorf("lot %s: %v m2, asked for in degrees %v", own.Features[i].Properties.Lot, own.Features[i].Properties.Area, zone.Features[i].Properties.Area)
		}
	}
	s, err := document.Read(sampledata.StatePlane(), document.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := Zones(context.Background(), s, Options{CRS: "EPSG:99999"}); err == nil {
		t.Error("an unknown system was taken")
	}
}
