package auditor

// The list of checks. A new check is one file and one line here.

import (
	"fmt"

	"fallwright/parcels"
)

// Check is one question. Lot asks it of a lot, Site of the whole once all lots
// have rows; either may be nil.
type Check struct {
	Name  string
	Title string
	// Default: asked when no checks are named.
	Default bool
	// Ground: it wants the surface.
	Ground bool

	Lot  func(*lotWork) error
	Site func(*siteWork) error
}

// Checks lists every check in the order in which they are worked and in which
// their findings stand.
var Checks = []Check{
	{Name: "zone", Title: "Is there room for a trench?", Default: true, Lot: checkZone},
	{Name: "passages", Title: "How narrow does the trench zone get, and does a trench lead through?", Default: true, Lot: checkPassages},
	{Name: "nearest_inlet", Title: "Which inlet is nearest, in a straight line?", Lot: checkNearest},
	{Name: "reach", Title: "Does an inlet lie within gravity's reach?", Default: true, Ground: true, Lot: checkReach},
	{Name: "drains", Title: "Do drains stray over the line or come too close?", Default: true, Lot: checkDrains},
	{Name: "footprints", Title: "Does a building stand over the setback, the line or an easement?", Default: true, Lot: checkFootprints},
	{Name: "side_yards", Title: "Does the ground fall away at the sides of the house?", Default: true, Ground: true, Lot: checkSideYards},
	{Name: "fences", Title: "Does a fence dam a swale?", Default: true, Lot: checkFences},
	{Name: "fabric", Title: "Do parcels gap or overlap?", Default: true, Lot: checkFabric},
	{Name: "swales", Title: "Do swales run on from lot to lot, and carry the flow?", Default: true, Ground: true, Site: checkSwales},
	{Name: "shared_drains", Title: "Do drains that serve several lots carry their flow?", Default: true, Site: checkShared},
	{Name: "inlets", Title: "Do inlets take what all lots would send?", Default: true, Site: checkInlets},
}

// WantsGround says whether a check of those named, or of those on by default,
// asks for the ground.
func WantsGround(names []string) bool {
	c, err := choose(names)
	return err == nil && wantsGround(c)
}

// choose finds checks by name, in the order of the list.
func choose(names []string) ([]Check, error) {
	want := map[string]bool{}
	for _, n := range names {
		want[n] = true
	}
	var out []Check
	for _, c := range Checks {
		if len(names) == 0 && c.Default || want[c.Name] {
			out = append(out, c)
		}
		delete(want, c.Name)
	}
	if len(want) == 0 {
		return out, nil
	}
	var known []string
	for _, c := range Checks {
		known = append(known, c.Name)
	}
	var faults []parcels.Fault
	for _, n := range names {
		if want[n] {
			faults = append(faults, parcels.Fault{Slug: "check-unknown", Pointer: "/options/checks", ID: parcels.Excerpt(n),
				Detail: fmt.Sprintf("There is no check %q. Checks: %s.", parcels.Excerpt(n), list(known))})
		}
	}
	return nil, &parcels.InputError{Kind: parcels.Invalid, Faults: faults}
}
