// Package wkb is the codec between the text of a GeoJSON geometry, the
// well-known binary of OGC 06-103r4 (ISO, with Z; M is read and left out) and
// the geometry blobs of GeoPackage (OGC 12-128r17, section 2.1.3), heights
// kept. It transcodes bytes to bytes: nothing is built in between.
//
// Reading is strict: every count is held against the bytes that are left
// before anything is made of it, nesting ends at 8, and a coordinate that is
// not finite is a fault; each fault is an *Error with the slug of the service's
// list. Coordinates have no unit here: they are those of whatever holds them.
//
// Imports the standard library only. Layouts from the standards named (the
// byte layouts from memory, judged by GDAL in the tests).
package wkb
