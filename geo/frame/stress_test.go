package frame

import (
	"runtime"
	"sync"
	"testing"

	"github.com/paulmach/orb"
)

// Frames made, used and dropped by many goroutines while the garbage collector
// runs: each must be made, and give the same answer, and no library object may
// be destroyed under another's feet.
func TestPropertyFramesComeAndGo(t *testing.T) {
	var wg sync.WaitGroup
	stop := make(chan struct{})
	go func() {
		for {
			select {
			case <-stop:
				return
			default:
				runtime.GC()
			}
		}
	}()
	for g := 0; g < 3; g++ {
		wg.Add(1)
		go func() {
			defer wg.Done()
			for i := 0; i < 20; i++ {
				crs, at := "", orb.Point{-86 - float64(g), 36 + float64(i)*0.01}
				if i%2 == 1 {
					crs, at = "EPSG:2274", orb.Point{1700000 + float64(i), 650000}
				}
				f, err := New(crs, orb.Bound{Min: at, Max: at})
				if err != nil {
					t.Errorf("frame %d: %v", i, err)
					return
				}
				for k := 0; k < 5; k++ {
					p := orb.Point{float64(k), 7}
					q := f.Plane(f.Document(p))
					if d := (q[0]-p[0])*(q[0]-p[0]) + (q[1]-p[1])*(q[1]-p[1]); !(d < 1e-12) {
						t.Errorf("frame %d: %v came back as %v", i, p, q)
					}
					f.LonLat(p)
				}
			}
		}()
	}
	wg.Wait()
	close(stop)
}
