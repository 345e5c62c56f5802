package main

// fallwright import.

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/user"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	"fallwright/parcels"
	"fallwright/parcels/document"
	"fallwright/parcels/exchange"
)

type importCmd struct {
	File          string `arg:"" help:"Export of a GIS program (GeoJSON, zipped shapefile, GeoPackage, CSV), a site document, or a raster of the ground (GeoTIFF, ASCII grid)."`
	Store         string `help:"Store: a file (name.gpkg) or postgres://...; made when missing." required:"" placeholder:"S" env:"FALLWRIGHT_STORE"`
	Site          string `help:"Name of the site in the store." placeholder:"NAME"`
	Layer         string `help:"Layer that the features go into; guessed from the file's name when not given." placeholder:"L"`
	Table         string `help:"Which layer of a file that holds several." placeholder:"NAME"`
	Map           string `help:"Mapping of attributes, YAML or JSON: lot: PARCEL_ID, rim: {from: RIM_ELEV, unit: ft}." placeholder:"FILE"`
	CRS           string `name:"crs" help:"Reference system where the file names none, EPSG:NNNN."`
	ElevationUnit string `help:"Unit of elevations and widths among the attributes where their names do not tell: m, ft or us_ft." enum:"m,ft,us_ft," default:""`
	Raster        string `help:"Name of a raster in the store; that of the file when not given." placeholder:"NAME"`
	Append        bool   `help:"Add to what the layer holds; otherwise it is replaced."`
	IfVersion     int64  `help:"Refuse unless the site is at this version." placeholder:"N"`
	DryRun        bool   `help:"Only tell what would be taken, mended and refused."`
	Strict        bool   `help:"Refuse the whole file for one faulty feature."`
	Report        string `help:"Write the whole report to this file (JSON)." placeholder:"FILE"`
	JSON          bool   `name:"json" help:"Write the report on standard output as JSON."`
}

// stems are words in the names of files, and the layer they tell.
var stems = []struct {
	word  string
	layer parcels.Layer
}{{"parcel", parcels.LayerParcels}, {"lots", parcels.LayerParcels}, {"cadast", parcels.LayerParcels}, {"building", parcels.LayerBuildings}, {"footprint", parcels.LayerBuildings},
	{"easement", parcels.LayerEasements}, {"esmt", parcels.LayerEasements}, {"inlet", parcels.LayerInlets}, {"catch", parcels.LayerInlets}, {"manhole", parcels.LayerInlets},
	{"outfall", parcels.LayerOutlets}, {"contour", parcels.LayerContours}, {"breakline", parcels.LayerBreaklines}, {"spot", parcels.LayerSpots},
	{"street", parcels.LayerStreets}, {"road", parcels.LayerStreets}, {"swale", parcels.LayerSwales}, {"pipe", parcels.LayerDrains}, {"drain", parcels.LayerDrains}, {"tree", parcels.LayerObstacles}, {"fence", parcels.LayerObstacles}}

// layerOf is the layer given, or the one that a name tells.
func (c importCmd) layerOf() (l parcels.Layer, guessed bool, err error) {
	if c.Layer != "" {
		l = parcels.Layer(c.Layer)
		if document.GeometryTypes(l) == nil {
			return "", false, inputFault(c.File, "layer-unknown", fmt.Sprintf("There is no layer %q. Layers: %v.", parcels.Excerpt(c.Layer), parcels.Layers))
		}
		return l, false, nil
	}
	for _, n := range []string{c.Table, filepath.Base(c.File)} {
		n = strings.ToLower(n)
		stem := parcels.Layer(strings.TrimSuffix(n, filepath.Ext(n)))
		if document.GeometryTypes(stem) != nil {
			return stem, true, nil
		}
		for _, s := range stems {
			if n != "" && strings.Contains(n, s.word) {
				return s.layer, true, nil
			}
		}
	}
	return "", false, inputFault(c.File, "layer-unknown", fmt.Sprintf("Which layer is it? Say --layer, one of %v.", parcels.Layers))
}

func userName() string {
	if u, err := user.Current(); err == nil && u.Username != "" {
		return u.Username
	}
	return "local"
}

func (c importCmd) Run(e *env) error {
	data, release, err := mapFile(c.File)
	if err != nil {
		return err
	}
	defer release()
	if isRaster(data, c.File) {
		return c.raster(e)
	}
	if isDocument(data, c) {
		return c.document(e, data)
	}
	layer, guessed, err := c.layerOf()
	if err != nil {
		return err
	}
	if c.Site == "" {
		return inputFault(c.File, "site-missing", "Into which site? Say --site NAME.")
	}
	o := exchange.Options{Layer: layer, Table: c.Table, CRS: c.CRS, ElevationUnit: c.ElevationUnit, KeepGoing: !c.Strict, Path: c.File, Progress: bar(e.stderr, c.File)}
	if c.Map != "" {
		text, err := e.read(c.Map)
		if err != nil {
			return err
		}
		if o.Map, err = exchange.ReadMapping(text); err != nil {
			return named(err, c.Map)
		}
	}
	report, err := c.run(e, data, o)
	if guessed {
		from := "file"
		if c.Table != "" {
			from = "table"
		}
		report.Notes = append([]string{fmt.Sprintf("The layer %s was guessed from the %s's name.", layer, from)}, report.Notes...)
	}
	if werr := c.tell(e, report, err); werr != nil {
		return werr
	}
	return named(err, c.File)
}

// run reads the file, into the store unless it is a dry run.
func (c importCmd) run(e *env, data []byte, o exchange.Options) (exchange.Report, error) {
	use := storeWritten
	if c.DryRun {
		use = storeRead
	}
	st, err := openStore(c.Store, use)
	var missing *parcels.Error
	if c.DryRun && errors.As(err, &missing) && missing.Kind == parcels.NotFound {
		st, err = nil, nil
	}
	if err != nil {
		return exchange.Report{}, err
	}
	if st != nil {
		defer st.Close()
		info, err := st.Site(e.ctx, c.Site)
		if err == nil {
			others := 0
			for l, n := range info.Features {
				if l != o.Layer || c.Append {
					others += n
				}
			}
			if others > 0 {
				o.To = &info.CRS
			}
		} else if !errors.As(err, &missing) || missing.Kind != parcels.NotFound {
			return exchange.Report{}, err
		}
	}
	if c.DryRun {
		return exchange.Import(e.ctx, c.File, data, o, func(parcels.StoredFeature) error { return nil })
	}
	return importInto(e.ctx, st, c.Site, c.File, data, o, !c.Append, c.IfVersion)
}

// importInto brings a file into a layer, whole or not at all. The writer is
// begun with the first feature, when the file has told its system.
func importInto(ctx context.Context, st parcels.Store, site, file string, data []byte, o exchange.Options, replace bool, version int64) (exchange.Report, error) {
	var w parcels.LayerWriter
	o.Begin = func(crs string) (err error) {
		if w, err = st.Write(ctx, site, o.Layer, crs, replace); err != nil {
			return err
		}
		return w.Expect(ctx, version)
	}
	report, err := exchange.Import(ctx, file, data, o, func(f parcels.StoredFeature) error { return w.Add(ctx, f) })
	if err == nil {
		_, err = w.Commit(ctx, userName())
	}
	if err != nil && w != nil {
		_ = w.Abort() // the first error is told
	}
	return report, err
}

// isDocument says whether the file is a site document rather than one layer.
func isDocument(data []byte, c importCmd) bool {
	if c.Layer != "" || !strings.HasSuffix(strings.ToLower(c.File), "json") {
		return false
	}
	text, err := document.Scan(data)
	return err == nil && document.IsSite(text)
}

func (c importCmd) document(e *env, data []byte) error {
	s, err := document.Read(data, document.Options{})
	if err != nil {
		return named(err, c.File)
	}
	name := c.Site
	if name == "" {
		name = s.Name
	}
	if name == "" {
		return inputFault(c.File, "site-missing", "The document has no site. Say --site NAME.")
	}
	if c.DryRun {
		fmt.Fprintf(e.stdout, "%s: a site document with %d lots; it would be stored as %s.\n", c.File, len(s.Lots), name)
		return nil
	}
	st, err := openStore(c.Store, storeWritten)
	if err != nil {
		return err
	}
	defer st.Close()
	info, err := st.PutSite(e.ctx, name, append([]byte(nil), data...), c.IfVersion, userName())
	if err != nil {
		return named(err, c.File)
	}
	fmt.Fprintf(e.stdout, "%s: a site document with %d lots, stored as %s, version %d.\n", c.File, len(s.Lots), name, info.Version)
	return nil
}

// tell prints the report and writes it where asked.
func (c importCmd) tell(e *env, r exchange.Report, failed error) error {
	if r.File == "" {
		return nil // it did not come so far
	}
	if err := c.report(e, r); err != nil || c.JSON {
		return err
	}
	if failed != nil {
		return nil // its faults follow
	}
	w := e.stdout
	did := "taken"
	if c.DryRun {
		did = "would be taken"
	}
	fmt.Fprintf(w, "%s: %s, %s (%s)\n", r.File, r.Format, r.CRS, r.CRSFrom)
	fmt.Fprintf(w, "%d features read, %d %s into %s of %s, %d refused\n", r.Read, r.Taken, did, r.Layer, c.Site, r.Read-r.Taken)
	for _, line := range r.Told() {
		fmt.Fprintln(w, "  "+line)
	}
	const most = 10
	for i, f := range r.Refused {
		if i == most && c.Report == "" {
			fmt.Fprintf(w, "  ... and %d more; --report FILE lists them all\n", len(r.Refused)-most)
			break
		}
		if i == most {
			fmt.Fprintf(w, "  ... and %d more, in %s\n", len(r.Refused)-most, c.Report)
			break
		}
		fmt.Fprintln(w, "  refused: "+f.Detail)
	}
	return nil
}

// report writes a report as JSON where it is asked for.
func (c importCmd) report(e *env, r any) error {
	b, err := json.MarshalIndent(r, "", "  ")
	if err != nil {
		return err
	}
	b = append(b, '\n')
	if c.Report != "" {
		if err := e.write(c.Report, b); err != nil {
			return err
		}
	}
	if c.JSON {
		return e.write("-", b)
	}
	return nil
}

// mapFile maps a file into memory: one larger than memory costs no more than
// the pages looked at.
func mapFile(name string) ([]byte, func(), error) {
	fail := func(err error) ([]byte, func(), error) {
		var pe *os.PathError
		if errors.As(err, &pe) {
			err = pe.Err
		}
		return nil, nil, inputFault(name, "file-unreadable", "The file cannot be read: "+err.Error()+".")
	}
	f, err := os.Open(name)
	if err != nil {
		return fail(err)
	}
	defer f.Close()
	i, err := f.Stat()
	if err != nil {
		return fail(err)
	}
	if i.IsDir() {
		return fail(errors.New("it is a folder"))
	}
	if i.Size() == 0 || !i.Mode().IsRegular() {
		b, err := io.ReadAll(f)
		if err != nil {
			return fail(err)
		}
		return b, func() {}, nil
	}
	b, err := syscall.Mmap(int(f.Fd()), 0, int(i.Size()), syscall.PROT_READ, syscall.MAP_PRIVATE)
	if err != nil {
		return fail(err)
	}
	return b, func() { _ = syscall.Munmap(b) }, nil
}

// bar shows how far an import is, with its rate and the time left, on a
// terminal only.
func bar(w io.Writer, file string) func(done, total int64) {
	f, ok := w.(*os.File)
	if !ok {
		return nil
	}
	if i, err := f.Stat(); err != nil || i.Mode()&os.ModeCharDevice == 0 {
		return nil
	}
	start := time.Now()
	last := time.Time{}
	return func(done, total int64) {
		now := time.Now()
		if total <= 0 || now.Sub(last) < 200*time.Millisecond && done < total {
			return
		}
		last = now
		spent := now.Sub(start).Seconds()
		share := float64(done) / float64(total)
		left := ""
		if share > 0.01 && share < 1 {
			left = fmt.Sprintf(", %.0f s left", spent/share-spent)
		}
		full := int(share * 30)
		fmt.Fprintf(w, "\r%s [%s%s] %3.0f %% %.1f MB/s%s   ", filepath.Base(file), strings.Repeat("#", full), strings.Repeat(" ", 30-full), 100*share, float64(done)/1e6/max(spent, 0.001), left)
		if done == total {
			fmt.Fprintln(w)
		}
	}
}
