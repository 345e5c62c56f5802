package inlet

// The emitter at the end of a buried line, and the pump where gravity fails.

import (
	"fmt"
	"math"

	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/hydro/pipe"
	"fallwright/hydro/source"
)

// Emitter is a line that ends upward in an emitter that opens under head: below
// its rim the line stays full.
type Emitter struct {
	Pipe     pipe.Pipe
	Length   unit.Length
	InvertUp unit.Elevation // at the upper end
	InvertLo unit.Elevation // at the foot of the riser
	Rim      unit.Elevation // of the emitter
	Opening  unit.Length    // head over the rim that opens it
	Losses   float64        // entrance, bends, riser and exit, on the velocity head (2 to 4 as a rule)
	Weep     bool           // a weep hole lets the standing water out
}

// EmitterBalance is the head that a flow asks and what stays behind.
type EmitterBalance struct {
	Level    unit.Elevation // water level asked at the upper end
	Margin   unit.Length    // lowest intake rim over that level; negative: it spills there
	Friction unit.Length
	Local    unit.Length
	Greatest hydro.Flow // at which the level reaches the lowest intake rim
	// Standing is the water that stays in the line after rain, and Highest where it
	// stands; zero with a weep.
	Standing hydro.Volume
	Highest  unit.Elevation
	Notes    []hydro.Note
}

// Balance returns the head balance of flow q against the lowest intake rim:
//
//	level = rim of emitter + opening head + Sf L + K V^2/2g
//
// with the pipe full, which it is below the emitter's rim. A rim below the
// emitter's opening level cannot work at any flow; that is a note, not an error.
func (e Emitter) Balance(q hydro.Flow, lowestRim unit.Elevation) (EmitterBalance, error) {
	for _, c := range []error{
		hydro.Check("flow to the emitter", float64(q), 0, 10, "m3/s", ""),
		hydro.Check("length of the line", float64(e.Length), hydro.Positive, 1e5, "m", ""),
		hydro.Check("opening head", float64(e.Opening), 0, 2, "m", ""),
		hydro.Check("loss coefficients", e.Losses, 0, 100, "", ""),
		hydro.Check("rim of the emitter", float64(e.Rim), float64(e.InvertLo), 1e4, "m", ""),
		hydro.Check("upper invert", float64(e.InvertUp), -1e4, 1e4, "m", ""),
		hydro.Check("lower invert", float64(e.InvertLo), -1e4, 1e4, "m", ""),
		hydro.Check("lowest intake rim", float64(lowestRim), -1e4, 1e4, "m", ""),
	} {
		if c != nil {
			return EmitterBalance{}, c
		}
	}
	sf, err := e.Pipe.FrictionSlope(q)
	if err != nil {
		return EmitterBalance{}, err
	}
	d := float64(e.Pipe.Diameter)
	a := math.Pi / 4 * d * d
	v := float64(q) / a
	b := EmitterBalance{Friction: sf.Over(e.Length), Local: unit.Length(e.Losses * v * v / (2 * hydro.Gravity))}
	open := e.Rim.Plus(e.Opening)
	b.Level = open.Plus(b.Friction + b.Local)
	b.Margin = lowestRim.Above(b.Level)
	if head := float64(lowestRim.Above(open)); head > 0 {
		one, _ := e.Pipe.FrictionSlope(1)
		b.Greatest = hydro.Flow(math.Sqrt(head / (float64(one)*float64(e.Length) + e.Losses/(2*hydro.Gravity*a*a))))
	}
	if !e.Weep {
		b.Standing, b.Highest = e.standing()
	}
	note := func(code, format string, args ...any) {
		b.Notes = append(b.Notes, hydro.Note{Code: code, Source: source.HEC22, Text: fmt.Sprintf(format, args...)})
	}
	switch {
	case b.Greatest == 0:
		note("emitter_too_high", "the emitter opens at %.3f m, above the lowest intake at %.3f m: water comes out there and the emitter stays shut", float64(open), float64(lowestRim))
	case b.Margin < 0:
		note("emitter_backs_up", "%.4g m3/s ask %.3f m more than the lowest intake has; at most %.4g m3/s go through", float64(q), -float64(b.Margin), float64(b.Greatest))
	}
	if b.Standing > 0 {
		note("water_stands_in_line", "%.1f L stay in the line below the emitter's rim after rain: a weep hole into stone drains them, or they freeze and breed insects", 1000*float64(b.Standing))
	}
	return b, nil
}

// standing integrates the bore below the emitter's rim, and adds the riser.
func (e Emitter) standing() (hydro.Volume, unit.Elevation) {
	const n = 200
	v := 0.0
	for i := 0; i < n; i++ {
		inv := e.InvertLo + (e.InvertUp-e.InvertLo)*unit.Elevation((float64(i)+0.5)/n)
		s, _ := pipe.Circle(e.Pipe.Diameter, min(max(e.Rim.Above(inv), 0), e.Pipe.Diameter))
		v += float64(s.Area) * float64(e.Length) / n
	}
	s, _ := pipe.Circle(e.Pipe.Diameter, e.Pipe.Diameter)
	v += float64(s.Area) * math.Max(0, float64(e.Rim.Above(e.InvertLo)-e.Pipe.Diameter))
	return hydro.Volume(v), e.Rim
}

// Sump is a pump in a basin with its discharge line.
type Sump struct {
	Inflow    hydro.Flow     // design inflow
	Pumped    hydro.Flow     // flow of the pump at its duty
	Off       unit.Elevation // level at which it stops
	Discharge unit.Elevation // highest point of the discharge line, or level at its end
	Pipe      pipe.Pipe      // discharge
	Length    unit.Length
	Losses    float64        // valves, bends and exit on the velocity head
	Cycle     hydro.Duration // least time between starts that the motor bears, 5 to 10 min as a rule
	Plan      unit.Area      // of the basin
	Wire      float64        // efficiency from wire to water, 0.2 to 0.8
}

// Duty is what the pump must do.
type Duty struct {
	Flow     hydro.Flow
	Static   unit.Length
	Friction unit.Length
	Local    unit.Length
	Head     unit.Length
	Volume   hydro.Volume   // between start and stop, so that no cycle is shorter than asked
	On       unit.Elevation // level at which it starts
	Power    float64        // W, from the mains
	Velocity hydro.Velocity // in the discharge line
	Notes    []hydro.Note
}

// Duty returns flow, head and the volume between starts: V = Qp T/4, for the
// shortest cycle comes at an inflow of half the pump's. (From memory: standard
// wet-well relation.) Static head counts from the stop level, where it is greatest.
// A pump that is weaker than the inflow is noted, and what a power cut means
// always.
func (s Sump) Duty() (Duty, error) {
	for _, c := range []error{
		hydro.Check("inflow to the sump", float64(s.Inflow), hydro.Positive, 10, "m3/s", ""),
		hydro.Check("flow of the pump", float64(s.Pumped), hydro.Positive, 10, "m3/s", ""),
		hydro.Check("stop level", float64(s.Off), -1e4, 1e4, "m", ""),
		hydro.Check("discharge level", float64(s.Discharge), float64(s.Off), 1e4, "m", ""),
		hydro.Check("length of the discharge line", float64(s.Length), hydro.Positive, 1e5, "m", ""),
		hydro.Check("loss coefficients", s.Losses, 0, 1000, "", ""),
		hydro.Check("time between starts", float64(s.Cycle), 0.5, 600, "min", ""),
		hydro.Check("plan area of the sump", float64(s.Plan), hydro.Positive, 1e4, "m2", ""),
		hydro.Check("efficiency", s.Wire, 0.05, 1, "", ""),
	} {
		if c != nil {
			return Duty{}, c
		}
	}
	sf, err := s.Pipe.FrictionSlope(s.Pumped)
	if err != nil {
		return Duty{}, err
	}
	d := float64(s.Pipe.Diameter)
	v := float64(s.Pumped) / (math.Pi / 4 * d * d)
	r := Duty{Flow: s.Pumped, Static: s.Discharge.Above(s.Off), Friction: sf.Over(s.Length),
		Local: unit.Length(s.Losses * v * v / (2 * hydro.Gravity)), Velocity: hydro.Velocity(v)}
	r.Head = r.Static + r.Friction + r.Local
	r.Volume = hydro.Volume(float64(s.Pumped) * float64(s.Cycle) * 60 / 4)
	r.On = s.Off.Plus(unit.Length(float64(r.Volume) / float64(s.Plan)))
	r.Power = hydro.UnitWeight * float64(s.Pumped) * float64(r.Head) / s.Wire
	if s.Pumped < s.Inflow {
		r.Notes = append(r.Notes, hydro.Note{Code: "pump_too_small",
			Text: fmt.Sprintf("the pump lifts %.4g m3/s of %.4g that come in: the sump overflows", float64(s.Pumped), float64(s.Inflow))})
	}
	if v < 0.6 {
		r.Notes = append(r.Notes, hydro.Note{Code: "discharge_line_slow", Source: source.ASCE60,
			Text: fmt.Sprintf("%.2f m/s in the discharge line let grit settle; 0.6 m/s keeps it moving", v)})
	}
	r.Notes = append(r.Notes, hydro.Note{Code: "pump_needs_power",
		Text: "a pump stops with the power, and storms take the power: give an overflow by gravity or a second source, and a check valve"})
	return r, nil
}
