// Package route lays the cheapest tree of straight trench lines that brings
// every source of a yard to one target inside a zone, by rules of the trade and
// at prices given by the caller.
//
// It owns: the candidate graph of a zone (shortest ways round its corners), the
// joining of laterals to a trunk, the improvement of a tree, the choice between
// targets, and the bound that says how far from the cheapest a tree can be. It
// does not own levels: what a tree costs once its depth is known comes from the
// caller as a function of the whole tree (Problem.Price), because depth is not
// additive along a graph; a price per metre that no tree can undercut
// (Prices.Metre) steers the search and carries the bound.
//
// # Units and frame
//
// Coordinates are metres in one plane, any origin (work is done about the
// zone's own corner, so a site at 4,000,000 m loses nothing). Lengths are
// unit.Length, angles are Angle (radians), prices are bare index points.
//
// # The rules held in every tree that comes back
//
//   - every run lies in Problem.Zone, except one marked Kept, a run marked LeadOff (source to
//     zone, straight, the shortest way) and the run marked TieIn (zone to target,
//     straight, at most Target.Reach long, over Zone and Target.LastRunWithin);
//   - runs never cross or touch but at a node;
//   - where runs join, each turns at most Rules.JoinAngle into the run that leaves,
//     and no more than two arrive (through and branch), except in a basin;
//   - a run meets no line of Problem.Buried at less than its least angle, where that
//     is forbidden;
//   - a bend turns at most Rules.BendAngle;
//   - between two fittings lie at least Rules.LeastStraight.
//
// Check holds all of them again on a finished tree, and Solve returns no tree
// that it refuses.
//
// # Calls
//
//	Solve        a Problem to a Result: best tree, what became of every other target
//	             and source, and on request (Problem.Prove) the Bound
//	Again        the same after a small edit, begun with the last tree
//	Smooth       a finished tree with its corners moved, where it was put together
//	             from parts
//	Check        every rule above on a finished tree, in words
//	ShortestWay  the shortest line between two points, no rules
//
// A line drawn by somebody (Problem.Kept) stays where it is; it may end at a
// target (a trunk), or anywhere in the zone, where the search goes on from it.
// With Problem.PriceKept Result.Free is then the best tree without it, so that the price of the
// designer's choice can be told.
//
// # Method
//
// Ways round the corners of the zone: visibility graph (Lozano-Perez and Wesley
// 1979) with tangent pruning, searched with the price of bends and of what is
// crossed, toward the tree (by how far it is at least) and without crossing it; rounded corners
// also have the meeting point of the long edges beside them and a cut across, so
// that nobody lays eight bends round a chorded arc. The tree: the source nearest
// to the growing tree is joined next (Takahashi and Matsuyama 1980, from memory),
// on the trunks of the two cheapest sources; a lateral meets the trunk as a
// slanting line at the greatest angle allowed or square with a short stub,
// whichever is cheaper, so no free junction ever breaks the rule. Then branches
// are taken out and put back, corners are moved, slid and dropped, each step kept
// only when rules and price hold; at last once without regard to the grain of the zone
// and then with it.
//
// What depth costs is the caller's to know. The trees that the search finds are
// priced by Problem.Price, and beside them trees laid in haste, which pay for the
// length of the way to the target (length is fall, and fall is depth), and
// single branches put elsewhere, within Problem.Effort calls a target.
//
// # The bound
//
// An exact search (Dreyfus and Wagner 1971, from memory) over runs with their
// headings and the sources whose water is in them, so that turns are priced and
// forbidden in it, between the corners of the zone, the places round them, the
// sources, the ends of last runs and all points of the tree found. Lines that are
// kept are in it as they are kept: paid for whole, and landed on by a join. With
// Problem.Depth a run is charged the shallowest cut that the water in it can lie in:
// no higher than it can have come by the highest way from its source, straight,
// at its least fall, under its cover; in the cheapest pipe that takes the flow;
// and the cleanouts of the ways. The search is pruned by dual ascent on directed cuts
// (Wong 1984, from memory), which for more than 12 sources is the bound by itself
// (looser: 7 % to 9 % at 18 sources, and far more over a street). It says nothing of trees over other points in the plane;
// the yardstick test strews the points of many more trees to show how little those
// gain.
//
// Measured on 200 seeded lots (zones of 60 to 200 corners, 8 sources, joins,
// bends and a price of depth; go test -bench Prove): gap of the price to the bound
// median 1.2 %, worst 4.1 %. Solve takes 3.1 to 4.1 ms of processor time at the 95th
// percentile by sums of prices and 5.3 to 6.2 ms with the price of depth (5.0 to 5.7
// by the clock), with a gap to the yardstick of 0.24 % (median) and 2.4 % (worst);
// Again 0.8 to 1.4 ms (median) and 1.9 to 3.3 ms (95th percentile); 30 lots with 120
// sources on one trunk 0.5 s (-bench 'Lots|Again|Street', ROUTE_LOTS=200 -run
// Yardstick).
//
// # Limits
//
// Runs are straight and end at nodes; a sweep is the caller's to draw. One run
// enters a target, so a source that could come to it only against the trunk is
// told as unreached. A trunk stays straight where a lateral joins it (a bend there
// would be two fittings without a straight between). A line of sight is taken up
// to 60 m only where the zone is a whole block of lots.
//
// May import: geo/unit, geo/shape, geo/zone, orb. Pure: no files, clock, network
// or randomness; equal prices are decided by the order of the input.
package route
