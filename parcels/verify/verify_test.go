package verify

import (
	"math"
	"math/rand/v2"
	"strconv"
	"testing"
)

// A right plan passes, in each kind of plane.
func TestHandGoodPlans(t *testing.T) {
	for name, make := range map[string]func(*testing.T) *fixture{"feet": feet, "degrees": degrees, "metres": metres} {
		t.Run(name, func(t *testing.T) {
			v := make(t).verify()
			if !v.Passed {
				_, d := failed(v)
				t.Fatalf("refused:\n%s", d)
			}
		})
	}
}

// A breakline through shots whose numbers are rounded otherwise, by a tenth of a
// millimetre, is a breakline through these shots: the ground is the same as with
// the shots' own numbers.
func TestHandBreaklineBesideShots(t *testing.T) {
	rough := func(x, y float64) float64 { return 100 + math.Sin(x*0.9+y*0.4) + math.Cos(y*1.3) }
	with := func(off float64) *surface {
		s := &site{}
		for x := 0.0; x <= 30; x += 3 {
			for y := 0.0; y <= 30; y += 3 {
				s.shots = append(s.shots, shot{pt{x: x + math.Sin(y), y: y}, rough(x, y)})
			}
		}
		n := len(s.shots)
		for k := 0; k < n-11; k += 11 { // aslant through the shots
			a, b := s.shots[k+k/11], s.shots[k+12+k/11]
			a.x, a.y, b.x, b.y = a.x+off, a.y-off, b.x+off, b.y+off
			s.shots = append(s.shots, a, b)
			s.breaks = append(s.breaks, edge{a.pt, b.pt})
		}
		return newSurface(s)
	}
	same, beside := with(0), with(1e-4)
	for x := 3.1; x < 26; x += 0.37 {
		for y := 3.1; y < 26; y += 0.41 {
			p := pt{x: x, y: y}
			c, ok := same.at(p)
			c2, ok2 := beside.at(p)
			lo, hi := c.levels(p)
			lo2, hi2 := c2.levels(p)
			if ok != ok2 || math.Abs(lo-lo2) > 1e-3 || math.Abs(hi-hi2) > 1e-3 {
				t.Fatalf("at %.2f, %.2f: %.4f to %.4f (%v), beside the shots %.4f to %.4f (%v)", x, y, lo, hi, ok, lo2, hi2, ok2)
			}
		}
	}
}

// Numbers of any length are read to the bit as the standard library reads them.
func TestOracleNumbers(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 3))
	digits := func(n int) (s string) {
		for range n {
			s += string(rune('0' + r.IntN(10)))
		}
		return s
	}
	for range 200000 {
		s := []string{"", "-"}[r.IntN(2)]
		if n := r.IntN(19); n == 0 {
			s += "0"
		} else {
			s += string(rune('1'+r.IntN(9))) + digits(n-1)
		}
		if n := r.IntN(20); n > 0 {
			s += "." + digits(n)
		}
		if r.IntN(10) == 0 {
			s += "e-" + digits(1+r.IntN(2))
		}
		v, err := readJSON([]byte(s))
		want, bad := strconv.ParseFloat(s, 64)
		if err != nil || bad != nil || v.k != number || math.Float64bits(v.n) != math.Float64bits(want) {
			t.Fatalf("%s: %v %v, the standard library reads %v", s, v.n, err, want)
		}
	}
}
