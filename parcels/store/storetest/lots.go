package storetest

import (
	"fmt"
	"strconv"

	"fallwright/parcels"
)

// ImportLots replaces the parcels of the site elm with n square lots.
func ImportLots(s parcels.Store, n int) error {
	w, err := s.Write(ctx, "elm", parcels.LayerParcels, "EPSG:2274", true)
	if err != nil {
		return err
	}
	for i := range n {
		x, y := 1700000+float64(i%1000)*100, 600000+float64(i/1000)*100
		if err := w.Add(ctx, parcels.StoredFeature{ID: strconv.Itoa(i), Properties: fmt.Appendf(nil, `{"lot":"%d"}`, i),
			Geometry: fmt.Appendf(nil, `{"type":"Polygon","coordinates":[[[%g,%g],[%g,%g],[%g,%g],[%g,%g],[%g,%g]]]}`, x, y, x+99, y, x+99, y+99, x, y+99, x, y)}); err != nil {
			_ = w.Abort() // the first error is told
			return err
		}
	}
	_, err = w.Commit(ctx, "ann")
	return err
}
