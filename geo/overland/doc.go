// Package overland says where water goes over the ground: ponds with depth,
// volume and the place where they spill, flow directions, contributing areas,
// catchments, flow paths, what runs on from lot to lot, how a roof is shared
// among its downspouts, and whether the ground falls as it should. Areas and
// volumes of hollows only: how much rain falls is hydro's.
//
// It works on a raster of the ground (ground.Grid; Sample makes one of any
// surface), in the site's plane, metres. A cell is ground, or missing, or
// blocked. Rules, the same everywhere:
//
//   - water leaves at the raster's edge and into missing cells, whose
//     neighbours are edge cells; and at open inlets (Input.Drains);
//   - blocked cells (houses) are walls: no water enters, none starts there, and
//     their edge is no way out;
//   - a hollow is full up to its sill before it runs on (Field.Filled);
//   - a cell drains to the neighbour of steepest fall on the filled ground, the
//     first of E, SE, S, SW, W, NW, N, NE among equals; an edge cell without a
//     lower neighbour drains outward; a flat drains by the shortest way, in
//     cells, to where it can fall. So every cell drains, and no answer hangs on
//     the order of the work.
//
// May import geo/unit, geo/shape and geo/ground. Sources: filling by the lowest
// passes between basins (Cordonnier, Bovy and Braun 2019; Boruvka 1926; from
// memory), judged by the sweeps of Planchon and Darboux 2002; D8 (O'Callaghan and
// Mark 1984, Jenson and Domingue 1988); D-infinity (Tarboton 1997); tiles after
// Barnes 2016 and 2017 (from memory). IRC R401.3 for the fall beside a
// foundation.
package overland
