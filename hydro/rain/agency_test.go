package rain

import (
	"math"
	"os"
	"strings"
	"testing"

	"fallwright/hydro"
	"fallwright/hydro/internal/published"
	"fallwright/hydro/source"
)

func TestPublishedAgencyFiles(t *testing.T) {
	for _, c := range []struct {
		file string
		d    hydro.Duration
		r    hydro.ReturnPeriod
		in   float64
	}{
		{"champaign_il_depth_in_pds.csv", 5, 10, 0.647},
		{"champaign_il_depth_in_pds.csv", 60, 100, 3.19},
		{"champaign_il_depth_in_pds.csv", 120, 2, 1.81},
		{"champaign_il_depth_in_pds.csv", 1440, 25, 5.19},
		{"champaign_il_depth_in_pds.csv", 86400, 1000, 27.5},
		{"pulaski_va_depth_in_pds.csv", 5, 1, 0.279},
		{"pulaski_va_depth_in_pds.csv", 15, 10, 0.914},
	} {
		data, err := os.ReadFile("testdata/" + c.file)
		if err != nil {
			t.Fatal(err)
		}
		tab, err := Parse(data)
		if err != nil {
			t.Fatal(c.file, err)
		}
		if len(tab.Durations) != 19 || len(tab.Returns) != 10 || tab.Series != Partial || !strings.Contains(tab.Place, "USA") {
			t.Errorf("%s: %d durations, %d return periods, %s, %q", c.file, len(tab.Durations), len(tab.Returns), tab.Series, tab.Place)
		}
		got, notes, err := tab.Depth(c.d, c.r)
		if err != nil || len(notes) > 0 {
			t.Fatal(err, notes)
		}
		published.Check(t, published.Value{What: c.file, Src: source.NOAA14, Loc: "volume 2 version 3", Got: got.Inches(), Want: c.in, Tol: 1e-9})
	}
}

const head = "Data type: Precipitation intensity\nTime series type: Annual maximum\nPRECIPITATION FREQUENCY ESTIMATES (mm/h)\nby duration for AEP:, 1/2,1/5,1/10\n"

func TestHandAgencyForms(t *testing.T) {
	tab := must(Parse([]byte(head + "5-min:, 120,150,180\n1-hr:, 30,40,50\n\nby duration for AEP, lower limit:, 1/2,1/5,1/10\n5-min:, 1,1,1\n")))
	// 120 mm/h for 5 min is 10 mm; 1 in 2 a year is an average recurrence of 1/ln 2.
	d, _, err := tab.Depth(5, hydro.ReturnPeriod(1/math.Ln2))
	if err != nil || math.Abs(float64(d)-10) > 1e-9 || tab.Series != Annual {
		t.Errorf("%g, %v, %s", d, err, tab.Series)
	}
	for name, text := range map[string]string{
		"empty":           "",
		"no unit":         "by duration for ARI (years):, 1,2\n5-min:, 1,2\n",
		"no head":         "inches\n5-min:, 1,2\n",
		"short row":       "inches\nARI (years):, 1,2\n5-min:, 1\n",
		"word for number": "inches\nARI (years):, 1,2\n5-min:, 1,x\n",
		"NaN":             "inches\nARI (years):, 1,2\n5-min:, 1,NaN\n",
		"falling":         "inches\nARI (years):, 1,2\n5-min:, 2,1\n",
		"no rows":         "inches\nARI (years):, 1,2\n",
		"zero years":      "inches\nARI (years):, 0,2\n5-min:, 2,1\n",
	} {
		if tab, err := Parse([]byte(text)); err == nil {
			t.Errorf("%s: accepted %+v", name, tab)
		} else if !strings.HasPrefix(err.Error(), "rain:") && !strings.HasPrefix(err.Error(), "hydro:") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func FuzzParse(f *testing.F) {
	f.Add([]byte(head + "5-min:, 120,150,180\n"))
	f.Add([]byte("inches\nARI (years):, 1,2\n5-min:, 1,2\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		tab, err := Parse(b)
		if err == nil {
			if i, _, err := tab.Intensity(7, 10); err != nil || !(i >= 0) {
				t.Errorf("parsed but cannot be asked: %v %v", i, err)
			}
		}
	})
}

// The heaviest stretch of every duration in the storm is the table's own or a
// little more, and the whole storm holds the table's depth.
func TestPropertyAlternatingBlock(t *testing.T) {
	tab := fortMyers()
	s := must(AlternatingBlock(tab, 10, 120, 5))
	for k := 1; k <= len(s.Rates); k++ {
		most := 0.0
		for i := 0; i+k <= len(s.Rates); i++ {
			sum := 0.0
			for _, r := range s.Rates[i : i+k] {
				sum += float64(r) * s.Step.Hours()
			}
			most = math.Max(most, sum)
		}
		want, _, _ := tab.Depth(hydro.Duration(k)*5, 10)
		// The table's own increments rise at 15 min, so 5 % too heavy is allowed there.
		if over := most/float64(want) - 1; over < -1e-9 || over > 0.05 || k == len(s.Rates) && over > 1e-9 {
			t.Errorf("heaviest %d min: %.4f mm, table %.4f", 5*k, most, want)
		}
	}
	u := must(Uniform(tab, 10, 60, 5))
	want, _, _ := tab.Depth(60, 10)
	if math.Abs(float64(u.Depth()-want)) > 1e-9 || u.Rates[0] != u.Rates[11] {
		t.Errorf("uniform: %g mm, want %g", u.Depth(), want)
	}
	s = must(AlternatingBlock(tab, 10, 120, 1))
	if !has(s.Notes, NoteDurationBelow) {
		t.Error("blocks of one minute are below the table and nothing says so")
	}
	for name, err := range map[string]error{
		"step over total": func() error { _, e := Uniform(tab, 10, 5, 10); return e }(),
		"odd step":        func() error { _, e := Uniform(tab, 10, 60, 7); return e }(),
		"no rain":         func() error { _, e := AlternatingBlock(nil, 10, 60, 5); return e }(),
	} {
		if err == nil {
			t.Errorf("%s: accepted", name)
		}
	}
}

// A fault in a file of Windows line ends is told with its line as an editor counts.
func TestHandLineOfFault(t *testing.T) {
	lines := []string{"depth in inches", "ARI (years):, 2, 10", "5-min:, 0.4, 0.6", "10-min:, 0.6"}
	for _, end := range []string{"\n", "\r\n", "\r"} {
		if _, err := Parse([]byte(strings.Join(lines, end))); err == nil || !strings.Contains(err.Error(), "line 4:") {
			t.Errorf("%q: %v", end, err)
		}
	}
}
