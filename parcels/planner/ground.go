package planner

// The site's ground and rain as the rooms below want them.

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"github.com/paulmach/orb"

	"fallwright/geo/ground"
	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/hydro/rain"
	"fallwright/parcels"
	"fallwright/parcels/memory"
)

// Surface triangulates the shots, breaklines, swales and contours of a site;
// nil where it has none. Shots that contradict each other are a
// *parcels.InputError.
func Surface(s *parcels.Site) (ground.Surface, []parcels.Finding, error) {
	shots, lines := shotsOf(s)
	return surfaceOf(s, shots, lines)
}

// surface is Surface with the planner's memory.
func (p *Planner) surface(s *parcels.Site) (ground.Surface, []parcels.Finding, error) {
	type result struct {
		surface ground.Surface
		told    []parcels.Finding
	}
	shots, lines := shotsOf(s)
	r, err := memory.Of(p.Memory, func() memory.Key {
		h := memory.NewHash("planner.surface").Number(float64(s.Criteria.Survey.Bust)).Count(len(shots)).Count(len(lines))
		for i, x := range shots {
			h.Number(x.At[0], x.At[1], float64(x.Z), float64(x.SD)).Text(label(s.Spots[i].Common))
		}
		return h.Value(lines).Key()
	}, func() (result, int64, error) {
		surface, told, err := surfaceOf(s, shots, lines)
		return result{surface, told}, 400 * int64(len(shots)+1), err
	})
	return r.surface, r.told, err
}

// shotsOf are what the ground of a site is made of.
func shotsOf(s *parcels.Site) (shots []ground.Shot, lines []ground.Line) {
	sd := s.Criteria.Ground.ShotSD
	for _, sp := range s.Spots {
		shots = append(shots, ground.Shot{At: sp.At, Z: sp.Z, SD: sd})
	}
	for _, b := range s.Breaklines {
		if b.Z != nil {
			lines = append(lines, ground.Line{Path: b.Line, Z: b.Z, SD: sd})
		}
	}
	for _, w := range s.Swales {
		if w.Z != nil && !sharesLine(s.Breaklines, w.Line) {
			lines = append(lines, ground.Line{Path: w.Line, Z: w.Z, SD: sd})
		}
	}
	if len(s.Contours) > 0 {
		step := contourInterval(s.Contours)
		for _, c := range s.Contours {
			l := ground.Contour(c.Line, c.Z[0], step)
			l.Z = c.Z
			lines = append(lines, l)
		}
	}
	return shots, lines
}

// lineNames is what people call the lines of shotsOf, in its order.
func lineNames(s *parcels.Site) (names []string) {
	for _, b := range s.Breaklines {
		if b.Z != nil {
			names = append(names, "breakline "+label(b.Common))
		}
	}
	for _, w := range s.Swales {
		if w.Z != nil && !sharesLine(s.Breaklines, w.Line) {
			names = append(names, "swale "+label(w.Common))
		}
	}
	for _, c := range s.Contours {
		names = append(names, "contour "+label(c.Common))
	}
	return names
}

func surfaceOf(s *parcels.Site, shots []ground.Shot, lines []ground.Line) (ground.Surface, []parcels.Finding, error) {
	if len(shots)+len(lines) == 0 || len(shots) < 3 && len(lines) == 0 {
		return nil, nil, nil
	}
	tin, err := ground.Triangulate(shots, lines)
	if err != nil {
		var in *ground.InputError
		if errors.As(err, &in) {
			if in.Rule == ground.RuleTooFew && len(shots) == 0 {
				return nil, nil, nil // a straight swale alone is no ground
			}
			var who []string
			for _, r := range in.Refs {
				if r.Line < 0 {
					who = append(who, "shot "+label(s.Spots[r.Index].Common))
				} else {
					who = append(who, fmt.Sprintf("%s, vertex %d", lineNames(s)[r.Line], r.Index))
				}
			}
			at := ""
			if len(who) > 0 {
				p, n := s.Frame.Document(in.At), s.Frame.Decimals()
				at = fmt.Sprintf(" (%s, at %.*f, %.*f)", strings.Join(who, " and "), n, p[0], n, p[1])
			}
			return nil, nil, &parcels.InputError{Kind: parcels.Invalid, Faults: []parcels.Fault{{Slug: "ground-conflict", Layer: "spots", Pointer: "/layers/spots", Detail: "The ground cannot be made" + at + ": " + in.Detail + ". Correct or remove one of them."}}}
		}
		return nil, nil, &parcels.Error{Kind: parcels.Failed, Op: "planner: ground", Err: err}
	}
	var out []parcels.Finding
	for _, b := range tin.Busts(s.Criteria.Survey.Bust) {
		at := shots[b.Shot].At
		out = append(out, parcels.Finding{Code: "likely_bust", Severity: parcels.Warn, Feature: label(s.Spots[b.Shot].Common), Location: &at,
			Measured: parcels.Num(round(float64(b.Off), 3)), Unit: "m", Source: "P-2", Cure: "Shoot it again.",
			Message: fmt.Sprintf("Shot %s stands %.2f m off what its neighbours say: likely a bust. It is used as given.", label(s.Spots[b.Shot].Common), float64(b.Off))})
	}
	return tin, out, nil
}

func label(c parcels.Common) string {
	if c.FeatureID != "" {
		return c.FeatureID
	}
	return fmt.Sprintf("#%d", c.Index)
}

func sharesLine(ls []parcels.GroundLine, l orb.LineString) bool {
	for _, b := range ls {
		if b.Line.Equal(l) {
			return true
		}
	}
	return false
}

// contourInterval is the least difference between two contours.
func contourInterval(cs []parcels.GroundLine) unit.Length {
	least := math.Inf(1)
	for i := range cs {
		for j := range cs[:i] {
			if d := math.Abs(float64(cs[i].Z[0] - cs[j].Z[0])); d > 1e-6 && d < least {
				least = d
			}
		}
	}
	if math.IsInf(least, 1) {
		return 0.3
	}
	return unit.Length(least)
}

// Rain is the site's rainfall; nil where none is given.
func Rain(s *parcels.Site) (rain.Rainfall, error) {
	r := s.Rain
	if r == nil {
		return nil, nil
	}
	switch {
	case r.Intensity != nil:
		return rain.Single{Value: *r.Intensity, Duration: r.Duration, Return: r.Return}, nil
	case r.Curve != nil:
		c, err := rain.NewCurve(r.Curve.A, r.Curve.B, r.Curve.C)
		if err != nil {
			return nil, rainFault(err)
		}
		c.Return = r.Return
		return c, nil
	}
	rows := make([]rain.Row, len(r.Table))
	for i, x := range r.Table {
		rows[i] = rain.Row{Duration: x.Duration, Return: x.Return, Depth: hydro.Depth(x.DepthMM)}
	}
	t, err := rain.FromRows(rows, rain.Partial, "")
	if err != nil {
		return nil, rainFault(err)
	}
	return t, nil
}

func rainFault(err error) error {
	return &parcels.InputError{Kind: parcels.Invalid, Faults: []parcels.Fault{{Slug: "rainfall-invalid", Pointer: "/rainfall", Detail: "The rainfall cannot be used: " + err.Error() + "."}}}
}

func round(v float64, decimals int) float64 {
	p := math.Pow(10, float64(decimals))
	r := math.Round(v*p) / p
	if r == 0 {
		return 0 // no negative zero in documents
	}
	return r
}

func roundAs[T ~float64](v T, decimals int) T { return T(round(float64(v), decimals)) }

// mm rounds to whole millimetres.
func mm[T ~float64](v T) T { return roundAs(v, 3) }
