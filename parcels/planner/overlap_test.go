package planner_test

import (
	"bytes"
	"context"
	"encoding/json"
	"math"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
	"fallwright/parcels"
	"fallwright/parcels/document"
	"fallwright/parcels/planner"
	"fallwright/parcels/verify"
	"fallwright/sampledata"
)

// Hand: a further lot is drawn from the middle of one line of the sample lot
// 0.05 m into it: along half the line, no deeper than that, far less than the
// clearance. The plan tells of it with the line to count from and the way to
// mend it, the checker takes the plan, and refuses it with the finding left out.
// A trench clear of both lines does not become unproven by it.
func TestHandOverlapInPlan(t *testing.T) {
	const deep = 0.05
	var doc map[string]any
	if err := json.Unmarshal(sampledata.StatePlane(), &doc); err != nil {
		t.Fatal(err)
	}
	s, err := document.Read(sampledata.StatePlane(), document.Options{})
	if err != nil {
		t.Fatal(err)
	}
	// the longest line of the lot, in the plane; its right hand is outside
	ring := s.Lot(sampledata.Sample).Shape[0][0]
	best, length := 0, 0.0
	for i := 1; i < len(ring); i++ {
		if l := math.Hypot(ring[i][0]-ring[i-1][0], ring[i][1]-ring[i-1][1]); l > length {
			best, length = i, l
		}
	}
	a, b := ring[best-1], ring[best]
	if area := shape.RingArea(ring); area < 0 {
		a, b = b, a
	}
	dx, dy := (b[0]-a[0])/length, (b[1]-a[1])/length
	at := func(along, out float64) []float64 {
		p := document.Position(s.Frame, [2]float64{a[0] + along*dx + out*dy, a[1] + along*dy - out*dx})
		return p[:]
	}
	outline := [][]float64{at(length/4, 2), at(3*length/4, 2), at(3*length/4, -deep), at(length/4, -deep), at(length/4, 2)}
	lots := doc["layers"].(map[string]any)["parcels"].(map[string]any)
	lots["features"] = append(lots["features"].([]any), map[string]any{"type": "Feature", "id": "strip", "properties": map[string]any{},
		"geometry": map[string]any{"type": "Polygon", "coordinates": [][][]float64{outline}}})
	text, err := json.Marshal(doc)
	if err != nil {
		t.Fatal(err)
	}
	with, err := document.Read(text, document.Options{})
	if err != nil {
		t.Fatal(err)
	}
	plan, body, err := (&planner.Planner{Verifier: verify.Checker{}}).Plan(context.Background(), with, planner.Options{Lots: []string{sampledata.Sample}, Quick: true})
	if err != nil {
		t.Fatal(err)
	}
	told := 0
	for _, f := range plan.Findings {
		if f.Code != "parcels_overlap" || f.Feature != "strip" {
			continue
		}
		told++
		if f.Lot != sampledata.Sample || math.Abs(*f.Measured-deep) > 0.001 || f.Severity != parcels.Warn || f.NotProven || f.Location == nil ||
			!strings.Contains(f.Message, "over ") || !strings.Contains(f.Message, "measured from the line of lot strip") || !strings.Contains(f.Cure, "pins") {
			t.Errorf("%+v", f)
		}
	}
	if told != 1 {
		t.Fatalf("told %d times", told)
	}
	quiet := bytes.ReplaceAll(body, []byte("parcels_overlap"), []byte("parcels_at_peace"))
	v, err := verify.Checker{}.Verify(text, with.Criteria, quiet)
	if err != nil {
		t.Fatal(err)
	}
	if v.Passed {
		t.Error("the checker took the plan with the overlap kept quiet")
	}
}

// withParent is the site of two lots, rectangles side by side, with one more lot, whose
// rings follow from theirs.
func withParent(t *testing.T, parent func(one, two orb.Bound) []orb.Ring) ([]byte, *parcels.Site) {
	t.Helper()
	doc, err := os.ReadFile("../verify/testdata/two_lots.json")
	if err != nil {
		t.Fatal(err)
	}
	s, err := document.Read(doc, document.Options{})
	if err != nil {
		t.Fatal(err)
	}
	rings := parent(s.Lots[0].Shape.Bound(), s.Lots[1].Shape.Bound())
	for i := range rings {
		for k := range rings[i] {
			rings[i][k] = document.Position(s.Frame, rings[i][k])
		}
	}
	var whole map[string]any
	if err := json.Unmarshal(doc, &whole); err != nil {
		t.Fatal(err)
	}
	lots := whole["layers"].(map[string]any)["parcels"].(map[string]any)
	lots["features"] = append(lots["features"].([]any), map[string]any{"type": "Feature", "properties": map[string]any{"lot": "parent"},
		"geometry": map[string]any{"type": "Polygon", "coordinates": rings}})
	text, err := json.Marshal(whole)
	if err != nil {
		t.Fatal(err)
	}
	if s, err = document.Read(text, document.Options{}); err != nil {
		t.Fatal(err)
	}
	return text, s
}

// Hand: about a lot a parent lot is drawn that holds it, with 3 m to spare on each
// side. Planned, the inner lot is told that it lies within the other and is not
// proven for it; the checker takes the plan, and refuses it with the finding left
// out and with one that names a lot which does not hold it.
func TestHandLotWithinAnother(t *testing.T) {
	text, s := withParent(t, func(one, _ orb.Bound) []orb.Ring { return []orb.Ring{one.Pad(3).ToRing()} })
	plan, body, err := (&planner.Planner{Verifier: verify.Checker{}}).Plan(context.Background(), s, planner.Options{Lots: []string{"1"}, Quick: true})
	if err != nil {
		t.Fatal(err)
	}
	i := slices.IndexFunc(plan.Findings, func(f parcels.Finding) bool { return f.Code == "parcel_within" })
	if i < 0 {
		t.Fatal("it is not told that the lot lies within another")
	}
	f := plan.Findings[i]
	if area := float64(shape.Area(s.Lots[0].Shape)); f.Lot != "1" || f.Feature != "parent" || !f.NotProven || math.Abs(*f.Measured-area) > 0.01 || !strings.Contains(f.Cure, "of record") {
		t.Errorf("%+v", f)
	}
	if len(plan.Runs) == 0 || plan.Summary.Verdict == parcels.Feasible {
		t.Errorf("%d runs, %s", len(plan.Runs), plan.Summary.Verdict)
	}
	for _, lie := range [][2]string{{`"parcel_within"`, `"parcel_at_peace"`}, {`"feature": "parent"`, `"feature": "2"`}} {
		told := bytes.ReplaceAll(body, []byte(lie[0]), []byte(lie[1]))
		v, err := verify.Checker{}.Verify(text, s.Criteria, told)
		if err != nil {
			t.Fatal(err)
		}
		if v.Passed || bytes.Equal(told, body) {
			t.Errorf("the checker took the plan with %s for %s", lie[1], lie[0])
		}
	}
}

// Hand: the parent lot leaves the inner one its ground: a hole with the inner lot's
// outline. Then nothing lies within anything, and the checker takes the plan that
// tells of none; it did not, as each corner of the inner lot is on the parent's edge.
func TestHandLotInAHoleOfAnother(t *testing.T) {
	_, s := withParent(t, func(one, two orb.Bound) []orb.Ring {
		both := one.Union(two)
		return []orb.Ring{both.Pad(3).ToRing(), both.ToRing()}
	})
	plan, _, err := (&planner.Planner{Verifier: verify.Checker{}}).Plan(context.Background(), s, planner.Options{Lots: []string{"1"}, Quick: true})
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range plan.Findings {
		if f.Code == "parcel_within" || f.Code == "parcels_overlap" {
			t.Errorf("%s: %s", f.Code, f.Message)
		}
	}
}
