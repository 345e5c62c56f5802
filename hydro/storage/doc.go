// Package storage balances water in time: what a trench, its pipes and basins hold
// while the outlet is backed up, and routing through a basin.
//
// Levels are metres above the site's datum, volumes cubic metres, times minutes
// (steps may be fractions). The room may import hydro, hydro/gradeline, hydro/pipe, hydro/source
// and geo/unit. It works one level pool: the water in trench, pipes and basins
// stands level, which holds where the lines are short and the flow through them
// small against their capacity; slope of the water along a long line belongs to
// hydro/gradeline.
//
// What is filled from the sewer is no relief: a trench whose voids lie below the
// level in the structure fills backward unless a valve stands in between, and
// Result says how much volume is left for the lot's own water.
//
// Sources: source.Chow1988 (storage indication), source.TR55 (detention volume),
// source.HEC22 (weir and orifice, triangle), source.YardPractice (stone voids).
package storage
