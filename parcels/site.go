package parcels

// A site and its layers, in the site's plane. The form of the document they
// are read from is the contract's section 2 (package document); field by field
// the names here are those of the document, less the unit.

import (
	"encoding/json"

	"github.com/paulmach/orb"

	"fallwright/geo/frame"
	"fallwright/geo/unit"
	"fallwright/hydro"
)

// Layer is the key of a layer in a site document and the name of its table in
// a store.
type Layer string

// The layers that are read. A new layer kind is one line here, one reader in
// package document and one entry in the API document.
const (
	LayerParcels        Layer = "parcels"
	LayerStreets        Layer = "streets"
	LayerDistricts      Layer = "districts"
	LayerBuildings      Layer = "buildings"
	LayerOpenings       Layer = "openings"
	LayerEasements      Layer = "easements"
	LayerSwales         Layer = "swales"
	LayerInlets         Layer = "inlets"
	LayerOutlets        Layer = "outlets"
	LayerIntakes        Layer = "intakes"
	LayerPerforatedRuns Layer = "perforated_runs"
	LayerObstacles      Layer = "obstacles"
	LayerDrains         Layer = "drains"
	LayerSpots          Layer = "spots"
	LayerContours       Layer = "contours"
	LayerBreaklines     Layer = "breaklines"
)

// Layers lists every layer in the order of the contract.
var Layers = []Layer{LayerParcels, LayerStreets, LayerDistricts, LayerBuildings, LayerOpenings,
	LayerEasements, LayerSwales, LayerInlets, LayerOutlets, LayerIntakes, LayerPerforatedRuns,
	LayerObstacles, LayerDrains, LayerSpots, LayerContours, LayerBreaklines}

// Origin says how an input came to be known.
type Origin string

const (
	Measured Origin = "measured"
	Mapped   Origin = "mapped"
	Assumed  Origin = "assumed"
)

// Common is what every feature carries: its place in the layer (0-based), its
// GeoJSON id as text if it had one, its origin, and its properties as given,
// handed back untouched.
type Common struct {
	Index      int
	FeatureID  string
	Origin     Origin
	Properties map[string]json.RawMessage
}

// LineRole is the role of a lot edge.
type LineRole string

const (
	Front LineRole = "front"
	Side  LineRole = "side"
	Rear  LineRole = "rear"
)

// LineSource is where a lot line comes from.
type LineSource string

const (
	LineSurvey LineSource = "survey"
	LinePins   LineSource = "pins"
	LineGIS    LineSource = "gis"
)

// Lot is one parcel. Shape is valid, shells counter-clockwise, rings closed.
// Roles, LineSources and LineSDs have one entry for each edge of the outer
// ring of the first part, in the order of Shape, or are nil where the input is
// silent.
type Lot struct {
	Common
	ID          string
	Shape       orb.MultiPolygon
	Clearance   *unit.Length
	Roles       []LineRole
	LineSources []LineSource
	LineSDs     []unit.Length
}

// TrenchRule says whether a trench may lie in an easement or a street.
type TrenchRule string

const (
	TrenchAllowed    TrenchRule = "allowed"
	TrenchPermission TrenchRule = "permission"
	TrenchForbidden  TrenchRule = "forbidden"
)

// Street is a street area or centre line.
type Street struct {
	Common
	Geometry orb.Geometry // Polygon, MultiPolygon or LineString
	Trench   TrenchRule   // empty: not said
}

// District is an area with criteria of its own, as raw overrides.
type District struct {
	Common
	Shape    orb.MultiPolygon
	Criteria json.RawMessage
}

// Building is a footprint. Where Roof is true the outline is the eaves and the
// wall stands Overhang inside it.
type Building struct {
	Common
	Lot          string
	Shape        orb.MultiPolygon
	RoofArea     *unit.Area
	Roof         bool
	Overhang     unit.Length
	FootingDepth *unit.Length
}

// Opening is a lowest opening of a house.
type Opening struct {
	Common
	At    orb.Point
	Kind  string
	Level *unit.Elevation
}

// Easement is an area where others hold rights: a polygon, or a centre line
// with a width.
type Easement struct {
	Common
	ID       string
	Geometry orb.Geometry // Polygon, MultiPolygon or LineString
	Kind     string       // drainage, utility, access, other
	Trench   TrenchRule
	Width    *unit.Length
}

// Swale is a flow line. Z has one elevation a vertex, or is nil.
type Swale struct {
	Common
	Line         orb.LineString
	Z            []unit.Elevation
	SideSlope    *float64
	BottomWidth  *unit.Length
	Depth        *unit.Length
	N            *hydro.Roughness
	MayDischarge bool
	MaintainedBy string
}

// System is the sewer a structure belongs to.
type System string

const (
	SystemStorm    System = "storm"
	SystemCombined System = "combined"
	SystemSanitary System = "sanitary"
	SystemUnknown  System = "unknown"
)

// Grate is the opening through which surface water enters.
type Grate struct {
	Length, Width *unit.Length
	OpenRatio     *float64
	Clogging      *float64
}

// LevelAt is a water level at a minute of the design storm.
type LevelAt struct {
	Minute hydro.Duration
	Level  unit.Elevation
}

// Inlet is a storm structure a drain may tie into.
type Inlet struct {
	Common
	ID               string
	At               orb.Point
	Kind             string // grate, curb, manhole
	System           System
	Owner            string
	Rim              *unit.Elevation
	Invert           *unit.Elevation // of the outgoing pipe
	OutgoingDiameter *unit.Length
	Sump             *unit.Length
	TieIn            *unit.Elevation
	Grate            Grate
	Tailwater        *unit.Elevation
	TailwaterCurve   []LevelAt
	// TailwaterByReturn has levels by return period, where given so.
	TailwaterByReturn map[hydro.ReturnPeriod][]LevelAt
	FlowLimit         *hydro.Flow
}

// Outlet is another end that is allowed.
type Outlet struct {
	Common
	ID            string
	At            orb.Point
	Kind          string // daylight, emitter, dry_well, curb_core
	Level         *unit.Elevation
	RiserDiameter *unit.Length
	OpeningHead   *unit.Length
	Weep          bool
}

// Intake is a place where water enters.
type Intake struct {
	Common
	ID         string
	Lot        string
	At         orb.Point
	Kind       string // downspout, yard_basin, channel_drain, window_well, stair_well, sump
	RoofArea   *unit.Area
	RoofC      *float64
	YardArea   *unit.Area
	YardC      *float64
	Tc         *hydro.Duration
	Flow       *hydro.Flow
	Rim        *unit.Elevation
	Invert     *unit.Elevation
	StartCover *unit.Length
	Grate      Grate
}

// Concentration is the time of concentration of the intake's own areas: what is
// stated, no shorter than the rules' least time for the surface.
func (in *Intake) Concentration(least hydro.Duration) hydro.Duration {
	if in.Tc == nil {
		return least
	}
	return max(*in.Tc, least)
}

// PerforatedRun is a line along which a perforated pipe is wanted.
type PerforatedRun struct {
	Common
	ID        string
	Lot       string
	Line      orb.LineString
	PipeCount int
	Width     *unit.Length
	Depth     *unit.Length
}

// Crossing says whether a trench may cross an obstacle.
type Crossing string

const (
	CrossingFree      Crossing = "free"
	CrossingCostly    Crossing = "costly"
	CrossingForbidden Crossing = "forbidden"
)

// Obstacle is a thing in the ground or on it: a point with a radius, a line
// with a width, or an area. KeepClear is what the trench edge must keep from it
// on top.
type Obstacle struct {
	Common
	ID                   string
	Kind                 string
	Geometry             orb.Geometry // as given: Point, LineString, Polygon
	Radius               *unit.Length
	Width                *unit.Length
	Trunk                *unit.Length
	Crossing             Crossing
	CrossingCostPerMetre *float64
	Elevation            *unit.Elevation
	Cover                *unit.Length
	KeepClear            *unit.Length // nil: the criteria's for its kind
	FenceBottom          string
	Confidence           string
}

// DrainStatus is existing, proposed or laid.
type DrainStatus string

// Drain is a drawn or existing drain.
type Drain struct {
	Common
	ID         string
	Lot        string
	Line       orb.LineString
	Z          []unit.Elevation
	Status     DrainStatus
	Keep       bool
	InvertUp   *unit.Elevation
	InvertDown *unit.Elevation
	Diameter   *unit.Length
	Pipe       string
	N          *hydro.Roughness
	// Of an existing drain that is looked into: what it is to carry in the design
	// storm, what its grates or stone let in, the water where it ends, and whether
	// its end was found: open, not_found, or empty where nobody has looked.
	Flow        *hydro.Flow
	Intake      *hydro.Flow
	OutletLevel *unit.Elevation
	End         string
}

// Spot is a shot: a point with an elevation.
type Spot struct {
	Common
	At          orb.Point
	Z           unit.Elevation
	Description string
}

// GroundLine is a contour or a breakline: a line with an elevation a vertex.
type GroundLine struct {
	Common
	Line orb.LineString
	Z    []unit.Elevation
}

// RainRow is one cell of a depth-duration-frequency table.
type RainRow struct {
	Duration hydro.Duration
	Return   hydro.ReturnPeriod
	DepthMM  float64
}

// Rainfall is one of: a stated intensity, a table, a curve.
type Rainfall struct {
	Intensity *hydro.Intensity
	Duration  *hydro.Duration
	Return    *hydro.ReturnPeriod
	Table     []RainRow
	Curve     *struct{ A, B, C float64 }
}

// Soil is what is known of the ground's intake and permeability.
type Soil struct {
	Texture        string
	ConductivityMH *float64 // metres an hour
	InfiltrationMM *hydro.Intensity
	WaterTable     *unit.Length // depth below ground
}

// Site is a site document in the site's plane.
type Site struct {
	Name          string
	CRS           string // as given; empty: longitude, latitude on WGS 84
	Frame         *frame.Frame
	VerticalDatum string
	Benchmark     string
	Origin        Origin
	// Supplied says which layers were in the document, empty ones included.
	Supplied map[Layer]bool

	Lots           []Lot
	Streets        []Street
	Districts      []District
	Buildings      []Building
	Openings       []Opening
	Easements      []Easement
	Swales         []Swale
	Inlets         []Inlet
	Outlets        []Outlet
	Intakes        []Intake
	PerforatedRuns []PerforatedRun
	Obstacles      []Obstacle
	Drains         []Drain
	Spots          []Spot
	Contours       []GroundLine
	Breaklines     []GroundLine

	Terrain  string
	Rain     *Rainfall
	Soil     *Soil
	Criteria Criteria

	// Findings of reading: values that cannot be meant, repairs, layers left
	// out. Assumptions: every default used because the input was silent.
	Findings    []Finding
	Assumptions []string
	// Unknown holds top-level members and layers that are not read, as given.
	Unknown map[string]json.RawMessage
	// Document is the text the site was read from; the verifier takes it.
	Document []byte
}

// Lot returns the lot with the id, or nil.
func (s *Site) Lot(id string) *Lot {
	for i := range s.Lots {
		if s.Lots[i].ID == id {
			return &s.Lots[i]
		}
	}
	return nil
}
