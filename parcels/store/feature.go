package store

// One feature on its way into a table.

import (
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"fallwright/parcels"
	"fallwright/parcels/document"
	"fallwright/parcels/exchange/wkb"
)

// SRS is the number of a system that System has passed, "" being longitude,
// latitude.
func SRS(crs string) int {
	if crs == "" {
		return 4326
	}
	n, _ := strconv.Atoi(strings.TrimPrefix(crs, "EPSG:")) // System has passed it
	return n
}

// Refuse is the error of a feature that a layer does not take; n counts the
// features of the import from 0.
func Refuse(l parcels.Layer, n int, id, slug, detail string) error {
	f := parcels.Fault{Slug: slug, Layer: string(l), Feature: &n}
	named := ""
	if id != "" {
		f.ID = id
		named = " (id " + parcels.Excerpt(id) + ")"
	}
	f.Detail = fmt.Sprintf("Layer %s: feature %d%s: %s.", l, n, named, detail)
	return &parcels.InputError{Kind: parcels.Invalid, Faults: []parcels.Fault{f}}
}

// Twice is the error of an id that is stored already; n is the feature's place
// in the import where the database tells it, else nil.
func Twice(l parcels.Layer, site, id string, n *int) error {
	f := parcels.Fault{Slug: "duplicate-id", Layer: string(l), ID: id,
		Detail: fmt.Sprintf("Layer %s: the id %s is stored already in site %s. Give the feature its own, or replace the layer.", l, parcels.Excerpt(id), parcels.Excerpt(site))}
	if n != nil {
		f.Feature = n
		f.Detail = fmt.Sprintf("Layer %s: the id %s of feature %d is stored already in site %s. Give it its own, or replace the layer.", l, parcels.Excerpt(id), *n, parcels.Excerpt(site))
	}
	return &parcels.InputError{Kind: parcels.Conflict, Faults: []parcels.Fault{f}}
}

// Encoder checks the features of one import and gives their geometry as ISO
// well-known binary.
type Encoder struct {
	// Count is how many features have been encoded, Box the box of all.
	Count int
	Box   wkb.Box

	layer parcels.Layer
	types map[int]bool
}

// NewEncoder encodes for a layer, which is one of parcels.Layers.
func NewEncoder(l parcels.Layer) *Encoder {
	e := &Encoder{layer: l, types: map[int]bool{}, Box: wkb.NoBox()}
	for _, t := range document.GeometryTypes(l) {
		e.types[wkb.Number(t)] = true
	}
	return e
}

// Encode appends the geometry of the next feature to dst, nothing where it has
// none. The error is a *parcels.InputError.
func (e *Encoder) Encode(dst []byte, f parcels.StoredFeature) ([]byte, wkb.Box, error) {
	refuse := func(slug, detail string) ([]byte, wkb.Box, error) {
		return dst, wkb.NoBox(), Refuse(e.layer, e.Count, f.ID, slug, detail)
	}
	out, box, _, err := wkb.FromGeoJSON(dst, f.Geometry)
	var ge *wkb.Error
	switch {
	case errors.As(err, &ge):
		return refuse(ge.Slug, ge.Detail)
	case err != nil:
		return dst, box, err
	case len(out) > len(dst):
		if kind := wkb.KindOf(out[len(dst):]); !e.types[wkb.Number(kind)] {
			return refuse("geometry-type", "a "+kind+" is not taken here")
		}
		if box.Empty() {
			return refuse("geometry-empty", "the geometry is empty")
		}
	}
	if !None(f.Properties) && (f.Properties[0] != '{' || !json.Valid(f.Properties)) {
		return refuse("feature-invalid", "its properties are no JSON object")
	}
	e.Box = e.Box.Join(box)
	e.Count++
	return out, box, nil
}

// None says that a member was not given or is null.
func None(raw json.RawMessage) bool { return len(raw) == 0 || string(raw) == "null" }
