package mapclient_test

// What people read on the page is what they read on the service's papers.

import (
	"encoding/base64"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/parcels/display"
)

// TestOracleUnits: the page's own file of units, run by the browser, against the
// papers' for quantities of every size, and for sentences with such in them.
func TestOracleUnits(t *testing.T) {
	// the bundler makes a script of ../source/main.ts: here of that file alone
	dir := t.TempDir()
	for from, to := range map[string]string{"bundle/main.go": "bundle/main.go", "bundle/go.mod": "bundle/go.mod", "bundle/go.sum": "bundle/go.sum", "source/units.ts": "source/main.ts"} {
		text, err := os.ReadFile(from)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.MkdirAll(filepath.Join(dir, filepath.Dir(to)), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, to), text, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	made := filepath.Join(dir, "units.js")
	cmd := exec.Command("go", "run", ".", made)
	cmd.Dir = filepath.Join(dir, "bundle")
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	script, err := os.ReadFile(made)
	if err != nil {
		t.Fatal(err)
	}
	r := rand.New(rand.NewPCG(7, 7))
	values := []float64{0, -0.0004, 0.004, 3.048}
	var sentences []string
	for range 400 {
		v := (r.Float64() - 0.2) * []float64{0.01, 1, 30, 4000}[r.IntN(4)]
		values = append(values, v)
		sentences = append(sentences, fmt.Sprintf("R%d-1 falls %.*f %s in 10 minutes, over %.3f m (4 ft), roof_area_m2.", r.IntN(40), r.IntN(4), v, []string{"m", "mm", "m2", "m3", "m/s", "m3/s", "l/s", "mm/h", "litres", "%", "min", "m/m"}[r.IntN(12)], v))
	}
	b := openBrowser(t)
	b.page(t, 300, 300, false)
	in, _ := json.Marshal(map[string]any{"values": values, "sentences": sentences})
	for _, system := range []display.Units{display.US, display.SI} {
		name := map[display.Units]string{display.US: "us", display.SI: "si"}[system]
		var got struct {
			Quantities [][]string
			Sentences  []string
		}
		b.eval(fmt.Sprintf(`import('data:text/javascript;base64,%s').then(u => { const i = %s; u.setUnits(%q); return {
			quantities: i.values.map(v => [u.length(v), u.depth(v), u.slope(v), u.flow(v), u.velocity(v), u.area(v), u.volume(v), u.water(v)]), sentences: i.sentences.map(s => u.text(s)) }; })`, base64.StdEncoding.EncodeToString(script), in, name), &got)
		if len(got.Quantities) != len(values) || len(got.Sentences) != len(sentences) {
			t.Fatalf("%d and %d answers", len(got.Quantities), len(got.Sentences))
		}
		for i, v := range values {
			want := []string{system.Distance(unit.Length(v)), system.Length(unit.Length(v)), system.Slope(unit.Slope(v)), system.Flow(hydro.Flow(v)), system.Velocity(hydro.Velocity(v)), system.Area(unit.Area(v)), system.Volume(v), system.Water(hydro.Volume(v))}
			for k, w := range want {
				if got.Quantities[i][k] != w {
					t.Errorf("%s: %g is %q on the page, %q on paper", name, v, got.Quantities[i][k], w)
				}
			}
		}
		for i, s := range sentences {
			if want := system.Text(s); got.Sentences[i] != want {
				t.Errorf("%s: %q is %q on the page, %q on paper", name, s, got.Sentences[i], want)
			}
		}
	}
}
