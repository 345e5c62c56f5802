package shape

// What can be wrong with a shape, and where.

import (
	"fmt"
	"strings"

	"github.com/paulmach/orb"
)

// Rule names what a shape breaks; its text is the slug of the answer.
type Rule string

const (
	RuleNotFinite        Rule = "coordinate-not-finite"
	RuleEmpty            Rule = "geometry-empty"
	RuleRingTooShort     Rule = "ring-too-short"
	RuleRingNotClosed    Rule = "ring-not-closed"
	RuleRingNoArea       Rule = "ring-no-area"
	RuleSelfIntersection Rule = "self-intersection"
	RuleHoleOutside      Rule = "hole-outside-shell"
	RuleHoleTouches      Rule = "hole-touches-shell"
	RulePartsOverlap     Rule = "parts-overlap"
	RuleLineTooShort     Rule = "line-too-short"
	RuleType             Rule = "geometry-type"
	RuleTooComplex       Rule = "geometry-too-complex"
)

// Spot is a place in a geometry: part, ring and vertex, counted from 0. Ring 0
// is the shell.
type Spot struct {
	Part, Ring, Vertex int
}

// InvalidError says which rule a shape breaks and where. At is the place in
// the plane, nil where there is none (an empty ring). Other is the second
// place where two meet that must not.
type InvalidError struct {
	Rule               Rule
	Part, Ring, Vertex int
	At                 *orb.Point
	Other              *Spot
	Detail             string // one sentence: what, where, what to do
}

func (e *InvalidError) Error() string {
	s := fmt.Sprintf("shape: %s: part %d, ring %d, vertex %d", e.Rule, e.Part, e.Ring, e.Vertex)
	if e.At != nil {
		s += fmt.Sprintf(", at %.4f, %.4f m", e.At[0], e.At[1])
	}
	if e.Detail != "" {
		s += ": " + strings.TrimSuffix(e.Detail, ".")
	}
	return s
}
