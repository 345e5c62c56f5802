package planner_test

import (
	"context"
	"testing"

	"fallwright/parcels/document"
	"fallwright/parcels/planner"
	"fallwright/parcels/verify"
	"fallwright/sampledata"
)

// One lot of the sample with six intakes: reading the document of 36 lots and
// planning apart, as a service that holds the site would see them.
func BenchmarkPlanSampleLot(b *testing.B) {
	s, err := document.Read(sampledata.StatePlane(), document.Options{})
	if err != nil {
		b.Fatal(err)
	}
	p := planner.Planner{Verifier: verify.Checker{}}
	b.Run("read", func(b *testing.B) {
		for b.Loop() {
			if _, err := document.Read(sampledata.StatePlane(), document.Options{}); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("plan", func(b *testing.B) {
		for b.Loop() {
			if _, _, err := p.Plan(context.Background(), s, planner.Options{Lots: []string{sampledata.Sample}}); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("quick", func(b *testing.B) {
		for b.Loop() {
			if _, _, err := p.Plan(context.Background(), s, planner.Options{Lots: []string{sampledata.Sample}, Quick: true}); err != nil {
				b.Fatal(err)
			}
		}
	})
}
