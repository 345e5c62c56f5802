// Package auditor asks of every lot of a subdivision or a county what a
// reviewer asks: is there room for a drain inside the line, does an inlet lie
// within gravity's reach, do the drains that exist stray, does a building stand
// in the easement; and of the whole: do swales run on from lot to lot, do
// parcels fit together, do inlets take what all lots would send.
//
// A check is one file and one line in the list Checks. Checks of a lot see the
// lot and what lies near it and nothing else, so that lots are worked in any
// order, by any number of workers, with the same bytes as the result; checks of
// the site then see all rows.
//
// A document is audited in memory (Auditor.Audit); a stored site by windows,
// with its rows on disk (Stored), or over a queue by many machines (Submit,
// Begin, Gather). The three give the same bytes. Of a stored site whose ground
// is a raster the caller has to make a document of it: rasters are not read by
// windows.
//
// Geometry is in the site's plane, metres; numbers of rows and findings are
// rounded to a tenth of a millimetre. The room may import parcels and its
// rooms, geo and hydro; tests the stores. Sources of limits: the criteria and the practice notes
// named by P-n in each finding.
package auditor
