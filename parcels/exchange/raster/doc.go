// Package raster reads elevation rasters: GeoTIFF (classic and big, integer and
// float, strips and tiles, uncompressed, LZW, deflate and packbits, predictors
// 1 to 3) and ESRI ASCII grids. It owns the bytes, their faults, the reference
// system and the unit; what the ground is between the cells is geo/ground's.
//
// A File is opened strictly and read where it is asked for, so that a raster
// larger than memory costs no more than the windows read. Elevations come out
// in metres, NaN where there is none. Overviews and further pictures in a TIFF
// are passed over; a mask, and a band of opacity, leave out cells. What a file does not say and the caller does not give (its
// reference system, the unit of its elevations) is an error that says how to
// give it; nothing is guessed. Longitude and latitude are refused: a grid in
// degrees is no plane, and too coarse for a yard as a rule.
//
// A Spool is a part of one on disk, with what is found over it; an Output is
// written as GeoTIFF.
//
// Every fault is a *parcels.InputError. May import parcels, geo/frame,
// geo/ground, geo/overland, geo/unit. Sources: TIFF 6.0 (1992) and its Technical Note 3 on
// the floating-point predictor; OGC 19-008r4 GeoTIFF 1.1; the BigTIFF layout of
// the LibTIFF project; EPSG unit codes 9001 to 9003 (all from memory, judged in
// the tests by GDAL).
package raster
