package route

import (
	"fmt"
	"os"
	"strings"
	"testing"

	"github.com/paulmach/orb"
)

// drawSVG draws a lot with its tree, for looking at.
func drawSVG(l lot, t *Tree) string {
	b := l.problem.Zone.Bound().Union(l.outline.Bound()).Extend(l.problem.Targets[0].At)
	const k = 14
	var sb strings.Builder
	x := func(p orb.Point) string { return fmt.Sprintf("%.2f,%.2f ", (p[0]-b.Min[0]+1)*k, (b.Max[1]-p[1]+1)*k) }
	ring := func(r orb.LineString, style string) {
		sb.WriteString(`<polyline points="`)
		for _, p := range r {
			sb.WriteString(x(p))
		}
		sb.WriteString(`" ` + style + "/>\n")
	}
	fmt.Fprintf(&sb, `<svg xmlns="http://www.w3.org/2000/svg" width="%.0f" height="%.0f"><rect width="100%%" height="100%%" fill="white"/>`, (b.Max[0]-b.Min[0]+2)*k, (b.Max[1]-b.Min[1]+2)*k)
	ring(orb.LineString(l.outline), `fill="none" stroke="black" stroke-width="2"`)
	if len(l.house) > 0 {
		ring(orb.LineString(l.house), `fill="#ccc" stroke="#555"`)
	}
	for _, poly := range l.problem.Zone {
		for _, r := range poly {
			ring(orb.LineString(r), `fill="none" stroke="#7a7" stroke-dasharray="3,3"`)
		}
	}
	if t != nil {
		for i, r := range t.Runs {
			c := "#04c"
			if r.LeadOff || r.TieIn {
				c = "#c60"
			}
			if r.Kept {
				c = "#808"
			}
			ring(t.Line(i), `fill="none" stroke="`+c+`" stroke-width="2.5"`)
		}
		for _, n := range t.Nodes {
			c := [...]string{"#fff", "#0a0", "#d00", "#000"}[n.Kind]
			var px, py float64
			fmt.Sscanf(x(n.At), "%f,%f", &px, &py)
			fmt.Fprintf(&sb, `<circle cx="%.2f" cy="%.2f" r="3.5" fill="%s" stroke="black"/>`, px, py, c)
		}
		fmt.Fprintf(&sb, `<text x="5" y="14" font-size="13">%.2f m, cost %.2f</text>`, t.Length, t.Cost)
	}
	sb.WriteString("</svg>\n")
	return sb.String()
}

// TestDraw writes pictures of solved lots to the folder named by ROUTE_DRAW.
func TestDraw(t *testing.T) {
	dir := os.Getenv("ROUTE_DRAW")
	if dir == "" {
		t.Skip("ROUTE_DRAW names no folder for the pictures")
	}
	for seed := int64(0); seed <= 12; seed++ {
		l := tidyLot()
		if seed > 0 {
			l = newLot(seed, 8)
		}
		l.problem.Prices.Askew = 0.05 * l.problem.Prices.Metre
		r, err := Solve(&l.problem)
		if err != nil {
			t.Fatal(err)
		}
		if r.Best == nil || len(r.Unreached) > 0 {
			t.Logf("lot %d: %+v %+v", seed, r.Alternatives, r.Unreached)
		}
		if err := os.WriteFile(fmt.Sprintf("%s/lot%02d.svg", dir, seed), []byte(drawSVG(l, r.Best)), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// tidyLot is a lot as they are laid out in rows: a house square to the lines, a
// downspout at each corner, basins along the rear, an inlet behind a rear corner.
func tidyLot() lot {
	out := rect(0, 0, 24, 38)
	house := []orb.Point{{7, 9}, {18, 9}, {18, 20}, {7, 20}}
	hole := grown(house, 1.0668, 4)
	hole.Reverse()
	l := lot{outline: out, house: append(orb.Ring(house), house[0])}
	in := 0.762
	l.problem = Problem{Zone: orb.MultiPolygon{{rect(in, in, 24-in, 38-in), hole}}, Rules: DefaultRules(), Prices: testPrices,
		Targets: []Target{{ID: "inlet", At: orb.Point{23.5, 39}, Reach: 4, LastRunWithin: orb.MultiPolygon{{rect(0, 0, 24, 41)}}}}}
	for i, at := range []orb.Point{{7, 9.5}, {18, 9.5}, {18, 19.5}, {7, 19.5}} {
		l.problem.Sources = append(l.problem.Sources, Source{ID: "d" + string(rune('0'+i)), At: at, LeadOff: true})
	}
	for i, at := range []orb.Point{{4, 30}, {12, 31}, {20, 29}} {
		l.problem.Sources = append(l.problem.Sources, Source{ID: "b" + string(rune('0'+i)), At: at})
	}
	return l
}
