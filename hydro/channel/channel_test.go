package channel

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"fallwright/geo/unit"
	"fallwright/hydro"
)

// A triangle 1 m deep with sides 1:1: A 1 m2, P 2 sqrt 2 m, R 0.35355 m,
// R^(2/3) 0.5; n 0.02, slope 0.0004: Q = 50 x 1 x 0.5 x 0.02 = 0.5 m3/s.
// A rectangle 2 m wide, 1 m deep: A 2, P 4, R 0.5, R^(2/3) 0.62996; n 0.03,
// slope 0.0009: Q = 2 x 0.62996 x 0.03/0.03 = 1.25992 m3/s.
func TestHandFlow(t *testing.T) {
	for _, c := range []struct {
		c    Channel
		y    unit.Length
		s    unit.Slope
		want float64
	}{{Channel{0, 1, 0.02}, 1, 0.0004, 0.5}, {Channel{2, 0, 0.03}, 1, 0.0009, 1.25992}} {
		q, err := c.c.FlowAt(c.y, c.s)
		if err != nil || math.Abs(float64(q)-c.want) > 1e-5 {
			t.Errorf("%+v: %v %v, want %v", c.c, q, err, c.want)
		}
	}
	k, err := Channel{1.5, 4, 0.035}.At(0.25) // (1.5 + 1) 0.25; 1.5 + 0.5 sqrt 17; 1.5 + 2
	if err != nil || k.Area != 0.625 || math.Abs(float64(k.WettedPerimeter)-3.561553) > 1e-6 || k.TopWidth != 3.5 {
		t.Errorf("%+v %v", k, err)
	}
}

// The depth of a flow carries that flow; more flow or less slope is deeper.
func TestPropertyNormalDepth(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 7))
	for range 500 {
		c := Channel{unit.Length(rng.Float64() * 2), 0.5 + rng.Float64()*8, hydro.Roughness(0.02 + rng.Float64()*0.1)}
		s := unit.Slope(0.001 + rng.Float64()*0.1)
		q := hydro.Flow(rng.Float64() * 2)
		y, err := c.NormalDepth(q, s)
		if err != nil {
			t.Fatal(err)
		}
		back, err := c.FlowAt(y, s)
		if err != nil || math.Abs(float64(back-q)) > 1e-4*(0.01+float64(q)) {
			t.Fatalf("%+v at %v: depth %v carries %v, not %v (%v)", c, s, y, back, q, err)
		}
		more, _ := c.NormalDepth(q*1.1+0.001, s)
		steeper, _ := c.NormalDepth(q, s*2)
		if more < y || steeper > y {
			t.Fatalf("%+v: %v, %v with more flow, %v on more slope", c, y, more, steeper)
		}
	}
}

func TestRefused(t *testing.T) {
	nan := math.NaN()
	for _, c := range []Channel{{-1, 1, 0.03}, {1, -1, 0.03}, {0, 0, 0.03}, {1, 1, 0}, {unit.Length(nan), 1, 0.03}, {1, nan, 0.03}, {1, 1, hydro.Roughness(nan)}} {
		var r *hydro.RangeError
		if _, err := c.FlowAt(1, 0.01); !errors.As(err, &r) {
			t.Errorf("%+v was taken: %v", c, err)
		}
	}
	ok := Channel{1, 1, 0.03}
	for _, s := range []unit.Slope{0, -0.01, unit.Slope(nan), 11} {
		if _, err := ok.FlowAt(1, s); err == nil {
			t.Errorf("slope %v was taken", s)
		}
	}
	for _, y := range []unit.Length{-1, unit.Length(nan), 101} {
		if _, err := ok.FlowAt(y, 0.01); err == nil {
			t.Errorf("depth %v was taken", y)
		}
	}
	for _, q := range []hydro.Flow{-1, hydro.Flow(nan), 1e12} {
		if _, err := ok.NormalDepth(q, 0.01); err == nil {
			t.Errorf("flow %v was taken", q)
		}
	}
	if y, err := ok.NormalDepth(0, 0.01); y != 0 || err != nil {
		t.Errorf("no flow is %v deep, %v", y, err)
	}
}
