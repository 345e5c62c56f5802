package document

// A site document with its ground changed, for a plan under a remedy that moves
// earth: so that planner and checker read the same changed text.

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"

	"fallwright/parcels"
)

// Graded is the site read anew with shots of the ground to be in place of those
// dropped (by their places in the site's spots), and with outlets at other levels. The
// criteria are the site's. It is an error where the document has no shots to change, or
// they stand in a system of their own.
func Graded(s *parcels.Site, drop []int, shots []parcels.Graded, outlets map[string]float64) (*parcels.Site, error) {
	var doc, layers, spots map[string]json.RawMessage
	if err := json.Unmarshal(s.Document, &doc); err != nil {
		return nil, err
	}
	if err := json.Unmarshal(doc["layers"], &layers); err != nil {
		return nil, err
	}
	if err := json.Unmarshal(layers[string(parcels.LayerSpots)], &spots); err != nil || spots["crs"] != nil {
		return nil, errors.Join(err, errors.New("document: the layer spots cannot be changed"))
	}
	var features []json.RawMessage
	if err := json.Unmarshal(spots["features"], &features); err != nil {
		return nil, err
	}
	gone := map[int]bool{}
	for _, i := range drop {
		gone[s.Spots[i].Index] = true
	}
	kept := features[:0]
	for i, f := range features {
		if !gone[i] {
			kept = append(kept, f)
		}
	}
	for _, g := range shots {
		at := Position(s.Frame, g.At)
		kept = append(kept, json.RawMessage(fmt.Sprintf(`{"type":"Feature","properties":{"elevation_m":%.4f},"geometry":{"type":"Point","coordinates":[%v,%v]}}`, float64(g.Level), at[0], at[1])))
	}
	put := func(in map[string]json.RawMessage, key string, v any) {
		text, err := json.Marshal(v)
		if err == nil {
			in[key] = text
		}
	}
	put(spots, "features", kept)
	put(layers, string(parcels.LayerSpots), spots)
	if len(outlets) > 0 {
		var of map[string]json.RawMessage
		var list []map[string]json.RawMessage
		if err := json.Unmarshal(layers[string(parcels.LayerOutlets)], &of); err != nil {
			return nil, err
		}
		if err := json.Unmarshal(of["features"], &list); err != nil {
			return nil, err
		}
		for i := range s.Outlets {
			level, ok := outlets[s.Outlets[i].ID]
			if !ok || s.Outlets[i].Index >= len(list) {
				continue
			}
			var props map[string]json.RawMessage
			f := list[s.Outlets[i].Index]
			if err := json.Unmarshal(f["properties"], &props); err != nil {
				return nil, err
			}
			delete(props, "level_ft")
			put(props, "level_m", level)
			put(f, "properties", props)
		}
		put(of, "features", list)
		put(layers, string(parcels.LayerOutlets), of)
	}
	put(doc, "layers", layers)
	text, err := json.Marshal(doc)
	if err != nil {
		return nil, err
	}
	out, err := Read(text, Options{KeepGoing: true})
	if err != nil {
		return nil, err
	}
	out.Criteria = s.Criteria
	// what was written is what is read: no datum or unit of the layer has moved it
	for _, g := range shots {
		if !slices.ContainsFunc(out.Spots, func(sp parcels.Spot) bool {
			return math.Hypot(sp.At[0]-g.At[0], sp.At[1]-g.At[1]) < 1e-3 && math.Abs(float64(sp.Z-g.Level)) < 1e-3
		}) {
			return nil, errors.New("document: a shot of the ground to be is not read as it was written")
		}
	}
	return out, nil
}
