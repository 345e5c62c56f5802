package pipe

import (
	"fmt"
	"math"
	"testing"

	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/hydro/internal/published"
	"fallwright/hydro/source"
)

const squareFoot = unit.Area(0.3048 * 0.3048)

// pc-ipc-1106.2 (horizontal columns; the vertical one is not in this table): every
// cell read, and columns scale as the root of the slope within 3 %.
func TestPublishedIPC2018(t *testing.T) {
	want := map[float64][]float64{
		2: {15, 22, 31, 44}, 3: {39, 55, 79, 111}, 4: {81, 115, 163, 231}, 5: {117, 165, 234, 331}, 6: {243, 344, 487, 689},
		8: {505, 714, 1010, 1429}, 10: {927, 1311, 1855, 2623}, 12: {1480, 2093, 2960, 4187}, 15: {2508, 3546, 5016, 7093},
	}
	for in, gpm := range want {
		for i, s := range []unit.Slope{1.0 / 192, 1.0 / 96, 1.0 / 48, 1.0 / 24} {
			published.Check(t, published.Value{What: fmt.Sprintf("%g in, slope %d", in, i), Src: source.IPC2018, Loc: "table 1106.2",
				Got: must(CodeCapacity("IPC", "2018", in, s)).GPM(), Want: gpm[i], Tol: 1e-9})
		}
		if r := gpm[3] / gpm[1]; math.Abs(r-2) > 0.06 {
			t.Errorf("%g in: half over eighth %.3f", in, r)
		}
		// No single n: print for 1/8 in implies 0.008 to 0.0125.
		n := full(float64(unit.Length(in)*inch), 1, 1.0/96) / float64(hydro.FlowGPM(gpm[1]))
		if n < 0.008 || n > 0.0126 {
			t.Errorf("%g in: implied n %.5f", in, n)
		}
	}
}

// The vertical leader column of pc-ipc-1106.2.
func TestPublishedIPCLeaders(t *testing.T) {
	want := map[float64]float64{2: 34, 3: 87, 4: 180, 5: 311, 6: 538, 8: 1117, 10: 2050, 12: 3272, 15: 5543}
	got := CodeLeaders()
	if len(got) != len(want) {
		t.Errorf("%d leaders, want %d", len(got), len(want))
	}
	for in, gpm := range want {
		if got[in] != gpm {
			t.Errorf("%g in: %g gpm, want %g (%s)", in, got[in], gpm, source.IPC2018)
		}
	}
}

// pc-upc-horizontal: from memory but for the 6 in row; printed gpm are rounded.
func TestPublishedUPC(t *testing.T) {
	area := map[float64][]float64{
		3: {3288, 4640, 6576}, 4: {7520, 10600, 15040}, 5: {13360, 18880, 26720}, 6: {21400, 30200, 42800},
		8: {46000, 65200, 92000}, 10: {82800, 116800, 165600}, 12: {133200, 188000, 266400},
	}
	gpm := map[float64][]float64{
		3: {34, 48, 68}, 4: {78, 110, 156}, 5: {139, 196, 278}, 6: {222, 314, 445}, 8: {478, 677, 956}, 10: {860, 1214, 1721}, 12: {1384, 1953, 2768},
	}
	for _, row := range CodeTables()[3].Rows {
		for i := range row.GPM {
			loc := fmt.Sprintf("horizontal drains, %g in, from memory but 6 in at 1/8", row.Inches)
			published.Check(t,
				published.Value{What: "gpm", Src: source.UPC, Loc: loc, Got: row.GPM[i], Want: gpm[row.Inches][i], Tol: 1e-9},
				published.Value{What: "area at 1 in/h", Src: source.UPC, Loc: loc, Got: row.Area[i], Want: area[row.Inches][i], Tol: 1e-9},
				published.Value{What: "gpm from the area", Src: source.UPC, Loc: loc, Got: row.Area[i] * 0.01038961, Want: row.GPM[i], Rel: 0.015})
		}
		if math.Abs(row.Area[2]/row.Area[0]-2) > 1e-9 {
			t.Errorf("%g in: half is not twice eighth", row.Inches)
		}
	}
}

// pc-upc-appD-ex
func TestPublishedUPCExample(t *testing.T) {
	row := CodeTables()[3].Rows[3]
	published.Check(t, published.Value{What: "6 in at 1/8, 3.2 in/h", Src: source.UPC, Loc: "appendix D, D 3", Got: row.Area[0] / 3.2, Want: 6688, Tol: 1})
}

// pc-ipc-2012-vs-2021: the same pipe, 47 % more in the later edition.
func TestPublishedEditions(t *testing.T) {
	old := must(CodeCapacity("IPC", "2012", 4, 1.0/96))
	late := must(CodeCapacity("IPC", "2021", 4, 1.0/96))
	area12 := CodeTables()[0].Rows[1].Area[0] / 3
	published.Check(t,
		published.Value{What: "2012 area", Src: source.IPC2012, Loc: "table 1106.3, 4 in at 1/8, 3 in/h", Got: area12, Want: 2506, Tol: 1},
		published.Value{What: "2012 gpm", Src: source.IPC2012, Loc: "2506 ft2 at 3 in/h", Got: area12 * 3 * 0.01038961, Want: 78.2, Tol: 0.1},
		published.Value{What: "2021 gpm", Src: source.IPC2021, Loc: "table 1106.2, 4 in at 1/8", Got: late.GPM(), Want: 115, Tol: 0.1},
		published.Value{What: "2021 area", Src: source.IPC2021, Loc: "115 gpm at 3 in/h", Got: float64(must(CodeArea(late, 3*25.4)) / squareFoot), Want: 3686, Tol: 5})
	if r := late / old; r < 1.46 || r > 1.48 {
		t.Errorf("later over earlier: %.3f", r)
	}
}

// pc-0104
func TestPublishedGallons(t *testing.T) {
	q := hydro.Flow(25.4 / 3.6e6 * float64(squareFoot))
	published.Check(t,
		published.Value{What: "gpm a square foot", Src: source.NSPC2015, Loc: "appendix A.1", Got: q.GPM(), Want: 0.0104, Tol: 0.00002},
		published.Value{What: "back to the area", Src: source.NSPC2015, Loc: "appendix A.1", Got: float64(must(CodeArea(q, 25.4)) / squareFoot), Want: 1, Tol: 1e-9})
}

// pc-min-slope
func TestPublishedLeastCodeSlopes(t *testing.T) {
	for i, in := range []float64{2, 2.5, 3, 4, 6, 8, 12} {
		published.Check(t, published.Value{What: fmt.Sprintf("%g in", in), Src: source.Chicago, Loc: "18-29-704.1", Got: float64(must(CodeLeastSlope(in))),
			Want: []float64{0.020833, 0.020833, 0.010417, 0.010417, 0.010417, 0.0052083, 0.0052083}[i], Tol: 1e-5})
	}
}

func TestCodeLacks(t *testing.T) {
	for name, err := range map[string]error{
		"edition": errOf(CodeCapacity("IPC", "1812", 4, 0.01)), "size": errOf(CodeCapacity("IPC", "2018", 7, 1.0/96)),
		"slope": errOf(CodeCapacity("IPC", "2018", 4, 0.001)), "rain": errOf(CodeArea(1, 0)), "nominal": errOf(CodeLeastSlope(0)),
	} {
		if err == nil {
			t.Errorf("%s: accepted", name)
		}
	}
	// A slope between two columns takes the flatter.
	if q := must(CodeCapacity("IPC", "2018", 4, 0.015)); math.Abs(q.GPM()-115) > 1e-9 {
		t.Errorf("1.5 %%: %.1f gpm", q.GPM())
	}
}

// Every line of the sheet works out again, part full and surcharged.
func TestPropertySheet(t *testing.T) {
	for _, gpm := range []float64{0, 1, 30, 60, 90, 140} {
		s, err := Pipe{4 * inch, 0.012}.Sheet(hydro.FlowGPM(gpm), 0.01)
		if err != nil {
			t.Fatal(err)
		}
		if err := s.Check(); err != nil {
			t.Errorf("%g gpm: %v", gpm, err)
		}
		for _, b := range []Barrels{{{4 * inch, 0.012}}, Alike(2, Pipe{4 * inch, 0.012}), {{4 * inch, 0.012}, {6 * inch, 0.016}}} {
			s, err := b.Sheet(hydro.FlowGPM(gpm), 0.01)
			if err != nil {
				t.Fatal(err)
			}
			if err := s.Check(); err != nil {
				t.Errorf("%d pipes, %g gpm: %v", len(b), gpm, err)
			}
		}
	}
}
