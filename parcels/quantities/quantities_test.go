package quantities_test

import (
	"bytes"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"
	"github.com/xuri/excelize/v2"
	"gonum.org/v1/gonum/integrate"

	"fallwright/geo/unit"
	"fallwright/parcels"
	"fallwright/parcels/display"
	"fallwright/parcels/document"
	"fallwright/parcels/quantities"
	"fallwright/parcels/sheet/grid"
	"fallwright/sampledata"
)

// one is a plan of one solid 4 in run along the x axis, invert level at 0, with
// the ground given at stations.
func one(t *testing.T, stations, ground []float64) (*parcels.Plan, *parcels.Site) {
	t.Helper()
	s := &parcels.Site{Criteria: parcels.DefaultCriteria()}
	end := stations[len(stations)-1]
	r := parcels.Run{ID: "R1", From: "A", To: "B", Trench: "T1", Line: orb.LineString{{0, 0}, {end, 0}}, Pipe: "solid", Wall: "smooth", Size: "4 in",
		Diameter: 101.6, OutsideDiameter: 107.1, PipeCount: 1, Length: unit.Length(end), Fall: parcels.Num(unit.Length(0)), Slope: parcels.Num(unit.Slope(0))}
	p := &parcels.Plan{Runs: []parcels.Run{r}, Trenches: []parcels.Trench{{ID: "T1", Runs: []string{"R1"}, Width: 0.3048}},
		Points: []parcels.Point{{ID: "A", Kind: parcels.PointIntake, Fittings: []string{"downspout adapter"}}, {ID: "B", Kind: parcels.PointInlet, Fittings: []string{"cored hole with rubber boot"}}}}
	pr := parcels.Profile{From: "A", To: "B", Runs: []string{"R1"}}
	for i := range stations {
		row := parcels.ProfileRow{Station: unit.Length(stations[i])}
		if !math.IsNaN(ground[i]) {
			row.Ground = parcels.Num(unit.Elevation(ground[i]))
		}
		switch i {
		case 0:
			row.Point = "A"
		case len(stations) - 1:
			row.Point = "B"
		}
		pr.Rows = append(pr.Rows, row)
	}
	p.Profiles = []parcels.Profile{pr}
	return p, s
}

func find(t *testing.T, rows []parcels.Quantity, item string) parcels.Quantity {
	t.Helper()
	for _, q := range rows {
		if q.Item == item {
			return q
		}
	}
	t.Fatalf("no row %q among %d", item, len(rows))
	return parcels.Quantity{}
}

// A hundred feet of trench 12 in wide. The invert is level, the ground rises from
// 0.5 m to 1.0 m over it. By hand, in metres:
//
//	under the invert: wall (0.1071-0.1016)/2 = 0.00275, bedding 0.0508: 0.05355
//	depths 0.55355 and 1.05355, mean 0.80355
//	bank   0.80355 x 0.3048 x 30.48 = 7.46525 m3 = 9.764 cu yd
//	24 in (0.6096) is reached at (0.6096-0.55355)/0.5 = 0.1121 of it: 11.21 ft
//	36 in (0.9144) at 0.7217: 60.96 ft more, 27.83 ft beyond
//	stone  height 0.0508+0.1071+0.1524 = 0.3103; pipe area pi/4 x 0.1071^2 = 0.0090088
//	       (0.3103 x 0.3048 - 0.0090088) x 30.48 = 2.60819 m3 = 3.411 cu yd
//	       x 1.6 / 0.90718474 = 4.600 short tons, x 1.07 = 4.922: 5.0 ordered
//	cap    0.1016 x 0.3048 x 30.48 = 0.94389; pipe 0.27459
//	away   2.60819 + 0.27459 + 0.94389 = 3.82667, x 1.25 = 4.78333 m3 = 6.256 cu yd loose
//	loads  4.78333 / 7.65 = 0.625: 1
//	back   7.46525 - 3.82667 = 3.63858 m3 = 4.759 cu yd
//	sod    (0.3048 + 0.3048) x 30.48 = 18.5806 m2 = 22.22 sq yd: 23
//	pipe   100 ft x 1.05 = 105 ft: 11 sticks of 10 ft
//	joints 10 between 11 sticks, 2 at the ends: 12
func TestHandSlopingTrench(t *testing.T) {
	p, s := one(t, []float64{0, 10, 30.48}, []float64{0.5, 0.5 + 0.5*10/30.48, 1})
	rows := quantities.Reckon(p, s)
	for _, w := range []struct {
		item       string
		net, order float64
		unit       string
	}{
		{"trench, to 24 in deep", 11.21, 12, "ft"},
		{"trench, 24 to 36 in deep", 60.96, 61, "ft"},
		{"trench, 36 to 48 in deep", 27.83, 28, "ft"},
		{"excavation, in the bank", 9.76, 10, "cu yd"},
		{"backfill with dug soil", 4.76, 5, "cu yd"},
		{"haul off, loose", 6.26, 6.5, "cu yd"},
		{"truckload", 0.63, 1, "load"},
		{"stone, washed open-graded", 3.41, 5, "short ton"},
		{"topsoil, loose", 1.54, 2, "cu yd"},
		{"sod, lifted and relaid or new", 22.22, 23, "sq yd"},
		{"solid pipe, 4 in, smooth wall", 100, 11, "stick"},
		{"joint made and sealed", 12, 12, "ea"},
		{"tie-in permit", 1, 1, "ea"},
		{"downspout adapter, 4 in", 1, 1, "ea"},
		{"cored hole with rubber boot, 4 in", 1, 1, "ea"},
	} {
		q := find(t, rows, w.item)
		if math.Abs(q.Net-w.net) > 0.006 || q.Order != w.order || q.OrderUnit != w.unit {
			t.Errorf("%s: net %v, order %v %s; want %v, %v %s", w.item, q.Net, q.Order, q.OrderUnit, w.net, w.order, w.unit)
		}
		if q.Basis == "" {
			t.Errorf("%s has no basis", w.item)
		}
	}
}

// A perforated trench 0.55355 m deep all along: stone from the bottom to the cap,
// 0.55355 - 0.1016 = 0.45195 high. Fabric along it 2 x 0.45195 + 2 x 0.3048 + 0.3048
// = 1.8183 m wide, 30.48 m: 55.4218 m2; end laps 2 x 0.3048 x (0.9039 + 0.6096) =
// 0.92263; together 56.3444 m2 = 67.388 sq yd, x 1.10 = 74.13: 75.
// Stone (0.45195 x 0.3048 - 0.0090088) x 30.48 = 3.92415 m3 = 5.1326 cu yd.
func TestHandPerforatedTrench(t *testing.T) {
	p, s := one(t, []float64{0, 30.48}, []float64{0.5, 0.5})
	p.Runs[0].Pipe = "perforated"
	rows := quantities.Reckon(p, s)
	if q := find(t, rows, "filter fabric"); math.Abs(q.Net-67.39) > 0.006 || q.Order != 75 {
		t.Errorf("fabric: net %v, order %v", q.Net, q.Order)
	}
	if q := find(t, rows, "stone, washed open-graded"); math.Abs(q.Net-5.13) > 0.006 {
		t.Errorf("stone: net %v", q.Net)
	}
	// A solid pipe laid beside it, in the same trench, is dug once but bought.
	beside := p.Runs[0]
	beside.ID, beside.Pipe = "R2", "solid"
	p.Runs = append(p.Runs, beside)
	p.Profiles = append(p.Profiles, parcels.Profile{Runs: []string{"R2"}, Rows: p.Profiles[0].Rows})
	rows = quantities.Reckon(p, s)
	if q := find(t, rows, "trench, to 24 in deep"); math.Abs(q.Net-100) > 0.006 {
		t.Errorf("a trench with two pipes: %v ft of digging, want 100", q.Net)
	}
	if q := find(t, rows, "stone, washed open-graded"); math.Abs(q.Net-(5.1326-0.0090088*30.48/0.764554857984)) > 0.006 {
		t.Errorf("stone net of two pipes: %v", q.Net)
	}
	if find(t, rows, "solid pipe, 4 in, smooth wall").Order != 11 || find(t, rows, "perforated pipe, 4 in, smooth wall").Order != 11 {
		t.Error("both pipes are bought")
	}
}

// Bank volume against the trapezoidal rule of a general library, over random
// grounds; the classes must hold the whole length.
func TestOracleBankVolume(t *testing.T) {
	rnd := rand.New(rand.NewPCG(7, 12))
	for k := 0; k < 200; k++ {
		n := 2 + rnd.IntN(30)
		x, g, d := make([]float64, n), make([]float64, n), make([]float64, n)
		for i := range x {
			if i > 0 {
				x[i] = x[i-1] + 0.05 + 3*rnd.Float64()
			}
			g[i] = 0.2 + 2*rnd.Float64()
			d[i] = (g[i] + 0.05355) * 0.3048
		}
		p, s := one(t, x, g)
		rows := quantities.Reckon(p, s)
		got, want := find(t, rows, "excavation, in the bank").Net*0.764554857984, integrate.Trapezoidal(x, d)
		if math.Abs(got-want) > 0.005 {
			t.Fatalf("case %d: bank %v m3, trapezoidal rule %v", k, got, want)
		}
		feet := 0.0
		for _, q := range rows {
			if strings.HasPrefix(q.Item, "trench, ") {
				feet += q.Net
			}
		}
		if math.Abs(feet-x[n-1]/0.3048) > 0.03 {
			t.Fatalf("case %d: classes hold %v ft of %v", k, feet, x[n-1]/0.3048)
		}
	}
}

func TestHandUnknownGroundIsTold(t *testing.T) {
	p, s := one(t, []float64{0, 10, 20}, []float64{0.5, 0.5, math.NaN()})
	q := find(t, quantities.Reckon(p, s), "trench, depth not known")
	if math.Abs(q.Net-10/0.3048) > 0.006 {
		t.Errorf("%v ft not known, want 32.81", q.Net)
	}
	if rows := quantities.Reckon(&parcels.Plan{}, s); len(rows) != 0 {
		t.Errorf("a plan without runs has %d rows", len(rows))
	}
}

// A line of 10 m through a square of paving from x = 2 to x = 5, and along an edge
// of another, which counts as in it.
func TestHandPaving(t *testing.T) {
	box := func(a, b, c, d float64) orb.Polygon { return orb.Polygon{{{a, b}, {c, b}, {c, d}, {a, d}, {a, b}}} }
	s := &parcels.Site{Obstacles: []parcels.Obstacle{{Kind: "paving", Geometry: box(2, -1, 5, 1)}, {Kind: "paving", Geometry: box(4, -1, 6, 1)}, {Kind: "pool", Geometry: box(7, -1, 9, 1)}}}
	if got := quantities.PavingOf(s).Along(orb.LineString{{0, 0}, {10, 0}}); math.Abs(float64(got)-4) > 1e-9 {
		t.Errorf("paved %v m, want 4", got)
	}
}

const book = `item,unit,unit_price,date,region,low,high
currency,USD,0,2026-03-01,here,,
overhead,%,10,2026-03-01,here,,
margin,%,20,2026-03-01,here,,
tax,%,5,2026-03-01,here,,
range,%,10,2026-03-01,here,,
"stone, washed open-graded",short ton,40,2026-03-01,here,30,60
"solid pipe, 4 in, smooth wall",stick,20,2026-01-15,here,,
`

// Direct: 5 t x 40 + 11 sticks x 20 = 420; low 5 x 30 + 11 x 18 = 348; high 5 x 60 +
// 11 x 22 = 542. Overhead 42; margin 20 % of 462 = 92.40; tax 5 % of 554.40 = 27.72;
// total 582.12.
func TestHandCost(t *testing.T) {
	b, err := quantities.ReadBook([]byte(book))
	if err != nil {
		t.Fatal(err)
	}
	p, s := one(t, []float64{0, 30.48}, []float64{0.5, 1})
	e := quantities.Cost(quantities.Reckon(p, s), b)
	near := func(a, b float64) bool { return math.Abs(a-b) < 0.005 }
	if !near(e.Direct.Likely, 420) || !near(e.Direct.Low, 348) || !near(e.Direct.High, 542) || !near(e.Overhead.Likely, 42) || !near(e.Margin.Likely, 92.4) || !near(e.Tax.Likely, 27.72) || !near(e.Total.Likely, 582.12) {
		t.Errorf("estimate %+v", e)
	}
	if e.Date != "2026-01-15" || e.Currency != "USD" {
		t.Errorf("oldest price %q, currency %q", e.Date, e.Currency)
	}
	if len(e.Unpriced) == 0 || !strings.Contains(strings.Join(e.Unpriced, ";"), "mobilisation") || strings.Contains(strings.Join(e.Unpriced, ";"), "truckload") {
		t.Errorf("not priced: %v", e.Unpriced)
	}
	x, err := grid.XLSX(quantities.Tables(e.Rows, &e)...)
	if err != nil {
		t.Fatal(err)
	}
	if y, _ := grid.XLSX(quantities.Tables(e.Rows, &e)...); !bytes.Equal(x, y) {
		t.Error("the same takeoff gives other bytes")
	}
	f, err := excelize.OpenReader(bytes.NewReader(x))
	if err != nil {
		t.Fatal(err)
	}
	if v, _ := f.GetCellValue("cost", "C6"); v != "582.12" {
		t.Errorf("total in the workbook: %q", v)
	}
}

func TestHandBookFaults(t *testing.T) {
	head := "item,unit,unit_price,date,region\n"
	for _, w := range []struct{ text, says string }{
		{"", "empty"},
		{"item,unit\n", "unit_price"},
		{head + "stone,ton,12 USD,2026-01-01,here\n", "without a currency sign"},
		{head + "stone,ton,-1,2026-01-01,here\n", "at least 0"},
		{head + "stone,ton,NaN,2026-01-01,here\n", "at least 0"},
		{head + "stone,ton,5,1/2/26,here\n", "YYYY-MM-DD"},
		{head + "stone,ton,5,2026-01-01,here\nStone,ton,6,2026-01-01,here\n", "twice"},
		{head + "overhead,USD,5,2026-01-01,here\n", "%"},
		{head + "stone,ton,,2026-01-01,here\n", "no unit_price"},
		{"PK\x03\x04rubbish", "cannot be read"},
	} {
		_, err := quantities.ReadBook([]byte(w.text))
		var in *parcels.InputError
		if !errors.As(err, &in) || !strings.Contains(err.Error(), w.says) && !strings.Contains(err.Error(), "not a workbook") {
			t.Errorf("%q: %v, want a fault that says %q", w.text, err, w.says)
		}
	}
}

// Cells that a spreadsheet would run stay text.
func TestHandCellsAreSafe(t *testing.T) {
	tb := grid.Table{Name: "x", Head: []string{"=a"}, Rows: [][]any{{"=1+1"}, {" @x"}, {"-\n2"}, {"plain"}}}
	b, err := tb.CSV()
	if err != nil {
		t.Fatal(err)
	}
	if got, want := string(b), "'=a\n'=1+1\n' @x\n'- 2\nplain\n"; got != want {
		t.Errorf("csv %q, want %q", got, want)
	}
	x, err := grid.XLSX(tb)
	if err != nil {
		t.Fatal(err)
	}
	f, _ := excelize.OpenReader(bytes.NewReader(x))
	if fx, _ := f.GetCellFormula("x", "A2"); fx != "" {
		t.Errorf("a formula %q in the workbook", fx)
	}
}

// The trench of TestHandSlopingTrench in SI: the same cubic metres. Depth passes
// 0.6 m at (0.6-0.55355)/0.5 = 0.0929 of 30.48 m: 2.832 m; 0.9 m 0.6 of it, 18.288 m,
// further; 9.360 m beyond.
// Stone 2.60819 x 1.6 = 4.1731 t, x 1.07 = 4.465: 4.5 ordered. 30.48 x 1.05 = 32.004
// m in sticks of 3.048 m: 10.5, so 11.
func TestHandMetricTakeoff(t *testing.T) {
	p, s := one(t, []float64{0, 10, 30.48}, []float64{0.5, 0.5 + 0.5*10/30.48, 1})
	rows := quantities.In(p, s, display.SI)
	for _, w := range []struct {
		item       string
		net, order float64
		unit       string
	}{
		{"trench, to 0.6 m deep", 2.83, 3, "m"},
		{"trench, 0.6 to 0.9 m deep", 18.29, 19, "m"},
		{"trench, 0.9 to 1.2 m deep", 9.36, 10, "m"},
		{"excavation, in the bank", 7.47, 7.5, "m³"},
		{"haul off, loose", 4.78, 5, "m³"},
		{"stone, washed open-graded", 2.61, 4.5, "t"},
		{"sod, lifted and relaid or new", 18.58, 19, "m²"},
		{"solid pipe, 4 in, smooth wall", 30.48, 11, "stick"},
	} {
		q := find(t, rows, w.item)
		if math.Abs(q.Net-w.net) > 0.006 || q.Order != w.order || q.OrderUnit != w.unit {
			t.Errorf("%s: net %v, order %v %s; want %v, %v %s", w.item, q.Net, q.Order, q.OrderUnit, w.net, w.order, w.unit)
		}
		for _, us := range []string{" ft", "inch", "yd", "short"} {
			if strings.Contains(q.Basis, us) {
				t.Errorf("%s: the basis is not in SI: %s", w.item, q.Basis)
			}
		}
	}
	b, err := quantities.ReadBook([]byte("item,unit,unit_price,date,region\n\"haul off, loose\",m3,30,2026-01-01,here\n"))
	if err != nil {
		t.Fatal(err)
	}
	if e := quantities.Cost(rows, b); e.Direct.Likely != 150 {
		t.Errorf("5 m3 at 30 cost %v", e.Direct.Likely)
	}
}

// A second reading by hand of the takeoff of lot C3 of the sample, as it was planned
// once (testdata; the plan may change, this one does not). Worked in a spreadsheet from
// the plan's profile rows alone: depth of a run is ground less invert, plus the wall of
// the pipe and 0.0508 m of bedding, mean over its length.
//
//	run  pipe  length m  width m  mean depth m  bank m3
//	R1   4 in    0.980   0.305       0.463      0.1383
//	R2   4 in    0.306   0.305       0.563      0.0525
//	R3   4 in    0.980   0.305       0.497      0.1484
//	R4   4 in   14.326   0.305       0.559      2.4422
//	R5   4 in    0.980   0.305       0.463      0.1384
//	R6   4 in    0.306   0.305       0.511      0.0477
//	R7   4 in    0.980   0.305       0.463      0.1384
//	R8   4 in   12.497   0.305       0.538      2.0503
//	R9   4 in    1.092   0.305       0.657      0.2187
//	R10  4 in   13.603   0.305       0.558      2.3157
//	R11  4 in    0.416   0.305       0.660      0.0837
//	R12  4 in   14.620   0.305       0.564      2.5159
//	R13  4 in    0.306   0.305       0.464      0.0433
//	R14  4 in    0.479   0.305       0.467      0.0682
//	R15  4 in    0.927   0.305       0.482      0.1363
//	R16  6 in    3.548   0.312       0.516      0.5710
//	R17  6 in    5.847   0.312       0.565      1.0311
//	R18  6 in    3.922   0.312       0.601      0.7351
//	sum         76.115                          12.8752 = 16.84 cu yd
//
// 4 in, 62.798 m: stone 0.0508 + 0.1071 + 0.1524 = 0.3103 high, x 0.305 less the pipe's
// 0.009009 is 0.08563 m2, 5.3776 m3; pipe 0.5657 m3. 6 in, 13.317 m: 0.3626 x 0.312 -
// 0.01996 = 0.09318 m2, 1.2408 m3; pipe 0.2657 m3. Together stone 6.618 m3 = 8.66 cu yd =
// 11.673 short tons, x 1.07 = 12.49: 12.5 ordered. Cap 0.1016 x width:
// 2.368 m3 = 3.10 cu yd. Back 12.875 - 6.618 - 0.831 - 2.368 = 3.057 m3 = 4.00 cu yd;
// away 12.84 cu yd x 1.25 = 16.05 loose: 16.5; 12.27 m3 / 7.65: two loads.
// Pipe along the slope: 4 in 206.55 ft x 1.05 / 10 = 21.7, 22 sticks; 6 in 43.70 ft, 4.6,
// 5 sticks. Sod 55.62 sq yd: 56. Joints: 36 ends, 22 - 15 + 5 - 3 = 9 between sticks: 45.
func TestHandTakeoffOfC3(t *testing.T) {
	s, err := document.Read(sampledata.StatePlane(), document.Options{})
	if err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile("testdata/c3.plan.json")
	if err != nil {
		t.Fatal(err)
	}
	p, err := document.ReadPlan(b, s.Frame)
	if err != nil {
		t.Fatal(err)
	}
	rows := quantities.Reckon(p, s)
	for _, w := range []struct {
		item       string
		net, order float64
		unit       string
	}{
		{"tie-in permit", 1, 1, "ea"}, // I1
		{"permission to dig", 1, 1, "ea"},
		{"layout and stakes", 249.72, 250, "ft"},
		{"trench, to 24 in deep", 200.79, 201, "ft"},
		{"trench, 24 to 36 in deep", 48.93, 49, "ft"},
		{"excavation, in the bank", 16.84, 17, "cu yd"},
		{"backfill with dug soil", 4.00, 4, "cu yd"},
		{"haul off, loose", 16.05, 16.5, "cu yd"},
		{"truckload", 1.60, 2, "load"},
		{"stone, washed open-graded", 8.66, 12.5, "short ton"},
		{"topsoil, loose", 3.87, 4, "cu yd"},
		{"sod, lifted and relaid or new", 55.62, 56, "sq yd"},
		{"solid pipe, 4 in, smooth wall", 206.55, 22, "stick"},
		{"solid pipe, 6 in, smooth wall", 43.70, 5, "stick"},
		{"joint made and sealed", 45, 45, "ea"},
		{"downspout adapter, 4 in", 4, 4, "ea"},
		{"basin with grate", 1, 1, "ea"},
		{"wye 45, 4 in", 3, 3, "ea"},
	} {
		q := find(t, rows, w.item)
		if math.Abs(q.Net-w.net) > 0.011 || q.Order != w.order || q.OrderUnit != w.unit {
			t.Errorf("%s: net %v, order %v %s; by hand %v, %v %s", w.item, q.Net, q.Order, q.OrderUnit, w.net, w.order, w.unit)
		}
	}
	// and the bank volume as the areas of the long sections, by a general library
	var bank float64
	for i := range p.Runs {
		r := &p.Runs[i]
		rows := p.Rows(r.ID)
		var top, under orb.Ring
		for _, x := range rows {
			bottom := float64(x.Invert) - (r.OutsideDiameter-r.Diameter)/2000 - 0.0508
			top = append(top, orb.Point{float64(x.Station), float64(*x.Ground)})
			under = append(under, orb.Point{float64(x.Station), bottom})
		}
		slices.Reverse(under)
		ring := append(append(top, under...), top[0])
		for _, tr := range p.Trenches {
			if tr.ID == r.Trench {
				bank += math.Abs(planar.Area(ring)) * float64(tr.Width)
			}
		}
	}
	if got := find(t, rows, "excavation, in the bank").Net; math.Abs(got-bank/0.764554857984) > 0.006 {
		t.Errorf("bank %v cu yd, by areas %v", got, bank/0.764554857984)
	}
}
