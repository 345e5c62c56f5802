package survey

import (
	"errors"
	"math"
	"strings"
	"testing"

	"github.com/paulmach/orb"

	"fallwright/geo/frame"
	"fallwright/geo/unit"
	"fallwright/parcels"
)

var feet = Options{ElevationUnit: unit.Foot, Codes: parcels.DefaultCriteria().Survey.Codes}

// lot is a parcel in state plane feet, far from the diagonal of the plane.
var lot = orb.Bound{Min: orb.Point{1740000, 640000}, Max: orb.Point{1740120, 640090}}

const good = `1,640010.12,1740005.50,612.34,GS
2,640020.00,1740030.25,611.90,FL
DS2,640033.10,1740050.00,612.80,DS2 "NE corner"
4,640050.00,1740060.00,613.00,"RIM, 24"" grate"
5,640060.00,1740070.00,609.10,INV
6,640070.00,1740080.00,613.2,TREE 18" OAK, leaning
7,640071.00,1740081.00,612.0,
`

func TestHandReading(t *testing.T) {
	opt := feet
	opt.Bounds = &lot
	for name, text := range map[string]string{
		"commas": good,
		"crlf":   strings.ReplaceAll(good, "\n", "\r\n"),
		"cr":     strings.ReplaceAll(good, "\n", "\r"),
		"bom":    "\xef\xbb\xbf" + good,
		"named":  "Point,Northing (US ft),Easting (US ft),Elev_ft,Desc\n" + good,
		"blank":  "\n\n" + good + "\n\n",
	} {
		f, err := Read([]byte(text), "p.csv", opt)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if len(f.Points) != 7 || f.Order != NorthingFirst || f.Named != (name == "named") {
			t.Fatalf("%s: %+v", name, f)
		}
		p := f.Points
		if p[0].At != (orb.Point{1740005.5, 640010.12}) || math.Abs(float64(*p[0].Z)-612.34*0.3048) > 1e-9 || p[0].Kind != "ground" {
			t.Errorf("%s: first %+v", name, p[0])
		}
		kinds := []string{"ground", "flow_line", "downspout", "rim", "invert", "tree", ""}
		ground := []bool{true, true, true, false, false, true, true}
		for i := range p {
			if p[i].Kind != kinds[i] {
				t.Errorf("%s: point %s is %q, want %q", name, p[i].ID, p[i].Kind, kinds[i])
			}
			if p[i].OnGround() != ground[i] {
				t.Errorf("%s: point %s on the ground: %v", name, p[i].ID, p[i].OnGround())
			}
		}
		if p[3].Description != `RIM, 24" grate` || p[5].Description != `TREE 18" OAK, leaning` && p[5].Description != `TREE 18" OAK,leaning` || p[2].ID != "DS2" {
			t.Errorf("%s: descriptions %q %q", name, p[3].Description, p[5].Description)
		}
	}
	// tabs, and the other order
	swap := "1\t1740005.5\t640010\t612\tGS\n2\t1740010.5\t640020\t612\tGS\n"
	o := opt
	o.Order = EastingFirst
	f, err := Read([]byte(swap), "p.txt", o)
	if err != nil || f.Points[0].At != (orb.Point{1740005.5, 640010}) || f.Delimiter != '\t' {
		t.Errorf("tabs: %v %+v", err, f)
	}
	// metres by name
	f, err = Read([]byte("id,e,n,z_m\n1,1740005,640010,200\n"), "m.csv", Options{Bounds: &lot})
	if err != nil || *f.Points[0].Z != 200 || f.Order != EastingFirst {
		t.Errorf("metres: %v %+v", err, f)
	}
	fr, err := frame.New("EPSG:2274", lot)
	if err != nil {
		t.Fatal(err)
	}
	f, _ = Read([]byte(good), "p.csv", opt)
	if s := f.Spots(fr); len(s) != 5 || s[1].Index != 1 || math.Abs(s[0].At[0]-(1740005.5-fr.Origin()[0])*1200/3937) > 1e-6 {
		t.Errorf("spots %+v", s)
	}
}

func TestHandFaults(t *testing.T) {
	far := orb.Bound{Min: orb.Point{0, 0}, Max: orb.Point{100, 100}}
	local := orb.Bound{Min: orb.Point{4950, 4960}, Max: orb.Point{5060, 5050}}
	for _, c := range []struct {
		name, text string
		opt        Options
		slug, says string
	}{
		{"empty", "", feet, "survey-empty", "no points"},
		{"names only", "P,N,E,Z,D\n", feet, "survey-empty", "no points"},
		{"latin-1", "1,2,3,4,Pe\xf1a\n", feet, "not-utf8", "Byte 10"},
		{"no delimiter", "1 640010 1740005 612 GS\n", feet, "survey-columns", "1 fields"},
		{"no easting", "P,N,Z,D\n1,2,3,x\n", feet, "survey-columns", "easting"},
		{"two northings", "P,N,Y,E,Z\n1,2,3,4,5\n", feet, "survey-columns", "same thing"},
		{"bad number", "1,640010,1740005,612,GS\n2,640O20,1740005,612,GS\n", feet, "survey-number", `Line 2: the northing "640O20"`},
		{"nan", "1,640010,1740005,NaN,GS\n", feet, "survey-number", "elevation"},
		{"short line", "1,640010,1740005,612,GS\n2,640010\n", feet, "survey-columns", "Line 2"},
		{"twice", "1,640010,1740005,612,GS\n1,640011,1740005,612,GS\n", feet, "duplicate-id", "line 1 too"},
		{"no unit", good, Options{Bounds: &lot}, "elevation-unit-unknown", "feet or metres"},
		{"units differ", "P,N,E,Elev_m\n1,2,3,4\n", feet, "crs-units-mismatch", "0.3048"},
		{"plan units differ", "P,N_ft,E_ft,Z_m\n1,2,3,4\n", Options{PlanUnit: unit.Metre}, "crs-units-mismatch", "N_ft"},
		{"swapped", good, Options{ElevationUnit: unit.Foot, Order: EastingFirst, Bounds: &lot}, "axes-swapped", "read as PNEZD they lie at easting 1740005.50"},
		{"swapped names", "P,E,N,Z\n1,640010,1740005,612\n", Options{ElevationUnit: unit.Foot, Bounds: &lot}, "axes-swapped", "Correct the names"},
		{"elsewhere", good, Options{ElevationUnit: unit.Foot, Bounds: &far}, "coordinate-out-of-range", "neither"},
		{"both fit", "1,5000,4990,100,GS\n2,5020,5010,100,GS\n", Options{ElevationUnit: unit.Foot, Bounds: &local}, "axes-ambiguous", "both fit"},
		{"no heights", "1,2,3,,GS\n2,3,4,-9999,GS\n", feet, "survey-empty", "elevation"},
		{"too many", good, Options{MaxPoints: 3}, "survey-too-large", "at most 3"},
		{"order", good, Options{Order: "ZDPNE"}, "survey-columns", "ZDPNE"},
	} {
		_, err := Read([]byte(c.text), "p.csv", c.opt)
		var e *parcels.InputError
		if !errors.As(err, &e) || e.Faults[0].Slug != c.slug || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v; want %s with %q", c.name, err, c.slug, c.says)
		}
	}
	// every bad line is told, not the first alone
	_, err := Read([]byte("1,a,2,3\n2,3,b,4\n3,4,5,6\n4,5,6,x\n"), "p.csv", Options{ElevationUnit: 1, Order: NorthingFirst})
	var e *parcels.InputError
	if !errors.As(err, &e) || len(e.Faults) != 1 { // the first line is then taken for names
		t.Errorf("%v", err)
	}
	_, err = Read([]byte("9,1,2,3\n1,a,2,3\n2,3,b,4\n3,4,5,6\n4,5,6,x\n"), "p.csv", Options{ElevationUnit: 1})
	if !errors.As(err, &e) || len(e.Faults) != 3 {
		t.Errorf("%v", err)
	}
	o := feet
	o.Bounds, o.Order = &local, NorthingFirst
	if _, err := Read([]byte("1,5000,4990,100,GS\n2,5020,5010,100,GS\n"), "p.csv", o); err != nil {
		t.Errorf("an order that was said is taken: %v", err)
	}
}

// Zero at a site of 612 ft is not measured; at the sea it is.
func TestHandMissing(t *testing.T) {
	f, err := Read([]byte("1,640010,1740005,612,GS\n2,640020,1740005,0.000,GS\n3,640020,1740015,-9999,GS\n4,640020,1740025,,GS\n5,640021,1740025,999,GS\n6,640022,1740025,618,XX\n"), "p.csv", feet)
	if err != nil {
		t.Fatal(err)
	}
	missing := 0
	for i, p := range f.Points {
		if (p.Z == nil) != (i >= 1 && i <= 4) {
			t.Errorf("point %s: %v", p.ID, p.Z)
		}
	}
	codes := 0
	for _, n := range f.Findings {
		switch n.Code {
		case "elevation_missing":
			missing++
		case "survey_code_unknown":
			codes++
		}
	}
	if missing != 4 || codes != 1 {
		t.Errorf("findings %+v", f.Findings)
	}
	f, err = Read([]byte("1,640010,1740005,2.1,GS\n2,640020,1740005,0,GS\n"), "p.csv", feet)
	if err != nil || f.Points[1].Z == nil {
		t.Errorf("at the sea: %v %+v", err, f.Points)
	}
}

func FuzzRead(f *testing.F) {
	f.Add([]byte(good))
	f.Add([]byte("P,N,E,Z,D\n1,2,3,4,\"x\"\"y\"\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		g, err := Read(b, "f", Options{ElevationUnit: 1, Bounds: &lot})
		if err == nil && len(g.Points) == 0 {
			t.Error("no points and no reason")
		}
	})
}
