package overland

// Hollows of a triangulated surface, exactly: no raster between the shots and
// the answer.

import (
	"cmp"
	"math"
	"slices"

	"github.com/paulmach/orb"

	"fallwright/geo/ground"
	"fallwright/geo/unit"
)

// Hollow is a closed hollow of a triangulated surface, full to its sill.
type Hollow struct {
	Level  unit.Elevation
	Depth  unit.Length // at Lowest
	Area   unit.Area   // of the water's surface
	Volume float64     // m3
	Lowest orb.Point
	// Spill is the corner over which it runs out.
	Spill orb.Point
}

// Hollows lists the closed hollows of a triangulated surface at least so deep
// and of at least such a volume, greatest volume first. Water leaves over the
// outline. A surface of plane triangles has its pits and sills at corners, and
// two places are joined under water exactly where a way along edges joins them,
// so a flood over the corners gives the levels; the volume under each level is
// summed triangle by triangle in closed form. Houses are not seen: Field knows
// them, at the fineness of its raster.
func Hollows(t *ground.TIN, depth unit.Length, volume float64) []Hollow {
	tri := t.Triangles()
	number := map[orb.Point]int32{}
	var at []orb.Point
	var z []float64
	corner := make([][3]int32, len(tri))
	type edge struct{ a, b int32 }
	open := map[edge]bool{}
	for i, f := range tri {
		for k, p := range f.At {
			n, ok := number[p]
			if !ok {
				n = int32(len(at))
				number[p] = n
				at = append(at, p)
				z = append(z, float64(f.Z[k]))
			}
			corner[i][k] = n
		}
		for k := range f.At {
			a, b := corner[i][k], corner[i][(k+1)%3]
			if open[edge{b, a}] {
				delete(open, edge{b, a})
			} else {
				open[edge{a, b}] = true
			}
		}
	}
	ring := make([][]int32, len(at))
	for _, c := range corner {
		for k := range c {
			ring[c[k]] = append(ring[c[k]], c[(k+1)%3], c[(k+2)%3])
		}
	}
	// flood from the outline, lowest first
	level := make([]float64, len(at))
	from := make([]int32, len(at))
	for i := range level {
		level[i] = math.Inf(1)
	}
	h := heap{less: func(a, b int32) bool { return level[a] < level[b] || level[a] == level[b] && a < b }}
	for e := range open {
		if math.IsInf(level[e.a], 1) {
			level[e.a], from[e.a] = z[e.a], -1
		}
	}
	for i := range level {
		if !math.IsInf(level[i], 1) {
			h.put(int32(i))
		}
	}
	for len(h.item) > 0 {
		i := h.take()
		for _, j := range ring[i] {
			if math.IsInf(level[j], 1) {
				level[j], from[j] = math.Max(level[i], z[j]), i
				h.put(j)
			}
		}
	}
	// joined corners under water are one hollow
	hollow := make([]int32, len(at))
	for i := range hollow {
		hollow[i] = -1
	}
	var out []Hollow
	for i := range at {
		if hollow[i] >= 0 || !(level[i] > z[i]) {
			continue
		}
		n := int32(len(out))
		v := Hollow{Level: unit.Elevation(level[i]), Lowest: at[i], Depth: unit.Length(level[i] - z[i])}
		hollow[i] = n
		list := []int32{int32(i)}
		low := int32(i)
		for k := 0; k < len(list); k++ {
			if c := list[k]; z[c] < z[low] {
				low = c
			}
			for _, j := range ring[list[k]] {
				if hollow[j] < 0 && level[j] > z[j] {
					hollow[j] = n
					list = append(list, j)
				}
			}
		}
		v.Lowest, v.Depth = at[low], unit.Length(level[i]-z[low])
		for s := low; s >= 0; s = from[s] {
			if v.Spill = at[s]; hollow[s] != n {
				break
			}
		}
		out = append(out, v)
	}
	for _, c := range corner {
		n := max(hollow[c[0]], hollow[c[1]], hollow[c[2]])
		if n < 0 {
			continue
		}
		a, v := under(at[c[0]], at[c[1]], at[c[2]], z[c[0]], z[c[1]], z[c[2]], float64(out[n].Level))
		out[n].Area += unit.Area(a)
		out[n].Volume += v
	}
	out = slices.DeleteFunc(out, func(v Hollow) bool { return v.Depth < depth || v.Volume < volume })
	slices.SortStableFunc(out, func(a, b Hollow) int { return cmp.Compare(b.Volume, a.Volume) })
	return out
}

// under is the area of a triangle that lies under a level and the volume
// between.
func under(a, b, c orb.Point, za, zb, zc, level float64) (area, volume float64) {
	whole := math.Abs((b[0]-a[0])*(c[1]-a[1])-(b[1]-a[1])*(c[0]-a[0])) / 2
	z := []float64{za, zb, zc}
	slices.Sort(z)
	switch {
	case level <= z[0]:
		return 0, 0
	case level >= z[2]:
		return whole, whole * (level - (z[0]+z[1]+z[2])/3)
	case level <= z[1]: // a tip at the lowest corner
		tip := whole * (level - z[0]) / (z[1] - z[0]) * (level - z[0]) / (z[2] - z[0])
		return tip, tip * (level - z[0]) / 3
	}
	// all but a tip at the highest corner
	tip := whole * (z[2] - level) / (z[2] - z[0]) * (z[2] - level) / (z[2] - z[1])
	return whole - tip, whole*(level-(z[0]+z[1]+z[2])/3) + tip*(z[2]-level)/3
}

// heap is a binary heap of corners.
type heap struct {
	item []int32
	less func(a, b int32) bool
}

func (h *heap) put(v int32) {
	h.item = append(h.item, v)
	for i := len(h.item) - 1; i > 0; {
		up := (i - 1) / 2
		if !h.less(h.item[i], h.item[up]) {
			break
		}
		h.item[i], h.item[up] = h.item[up], h.item[i]
		i = up
	}
}

func (h *heap) take() int32 {
	v := h.item[0]
	n := len(h.item) - 1
	h.item[0] = h.item[n]
	h.item = h.item[:n]
	for i := 0; ; {
		c := 2*i + 1
		if c >= n {
			break
		}
		if c+1 < n && h.less(h.item[c+1], h.item[c]) {
			c++
		}
		if !h.less(h.item[c], h.item[i]) {
			break
		}
		h.item[i], h.item[c] = h.item[c], h.item[i]
		i = c
	}
	return v
}
