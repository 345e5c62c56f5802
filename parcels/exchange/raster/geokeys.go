package raster

// Where a GeoTIFF lies and in what it measures.

import (
	"fmt"
	"math"

	"fallwright/geo/unit"
)

// Keys that are read (OGC 19-008r4, annex).
const (
	keyModel          = 1024 // 1 projected, 2 geographic, 3 geocentric
	keyRasterType     = 1025 // 1 a number for an area, 2 for a point
	keyGeographic     = 2048
	keyProjected      = 3072
	keyProjectedUnit  = 3076
	keyVertical       = 4096
	keyVerticalUnit   = 4099
	userDefined       = 32767
	rasterPixelIsArea = 1
)

var lengthUnits = map[int]unit.Length{9001: unit.Metre, 9002: unit.Foot, 9003: unit.SurveyFoot}

// verticals are height systems and their units (EPSG data set, from memory).
var verticals = map[int]struct {
	name string
	unit unit.Length
}{
	5703: {"NAVD88", unit.Metre}, 6360: {"NAVD88", unit.SurveyFoot}, 8228: {"NAVD88", unit.Foot},
	5702: {"NGVD29", unit.SurveyFoot}, 7968: {"NGVD29", unit.Metre},
	5773: {"EGM96", unit.Metre}, 3855: {"EGM2008", unit.Metre}, 5714: {"mean sea level", unit.Metre},
	5713: {"CGVD28", unit.Metre}, 6647: {"CGVD2013", unit.Metre},
	5720: {"NGF-IGN69", unit.Metre}, 5701: {"ODN", unit.Metre}, 7837: {"DHHN2016", unit.Metre}, 5621: {"EVRF2007", unit.Metre},
}

func (t *tiff) georeference(f *File) error {
	keys, err := t.geoKeys()
	if err != nil {
		return err
	}
	if err := t.place(f, keys[keyRasterType] == 2); err != nil {
		return err
	}
	switch keys[keyModel] {
	case 2:
		f.CRS = "EPSG:4326"
		if c := keys[keyGeographic]; c > 0 && c < userDefined {
			f.CRS = fmt.Sprintf("EPSG:%d", c)
		}
	case 3:
		return t.unsupported(tagGeoKeys, "The raster is in geocentric coordinates. Reproject it to a projected system in metres or feet.")
	default:
		if c := keys[keyProjected]; c > 0 && c < userDefined {
			f.CRS = fmt.Sprintf("EPSG:%d", c)
		} else if c == userDefined {
			f.Notes = append(f.Notes, "the raster's coordinate system is one of its own, without a code")
		}
		if u, ok := lengthUnits[keys[keyProjectedUnit]]; ok {
			f.MetresPerUnit = float64(u)
		}
	}
	if v, ok := verticals[keys[keyVertical]]; ok {
		f.VerticalDatum, f.ElevationUnit = v.name, v.unit
	} else if c := keys[keyVertical]; c > 0 && c < userDefined {
		f.VerticalDatum = fmt.Sprintf("EPSG:%d", c)
	}
	if c, ok := keys[keyVerticalUnit]; ok {
		u, known := lengthUnits[c]
		if known && f.ElevationUnit != 0 && u != f.ElevationUnit {
			return t.corrupt(tagGeoKeys, t.dir[tagGeoKeys].place, "The raster's height system %s is in units of %.9g m, but its vertical unit is said to be %.9g m. Correct the file.", f.VerticalDatum, float64(f.ElevationUnit), float64(u))
		}
		if known {
			f.ElevationUnit = u
		}
	}
	return nil
}

// geoKeys reads the short-valued keys; the others say nothing that is needed.
func (t *tiff) geoKeys() (map[int]int, error) {
	v, err := t.integers(tagGeoKeys)
	if err != nil || v == nil {
		return nil, err
	}
	at := t.dir[tagGeoKeys].place
	if len(v) < 4 || v[0] != 1 || int64(len(v)) < 4+4*v[3] {
		return nil, t.corrupt(tagGeoKeys, at, "The directory of geographic keys is damaged: %d numbers.", len(v))
	}
	keys := map[int]int{}
	for i := int64(0); i < v[3]; i++ {
		k := v[4+4*i:]
		if k[1] == 0 {
			keys[int(k[0])] = int(k[3])
		}
	}
	return keys, nil
}

// place finds the outer corner and the size of the cells.
func (t *tiff) place(f *File, point bool) error {
	scale, err := t.doubles(tagPixelScale)
	if err != nil {
		return err
	}
	tie, err := t.doubles(tagTiepoint)
	if err != nil {
		return err
	}
	m, err := t.doubles(tagTransform)
	if err != nil {
		return err
	}
	tag := tagPixelScale
	switch {
	case len(m) >= 8:
		tag = tagTransform
		if m[1] != 0 || m[4] != 0 {
			return t.unsupported(tagTransform, "The raster is turned against its coordinate system. Write it north up: gdalwarp -r bilinear -dstnodata -9999 %s out.tif.", t.name)
		}
		f.CellX, f.CellY = m[0], -m[5]
		f.West, f.North = m[3], m[7]
	case len(scale) >= 2 && len(tie) >= 6:
		if len(tie) > 6 {
			return t.unsupported(tagTiepoint, "The raster is placed by %d ground control points. Resample it to a raster with north up.", len(tie)/6)
		}
		f.CellX, f.CellY = scale[0], scale[1]
		f.West, f.North = tie[3]-tie[0]*scale[0], tie[4]+tie[1]*scale[1]
	default:
		return t.unsupported(tagTiepoint, "The TIFF does not say where it lies. Write it as a GeoTIFF; a world file is not read.")
	}
	if point { // the tie point is the centre of the first cell
		f.West -= f.CellX / 2
		f.North += f.CellY / 2
	}
	for _, v := range []float64{f.West, f.North, f.CellX, f.CellY} {
		if math.IsNaN(v) || math.Abs(v) > 1e9 {
			return t.corrupt(tag, t.dir[tag].place, "The raster's place holds the number %v.", v)
		}
	}
	if f.CellX <= 0 || f.CellY <= 0 {
		return t.unsupported(tag, "The raster's cells are %v by %v, south up or mirrored. Resample it to a raster with north up.", f.CellX, f.CellY)
	}
	return nil
}
