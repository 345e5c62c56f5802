package relief

import (
	"bytes"
	"encoding/base64"
	"encoding/xml"
	"image/png"
	"io"
	"math"
	"strings"
	"testing"

	"github.com/paulmach/orb"

	"fallwright/geo/ground"
	"fallwright/geo/overland"
	"fallwright/geo/unit"
	"fallwright/parcels/display"
	"fallwright/parcels/yardwater"
)

// bowl is a plain of 40 by 40 m at 10 m that falls a little to the south, with a
// cone 1 m deep and 10 m in radius in its middle.
func bowl(t *testing.T) Picture {
	t.Helper()
	g := ground.Grid{Cols: 40, Rows: 40, North: 40, CellX: 1, CellY: 1, Z: make([]float32, 1600)}
	for i := range g.Z {
		p := g.Centre(i%40, i/40)
		g.Z[i] = float32(10 + 0.001*p[1] - math.Max(0, 1-math.Hypot(p[0]-20, p[1]-20)/10))
	}
	f, err := overland.Flow(overland.Input{Ground: g})
	if err != nil {
		t.Fatal(err)
	}
	ponds, _ := f.Ponds(0.1, 1, 0)
	pond := ponds[0]
	return Picture{Title: `The <ground> of "A&B"`, Box: orb.Bound{Min: orb.Point{-5, -5}, Max: orb.Point{45, 45}}, Water: &f.Water, Units: display.SI, Interval: 0.25,
		Ponds: []yardwater.Pond{{Location: pond.Lowest, Depth: pond.Depth, Area: pond.Area, Volume: pond.Volume, Spill: pond.Spill, Catchment: unit.Area(pond.Catchment), Runs: pond.Runs}},
		// along the middle, over the pond from 10 to 30 m
		Ways:   []overland.Thread{{Line: orb.LineString{{20, 39}, {20, 35}, {20, 31}, {20, 25}, {20, 15}, {20, 9}, {20, 5}, {20, 1}}, Area: 150}},
		Houses: []orb.MultiPolygon{{{{{2, 2}, {8, 2}, {8, 8}, {2, 8}, {2, 2}}}}}}
}

// By hand: the picture shows the ground and no more (40 by 40 m on 1000 pixels, 25 a
// metre); the one hollow is numbered at its bottom, 20 m from the west and 20 from the
// north: at 500, 500 less half a cell; the way is cut where it crosses the water; the
// water's picture is clear but where the pond is; names cannot break the file; and
// the same ground gives the same bytes.
func TestHandPicture(t *testing.T) {
	p := bowl(t)
	b, err := p.SVG()
	if err != nil {
		t.Fatal(err)
	}
	again, _ := p.SVG()
	if !bytes.Equal(b, again) {
		t.Error("two pictures of one ground differ")
	}
	svg := string(b)
	for d := xml.NewDecoder(bytes.NewReader(b)); ; {
		if _, err := d.Token(); err == io.EOF {
			break
		} else if err != nil {
			t.Fatal(err)
		}
	}
	for _, s := range []string{`<rect width="1000.0" height="1000.0"/>`, `The &lt;ground&gt; of &#34;A&amp;B&#34;`, `M500.0 25.0L500.0 125.0L500.0 225.0L500.0 375.0"`, `M500.0 775.0L500.0 875.0L500.0 975.0"`,
		display.SI.Area(p.Ponds[0].Area), `M50.0 950.0L200.0 950.0L200.0 800.0L50.0 800.0L50.0 950.0Z`, "house: no water runs through it"} {
		if !strings.Contains(svg, s) {
			t.Errorf("the picture has no %s", s)
		}
	}
	if n := strings.Count(svg, "<circle"); n != 1 {
		t.Errorf("%d numbers, one hollow", n)
	}
	if at := `cx="487.5" cy="512.5"`; !strings.Contains(svg, at) && !strings.Contains(svg, `cx="512.5" cy="512.5"`) && !strings.Contains(svg, `cx="487.5" cy="487.5"`) && !strings.Contains(svg, `cx="512.5" cy="487.5"`) {
		t.Error("the number is not at one of the four lowest cells")
	}
	parts := strings.Split(svg, "data:image/png;base64,")
	if len(parts) != 3 {
		t.Fatalf("%d pictures in it", len(parts)-1)
	}
	raw, err := base64.StdEncoding.DecodeString(strings.SplitN(parts[2], `"`, 2)[0])
	if err != nil {
		t.Fatal(err)
	}
	img, err := png.Decode(bytes.NewReader(raw))
	if err != nil {
		t.Fatal(err)
	}
	wet := 0
	for y := range 40 {
		for x := range 40 {
			if _, _, _, a := img.At(x, y).RGBA(); a > 0 {
				wet++
			}
		}
	}
	if unit.Area(wet) != p.Ponds[0].Area {
		t.Errorf("%d cells of 1 m2 are painted, the pond has %.0f m2", wet, float64(p.Ponds[0].Area))
	}
	p.Box = orb.Bound{Min: orb.Point{90, 90}, Max: orb.Point{99, 99}}
	if _, err := p.SVG(); err == nil {
		t.Error("a picture beside the ground was drawn")
	}
	p = bowl(t)
	p.Ponds, p.Ways, p.Houses = nil, nil, nil
	if b, err := p.SVG(); err != nil || !strings.Contains(string(b), "No hollow holds water here.") {
		t.Errorf("ground without hollows: %v", err)
	}
}
