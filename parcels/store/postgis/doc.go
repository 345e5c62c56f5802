// Package postgis keeps sites in PostgreSQL with PostGIS, for many machines and
// counties, by lib/pq.
//
// Everything stands in the schema fallwright, made and brought up to date on
// opening by the numbered files in migrations (package goose). Each layer is a
// table of its key (fallwright.parcels, ...): fid, site, feature_id, geom with
// its system, properties as the JSON given. Features are loaded by COPY and
// found by a GiST index on geom. What the other tables hold is as in package
// gpkg.
//
// A write is one transaction; writers of the same site take turns (five
// seconds, then Busy), readers are never held up. A database that is away is
// Busy too: the caller may try again.
//
// May import parcels, parcels/store, parcels/document, parcels/exchange/wkb.
package postgis
