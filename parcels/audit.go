package parcels

// An audit of many lots: a row a lot, rows for what lots share, totals.
// Geometry is in the site's plane; package auditor makes and writes it.

import (
	"github.com/paulmach/orb"

	"fallwright/geo/unit"
	"fallwright/hydro"
)

// Reach answers whether an inlet lies within gravity's reach of a lot.
type Reach string

const (
	ReachYes       Reach = "yes"
	ReachNo        Reach = "no"
	ReachNotProven Reach = "not_proven"
)

// AuditRow is what an audit says of one lot. Numbers that were not asked for or
// cannot be known are nil.
type AuditRow struct {
	Lot     string  `json:"lot"`
	Verdict Verdict `json:"verdict"`
	// Zone is the area of the trench zone, Narrowest its narrowest passage.
	Zone      *unit.Area   `json:"zone_m2"`
	Pieces    *int         `json:"pieces"`
	Narrowest *unit.Length `json:"narrowest_m"`
	Reach     Reach        `json:"reach_inlet"`
	Inlet     *string      `json:"inlet"`
	// Length is the pipe from the governing intake to the inlet: along the route
	// where one was laid, else the straight line (LengthBy says which).
	Length        *unit.Length `json:"length_m"`
	LengthBy      string       `json:"length_by,omitempty"` // route, line
	FallAvailable *unit.Length `json:"fall_available_m"`
	FallNeeded    *unit.Length `json:"fall_needed_m"`
	DrainsOutside *unit.Length `json:"drains_outside_m"`
	// Flow is what the lot sends down its drain in the design storm.
	Flow *hydro.Flow `json:"flow_m3s"`
	// Error is why the lot could not be worked; it was set aside and the rest
	// went on.
	Error    string    `json:"error,omitempty"`
	Findings []Finding `json:"findings"`

	// Shape is the lot, ZoneShape its trench zone (kept where asked for): for
	// maps, in the site's plane.
	Shape     orb.MultiPolygon `json:"-"`
	ZoneShape orb.MultiPolygon `json:"-"`
}

// SharedRow is one stretch of a shared swale or drain: the part of it on, or
// along, one lot, with the flow of all lots upstream.
type SharedRow struct {
	Kind    string       `json:"kind"` // swale, drain
	Feature string       `json:"feature"`
	Order   int          `json:"order"` // downstream, from 1
	Lot     string       `json:"lot"`
	Lots    []string     `json:"lots"` // whose water is in it, upstream first
	From    unit.Length  `json:"from_m"`
	To      unit.Length  `json:"to_m"`
	Area    unit.Area    `json:"area_m2"` // drained there, upstream lots included
	CA      unit.Area    `json:"ca_m2"`
	Flow    *hydro.Flow  `json:"flow_m3s"`
	Depth   *unit.Length `json:"depth_m"`
	Width   *unit.Length `json:"width_m"`
	Slope   *unit.Slope  `json:"slope"`
	// Capacity is what the section carries at its stated depth or the pipe full.
	Capacity *hydro.Flow    `json:"capacity_m3s"`
	Line     orb.LineString `json:"-"`
}

// InletRow is one inlet with the lots that would tie in.
type InletRow struct {
	Inlet string      `json:"inlet"`
	Lots  []string    `json:"lots"`
	Flow  *hydro.Flow `json:"flow_m3s"`
	Limit *hydro.Flow `json:"limit_m3s"`
	At    orb.Point   `json:"-"`
}

// AuditTotals sums an audit.
type AuditTotals struct {
	Lots           int         `json:"lots"`
	Feasible       int         `json:"feasible"`
	NotProven      int         `json:"not_proven"`
	NotFeasible    int         `json:"not_feasible"`
	SetAside       int         `json:"set_aside"`
	ZoneEmpty      int         `json:"zone_empty"`
	Zone           unit.Area   `json:"zone_m2"`
	ReachYes       int         `json:"reach_yes"`
	ReachNo        int         `json:"reach_no"`
	ReachNotProven int         `json:"reach_not_proven"`
	DrainsOutside  unit.Length `json:"drains_outside_m"`
	// Stops counts the stop findings of lots and site.
	Stops    int            `json:"stops"`
	Findings map[string]int `json:"findings"` // by code
}

// Audit is the answer to "how do these lots stand".
type Audit struct {
	Status  string         `json:"status"` // always "preliminary"
	Site    string         `json:"site,omitempty"`
	Program string         `json:"program,omitempty"`
	Frame   FrameStatement `json:"frame"`
	Checks  []string       `json:"checks"`
	Rows    []AuditRow     `json:"rows"`
	Shared  []SharedRow    `json:"shared"`
	Inlets  []InletRow     `json:"inlets"`
	// Worst ranks the lots that need a person first.
	Worst  []string    `json:"worst"`
	Totals AuditTotals `json:"totals"`
	// Findings are of the site as a whole; those of one lot stand in its row.
	Findings    []Finding `json:"findings"`
	Cautions    []string  `json:"cautions"`
	Assumptions []string  `json:"assumptions"`
	Complete    bool      `json:"complete"`
}
