// Package planner joins zone, ground, route, flows and profile into a plan.
//
// Site + lots + criteria -> parcels.Plan, one way: the trench zone of each lot
// (package siting), the ground (geo/ground), a tree of trenches (geo/route)
// priced with the profile of the whole tree (hydro/profile), then points, runs,
// trenches, profiles and findings. Every way out of the package passes one
// gate, (*Planner).gate: the plan is written, the very bytes are handed to the
// parcels.Verifier that cmd or api gave, and a plan that fails is not returned.
//
// A yard that gravity cannot drain is a plan that says why; an error is bad
// input or failed machinery.
//
// The room may import parcels, geo and hydro.
package planner
