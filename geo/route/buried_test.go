package route

import (
	"math"
	"testing"

	"github.com/paulmach/orb"
)

// TestHandBuried: a gas line runs aslant through a yard, from (10, 0) to (30, 20),
// and a drain of 28 m from (6, 10) to (34, 10) crosses it at 45 degrees.
func TestHandBuried(t *testing.T) {
	p := &Problem{Zone: orb.MultiPolygon{{rect(0, 0, 40, 20)}}, Rules: DefaultRules(), Prices: Prices{Metre: 1, Bend: 0.1, Join: 0.8, TieIn: 12},
		Sources: []Source{{ID: "a", At: orb.Point{6, 10}}}, Targets: []Target{{ID: "t", At: orb.Point{34, 10}}},
		Buried: []Buried{{Name: "gas", Line: orb.LineString{{10, 0}, {30, 20}}, LeastAngle: 45 * Degree, Aslant: math.Inf(1)}}}
	near(t, "at 45 degrees", float64(solved(t, p).Length), 28, 1e-9)
	// priced at 0.2, less than two bends with what they add in length: it is paid
	p.Buried[0].LeastAngle, p.Buried[0].Aslant = 60*Degree, 0.2
	near(t, "priced", solved(t, p).Cost, 28+12+0.2, 1e-9)
	// forbidden under 60 degrees: a way with bends that crosses at 60 or more
	p.Buried[0].Aslant = math.Inf(1)
	tr := solved(t, p)
	met := 0
	for i := range tr.Runs {
		l := tr.Line(i)
		if touches(l[0], l[1], orb.Point{10, 0}, orb.Point{30, 20}) {
			met++
			d := sub(l[1], l[0])
			if a := math.Asin(math.Abs(cross(d, orb.Point{1, 1})) / math.Hypot(d[0], d[1]) / math.Sqrt2); a < 60*math.Pi/180-1e-6 {
				t.Errorf("crosses at %.2f degrees", a*180/math.Pi)
			}
		}
	}
	if met == 0 || tr.Length <= 28 {
		t.Errorf("%d crossings, %.3f m", met, tr.Length)
	}
	// the tree of the loose rule breaks the strict one, and Check says so
	loose := *p
	loose.Buried = nil
	if bad := Check(p, solved(t, &loose)); len(bad) != 1 {
		t.Errorf("%v", bad)
	}
	p.Buried[0].Aslant = -1
	if _, err := Solve(p); err == nil {
		t.Error("a negative price of a crossing is taken")
	}
}
