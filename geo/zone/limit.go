package zone

// What is too much to work out, told before GEOS is called.

import (
	"fmt"
	"math"
	"sort"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
	"fallwright/geo/unit"
)

const (
	// mostVertices is the most vertices of a lot and the things by it together:
	// an overlay of so many takes some seconds.
	mostVertices = 20_000
	// mostMeetings is the most pairs of edges whose strips may lie over one
	// another: each is a crossing that the overlay has to keep.
	mostMeetings = 2_000_000
	// fewVertices are never too much.
	fewVertices = 1_500
)

// limit is an error with RuleTooComplex where the overlay would take more than
// seconds or some hundred megabytes: too many vertices, or lines that lie across
// one another too often, as two combs do.
func limit(lot Lot, out []KeepOut, more unit.Length) error {
	var boxes []box4
	line := func(l []orb.Point, r unit.Length) {
		for i := 1; i < len(l); i++ {
			boxes = append(boxes, boxOf(l[i-1], l[i]).grown(float64(r+more)))
		}
	}
	_, most := lot.extremes()
	for _, p := range lot.Shape {
		for _, r := range p {
			line(r, most)
		}
	}
	own := len(boxes)
	worst, name := 0, ""
	for i, k := range out {
		if k.MayCross || !k.Geometry.Bound().Pad(float64(k.Clearance+more)).Intersects(lot.Shape.Bound()) {
			continue
		}
		before := len(boxes)
		for _, s := range barOf(i, k).segments {
			line(s[:], k.Clearance)
		}
		if n := len(boxes) - before; n > worst {
			worst, name = n, k.name()
		}
	}
	if len(boxes) <= fewVertices {
		return nil
	}
	at := lot.Shape[0][0][0]
	fault := func(why string) error {
		what := fmt.Sprintf("the lot has %d edges", own)
		if name != "" {
			what += fmt.Sprintf(", %s has %d", name, worst)
		}
		return &shape.InvalidError{Rule: shape.RuleTooComplex, At: &at, Detail: fmt.Sprintf("%s: %s; simplify the drawing or take out what is no part of it", what, why)}
	}
	if len(boxes) > mostVertices {
		return fault(fmt.Sprintf("at most %d are taken together", mostVertices))
	}
	sort.Slice(boxes, func(i, j int) bool { return boxes[i].x0 < boxes[j].x0 })
	met, tried := 0, 0
	for i := range boxes {
		for j := i + 1; j < len(boxes) && boxes[j].x0 <= boxes[i].x1; j++ {
			if tried++; math.Max(boxes[i].y0, boxes[j].y0) <= math.Min(boxes[i].y1, boxes[j].y1) {
				met++
			}
		}
		if met > mostMeetings || tried > 100*mostMeetings {
			return fault("their strips lie across one another too often to be worked out")
		}
	}
	return nil
}
