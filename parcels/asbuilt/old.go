package asbuilt

// A failing old drain looked into with the same means: does it fall, does it
// end anywhere, does water get in, does it carry the rain: keep, mend or
// abandon, with the number behind it.

import (
	"fmt"
	"math"
	"slices"

	"github.com/paulmach/orb"

	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/hydro/pipe"
	"fallwright/parcels"
)

// Codes of findings on old drains, beside those of a run (belly, back_fall, ...).
const (
	CodeNoOutlet = "old_drain_no_outlet"
	CodeDrowned  = "old_drain_outlet_under_water"
	CodeCapacity = "old_drain_capacity"
	CodeIntake   = "old_drain_intake"
	CodeUnknown  = "old_drain_not_known"
)

// Judgement of an old drain.
type Judgement string

const (
	Keep    Judgement = "keep"
	Mend    Judgement = "mend"
	Abandon Judgement = "abandon"
)

// Shares by which a drain is judged: common practice, no source.
const (
	relayMost    = 0.5 // of the length to be laid anew: a new line is the better one
	capacityMost = 0.5 // of the flow asked: half a drain is none
)

// Old is an existing drain as opened, shot and measured.
type Old struct {
	ID string
	// Line downstream, with the invert at each vertex.
	Line     orb.LineString
	Z        []unit.Elevation
	Diameter unit.Length // inside
	N        hydro.Roughness
	Count    int // pipes side by side; 0: 1
	// Flow that it is to carry in the design storm; nil: not known.
	Flow *hydro.Flow
	// Intake is what its grates, or its stone and cap, let in; nil: not known.
	Intake *hydro.Flow
	// Ends says that its lower end was found and is open; EndUnknown that nobody
	// has looked. Water is the level in
	// what it ends in (in the design storm, or the lowest it falls to); nil: not
	// known.
	Ends       bool
	EndUnknown bool
	Water      *unit.Elevation
	// EvenGrade says that only the ends were measured and the levels between are
	// drawn evenly.
	EvenGrade bool
}

// OldReport is what is made of it.
type OldReport struct {
	Status    string            `json:"status"`
	Drain     string            `json:"drain"`
	Judgement Judgement         `json:"judgement"`
	Verdict   parcels.Verdict   `json:"verdict"`
	Slope     unit.Slope        `json:"slope"` // from end to end
	Capacity  hydro.Flow        `json:"capacity_m3s"`
	Flow      *hydro.Flow       `json:"flow_m3s"`
	Intake    *hydro.Flow       `json:"intake_m3s"`
	Standing  float64           `json:"standing_m3"`
	Relay     unit.Length       `json:"relay_m"` // to be laid anew
	Length    unit.Length       `json:"length_m"`
	Pools     []Pool            `json:"pools"`
	Stretches []Stretch         `json:"stretches"`
	Findings  []parcels.Finding `json:"findings"`
	Cautions  []string          `json:"cautions"`
}

// LookInto judges an old drain. Its grade is held against the straight line
// between its ends, its stretches against the least slope of the criteria; its
// capacity is that of the fall from end to end (a belly fills and then takes
// part of it). The error is a *parcels.InputError.
func LookInto(o Old, c parcels.Criteria) (*OldReport, error) {
	var faults []parcels.Fault
	if len(o.Line) < 2 || len(o.Z) != len(o.Line) {
		faults = append(faults, fault("/drain", "drain-not-shot", "Drain %s has %d vertices and %d elevations; shoot the invert at both ends and wherever it was opened.", parcels.Excerpt(o.ID), len(o.Line), len(o.Z)))
	}
	for i, z := range o.Z {
		if !finite(float64(z)) {
			faults = append(faults, fault("/drain", "number-invalid", "Drain %s: elevation %d is no number.", parcels.Excerpt(o.ID), i))
		}
	}
	for i, p := range o.Line {
		if !finite(p[0]) || !finite(p[1]) {
			faults = append(faults, fault("/drain", "coordinate-not-finite", "Drain %s: vertex %d is no place.", parcels.Excerpt(o.ID), i))
		}
	}
	if !(o.Diameter > 0.01 && o.Diameter < 3) {
		faults = append(faults, fault("/drain", "diameter-invalid", "Drain %s: an inside diameter of %g m cannot be meant; measure it.", parcels.Excerpt(o.ID), float64(o.Diameter)))
	}
	for _, q := range []*hydro.Flow{o.Flow, o.Intake} {
		if q != nil && !(*q >= 0 && finite(float64(*q))) {
			faults = append(faults, fault("/drain", "number-invalid", "Drain %s: a flow of %g m3/s cannot be meant.", parcels.Excerpt(o.ID), float64(*q)))
		}
	}
	if len(faults) > 0 {
		return nil, refuse(faults...)
	}
	up, down := o.Z[0], o.Z[len(o.Z)-1]
	d := float64(o.Diameter) * 1000
	run := parcels.Run{ID: o.ID, From: "upper end", To: "lower end", Line: o.Line, Pipe: "solid", Diameter: d, OutsideDiameter: d, PipeCount: max(o.Count, 1), InvertUp: &up, InvertDown: &down}
	for i := 1; i < len(o.Line); i++ {
		run.Length += unit.Length(math.Hypot(o.Line[i][0]-o.Line[i-1][0], o.Line[i][1]-o.Line[i-1][1]))
	}
	in := Input{Plan: &parcels.Plan{Runs: []parcels.Run{run}}, Criteria: c}
	for i := range o.Z {
		in.Shots = append(in.Shots, Shot{ID: fmt.Sprintf("%d", i), At: o.Line[i], Z: &o.Z[i]})
	}
	as, err := Assess(in)
	if err != nil {
		return nil, err
	}
	b := as.Runs[0]
	r := &OldReport{Status: parcels.Preliminary, Drain: o.ID, Judgement: Keep, Flow: o.Flow, Intake: o.Intake, Length: mm(run.Length),
		Slope: unit.Slope(round(float64(unit.Grade(up.Above(down), run.Length)), 6)), Standing: round(b.Standing, 6), Pools: b.Pools, Stretches: b.Stretches, Findings: []parcels.Finding{}, Cautions: parcels.Cautions}
	worse := func(j Judgement) {
		if j == Abandon || r.Judgement == Keep {
			r.Judgement = j
		}
	}
	find := func(j Judgement, f parcels.Finding) {
		if f.Feature == "" {
			f.Feature = o.ID
		}
		r.Findings = append(r.Findings, f)
		if j != Keep {
			worse(j)
		}
	}

	// Its grade.
	for _, f := range as.Findings {
		switch f.Code {
		case CodeAsPlanned:
			continue
		case CodeBelly, CodeBackFall, CodeLifted, CodeFlat:
			find(Mend, f)
		case CodeFew, CodeDisagree:
			find(Keep, f)
		}
	}
	r.Relay = mm(relay(&b, float64(c.Pipe.LeastSlope)))
	if share := float64(r.Relay / run.Length); share > relayMost {
		find(Abandon, parcels.Finding{Code: CodeFlat, Severity: parcels.Stop, Measured: parcels.Num(round(share, 3)), Required: parcels.Num(relayMost), Cure: "Lay a new line.",
			Message: fmt.Sprintf("%.1f m of the %.1f m of drain %s lie flat or the wrong way: more would be laid anew than kept.", float64(r.Relay), float64(run.Length), o.ID)})
	}

	if o.EvenGrade {
		find(Keep, parcels.Finding{Code: CodeUnknown, Severity: parcels.Warn, NotProven: true, Cure: "Put a camera through it, or open it every 25 ft (7.6 m) and shoot the invert.",
			Message: fmt.Sprintf("Only the ends of drain %s were measured: a belly between them would not be seen here.", o.ID)})
	}

	// Its end.
	switch {
	case o.EndUnknown:
		find(Keep, parcels.Finding{Code: CodeUnknown, Severity: parcels.Warn, NotProven: true, Source: "P-128", Cure: "Follow it to its end with a camera or a locator.",
			Message: fmt.Sprintf("Where drain %s ends is not known: it meets no inlet, outlet or swale of the site.", o.ID)})
	case !o.Ends:
		find(Abandon, parcels.Finding{Code: CodeNoOutlet, Severity: parcels.Stop, Source: "P-128", Cure: "Find its end or give it one; without an outlet it only moves the wet place.",
			Message: fmt.Sprintf("Drain %s has no open end that was found.", o.ID)})
	case o.Water == nil:
		find(Keep, parcels.Finding{Code: CodeUnknown, Severity: parcels.Warn, NotProven: true, Cure: "Find out how high the water stands where it ends.",
			Message: fmt.Sprintf("How high the water stands where drain %s ends is not known.", o.ID)})
	case *o.Water >= up:
		find(Abandon, parcels.Finding{Code: CodeDrowned, Severity: parcels.Stop, Measured: parcels.Num(round(float64(*o.Water), 3)), Required: parcels.Num(round(float64(up), 3)), Unit: "m", Source: "P-128",
			Message: fmt.Sprintf("The water where drain %s ends stands %.2f m above its upper end: it cannot empty.", o.ID, float64(o.Water.Above(up)))})
	case *o.Water > down:
		find(Mend, parcels.Finding{Code: CodeDrowned, Severity: parcels.Warn, Measured: parcels.Num(round(float64(*o.Water), 3)), Required: parcels.Num(round(float64(down), 3)), Unit: "m", Source: "P-58", Cure: "A valve on the low branch, or a higher end.",
			Message: fmt.Sprintf("The water where drain %s ends stands %.2f m above its invert there.", o.ID, float64(o.Water.Above(down)))})
	}

	// What it carries, and what gets in.
	if r.Slope > 0 {
		n := o.N
		if n == 0 {
			n = 0.013
			find(Keep, parcels.Finding{Code: CodeUnknown, Severity: parcels.Note, Message: fmt.Sprintf("The roughness of drain %s is not given; 0.013 is taken.", o.ID)})
		}
		q, err := pipe.Pipe{Diameter: o.Diameter, N: n}.Capacity(r.Slope)
		if err != nil {
			return nil, refuse(fault("/drain", "number-invalid", "Drain %s: %v.", parcels.Excerpt(o.ID), err))
		}
		r.Capacity = hydro.Flow(round(float64(q)*float64(max(o.Count, 1)), 7))
	}
	if o.Flow == nil {
		find(Keep, parcels.Finding{Code: CodeUnknown, Severity: parcels.Warn, NotProven: true, Cure: "Say what drains to it.",
			Message: fmt.Sprintf("What drain %s is to carry is not known; it carries %.2f l/s full.", o.ID, float64(r.Capacity)*1000)})
	} else {
		if share := ratio(r.Capacity, *o.Flow); share < 1 {
			j, cure := Mend, "Send part of the water another way, or lay a second pipe."
			if share < capacityMost {
				j, cure = Abandon, "Lay a new line of the size that the water needs."
			}
			find(j, parcels.Finding{Code: CodeCapacity, Severity: severityOf(j), Measured: parcels.Num(float64(r.Capacity)), Required: parcels.Num(float64(*o.Flow)), Unit: "m3/s", Cure: cure,
				Message: fmt.Sprintf("Drain %s carries %.2f l/s full where %.2f l/s come in the design storm: %.0f %%.", o.ID, float64(r.Capacity)*1000, float64(*o.Flow)*1000, 100*share)})
		}
		if o.Intake != nil && *o.Intake < *o.Flow {
			find(Mend, parcels.Finding{Code: CodeIntake, Severity: parcels.Warn, Measured: parcels.Num(float64(*o.Intake)), Required: parcels.Num(float64(*o.Flow)), Unit: "m3/s", Source: "P-124, P-187", Cure: "More or larger grates, or open stone in place of a cap.",
				Message: fmt.Sprintf("Water gets into drain %s at %.2f l/s where %.2f l/s come: it stands on the ground while the pipe is not full.", o.ID, float64(*o.Intake)*1000, float64(*o.Flow)*1000)})
		}
	}
	r.Verdict, _, _ = parcels.Judge(r.Findings)
	return r, nil
}

func severityOf(j Judgement) parcels.Severity {
	if j == Abandon {
		return parcels.Stop
	}
	return parcels.Warn
}

func ratio(a, b hydro.Flow) float64 {
	if b <= 0 {
		return math.Inf(1)
	}
	return float64(a / b)
}

// relay is the length that holds water or falls less than the least slope.
func relay(b *BuiltRun, least float64) unit.Length {
	type part struct{ from, to float64 }
	var parts []part
	for _, q := range b.Pools {
		parts = append(parts, part{float64(q.From), float64(q.To)})
	}
	for _, s := range b.Stretches {
		if float64(s.Fall) < least*float64(s.To-s.From)-2*reading {
			parts = append(parts, part{float64(s.From), float64(s.To)})
		}
	}
	slices.SortFunc(parts, func(p, q part) int { return sign(p.from - q.from) })
	sum, end := 0.0, math.Inf(-1)
	for _, p := range parts {
		if p.to > end {
			sum += p.to - max(p.from, end)
			end = p.to
		}
	}
	return unit.Length(sum)
}
