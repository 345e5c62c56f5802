package api

// Positions of a reference system in longitude and latitude, so that a page can
// lay maps of the world under a site that is in another system.

import (
	"math"
	"net/http"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"
	"github.com/paulmach/orb"

	"fallwright/geo/frame"
	"fallwright/parcels"
)

// mostPositions is how many one request may ask for.
const mostPositions = 100

// positions answers with the longitudes and latitudes of positions of a system.
func (s *service) positions(c echo.Context) error {
	code := c.QueryParam("crs")
	var list []orb.Point
	all := c.QueryParams()["at"]
	if len(all) == 0 {
		return refuse("parameter-invalid", "at is missing: a position x,y, and again for each more.")
	}
	for _, pair := range all {
		e, n, ok := strings.Cut(pair, ",")
		x, errX := strconv.ParseFloat(strings.TrimSpace(e), 64)
		y, errY := strconv.ParseFloat(strings.TrimSpace(n), 64)
		if !ok || errX != nil || errY != nil || math.IsInf(x+y, 0) || math.IsNaN(x+y) {
			return refuse("parameter-invalid", "at is a position x,y, not %s.", parcels.Excerpt(pair))
		}
		if list = append(list, orb.Point{x, y}); len(list) > mostPositions {
			return refuse("parameter-invalid", "at has more than %d positions; ask in parts.", mostPositions)
		}
	}
	if info, err := frame.Lookup(code); err != nil || code == "" {
		return refuse("parameter-invalid", "crs %s is not known: give EPSG:NNNN.", parcels.Excerpt(code))
	} else if !info.Geographic {
		// a frame of its own: which systems are asked for is the client's choice, and
		// those that are kept stay few
		f, err := frame.New(frame.Normalise(code), orb.Bound{})
		if err != nil {
			return refuse("parameter-invalid", "crs %s is not one that sites can be in.", parcels.Excerpt(code))
		}
		for i, p := range list {
			list[i] = f.LonLat(f.Plane(p))
		}
	}
	for i, p := range list {
		if !(math.Abs(p[0]) <= 180 && math.Abs(p[1]) <= 90) {
			return refuse("parameter-invalid", "Position %d of at does not lie in the system %s.", i, parcels.Excerpt(code))
		}
		list[i] = orb.Point{math.Round(p[0]*1e9) / 1e9, math.Round(p[1]*1e9) / 1e9}
	}
	return c.JSON(http.StatusOK, map[string]any{"crs": crs84, "positions": list})
}
