package zone

import "testing"

func BenchmarkKeeps(b *testing.B) {
	yards := realYards(b, "village", 500)
	lines := drains(yards)
	var o [1]KeepOut
	b.ResetTimer()
	b.ReportAllocs()
	for k := 0; k < b.N; k++ {
		y := yards[k%len(yards)]
		o[0] = y.house
		Keeps(lines[k%len(yards)], 0.3048, y.lot, o[:])
	}
}
