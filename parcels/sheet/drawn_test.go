package sheet

import (
	"context"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/paulmach/orb"

	"fallwright/geo/frame"
	"fallwright/geo/unit"
	"fallwright/parcels"
	"fallwright/parcels/display"
	"fallwright/parcels/planner"
	"fallwright/parcels/sheet/grid"
	"fallwright/parcels/verify"
)

// straight is a lot with one pipe of a length along its middle, falling 1 % to the
// west.
func straight(t *testing.T, length unit.Length) (*parcels.Plan, *parcels.Site) {
	t.Helper()
	l := float64(length)
	at := orb.Point{400000, 200000}
	f, err := frame.New("EPSG:32633", orb.Bound{Min: at, Max: orb.Point{at[0] + l + 20, at[1] + 30}})
	if err != nil {
		t.Fatal(err)
	}
	in := func(x, y float64) orb.Point { return orb.Point{at[0] + x, at[1] + y} }
	s := &parcels.Site{Frame: f, Criteria: parcels.DefaultCriteria(), Lots: []parcels.Lot{{ID: "1", Shape: orb.MultiPolygon{{{in(0, 0), in(l+20, 0), in(l+20, 30), in(0, 30), in(0, 0)}}}}}}
	p := &parcels.Plan{Status: parcels.Preliminary, Site: "straight", Cautions: parcels.Cautions, Summary: parcels.Summary{Verdict: parcels.Feasible, Lots: []string{"1"}, Outlet: "I1", Length: length, TrenchLength: length}}
	a, b := in(l+10, 15), in(10, 15)
	up, down := unit.Elevation(100+0.01*l), unit.Elevation(100)
	p.Runs = []parcels.Run{{ID: "R1", From: "D1", To: "I1", Trench: "T1", Line: orb.LineString{a, b}, Pipe: "solid", Size: "4 in", Diameter: 101.6, OutsideDiameter: 107.1, PipeCount: 1, N: 0.012, Length: length,
		Fall: parcels.Num(unit.Length(0.01 * l)), Slope: parcels.Num(unit.Slope(0.01)), InvertUp: &up, InvertDown: &down}}
	p.Points = []parcels.Point{{ID: "D1", Kind: parcels.PointIntake, At: a, Invert: &up}, {ID: "I1", Kind: parcels.PointInlet, At: b, Invert: &down}}
	p.Trenches = []parcels.Trench{{ID: "T1", Runs: []string{"R1"}, Width: 0.3048, Length: length}}
	row := func(station unit.Length, at orb.Point, id string, e unit.Elevation) parcels.ProfileRow {
		return parcels.ProfileRow{Station: station, At: at, Point: id, Ground: parcels.Num(e + 1), Invert: e, Crown: e + 0.1016}
	}
	p.Profiles = []parcels.Profile{{From: "D1", To: "I1", Runs: []string{"R1"}, Rows: []parcels.ProfileRow{row(0, a, "D1", up), row(length, b, "I1", down)}}}
	return p, s
}

var segment = regexp.MustCompile(`(-?[\d.]+) (-?[\d.]+) m\s+(-?[\d.]+) (-?[\d.]+) l`)

// segments are the lengths of the first pieces of the lines of a PDF, in points.
func segments(t *testing.T, pdf []byte) (out []float64) {
	for _, m := range segment.FindAllStringSubmatch(streams(t, pdf), -1) {
		var v [4]float64
		for i := range v {
			v[i], _ = strconv.ParseFloat(m[i+1], 64)
		}
		out = append(out, math.Hypot(v[2]-v[0], v[3]-v[1]))
	}
	return out
}

// A pipe of 100 ft, measured in the PDF of the plan: on letter at 1 in = 30 ft 240
// points, on tabloid at 1 in = 20 ft 360; 30 m on A3 at 1:200 are 150 mm, 425.20
// points, on A4 at 1:250 120 mm, 340.16.
func TestHandHundredFeetOnPaper(t *testing.T) {
	for _, w := range []struct {
		length unit.Length
		paper  string
		u      display.Units
		said   string
		points float64
	}{
		{100 * unit.Foot, "letter", display.US, "1 in = 30 ft", 240},
		{100 * unit.Foot, "tabloid", display.US, "1 in = 20 ft", 360},
		{30, "a3", display.SI, "1:200", 425.197},
		{30, "a4", display.SI, "1:250", 340.157},
	} {
		p, s := straight(t, w.length)
		d, err := Make(p, s, Options{Kind: KindPlan, Paper: w.paper, Units: w.u})
		if err != nil {
			t.Fatal(err)
		}
		d.pages = d.pages[:1]
		b, err := d.PDF()
		if err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(said1(d), w.said) {
			t.Errorf("%s is not at %s", w.paper, w.said)
		}
		best := math.Inf(1)
		for _, l := range segments(t, b) {
			best = math.Min(best, math.Abs(l-w.points))
		}
		if best > 0.02 {
			t.Errorf("%s: no line of %.3f points, the nearest is off by %.3f", w.paper, w.points, best)
		}
	}
}

// A pipe of 2000 ft does not fit on letter at a scale that can be read: a key plan
// and sheets with match lines. The pieces of the pipe on the sheets' own ground are
// the pipe; each match line names the sheet that goes on, and that one names it back.
func TestPropertyMatchLines(t *testing.T) {
	p, s := straight(t, 2000*unit.Foot)
	d := &draft{p: p, s: s, c: &s.Criteria, u: display.US}
	views := d.planViews(792, 612)
	if len(views) < 4 || views[0].title != "Key plan" || views[1].said != "1 in = 50 ft" {
		t.Fatalf("%d sheets, %s, %s", len(views), views[0].title, views[1].said)
	}
	names := regexp.MustCompile(`MATCH LINE, see sheet (\d+)`)
	see := map[int]map[int]bool{}
	for i, v := range views {
		see[i+1] = map[int]bool{}
		for _, m := range v.marks {
			if x := names.FindStringSubmatch(m.text); x != nil {
				n, _ := strconv.Atoi(x[1])
				see[i+1][n] = true
			}
		}
	}
	for a := range see {
		for b := range see[a] {
			if !see[b][a] {
				t.Errorf("sheet %d goes on on sheet %d, which does not say so", a, b)
			}
		}
	}
	if len(see[2]) != 1 || len(see[3]) != 2 || len(see[len(views)]) != 1 {
		t.Errorf("match lines: %v", see)
	}
	// the pipe on each sheet is at the scale that it says: its whole length goes
	// through, clipped
	want := 2000.0 / 50 * 72
	for i, v := range views[1:] {
		found := false
		for _, m := range v.marks {
			if len(m.path) == 2 && m.width == 1.9 && math.Abs(math.Hypot(m.path[1].x-m.path[0].x, m.path[1].y-m.path[0].y)-want) < 1e-6 {
				found = true
			}
		}
		if !found {
			t.Errorf("part %d is not at 1 in = 50 ft", i+1)
		}
	}
	// profiles go on in pieces too
	if b := said1(&Document{pages: d.planSheets(792, 612)}); !strings.Contains(b, "match line 5+") && !strings.Contains(b, "match line 6+") && !strings.Contains(b, "match line 7+") {
		t.Error("the profile has no match line")
	}
}

// texts are the places that upright and turned texts of a page take.
func texts(p *page) (out []rect, said []string) {
	for _, m := range p.marks {
		if strings.TrimSpace(m.text) == "" {
			continue
		}
		w := width(m.text, m.size, m.bold)
		r := rect{m.at.x, m.at.y - m.size*0.72, w, m.size * 0.72}
		if m.angle == 90 {
			r = rect{m.at.x - m.size*0.72, m.at.y - w, m.size * 0.72, w}
		}
		out, said = append(out, r), append(said, m.text)
	}
	return out, said
}

// On no drawn sheet of any lot of the sample does a text lie on another or off the
// paper.
func TestPropertyNoTextOnText(t *testing.T) {
	_, s := planned(t, "B4")
	ground, _, err := planner.Surface(s)
	if err != nil {
		t.Fatal(err)
	}
	sheets := 0
	for i := range s.Lots {
		id := s.Lots[i].ID
		p, _, err := (&planner.Planner{Verifier: verify.Checker{}, Program: "test"}).Plan(context.Background(), s, planner.Options{Lots: []string{id}, Quick: true, Surface: ground})
		if err != nil {
			continue // a lot with nothing to drain
		}
		for _, k := range []Kind{KindPlan, KindStakes, KindTakeoff, KindVisit, KindProposal, KindCrew, KindCloseOut} {
			d, err := Make(p, s, Options{Kind: k, Paper: "letter", Ground: ground})
			if err != nil {
				continue // nothing to stake
			}
			for n, pg := range d.pages {
				sheets++
				rs, said := texts(pg)
				for a := range rs {
					if rs[a].x < 0 || rs[a].y < 0 || rs[a].x+rs[a].w > pg.w || rs[a].y+rs[a].h > pg.h {
						t.Errorf("lot %s, %s, page %d: %q lies off the paper", id, k, n+1, said[a])
					}
					for b := range a {
						if rs[a].meets(rs[b]) {
							t.Errorf("lot %s, %s, page %d: %q lies on %q", id, k, n+1, said[a], said[b])
						}
					}
				}
			}
		}
	}
	if sheets < 300 {
		t.Errorf("only %d pages were looked at", sheets)
	}
}

// Workbooks are read by GDAL: names of the sheets, heads and cells; a text that a
// spreadsheet would run is a text.
func TestOracleWorkbook(t *testing.T) {
	if _, err := exec.LookPath("ogr2ogr"); err != nil {
		t.Skip("ogr2ogr is not installed: workbooks are not read back")
	}
	file := filepath.Join(t.TempDir(), "x.xlsx")
	cells := func(b []byte, sheet string) string {
		t.Helper()
		if err := os.WriteFile(file, b, 0o600); err != nil {
			t.Fatal(err)
		}
		out, err := exec.Command("ogr2ogr", "--config", "OGR_XLSX_HEADERS", "FORCE", "-f", "CSV", "/vsistdout/", file, sheet).CombinedOutput()
		if err != nil {
			t.Fatalf("%v: %s", err, out)
		}
		return string(out)
	}
	p, s := planned(t, "B4")
	files, err := Write(p, s, Order{Kind: KindTakeoff, Format: "xlsx"})
	if err != nil {
		t.Fatal(err)
	}
	got := cells(files[0].Body, "quantities")
	for _, q := range p.Quantities {
		item := q.Item
		if strings.Contains(item, ",") {
			item = `"` + item + `"`
		}
		if !strings.Contains(got, fmt.Sprintf("%s,%s,%s,", item, trim(q.Net), q.NetUnit)) {
			t.Errorf("GDAL does not read %s, %v %s in\n%s", item, q.Net, q.NetUnit, got)
		}
	}
	if n := strings.Count(got, "\n"); n != len(p.Quantities)+1 {
		t.Errorf("%d lines of %d rows", n, len(p.Quantities))
	}
	b, err := grid.XLSX(grid.Table{Name: "a b", Head: []string{"text", "number"}, Rows: [][]any{{"=1+1", 2.5}, {"ü \"x\"", nil}}})
	if err != nil {
		t.Fatal(err)
	}
	if got := cells(b, "a b"); !strings.Contains(got, "=1+1,2.5") || !strings.Contains(got, `ü ""x""`) {
		t.Errorf("%q", got)
	}
}
