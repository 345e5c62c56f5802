package frame

// The way between two reference systems, by PROJ.
//
// The objects are made and destroyed here and in order: the transformation
// before its context, and only once nobody can use either. A binding that leaves
// each to its own garbage-collector cleanup destroys them in any order and while
// others use the context, which now and then kills the process.

// #cgo pkg-config: proj
// #include <stdlib.h>
// #include <proj.h>
//
// static int transform(PJ *p, int inverse, double *x, double *y) {
// 	PJ_COORD c = proj_coord(*x, *y, 0, 0);
// 	proj_errno_reset(p);
// 	c = proj_trans(p, inverse ? PJ_INV : PJ_FWD, c);
// 	*x = c.xy.x;
// 	*y = c.xy.y;
// 	return proj_errno(p);
// }
import "C"

import (
	"errors"
	"fmt"
	"math"
	"runtime"
	"sync"
	"unsafe"

	"github.com/paulmach/orb"
)

// transform goes from one system to another and back, easting or longitude
// first. It is safe for use by several goroutines at once.
type transform struct {
	mu sync.Mutex
	pj *C.PJ
}

type projObjects struct {
	context *C.PJ_CONTEXT
	pj      *C.PJ
}

// newTransform makes the way between two systems, each a code or a definition.
// The error's text is PROJ's.
func newTransform(from, to string) (*transform, error) {
	ctx := C.proj_context_create()
	C.proj_log_level(ctx, C.PJ_LOG_NONE)
	cFrom, cTo := C.CString(from), C.CString(to)
	defer C.free(unsafe.Pointer(cFrom))
	defer C.free(unsafe.Pointer(cTo))
	raw := C.proj_create_crs_to_crs(ctx, cFrom, cTo, nil)
	var pj *C.PJ
	if raw != nil {
		pj = C.proj_normalize_for_visualization(ctx, raw)
		C.proj_destroy(raw)
	}
	return takeOver(ctx, pj)
}

// newMercator makes the way from longitude, latitude to a transverse Mercator
// plane about an origin on WGS 84, in metres. It is the one operation that
// newTransform would find between the two, named outright: that search reads
// PROJ's database for milliseconds, and every site in longitude and latitude has
// a plane of its own. The error's text is PROJ's.
func newMercator(origin orb.Point) (*transform, error) {
	ctx := C.proj_context_create()
	C.proj_log_level(ctx, C.PJ_LOG_NONE)
	def := C.CString(fmt.Sprintf("+proj=pipeline +step +proj=unitconvert +xy_in=deg +xy_out=rad +step +proj=tmerc +lat_0=%.6f +lon_0=%.6f +k=1 +x_0=0 +y_0=0 +ellps=WGS84", origin[1], origin[0]))
	defer C.free(unsafe.Pointer(def))
	return takeOver(ctx, C.proj_create(ctx, def))
}

// takeOver makes a transform that owns a context and what was made in it.
func takeOver(ctx *C.PJ_CONTEXT, pj *C.PJ) (*transform, error) {
	if pj == nil {
		why := C.GoString(C.proj_context_errno_string(ctx, C.proj_context_errno(ctx)))
		C.proj_context_destroy(ctx)
		return nil, errors.New(why)
	}
	t := &transform{pj: pj}
	runtime.AddCleanup(t, func(o projObjects) {
		C.proj_destroy(o.pj)
		C.proj_context_destroy(o.context)
	}, projObjects{ctx, pj})
	return t, nil
}

// forward goes from the first system to the second; NaN where that is not
// possible.
func (t *transform) forward(p orb.Point) orb.Point { return t.run(0, p) }

// back goes from the second system to the first.
func (t *transform) back(p orb.Point) orb.Point { return t.run(1, p) }

func (t *transform) run(inverse C.int, p orb.Point) orb.Point {
	t.mu.Lock()
	defer t.mu.Unlock()
	x, y := C.double(p[0]), C.double(p[1])
	if C.transform(t.pj, inverse, &x, &y) != 0 {
		return orb.Point{math.NaN(), math.NaN()}
	}
	return orb.Point{float64(x), float64(y)}
}
