package parcels

// A plan, its network, and what stands beside it. Geometry is in the site's
// plane; package document writes and reads the JSON of the contract's section
// 4. Struct tags name the properties of that JSON.

import (
	"github.com/paulmach/orb"

	"fallwright/geo/unit"
	"fallwright/hydro"
)

// PointKind ranks as listed: a point that is two things is the first of them.
type PointKind string

const (
	PointIntake   PointKind = "intake"
	PointInlet    PointKind = "inlet"
	PointOutlet   PointKind = "outlet"
	PointBasin    PointKind = "basin"
	PointWye      PointKind = "wye"
	PointCleanout PointKind = "cleanout"
	PointBend     PointKind = "bend"
	PointReducer  PointKind = "reducer"
	PointValve    PointKind = "valve"
)

// Point is a node of the network.
type Point struct {
	ID         string          `json:"point"`
	Kind       PointKind       `json:"kind"`
	At         orb.Point       `json:"-"`
	Lot        string          `json:"lot,omitempty"`
	Ground     *unit.Elevation `json:"ground_m"`
	Rim        *unit.Elevation `json:"rim_m"`
	Invert     *unit.Elevation `json:"invert_m"` // lowest pipe there
	Depth      *unit.Length    `json:"depth_m"`  // ground to that invert
	WaterLevel *unit.Elevation `json:"water_level_m"`
	Freeboard  *unit.Length    `json:"freeboard_m"`
	Angle      *float64        `json:"angle_deg"`
	// RoofArea is the roof that comes down at an intake, as the flows were worked
	// with: stated, or the downspout's share of its footprint.
	RoofArea *unit.Area `json:"roof_area_m2,omitempty"`
	Fittings []string   `json:"fittings"`
}

// Carries says what water a run carries.
type Carries string

const (
	CarriesRoof   Carries = "roof"
	CarriesYard   Carries = "yard"
	CarriesGround Carries = "ground"
	CarriesMixed  Carries = "mixed"
)

// Run is a pipe between two points, drawn downstream. Flow and capacity are of
// all its pipes together; capacity is full pipe, not the peak above it. Levels
// and what follows from them are nil where the ground is not known.
type Run struct {
	ID              string           `json:"run"`
	From            string           `json:"from"`
	To              string           `json:"to"`
	Line            orb.LineString   `json:"-"`
	Lot             string           `json:"lot,omitempty"`
	Trench          string           `json:"trench"`
	Carries         Carries          `json:"carries"`
	Pipe            string           `json:"pipe"`
	Wall            string           `json:"wall"`
	Size            string           `json:"size"`
	Diameter        float64          `json:"diameter_mm"`
	OutsideDiameter float64          `json:"outside_diameter_mm"`
	PipeCount       int              `json:"pipe_count"`
	N               hydro.Roughness  `json:"n"`
	Length          unit.Length      `json:"length_m"`
	Fall            *unit.Length     `json:"fall_m"`
	Slope           *unit.Slope      `json:"slope"`
	InvertUp        *unit.Elevation  `json:"invert_up_m"`
	InvertDown      *unit.Elevation  `json:"invert_down_m"`
	Area            unit.Area        `json:"area_m2"`
	Tc              hydro.Duration   `json:"time_of_concentration_min"`
	Intensity       *hydro.Intensity `json:"intensity_mmh"`
	Flow            *hydro.Flow      `json:"flow_m3s"`
	Capacity        *hydro.Flow      `json:"capacity_m3s"`
	FillRatio       *float64         `json:"fill_ratio"`
	Velocity        *hydro.Velocity  `json:"velocity_ms"`
	Shear           *float64         `json:"shear_pa"`
	LeastCover      *unit.Length     `json:"least_cover_m"`
	GreatestDepth   *unit.Length     `json:"greatest_depth_m"`
	LeastClearance  *unit.Length     `json:"least_clearance_m"`
	// ChanceUnder is the chance that the run, laid, ends with less than the least
	// slope between its ends; FallSD the standard error of that fall, from the
	// criteria's of a shot and of laying at both ends. A run that lies already is
	// off by its shots alone.
	ChanceUnder *float64     `json:"chance_under_least_fall"`
	FallSD      *unit.Length `json:"fall_sd_m"`
	TieIn       bool         `json:"tie_in"`
	LeadOff     bool         `json:"lead_off"`
	// Laid: the run lies already, at these levels, and the rest is laid to it.
	Laid bool `json:"laid,omitempty"`
	// RoofCA and YardCA are the summed C times area in m2, for the flow balance.
	RoofCA unit.Area `json:"roof_ca_m2"`
	YardCA unit.Area `json:"yard_ca_m2"`
	// StatedFlow is what intakes gave as flow_m3s, summed.
	StatedFlow hydro.Flow `json:"stated_flow_m3s"`
	// CostIndex is the run's own: trench, pipe, the fitting at its upper end and
	// what it crosses; the tie-in is no run's.
	CostIndex *float64 `json:"cost_index"`
	// Of a shared trunk: by right of which easements the run lies where its lot's
	// own zone ends, over which lots beside Lot, and each lot's share of the flow
	// and so of the cost.
	Easements []string           `json:"easements,omitempty"`
	OverLots  []string           `json:"over_lots,omitempty"`
	Shares    map[string]float64 `json:"shares,omitempty"`
}

// Share is a lot's part of a shared drain: of each run the part that the lot's
// flow is of the flow there, of the tie-in its part at the last run.
type Share struct {
	Lot       string      `json:"lot"`
	Outlet    string      `json:"outlet,omitempty"` // of its trunk; empty: it has none
	CA        unit.Area   `json:"ca_m2"`            // C times area that the lot brings
	Stated    hydro.Flow  `json:"stated_flow_m3s"`  // and what its intakes state
	Length    unit.Length `json:"length_m"`         // of pipe, each run by the share
	Shared    unit.Length `json:"shared_length_m"`  // of the runs that it has with others
	CostIndex float64     `json:"cost_index"`
	Share     float64     `json:"share"` // of the whole
}

// Trench is a stretch of digging of one section, with the runs in it.
type Trench struct {
	ID            string       `json:"trench"`
	Runs          []string     `json:"runs"`
	Width         unit.Length  `json:"width_m"`
	Length        unit.Length  `json:"length_m"`
	LeastDepth    *unit.Length `json:"least_depth_m"`
	MeanDepth     *unit.Length `json:"mean_depth_m"`
	GreatestDepth *unit.Length `json:"greatest_depth_m"`
	Excavation    *float64     `json:"excavation_m3"` // bank volume
	Stone         float64      `json:"stone_m3"`      // net of pipes
	Fabric        unit.Area    `json:"fabric_m2"`
	Cap           float64      `json:"cap_m3"`
	Stretches     []Stretch    `json:"-"`
}

// Stretch is a piece of a trench in one kind of surface (lawn, paving, ...).
type Stretch struct {
	Surface string
	Length  unit.Length
}

// ProfileRow is one station of a profile.
type ProfileRow struct {
	Station    unit.Length     `json:"station_m"`
	At         orb.Point       `json:"at"`
	Point      string          `json:"point,omitempty"`
	Ground     *unit.Elevation `json:"ground_m"`
	Invert     unit.Elevation  `json:"invert_m"`
	Crown      unit.Elevation  `json:"crown_m"` // inside top of the pipe
	WaterLevel *unit.Elevation `json:"water_level_m"`
	Cut        *unit.Length    `json:"cut_m"` // ground to invert
}

// Profile is the way of the water from one intake to the outlet.
type Profile struct {
	From string       `json:"from"`
	To   string       `json:"to"`
	Runs []string     `json:"runs"`
	Rows []ProfileRow `json:"rows"`
}

// Alternative is an outlet that was tried, with its cost or the reason it lost.
type Alternative struct {
	Lot       string       `json:"lot,omitempty"` // whose drain would end there, where the plan has drains of several
	Outlet    string       `json:"outlet"`        // empty: not in the input, Kind and Location say what
	Kind      string       `json:"kind,omitempty"`
	Location  *orb.Point   `json:"location,omitempty"`
	Verdict   Verdict      `json:"verdict"`
	Reason    string       `json:"reason,omitempty"`
	Length    *unit.Length `json:"length_m"`
	CostIndex *float64     `json:"cost_index"`
	Short     *unit.Length `json:"short_m"` // how much fall is missing
}

// The kinds of remedy.
const (
	LowerTieIn   = "lower_tie_in"
	LessCover    = "less_cover"
	LargerPipe   = "larger_flatter_pipe"
	DeeperTrench = "deeper_trench"
	OtherInlet   = "other_inlet"
	SharedTrunk  = "shared_trunk"
	RegradeSwale = "regrade_swale"
	FillBowl     = "fill_bowl"
	Pump         = "pump"
	Combined     = "combined" // two of the others together
)

// Remedy is what would mend, or help to mend, a yard that gravity does not drain:
// one thing changed, or, where none alone does it, two (Steps). Its verdict says
// whether that does it; From and To are the value that one thing changes, in Unit.
// Checked says that the plan with it was made and passed the checker; else it is
// an estimate on the layout as it is drawn.
type Remedy struct {
	Kind      string       `json:"remedy"`
	Lot       string       `json:"lot,omitempty"`
	Outlet    string       `json:"outlet,omitempty"`
	Verdict   Verdict      `json:"verdict"`
	Message   string       `json:"message"`
	From      *float64     `json:"from,omitempty"`
	To        *float64     `json:"to,omitempty"`
	Unit      string       `json:"unit,omitempty"`
	Gain      *unit.Length `json:"gain_m"`     // of fall at the outlet
	Short     *unit.Length `json:"short_m"`    // what is still missing
	CostIndex *float64     `json:"cost_index"` // of the drain with it
	Cut       *float64     `json:"cut_m3,omitempty"`
	Fill      *float64     `json:"fill_m3,omitempty"`
	Flow      *hydro.Flow  `json:"flow_m3s,omitempty"` // of a pump
	Head      *unit.Length `json:"head_m,omitempty"`   // of a pump
	Location  *orb.Point   `json:"location,omitempty"`
	Steps     []RemedyStep `json:"steps,omitempty"`
	Checked   bool         `json:"checked"`
	// Grading is the ground to be, where the plan of a remedy that moves earth was
	// made and checked on it: what to stake.
	Grading []Graded `json:"grading,omitempty"`
}

// Graded is a place of ground to be, and its level.
type Graded struct {
	At    orb.Point      `json:"location"`
	Level unit.Elevation `json:"level_m"`
}

// RemedyStep is one of the things changed by a combined remedy; From and To as of
// a remedy.
type RemedyStep struct {
	Kind   string   `json:"remedy"`
	Outlet string   `json:"outlet,omitempty"`
	From   *float64 `json:"from,omitempty"`
	To     *float64 `json:"to,omitempty"`
	Unit   string   `json:"unit,omitempty"`
}

// AltEmitter is the kind of an alternative that the input does not list.
const AltEmitter = "emitter"

// Bound states how far from the cheapest the layout can be.
type Bound struct {
	CostLowerBound *float64 `json:"cost_lower_bound"`
	Gap            *float64 `json:"gap"`
	GapInPlane     *float64 `json:"gap_in_plane"`
	Over           string   `json:"over,omitempty"` // the candidate set in words
}

// Summary is the plan at a glance.
type Summary struct {
	Verdict         Verdict      `json:"verdict"`
	WhyNot          string       `json:"why_not,omitempty"`
	Cure            string       `json:"cure,omitempty"`
	Lots            []string     `json:"lots"`
	Outlet          string       `json:"outlet,omitempty"`
	Length          unit.Length  `json:"length_m"`
	TrenchLength    unit.Length  `json:"trench_length_m"`
	Fall            *unit.Length `json:"fall_m"`
	LeastSlope      *unit.Slope  `json:"least_slope"`
	Flow            *hydro.Flow  `json:"flow_m3s"`
	GreatestDepth   *unit.Length `json:"greatest_depth_m"`
	CostIndex       *float64     `json:"cost_index"`
	Cost            *float64     `json:"cost,omitempty"`
	Currency        string       `json:"currency,omitempty"`
	NextMeasurement string       `json:"next_measurement,omitempty"`
}

// WaterCase is one end condition at the outlet and what it does to the network.
type WaterCase struct {
	Name       string                    `json:"case"` // free_outfall, at_crown, at_rim, stated
	Return     hydro.ReturnPeriod        `json:"return_years"`
	Level      *unit.Elevation           `json:"outlet_level_m"`
	Levels     map[string]unit.Elevation `json:"water_level_m"` // by point
	FirstSpill string                    `json:"first_spill,omitempty"`
	// Opening is the lowest opening of the houses over the water of this case, and
	// Freeboard how far it stands over the highest water at an intake; nil where no
	// opening's level is known.
	Opening   string       `json:"opening,omitempty"`
	Freeboard *unit.Length `json:"opening_freeboard_m"`
	Message   string       `json:"message,omitempty"`
}

// Storage is what a backed-up inlet does to the lot's drain over a storm.
type Storage struct {
	VoidVolume   hydro.Volume    `json:"void_volume_m3"`
	UsableVolume hydro.Volume    `json:"usable_volume_m3"`
	FromSewer    hydro.Volume    `json:"filled_from_sewer_m3"`
	PeakLevel    *unit.Elevation `json:"peak_level_m"`
	MinutesAbove *hydro.Duration `json:"minutes_above_outlet"`
	FirstToSpill *string         `json:"first_to_spill"`
	Overflow     hydro.Volume    `json:"overflow_m3"`
	EmptyAfter   *float64        `json:"empty_after_h"`
	// Series has rows of minute, level_m, inflow_m3s, stored_m3.
	Series [][4]float64 `json:"series"`
}

// BackedUp is that balance without and with a backwater valve, for the tree
// that ends in Run.
type BackedUp struct {
	Lots   []string `json:"lots"` // whose water is in the tree
	Outlet string   `json:"outlet"`
	Run    string   `json:"run"`
	// PipeCount is the count of perforated pipes side by side; 0: none.
	PipeCount int      `json:"pipe_count"`
	Without   *Storage `json:"without_valve"`
	With      *Storage `json:"with_valve"`
	// Other is the same with two perforated pipes in place of one, or one in
	// place of two, each trench as wide as its pipes need; nil where no
	// perforated pipe is laid or the other count cannot be laid along the route.
	Other *BackedUp `json:"other_pipe_count,omitempty"`
}

// MetKind is what a trench came upon.
type MetKind string

const (
	// MetRock: the trench bottom keeps above High.
	MetRock MetKind = "rock"
	// MetRoot: the pipe passes above High or below Low.
	MetRoot MetKind = "root"
	// MetUtility: as a root, with the clearance from crossed utilities kept
	// above and below.
	MetUtility MetKind = "utility"
)

// Met is something come upon in the trench of a run, entered on site.
type Met struct {
	Run     string          `json:"run"`
	Station unit.Length     `json:"station_m"` // from the run's upper end
	Kind    MetKind         `json:"kind"`
	Low     *unit.Elevation `json:"low_m"` // underside; a rock needs none
	High    unit.Elevation  `json:"high_m"`
}

// Trunk is the way of the most water to an outlet, from its head down: where the
// flow grows and with it the pipe.
type Trunk struct {
	Outlet string       `json:"outlet"`
	Points []TrunkPoint `json:"points"`
}

// TrunkPoint is a point of the trunk with the run that leaves it. Added is how
// much the flow grows over the run above; it may be less than what the joining
// runs carry alone, and even negative: their peaks pass at other times.
type TrunkPoint struct {
	Point     string         `json:"point"`
	Run       string         `json:"run"`
	Station   unit.Length    `json:"station_m"` // from the head of the trunk
	Joins     []string       `json:"joins"`     // runs that join here beside the trunk
	Lots      []string       `json:"lots"`      // whose water joins here
	Added     hydro.Flow     `json:"added_m3s"`
	Flow      hydro.Flow     `json:"flow_m3s"`
	CA        unit.Area      `json:"ca_m2"` // C times area above
	Tc        hydro.Duration `json:"time_of_concentration_min"`
	Size      string         `json:"size"`
	Diameter  float64        `json:"diameter_mm"`
	PipeCount int            `json:"pipe_count"`
	Grown     bool           `json:"grown"` // wider than the pipe above
	// Spare is the capacity left as a share of the full pipe's; negative where
	// more comes than it carries. Nil where levels are not known.
	Spare *float64 `json:"spare"`
}

// Overflow is where water goes when a grate is clogged or the line is full.
type Overflow struct {
	Point     string          `json:"point"`
	Level     *unit.Elevation `json:"level_m"`
	Path      orb.LineString  `json:"-"`
	Passes    []string        `json:"passes"`
	Freeboard *unit.Length    `json:"freeboard_m"`
}

// LineFlow is the water that crosses a lot line, as the ground lies and after
// the plan.
type LineFlow struct {
	Lot         string        `json:"lot"`
	Line        int           `json:"line"`
	Before      *hydro.Flow   `json:"before_m3s"`
	After       *hydro.Flow   `json:"after_m3s"`
	BeforeTotal *hydro.Volume `json:"before_m3"`
	AfterTotal  *hydro.Volume `json:"after_m3"`
}

// Pond is a hollow of the ground on the lot.
type Pond struct {
	Location  orb.Point      `json:"location"`
	Level     unit.Elevation `json:"level_m"`
	Depth     unit.Length    `json:"depth_m"`
	Area      unit.Area      `json:"area_m2"`
	Volume    hydro.Volume   `json:"volume_m3"`
	DrainDown *float64       `json:"drain_down_h"`
}

// Check is one line of a verification.
type Check struct {
	Check  string   `json:"check"`
	Passed bool     `json:"passed"`
	Worst  *float64 `json:"worst"`
	Limit  *float64 `json:"limit"`
	Where  string   `json:"where,omitempty"`
	Detail string   `json:"detail,omitempty"`
}

// Verification is the word of the second piece of code.
type Verification struct {
	Passed bool    `json:"passed"`
	Checks []Check `json:"checks"`
}

// RestsOn counts the inputs by how they came to be known.
type RestsOn struct {
	Measured []string `json:"measured"`
	Mapped   []string `json:"mapped"`
	Assumed  []string `json:"assumed"`
}

// FrameStatement says in which plane lengths were worked.
type FrameStatement struct {
	CRS           string  `json:"crs"` // of the coordinates in the document
	Plane         string  `json:"plane"`
	MetresPerUnit float64 `json:"metres_per_unit,omitempty"`
	ScaleFactor   float64 `json:"scale_factor,omitempty"`
	// CentreLon and CentreLat are the centre of the transverse Mercator plane of
	// a longitude/latitude document.
	CentreLon *float64 `json:"centre_lon,omitempty"`
	CentreLat *float64 `json:"centre_lat,omitempty"`
}

// Plan is the answer to "drain these lots".
type Plan struct {
	Status     string         `json:"status"` // always "preliminary"
	Site       string         `json:"site,omitempty"`
	Program    string         `json:"program,omitempty"`
	Frame      FrameStatement `json:"frame"`
	Summary    Summary        `json:"summary"`
	Points     []Point        `json:"-"` // network
	Runs       []Run          `json:"-"` // network
	Trenches   []Trench       `json:"trenches"`
	Profiles   []Profile      `json:"profiles"`
	Trunks     []Trunk        `json:"trunks"`
	Met        []Met          `json:"met,omitempty"` // come upon while laying; the levels suit it
	Shares     []Share        `json:"shares,omitempty"`
	Quantities []Quantity     `json:"quantities"`
	// Storage is of the first drain that a backed-up outlet holds, MoreStorage of
	// the drains of the other lots.
	Storage      *BackedUp     `json:"storage"`
	MoreStorage  []*BackedUp   `json:"more_storage,omitempty"`
	Overflow     []Overflow    `json:"-"`
	LineFlows    []LineFlow    `json:"line_flows"`
	Ponds        []Pond        `json:"ponds"`
	Alternatives []Alternative `json:"alternatives"`
	Remedies     []Remedy      `json:"remedies"`
	WaterCases   []WaterCase   `json:"water_cases"`
	Bound        Bound         `json:"bound"`
	Findings     []Finding     `json:"findings"`
	Cautions     []string      `json:"cautions"`
	Assumptions  []string      `json:"assumptions"`
	RestsOn      RestsOn       `json:"rests_on"`
	Verification *Verification `json:"verification,omitempty"`
}

// Quantity is a line of the takeoff. Net is what the drawing holds, Order what
// is bought: with waste (a ratio; nil where none is taken) and rounded up to
// what a yard sells. Costs are nil until a price book is laid beside it.
type Quantity struct {
	Item      string   `json:"item"`
	Net       float64  `json:"net"`
	NetUnit   string   `json:"net_unit"`
	Waste     *float64 `json:"waste"`
	Order     float64  `json:"order_quantity"`
	OrderUnit string   `json:"order_unit"`
	UnitCost  *float64 `json:"unit_cost"`
	Cost      *float64 `json:"cost"`
	Basis     string   `json:"basis"` // how it was reckoned
}

// Rows are the profile's rows along one run, in the direction of the water,
// stationed from its upper end; none where the plan has no levels.
func (p *Plan) Rows(run string) []ProfileRow {
	r := p.Run(run)
	if r == nil {
		return nil
	}
	for i := range p.Profiles {
		pr := &p.Profiles[i]
		for _, id := range pr.Runs {
			if id != run {
				continue
			}
			from := -1
			for k := range pr.Rows {
				if pr.Rows[k].Point == r.From {
					from = k
				}
				if from >= 0 && k > from && pr.Rows[k].Point == r.To {
					rows := append([]ProfileRow(nil), pr.Rows[from:k+1]...)
					base := rows[0].Station
					for j := range rows {
						rows[j].Station -= base
					}
					return rows
				}
			}
		}
	}
	return nil
}

// Backed lists the storage runs of all the plan's drains.
func (p *Plan) Backed() []*BackedUp {
	if p.Storage == nil {
		return nil
	}
	return append([]*BackedUp{p.Storage}, p.MoreStorage...)
}

// Point returns the point with the id, or nil.
func (p *Plan) Point(id string) *Point {
	for i := range p.Points {
		if p.Points[i].ID == id {
			return &p.Points[i]
		}
	}
	return nil
}

// Run returns the run with the id, or nil.
func (p *Plan) Run(id string) *Run {
	for i := range p.Runs {
		if p.Runs[i].ID == id {
			return &p.Runs[i]
		}
	}
	return nil
}

// Preliminary is the status that every result carries.
const Preliminary = "preliminary"

// Cautions stand on every output.
var Cautions = []string{
	"Planning estimate only: not a survey, not a design sealed by a licensed engineer. Local code and licensed practice stand above it.",
	"Parcel lines from a map are no survey: find the pins or have a licensed surveyor stake the line before digging near it.",
	"Call the utility locating service before you dig and wait for the marks; private lines (irrigation, lighting, septic, old drains) are not marked. Hand-dig near every mark.",
	"Trench safety: a way out from 4 ft deep, a protective system from 5 ft deep, and shallower where a competent person sees a hazard (29 CFR 1926.651 and .652). Keep spoil 2 ft back. Never enter a storm structure.",
	"A tie-in to a storm sewer, and work in an easement or street, need written permission and inspection before backfill. Never connect to a sanitary or combined sewer.",
	"Do not send collected water onto a neighbour, and do not block the water a neighbour's land sheds naturally; the law of your state decides.",
}
