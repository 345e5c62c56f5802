// Package document reads and writes the JSON of the service: the site
// document, the criteria, and plans, zones and checks going out.
//
// Reading is strict and goes in one order: bytes, UTF-8, JSON text (depth,
// repeated members), structure, numbers, then geometry. Text that cannot be
// parsed stops at its first fault; everything after that is listed whole, each
// fault with layer, feature, ring, vertex, JSON Pointer and what to do about
// it, in a *parcels.InputError. Nothing is repaired, swapped or dropped in
// silence: what reading changed or assumed is in the Site's Findings and
// Assumptions.
//
// Coordinates leave here in the site's plane (package geo/frame): metres from
// the site's origin. Quantities leave in SI; the keys _ft, _in, _ft2 and _inh
// are turned here and nowhere else.
//
// The room may import parcels, geo/frame, geo/shape and the hydro words.
package document
