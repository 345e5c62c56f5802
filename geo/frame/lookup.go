package frame

// What PROJ's database says of a reference system: unit, kind, area of use.
// go-proj does not bind these calls.

// #cgo pkg-config: proj
// #include <stdlib.h>
// #include <proj.h>
import "C"

import (
	"math"
	"regexp"
	"unsafe"
)

var code = regexp.MustCompile(`^EPSG:[0-9]{3,6}$`)

func lookup(crs string) (Info, error) {
	if !code.MatchString(crs) {
		return Info{}, &CRSError{crs, "not a code of the form EPSG:NNNN"}
	}
	ctx := C.proj_context_create()
	defer C.proj_context_destroy(ctx)
	C.proj_log_level(ctx, C.PJ_LOG_NONE)
	def := C.CString(crs)
	defer C.free(unsafe.Pointer(def))
	pj := C.proj_create(ctx, def)
	if pj == nil {
		return Info{}, &CRSError{crs, "not known to the EPSG data of PROJ"}
	}
	defer C.proj_destroy(pj)
	info := Info{Code: crs, Name: C.GoString(C.proj_get_name(pj)), MetresPerUnit: 1}
	switch C.proj_get_type(pj) {
	case C.PJ_TYPE_GEOGRAPHIC_2D_CRS, C.PJ_TYPE_GEOGRAPHIC_3D_CRS:
		info.Geographic = true
	case C.PJ_TYPE_PROJECTED_CRS:
	case C.PJ_TYPE_COMPOUND_CRS:
		sub := C.proj_crs_get_sub_crs(ctx, pj, 0)
		if sub == nil || C.proj_get_type(sub) != C.PJ_TYPE_PROJECTED_CRS {
			if sub != nil {
				C.proj_destroy(sub)
			}
			return Info{}, &CRSError{crs, "a compound system without a projected plane"}
		}
		defer C.proj_destroy(sub)
		pj = sub
	default:
		return Info{}, &CRSError{crs, "neither projected nor longitude and latitude"}
	}
	var w, s, e, n C.double
	if C.proj_get_area_of_use(ctx, pj, &w, &s, &e, &n, nil) != 0 && w > -1000 {
		info.West, info.South, info.East, info.North = float64(w), float64(s), float64(e), float64(n)
	} else {
		info.West, info.South, info.East, info.North = -180, -90, 180, 90
	}
	cs := C.proj_crs_get_coordinate_system(ctx, pj)
	if cs == nil {
		return Info{}, &CRSError{crs, "no coordinate system"}
	}
	defer C.proj_destroy(cs)
	var f C.double
	if C.proj_cs_get_axis_info(ctx, cs, 0, nil, nil, nil, &f, nil, nil, nil) == 0 || f <= 0 {
		return Info{}, &CRSError{crs, "no unit"}
	}
	if info.Geographic {
		// numbers are taken as degrees from Greenwich, as they stand
		if math.Abs(float64(f)-math.Pi/180) > 1e-9 {
			return Info{}, &CRSError{crs, "its angles are not in degrees"}
		}
		var east C.double
		if pm := C.proj_get_prime_meridian(ctx, pj); pm != nil {
			defer C.proj_destroy(pm)
			C.proj_prime_meridian_get_parameters(ctx, pm, &east, nil, nil)
		}
		if east != 0 {
			return Info{}, &CRSError{crs, "its longitudes do not count from Greenwich"}
		}
		return info, nil
	}
	info.MetresPerUnit = float64(f)
	return info, nil
}
