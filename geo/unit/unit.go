// Package unit holds the named quantities that cross room borders: lengths,
// areas, elevations and slopes, in SI.
//
// The unit of every value is metres (or square metres); other units exist only
// where documents are read (package document) and where people read (package
// display). Two quantities multiply only through a method: Length*Length
// compiles in Go and would still be called a Length. Imports nothing but the
// standard library, so that hydro may use it too.
package unit

// Length is a distance in metres, horizontal unless its name says otherwise.
type Length float64

// Lengths by name. The international foot is exact; the US survey foot is
// 1200/3937 m, exact (NIST SP 811, appendix B.6).
const (
	Metre      Length = 1
	Millimetre Length = 0.001
	Foot       Length = 0.3048
	Inch       Length = 0.0254
	SurveyFoot Length = 1200.0 / 3937.0
)

// Metres returns the bare number of metres.
func (l Length) Metres() float64 { return float64(l) }

// Feet returns the length in international feet.
func (l Length) Feet() float64 { return float64(l / Foot) }

// Times returns the area of a rectangle l by m.
func (l Length) Times(m Length) Area { return Area(float64(l) * float64(m)) }

// Area is a plan area in square metres.
type Area float64

// SquareMetres returns the bare number of square metres.
func (a Area) SquareMetres() float64 { return float64(a) }

// SquareFeet returns the area in square international feet.
func (a Area) SquareFeet() float64 { return float64(a) / (0.3048 * 0.3048) }

// Elevation is a height in metres above the site's vertical datum. It is no
// Length: two elevations subtract to a Length and never add.
type Elevation float64

// Metres returns the bare number of metres above the datum.
func (e Elevation) Metres() float64 { return float64(e) }

// Above returns how far e stands above f; negative when below.
func (e Elevation) Above(f Elevation) Length { return Length(e - f) }

// Plus returns the elevation l higher.
func (e Elevation) Plus(l Length) Elevation { return e + Elevation(l) }

// Slope is fall over run, metre per metre, positive downhill along the
// direction of flow. 0.01 is 1 %.
type Slope float64

// Over returns the fall along a run of length l.
func (s Slope) Over(l Length) Length { return Length(float64(s) * float64(l)) }

// Grade returns the slope of a run that falls by fall over run; run must be
// positive.
func Grade(fall, run Length) Slope { return Slope(float64(fall) / float64(run)) }
