package stakeout

// The stakes as a table and as points.

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"math"
	"strings"

	"github.com/paulmach/orb"

	"fallwright/geo/frame"
	"fallwright/geo/unit"
	"fallwright/parcels"
	"fallwright/parcels/display"
	"fallwright/parcels/document"
	"fallwright/parcels/sheet/grid"
)

// Station writes a station as the trade does: 1+25.0 is 125 ft (stations of 100
// ft), or 0+038.1 in metres (stations of 1000 m).
func Station(s unit.Length, u display.Units) string {
	v, full, digits := s.Feet(), 100.0, 4
	if u == display.SI {
		v, full, digits = float64(s), 1000, 5
	}
	v = math.Round(v*10) / 10
	whole := math.Floor(v / full)
	return fmt.Sprintf("%.0f+%0*.1f", whole, digits, v-whole*full)
}

// Cut writes a depth in feet and inches to an eighth: 2 ft 4 7/8 in.
func Cut(l unit.Length) string {
	if l < 0 {
		return "fill " + Cut(-l)
	}
	eighths := int(math.Round(float64(l/unit.Inch) * 8))
	return fmt.Sprintf("%d ft %s", eighths/96, display.Inches(unit.Length(eighths%96)*unit.Inch/8))
}

func places(v float64, n int) float64 {
	p := math.Pow(10, float64(n))
	return math.Round(v*p) / p
}

// Table has a row a stake. Its first five columns are the surveyor's order:
// number, northing, easting, elevation (invert), description; coordinates are the
// document's, of the point over the pipe.
func Table(stakes []Stake, f *frame.Frame, u display.Units) grid.Table {
	lu, n := "ft", 2
	length := func(v float64) float64 { return places(v/0.3048, n) }
	if u == display.SI {
		lu, n = "m", 3
		length = func(v float64) float64 { return places(v, n) }
	}
	north, east, digits := "northing", "easting", 4
	if f.Geographic() {
		north, east, digits = "latitude", "longitude", 9
	}
	opt := func(v *unit.Length) any {
		if v == nil {
			return nil
		}
		return length(float64(*v))
	}
	level := func(v *unit.Elevation) any {
		if v == nil {
			return nil
		}
		return length(float64(*v))
	}
	t := grid.Table{Name: "stakes", Head: []string{"number", north, east, "elevation_" + lu, "description", "line", "station_" + lu, "station", "point", "stake_" + north, "stake_" + east, "offset_" + lu, "side", "ground_" + lu, "invert_" + lu, "invert_in_" + lu, "cut_" + lu}}
	if u == display.US {
		t.Head = append(t.Head, "cut_feet_inches")
	}
	t.Head = append(t.Head, "trench_bottom_below_ground_"+lu, "grade_percent", "pipe")
	t.Widths = []float64{8, 15, 15, 12, 30, 6, 10, 10, 10, 15, 15}
	for _, s := range stakes {
		at, st := f.Document(s.At), f.Document(s.Stake)
		var cut any
		if s.Cut != nil {
			cut = Cut(*s.Cut)
		}
		var grade any
		if s.Grade != nil {
			grade = places(100*float64(*s.Grade), 2)
		}
		row := []any{s.Number, places(at[1], digits), places(at[0], digits), length(float64(s.Invert)), describe(s, u), s.Line, length(float64(s.Station)), Station(s.Station, u), s.Point,
			places(st[1], digits), places(st[0], digits), length(float64(s.Offset)), s.Side, level(s.Ground), length(float64(s.Invert)), level(s.InvUp), opt(s.Cut)}
		if u == display.US {
			row = append(row, cut)
		}
		t.Rows = append(t.Rows, append(row, opt(s.Dig), grade, s.Pipe))
	}
	return t
}

func describe(s Stake, u display.Units) string {
	d := "line " + s.Line + " " + Station(s.Station, u)
	if s.Point != "" {
		d += " " + s.Point
	}
	if s.Cut != nil {
		d += " cut " + u.Length(*s.Cut)
	}
	return d
}

// GeoJSON has a feature a stake, at the point over the pipe, in the document's
// system, with its lengths in metres.
func GeoJSON(stakes []Stake, f *frame.Frame) ([]byte, error) {
	mm := func(v *unit.Length) any {
		if v == nil {
			return nil
		}
		return places(float64(*v), 3)
	}
	lv := func(v *unit.Elevation) any {
		if v == nil {
			return nil
		}
		return places(float64(*v), 3)
	}
	rows := make([]document.Row, len(stakes))
	for i, s := range stakes {
		var grade any
		if s.Grade != nil {
			grade = places(float64(*s.Grade), 6)
		}
		rows[i] = document.Row{ID: fmt.Sprint(s.Number), Geometry: s.At, Properties: map[string]any{"number": s.Number, "line": s.Line, "station_m": places(float64(s.Station), 3), "point": s.Point,
			"ground_m": lv(s.Ground), "invert_m": places(float64(s.Invert), 3), "invert_in_m": lv(s.InvUp), "cut_m": mm(s.Cut), "trench_bottom_below_ground_m": mm(s.Dig), "slope": grade, "pipe": s.Pipe,
			"stake": document.Position(f, s.Stake), "offset_m": places(float64(s.Offset), 3), "side": s.Side}}
	}
	return document.WriteCollection(f, rows, map[string]any{"status": parcels.Preliminary, "cautions": parcels.Cautions})
}

// GPX has a waypoint a stake. Its elevation is the ground in metres, in the
// datum of the site, which need not be that of the receiver; the invert and the
// cut stand in the description.
func GPX(stakes []Stake, f *frame.Frame, u display.Units) ([]byte, error) {
	var b bytes.Buffer
	b.WriteString("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<gpx version=\"1.1\" creator=\"fallwright\" xmlns=\"http://www.topografix.com/GPX/1/1\">\n")
	esc := func(s string) string {
		var e bytes.Buffer
		_ = xml.EscapeText(&e, []byte(s))
		return e.String()
	}
	for _, s := range stakes {
		p := f.LonLat(s.At)
		if math.IsNaN(p[0]) || math.IsNaN(p[1]) {
			return nil, &parcels.Error{Kind: parcels.Failed, Op: "stakeout: gpx", Err: fmt.Errorf("stake %d has no longitude and latitude in %s", s.Number, f.CRS())}
		}
		fmt.Fprintf(&b, " <wpt lat=\"%.9f\" lon=\"%.9f\">", p[1], p[0])
		if s.Ground != nil {
			fmt.Fprintf(&b, "<ele>%.3f</ele>", float64(*s.Ground))
		}
		fmt.Fprintf(&b, "<name>%d</name><desc>%s</desc></wpt>\n", s.Number, esc(describe(s, u)+" invert "+u.Elevation(s.Invert)+" "+u.LengthUnit()))
	}
	b.WriteString("</gpx>\n")
	return b.Bytes(), nil
}

// DXF writes R12: a point and a text a stake at its invert, a 3-D polyline a line,
// on layers of their own, in the document's system; where that is longitude and
// latitude, in metres of the site's plane. Elevations are in the coordinates' unit.
func DXF(lines []Line, stakes []Stake, f *frame.Frame, u display.Units) []byte {
	var b bytes.Buffer
	pair := func(code int, v string) { fmt.Fprintf(&b, "%3d\r\n%s\r\n", code, v) }
	at := func(p orb.Point, z unit.Elevation) {
		q := p
		if !f.Geographic() {
			q = f.Document(p)
		}
		pair(10, fmt.Sprintf("%.4f", q[0]))
		pair(20, fmt.Sprintf("%.4f", q[1]))
		pair(30, fmt.Sprintf("%.4f", float64(z)/f.MetresPerUnit()))
	}
	pair(999, "status "+parcels.Preliminary+"; coordinates: "+f.Name())
	pair(0, "SECTION")
	pair(2, "HEADER")
	pair(9, "$ACADVER")
	pair(1, "AC1009")
	pair(0, "ENDSEC")
	pair(0, "SECTION")
	pair(2, "TABLES")
	pair(0, "TABLE")
	pair(2, "LAYER")
	pair(70, "3")
	for _, l := range []string{"DRAIN_LINE", "DRAIN_STAKE", "DRAIN_TEXT"} {
		pair(0, "LAYER")
		pair(2, l)
		pair(70, "0")
		pair(62, "7")
		pair(6, "CONTINUOUS")
	}
	pair(0, "ENDTAB")
	pair(0, "ENDSEC")
	pair(0, "SECTION")
	pair(2, "ENTITIES")
	for _, l := range lines {
		pair(0, "POLYLINE")
		pair(8, "DRAIN_LINE")
		pair(66, "1")
		pair(10, "0.0")
		pair(20, "0.0")
		pair(30, "0.0")
		pair(70, "8")
		for _, r := range l.Rows {
			if r.Point == "" {
				continue
			}
			pair(0, "VERTEX")
			pair(8, "DRAIN_LINE")
			at(r.At, r.Invert)
			pair(70, "32")
		}
		pair(0, "SEQEND")
		pair(8, "DRAIN_LINE")
	}
	for _, s := range stakes {
		pair(0, "POINT")
		pair(8, "DRAIN_STAKE")
		at(s.At, s.Invert)
		pair(0, "TEXT")
		pair(8, "DRAIN_TEXT")
		at(s.At, s.Invert)
		pair(40, fmt.Sprintf("%.3f", 0.15/f.MetresPerUnit()))
		pair(1, ascii(describe(s, u)))
	}
	pair(0, "ENDSEC")
	pair(0, "EOF")
	return b.Bytes()
}

// ascii escapes what R12 cannot hold.
func ascii(s string) string {
	var b strings.Builder
	for _, r := range s {
		if r < 0x20 {
			continue
		}
		if r > 0x7e {
			fmt.Fprintf(&b, "\\U+%04X", r)
			continue
		}
		b.WriteRune(r)
	}
	return b.String()
}

// Write gives the stakes in the format of a file's ending: .csv, .xlsx, .geojson,
// .json, .gpx, .dxf.
func Write(ext string, lines []Line, stakes []Stake, f *frame.Frame, u display.Units) ([]byte, error) {
	switch strings.ToLower(ext) {
	case ".csv":
		return Table(stakes, f, u).CSV()
	case ".xlsx":
		return grid.XLSX(Table(stakes, f, u))
	case ".geojson", ".json":
		return GeoJSON(stakes, f)
	case ".gpx":
		return GPX(stakes, f, u)
	case ".dxf":
		return DXF(lines, stakes, f, u), nil
	}
	return nil, &parcels.Error{Kind: parcels.Unsupported, Op: "stakeout: write", Subject: ext, Err: fmt.Errorf("give .csv, .xlsx, .geojson, .gpx, .dxf or .pdf")}
}
