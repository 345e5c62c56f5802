// Package peer calls GEOS from C, many lots in one call, as a program written
// in C would: what the benchmarks of geo/zone measure the direct routine
// against. Nothing but benchmarks uses it; it checks nothing.
package peer

/*
#cgo pkg-config: geos
#define GEOS_USE_ONLY_R_API
#include <geos_c.h>
#include <stdlib.h>

static GEOSGeometry *area_of(GEOSContextHandle_t h, const double *xy, unsigned n) {
	GEOSCoordSequence *s = GEOSCoordSeq_copyFromBuffer_r(h, xy, n, 0, 0);
	return GEOSGeom_createPolygon_r(h, GEOSGeom_createLinearRing_r(h, s), NULL, 0);
}

// zones buffers each lot in and each thing out and takes the one from the
// other; with check it asks first whether both are valid. It returns the sum of
// areas.
static double zones(GEOSContextHandle_t h, GEOSGeometry **lots, GEOSGeometry **things, int n, double in, double out, int in_chords, int out_chords, int check) {
	double sum = 0;
	for (int i = 0; i < n; i++) {
		if (check && (GEOSisValid_r(h, lots[i]) != 1 || GEOSisValid_r(h, things[i]) != 1)) continue;
		GEOSGeometry *a = GEOSBuffer_r(h, lots[i], -in, in_chords);
		GEOSGeometry *b = GEOSBuffer_r(h, things[i], out, out_chords);
		GEOSGeometry *c = GEOSDifference_r(h, a, b);
		double area = 0;
		if (c && GEOSArea_r(h, c, &area)) sum += area;
		GEOSGeom_destroy_r(h, a);
		GEOSGeom_destroy_r(h, b);
		GEOSGeom_destroy_r(h, c);
	}
	return sum;
}

static void at(GEOSGeometry **a, int i, GEOSGeometry *g) { a[i] = g; }
*/
import "C"

import "unsafe"

// Lots are pairs of a lot and a thing, held by GEOS.
type Lots struct {
	h            C.GEOSContextHandle_t
	lots, things **C.GEOSGeometry
	n            int
}

// New takes up rings, each closed, x and y in turn. They are never given back:
// a benchmark ends with its process.
func New(lots, things [][]float64) *Lots {
	l := &Lots{h: C.GEOS_init_r(), n: len(lots)}
	size := C.size_t(len(lots)) * C.size_t(unsafe.Sizeof(uintptr(0)))
	l.lots, l.things = (**C.GEOSGeometry)(C.malloc(size)), (**C.GEOSGeometry)(C.malloc(size))
	for i := range lots {
		C.at(l.lots, C.int(i), C.area_of(l.h, (*C.double)(&lots[i][0]), C.uint(len(lots[i])/2)))
		C.at(l.things, C.int(i), C.area_of(l.h, (*C.double)(&things[i][0]), C.uint(len(things[i])/2)))
	}
	return l
}

// Zones works out all zones and returns the sum of their areas in m2: lots
// shrunk by in, things grown by out, quarter circles of so many chords each.
func (l *Lots) Zones(in, out float64, inChords, outChords int, check bool) float64 {
	c := C.int(0)
	if check {
		c = 1
	}
	return float64(C.zones(l.h, l.lots, l.things, C.int(l.n), C.double(in), C.double(out), C.int(inChords), C.int(outChords), c))
}
