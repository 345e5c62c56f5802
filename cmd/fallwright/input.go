package main

// Input files into one site: a site document, or GeoJSON layers by the name of
// their file, with a raster of the ground beside them.

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"fallwright/geo/ground"
	"fallwright/parcels"
	"fallwright/parcels/display"
	"fallwright/parcels/document"
	"fallwright/parcels/exchange/raster"
	"fallwright/parcels/planner"
)

// inputs are the arguments that every verb on files takes.
type inputs struct {
	Files       []string `arg:"" optional:"" name:"file" help:"A site document, or GeoJSON layers named by their layer (parcels.geojson, buildings.geojson, ...) or as layer=file; a ground raster (.tif, .asc); a survey point file (.csv, .txt); - is standard input."`
	Lots        []string `name:"lot" short:"l" sep:"none" help:"Lot to work on; repeat for more. None: all lots."`
	Criteria    string   `help:"Criteria file, YAML or JSON: the rules of the place or the firm."`
	CRS         string   `name:"crs" help:"Reference system of the coordinates where the files are silent, EPSG:NNNN."`
	TerrainUnit string   `help:"Unit of the elevations of a raster or point file where it names none: m, ft or us_ft." enum:"m,ft,us_ft," default:""`
	TerrainBand int      `help:"Number of the elevations' band, from 1, in a raster of several." default:"0"`
	ShotOrder   string   `help:"Columns of a point file without names: PNEZD or PENZD." enum:"PNEZD,PENZD," default:""`
	// WholeRaster says that a raster without parcels is taken as one lot.
	WholeRaster bool `kong:"-"`
	// Wide takes a raster that is not to be in memory; nil from it: it is to be.
	Wide      func(*parcels.Site, *raster.File) (ground.Surface, error) `kong:"-"`
	KeepGoing bool                                                      `help:"Turn a faulty feature into a finding of its lot and go on with the rest."`
}

// output says where the answer goes.
type output struct {
	Out   string `short:"o" help:"File to write, format by its ending; - is standard output."`
	Units string `help:"Units that people are shown: us or si." default:"us" enum:"us,si"`
	JSON  bool   `name:"json" help:"Write the machine's form on standard output."`
}

func (o output) units() display.Units { u, _ := display.Parse(o.Units); return u }

func inputFault(file, slug, detail string) error {
	return &parcels.InputError{Kind: parcels.Invalid, File: file, Faults: []parcels.Fault{{Slug: slug, Detail: detail}}}
}

func (e *env) read(file string) ([]byte, error) {
	if file == "-" {
		return io.ReadAll(e.stdin)
	}
	b, err := os.ReadFile(file)
	var pe *fs.PathError
	if errors.As(err, &pe) {
		return nil, inputFault(file, "file-unreadable", "The file cannot be read: "+pe.Err.Error()+".")
	}
	return b, err
}

// text reads a file of JSON: UTF-8, one strict text. What is no text is called by
// its name.
func (e *env) text(file string) ([]byte, error) {
	b, err := e.read(file)
	if err != nil {
		return nil, err
	}
	if what := otherThanJSON(b, file); what != "" {
		return nil, inputFault(file, "media-type", what)
	}
	text, err := document.Scan(b)
	return text, named(err, file)
}

// otherThanJSON says what a file is that is no JSON, by its first bytes, and what is to be
// done with it; empty for all others.
func otherThanJSON(b []byte, file string) string {
	stored := fmt.Sprintf("Bring it into a store with `fallwright import %s --store S.gpkg --site NAME` and work on the stored site, or write it as GeoJSON.", parcels.Excerpt(filepath.Base(file)))
	for _, k := range []struct{ begins, what string }{
		{"\x1f\x8b", fmt.Sprintf("The file is packed with gzip. Unpack it with `gunzip -k %s` and give that.", parcels.Excerpt(filepath.Base(file)))},
		{"PK\x03\x04", "The file is a zip archive. " + stored},
		{"SQLite format 3\x00", "The file is a GeoPackage or another SQLite database. " + stored},
		{"II*\x00", "The file is a TIFF. Give its name the ending .tif, and it is read as the ground."},
		{"MM\x00*", "The file is a TIFF. Give its name the ending .tif, and it is read as the ground."},
		{"%PDF-", "The file is a PDF, from which nothing is read."},
		{"\x00\x00\x27\x0a", "The file is one part of a shapefile. Zip it with its .dbf, .shx and .prj. " + stored},
	} {
		if bytes.HasPrefix(b, []byte(k.begins)) {
			return k.what
		}
	}
	if bytes.HasPrefix(bytes.TrimLeft(b[:min(len(b), 512)], " \t\r\n"), []byte("<")) {
		return "The file is XML or HTML, which is not read. Write the layer as GeoJSON."
	}
	return ""
}

// options are those of reading, with the criteria file's rules.
func (in inputs) options(e *env) (document.Options, error) {
	o := document.Options{KeepGoing: in.KeepGoing}
	if in.Criteria == "" {
		return o, nil
	}
	b, err := e.read(in.Criteria)
	if err != nil {
		return o, err
	}
	c, given, err := document.ReadCriteria(b)
	if err != nil {
		return o, named(err, in.Criteria)
	}
	o.Criteria, o.CriteriaGiven = &c, given
	return o, nil
}

// load reads the files into a site and, where one of them is a raster, the
// ground.
func (in inputs) load(e *env) (*parcels.Site, ground.Surface, error) {
	if len(in.Files) == 0 {
		return nil, nil, inputFault("", "file-missing", "Name at least one input file; - is standard input.")
	}
	o, err := in.options(e)
	if err != nil {
		return nil, nil, err
	}
	var doc []byte
	main, raster, shots := "", "", ""
	layers := map[parcels.Layer][]byte{}
	fileOf := map[parcels.Layer]string{}
	for _, f := range in.Files {
		layer, file := parcels.Layer(""), f
		if l, rest, ok := strings.Cut(f, "="); ok {
			layer, file = parcels.Layer(l), rest
			if document.GeometryTypes(layer) == nil {
				return nil, nil, inputFault(file, "layer-unknown", fmt.Sprintf("There is no layer %q. Layers: %v.", parcels.Excerpt(l), parcels.Layers))
			}
		}
		switch strings.ToLower(filepath.Ext(file)) {
		case ".tif", ".tiff", ".asc":
			if raster != "" {
				return nil, nil, inputFault(file, "ground-twice", "A second raster of the ground; give one.")
			}
			raster = file
			continue
		case ".csv", ".txt", ".pnezd":
			if shots != "" {
				return nil, nil, inputFault(file, "shots-twice", "A second file of shots; give one.")
			}
			shots = file
			continue
		}
		text, err := e.text(file)
		if err != nil {
			return nil, nil, err
		}
		if layer == "" && !document.IsSite(text) {
			stem := parcels.Layer(strings.TrimSuffix(filepath.Base(file), filepath.Ext(file)))
			switch {
			case document.GeometryTypes(stem) != nil:
				layer = stem
			case len(in.Files) == 1 || len(layers) == 0 && doc == nil:
				layer = parcels.LayerParcels
			default:
				return nil, nil, inputFault(file, "layer-unknown", "The file's name tells no layer. Name it by its layer, or say layer=file.")
			}
		}
		if layer == "" {
			if doc != nil {
				return nil, nil, inputFault(file, "site-twice", "A second site document; give one.")
			}
			doc, main = text, file
			continue
		}
		if _, twice := layers[layer]; twice {
			return nil, nil, inputFault(file, "layer-twice", fmt.Sprintf("The layer %s is given twice, also by %s.", layer, fileOf[layer]))
		}
		layers[layer], fileOf[layer] = text, file
	}
	if main == "" {
		main = fileOf[parcels.LayerParcels]
		if len(layers) != 1 || main == "" {
			main = strings.Join(in.Files, ", ")
		}
	}
	crs := in.CRS
	if in.WholeRaster && raster != "" && doc == nil && layers[parcels.LayerParcels] == nil {
		main = raster
		if layers[parcels.LayerParcels], crs, err = in.lotOf(raster, len(layers) > 0); err != nil {
			return nil, nil, err
		}
	}
	if doc, err = assemble(doc, layers, crs, raster); err != nil {
		return nil, nil, named(err, main)
	}
	var more []parcels.Finding
	if shots != "" {
		if doc, more, err = e.withShots(doc, o, shots, in); err != nil {
			return nil, nil, named(err, main)
		}
	}
	s, err := document.Read(doc, o)
	if err != nil {
		return nil, nil, named(err, main)
	}
	s.Findings = append(s.Findings, more...)
	if shots != "" { // what is wrong with the ground is wrong with this file
		if _, _, err := planner.Surface(s); err != nil {
			return nil, nil, named(err, shots)
		}
	}
	if raster == "" {
		return s, nil, nil
	}
	surface, err := in.ground(s, raster)
	return s, surface, err
}

// assemble puts layers given as files, the crs and the raster's name into one
// site document.
func assemble(doc []byte, layers map[parcels.Layer][]byte, crs, raster string) ([]byte, error) {
	if doc != nil && len(layers) == 0 && crs == "" && raster == "" {
		return doc, nil
	}
	top := map[string]json.RawMessage{}
	inner := map[string]json.RawMessage{}
	if doc != nil {
		if err := json.Unmarshal(doc, &top); err != nil {
			return nil, inputFault("", "not-geojson", "The site document is not an object.")
		}
		if top["layers"] != nil {
			if err := json.Unmarshal(top["layers"], &inner); err != nil {
				return nil, inputFault("", "not-geojson", "The member \"layers\" is not an object.")
			}
		}
	}
	for l, b := range layers {
		if inner[string(l)] != nil {
			return nil, inputFault("", "layer-twice", fmt.Sprintf("The layer %s stands in the site document and in a file of its own.", l))
		}
		inner[string(l)] = b
	}
	set := func(key, value string) {
		if value != "" && top[key] == nil {
			top[key], _ = json.Marshal(value)
		}
	}
	set("crs", crs)
	if raster != "" {
		set("terrain", filepath.Base(raster))
	}
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	var err error
	if top["layers"], err = json.Marshal(inner); err != nil {
		return nil, err
	}
	err = enc.Encode(top)
	return b.Bytes(), err
}

// named puts the file's name on an input error.
func named(err error, file string) error {
	var in *parcels.InputError
	if errors.As(err, &in) && in.File == "" {
		c := *in
		c.File = file
		return &c
	}
	return err
}

// write puts bytes where --out says: whole or not at all.
func (e *env) write(file string, b []byte) error {
	return e.writeBy(file, func(w io.Writer) error { _, err := w.Write(b); return err })
}

// writeBy is write for what is too large to be held.
func (e *env) writeBy(file string, f func(io.Writer) error) error {
	if file == "-" {
		return f(e.stdout)
	}
	tmp, err := os.CreateTemp(filepath.Dir(file), ".fallwright-*")
	if err != nil {
		return diskError(file, err)
	}
	defer os.Remove(tmp.Name())
	if err = f(tmp); err == nil {
		err = tmp.Sync()
	}
	if cerr := tmp.Close(); err == nil {
		err = cerr
	}
	if err == nil {
		err = os.Chmod(tmp.Name(), 0o644)
	}
	if err == nil {
		err = os.Rename(tmp.Name(), file)
	}
	if err != nil {
		return diskError(file, err)
	}
	return nil
}

func diskError(file string, err error) error {
	return &parcels.Error{Kind: parcels.Failed, Op: "write", Subject: file, Err: err}
}
