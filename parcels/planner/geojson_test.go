package planner_test

// What the sites that tests write are put together from: GeoJSON about a corner of
// their plane, in metres.

import (
	"fmt"
	"strings"
)

const e0, n0 = 500000.0, 5000000.0

func pt(x, y float64) string { return fmt.Sprintf("[%.3f,%.3f]", e0+x, n0+y) }

func rect(x0, y0, x1, y1 float64) string {
	return "[[" + strings.Join([]string{pt(x0, y0), pt(x1, y0), pt(x1, y1), pt(x0, y1), pt(x0, y0)}, ",") + "]]"
}

func feature(kind, coords, props string) string {
	return `{"type":"Feature","properties":{` + props + `},"geometry":{"type":"` + kind + `","coordinates":` + coords + `}}`
}

func col(fs ...string) string {
	return `{"type":"FeatureCollection","features":[` + strings.Join(fs, ",") + `]}`
}
