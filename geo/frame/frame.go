// Package frame takes coordinates of a document into the site's plane and back.
//
// The plane is metric, easting then northing, with its origin near the middle
// of the site so that products of coordinates keep their digits. A projected
// system is worked in its own plane (grid distances, unscaled, its unit turned
// into metres); longitudes and latitudes in a transverse Mercator plane on WGS
// 84 with k = 1, centred on the middle of the parcels' bounds. This is the one
// room of geo where longitude and latitude exist. PROJ does the projections.
//
// A Frame is safe for use by several goroutines at once.
package frame

import (
	"fmt"
	"math"
	"strings"
	"sync"

	"github.com/paulmach/orb"

	"fallwright/geo/unit"
)

// CRSError says that a reference system is unknown or cannot serve as a plane.
type CRSError struct {
	CRS    string
	Reason string
}

func (e *CRSError) Error() string { return fmt.Sprintf("frame: %s: %s", e.CRS, e.Reason) }

// Frame is the plane of one site, and the system of the documents about it.
type Frame struct {
	crs     string // "" for longitude and latitude
	metres  float64
	origin  orb.Point // in CRS units (projected), or lon/lat of the centre
	scale   float64
	toPlane *transform // lon/lat -> plane; nil for projected
	toLL    *transform // projected CRS -> lon/lat
	asked   *asked     // nil: the document is in the plane's own system
}

// asked is the system of a document that is in another than the plane's own.
type asked struct {
	info Info
	toLL *transform // nil for longitude and latitude
}

// System is a reference system that can serve as a plane, with what it takes to
// leave it. Making one costs milliseconds, a frame of it microseconds: a program
// that makes many frames keeps the systems. Safe for use by several goroutines.
type System struct {
	info Info
	toLL *transform // nil for longitude and latitude
}

// Open finds a system: "" for longitude, latitude on WGS 84, else an authority
// code as "EPSG:2274"; a code of a geographic system counts as longitude and
// latitude. The error is a *CRSError.
func Open(crs string) (*System, error) {
	info, err := Lookup(crs)
	if err != nil {
		return nil, err
	}
	y := &System{info: info}
	if !info.Geographic {
		if y.toLL, err = newTransform(info.Code, "EPSG:4326"); err != nil {
			return nil, &CRSError{crs, err.Error()}
		}
	}
	return y, nil
}

// Frame makes the plane of a site. bounds is of the parcels, in the system. The
// error is a *CRSError.
func (y *System) Frame(bounds orb.Bound) (*Frame, error) {
	for _, v := range []float64{bounds.Min[0], bounds.Min[1], bounds.Max[0], bounds.Max[1]} {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return nil, &CRSError{y.info.Code, "the parcels have no finite bounds"}
		}
	}
	f := &Frame{crs: y.info.Code, metres: y.info.MetresPerUnit}
	c := bounds.Center()
	if y.info.Geographic {
		f.crs = ""
		f.origin = orb.Point{round(c[0], 1e6), round(c[1], 1e6)}
		pj, err := newMercator(f.origin)
		if err != nil {
			return nil, &CRSError{"WGS 84", err.Error()}
		}
		f.toPlane, f.metres, f.scale = pj, 1, 1
		return f, nil
	}
	f.origin = orb.Point{math.Round(c[0]), math.Round(c[1])}
	f.toLL = y.toLL
	f.scale = f.pointScale(c)
	return f, nil
}

// New makes the frame of a site in a system that is not kept: Open and Frame.
func New(crs string, bounds orb.Bound) (*Frame, error) {
	y, err := Open(crs)
	if err != nil {
		return nil, err
	}
	return y.Frame(bounds)
}

func round(v, per float64) float64 { return math.Round(v*per) / per }

// Plane gives the point of the plane for a position of the document.
func (f *Frame) Plane(p orb.Point) orb.Point {
	if f.asked != nil {
		if f.asked.toLL != nil {
			p = f.asked.toLL.forward(p)
		}
		return f.FromLonLat(p)
	}
	return f.into(p)
}

// into gives the point of the plane for a position in the plane's own system.
func (f *Frame) into(p orb.Point) orb.Point {
	if f.toPlane == nil {
		return orb.Point{(p[0] - f.origin[0]) * f.metres, (p[1] - f.origin[1]) * f.metres}
	}
	return f.toPlane.forward(p)
}

// Document gives the position, in the document's system, of a point of the
// plane.
func (f *Frame) Document(p orb.Point) orb.Point {
	if f.asked != nil {
		d := f.LonLat(p)
		if f.asked.toLL != nil {
			d = f.asked.toLL.back(d)
		}
		return d
	}
	return f.own(p)
}

// own gives the position, in the plane's own system, of a point of the plane.
func (f *Frame) own(p orb.Point) orb.Point {
	if f.toPlane == nil {
		return orb.Point{p[0]/f.metres + f.origin[0], p[1]/f.metres + f.origin[1]}
	}
	return f.toPlane.back(p)
}

// LonLat gives longitude and latitude (WGS 84) of a point of the plane. Between
// NAD 83 and WGS 84 it is good to some metres only: a place on a map, no survey.
func (f *Frame) LonLat(p orb.Point) orb.Point {
	d := f.own(p)
	if f.toLL == nil {
		return d
	}
	return f.toLL.forward(d)
}

// FromLonLat gives the point of the plane of a longitude and latitude (WGS 84).
func (f *Frame) FromLonLat(p orb.Point) orb.Point {
	if f.toLL == nil {
		return f.into(p)
	}
	return f.into(f.toLL.back(p))
}

// In is the same plane for documents in another reference system. Between datums
// positions are good to some metres only. The error is a *CRSError.
func (f *Frame) In(crs string) (*Frame, error) {
	info, err := Lookup(crs)
	if err != nil {
		return nil, err
	}
	g := *f
	g.asked = nil
	if info.Geographic == (f.crs == "") && (info.Geographic || info.Code == f.crs) {
		return &g, nil
	}
	g.asked = &asked{info: info}
	if !info.Geographic {
		if g.asked.toLL, err = newTransform(info.Code, "EPSG:4326"); err != nil {
			return nil, &CRSError{crs, err.Error()}
		}
	}
	return &g, nil
}

// CRS is the document's system; empty for longitude and latitude.
func (f *Frame) CRS() string {
	if f.asked == nil {
		return f.crs
	}
	if f.asked.info.Geographic {
		return ""
	}
	return f.asked.info.Code
}

// Geographic says whether the document is in longitude and latitude.
func (f *Frame) Geographic() bool {
	if f.asked != nil {
		return f.asked.info.Geographic
	}
	return f.toPlane != nil
}

// MetresPerUnit is the length of the document's unit; 1 for longitude and
// latitude, whose plane is in metres.
func (f *Frame) MetresPerUnit() float64 { return f.metres }

// Origin is the origin of the plane: in document units for a projected system,
// the centre's longitude and latitude otherwise.
func (f *Frame) Origin() orb.Point { return f.origin }

// ScaleFactor is grid distance over ellipsoidal distance at the middle of the
// site.
func (f *Frame) ScaleFactor() float64 { return f.scale }

// Decimals is how many decimals a coordinate of the document needs for a
// micrometre, so that a point that came from a document and goes into another
// stays on the line it stood on.
func (f *Frame) Decimals() int {
	if f.Geographic() {
		return 11
	}
	return 6
}

// Name states the plane in words.
func (f *Frame) Name() string {
	if f.Geographic() {
		return fmt.Sprintf("transverse Mercator on WGS 84, k = 1, centred on %.6f, %.6f", f.origin[0], f.origin[1])
	}
	u := "metres"
	switch {
	case math.Abs(f.metres-float64(unit.SurveyFoot)) < 1e-12:
		u = "US survey feet"
	case math.Abs(f.metres-float64(unit.Foot)) < 1e-12:
		u = "international feet"
	}
	return fmt.Sprintf("%s grid (%s), distances unscaled, scale factor %.6f", f.crs, u, f.scale)
}

// pointScale compares a grid length of 100 units about c with the geodesic.
func (f *Frame) pointScale(c orb.Point) float64 {
	var s float64
	for _, d := range []orb.Point{{50, 0}, {0, 50}} {
		a, b := f.toLL.forward(orb.Point{c[0] - d[0], c[1] - d[1]}), f.toLL.forward(orb.Point{c[0] + d[0], c[1] + d[1]})
		s += 100 * f.metres / geodesic(a[0], a[1], b[0], b[1]) / 2
	}
	return round(s, 1e8)
}

// geodesic is the length on the WGS 84 ellipsoid of a short line (under some
// kilometres) by the local radii of curvature at its middle; relative error
// under 1e-8 at 100 m. Source: Bomford, Geodesy, radii of curvature (from memory).
func geodesic(lon1, lat1, lon2, lat2 float64) float64 {
	const a, e2 = 6378137.0, 0.0066943799901413165
	rad := math.Pi / 180
	m := (lat1 + lat2) / 2 * rad
	w := 1 - e2*math.Sin(m)*math.Sin(m)
	rho := a * (1 - e2) / (w * math.Sqrt(w))
	nu := a / math.Sqrt(w)
	return math.Hypot((lat2-lat1)*rad*rho, (lon2-lon1)*rad*nu*math.Cos(m))
}

// Info is what is known of a reference system.
type Info struct {
	Code          string
	Name          string
	Geographic    bool
	MetresPerUnit float64 // 1 for geographic systems
	// West, South, East, North bound the area of use in degrees.
	West, South, East, North float64
}

// Lookup finds a reference system by its code ("EPSG:2274", an OGC URN or URL of
// one, "CRS84" or ""). The error is a *CRSError.
func Lookup(crs string) (Info, error) {
	code := Normalise(crs)
	if code == "" {
		return Info{Geographic: true, MetresPerUnit: 1, Name: "WGS 84 longitude, latitude", West: -180, South: -90, East: 180, North: 90}, nil
	}
	lookups.Lock()
	defer lookups.Unlock()
	if i, ok := lookups.m[code]; ok {
		return i, nil
	}
	i, err := lookup(code)
	if err != nil {
		return Info{}, err
	}
	lookups.m[code] = i
	return i, nil
}

// lookups keeps what PROJ said of a code: the same answer every time, so this
// cache changes no result.
var lookups = struct {
	sync.Mutex
	m map[string]Info
}{m: map[string]Info{}}

// Normalise turns the ways in which documents name a system into "EPSG:NNNN";
// longitude, latitude on WGS 84 becomes "".
func Normalise(crs string) string {
	s := strings.TrimSpace(crs)
	u := strings.ToUpper(s)
	if u == "" || strings.HasSuffix(u, "CRS84") || strings.HasSuffix(u, "CRS84H") {
		return ""
	}
	for _, p := range []string{"URN:OGC:DEF:CRS:EPSG:", "HTTP://WWW.OPENGIS.NET/DEF/CRS/EPSG/", "HTTPS://WWW.OPENGIS.NET/DEF/CRS/EPSG/", "HTTP://WWW.OPENGIS.NET/GML/SRS/EPSG.XML#", "EPSG:"} {
		if rest, ok := strings.CutPrefix(u, p); ok {
			if i := strings.LastIndexAny(rest, ":/"); i >= 0 {
				rest = rest[i+1:]
			}
			if rest == "4326" {
				return ""
			}
			return "EPSG:" + rest
		}
	}
	return s
}

// From gives the way into this plane for positions of another reference
// system. Between datums it is good to some metres only. The error is a
// *CRSError. The function may be used by several goroutines at once.
func (f *Frame) From(crs string) (func(orb.Point) orb.Point, error) {
	info, err := Lookup(crs)
	if err != nil {
		return nil, err
	}
	if info.Geographic {
		return f.FromLonLat, nil
	}
	if info.Code == f.crs {
		return f.Plane, nil
	}
	pj, err := newTransform(info.Code, "EPSG:4326")
	if err != nil {
		return nil, &CRSError{crs, err.Error()}
	}
	return func(p orb.Point) orb.Point { return f.FromLonLat(pj.forward(p)) }, nil
}
