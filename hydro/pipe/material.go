package pipe

// Roughness by material, as data: sources disagree, so each row keeps its own.

import (
	"fallwright/hydro"
	"fallwright/hydro/source"
)

// Material is a published range of Manning's n. Low equals High where the source
// gives one value.
type Material struct {
	Name      string
	Low, High hydro.Roughness
	Source    string
}

// Materials returns the published ranges. Where two sources disagree both rows
// stand: single-wall corrugated plastic is 0.018 to 0.025 in highway practice and
// 0.015 to 0.020 in farm drainage. n is an input; state which row it is from.
func Materials() []Material {
	return []Material{
		{"smooth plastic", 0.009, 0.011, source.HEC22},
		{"concrete", 0.010, 0.013, source.HEC22},
		{"clay", 0.012, 0.014, source.HEC22},
		{"corrugated plastic, smooth inside", 0.009, 0.015, source.HEC22},
		{"corrugated plastic, single wall", 0.018, 0.025, source.HEC22},
		{"corrugated metal, 68 by 13 mm", 0.024, 0.024, source.HEC22},
		{"smooth plastic drain", 0.013, 0.013, source.NEH650},
		{"corrugated plastic drain, 3 to 8 in", 0.015, 0.015, source.NEH650},
		{"corrugated plastic drain, 10 to 12 in", 0.017, 0.017, source.NEH650},
		{"corrugated plastic drain, over 12 in", 0.020, 0.020, source.NEH650},
	}
}
