package verify

// The plane of the contract's section 1, worked a second time.
//
//	a, f   WGS 84: semi-major axis 6378137 m, flattening 1/298.257223563
//	n      third flattening f/(2-f)
//	A      rectifying radius a/(1+n) (1 + n^2/4 + n^4/64 + n^6/256)
//	alpha  coefficients of the series, Karney 2011, equation 35
//	xi, eta  the Gauss-Krüger angles; northing A xi, easting A eta (k = 1)

import "math"

const (
	axisA     = 6378137.0
	flatten   = 1 / 298.257223563
	thirdFlat = flatten / (2 - flatten)
)

var (
	eccentricity = math.Sqrt(flatten * (2 - flatten))
	rectifying   = axisA / (1 + thirdFlat) * (1 + pow(2)/4 + pow(4)/64 + pow(6)/256)
	alpha        = [6]float64{
		thirdFlat/2 - 2*pow(2)/3 + 5*pow(3)/16 + 41*pow(4)/180 - 127*pow(5)/288 + 7891*pow(6)/37800,
		13*pow(2)/48 - 3*pow(3)/5 + 557*pow(4)/1440 + 281*pow(5)/630 - 1983433*pow(6)/1935360,
		61*pow(3)/240 - 103*pow(4)/140 + 15061*pow(5)/26880 + 167603*pow(6)/181440,
		49561*pow(4)/161280 - 179*pow(5)/168 + 6601661*pow(6)/7257600,
		34729*pow(5)/80640 - 3418889*pow(6)/1995840,
		212378941 * pow(6) / 319334400,
	}
)

func pow(k int) float64 {
	p := 1.0
	for ; k > 0; k-- {
		p *= thirdFlat
	}
	return p
}

// pt is a point of the plane in metres. Where exact is set, doc holds the
// numbers of the document, from which the plane follows by a shift and a
// rational unit.
type pt struct {
	x, y  float64
	doc   [2]float64
	exact bool
}

// plane turns positions of the document into points.
type plane struct {
	geographic bool
	lon0, lat0 float64 // degrees
	north0     float64 // northing of the centre from the equator
	metres     float64
	ratio      [2]int64 // metres a unit, as a fraction
	origin     [2]float64
}

func mercator(lonDeg, latDeg float64) (east, north float64) {
	const rad = math.Pi / 180
	lam, phi := lonDeg*rad, latDeg*rad
	tau := math.Tan(phi)
	s := math.Sinh(eccentricity * math.Atanh(eccentricity*math.Sin(phi)))
	t := tau*math.Sqrt(1+s*s) - s*math.Sqrt(1+tau*tau)
	xi := math.Atan2(t, math.Cos(lam))
	eta := math.Asinh(math.Sin(lam) / math.Hypot(t, math.Cos(lam)))
	e, n := eta, xi
	for j, a := range alpha {
		k := float64(2 * (j + 1))
		n += a * math.Sin(k*xi) * math.Cosh(k*eta)
		e += a * math.Cos(k*xi) * math.Sinh(k*eta)
	}
	return rectifying * e, rectifying * n
}

func geographicPlane(lon0, lat0 float64) *plane {
	_, n := mercator(0, lat0)
	return &plane{geographic: true, lon0: lon0, lat0: lat0, north0: n, metres: 1, ratio: [2]int64{1, 1}}
}

// projectedPlane takes the three units of length that the contract knows; ok is
// false for any other.
func projectedPlane(metres float64, origin [2]float64) (p *plane, ok bool) {
	for _, u := range [][2]int64{{1, 1}, {3048, 10000}, {1200, 3937}} {
		if m := float64(u[0]) / float64(u[1]); math.Abs(metres-m) < 1e-12 {
			return &plane{metres: m, ratio: u, origin: [2]float64{math.Round(origin[0]), math.Round(origin[1])}}, true
		}
	}
	return nil, false
}

func (p *plane) point(x, y float64) pt {
	if p.geographic {
		e, n := mercator(x-p.lon0, y)
		return pt{x: e, y: n - p.north0}
	}
	return pt{x: (x - p.origin[0]) * p.metres, y: (y - p.origin[1]) * p.metres, doc: [2]float64{x, y}, exact: true}
}
