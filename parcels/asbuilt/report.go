package asbuilt

// What goes in and what comes out.

import (
	"github.com/paulmach/orb"

	"fallwright/geo/frame"
	"fallwright/geo/unit"
	"fallwright/parcels"
)

// Codes of findings. One for each thing that is told apart.
const (
	// CodeAsPlanned: nothing to find on the run.
	CodeAsPlanned = "laid_as_planned"
	// CodeBelly: the pipe sags under grade and holds water.
	CodeBelly = "belly"
	// CodeBackFall: a stretch rises downstream.
	CodeBackFall = "back_fall"
	// CodeLifted: the pipe stands above grade between good ends, as when stone
	// is dumped on an empty pipe.
	CodeLifted = "pipe_lifted"
	// CodeOffGrade: off the planned level without holding water.
	CodeOffGrade = "off_grade"
	// CodeFlat: less than the least slope.
	CodeFlat = "built_below_least_slope"
	// CodeCover: less cover than the least.
	CodeCover = "built_cover"
	// CodeDeep: a trench deeper than the greatest depth.
	CodeDeep = "built_depth"
	// CodeOffLine: beside the planned line by more than half the trench.
	CodeOffLine = "off_line"
	// CodeClearance: the trench edge nearer to a lot line than allowed.
	CodeClearance = "built_clearance"
	// CodeDatum: all levels off alike.
	CodeDatum = "wrong_datum"
	// CodeTop: all levels high by the height of the pipe.
	CodeTop = "shot_on_pipe_top"
	// CodeSwapped: northing and easting in the wrong order.
	CodeSwapped = "northing_easting_swapped"
	// CodePlanUnit: positions in feet read as metres, or the other way round.
	CodePlanUnit = "coordinate_unit_mix"
	// CodeLevelUnit: elevations in feet read as metres, or the other way round,
	// all or some.
	CodeLevelUnit = "elevation_unit_mix"
	// CodeFew: too few shots to know the grade.
	CodeFew = "too_few_shots"
	// CodeEnd: an end of the run was not shot.
	CodeEnd = "end_not_shot"
	// CodeNotShot: no shot on the run.
	CodeNotShot = "run_not_shot"
	// CodeOtherRun: shots named for one run lie on another.
	CodeOtherRun = "shots_of_another_run"
	// CodeOffPlan: a shot near no run of the plan.
	CodeOffPlan = "shot_off_plan"
	// CodeBust: an elevation that cannot be meant.
	CodeBust = "shot_bust"
	// CodeNoLevel: a shot without an elevation.
	CodeNoLevel = "elevation_missing"
	// CodeDisagree: two shots of one place with two levels.
	CodeDisagree = "shots_disagree"
	// CodeAside: shots of other things in the file, left out.
	CodeAside = "shots_not_of_pipe"
)

// Shot is a point taken on the invert of the laid pipe.
type Shot struct {
	ID string
	At orb.Point // in the site's plane
	// Z is nil where no elevation was taken.
	Z *unit.Elevation
	// Run is the run that the shot is said to be of, or empty.
	Run string
	// Kind is what the description says it is: "invert", "flow_line", or empty
	// for the pipe; anything else is set aside.
	Kind string
}

// Input is a plan and what was shot.
type Input struct {
	Plan *parcels.Plan
	// Lots of the site, for the distance to the lot line; nil: not judged.
	Lots     []parcels.Lot
	Criteria parcels.Criteria
	// Of holds the criteria of lots that a district rules otherwise, by lot.
	Of map[string]parcels.Criteria
	// Frame of the site, to try other readings of the file's coordinates; nil:
	// the plane itself.
	Frame *frame.Frame
	Shots []Shot
	// Only is the run that all shots are of, where the crew says so.
	Only string
}

// Stretch is the pipe between two neighbouring shots.
type Stretch struct {
	From    unit.Length `json:"from_m"`
	To      unit.Length `json:"to_m"`
	Fall    unit.Length `json:"fall_m"`
	Slope   unit.Slope  `json:"slope"`
	Planned unit.Slope  `json:"planned_slope"`
}

// Level is a shot on a run.
type Level struct {
	Shot     string         `json:"shot"`
	Station  unit.Length    `json:"station_m"`
	Invert   unit.Elevation `json:"invert_m"`
	Planned  unit.Elevation `json:"planned_m"`
	Off      unit.Length    `json:"off_m"`    // above the plan, shift taken out
	Beside   unit.Length    `json:"beside_m"` // from the planned line
	Cover    *unit.Length   `json:"cover_m"`
	Depth    *unit.Length   `json:"depth_m"`
	LotLine  *unit.Length   `json:"lot_line_m"` // trench edge to the lot line
	Standing unit.Length    `json:"standing_m"` // depth of water left here
}

// Pool is water left standing.
type Pool struct {
	Code   string      `json:"code"`
	From   unit.Length `json:"from_m"` // stations of the run of its lowest point
	To     unit.Length `json:"to_m"`   // beyond the run's end: on the next
	At     unit.Length `json:"at_m"`
	Depth  unit.Length `json:"depth_m"`
	Volume float64     `json:"volume_m3"`
	Where  orb.Point   `json:"-"`
	Sill   string      `json:"sill"` // the shot that holds the water
}

// BuiltRun is a run as it was found.
type BuiltRun struct {
	Run            string       `json:"run"`
	From           string       `json:"from"`
	To             string       `json:"to"`
	Length         unit.Length  `json:"length_m"`
	Planned        unit.Slope   `json:"planned_slope"`
	Slope          *unit.Slope  `json:"slope"` // between the outermost shots
	FlattestSlope  *unit.Slope  `json:"flattest_slope"`
	LeastCover     *unit.Length `json:"least_cover_m"`
	GreatestDepth  *unit.Length `json:"greatest_depth_m"`
	GreatestOff    *unit.Length `json:"greatest_off_m"` // signed, above the plan
	GreatestBeside *unit.Length `json:"greatest_beside_m"`
	LeastLotLine   *unit.Length `json:"least_lot_line_m"`
	Standing       float64      `json:"standing_m3"`
	Levels         []Level      `json:"levels"`
	Stretches      []Stretch    `json:"stretches"`
	Pools          []Pool       `json:"pools"`
}

// Report is the answer.
type Report struct {
	Status  string          `json:"status"`
	Verdict parcels.Verdict `json:"verdict"`
	WhyNot  string          `json:"why_not,omitempty"`
	Cure    string          `json:"cure,omitempty"`
	// Shift is taken out of all levels before they are judged: the shots stand
	// so much above the plan, alike. Nil: none.
	Shift    *unit.Length      `json:"shift_m"`
	Runs     []BuiltRun        `json:"runs"`
	Findings []parcels.Finding `json:"findings"`
	Cautions []string          `json:"cautions"`
	// Resolved is the plan worked again round what is laid, where that was asked.
	Resolved *Resolved `json:"resolved,omitempty"`
}

// Ends returns the inverts at both ends of the run as it lies, to lock it and
// lay the rest to it (hydro/profile, Reach.Laid): the outermost shots, carried
// to the ends along the stretch beside them. ok is false where an end was not
// shot, where water stands in the run or it does not fall, and where the report
// took out a shift: then the levels are not those of the plan.
func (r *Report) Ends(run string) (up, down unit.Elevation, ok bool) {
	if r.Shift != nil {
		return 0, 0, false
	}
	for i := range r.Runs {
		b := &r.Runs[i]
		n := len(b.Levels)
		if b.Run != run || n < 2 || len(b.Pools) > 0 || len(b.Stretches) != n-1 {
			continue
		}
		first, last := b.Levels[0], b.Levels[n-1]
		if first.Station > atEnd || last.Station < b.Length-atEnd {
			return 0, 0, false
		}
		up = first.Invert.Plus(b.Stretches[0].Slope.Over(first.Station))
		down = last.Invert.Plus(-b.Stretches[n-2].Slope.Over(b.Length - last.Station))
		return up, down, up > down
	}
	return 0, 0, false
}
