package zone

import (
	"testing"
)

// bench lots: the generated ones, each with a house.
func benchLots(n int) (lots []Lot, things [][]KeepOut) {
	rng := newRand(20)
	for len(lots) < n {
		lot, out := randomLot(rng)
		if len(out) == 0 || out[0].Kind != Building {
			continue
		}
		lots, things = append(lots, lot), append(things, out[:1])
	}
	return lots, things
}

func BenchmarkTrench(b *testing.B) {
	lots, things := benchLots(500)
	b.ReportAllocs()
	for i := 0; i < b.N; i++ {
		k := i % len(lots)
		if _, err := Trench(lots[k], things[k]); err != nil {
			b.Fatal(err)
		}
	}
}
