// Package stakeout turns the profiles of a plan into what a crew and a rover set
// out: lines stationed from the outlet up (P-154), a row every so many feet and at
// every point, with ground, invert, cut and a stake set off to one side (P-153); as
// a table (CSV, XLSX), GeoJSON, GPX and DXF R12.
//
// Ground is that over the pipe, from the plan; the crew shoots the stake itself.
// Lengths are metres in the plane of the site; tables for people are decimal feet
// and inches, or metres. It may import parcels, parcels/document, parcels/display,
// parcels/sheet/grid, geo/frame, geo/shape and geo/unit.
package stakeout
