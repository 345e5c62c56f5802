// Package profile chooses inverts and sizes together for a tree of reaches
// that drains by gravity to one outlet, and prices it. It is the one price
// function of a candidate tree: the route search calls it thousands of times.
//
// # What goes in
//
// A Problem: reaches (each with the index of the reach it runs into, its plan
// length, the ground along it with every break, what flows in at its upper
// end, what its start is held to), the outlet's tie-in level, rules, the stock
// of pipes, and the rain's intensity as a function of duration. All of it is
// numbers; no polygon comes in here. Units are SI: metres, metres above the
// site's datum, cubic metres a second; prices are bare index numbers.
//
// # What comes out
//
// A Result: for each reach inverts on whole millimetres, the stock pipe,
// slope, flow, capacity and so on; whether the water arrives at or above the
// tie-in, by how much, and which station of which reach binds; whether the
// target slope was reached or how far the fall had to be thinned; every rule
// that the profile breaks, re-checked on the rounded inverts.
//
//	solver := profile.NewSolver() // one for each goroutine; keeps its memory
//	var out profile.Result        // may be used again and again
//	err := solver.Solve(&problem, &out)
//
// An error means that the problem is ill put (a reach that runs into itself, a
// negative length). A yard without enough fall is no error: the Result says
// how many millimetres are missing and where, and holds the best profile there
// is.
//
// # How it is solved
//
// A reach is straight between its ends. For given sizes the rules are linear
// in the inverts and the price grows linearly with depth, so the least price
// of all that lies upstream is a convex function of the level at which the
// water arrives, made of straight pieces. The solver carries these functions
// exactly from the intakes down ("labels", one or more for each pipe of the
// stock), adds them at junctions, and drops a label that another undercuts at
// every level it offers. No level is rounded during the search, so the search
// has no discretisation to be coarse in; its answer is the least price over
// all sizes and inverts. The inverts are rounded to 1 mm at the end, arriving
// inverts downwards, and every rule is checked again on the rounded values;
// what rounding cost is the difference of Result.Cost and Result.ExactCost.
//
// A straight pipe under ground that dips between its ends can be laid high and
// steep or low and flat; sweeping only the highest profile down would decide
// that blindly, which is why functions are carried instead of single levels.
//
// # Which slope
//
// With the target slope everywhere, if the fall at hand allows. Else the
// reaches that bind share the fall equally between the least slope and the
// target (the greatest common slope that still arrives), and reaches off the
// binding way keep as much as they can up to the target. Below the least
// slope nothing is proposed: the profile at the least slope is returned as
// Short, with the length that is missing.
//
// # On site, and beside it
//
// A reach that lies already (Reach.Laid) stays and the rest is laid to it; a
// rock, a root, a utility, or the line that falls 1:1 from a footing's lower
// edge is a Crossing at its station (for a footing: Over, with High the level
// that the trench bottom keeps above plus the bedding). A sealed and a perforated
// line in one trench are reaches of one tree: where the one has to lie no higher
// than the other, the lower of the two profiles is the highest that keeps the
// rules of both, so the caller takes it afterwards and nothing is searched twice.
// ChanceUnder says how sure a fall is, Spare how much fall is left over, Trunk
// where the sizes grow.
//
// # Flow
//
// Rational method over the tree: the flow of a reach is the greatest of
// i(t) times the summed C·A whose water has arrived by t, over the arrival
// times t of the areas upstream, plus stated flows. Travel time depends on
// velocity, velocity on the pipe: flows and sizes are found in turn until the
// flows that sized the pipes are those that the pipes then bring, never less
// and at most a five-hundredth more, in at most Rules.MostRounds rounds;
// Result.Settled says whether they did.
//
// The room may import geo/unit, hydro and the rooms of hydro.
package profile
