// Package gpkg keeps sites in one GeoPackage file (OGC 12-128r17, version 1.3)
// that general GIS programs open as it is.
//
// Each layer is a feature table of its key: parcels, inlets, ... Features of
// all sites stand in it, told apart by the column site. A site in another
// reference system than the first has a table of its own, parcels_2274, since
// a GeoPackage table has one system; longitude and latitude are EPSG:4326, x
// being longitude. Columns:
//
//	fid         number of the feature, never used twice
//	geom        geometry, with heights where given
//	site        name of the site
//	feature_id  the feature's own id (GeoJSON), unique in site and layer
//	lot, ...    properties that a map is labelled by, for reading only
//	properties  all properties as they were given (JSON); what counts
//
// Tables of our own are the extension fallwright_store, listed in
// gpkg_extensions: fallwright_sites (settings and the document as put),
// fallwright_layers (counts and extents), fallwright_history (who changed what;
// never emptied, so that a name that comes back goes on counting its versions),
// fallwright_results (plans, audits and what it takes to run them again),
// fallwright_rasters (elevation rasters: where they lie, their unit, their
// checksum), fallwright_blobs (the bytes of rasters as they came and of the
// documents that results rest on, by checksum, in parts of 256 KiB),
// fallwright_jobs and fallwright_replies (of the service). A store of an older
// program is brought up to date when it is opened for writing. A file that
// holds a view, a virtual table other than an R*Tree, or a trigger on a table
// that we write other than the standard's is not opened.
//
// The file is in write-ahead mode while open: one writer at a time, readers see
// the last state committed and are never held up. A second writer waits five
// seconds and is then refused (Kind Busy). A write is on the disk when it
// returns. Close brings the file back to a single plain file where nobody else
// holds it. Feature tables are written with their R*Tree (triggers of the
// standard), so that an edit by another program keeps the index right; an import
// into an empty table writes the tree of all its boxes at once.
//
// May import parcels, parcels/store, parcels/document, parcels/exchange/wkb,
// geo/frame.
package gpkg
