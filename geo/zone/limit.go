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

// mostDistances is the most pairs of a segment of a drawn line and an edge that
// are measured: some seconds.
const mostDistances = 100_000_000

// limitLine is an error with RuleTooComplex where a drawn line and the lot and
// things it is measured against have too many segments.
func limitLine(line orb.LineString, lot Lot, out []KeepOut) error {
	edges := 0
	for _, p := range lot.Shape {
		for _, r := range p {
			edges += len(r)
		}
	}
	for _, k := range out {
		edges += size(k.Geometry)
	}
	if len(line)*edges <= mostDistances {
		return nil
	}
	return &shape.InvalidError{Rule: shape.RuleTooComplex, At: &line[0], Detail: fmt.Sprintf("the drawn line has %d vertices, the lot and the things by it %d edges: too many to be measured; simplify the line", len(line), edges)}
}

// size is the number of vertices of a geometry.
func size(g orb.Geometry) (n int) {
	switch g := g.(type) {
	case orb.Point:
		n = 1
	case orb.MultiPoint:
		n = len(g)
	case orb.LineString:
		n = len(g)
	case orb.MultiLineString:
		for _, l := range g {
			n += len(l)
		}
	case orb.Polygon:
		for _, r := range g {
			n += len(r)
		}
	case orb.MultiPolygon:
		for _, p := range g {
			n += size(p)
		}
	}
	return n
}
