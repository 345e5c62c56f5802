// Package store holds what the stores have in common: the tables of sites,
// history, results, rasters and jobs with the order in which a write goes
// (Tables), cutting a site document into its layers, putting it together again,
// checking a feature on its way in, and looking into properties. A store is
// Tables over a Database: its sub-rooms are gpkg (one GeoPackage file) and
// postgis, each with its way of opening, of taking turns and of holding
// features; storetest is the one suite that both pass.
//
// A document that was put whole is kept byte for byte and given back so. Once
// a layer is imported on its own, Document puts the text together: the layers
// written since come from their tables, everything else stands as it was put. A
// document that names no terrain gets the raster that was stored last.
//
// A result keeps the document that it was worked from, and names the raster by
// its checksum, so that it can be worked again after both have changed. Bytes
// are kept once for a site and checksum.
//
// Coordinates are those of the site's own system; a layer that comes in another
// one is brought into it, and the edit says so. May import parcels,
// parcels/document, parcels/exchange/wkb, geo/frame, geo/unit.
package store
