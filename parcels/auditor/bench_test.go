package auditor

// Speed at the size of a county: 100,000 lots with houses, easements, drains
// and inlets, made by rule; and the same questions asked of PostGIS.

import (
	"context"
	"fmt"
	"math"
	"runtime"
	"syscall"
	"testing"
	"time"

	"github.com/paulmach/orb"

	"fallwright/geo/frame"
	"fallwright/parcels"
)

// county makes n lots in back-to-back rows of leaning quadrilaterals of some
// 25 m by 40 m, a house on each, a rear drainage easement for each pair of
// rows, a drain on each tenth lot (each hundredth strays over its line) and an
// inlet at each tenth rear corner.
func county(t testing.TB, n int) *parcels.Site {
	t.Helper()
	f, err := frame.New("EPSG:2154", orb.Bound{Min: orb.Point{900000, 6700000}, Max: orb.Point{900001, 6700001}})
	if err != nil {
		t.Fatal(err)
	}
	s := &parcels.Site{Name: "county", Frame: f, Criteria: parcels.DefaultCriteria(), Supplied: map[parcels.Layer]bool{}}
	for _, l := range parcels.Layers {
		s.Supplied[l] = true
	}
	perRow := int(math.Sqrt(float64(n) * 2))
	x := func(row, k int, v float64) float64 { // the side lines lean and differ
		return 25*float64(k) + 3*math.Sin(float64(7*k+13*row))*(v/40) + 2*math.Cos(float64(5*k+row))
	}
	for i := range n {
		row, k := i/perRow, i%perRow
		base := 95.0*float64(row/2) + 40*float64(row%2)
		// pairs of rows share their rear line at base+40 of the even row
		at := func(k int, v float64) orb.Point {
			if row%2 == 1 {
				return orb.Point{x(row-1, k, 40-v*0.5), base + v}
			}
			return orb.Point{x(row, k, v), base + v}
		}
		ring := orb.Ring{at(k, 0), at(k+1, 0), at(k+1, 40), at(k, 40), at(k, 0)}
		id := fmt.Sprintf("L%06d", i)
		s.Lots = append(s.Lots, parcels.Lot{Common: parcels.Common{Index: i}, ID: id, Shape: orb.MultiPolygon{{ring}}})
		hx, hy := 25*float64(k)+6, base+14-float64(row%2)*2
		if row%2 == 1 {
			hy = base + 10
		}
		w, d := 11+2*math.Sin(float64(i)), 9+2*math.Cos(float64(i))
		house := orb.Ring{{hx, hy}, {hx + w - 5, hy}, {hx + w - 5, hy - 2}, {hx + w, hy - 2}, {hx + w, hy + d}, {hx, hy + d}, {hx, hy}}
		s.Buildings = append(s.Buildings, parcels.Building{Common: parcels.Common{Index: i, FeatureID: "H" + id}, Lot: id, Shape: orb.MultiPolygon{{house}}})
		if i%10 == 0 {
			line := orb.LineString{{hx + 2, base + 30}, {hx + 9, base + 33}}
			if i%100 == 0 {
				line = orb.LineString{{hx + 2, base + 30}, {hx - 9, base + 33}, {hx + 5, base + 35}}
			}
			s.Drains = append(s.Drains, parcels.Drain{Common: parcels.Common{Index: len(s.Drains)}, ID: "D" + id, Lot: id, Line: line})
			s.Inlets = append(s.Inlets, parcels.Inlet{Common: parcels.Common{Index: len(s.Inlets)}, ID: "I" + id, At: orb.Point{25 * float64(k), base + 40 - 80*float64(row%2)*0}, System: parcels.SystemStorm})
		}
		if row%2 == 0 && k%20 == 0 {
			// 6 m, the rear of twenty lots; some houses reach into it
			e := orb.Ring{{25 * float64(k), base + 37}, {25 * float64(k+20), base + 37}, {25 * float64(k+20), base + 52}, {25 * float64(k), base + 52}, {25 * float64(k), base + 37}}
			s.Easements = append(s.Easements, parcels.Easement{Common: parcels.Common{Index: len(s.Easements)}, ID: "E" + id, Geometry: orb.MultiPolygon{{e}}, Kind: "drainage", Trench: parcels.TrenchPermission})
		}
	}
	return s
}

var countyChecks = []string{"zone", "nearest_inlet", "drains", "footprints"}

func TestPropertyCounty(t *testing.T) {
	a := auditOf(t, county(t, 3000), Options{Checks: countyChecks})
	f := a.Totals.Findings
	if a.Totals.ZoneEmpty != 0 || f["drain_outside"] < 20 || f["building_in_easement"] == 0 || a.Totals.SetAside != 0 {
		t.Errorf("%+v", a.Totals)
	}
	for _, r := range a.Rows {
		if r.Inlet == nil || *r.Zone < 200 || *r.Zone > 1000 {
			t.Fatalf("%+v", r)
		}
	}
}

// BenchmarkCounty audits 100,000 lots: zone, drains, footprints in easements,
// nearest inlet by line.
func BenchmarkCounty(b *testing.B) {
	const n = 100_000
	s := county(b, n)
	for _, workers := range []int{1, 2} {
		b.Run(fmt.Sprintf("workers=%d", workers), func(b *testing.B) {
			var spent time.Duration
			cpu, loops := 0.0, 0
			for b.Loop() {
				a, err := New(s, Options{Checks: countyChecks})
				if err != nil {
					b.Fatal(err)
				}
				var before, after runtime.MemStats
				runtime.GC()
				runtime.ReadMemStats(&before)
				t0, c0 := time.Now(), cpuSeconds()
				out, err := a.Audit(context.Background(), Options{Workers: workers})
				if err != nil {
					b.Fatal(err)
				}
				spent += time.Since(t0)
				cpu += cpuSeconds() - c0
				loops++
				runtime.GC()
				runtime.ReadMemStats(&after)
				b.ReportMetric(float64(after.HeapAlloc-min(before.HeapAlloc, after.HeapAlloc))/n, "B/lot")
				if out.Totals.Lots != n {
					b.Fatal(out.Totals)
				}
			}
			// processor time too: on a machine that others use the clock tells little
			b.ReportMetric(spent.Seconds()/float64(loops), "s/county")
			b.ReportMetric(cpu/float64(loops), "cpu-s/county")
		})
	}
}

// cpuSeconds is the processor time this process has taken.
func cpuSeconds() float64 {
	var u syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &u) != nil {
		return math.NaN()
	}
	return float64(u.Utime.Sec+u.Stime.Sec) + float64(u.Utime.Usec+u.Stime.Usec)/1e6
}
