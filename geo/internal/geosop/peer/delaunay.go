package peer

// GEOS's Delaunay triangulation, which the Go binding does not have: the oracle
// and the peer of geo/ground.

/*
#cgo pkg-config: geos
#define GEOS_USE_ONLY_R_API
#include <geos_c.h>
#include <stdlib.h>

static GEOSGeometry *points(GEOSContextHandle_t h, const double *xy, int n) {
	GEOSGeometry **p = malloc(n * sizeof *p);
	for (int i = 0; i < n; i++) p[i] = GEOSGeom_createPointFromXY_r(h, xy[2*i], xy[2*i+1]);
	GEOSGeometry *m = GEOSGeom_createCollection_r(h, GEOS_MULTIPOINT, p, n);
	free(p);
	return m;
}

static int count(GEOSContextHandle_t h, const GEOSGeometry *g) { return g ? GEOSGetNumGeometries_r(h, g) : -1; }

// corners puts the three corners of each triangle into xy.
static int corners(GEOSContextHandle_t h, const GEOSGeometry *g, double *xy) {
	int n = GEOSGetNumGeometries_r(h, g);
	for (int i = 0; i < n; i++) {
		const GEOSGeometry *ring = GEOSGetExteriorRing_r(h, GEOSGetGeometryN_r(h, g, i));
		const GEOSCoordSequence *s = GEOSGeom_getCoordSeq_r(h, ring);
		for (int k = 0; k < 3; k++)
			if (!GEOSCoordSeq_getXY_r(h, s, k, &xy[6*i+2*k], &xy[6*i+2*k+1])) return 0;
	}
	return 1;
}
*/
import "C"

import "errors"

// Points are held by GEOS, x and y in turn.
type Points struct {
	h C.GEOSContextHandle_t
	g *C.GEOSGeometry
}

// NewPoints takes up points. They are never given back.
func NewPoints(xy []float64) *Points {
	h := C.GEOS_init_r()
	return &Points{h, C.points(h, (*C.double)(&xy[0]), C.int(len(xy)/2))}
}

// Delaunay triangulates the points and returns the number of triangles.
func (p *Points) Delaunay() int {
	g := C.GEOSDelaunayTriangulation_r(p.h, p.g, 0, 0)
	defer C.GEOSGeom_destroy_r(p.h, g)
	return int(C.count(p.h, g))
}

// Triangles triangulates the points and returns the corners of each triangle, x
// and y in turn.
func (p *Points) Triangles() ([][6]float64, error) {
	g := C.GEOSDelaunayTriangulation_r(p.h, p.g, 0, 0)
	n := int(C.count(p.h, g))
	if n < 0 {
		return nil, errors.New("peer: GEOS has no triangulation")
	}
	defer C.GEOSGeom_destroy_r(p.h, g)
	out := make([][6]float64, n)
	if n > 0 && C.corners(p.h, g, (*C.double)(&out[0][0])) == 0 {
		return nil, errors.New("peer: GEOS has no corners")
	}
	return out, nil
}
