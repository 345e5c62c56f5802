package pipe

// Plumbing-code tables, as data keyed by code and edition: two editions disagree by
// half on the same pipe, and neither follows one Manning n, so they are not
// recomputed.

import (
	"fmt"
	"strings"

	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/hydro/source"
)

// CodeTable is the horizontal storm-drain table of one code and edition.
type CodeTable struct {
	Code, Edition, Table string
	Slopes               []unit.Slope // of the columns, rising
	Rows                 []CodeRow
	Source               string
}

// CodeRow is one size: gallons a minute by slope, and where the code prints it the
// area in square feet that it drains at 1 in/h.
type CodeRow struct {
	Inches float64
	GPM    []float64
	Area   []float64
}

const (
	sixteenth = unit.Slope(1.0 / 192) // 1/16 in a foot
	eighth    = unit.Slope(1.0 / 96)
	quarter   = unit.Slope(1.0 / 48)
	half      = unit.Slope(1.0 / 24)
)

// CodeTables returns the tables. IPC 2012 prints areas from the same table as the
// UPC (its 4 in row was read; the rest stands on the UPC's, from memory). IPC 2021
// repeats 2018 (its 4 in value was read).
func CodeTables() []CodeTable {
	ipc := []CodeRow{
		{2, []float64{15, 22, 31, 44}, nil}, {3, []float64{39, 55, 79, 111}, nil}, {4, []float64{81, 115, 163, 231}, nil},
		{5, []float64{117, 165, 234, 331}, nil}, {6, []float64{243, 344, 487, 689}, nil}, {8, []float64{505, 714, 1010, 1429}, nil},
		{10, []float64{927, 1311, 1855, 2623}, nil}, {12, []float64{1480, 2093, 2960, 4187}, nil}, {15, []float64{2508, 3546, 5016, 7093}, nil},
	}
	upc := []CodeRow{
		{3, []float64{34, 48, 68}, []float64{3288, 4640, 6576}}, {4, []float64{78, 110, 156}, []float64{7520, 10600, 15040}},
		{5, []float64{139, 196, 278}, []float64{13360, 18880, 26720}}, {6, []float64{222, 314, 445}, []float64{21400, 30200, 42800}},
		{8, []float64{478, 677, 956}, []float64{46000, 65200, 92000}}, {10, []float64{860, 1214, 1721}, []float64{82800, 116800, 165600}},
		{12, []float64{1384, 1953, 2768}, []float64{133200, 188000, 266400}},
	}
	four, three := []unit.Slope{sixteenth, eighth, quarter, half}, []unit.Slope{eighth, quarter, half}
	return []CodeTable{
		{"IPC", "2012", "1106.3", three, upc, source.IPC2012},
		{"IPC", "2018", "1106.2", four, ipc, source.IPC2018},
		{"IPC", "2021", "1106.2", four, ipc, source.IPC2021},
		{"UPC", "appendix D", "horizontal storm drains", three, upc, source.UPC},
	}
}

// CodeCapacity returns what a code's table allows a horizontal drain of a nominal
// size at a slope: the column of the slope or the next flatter one, never
// interpolated. A code, edition, size or slope that the table lacks is an error
// that names what it has.
func CodeCapacity(code, edition string, inches float64, s unit.Slope) (hydro.Flow, error) {
	var editions []string
	for _, t := range CodeTables() {
		editions = append(editions, t.Code+" "+t.Edition)
		if t.Code != code || t.Edition != edition {
			continue
		}
		column := -1
		for i, c := range t.Slopes {
			if s >= c*(1-1e-9) {
				column = i
			}
		}
		if err := hydro.Check("slope for the code's table", float64(s), float64(t.Slopes[0])*(1-1e-9), 10, "m/m", t.Source); err != nil {
			return 0, err
		}
		var sizes []string
		for _, r := range t.Rows {
			if r.Inches == inches {
				return hydro.FlowGPM(r.GPM[column]), nil
			}
			sizes = append(sizes, fmt.Sprintf("%g", r.Inches))
		}
		return 0, fmt.Errorf("pipe: %s %s has no %g in drain; it has %s in", code, edition, inches, strings.Join(sizes, ", "))
	}
	return 0, fmt.Errorf("pipe: no table of %s %s; there are %s", code, edition, strings.Join(editions, ", "))
}

// CodeArea returns the area that a drain of given flow carries at a rainfall rate:
// A = q/i, which is the code's area at 1 in/h divided by the rate.
func CodeArea(q hydro.Flow, i hydro.Intensity) (unit.Area, error) {
	if err := hydro.Check("flow", float64(q), 0, 1e4, "m3/s", ""); err != nil {
		return 0, err
	}
	if err := hydro.Check("rainfall rate", float64(i), hydro.Positive, 2000, "mm/h", ""); err != nil {
		return 0, err
	}
	return unit.Area(float64(q) * 3.6e6 / float64(i)), nil
}

// CodeLeastSlope returns the least slope of a horizontal drain inside a building:
// 1/4 in a foot to 2.5 in, 1/8 from 3 to 6 in, 1/16 from 8 in. Sizes between are
// held to the steeper. A yard line may follow local rules. Source: Chicago,
// 18-29-704.1, the same as IPC 704.1.
func CodeLeastSlope(inches float64) (unit.Slope, error) {
	if err := hydro.Check("nominal size", inches, 0.5, 100, "in", source.Chicago); err != nil {
		return 0, err
	}
	switch {
	case inches < 3:
		return quarter, nil
	case inches < 8:
		return eighth, nil
	}
	return sixteenth, nil
}

// CodeLeaders returns gallons a minute of vertical leaders by nominal inches of
// IPC 2018, table 1106.2. Source: IPC2018.
func CodeLeaders() map[float64]float64 {
	return map[float64]float64{2: 34, 3: 87, 4: 180, 5: 311, 6: 538, 8: 1117, 10: 2050, 12: 3272, 15: 5543}
}
