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
//   - every run lies in Problem.Zone, except a run marked LeadOff (source to
//     zone, straight, the shortest way) and the run marked TieIn (zone to target,
//     straight, at most Target.Reach long, over Zone and Target.LastRunWithin);
//   - runs never cross or touch but at a node;
//   - where runs join, each turns at most Rules.JoinAngle into the run that leaves,
//     and no more than two arrive (through and branch), except in a basin;
//   - a bend turns at most Rules.BendAngle;
//   - between two fittings lie at least Rules.LeastStraight.
//
// Check holds all of them again on a finished tree, and Solve returns no tree
// that it refuses.
//
// # Method
//
// Ways round the corners of the zone: visibility graph (Lozano-Perez and Wesley
// 1979) with tangent pruning, searched with the price of bends. The tree: the
// source nearest to the growing tree is joined next (Takahashi and Matsuyama
// 1980, from memory), from several first sources; a lateral meets the trunk as a
// slanting line at the greatest angle allowed or square with a short stub,
// whichever is cheaper. Then branches are taken out and put back, corners are
// moved, slid and dropped, each step kept only when rules and price hold. The
// best few trees are priced by the caller.
//
// May import: geo/unit, geo/shape, geo/zone, orb. Pure: no files, clock, network
// or randomness; equal prices are decided by the order of the input.
package route
