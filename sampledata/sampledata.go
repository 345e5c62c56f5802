// Package sampledata embeds an invented subdivision, Quillmere Hollow: 36
// lots, houses, easements, swales, five inlets, ground shots, and the hard
// cases that a planner meets. No real place, people or records; its position in
// the state-plane grid was picked because it must have one.
//
// The same site comes twice: in EPSG:2274 (US survey feet) and in longitude and
// latitude on WGS 84. Elevations are feet. Command generate (beside this
// package) writes both; it imports nothing of the service but geo/frame, and
// this package imports nothing at all, so that any room's tests may use it.
package sampledata

import _ "embed"

//go:generate go run ./generate .

//go:embed quillmere_hollow.epsg2274.json
var statePlane string

//go:embed quillmere_hollow.lonlat.json
var lonLat string

// StatePlane is the site document in EPSG:2274, coordinates in US survey feet.
func StatePlane() []byte { return []byte(statePlane) }

// LonLat is the site document in longitude and latitude.
func LonLat() []byte { return []byte(lonLat) }

// Site is the name of the site in the documents.
const Site = "quillmere_hollow"

// The lots that the issues of a real office are made of. All other lots are
// plain.
const (
	// Sample drains well: five downspouts, a yard basin in a closed bowl, a
	// perforated run, and inlet I1 at the rear line.
	Sample = "B4"
	// SideTooNarrow has no side yard wide enough for a trench on either side:
	// front and rear yard are two trench zones.
	SideTooNarrow = "B5"
	// Flag reaches the street by a pole.
	Flag = "A9"
	// Pie has a front of about 43 ft on the turning circle and a rear of 96 ft.
	Pie = "A8"
	// LShaped takes the ground behind its neighbour C7.
	LShaped = "C6"
	// TwoPieces is cut by a path that is no lot.
	TwoPieces = "D9"
	// BelowInlet lies under the invert of inlet I4 at its front: no gravity
	// route to any inlet.
	BelowInlet = "D5"
	// DrainStrays has drain DR-C3, which strays over the side line by 4 in.
	DrainStrays = "C3"
	// SplitByEasement is cut in two by an access easement where digging is
	// forbidden; inlet I5 lies behind it.
	SplitByEasement = "A2"
	// BackedUp is the inlet (not a lot) whose tailwater rises over its rim in
	// the design storm; it stands at the rear of lots B1 and C1.
	BackedUp = "I2"
	// GarageInEasement has a detached garage in the rear drainage easement.
	GarageInEasement = "B8"
	// SwaleFilled has ground filled into the rear swale S2, which dams it.
	SwaleFilled = "B6"
	// FenceDamsSwale has a solid fence that runs on across the rear swale.
	FenceDamsSwale = "C6"
)

// Inlets at whose place a lot's last run can arrive, by lot.
var reach = map[string]string{"B3": "I1", "B4": "I1", "C3": "I1", "B1": "I2", "C1": "I2", "B7": "I3", "C6": "I3", "D5": "I4", "A2": "I5", "A3": "I5"}

// NearInlet is the inlet that stands within the tie-in reach of the lot's line,
// or "" where none does.
func NearInlet(lot string) string { return reach[lot] }

// Bowl is a closed hollow of known volume: an eight-sided cone upside down.
type Bowl struct {
	Lot string
	// RadiusFt is the distance of the eight rim shots from the middle, DepthFt
	// the rim over the lowest shot, both in feet of the grid.
	RadiusFt, DepthFt float64
}

// VolumeM3 is the water the bowl holds to its rim: a third of the octagon's
// area, 2 sqrt 2 r^2, times the depth. Plan feet are US survey feet, the depth
// international feet.
func (b Bowl) VolumeM3() float64 {
	const survey, foot, root2 = 1200.0 / 3937.0, 0.3048, 1.4142135623730951
	r := b.RadiusFt * survey
	return 2 * root2 * r * r * b.DepthFt * foot / 3
}

// Bowls lists the two closed bowls.
var Bowls = []Bowl{{Lot: "B4", RadiusFt: 11, DepthFt: 0.75}, {Lot: "A6", RadiusFt: 10, DepthFt: 0.60}}
