package api

// Vector tiles of a site, all layers in one tile.

import (
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"
	"github.com/paulmach/orb"
	"github.com/paulmach/orb/encoding/mvt"
	"github.com/paulmach/orb/geojson"
	"github.com/paulmach/orb/maptile"
	"github.com/paulmach/orb/project"

	"fallwright/parcels"
)

const (
	deepestZoom = 24
	tileMedia   = "application/vnd.mapbox-vector-tile"
	// incomplete is the layer that says a tile holds less than there is.
	incomplete = "_incomplete"
)

func (s *service) tile(c echo.Context) error {
	info, err := s.siteParam(c)
	if err != nil {
		return err
	}
	y, ok := strings.CutSuffix(c.Param("y"), ".mvt")
	z, errZ := strconv.ParseUint(c.Param("z"), 10, 8)
	x, errX := strconv.ParseUint(c.Param("x"), 10, 32)
	row, errY := strconv.ParseUint(y, 10, 32)
	if !ok || errZ != nil || errX != nil || errY != nil || z > deepestZoom || x >= 1<<z || row >= 1<<z {
		return refuse("not-found", "There is no such tile: z up to %d, x and y below 2 to the z.", deepestZoom)
	}
	if notModified(c, hashTag(info.Name, info.Version, c.Request().URL.Path)) {
		return c.NoContent(http.StatusNotModified)
	}
	t := maptile.New(uint32(x), uint32(row), maptile.Zoom(z))
	own := systemOf(crsURI(info.CRS))
	box, ok, err := s.frames.box(t.Bound(1.0/64), system{uri: crs84}, own)
	if err != nil {
		return err
	}
	if !ok {
		return c.NoContent(http.StatusNoContent)
	}
	toLL, err := s.frames.between(own, system{uri: crs84})
	if err != nil {
		return err
	}
	var layers mvt.Layers
	left, missing := s.limits.TileItems, 0
	for _, layer := range parcels.Layers {
		if info.Features[layer] == 0 {
			continue
		}
		fc := geojson.NewFeatureCollection()
		w := parcels.Window{Bounds: &box, Limit: left + 1}
		for f, err := range s.Store.Features(c.Request().Context(), info.Name, layer, w) {
			if err != nil {
				return err
			}
			if left == 0 {
				missing++
				break
			}
			left--
			out, err := tileFeature(f, toLL)
			if err != nil {
				return err
			}
			if out != nil {
				fc.Append(out)
			}
		}
		if len(fc.Features) > 0 {
			layers = append(layers, mvt.NewLayer(string(layer), fc))
		}
	}
	layers.ProjectToTile(t)
	layers.Clip(mvt.MapboxGLDefaultExtentBound)
	layers.RemoveEmpty(0, 0)
	kept := layers[:0]
	for _, l := range layers {
		if len(l.Features) > 0 {
			kept = append(kept, l)
		}
	}
	if missing > 0 {
		mark := geojson.NewFeature(orb.Point{2048, 2048})
		mark.Properties["complete"] = false
		mark.Properties["limit"] = float64(s.limits.TileItems)
		l := mvt.NewLayer(incomplete, &geojson.FeatureCollection{Features: []*geojson.Feature{mark}})
		kept = append(kept, l)
	}
	if len(kept) == 0 {
		return c.NoContent(http.StatusNoContent)
	}
	body, err := mvt.Marshal(kept)
	if err != nil {
		return fmt.Errorf("api: tile: %w", err)
	}
	c.Response().Header().Set("Cache-Control", "no-cache")
	return c.Blob(http.StatusOK, tileMedia, body)
}

// tileFeature makes a feature in longitude, latitude with the flat properties
// that a tile can hold; nil where it has no geometry.
func tileFeature(f parcels.StoredFeature, m move) (*geojson.Feature, error) {
	if len(f.Geometry) == 0 || string(f.Geometry) == "null" {
		return nil, nil
	}
	g, err := geojson.UnmarshalGeometry(f.Geometry)
	if err != nil {
		return nil, fmt.Errorf("api: tile: stored geometry: %w", err)
	}
	shape := g.Geometry()
	if m != nil {
		bad := false
		shape = project.Geometry(shape, func(p orb.Point) orb.Point {
			q := m(p)
			bad = bad || math.IsNaN(q[0]+q[1])
			return q
		})
		if bad {
			return nil, fmt.Errorf("api: tile: feature %d is outside its system", f.FID)
		}
	}
	out := geojson.NewFeature(shape)
	var props map[string]any
	if len(f.Properties) > 0 {
		if err := json.Unmarshal(f.Properties, &props); err != nil {
			return nil, fmt.Errorf("api: tile: stored properties: %w", err)
		}
	}
	for k, v := range props {
		switch v := v.(type) {
		case nil:
		case string, float64, bool:
			out.Properties[k] = v
		default:
			b, _ := json.Marshal(v)
			out.Properties[k] = string(b)
		}
	}
	if f.ID != "" {
		out.Properties["id"] = f.ID
	} else {
		out.Properties["id"] = strconv.FormatInt(f.FID, 10)
	}
	return out, nil
}
