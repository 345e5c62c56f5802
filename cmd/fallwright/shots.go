package main

// A surveyor's point file as the layer spots of a site document.

import (
	"encoding/json"

	"github.com/paulmach/orb"

	"fallwright/geo/unit"
	"fallwright/parcels"
	"fallwright/parcels/document"
	"fallwright/parcels/exchange/survey"
)

// withShots puts the ground shots of a point file into the document as the
// layer spots, in the document's own coordinates, elevations in metres. The
// parcels say which way round northing and easting are.
func (e *env) withShots(doc []byte, o document.Options, file string, in inputs) ([]byte, []parcels.Finding, error) {
	text, err := e.read(file)
	if err != nil {
		return nil, nil, err
	}
	s, err := document.Read(doc, o)
	if err != nil {
		return nil, nil, err
	}
	if s.Frame.Geographic() {
		return nil, nil, inputFault(file, "crs-conflict", "A point file is in northing and easting, but the parcels are in longitude and latitude. Give the parcels in the survey's own system.")
	}
	if len(s.Spots) > 0 {
		return nil, nil, inputFault(file, "layer-twice", "The site has a layer spots already; give the shots once.")
	}
	box := s.Lots[0].Shape.Bound()
	for i := range s.Lots {
		box = box.Union(s.Lots[i].Shape.Bound())
	}
	bounds := orb.Bound{Min: s.Frame.Document(box.Min), Max: s.Frame.Document(box.Max)}
	so := survey.Options{Order: survey.Order(in.ShotOrder), Bounds: &bounds, PlanUnit: unit.Length(s.Frame.MetresPerUnit()), Codes: s.Criteria.Survey.Codes}
	if in.TerrainUnit != "" {
		so.ElevationUnit = unitNamed(in.TerrainUnit)
	}
	f, err := survey.Read(text, file, so)
	if err != nil {
		return nil, nil, named(err, file)
	}
	type feature map[string]any
	features := []feature{}
	for _, p := range f.Points {
		if !p.OnGround() {
			continue
		}
		features = append(features, feature{"type": "Feature", "id": p.ID, "properties": map[string]any{"elevation_m": float64(*p.Z), "description": p.Description, "origin": "measured"},
			"geometry": map[string]any{"type": "Point", "coordinates": p.At}})
	}
	col, err := json.Marshal(map[string]any{"type": "FeatureCollection", "features": features})
	if err != nil {
		return nil, nil, err
	}
	out, err := assemble(doc, map[parcels.Layer][]byte{parcels.LayerSpots: col}, "", "")
	return out, f.Findings, err
}
