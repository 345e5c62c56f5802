package frame

import "testing"

// Definitions as the software of others writes them into .prj files (ESRI's
// spelling, from memory of such files), and their EPSG codes.
func TestPublishedRecognise(t *testing.T) {
	for _, c := range []struct{ wkt, code string }{
		{`PROJCS["NAD_1983_StatePlane_California_III_FIPS_0403_Feet",GEOGCS["GCS_North_American_1983",DATUM["D_North_American_1983",SPHEROID["GRS_1980",6378137.0,298.257222101]],PRIMEM["Greenwich",0.0],UNIT["Degree",0.0174532925199433]],PROJECTION["Lambert_Conformal_Conic"],PARAMETER["False_Easting",6561666.666666666],PARAMETER["False_Northing",1640416.666666667],PARAMETER["Central_Meridian",-120.5],PARAMETER["Standard_Parallel_1",37.06666666666667],PARAMETER["Standard_Parallel_2",38.43333333333333],PARAMETER["Latitude_Of_Origin",36.5],UNIT["Foot_US",0.3048006096012192]]`, "EPSG:2227"},
		{`PROJCS["RGF_1993_Lambert_93",GEOGCS["GCS_RGF_1993",DATUM["D_RGF_1993",SPHEROID["GRS_1980",6378137.0,298.257222101]],PRIMEM["Greenwich",0.0],UNIT["Degree",0.0174532925199433]],PROJECTION["Lambert_Conformal_Conic"],PARAMETER["False_Easting",700000.0],PARAMETER["False_Northing",6600000.0],PARAMETER["Central_Meridian",3.0],PARAMETER["Standard_Parallel_1",49.0],PARAMETER["Standard_Parallel_2",44.0],PARAMETER["Latitude_Of_Origin",46.5],UNIT["Meter",1.0]]`, "EPSG:2154"},
		{`GEOGCS["GCS_WGS_1984",DATUM["D_WGS_1984",SPHEROID["WGS_1984",6378137.0,298.257223563]],PRIMEM["Greenwich",0.0],UNIT["Degree",0.0174532925199433]]`, ""},
	} {
		r, err := Recognise(c.wkt)
		if err != nil || r.Code != c.code || !r.Sure {
			t.Errorf("%s: %+v %v, want %s", r.Name, r, err, c.code)
		}
	}
	for _, bad := range []string{"", "rubbish", "PROJCS[", `LOCAL_CS["site grid",UNIT["Meter",1]]`} {
		if r, err := Recognise(bad); err == nil {
			t.Errorf("%q: %+v", bad, r)
		}
	}
}

// What is written is recognised again, in both spellings.
func TestPropertyWKTThereAndBack(t *testing.T) {
	for _, c := range []string{"EPSG:2274", "EPSG:2227", "EPSG:26918", "EPSG:2154", "EPSG:32616", ""} {
		for _, esri := range []bool{false, true} {
			text, err := WKT1(c, esri)
			if err != nil {
				t.Fatal(err)
			}
			if r, err := Recognise(text); err != nil || r.Code != c {
				t.Errorf("%s: %+v %v from %s", c, r, err, text)
			}
		}
	}
	if _, err := WKT1("EPSG:999999", false); err == nil {
		t.Error("no such code")
	}
}
