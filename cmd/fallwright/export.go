package main

// fallwright export.

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"strings"

	"fallwright/parcels"
	"fallwright/parcels/document"
	"fallwright/parcels/exchange"
	"fallwright/parcels/store"
	"fallwright/parcels/store/gpkg"
)

type exportCmd struct {
	File   string `arg:"" optional:"" help:"A plan, audit, zone or check as written, or a GeoJSON layer. None: from the store."`
	Store  string `help:"Store to take from." placeholder:"S" env:"FALLWRIGHT_STORE"`
	Site   string `help:"Site in the store." placeholder:"NAME"`
	Layer  string `help:"Layer of the site." placeholder:"L"`
	Result string `help:"Stored result, by its id." placeholder:"ID"`
	Raster string `help:"Stored raster of the site, by its name: written as it came." placeholder:"NAME"`
	CRS    string `name:"crs" help:"Reference system to bring the coordinates into, EPSG:NNNN."`
	Out    string `short:"o" help:"File to write: .geojson, .gpkg, .zip (shapefile), .csv or .dxf; - is GeoJSON on standard output." required:""`
}

// held makes a set of features in memory.
func held(name, crs string, fs []parcels.StoredFeature) exchange.Set {
	return exchange.Set{Name: name, CRS: crs, Features: func(yield func(parcels.StoredFeature, error) bool) {
		for _, f := range fs {
			if !yield(f, nil) {
				return
			}
		}
	}}
}

// resultSet reads the features of a result: a plan's network, an audit's lots,
// or a collection.
func resultSet(text []byte, crs string) (exchange.Set, error) {
	clean, err := document.Scan(text)
	if err != nil {
		return exchange.Set{}, err
	}
	var top struct {
		Type    string
		CRS     json.RawMessage
		Network json.RawMessage
		Lots    json.RawMessage
	}
	if err := json.Unmarshal(clean, &top); err != nil {
		return exchange.Set{}, inputFault("", "not-geojson", "The file is no JSON object.")
	}
	name := "layer"
	for _, part := range []struct {
		name string
		raw  json.RawMessage
	}{{"network", top.Network}, {"lots", top.Lots}} {
		if len(part.raw) > 0 && part.raw[0] == '{' {
			name, clean = part.name, part.raw
			break
		}
	}
	var own string
	if json.Unmarshal(top.CRS, &own) == nil && own != "" {
		if crs, err = store.System(own); err != nil {
			return exchange.Set{}, err
		}
	}
	var fs []parcels.StoredFeature
	var bad error
	err = document.EachFeature(clean, func(named string) (err error) {
		if named != "" {
			crs, err = store.System(named)
		}
		return err
	}, func(i int, raw []byte, pointer string) bool {
		var f struct {
			ID                   any
			Geometry, Properties json.RawMessage
		}
		if json.Unmarshal(raw, &f) != nil {
			return true
		}
		s := parcels.StoredFeature{Geometry: f.Geometry, Properties: f.Properties}
		if f.ID != nil {
			s.ID = fmt.Sprint(f.ID)
		}
		var numbers struct{ Coordinates any }
		if len(f.Geometry) > 0 && json.Unmarshal(f.Geometry, &numbers) != nil {
			bad = &parcels.InputError{Kind: parcels.Invalid, Faults: []parcels.Fault{{Slug: "number-out-of-range", Feature: &i, ID: s.ID, Pointer: pointer + "/geometry",
				Detail: fmt.Sprintf("Feature %d (id %s) has a geometry that is no object, or a number too large for any coordinate. Correct it.", i, parcels.Excerpt(s.ID))}}}
		}
		fs = append(fs, s)
		return bad == nil
	})
	if bad != nil {
		err = bad
	}
	return held(name, crs, fs), err
}

// set is what is to be written; done frees it.
func (c exportCmd) set(e *env) (s exchange.Set, done func(), err error) {
	done = func() {}
	if c.File != "" {
		b, err := e.text(c.File)
		if err != nil {
			return s, done, err
		}
		s, err = resultSet(b, "")
		if err == nil && s.Name == "layer" {
			s.Name = tableName(c.File)
		}
		return s, done, named(err, c.File)
	}
	if c.Store == "" || c.Result == "" && (c.Site == "" || c.Layer == "") {
		return s, done, inputFault("", "input-missing", "What is to be written? Give a file, or --store with --site and --layer, or with --result.")
	}
	st, err := openStore(c.Store, storeRead)
	if err != nil {
		return s, done, err
	}
	done = func() { st.Close() }
	if c.Result != "" {
		r, err := st.Result(e.ctx, c.Result)
		if err != nil {
			return s, done, err
		}
		info, err := st.Site(e.ctx, r.Site)
		if err != nil {
			return s, done, err
		}
		s, err = resultSet(r.Body, info.CRS)
		return s, done, err
	}
	info, err := st.Site(e.ctx, c.Site)
	if err != nil {
		return s, done, err
	}
	l := parcels.Layer(c.Layer)
	if _, ok := info.Features[l]; !ok {
		return s, done, inputFault("", "layer-unknown", fmt.Sprintf("The site %s has no layer %q.", c.Site, parcels.Excerpt(c.Layer)))
	}
	return exchange.Set{Name: c.Layer, CRS: info.CRS, Features: st.Features(e.ctx, c.Site, l, parcels.Window{})}, done, nil
}

// tableName is the stem of a file in plain letters.
func tableName(file string) string {
	stem := strings.TrimSuffix(filepath.Base(file), filepath.Ext(file))
	out := strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '_' {
			return r
		}
		return '_'
	}, stem)
	if strings.Trim(out, "_") == "" {
		return "layer"
	}
	return out
}

// moved is a set in another reference system.
func moved(s exchange.Set, to string) (exchange.Set, error) {
	to, err := store.System(to)
	if err != nil || to == s.CRS {
		return s, err
	}
	way, err := store.Mover(s.CRS, to)
	if err != nil {
		return s, err
	}
	from := s.Features
	s.CRS, s.Features = to, func(yield func(parcels.StoredFeature, error) bool) {
		for f, err := range from {
			if err == nil {
				f.Geometry, err = store.MoveGeometry(f.Geometry, way)
			}
			if !yield(f, err) || err != nil {
				return
			}
		}
	}
	return s, nil
}

// label is what a drawing writes beside a feature.
func label(m map[string]json.RawMessage) string {
	for _, k := range []string{"lot", "inlet", "outlet", "intake", "drain", "run", "point", "trench", "easement"} {
		if t := exchange.Plain(m[k]); t != "" {
			return t
		}
	}
	return ""
}

// raster writes a stored raster byte for byte, held against its checksum.
func (c exportCmd) raster(e *env) error {
	if c.Store == "" || c.Site == "" || c.File != "" || c.Layer != "" || c.Result != "" || c.CRS != "" {
		return inputFault("", "input-missing", "A raster is written as it came: give --store, --site and --raster, and no --crs.")
	}
	st, err := openStore(c.Store, storeRead)
	if err != nil {
		return err
	}
	defer st.Close()
	r, file, err := st.OpenRaster(e.ctx, c.Site, c.Raster)
	if err != nil {
		return err
	}
	defer file.Close()
	b := make([]byte, r.Bytes)
	if _, err := file.ReadAt(b, 0); err != nil && err != io.EOF {
		return err
	}
	if sum := sha256.Sum256(b); hex.EncodeToString(sum[:]) != r.SHA256 {
		return &parcels.Error{Kind: parcels.Failed, Op: "export", Subject: c.Raster, Err: errors.New("the stored bytes do not match their checksum; the store is damaged")}
	}
	return e.write(c.Out, b)
}

func (c exportCmd) Run(e *env) error {
	if c.Raster != "" {
		return c.raster(e)
	}
	ending := strings.ToLower(filepath.Ext(c.Out))
	write := map[string]func(io.Writer, exchange.Set) error{
		".geojson": exchange.WriteGeoJSON, ".json": exchange.WriteGeoJSON, ".csv": exchange.WriteCSV,
		".dxf": func(w io.Writer, s exchange.Set) error { return exchange.WriteDXF(w, s, label) },
		".zip": func(w io.Writer, s exchange.Set) error {
			notes, err := exchange.WriteShapefile(w, s)
			for _, n := range notes {
				fmt.Fprintln(e.stderr, n)
			}
			return err
		},
	}
	if c.Out == "-" {
		ending = ".geojson"
	}
	if write[ending] == nil && ending != ".gpkg" {
		return inputFault(c.Out, "format-unknown", "Which format? End the file in .geojson, .gpkg, .zip (shapefile), .csv or .dxf.")
	}
	s, done, err := c.set(e)
	defer done()
	if err != nil {
		return err
	}
	if c.CRS != "" {
		if s, err = moved(s, c.CRS); err != nil {
			return err
		}
	}
	if ending == ".gpkg" {
		return gpkg.Export(e.ctx, c.Out, s)
	}
	var b bytes.Buffer
	if err := write[ending](&b, s); err != nil {
		return err
	}
	return e.write(c.Out, b.Bytes())
}
