package exchange

// The way of a file into a layer.

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"github.com/paulmach/orb"

	"fallwright/geo/frame"
	"fallwright/parcels"
	"fallwright/parcels/document"
	"fallwright/parcels/exchange/wkb"
	"fallwright/parcels/store"
)

// Options of an import.
type Options struct {
	Layer parcels.Layer
	// Table picks one of several layers in a GeoPackage or archive; empty: the
	// only one, or the one named as the layer.
	Table string
	// CRS is the reference system where the file names none; one that differs
	// from the file's refuses it.
	CRS string
	// To is the reference system to bring the features into, as store.System
	// names it; nil: that of the file.
	To *string
	// Map is a mapping of attributes; nil: guessed.
	Map Mapping
	// ElevationUnit is the unit of elevations among the attributes where their
	// names do not tell: m, ft or us_ft. Empty: asked for when needed.
	ElevationUnit string
	// KeepGoing refuses faulty features one by one; otherwise one refuses all.
	KeepGoing bool
	// Service sets the limits of the service on size.
	Service bool
	// Path is the file on disk where there is one: a GeoPackage is opened there.
	Path string
	// Begin is called once, before the first feature and before Import returns
	// without an error, with the system of the features as stores name it; nil:
	// nobody is told.
	Begin func(crs string) error
	// Progress is told of bytes read; nil: nobody.
	Progress func(done, total int64)
}

func (o Options) limits() document.Limits {
	if o.Service {
		return document.ServiceLimits
	}
	return document.Limits{}
}

// Note is something that was changed on the way, and how often.
type Note struct {
	What  string `json:"what"`
	Count int    `json:"count"`
}

// Report is what an import did.
type Report struct {
	File    string          `json:"file"`
	Format  string          `json:"format"`
	Table   string          `json:"table,omitempty"`
	Layer   parcels.Layer   `json:"layer"`
	CRS     string          `json:"crs"`      // of what is stored; EPSG:4326 for longitude, latitude
	FromCRS string          `json:"from_crs"` // of the file
	CRSFrom string          `json:"crs_source"`
	Read    int             `json:"read"`
	Taken   int             `json:"taken"`
	Parts   int             `json:"parts,omitempty"` // further features that those taken were parted into
	Mapping []Mapped        `json:"mapping"`
	Mended  []Note          `json:"mended"`
	Notes   []string        `json:"notes"`
	Refused []parcels.Fault `json:"refused"`
}

func (r *Report) note(format string, args ...any) {
	r.Notes = append(r.Notes, fmt.Sprintf(format, args...))
}

func (r *Report) mend(what string) {
	for i := range r.Mended {
		if r.Mended[i].What == what {
			r.Mended[i].Count++
			return
		}
	}
	r.Mended = append(r.Mended, Note{what, 1})
}

// record is one feature as a source hands it over: the text of a GeoJSON
// feature, or the fault that kept it from becoming one.
type record struct {
	raw     []byte
	index   int
	pointer string
	fault   *parcels.Fault
	at      func(*parcels.Fault) // adds the place in its container; nil: none
	done    int64
}

// source is an opened file.
type source struct {
	format, table string
	crs           string // "" where the file names none
	crsFrom       string
	silent        bool // the file names no system
	mustAsk       bool // a format that has no default system
	entry         string
	total         int64
	fields        []string // names of attributes where the container lists them
	each          func(ctx context.Context, f func(record) error) error
	close         func()
}

func invalid(kind parcels.Kind, f parcels.Fault) error {
	return &parcels.InputError{Kind: kind, Faults: []parcels.Fault{f}}
}

// Formats says which file endings are taken, for messages.
const Formats = "GeoJSON (.geojson, .json; one feature a line as .geojsonl or .ndjson), a zipped shapefile (.zip), GeoPackage (.gpkg) or CSV (.csv)"

func open(name string, data []byte, o Options, report *Report) (*source, error) {
	head := bytes.TrimLeft(bytes.TrimPrefix(data[:min(len(data), 512)], []byte("\xef\xbb\xbf")), " \t\r\n")
	ending := strings.ToLower(filepath.Ext(name))
	switch {
	case bytes.HasPrefix(data, []byte("PK\x03\x04")), bytes.HasPrefix(data, []byte("PK\x05\x06")):
		return openZip(data, o, report)
	case bytes.HasPrefix(data, []byte("SQLite format 3\x00")), ending == ".gpkg":
		return openGeoPackage(data, o, report)
	case slices.Contains([]string{".geojsonl", ".geojsons", ".ndjson", ".jsonl"}, ending), len(head) > 0 && head[0] == 0x1e:
		return openLines(data), nil
	case len(head) > 0 && (head[0] == '{' || head[0] == '[' && ending != ".csv"), ending == ".geojson", ending == ".json":
		return openGeoJSON(data)
	case bytes.HasPrefix(head, []byte("<")):
		line := 1
		if bytes.Contains(bytes.ToUpper(head), []byte("<!DOCTYPE")) || bytes.Contains(bytes.ToUpper(head), []byte("<!ENTITY")) {
			return nil, invalid(parcels.Unreadable, parcels.Fault{Slug: "xml-doctype-not-allowed", Line: &line, Detail: "The file is XML with a document type. Nothing of it is read; XML is not taken here."})
		}
		return nil, invalid(parcels.Unsupported, parcels.Fault{Slug: "media-type", Line: &line, Detail: "The file is XML. Convert it with `ogr2ogr -f GPKG out.gpkg in.xml` and import that. Taken: " + Formats + "."})
	case bytes.HasPrefix(data, []byte("II*\x00")), bytes.HasPrefix(data, []byte("MM\x00*")), bytes.HasPrefix(data, []byte("II+\x00")):
		return nil, invalid(parcels.Unsupported, parcels.Fault{Slug: "media-type", Detail: "The file is a raster. Rasters are ground, not a layer: `fallwright import` it without --layer, or hand it to plan beside the parcels."})
	case bytes.HasPrefix(data, []byte{0, 0, 0x27, 0x0a}) || ending == ".shp":
		return nil, invalid(parcels.Unsupported, parcels.Fault{Slug: "media-type", Detail: "The file is one part of a shapefile. Zip it with its .dbf, .shx, .prj and .cpg, and import the zip."})
	case ending == ".csv", ending == ".txt", ending == ".tsv":
		return openCSV(data, report)
	}
	what := "The file is of no format that is read"
	convert := fmt.Sprintf("Convert it with `ogr2ogr -f GPKG out.gpkg %s` and import that", parcels.Excerpt(filepath.Base(name)))
	switch {
	case bytes.HasPrefix(data, []byte{0x1f, 0x8b}):
		what, convert = "The file is packed with gzip", fmt.Sprintf("Unpack it with `gunzip -k %s` and import that", parcels.Excerpt(filepath.Base(name)))
	case bytes.HasPrefix(data, []byte("fgb\x03")):
		what = "The file is FlatGeobuf"
	case bytes.HasPrefix(data, []byte("PAR1")):
		what, convert = "The file is GeoParquet", convert+" (a GDAL with the Parquet driver is needed: `ogrinfo --formats` tells)"
	}
	return nil, invalid(parcels.Unsupported, parcels.Fault{Slug: "media-type", Detail: what + ". " + convert + ". Taken: " + Formats + "."})
}

// Import reads a file into features, each handed to take as it has passed. The
// Report is whole also with an error; an error about the file is a
// *parcels.InputError. What take was given stands for nothing until Import has
// returned without one.
func Import(ctx context.Context, name string, data []byte, o Options, take func(parcels.StoredFeature) error) (Report, error) {
	report := Report{File: filepath.Base(name), Layer: o.Layer, Mapping: []Mapped{}, Mended: []Note{}, Notes: []string{}, Refused: []parcels.Fault{}}
	err := run(ctx, name, data, o, take, &report)
	return report, err
}

func run(ctx context.Context, name string, data []byte, o Options, take func(parcels.StoredFeature) error, report *Report) error {
	if document.GeometryTypes(o.Layer) == nil {
		return invalid(parcels.Invalid, parcels.Fault{Slug: "layer-unknown", Detail: fmt.Sprintf("There is no layer %q. Layers: %v.", parcels.Excerpt(string(o.Layer)), parcels.Layers)})
	}
	if o.CRS != "" {
		if _, err := store.System(o.CRS); err != nil {
			return err
		}
	}
	src, err := open(name, data, o, report)
	if err != nil {
		return err
	}
	if src.close != nil {
		defer src.close()
	}
	report.Format, report.Table = src.format, src.table
	var im *importer
	begin := func() error {
		if im != nil {
			return nil
		}
		var err error
		if im, err = newImporter(src, o, take, report); err != nil || o.Begin == nil {
			return err
		}
		return o.Begin(report.CRSOf())
	}
	err = src.each(ctx, func(r record) error {
		if err := begin(); err != nil {
			return err
		}
		if report.Read++; report.Read&0x3ff == 0 {
			if err := ctx.Err(); err != nil {
				return err
			}
			if o.Progress != nil {
				o.Progress(r.done, src.total)
			}
		}
		return im.record(r)
	})
	if err == nil {
		err = begin()
	}
	if err != nil && err != errFull {
		return err
	}
	return im.end()
}

var errFull = errors.New("over a limit")

type importer struct {
	o       Options
	src     *source
	report  *Report
	check   *document.Checker
	move    func(orb.Point) orb.Point
	mapper  *mapper
	types   []string
	take    func(parcels.StoredFeature) error
	refused int
}

func newImporter(src *source, o Options, take func(parcels.StoredFeature) error, report *Report) (*importer, error) {
	crs, given := src.crs, !src.silent
	report.CRSFrom = src.crsFrom
	if o.CRS != "" {
		asked, err := store.System(o.CRS)
		if err != nil {
			return nil, err
		}
		if !src.silent && asked != crs {
			return nil, invalid(parcels.Invalid, parcels.Fault{Slug: "crs-conflict", Pointer: "/crs", Entry: src.entry, Detail: fmt.Sprintf("The file says it is in %s, the request says %s. Take one away, or correct it.", crsText(crs), crsText(asked))})
		}
		if src.silent {
			report.CRSFrom = "given with the import"
		}
		crs, given = asked, true
	} else if src.silent {
		if src.mustAsk {
			entry := src.entry
			return nil, invalid(parcels.Invalid, parcels.Fault{Slug: "crs-unknown", Pointer: "/crs", Entry: entry, Detail: fmt.Sprintf("The file does not say which reference system it is in (%s). Give it: --crs EPSG:NNNN, or crs in the request.", src.crsFrom)})
		}
		report.CRSFrom = "none named: taken as longitude, latitude on WGS 84"
	}
	report.FromCRS, report.CRS = crsText(crs), crsText(crs)
	im := &importer{o: o, src: src, report: report, take: take, types: document.GeometryTypes(o.Layer)}
	var err error
	if im.check, err = document.NewChecker(o.Layer, crs, given, o.limits()); err != nil {
		return nil, err
	}
	if o.To != nil && *o.To != crs {
		if im.move, err = store.Mover(crs, *o.To); err != nil {
			return nil, err
		}
		report.CRS = crsText(*o.To)
		report.note("Coordinates were brought from %s into %s, the site's system; between datums that is good to some metres only.", crsText(crs), crsText(*o.To))
	}
	im.mapper, err = newMapper(o, report)
	return im, err
}

func crsText(crs string) string {
	if crs == "" {
		return "EPSG:4326"
	}
	return crs
}

// CRSOf is the report's system as stores name it.
func (r Report) CRSOf() string { return frame.Normalise(r.CRS) }

func (im *importer) refuse(r record, fs []parcels.Fault) error {
	im.refused++
	for _, f := range fs {
		if r.at != nil {
			r.at(&f)
		}
		f.Layer = string(im.o.Layer)
		im.report.Refused = append(im.report.Refused, f)
	}
	if im.check.Full() {
		return errFull
	}
	return nil
}

func (im *importer) record(r record) error {
	if r.fault != nil {
		return im.refuse(r, []parcels.Fault{*r.fault})
	}
	var taken []parcels.StoredFeature
	raws := im.parts(r.raw)
	for _, raw := range raws {
		c, faults := im.check.Feature(raw, r.index, r.pointer)
		if len(faults) > 0 {
			return im.refuse(r, faults)
		}
		for _, n := range c.Notes {
			im.report.mend(n)
		}
		props, fault, err := im.mapper.apply(c.Properties, c.Given)
		if err != nil {
			return err
		}
		if fault != nil {
			i := r.index
			fault.Feature, fault.Pointer = &i, r.pointer+"/properties"
			return im.refuse(r, []parcels.Fault{*fault})
		}
		f := parcels.StoredFeature{ID: c.ID, Geometry: c.Geometry, Properties: props}
		if im.move != nil {
			if f.Geometry, err = store.MoveGeometry(f.Geometry, im.move); err != nil {
				var in *parcels.InputError
				if errors.As(err, &in) {
					return im.refuse(r, in.Faults)
				}
				return err
			}
		}
		taken = append(taken, f)
	}
	if im.refused > 0 && !im.o.KeepGoing {
		return nil // nothing will be kept; the other faults are still looked for
	}
	im.report.Taken++
	im.report.Parts += len(taken) - 1
	for _, f := range taken {
		if err := im.take(f); err != nil {
			return err
		}
	}
	return nil
}

// parts takes a Multi geometry apart where the layer takes no such, and says
// so: the one part of it, or as many features where nothing in the layer is
// told apart by a name of its own. Anything else comes back as it is.
func (im *importer) parts(raw []byte) [][]byte {
	whole := [][]byte{raw}
	i := bytes.Index(raw, []byte(`"Multi`))
	if i < 0 {
		return whole
	}
	var f struct {
		Type       string          `json:"type"`
		ID         json.RawMessage `json:"id,omitempty"`
		Geometry   json.RawMessage `json:"geometry"`
		Properties json.RawMessage `json:"properties"`
	}
	var g struct {
		Type        string            `json:"type"`
		Coordinates []json.RawMessage `json:"coordinates"`
	}
	if json.Unmarshal(raw, &f) != nil || json.Unmarshal(f.Geometry, &g) != nil || len(g.Coordinates) == 0 || slices.Contains(im.types, g.Type) {
		return whole
	}
	one, ok := strings.CutPrefix(g.Type, "Multi")
	if !ok || !slices.Contains(im.types, one) || len(g.Coordinates) > 1 && !slices.Contains(nameless, im.o.Layer) {
		return whole
	}
	var id string
	if len(f.ID) > 0 && string(f.ID) != "null" && json.Unmarshal(f.ID, &id) != nil {
		id = string(f.ID) // a number, digit for digit
	}
	var out [][]byte
	for k, c := range g.Coordinates {
		f.Geometry = fmt.Appendf(nil, `{"type":%q,"coordinates":%s}`, one, c)
		if len(g.Coordinates) > 1 && id != "" {
			f.ID, _ = json.Marshal(fmt.Sprintf("%s/%d", id, k+1))
		}
		text, err := json.Marshal(f)
		if err != nil {
			return whole
		}
		out = append(out, text)
	}
	if len(out) == 1 {
		im.report.mend("a " + g.Type + " of one part was taken as a " + one)
	} else {
		im.report.mend("a " + g.Type + " was taken apart, each part as a feature of its own")
	}
	return out
}

// nameless are the layers whose features nobody calls by a name.
var nameless = []parcels.Layer{parcels.LayerStreets, parcels.LayerDistricts, parcels.LayerObstacles, parcels.LayerSpots, parcels.LayerContours, parcels.LayerBreaklines, parcels.LayerEasements}

func (im *importer) end() error {
	if im.o.Progress != nil {
		im.o.Progress(im.src.total, im.src.total)
	}
	im.mapper.end(im.report)
	whole := im.check.End()
	for i := range whole {
		whole[i].Layer = string(im.o.Layer)
	}
	im.report.Refused = append(im.report.Refused, whole...)
	if len(whole) > 0 || im.check.Full() || im.refused > 0 && (!im.o.KeepGoing || im.report.Taken == 0) {
		im.report.Taken = 0
		return &parcels.InputError{Kind: parcels.Invalid, Faults: im.report.Refused}
	}
	return nil
}

// geometryFault is a fault of binary or text geometry as one of the input.
func geometryFault(e *wkb.Error, index int) *parcels.Fault {
	i := index
	f := parcels.Fault{Slug: e.Slug, Feature: &i, Detail: fmt.Sprintf("Feature %d: %s. Correct it at its source and export again.", index, e.Detail)}
	if e.Vertex >= 0 {
		v := e.Vertex
		f.Vertex = &v
	}
	return &f
}

// Told is what the report has to tell besides the faults, one line each.
func (r Report) Told() []string {
	var out []string
	for _, m := range r.Mapping {
		if m.Count == 0 {
			continue
		}
		how, unit := "as mapped", ""
		if m.Guessed {
			how = "guessed"
		}
		if m.Unit != "" {
			unit = ", in " + m.Unit
		}
		out = append(out, fmt.Sprintf("%s was taken from %s (%s%s) in %d features.", m.Property, parcels.Excerpt(m.From), how, unit, m.Count))
	}
	for _, m := range r.Mended {
		out = append(out, fmt.Sprintf("%d times: %s.", m.Count, m.What))
	}
	return append(out, r.Notes...)
}
