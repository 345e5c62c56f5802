package parcels

// The rules that a jurisdiction or a firm sets. The built-in file
// criteria.yaml is the one place of the defaults; each of its keys has its
// unit in its name, and its source or "common practice" in its comment.

import (
	_ "embed"
	"fmt"
	"strings"
	"sync"

	"go.yaml.in/yaml/v3"

	"fallwright/geo/unit"
	"fallwright/hydro"
)

//go:embed criteria.yaml
var criteriaYAML []byte

// CriteriaText is the built-in criteria file, with its comments.
func CriteriaText() string { return string(criteriaYAML) }

// Criteria holds every rule. Field names follow the keys of the criteria file.
type Criteria struct {
	Clearance       Clearance       `yaml:"clearance" json:"clearance"`
	BuildingSetback BuildingSetback `yaml:"building_setback" json:"building_setback"`
	Pipe            PipeRules       `yaml:"pipe" json:"pipe"`
	Trench          TrenchRules     `yaml:"trench" json:"trench"`
	Takeoff         Takeoff         `yaml:"takeoff" json:"takeoff"`
	Storm           Storm           `yaml:"storm" json:"storm"`
	Runoff          Runoff          `yaml:"runoff" json:"runoff"`
	TieIn           TieIn           `yaml:"tie_in" json:"tie_in"`
	Discharge       Discharge       `yaml:"discharge" json:"discharge"`
	Route           RouteRules      `yaml:"route" json:"route"`
	Prices          Prices          `yaml:"prices" json:"prices"`
	Ground          GroundRules     `yaml:"ground" json:"ground"`
	Survey          Survey          `yaml:"survey" json:"survey"`
	Audit           AuditRules      `yaml:"audit" json:"audit"`
	Sheet           TitleBlock      `yaml:"sheet" json:"sheet"`
}

// Clearance: distances to the edge of the trench.
type Clearance struct {
	LotLine              unit.Length  `yaml:"lot_line_m" json:"lot_line_m"`
	Front                *unit.Length `yaml:"front_m" json:"front_m"`
	Side                 *unit.Length `yaml:"side_m" json:"side_m"`
	Rear                 *unit.Length `yaml:"rear_m" json:"rear_m"`
	LineMargin           unit.Length  `yaml:"line_margin_m" json:"line_margin_m"`
	MostChance           float64      `yaml:"most_chance" json:"most_chance"`
	FencePost            unit.Length  `yaml:"fence_post_m" json:"fence_post_m"`
	Foundation           unit.Length  `yaml:"foundation_m" json:"foundation_m"`
	FoundationPerforated unit.Length  `yaml:"foundation_perforated_m" json:"foundation_perforated_m"`
	Utility              unit.Length  `yaml:"utility_m" json:"utility_m"`
	Septic               unit.Length  `yaml:"septic_m" json:"septic_m"`
	Well                 unit.Length  `yaml:"well_m" json:"well_m"`
	RootZonePerTrunk     float64      `yaml:"root_zone_per_trunk" json:"root_zone_per_trunk"`
}

// BuildingSetback: least distance of a building from a line, by role; nil: none.
type BuildingSetback struct {
	Front *unit.Length `yaml:"front_m" json:"front_m"`
	Side  *unit.Length `yaml:"side_m" json:"side_m"`
	Rear  *unit.Length `yaml:"rear_m" json:"rear_m"`
}

// StockPipe is one pipe that can be bought.
type StockPipe struct {
	Size            string          `yaml:"size" json:"size"`
	Pipe            string          `yaml:"pipe" json:"pipe"` // solid, perforated
	Wall            string          `yaml:"wall" json:"wall"` // smooth, corrugated
	Diameter        float64         `yaml:"diameter_mm" json:"diameter_mm"`
	OutsideDiameter float64         `yaml:"outside_diameter_mm" json:"outside_diameter_mm"`
	N               hydro.Roughness `yaml:"n" json:"n"`
	Stick           *unit.Length    `yaml:"stick_m,omitempty" json:"stick_m,omitempty"`
	Coil            *unit.Length    `yaml:"coil_m,omitempty" json:"coil_m,omitempty"`
}

// PipeRules: slopes, cover, depth, stock.
type PipeRules struct {
	TargetSlope      unit.Slope     `yaml:"target_slope" json:"target_slope"`
	LeastSlope       unit.Slope     `yaml:"least_slope" json:"least_slope"`
	GreatestSlope    unit.Slope     `yaml:"greatest_slope" json:"greatest_slope"`
	LeastCover       unit.Length    `yaml:"least_cover_m" json:"least_cover_m"`
	GreatestDepth    unit.Length    `yaml:"greatest_depth_m" json:"greatest_depth_m"`
	LeastDiameter    float64        `yaml:"least_diameter_mm" json:"least_diameter_mm"`
	LeastVelocity    hydro.Velocity `yaml:"least_velocity_ms" json:"least_velocity_ms"`
	RoofInPerforated string         `yaml:"roof_in_perforated" json:"roof_in_perforated"` // forbidden, allowed
	Wall             string         `yaml:"wall" json:"wall"`                             // smooth, corrugated, any: what the planner may choose
	Stock            []StockPipe    `yaml:"stock" json:"stock"`
}

// TrenchRules: the section of the trench.
type TrenchRules struct {
	Width     unit.Length     `yaml:"width_m" json:"width_m"`
	Bedding   unit.Length     `yaml:"bedding_m" json:"bedding_m"`
	OverPipe  unit.Length     `yaml:"over_pipe_m" json:"over_pipe_m"`
	Cap       unit.Length     `yaml:"cap_m" json:"cap_m"`
	CapIntake hydro.Intensity `yaml:"cap_intake_mmh" json:"cap_intake_mmh"`
	VoidRatio float64         `yaml:"void_ratio" json:"void_ratio"`
	Wrap      bool            `yaml:"wrap" json:"wrap"`
}

// Takeoff: how quantities are reckoned.
type Takeoff struct {
	Swell        float64     `yaml:"swell" json:"swell"`
	StoneDensity float64     `yaml:"stone_density_tm3" json:"stone_density_tm3"`
	FabricLap    unit.Length `yaml:"fabric_lap_m" json:"fabric_lap_m"`
	SodExtra     unit.Length `yaml:"sod_extra_m" json:"sod_extra_m"`
	Load         float64     `yaml:"load_m3" json:"load_m3"`
	Waste        struct {
		Stone  float64 `yaml:"stone" json:"stone"`
		Fabric float64 `yaml:"fabric" json:"fabric"`
		Pipe   float64 `yaml:"pipe" json:"pipe"`
	} `yaml:"waste" json:"waste"`
}

// Storm: the design storm.
type Storm struct {
	ReturnYears hydro.ReturnPeriod `yaml:"return_years" json:"return_years"`
	RoofMin     hydro.Duration     `yaml:"roof_min" json:"roof_min"`
	YardMin     hydro.Duration     `yaml:"yard_min" json:"yard_min"`
	Freeboard   unit.Length        `yaml:"freeboard_m" json:"freeboard_m"`
}

// Runoff: coefficients of the rational method.
type Runoff struct {
	RoofC           float64         `yaml:"roof_c" json:"roof_c"`
	YardC           float64         `yaml:"yard_c" json:"yard_c"`
	FrequencyFactor map[int]float64 `yaml:"frequency_factor" json:"frequency_factor"`
}

// TieIn: the last run.
type TieIn struct {
	Reach unit.Length `yaml:"reach_m" json:"reach_m"`
}

// Discharge: where water may be let out on the ground.
type Discharge struct {
	FromLine     unit.Length `yaml:"from_line_m" json:"from_line_m"`
	FromBuilding unit.Length `yaml:"from_building_m" json:"from_building_m"`
	FromStreet   unit.Length `yaml:"from_street_m" json:"from_street_m"`
}

// RouteRules: layout.
type RouteRules struct {
	Outlet        string      `yaml:"outlet" json:"outlet"` // nearest, cheapest
	JoinAngle     float64     `yaml:"join_angle_deg" json:"join_angle_deg"`
	BendAngle     float64     `yaml:"bend_angle_deg" json:"bend_angle_deg"`
	CleanoutEvery unit.Length `yaml:"cleanout_every_m" json:"cleanout_every_m"`
	LeastStraight unit.Length `yaml:"least_straight_m" json:"least_straight_m"`
	// UtilityAngle is the least angle, degrees, at which a run crosses a utility
	// without a price and a warning: 90 is square.
	UtilityAngle float64 `yaml:"utility_angle_deg" json:"utility_angle_deg"`
}

// Prices choose between routes only: bare index numbers per unit of work, no
// money. A price book makes money of quantities (package quantities).
type Prices struct {
	TrenchPerM          float64 `yaml:"trench_per_m" json:"trench_per_m"`
	DepthPerM2          float64 `yaml:"depth_per_m2" json:"depth_per_m2"`
	PipePerMPerMM       float64 `yaml:"pipe_per_m_per_mm" json:"pipe_per_m_per_mm"`
	PavingPerM          float64 `yaml:"paving_per_m" json:"paving_per_m"`
	PermissionPerM      float64 `yaml:"permission_per_m" json:"permission_per_m"`
	UtilityCrossingEach float64 `yaml:"utility_crossing_each" json:"utility_crossing_each"`
	BendEach            float64 `yaml:"bend_each" json:"bend_each"`
	WyeEach             float64 `yaml:"wye_each" json:"wye_each"`
	CleanoutEach        float64 `yaml:"cleanout_each" json:"cleanout_each"`
	TieInEach           float64 `yaml:"tie_in_each" json:"tie_in_each"`
	EarthworkPerM3      float64 `yaml:"earthwork_per_m3" json:"earthwork_per_m3"`
	PumpEach            float64 `yaml:"pump_each" json:"pump_each"`
}

// GroundRules: grading checks and accuracy of elevations.
type GroundRules struct {
	FoundationFall     unit.Slope  `yaml:"foundation_fall" json:"foundation_fall"`
	FoundationFallOver unit.Length `yaml:"foundation_fall_over_m" json:"foundation_fall_over_m"`
	SwaleLeastSlope    unit.Slope  `yaml:"swale_least_slope" json:"swale_least_slope"`
	PondLeastDepth     unit.Length `yaml:"pond_least_depth_m" json:"pond_least_depth_m"`
	ShotSD             unit.Length `yaml:"shot_sd_m" json:"shot_sd_m"`
	LayingSD           unit.Length `yaml:"laying_sd_m" json:"laying_sd_m"`
}

// Survey: how point files are read.
type Survey struct {
	Codes map[string]string `yaml:"codes" json:"codes"`
	Bust  unit.Length       `yaml:"bust_m" json:"bust_m"`
}

// AuditRules: what the audit asks.
type AuditRules struct {
	LeastZone  unit.Area `yaml:"least_zone_m2" json:"least_zone_m2"`
	AssumeFall *float64  `yaml:"assume_fall_m" json:"assume_fall_m"`
}

// TitleBlock: what the sheets print as the firm's own.
type TitleBlock struct {
	Firm     string `yaml:"firm" json:"firm"`
	Licence  string `yaml:"licence" json:"licence"`
	Drawn    string `yaml:"drawn" json:"drawn"`
	Revision string `yaml:"revision" json:"revision"`
}

var builtIn = sync.OnceValue(func() Criteria {
	var c Criteria
	dec := yaml.NewDecoder(strings.NewReader(string(criteriaYAML)))
	dec.KnownFields(true)
	if err := dec.Decode(&c); err != nil {
		panic(fmt.Sprintf("parcels: built-in criteria: %v", err))
	}
	return c
})

// DefaultCriteria returns a copy of the built-in criteria.
func DefaultCriteria() Criteria {
	c := builtIn()
	c.Pipe.Stock = append([]StockPipe(nil), c.Pipe.Stock...)
	c.Runoff.FrequencyFactor = copyMap(c.Runoff.FrequencyFactor)
	c.Survey.Codes = copyMap(c.Survey.Codes)
	return c
}

func copyMap[K comparable, V any](m map[K]V) map[K]V {
	out := make(map[K]V, len(m))
	for k, v := range m {
		out[k] = v
	}
	return out
}

// LineClearance is the clearance of a lot edge of the role: the role's own or
// LotLine, plus LineMargin. A parcel's own clearance_m takes the place of both
// and is the caller's to apply.
func (c Criteria) LineClearance(r LineRole) unit.Length {
	d := c.Clearance.LotLine
	var own *unit.Length
	switch r {
	case Front:
		own = c.Clearance.Front
	case Side:
		own = c.Clearance.Side
	case Rear:
		own = c.Clearance.Rear
	}
	if own != nil {
		d = *own
	}
	return d + c.Clearance.LineMargin
}

// Stock returns the stock pipes of a kind and of the walls the criteria allow,
// in the order of the list.
func (c Criteria) Stock(pipe string) []StockPipe {
	var out []StockPipe
	for _, p := range c.Pipe.Stock {
		if p.Pipe == pipe && (c.Pipe.Wall == "any" || c.Pipe.Wall == "" || p.Wall == c.Pipe.Wall) {
			out = append(out, p)
		}
	}
	return out
}
