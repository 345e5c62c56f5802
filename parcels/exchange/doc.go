// Package exchange brings the exports of other programs in and takes layers
// out. In: GeoJSON (a FeatureCollection, or one feature a line), a zipped
// shapefile, GeoPackage, CSV with X,Y or WKT. Out: GeoJSON, GeoPackage, zipped
// shapefile, CSV, DXF (R12). Rasters are raster's, survey points survey's.
//
// Reading is strict. The container comes first, each limit before what it
// guards: entries of an archive are never written anywhere, a GeoPackage is
// opened for reading only and views, virtual tables, generated columns and odd
// names in it are refused, its triggers never run; well-known binary is read by
// package wkb. Then every feature goes through the one checker of package
// document, so that a fault has the same slug and text whatever held it, with
// record, row or line added. A faulty feature is refused with its reason or, as
// the caller wishes, refuses the whole; a fault of the container refuses the
// whole always.
//
// Attributes keep their names; those the service reads are added under its own
// (lot, rim_m, ...) by a mapping that is given or guessed, and the report says
// which. Values are copied, never converted, but for US survey feet: the unit
// goes into the name (rim_ft). Numbers that stand for unknown (9999) are kept as
// they are and counted. A line of several parts becomes as many features in the
// layers whose features nobody calls by a name. Nothing is reprojected, dropped or mended that the
// report does not tell.
//
// May import parcels, parcels/document, parcels/store (moving coordinates),
// geo/frame, geo/shape, modernc.org/sqlite.
package exchange
