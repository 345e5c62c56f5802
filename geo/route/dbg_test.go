package route

import (
	"os"
	"syscall"
	"testing"
)

func cpu() float64 {
	var u syscall.Rusage
	syscall.Getrusage(syscall.RUSAGE_SELF, &u)
	return float64(u.Utime.Sec)*1e3 + float64(u.Utime.Usec)/1e3
}

func TestDbg(t *testing.T) {
	var ls []lot
	for seed := int64(1); seed <= 200; seed++ {
		ls = append(ls, newLot(seed, 8))
	}
	c := cpu()
	for i, l := range ls {
		r, err := Solve(&l.problem)
		if err != nil {
			t.Fatal(err)
		}
		if r.Best == nil || len(r.Unreached) > 0 {
			t.Log(i+1, r.Alternatives[0].Reason, r.Unreached)
			os.WriteFile("/tmp/w/scratch-route/bad.svg", []byte(drawSVG(l, r.Best)), 0644)
		}
	}
	t.Log((cpu()-c)/200, "ms cpu a lot")
}
