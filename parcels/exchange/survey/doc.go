// Package survey reads point files of a field survey: one point a line, number,
// northing, easting, elevation, description, with commas or tabs, with or
// without a line of names. It owns the text and its faults; what the points
// make of the ground is geo/ground's.
//
// Northing and easting stay in the units of the document they belong to,
// easting first in an orb.Point; elevations come out in metres. Nothing is
// guessed that could be asked: northing and easting that fit the parcels only
// when swapped are an error that tells both readings, and so is a file whose
// unit of elevation nobody has named. Elevations of 0, -9999 and the like that
// cannot be meant are missing, and told (Findings).
//
// Faults are *parcels.InputError with the line. May import parcels, geo/frame,
// geo/unit. Sources: trade practice P-17 to P-22 of the project's list (orders
// in use, commas in descriptions, zeros that mean "not measured").
package survey
