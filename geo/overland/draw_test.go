package overland

// Pictures of ponds and catchments, for eyes: where FALLWRIGHT_DRAW names a
// folder, the two real rasters are drawn there.

import (
	"image"
	"image/color"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"testing"

	"fallwright/geo/ground"
)

func TestDrawRealGround(t *testing.T) {
	out := os.Getenv("FALLWRIGHT_DRAW")
	if out == "" {
		t.Skip("draws pictures for eyes: set FALLWRIGHT_DRAW to a folder")
	}
	for _, c := range []struct {
		name, file string
		cell       float64
		scale      int
	}{{"lidar-1m", "dem-lidar-1m-mn/dem.tif", 1, 2}, {"city-2m", "alexandria-va-dtm/dtm.tif", 2, 3}} {
		g := real(t, shared(t, c.file), c.cell)
		f := flow(t, Input{Ground: g})
		ponds := f.Ponds(0.05, 0.5)
		for _, p := range ponds[:min(8, len(ponds))] {
			t.Logf("%s: pond of %.1f m3, %.2f m deep, %.0f m2, catchment %d cells, lowest %v, spill %v", c.name, p.Volume, p.Depth, p.Area, p.Catchment, p.Lowest, p.Spill)
		}
		t.Logf("%s: %d ponds", c.name, len(ponds))
		img := draw(f, ponds, c.scale)
		w, err := os.Create(filepath.Join(out, c.name+".png"))
		if err != nil {
			t.Fatal(err)
		}
		if err := png.Encode(w, img); err != nil {
			t.Fatal(err)
		}
		w.Close()
	}
}

// draw shades the ground, tints the catchments of the five greatest ponds,
// paints all ponds by depth and the ways of water of more than 400 cells.
func draw(f *Field, ponds []Pond, scale int) image.Image {
	g := f.Grid
	img := image.NewRGBA(image.Rect(0, 0, g.Cols*scale, g.Rows*scale))
	tint := make([]color.RGBA, len(g.Z))
	colours := []color.RGBA{{230, 120, 60, 255}, {120, 180, 60, 255}, {170, 90, 200, 255}, {220, 190, 40, 255}, {60, 170, 160, 255}}
	for k := range ponds[:min(5, len(ponds))] {
		for _, i := range f.Catchment(ponds[k].Cells...) {
			tint[i] = colours[k]
		}
	}
	depth := make([]float64, len(g.Z))
	for _, p := range ponds {
		for _, i := range p.Cells {
			depth[i] = float64(f.depth(i))
		}
	}
	mix := func(a, b uint8, t float64) uint8 { return uint8(float64(a)*(1-t) + float64(b)*t) }
	for i := range g.Z {
		c := color.RGBA{40, 40, 40, 255}
		if f.Wet(i) {
			v := shade(g, i)
			c = color.RGBA{uint8(v), uint8(v), uint8(v), 255}
			if tint[i].A != 0 {
				c = color.RGBA{mix(c.R, tint[i].R, 0.35), mix(c.G, tint[i].G, 0.35), mix(c.B, tint[i].B, 0.35), 255}
			}
			if f.Count[i] > 400 {
				c = color.RGBA{20, 60, 200, 255}
			}
			if d := depth[i]; d > 0 {
				t := math.Min(1, 0.4+d)
				c = color.RGBA{mix(c.R, 0, t), mix(c.G, 120, t), mix(c.B, 255, t), 255}
			}
		}
		for y := 0; y < scale; y++ {
			for x := 0; x < scale; x++ {
				img.SetRGBA(i%g.Cols*scale+x, i/g.Cols*scale+y, c)
			}
		}
	}
	return img
}

// shade is the light on a cell from the north-west, by Horn's slopes.
func shade(g ground.Grid, i int) float64 {
	dx, dy, ok := g.Slope(i%g.Cols, i/g.Cols)
	if !ok {
		return 140
	}
	const e = 3 // exaggeration
	n := math.Sqrt(1 + e*e*(dx*dx+dy*dy))
	light := (1 + e*dx*0.7 + e*dy*0.7) / n / math.Sqrt(1.98)
	return math.Max(30, math.Min(245, 40+200*light))
}
