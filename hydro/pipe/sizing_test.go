package pipe

import (
	"testing"

	"fallwright/hydro"
)

func stock() []Stock {
	return []Stock{
		{"4 in", "smooth", Pipe{4 * inch, 0.012}},
		{"6 in", "smooth", Pipe{6 * inch, 0.012}},
		{"4 in", "corrugated", Pipe{4 * inch, 0.016}},
		{"6 in", "corrugated", Pipe{6 * inch, 0.016}},
	}
}

// Hand: at 1 % full flows are 93, 273 gpm smooth and 69, 205 corrugated. 150 gpm
// goes in one 6 in of either wall, or in two 4 in smooth (186), not in two 4 in
// corrugated (139).
func TestHandTable(t *testing.T) {
	rows, err := Table(stock(), hydro.FlowGPM(150), 0.01, Rule{Most: 2})
	if err != nil {
		t.Fatal(err)
	}
	var carry []string
	for _, r := range rows {
		if r.Carries {
			carry = append(carry, r.Size+" "+r.Wall+" x"+string(rune('0'+r.Count)))
		} else if len(r.Notes) == 0 || r.Notes[0].Code != NoteTooSmall {
			t.Errorf("%s %s does not say why it fails", r.Size, r.Wall)
		}
	}
	want := []string{"6 in smooth x1", "6 in corrugated x1", "4 in smooth x2", "6 in smooth x2", "6 in corrugated x2"}
	if len(carry) != len(want) || len(rows) != 8 {
		t.Fatalf("got %v of %d rows, want %v", carry, len(rows), want)
	}
	for i := range want {
		if carry[i] != want[i] {
			t.Errorf("row %d: %s, want %s", i, carry[i], want[i])
		}
	}
	if c, ok := Best(rows); !ok || c.Size != "6 in" || c.Count != 1 {
		t.Errorf("best: %+v", c)
	}
}

// A pipe that carries the flow but lies dirty at its low flow is passed over for
// one that cleans itself.
func TestPropertyBestCleans(t *testing.T) {
	v, low := hydro.Velocity(0.6), hydro.FlowGPM(20)
	rows, err := Table(stock(), hydro.FlowGPM(60), 0.01, Rule{Most: 1, LeastVelocity: &v, LowFlow: &low})
	if err != nil {
		t.Fatal(err)
	}
	c, ok := Best(rows)
	if !ok {
		t.Fatal("none")
	}
	any := false
	for _, r := range rows {
		any = any || r.Carries && r.Cleans
		if r.Carries && r.Cleans && (c.Diameter > r.Diameter || !c.Cleans) {
			t.Errorf("%s %s would do, got %+v", r.Size, r.Wall, c)
		}
		if !r.Cleans && len(r.Notes) == 0 {
			t.Errorf("%s does not say why it lies dirty", r.Size)
		}
	}
	if any && !c.Cleans {
		t.Error("a clean pipe was passed over")
	}
	if _, err := Table(nil, 0.001, 0.01, Rule{Most: 1}); err == nil {
		t.Error("an empty stock was accepted")
	}
	if _, err := Table(stock(), 0.001, 0, Rule{Most: 1}); err == nil {
		t.Error("a level pipe was accepted")
	}
	rows, err = Table(stock(), 10, 0.01, Rule{Most: 2})
	if err != nil || len(rows) != 8 {
		t.Fatal(err)
	}
	if _, ok := Best(rows); ok {
		t.Error("10 m3/s found a pipe")
	}
}

// Smallest agrees with the first row of the whole table that carries the flow.
func TestOracleSmallest(t *testing.T) {
	for gpm := 1.0; gpm < 700; gpm += 7 {
		rows, err := Table(stock(), hydro.FlowGPM(gpm), 0.01, Rule{Most: 2})
		if err != nil {
			t.Fatal(err)
		}
		st, n, ok, err := Smallest(stock(), hydro.FlowGPM(gpm), 0.01, 2)
		if err != nil || ok != rows[0].Carries || ok && (st != rows[0].Stock || n != rows[0].Count) {
			t.Errorf("%g gpm: %v x%d, %v; table %+v", gpm, st, n, err, rows[0])
		}
	}
	if _, _, _, err := Smallest(nil, 1, 0.01, 1); err == nil {
		t.Error("an empty stock was accepted")
	}
}
