package verify

import "testing"

// One lot of eight runs on 126 shots.
func BenchmarkVerifyOneLot(b *testing.B) {
	f := feet(&testing.T{})
	site, plan := f.bytes()
	b.SetBytes(int64(len(site) + len(plan)))
	for b.Loop() {
		if v, err := (Checker{}).Verify(site, f.criteria, plan); err != nil || !v.Passed {
			b.Fatal(err)
		}
	}
}
