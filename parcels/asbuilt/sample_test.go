package asbuilt_test

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/paulmach/orb"

	"fallwright/geo/unit"
	"fallwright/parcels"
	"fallwright/parcels/asbuilt"
	"fallwright/parcels/document"
	"fallwright/parcels/planner"
	"fallwright/parcels/verify"
	"fallwright/sampledata"
)

// planned plans a lot of the invented subdivision with the real planner.
func planned(t *testing.T, text []byte) (*parcels.Site, *parcels.Plan) {
	t.Helper()
	s, err := document.Read(text, document.Options{})
	if err != nil {
		t.Fatal(err)
	}
	p := &planner.Planner{Verifier: verify.Checker{}}
	plan, _, err := p.Plan(context.Background(), s, planner.Options{Lots: []string{sampledata.Sample}})
	if err != nil {
		t.Fatal(err)
	}
	if plan.Summary.Verdict == parcels.NotFeasible || len(plan.Runs) < 2 {
		t.Fatalf("the sample lot has no plan to build: %s", plan.Summary.WhyNot)
	}
	return s, plan
}

// crew shoots every run each 3 m and at both ends, in the document's system and
// feet of elevation, a millimetre or two off.
func crew(s *parcels.Site, plan *parcels.Plan, change func(n int, north, east, z float64) (float64, float64, float64)) []byte {
	var b strings.Builder
	n := 0
	for _, r := range plan.Runs {
		length := float64(r.Length)
		for i := range int(math.Ceil(length/3)) + 1 {
			f := math.Min(float64(i)*3/length, 1)
			at := orb.Point{r.Line[0][0] + f*(r.Line[1][0]-r.Line[0][0]), r.Line[0][1] + f*(r.Line[1][1]-r.Line[0][1])}
			z := float64(*r.InvertUp) + f*float64(*r.InvertDown-*r.InvertUp) + 0.001*float64(n%4-1)
			d := s.Frame.Document(at)
			north, east, up := d[1], d[0], z/0.3048
			if change != nil {
				north, east, up = change(n, north, east, up)
			}
			n++
			fmt.Fprintf(&b, "%d,%.*f,%.*f,%.4f,INV\n", n, s.Frame.Decimals(), north, s.Frame.Decimals(), east, up)
		}
	}
	return []byte(b.String())
}

// On a real plan, in a state-plane grid of US survey feet and in longitude and
// latitude: as laid it is good, and each fault of the file keeps its own code.
func TestOraclePlannedAndShot(t *testing.T) {
	for name, text := range map[string][]byte{"state plane": sampledata.StatePlane(), "longitude, latitude": sampledata.LonLat()} {
		s, plan := planned(t, text)
		for _, c := range []struct {
			what   string
			change func(n int, north, east, z float64) (float64, float64, float64)
			want   string
		}{
			{"as planned", nil, ""},
			{"swapped", func(_ int, n, e, z float64) (float64, float64, float64) { return e, n, z }, asbuilt.CodeSwapped},
			{"elevations in metres", func(_ int, n, e, z float64) (float64, float64, float64) { return n, e, z * 0.3048 }, asbuilt.CodeLevelUnit},
			{"some elevations in metres", func(i int, n, e, z float64) (float64, float64, float64) {
				if i%3 == 0 {
					z *= 0.3048
				}
				return n, e, z
			}, asbuilt.CodeLevelUnit},
			{"assumed datum", func(_ int, n, e, z float64) (float64, float64, float64) { return n, e, z - 512.34 }, asbuilt.CodeDatum},
			{"positions in metres", func(_ int, n, e, z float64) (float64, float64, float64) {
				if s.Frame.Geographic() {
					return e, n, z // has no unit to mistake
				}
				return n * 1200 / 3937, e * 1200 / 3937, z
			}, asbuilt.CodePlanUnit},
		} {
			want := c.want
			if c.what == "positions in metres" && s.Frame.Geographic() {
				want = asbuilt.CodeSwapped
			}
			file := crew(s, plan, c.change)
			shots, _, err := asbuilt.ReadPoints(file, "shots.csv", unit.Foot, s.Frame, plan, s.Criteria)
			if err != nil {
				t.Fatalf("%s, %s: %v", name, c.what, err)
			}
			r, err := asbuilt.Assess(asbuilt.Input{Plan: plan, Lots: s.Lots, Criteria: s.Criteria, Frame: s.Frame, Shots: shots})
			if err != nil {
				t.Fatalf("%s, %s: %v", name, c.what, err)
			}
			var got []string
			for _, f := range r.Findings {
				if want == "" && f.Code == asbuilt.CodeDisagree {
					continue // a basin takes a step between its pipes: two inverts at one place
				}
				if f.Severity != parcels.Note {
					got = append(got, f.Code)
				}
			}
			slices.Sort(got)
			got = slices.Compact(got)
			if want == "" && len(got) > 0 || want != "" && !slices.Contains(got, want) {
				t.Errorf("%s, %s: %q, want %q", name, c.what, got, want)
				for _, f := range r.Findings {
					t.Logf("    %s %s %s: %s", f.Severity, f.Code, f.Feature, f.Message)
				}
			}
			body, err := r.Document(s.Frame)
			if err != nil || !json.Valid(body) {
				t.Errorf("%s, %s: %v", name, c.what, err)
			}
		}
	}
}
