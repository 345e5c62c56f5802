package store

// A site document as its layers, and back.

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"iter"
	"maps"
	"math"
	"slices"
	"strings"

	"github.com/paulmach/orb"

	"fallwright/geo/frame"
	"fallwright/parcels"
)

// DocumentLayer is one layer of a document, features in the site's system.
type DocumentLayer struct {
	Layer    parcels.Layer
	Features []parcels.StoredFeature
}

// System is a reference system as stores name it: "" for longitude, latitude.
func System(crs string) (string, error) {
	i, err := frame.Lookup(crs)
	if err != nil {
		return "", &parcels.InputError{Kind: parcels.Invalid, Faults: []parcels.Fault{{Slug: "crs-unknown", Pointer: "/crs",
			Detail: fmt.Sprintf("The reference system %q is not known. Give a code of the form EPSG:NNNN.", parcels.Excerpt(crs))}}}
	}
	if i.Geographic {
		return "", nil
	}
	return i.Code, nil
}

type collection struct {
	Type     string          `json:"type"`
	CRS      json.RawMessage `json:"crs"`
	Features []feature       `json:"features"`
}

type feature struct {
	ID         json.RawMessage `json:"id"`
	Geometry   json.RawMessage `json:"geometry"`
	Properties json.RawMessage `json:"properties"`
}

func (f feature) stored() parcels.StoredFeature {
	id := string(f.ID)
	if id == "null" {
		id = ""
	}
	if strings.HasPrefix(id, `"`) {
		_ = json.Unmarshal(f.ID, &id) // checked JSON
	}
	return parcels.StoredFeature{ID: id, Geometry: f.Geometry, Properties: f.Properties}
}

func crsName(raw json.RawMessage) string {
	var old struct {
		Properties struct{ Name string }
	}
	var text string
	if json.Unmarshal(raw, &text) == nil {
		return text
	}
	_ = json.Unmarshal(raw, &old) // anything else names none
	return old.Properties.Name
}

// Cut reads the layers of a document that a strict reader has passed, and the
// system that the site is in. The error is a *parcels.InputError.
func Cut(document []byte) (crs string, layers []DocumentLayer, err error) {
	unreadable := func(err error) error {
		return &parcels.InputError{Kind: parcels.Unreadable, Faults: []parcels.Fault{{Slug: "json-syntax", Detail: "The document cannot be read: " + parcels.Excerpt(err.Error()) + "."}}}
	}
	var top struct {
		Type   string                            `json:"type"`
		CRS    json.RawMessage                   `json:"crs"`
		Layers map[parcels.Layer]json.RawMessage `json:"layers"`
	}
	if err := json.Unmarshal(document, &top); err != nil {
		return "", nil, unreadable(err)
	}
	if top.Layers == nil && top.Type != "" {
		top.Layers = map[parcels.Layer]json.RawMessage{parcels.LayerParcels: document}
	}
	name := crsName(top.CRS)
	cut := map[parcels.Layer]collection{}
	for _, l := range parcels.Layers {
		raw := top.Layers[l]
		if len(raw) == 0 || string(raw) == "null" {
			continue
		}
		var c collection
		if err := json.Unmarshal(raw, &c); err != nil {
			return "", nil, unreadable(err)
		}
		if c.Type == "Feature" {
			var f feature
			if err := json.Unmarshal(raw, &f); err != nil {
				return "", nil, unreadable(err)
			}
			c.Features = []feature{f}
		}
		cut[l] = c
	}
	if own := crsName(cut[parcels.LayerParcels].CRS); own != "" {
		name = own
	}
	if crs, err = System(name); err != nil {
		return "", nil, err
	}
	for _, l := range parcels.Layers {
		c, ok := cut[l]
		if !ok {
			continue
		}
		out := DocumentLayer{Layer: l, Features: make([]parcels.StoredFeature, 0, len(c.Features))}
		move := func(g json.RawMessage) (json.RawMessage, error) { return g, nil }
		if own := crsName(c.CRS); own != "" {
			from, err := System(own)
			if err != nil {
				return "", nil, err
			}
			if from != crs {
				f, err := Mover(from, crs)
				if err != nil {
					return "", nil, err
				}
				move = func(g json.RawMessage) (json.RawMessage, error) { return MoveGeometry(g, f) }
			}
		}
		for _, f := range c.Features {
			s := f.stored()
			if s.Geometry, err = move(s.Geometry); err != nil {
				return "", nil, err
			}
			out.Features = append(out.Features, s)
		}
		layers = append(layers, out)
	}
	return crs, layers, nil
}

// Mover gives the way from one system to another, both as System names them.
// Between datums it is good to some metres only.
func Mover(from, to string) (func(orb.Point) orb.Point, error) {
	if to == "" {
		f, err := frame.New(from, orb.Bound{})
		if err != nil {
			return nil, err
		}
		return func(p orb.Point) orb.Point { return f.LonLat(f.Plane(p)) }, nil
	}
	f, err := frame.New(to, orb.Bound{})
	if err != nil {
		return nil, err
	}
	way, err := f.From(from)
	if err != nil {
		return nil, err
	}
	return func(p orb.Point) orb.Point { return f.Document(way(p)) }, nil
}

// MoveGeometry puts every position of a GeoJSON geometry through f, heights as
// they are.
func MoveGeometry(g json.RawMessage, f func(orb.Point) orb.Point) (json.RawMessage, error) {
	if len(g) == 0 || string(g) == "null" {
		return g, nil
	}
	var m struct {
		Type        string          `json:"type"`
		Coordinates json.RawMessage `json:"coordinates"`
	}
	if err := json.Unmarshal(g, &m); err != nil {
		return nil, err
	}
	var c any
	if err := json.Unmarshal(m.Coordinates, &c); err != nil {
		return nil, err
	}
	var move func(v any) error
	move = func(v any) error {
		list, ok := v.([]any)
		if !ok || len(list) == 0 {
			return fmt.Errorf("store: no coordinates")
		}
		if x, ok := list[0].(float64); ok {
			y, ok := list[min(1, len(list)-1)].(float64)
			p := f(orb.Point{x, y})
			if !ok || len(list) < 2 || math.IsNaN(p[0]) || math.IsInf(p[0], 0) {
				return &parcels.InputError{Kind: parcels.Invalid, Faults: []parcels.Fault{{Slug: "coordinate-out-of-range",
					Detail: fmt.Sprintf("The position %g, %g cannot be brought into the site's reference system. Check the crs of the layer.", x, y)}}}
			}
			list[0], list[1] = p[0], p[1]
			return nil
		}
		for _, e := range list {
			if err := move(e); err != nil {
				return err
			}
		}
		return nil
	}
	if err := move(c); err != nil {
		return nil, err
	}
	out, err := json.Marshal(c)
	if err != nil {
		return nil, err
	}
	return fmt.Appendf(nil, `{"type":%q,"coordinates":%s}`, m.Type, out), nil
}

// set puts members into a document, in place of those of their name; null takes
// one out. A document of nil is an empty one.
func set(document []byte, members map[string]json.RawMessage) ([]byte, error) {
	top, err := ordered(document)
	if err != nil {
		return nil, err
	}
	if slices.ContainsFunc(top, func(m member) bool { return m.key == "type" }) { // a bare collection of parcels
		top = []member{{"layers", object([]member{{"parcels", document}})}}
	}
	for _, key := range slices.Sorted(maps.Keys(members)) {
		if key == "layers" || key == "crs" {
			return nil, &parcels.Error{Kind: parcels.Invalid, Op: "store: put settings", Subject: key, Err: errors.New("features and their reference system come in by an import")}
		}
		i := slices.IndexFunc(top, func(m member) bool { return m.key == key })
		switch none := string(members[key]) == "null"; {
		case none && i >= 0:
			top = slices.Delete(top, i, i+1)
		case none:
		case i >= 0:
			top[i].raw = members[key]
		default:
			top = append([]member{{key, members[key]}}, top...)
		}
	}
	return object(top), nil
}

// Terrain is the raster that a document names, empty for none.
func Terrain(document []byte) string {
	var top struct {
		Terrain string `json:"terrain"`
	}
	_ = json.Unmarshal(document, &top) // a strict reader has passed it
	return top.Terrain
}

type member struct {
	key string
	raw json.RawMessage
}

// ordered cuts a JSON object, order kept.
func ordered(text []byte) ([]member, error) {
	if len(text) == 0 {
		return nil, nil
	}
	dec := json.NewDecoder(bytes.NewReader(text))
	if _, err := dec.Token(); err != nil {
		return nil, err
	}
	var out []member
	for dec.More() {
		t, err := dec.Token()
		if err != nil {
			return nil, err
		}
		key, _ := t.(string)
		var raw json.RawMessage
		if err := dec.Decode(&raw); err != nil {
			return nil, err
		}
		out = append(out, member{key, raw})
	}
	return out, nil
}

// Assemble puts a document together: base is what was put whole (nil: nothing
// was), written are the layers that have been imported since, which come from
// features. Terrain is the raster to name where base names none; empty: none.
func Assemble(name, crs, terrain string, base []byte, written []parcels.Layer, features func(parcels.Layer) iter.Seq2[parcels.StoredFeature, error]) ([]byte, error) {
	return assemble(name, crs, terrain, base, written, nil, features)
}

// Head puts a document together whose layers have no features: what stands
// beside them. layers are all that the site has, written those of them that have
// been imported since the document was put whole. A layer that was put in a
// reference system of its own says so.
func Head(name, crs, terrain string, base []byte, layers, written []parcels.Layer) ([]byte, error) {
	put := slices.DeleteFunc(slices.Clone(layers), func(l parcels.Layer) bool { return slices.Contains(written, l) })
	return assemble(name, crs, terrain, base, layers, put, func(parcels.Layer) iter.Seq2[parcels.StoredFeature, error] {
		return func(func(parcels.StoredFeature, error) bool) {}
	})
}

// assemble is Assemble; the layers of put keep the system they name.
func assemble(name, crs, terrain string, base []byte, written, put []parcels.Layer, features func(parcels.Layer) iter.Seq2[parcels.StoredFeature, error]) ([]byte, error) {
	top, err := ordered(base)
	if err != nil {
		return nil, err
	}
	has := func(ms []member, key string) int {
		return slices.IndexFunc(ms, func(m member) bool { return m.key == key })
	}
	var layers []member
	if i := has(top, "layers"); i >= 0 {
		if layers, err = ordered(top[i].raw); err != nil {
			return nil, err
		}
	} else {
		if has(top, "type") >= 0 { // a bare collection of parcels
			layers = []member{{"parcels", base}}
			top = nil
		}
		top = append(top, member{key: "layers"})
	}
	if has(top, "site") < 0 {
		n, _ := json.Marshal(name)
		top = append([]member{{"site", n}}, top...)
	}
	if crs != "" && has(top, "crs") < 0 {
		c, _ := json.Marshal(crs)
		top = slices.Insert(top, 1, member{"crs", c})
	}
	if terrain != "" && has(top, "terrain") < 0 {
		t, _ := json.Marshal(terrain)
		top = append(top, member{"terrain", t})
	}
	for _, l := range written {
		i := has(layers, string(l))
		var own []member
		if i < 0 {
			i = len(layers)
			layers = append(layers, member{key: string(l)})
		} else if own, err = ordered(layers[i].raw); err != nil {
			return nil, err
		}
		var b bytes.Buffer
		b.WriteString(`{"type":"FeatureCollection"`)
		for _, m := range own {
			if !slices.Contains([]string{"type", "features", "crs", "bbox", "id", "geometry", "properties"}, m.key) || m.key == "crs" && slices.Contains(put, l) {
				k, _ := json.Marshal(m.key)
				fmt.Fprintf(&b, ",%s:%s", k, m.raw)
			}
		}
		b.WriteString(`,"features":[`)
		n := 0
		for f, err := range features(l) {
			if err != nil {
				return nil, err
			}
			if n++; n > 1 {
				b.WriteByte(',')
			}
			b.WriteString("\n" + `{"type":"Feature"`)
			if f.ID != "" {
				id, _ := json.Marshal(f.ID)
				fmt.Fprintf(&b, `,"id":%s`, id)
			}
			b.WriteString(`,"geometry":`)
			b.Write(orNull(f.Geometry))
			b.WriteString(`,"properties":`)
			b.Write(orNull(f.Properties))
			b.WriteByte('}')
		}
		b.WriteString("]}")
		layers[i].raw = b.Bytes()
	}
	top[has(top, "layers")].raw = object(layers)
	return object(top), nil
}

func orNull(raw json.RawMessage) []byte {
	if len(raw) == 0 {
		return []byte("null")
	}
	return raw
}

func object(ms []member) []byte {
	var b bytes.Buffer
	for i, m := range ms {
		k, _ := json.Marshal(m.key)
		sep := ","
		if i == 0 {
			sep = "{"
		}
		b.WriteString(sep)
		b.Write(k)
		b.WriteByte(':')
		b.Write(m.raw)
	}
	if len(ms) == 0 {
		return []byte("{}")
	}
	b.WriteByte('}')
	return b.Bytes()
}

// Holds says whether every property equals its text: a text as it is, anything
// else as its JSON.
func Holds(properties json.RawMessage, equal map[string]string) bool {
	if len(equal) == 0 {
		return true
	}
	var m map[string]json.RawMessage
	if json.Unmarshal(properties, &m) != nil {
		return false
	}
	for k, want := range equal {
		if got, ok := Text(m[k]); !ok || got != want {
			return false
		}
	}
	return true
}

// Text is a property as text; ok is false for none.
func Text(raw json.RawMessage) (text string, ok bool) {
	if len(raw) == 0 {
		return "", false
	}
	if raw[0] == '"' {
		ok = json.Unmarshal(raw, &text) == nil
		return text, ok
	}
	return string(raw), true
}

// Sorted puts features in the order of a property, numbers before texts, those
// without it last, and cuts at limit (0: none). A minus sign before the name
// turns the order round.
func Sorted(fs []parcels.StoredFeature, by string, limit int) []parcels.StoredFeature {
	name, down := strings.CutPrefix(by, "-")
	type keyed struct {
		f      parcels.StoredFeature
		rank   int
		number float64
		text   string
	}
	ks := make([]keyed, len(fs))
	for i, f := range fs {
		k := keyed{f: f, rank: 2}
		var m map[string]json.RawMessage
		_ = json.Unmarshal(f.Properties, &m) // no object: no property
		if raw := m[name]; len(raw) > 0 && string(raw) != "null" {
			if json.Unmarshal(raw, &k.number) == nil {
				k.rank = 0
			} else {
				k.rank = 1
				k.text, _ = Text(raw)
			}
		}
		ks[i] = k
	}
	slices.SortStableFunc(ks, func(a, b keyed) int {
		c := 0
		switch {
		case a.rank != b.rank:
			if a.rank == 2 || b.rank == 2 {
				return a.rank - b.rank
			}
			c = a.rank - b.rank
		case a.rank == 0:
			if a.number < b.number {
				c = -1
			} else if a.number > b.number {
				c = 1
			}
		case a.rank == 1:
			c = strings.Compare(a.text, b.text)
		}
		if down {
			c = -c
		}
		return c
	})
	if limit > 0 && len(ks) > limit {
		ks = ks[:limit]
	}
	out := make([]parcels.StoredFeature, len(ks))
	for i, k := range ks {
		out[i] = k.f
	}
	return out
}
