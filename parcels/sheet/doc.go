// Package sheet draws and writes what leaves the office from a plan and its site:
// the plan and profile sheets, the calculation sheet, the owner's proposal with its
// upkeep calendar, the permit narrative, the site-visit sheet, the crew's notes and
// the takeoff, on letter, tabloid, A4 and A3, as PDF, and the drawn sheets as SVG.
//
// A page is a list of marks in points (1/72 in) from its upper left corner; one
// writer turns it into PDF, another into SVG. Drawings are true to the stated scale.
// The font is embedded. There is no clock: the same plan gives the same bytes, and a
// sheet's date is for the hand that signs it. Own pipes are dark; the colours of
// utility locating (P-16) stand for existing utilities only, each with its letter, so
// that a sheet printed grey can be read.
//
// It may import parcels and its rooms for quantities, stakes and display, hydro for
// the working, geo/shape and geo/unit.
package sheet
