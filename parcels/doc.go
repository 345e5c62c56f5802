// Package parcels holds the words of the domain: a site and its layers, the
// criteria of a jurisdiction or a firm, a plan, an audit, findings and
// verdicts, and the interfaces (Verifier, Store) by which the rooms below it
// meet.
//
// Geometry here is in the site's plane: metres, easting then northing, from
// the origin of the site's frame (package geo/frame). Longitude and latitude
// exist only in documents, stores and geo/frame. Elevations are metres above
// the site's vertical datum. A quantity that the input does not give is a nil
// pointer, never a magic number.
//
// Bad input is an error (*InputError, with the place of each fault); a bad
// yard is a Finding. A yard that gravity cannot drain is a Plan that says why.
//
// The package may import geo and hydro, never a room below itself.
package parcels
