package planner_test

import (
	"bytes"
	"context"
	"slices"
	"strconv"
	"testing"

	"fallwright/parcels/document"
	"fallwright/parcels/memory"
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
	// as in a service: a document that differs from the last one in the place of an
	// intake, read and planned with a memory
	b.Run("dragged", func(b *testing.B) {
		m := memory.New(128 << 20)
		p := planner.Planner{Verifier: verify.Checker{Kept: verify.Keep(6 << 20)}, Memory: m}
		text := sampledata.StatePlane()
		at := bytes.Index(text, []byte(`"id":"`+sampledata.Sample+`-YB1"`))
		if at < 0 {
			b.Fatal("the sample has no basin to drag")
		}
		const member = `"coordinates":[`
		point := at + bytes.Index(text[at:], []byte(member)) + len(member)
		end := point + bytes.IndexByte(text[point:], ',')
		x, err := strconv.ParseFloat(string(text[point:end]), 64)
		if err != nil {
			b.Fatal(err)
		}
		n := 0
		for b.Loop() {
			n++
			doc := slices.Concat(text[:point], strconv.AppendFloat(nil, x+float64(n%50)/20, 'f', 4, 64), text[end:])
			s, err := document.Read(doc, document.Options{Memory: m})
			if err != nil {
				b.Fatal(err)
			}
			if _, _, err := p.Plan(context.Background(), s, planner.Options{Lots: []string{sampledata.Sample}, Quick: true}); err != nil {
				b.Fatal(err)
			}
		}
	})
}
