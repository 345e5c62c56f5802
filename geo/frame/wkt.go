package frame

// Reference systems as well-known text: written for containers that carry it
// (GeoPackage, .prj), and recognised where a file has nothing else.

// #cgo pkg-config: proj
// #include <stdlib.h>
// #include <proj.h>
import "C"

import (
	"strings"
	"unsafe"
)

// WKT1 gives the definition of a system ("EPSG:2274"; "" is EPSG:4326) in the
// well-known text of OGC 01-009 as GDAL writes it, or with esri as .prj files
// want it. The error is a *CRSError.
func WKT1(crs string, esri bool) (string, error) {
	c := Normalise(crs)
	if c == "" {
		c = "EPSG:4326"
	}
	if !code.MatchString(c) {
		return "", &CRSError{crs, "not a code of the form EPSG:NNNN"}
	}
	ctx := C.proj_context_create()
	defer C.proj_context_destroy(ctx)
	C.proj_log_level(ctx, C.PJ_LOG_NONE)
	def := C.CString(c)
	defer C.free(unsafe.Pointer(def))
	pj := C.proj_create(ctx, def)
	if pj == nil {
		return "", &CRSError{crs, "not known to the EPSG data of PROJ"}
	}
	defer C.proj_destroy(pj)
	kind := C.PJ_WKT_TYPE(C.PJ_WKT1_GDAL)
	if esri {
		kind = C.PJ_WKT1_ESRI
	}
	one := C.CString("MULTILINE=NO")
	defer C.free(unsafe.Pointer(one))
	options := []*C.char{one, nil}
	text := C.proj_as_wkt(ctx, pj, kind, &options[0])
	if text == nil {
		return "", &CRSError{crs, "cannot be written as well-known text"}
	}
	return C.GoString(text), nil
}

// Recognition is what PROJ makes of a definition.
type Recognition struct {
	Code string // "EPSG:NNNN"; "" for longitude, latitude on WGS 84
	Name string // as the definition names itself
	// Sure says that definition and code agree in everything that moves a
	// coordinate; otherwise Code is the best of the list, by name.
	Sure bool
}

// Recognise finds the EPSG code of a definition in well-known text, any
// flavour (.prj files have ESRI's). The error is a *CRSError.
func Recognise(wkt string) (Recognition, error) {
	text := strings.TrimSpace(wkt)
	short := text
	if len(short) > 60 {
		short = short[:60] + "..."
	}
	if text == "" || len(text) > 64<<10 || strings.ContainsRune(text, 0) {
		return Recognition{}, &CRSError{short, "no well-known text"}
	}
	ctx := C.proj_context_create()
	defer C.proj_context_destroy(ctx)
	C.proj_log_level(ctx, C.PJ_LOG_NONE)
	def := C.CString(text)
	defer C.free(unsafe.Pointer(def))
	pj := C.proj_create_from_wkt(ctx, def, nil, nil, nil)
	if pj == nil {
		return Recognition{}, &CRSError{short, "no well-known text that PROJ can read"}
	}
	defer C.proj_destroy(pj)
	r := Recognition{Name: C.GoString(C.proj_get_name(pj))}
	epsg := C.CString("EPSG")
	defer C.free(unsafe.Pointer(epsg))
	var confidence *C.int
	list := C.proj_identify(ctx, pj, epsg, nil, &confidence)
	if list == nil {
		return r, &CRSError{r.Name, "no EPSG system fits this definition"}
	}
	defer C.proj_list_destroy(list)
	defer C.proj_int_list_destroy(confidence)
	n := int(C.proj_list_get_count(list))
	if n == 0 {
		return r, &CRSError{r.Name, "no EPSG system fits this definition"}
	}
	scores := unsafe.Slice(confidence, n)
	best := C.proj_list_get(ctx, list, 0)
	defer C.proj_destroy(best)
	id := C.proj_get_id_code(best, 0)
	if id == nil {
		return r, &CRSError{r.Name, "no EPSG system fits this definition"}
	}
	// 100: same, name and all; 90: equivalent, name differs (another software's
	// spelling); 70 and below: may move coordinates
	r.Code, r.Sure = Normalise("EPSG:"+C.GoString(id)), int(scores[0]) >= 90 && (n == 1 || int(scores[1]) < int(scores[0]))
	if int(scores[0]) < 70 {
		return r, &CRSError{r.Name, "no EPSG system fits this definition well; the nearest is EPSG:" + C.GoString(id)}
	}
	return r, nil
}
