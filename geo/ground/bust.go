package ground

// Shots that cannot be what the ground is: told, never smoothed away.

import (
	"math"
	"slices"

	"github.com/paulmach/orb"

	"fallwright/geo/unit"
)

// Bust is a shot that stands off its neighbours.
type Bust struct {
	Shot       int // index of the shot
	At         orb.Point
	Off        unit.Length // shot less the plane through its neighbours; positive above
	Expected   unit.Elevation
	Neighbours []Ref
}

// Busts lists the shots that miss the plane of their neighbours by more than
// least, greatest miss first. The plane is the one with the least sum of
// absolute misses over the nearest six to nine neighbours, so that a bust among
// a good shot's neighbours does not accuse the good one; and the miss must be
// four times that plane's median miss too, so that rough ground is not a bust.
// Vertices of lines count as neighbours but are not judged. A real thing (a
// wall, a mound) can look like a bust: tell it, let people decide.
func (t *TIN) Busts(least unit.Length) []Bust {
	var out []Bust
	ring := t.ring()
	for v := range t.at {
		if t.ref[v].Line >= 0 || len(ring[v]) == 0 {
			continue
		}
		lo, hi := t.z[v], t.z[v]
		for _, u := range ring[v] {
			lo, hi = math.Min(lo, t.z[u]), math.Max(hi, t.z[u])
		}
		if hi-lo <= float64(least) {
			continue
		}
		near := t.nearest(int32(v), ring)
		z, spread := t.leastMiss(int32(v), near)
		if off := t.z[v] - z; math.Abs(off) > float64(least) && math.Abs(off) > 4*spread {
			b := Bust{Shot: t.ref[v].Index, At: t.at[v], Off: unit.Length(off), Expected: unit.Elevation(z)}
			for _, u := range near {
				b.Neighbours = append(b.Neighbours, t.ref[u])
			}
			out = append(out, b)
		}
	}
	slices.SortStableFunc(out, func(a, b Bust) int {
		if math.Abs(float64(a.Off)) > math.Abs(float64(b.Off)) {
			return -1
		}
		return 1
	})
	return out
}

// nearest lists up to nine vertices by distance, out of the ring and, where
// that has fewer than six, its rings.
func (t *TIN) nearest(v int32, ring [][]int32) []int32 {
	list := slices.Clone(ring[v])
	if len(list) < 6 {
		for _, u := range ring[v] {
			for _, w := range ring[u] {
				if w != v && !slices.Contains(list, w) {
					list = append(list, w)
				}
			}
		}
	}
	d := func(u int32) float64 { return math.Hypot(t.at[u][0]-t.at[v][0], t.at[u][1]-t.at[v][1]) }
	slices.SortFunc(list, func(a, b int32) int {
		if d(a) < d(b) || d(a) == d(b) && a < b {
			return -1
		}
		return 1
	})
	return list[:min(len(list), 9)]
}

// leastMiss is the height at v of the plane through three of the others whose
// misses sum least, and the median miss. A plane through a narrow triangle is
// no plane; where none stands, it is the median height.
func (t *TIN) leastMiss(v int32, others []int32) (z, spread float64) {
	best := math.Inf(1)
	miss := make([]float64, len(others))
	for i := range others {
		for j := i + 1; j < len(others); j++ {
			for k := j + 1; k < len(others); k++ {
				a, b, c := others[i], others[j], others[k]
				pa, pb, pc := t.at[a], t.at[b], t.at[c]
				den := cross2(pa, pb, pc)
				l := max(math.Hypot(pb[0]-pa[0], pb[1]-pa[1]), math.Hypot(pc[0]-pa[0], pc[1]-pa[1]), math.Hypot(pc[0]-pb[0], pc[1]-pb[1]))
				if math.Abs(den) < 0.2*l*l {
					continue
				}
				height := func(p orb.Point) float64 {
					wb, wc := cross2(pa, p, pc)/den, cross2(pa, pb, p)/den
					return t.z[a] + wb*(t.z[b]-t.z[a]) + wc*(t.z[c]-t.z[a])
				}
				total := 0.0
				for m, u := range others {
					miss[m] = math.Abs(t.z[u] - height(t.at[u]))
					total += miss[m]
				}
				if total < best-1e-9 {
					slices.Sort(miss)
					best, z, spread = total, height(t.at[v]), miss[len(miss)/2]
				}
			}
		}
	}
	if math.IsInf(best, 1) {
		for m, u := range others {
			miss[m] = t.z[u]
		}
		slices.Sort(miss)
		z = miss[len(miss)/2]
		spread = (miss[len(miss)-1] - miss[0]) / 2
	}
	return z, spread
}
