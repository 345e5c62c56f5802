package api

// GeoJSON layers come in here, read as strictly as in a site document; other
// exports are the Engine's.

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"

	"fallwright/geo/frame"
	"fallwright/parcels"
	"fallwright/parcels/document"
)

// importGeoJSON reads a FeatureCollection as a layer of a site. A layer other
// than parcels is read beside the parcels that are stored, since they fix the
// plane and the bounds.
func (s *service) importGeoJSON(ctx context.Context, site string, exists bool, u Upload) (Imported, error) {
	text, err := document.Scan(u.Body)
	if err != nil {
		return Imported{}, err
	}
	text = bytes.TrimSpace(text)
	if len(text) == 0 || text[0] != '{' {
		return Imported{}, refuse("not-geojson", "The body is no JSON object: a FeatureCollection is needed.").at(parcels.Fault{Pointer: ""})
	}
	top, err := members(text, 0, "")
	if err != nil {
		return Imported{}, err
	}
	crs := frame.Normalise(u.CRS)
	doc := map[string]any{}
	layers := map[string]json.RawMessage{}
	layer := text
	if u.Layer == parcels.LayerParcels {
		if u.CRS != "" {
			doc["crs"] = u.CRS
		}
	} else {
		if !exists {
			return Imported{}, refuse("no-parcels", "The site %s is not stored. Import its parcels first; the layer %s is read beside them.", parcels.Excerpt(site), u.Layer)
		}
		info, err := s.Store.Site(ctx, site)
		if err != nil {
			return Imported{}, err
		}
		if layers["parcels"], err = s.storedLayer(ctx, site, parcels.LayerParcels); err != nil {
			return Imported{}, err
		}
		if info.CRS != "" {
			doc["crs"] = info.CRS
		}
		switch own, ok := top["crs"]; {
		case u.CRS == "" && !ok:
			crs = frame.Normalise(info.CRS)
		case u.CRS == "":
			crs = namedIn(own.text)
		case ok && namedIn(own.text) != crs:
			return Imported{}, refuse("crs-conflict", "The file says it is in %s, the request says %s. Make them agree.", parcels.Excerpt(string(own.text)), parcels.Excerpt(u.CRS)).at(parcels.Fault{Pointer: "/crs"})
		case !ok:
			name, _ := json.Marshal(u.CRS)
			layer = slices.Concat([]byte(`{"crs":{"type":"name","properties":{"name":`), name, []byte(`}},`), text[1:])
		}
	}
	layers[string(u.Layer)] = layer
	doc["layers"] = layers
	whole, err := json.Marshal(doc)
	if err != nil {
		return Imported{}, fmt.Errorf("api: import: %w", err)
	}
	read, err := document.Read(whole, document.Options{Limits: document.ServiceLimits})
	if err != nil {
		return Imported{}, ofFile(err, "/layers/"+string(u.Layer))
	}
	var fc struct {
		Features []struct {
			ID                   json.RawMessage
			Geometry, Properties json.RawMessage
		}
	}
	if err := json.Unmarshal(text, &fc); err != nil {
		return Imported{}, fmt.Errorf("api: import: %w", err)
	}
	out := ImportedLayer{Layer: u.Layer, CRS: crs}
	if u.Layer == parcels.LayerParcels {
		out.CRS = read.CRS
	}
	for _, f := range fc.Features {
		id := string(f.ID)
		if len(id) > 0 && id[0] == '"' {
			_ = json.Unmarshal(f.ID, &id) // scanned: it is text
		} else if id == "null" {
			id = ""
		}
		out.Features = append(out.Features, parcels.StoredFeature{ID: id, Geometry: f.Geometry, Properties: f.Properties})
	}
	in := Imported{Layers: []ImportedLayer{out}}
	for _, f := range read.Findings {
		if f.Severity == parcels.Note && f.Code != "layer_not_supplied" && f.Code != "unknown_member" {
			in.Warnings = append(in.Warnings, f.Message)
		}
	}
	return in, nil
}

// storedLayer puts a stored layer together as a FeatureCollection.
func (s *service) storedLayer(ctx context.Context, site string, layer parcels.Layer) (json.RawMessage, error) {
	var b bytes.Buffer
	b.WriteString(`{"type":"FeatureCollection","features":[`)
	first := true
	for f, err := range s.Store.Features(ctx, site, layer, parcels.Window{}) {
		if err != nil {
			return nil, err
		}
		if !first {
			b.WriteByte(',')
		}
		first = false
		p := f.Properties
		if len(p) == 0 {
			p = json.RawMessage("{}")
		}
		fmt.Fprintf(&b, `{"type":"Feature","geometry":%s,"properties":%s}`, f.Geometry, p)
	}
	b.WriteString("]}")
	return b.Bytes(), nil
}

// namedIn is the code that a crs member names.
func namedIn(member []byte) string {
	var name string
	if json.Unmarshal(member, &name) != nil {
		var old struct {
			Properties struct{ Name string }
		}
		_ = json.Unmarshal(member, &old) // anything else names none
		name = old.Properties.Name
	}
	return frame.Normalise(name)
}

// ofFile makes pointers of the document that was read pointers of the file that
// was sent.
func ofFile(err error, prefix string) error {
	var in *parcels.InputError
	if !errors.As(err, &in) {
		return err
	}
	out := &parcels.InputError{Kind: in.Kind, File: in.File, Faults: slices.Clone(in.Faults)}
	for i := range out.Faults {
		f := &out.Faults[i]
		f.Pointer = strings.TrimPrefix(f.Pointer, prefix)
		f.Offset, f.Line, f.Column = nil, nil, nil
	}
	return out
}
