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

// Plans of lots as the service makes them: the same site asked again with an
// intake moved, so that ground, zones and what the site says are in memory and
// the layout is not.
func BenchmarkServed(b *testing.B) {
	for _, quick := range []bool{false, true} {
		for _, lot := range []string{"B4", "C3"} {
			name := lot + "/full"
			if quick {
				name = lot + "/quick"
			}
			b.Run(name, func(b *testing.B) { served(b, lot, quick) })
		}
	}
}

func served(b *testing.B, lot string, quick bool) {
	m := memory.New(128 << 20)
	p := planner.Planner{Verifier: verify.Checker{Kept: verify.Keep(6 << 20)}, Memory: m}
	text := sampledata.StatePlane()
	at := bytes.Index(text, []byte(`"id":"`+lot+`-YB1"`))
	if at < 0 {
		b.Fatal("lot " + lot + " of the sample has no basin to drag")
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
		if _, _, err := p.Plan(context.Background(), s, planner.Options{Lots: []string{lot}, Quick: quick}); err != nil {
			b.Fatal(err)
		}
	}
}
