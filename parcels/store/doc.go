// Package store holds what the stores have in common: cutting a site document
// into its layers, putting it together again, and looking into properties. The
// stores themselves are its sub-rooms: gpkg (one GeoPackage file) and postgis;
// storetest is the one suite that both pass.
//
// A document that was put whole is kept byte for byte and given back so. Once
// a layer is imported on its own, Document puts the text together: the layers
// written since come from their tables, everything else stands as it was put.
//
// Coordinates are those of the site's own system; a layer of a document that is
// in another one is brought into it when it is put. May import parcels,
// parcels/document, parcels/exchange/wkb, geo/frame.
package store
