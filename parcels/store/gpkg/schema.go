package gpkg

// The tables: those of the standard and our own.

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"fmt"
	"math"
	"strings"
	"sync"

	"modernc.org/sqlite"

	"fallwright/geo/frame"
	"fallwright/parcels"
	"fallwright/parcels/document"
	"fallwright/parcels/exchange/wkb"
	"fallwright/parcels/store"
)

const (
	applicationID = 0x47504B47 // "GPKG"
	userVersion   = 10300
)

// standard are the tables of the standard, its names and types.
const standard = `
CREATE TABLE gpkg_spatial_ref_sys (srs_name TEXT NOT NULL, srs_id INTEGER NOT NULL PRIMARY KEY, organization TEXT NOT NULL,
  organization_coordsys_id INTEGER NOT NULL, definition TEXT NOT NULL, description TEXT);
CREATE TABLE gpkg_contents (table_name TEXT NOT NULL PRIMARY KEY, data_type TEXT NOT NULL, identifier TEXT UNIQUE, description TEXT DEFAULT '',
  last_change DATETIME NOT NULL DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')), min_x DOUBLE, min_y DOUBLE, max_x DOUBLE, max_y DOUBLE, srs_id INTEGER,
  CONSTRAINT fk_gc_r_srs_id FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys(srs_id));
CREATE TABLE gpkg_geometry_columns (table_name TEXT NOT NULL, column_name TEXT NOT NULL, geometry_type_name TEXT NOT NULL, srs_id INTEGER NOT NULL,
  z TINYINT NOT NULL, m TINYINT NOT NULL, CONSTRAINT pk_geom_cols PRIMARY KEY (table_name, column_name), CONSTRAINT uk_gc_table_name UNIQUE (table_name),
  CONSTRAINT fk_gc_tn FOREIGN KEY (table_name) REFERENCES gpkg_contents(table_name), CONSTRAINT fk_gc_srs FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys (srs_id));
CREATE TABLE gpkg_extensions (table_name TEXT, column_name TEXT, extension_name TEXT NOT NULL, definition TEXT NOT NULL, scope TEXT NOT NULL,
  CONSTRAINT ge_tce UNIQUE (table_name, column_name, extension_name));
INSERT INTO gpkg_spatial_ref_sys VALUES
  ('Undefined cartesian SRS', -1, 'NONE', -1, 'undefined', 'undefined cartesian coordinate reference system'),
  ('Undefined geographic SRS', 0, 'NONE', 0, 'undefined', 'undefined geographic coordinate reference system');
`

// upgrades make the tables of the extension fallwright_store, one a version:
// a store of version n has had the first n.
var upgrades = []struct {
	tables []string // that it makes
	text   string
}{
	{[]string{"fallwright_store", "fallwright_sites", "fallwright_layers", "fallwright_history", "fallwright_results"}, `
CREATE TABLE fallwright_store (version INTEGER NOT NULL);
INSERT INTO fallwright_store VALUES (1);
CREATE TABLE fallwright_sites (name TEXT NOT NULL PRIMARY KEY, crs TEXT NOT NULL, version INTEGER NOT NULL, changed TEXT NOT NULL, document BLOB);
CREATE TABLE fallwright_layers (site TEXT NOT NULL, layer TEXT NOT NULL, table_name TEXT NOT NULL, features INTEGER NOT NULL,
  min_x DOUBLE, min_y DOUBLE, max_x DOUBLE, max_y DOUBLE, first_fid INTEGER NOT NULL, last_fid INTEGER NOT NULL, written INTEGER NOT NULL,
  PRIMARY KEY (site, layer));
CREATE TABLE fallwright_history (site TEXT NOT NULL, version INTEGER NOT NULL, at TEXT NOT NULL, who TEXT NOT NULL, what TEXT NOT NULL,
  PRIMARY KEY (site, version));
CREATE TABLE fallwright_results (number INTEGER PRIMARY KEY AUTOINCREMENT, site TEXT NOT NULL, kind TEXT NOT NULL, version INTEGER NOT NULL,
  input_sha256 TEXT NOT NULL, program TEXT NOT NULL, made TEXT NOT NULL, inputs BLOB, body BLOB);
CREATE INDEX fallwright_results_site ON fallwright_results (site, kind);
`},
	{[]string{"fallwright_blobs", "fallwright_rasters", "fallwright_jobs", "fallwright_replies"}, `
ALTER TABLE fallwright_results ADD COLUMN ground_sha256 TEXT NOT NULL DEFAULT '';
CREATE TABLE fallwright_blobs (site TEXT NOT NULL, sha256 TEXT NOT NULL, part INTEGER NOT NULL, bytes BLOB NOT NULL, PRIMARY KEY (site, sha256, part));
CREATE TABLE fallwright_rasters (site TEXT NOT NULL, name TEXT NOT NULL, format TEXT NOT NULL, crs TEXT NOT NULL, cells_across INTEGER NOT NULL, cells_down INTEGER NOT NULL,
  west DOUBLE NOT NULL, south DOUBLE NOT NULL, east DOUBLE NOT NULL, north DOUBLE NOT NULL, unit_m DOUBLE NOT NULL, size INTEGER NOT NULL,
  sha256 TEXT NOT NULL, stored TEXT NOT NULL, present INTEGER NOT NULL, PRIMARY KEY (site, name, sha256));
CREATE TABLE fallwright_jobs (id TEXT NOT NULL PRIMARY KEY, owner TEXT NOT NULL, site TEXT NOT NULL, state TEXT NOT NULL, created TEXT NOT NULL, updated TEXT NOT NULL,
  expires TEXT, status BLOB, request BLOB, media TEXT NOT NULL, body BLOB);
CREATE INDEX fallwright_jobs_owner ON fallwright_jobs (owner, created);
CREATE INDEX fallwright_jobs_site ON fallwright_jobs (site);
CREATE TABLE fallwright_replies (key TEXT NOT NULL PRIMARY KEY, sha256 TEXT NOT NULL, made TEXT NOT NULL, expires TEXT NOT NULL, status INTEGER NOT NULL, header BLOB, body BLOB);
`},
}

// column is a property that stands in a column of its own, for maps.
type column struct {
	name   string
	number bool
}

// columns are the properties of each layer that people label and filter by.
var columns = map[parcels.Layer][]column{
	parcels.LayerParcels:   {{"lot", false}},
	parcels.LayerBuildings: {{"lot", false}},
	parcels.LayerEasements: {{"kind", false}, {"trench", false}, {"width_m", true}},
	parcels.LayerInlets:    {{"inlet", false}, {"kind", false}, {"rim_m", true}, {"invert_m", true}, {"outgoing_diameter_mm", true}},
	parcels.LayerOutlets:   {{"outlet", false}, {"kind", false}, {"level_m", true}},
	parcels.LayerIntakes:   {{"intake", false}, {"lot", false}, {"kind", false}, {"rim_m", true}},
	parcels.LayerObstacles: {{"kind", false}},
	parcels.LayerDrains:    {{"drain", false}, {"lot", false}, {"status", false}, {"invert_up_m", true}, {"invert_down_m", true}, {"diameter_mm", true}},
	parcels.LayerSpots:     {{"elevation_m", true}},
}

func (c column) kind() string {
	if c.number {
		return "DOUBLE"
	}
	return "TEXT"
}

// geometryType is the type that a layer's column bears.
func geometryType(l parcels.Layer) string {
	if types := document.GeometryTypes(l); len(types) == 1 {
		return strings.ToUpper(types[0])
	}
	return "GEOMETRY"
}

// tableOf is the table of a layer in a system.
func tableOf(l parcels.Layer, srs int) string { return fmt.Sprintf("%s_%d", l, srs) }

// create makes the tables of the standard in an empty file.
func create(ctx context.Context, tx *sql.Tx) error {
	for _, text := range []string{standard, fmt.Sprintf("PRAGMA application_id = %d", applicationID), fmt.Sprintf("PRAGMA user_version = %d", userVersion)} {
		if _, err := tx.ExecContext(ctx, text); err != nil {
			return err
		}
	}
	return addSystem(ctx, tx, "")
}

// upgrade brings our own tables from a version to that of this program.
func upgrade(ctx context.Context, tx *sql.Tx, version int) error {
	for _, u := range upgrades[min(version, len(upgrades)):] {
		if _, err := tx.ExecContext(ctx, u.text); err != nil {
			return err
		}
		for _, t := range u.tables {
			if _, err := tx.ExecContext(ctx, "INSERT INTO gpkg_extensions VALUES (?, NULL, 'fallwright_store', 'Tables of sites, their documents, history, results, rasters and jobs; columns explained in the documentation of Fallwright, package parcels/store/gpkg.', 'write-only')", t); err != nil {
				return err
			}
		}
		version++
		if _, err := tx.ExecContext(ctx, "UPDATE fallwright_store SET version = ?", version); err != nil {
			return err
		}
	}
	return nil
}

// addSystem lists a reference system.
func addSystem(ctx context.Context, tx *sql.Tx, crs string) error {
	id := store.SRS(crs)
	wkt, err := frame.WKT1(crs, false)
	if err != nil {
		return err
	}
	name, about := "WGS 84 geodetic", "longitude/latitude coordinates in decimal degrees on the WGS 84 spheroid"
	if crs != "" {
		info, err := frame.Lookup(crs)
		if err != nil {
			return err
		}
		name, about = info.Name, ""
	}
	_, err = tx.ExecContext(ctx, "INSERT INTO gpkg_spatial_ref_sys VALUES (?, ?, 'EPSG', ?, ?, ?) ON CONFLICT DO NOTHING", name, id, id, wkt, about)
	return err
}

// table gives the table of a layer in a system, made where there is none.
func table(ctx context.Context, tx *sql.Tx, l parcels.Layer, crs string) (string, error) {
	id := store.SRS(crs)
	var at int
	name := string(l)
	switch err := tx.QueryRowContext(ctx, "SELECT srs_id FROM gpkg_geometry_columns WHERE table_name = ?", name).Scan(&at); {
	case err == nil && at == id:
		return name, nil
	case err == nil:
		name = tableOf(l, id)
		err := tx.QueryRowContext(ctx, "SELECT srs_id FROM gpkg_geometry_columns WHERE table_name = ?", name).Scan(&at)
		if err == nil || err != sql.ErrNoRows {
			return name, err
		}
	case err != sql.ErrNoRows:
		return "", err
	}
	if err := addSystem(ctx, tx, crs); err != nil {
		return "", err
	}
	extra := ""
	for _, c := range columns[l] {
		extra += fmt.Sprintf(", %q %s", c.name, c.kind())
	}
	about := strings.ReplaceAll(string(l), "_", " ") + " of all stored sites"
	r := "rtree_" + name + "_geom"
	for _, text := range []string{
		fmt.Sprintf(`CREATE TABLE %q (fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, geom %s, site TEXT NOT NULL, feature_id TEXT%s, properties TEXT)`, name, geometryType(l), extra),
		fmt.Sprintf(`CREATE UNIQUE INDEX %q ON %q (site, feature_id) WHERE feature_id IS NOT NULL`, name+"_id", name),
		fmt.Sprintf(`INSERT INTO gpkg_contents (table_name, data_type, identifier, description, srs_id) VALUES ('%s', 'features', '%s', '%s', %d)`, name, name, about, id),
		fmt.Sprintf(`INSERT INTO gpkg_geometry_columns VALUES ('%s', 'geom', '%s', %d, 2, 0)`, name, geometryType(l), id),
		fmt.Sprintf(`INSERT INTO gpkg_extensions VALUES ('%s', 'geom', 'gpkg_rtree_index', 'http://www.geopackage.org/spec120/#extension_rtree', 'write-only')`, name),
		fmt.Sprintf(`CREATE VIRTUAL TABLE %q USING rtree(id, minx, maxx, miny, maxy)`, r),
	} {
		if _, err := tx.ExecContext(ctx, text); err != nil {
			return "", err
		}
	}
	if has := hasLotIndex(l); has {
		if _, err := tx.ExecContext(ctx, fmt.Sprintf(`CREATE INDEX %q ON %q (site, lot)`, name+"_lot", name)); err != nil {
			return "", err
		}
	}
	for _, text := range append(triggers(name), insertTrigger(name)) {
		if _, err := tx.ExecContext(ctx, text); err != nil {
			return "", err
		}
	}
	return name, nil
}

func hasLotIndex(l parcels.Layer) bool { return l == parcels.LayerParcels }

// insertTrigger is the standard's. It is taken away while we write, since we
// know the boxes, and put back in the same transaction.
func insertTrigger(t string) string {
	return fill(`CREATE TRIGGER "rtree_<t>_<c>_insert" AFTER INSERT ON "<t>" WHEN (new."<c>" NOT NULL AND NOT ST_IsEmpty(NEW."<c>")) BEGIN INSERT OR REPLACE INTO "rtree_<t>_<c>" VALUES (NEW."<i>", ST_MinX(NEW."<c>"), ST_MaxX(NEW."<c>"), ST_MinY(NEW."<c>"), ST_MaxY(NEW."<c>")); END`, t)
}

func dropInsertTrigger(t string) string {
	return fill(`DROP TRIGGER IF EXISTS "rtree_<t>_<c>_insert"`, t)
}

func triggers(t string) []string {
	out := []string{
		`CREATE TRIGGER "rtree_<t>_<c>_update1" AFTER UPDATE OF "<c>" ON "<t>" WHEN OLD."<i>" = NEW."<i>" AND (NEW."<c>" NOTNULL AND NOT ST_IsEmpty(NEW."<c>")) BEGIN INSERT OR REPLACE INTO "rtree_<t>_<c>" VALUES (NEW."<i>", ST_MinX(NEW."<c>"), ST_MaxX(NEW."<c>"), ST_MinY(NEW."<c>"), ST_MaxY(NEW."<c>")); END`,
		`CREATE TRIGGER "rtree_<t>_<c>_update2" AFTER UPDATE OF "<c>" ON "<t>" WHEN OLD."<i>" = NEW."<i>" AND (NEW."<c>" ISNULL OR ST_IsEmpty(NEW."<c>")) BEGIN DELETE FROM "rtree_<t>_<c>" WHERE id = OLD."<i>"; END`,
		`CREATE TRIGGER "rtree_<t>_<c>_update3" AFTER UPDATE ON "<t>" WHEN OLD."<i>" != NEW."<i>" AND (NEW."<c>" NOTNULL AND NOT ST_IsEmpty(NEW."<c>")) BEGIN DELETE FROM "rtree_<t>_<c>" WHERE id = OLD."<i>"; INSERT OR REPLACE INTO "rtree_<t>_<c>" VALUES (NEW."<i>", ST_MinX(NEW."<c>"), ST_MaxX(NEW."<c>"), ST_MinY(NEW."<c>"), ST_MaxY(NEW."<c>")); END`,
		`CREATE TRIGGER "rtree_<t>_<c>_update4" AFTER UPDATE ON "<t>" WHEN OLD."<i>" != NEW."<i>" AND (NEW."<c>" ISNULL OR ST_IsEmpty(NEW."<c>")) BEGIN DELETE FROM "rtree_<t>_<c>" WHERE id IN (OLD."<i>", NEW."<i>"); END`,
		`CREATE TRIGGER "rtree_<t>_<c>_delete" AFTER DELETE ON "<t>" WHEN old."<c>" NOT NULL BEGIN DELETE FROM "rtree_<t>_<c>" WHERE id = OLD."<i>"; END`,
	}
	for i := range out {
		out[i] = fill(out[i], t)
	}
	return out
}

func fill(text, t string) string {
	return strings.NewReplacer("<t>", t, "<c>", "geom", "<i>", "fid").Replace(text)
}

// register hands SQLite the functions that the triggers call, once for the
// process.
var register = sync.OnceValue(func() error {
	box := func(pick func(wkb.Box) float64) func(*sqlite.FunctionContext, []driver.Value) (driver.Value, error) {
		return func(_ *sqlite.FunctionContext, args []driver.Value) (driver.Value, error) {
			b, ok := boxOf(args[0])
			if !ok || b.Empty() {
				return nil, nil
			}
			return pick(b), nil
		}
	}
	for name, pick := range map[string]func(wkb.Box) float64{
		"ST_MinX": func(b wkb.Box) float64 { return b.MinX }, "ST_MaxX": func(b wkb.Box) float64 { return b.MaxX },
		"ST_MinY": func(b wkb.Box) float64 { return b.MinY }, "ST_MaxY": func(b wkb.Box) float64 { return b.MaxY }} {
		if err := sqlite.RegisterDeterministicScalarFunction(name, 1, box(pick)); err != nil {
			return err
		}
	}
	return sqlite.RegisterDeterministicScalarFunction("ST_IsEmpty", 1, func(_ *sqlite.FunctionContext, args []driver.Value) (driver.Value, error) {
		b, ok := boxOf(args[0])
		if !ok {
			return nil, nil
		}
		if b.Empty() {
			return int64(1), nil
		}
		return int64(0), nil
	})
})

// boxOf is the box of a blob; ok is false where it is no geometry.
func boxOf(v driver.Value) (wkb.Box, bool) {
	blob, ok := v.([]byte)
	if !ok {
		return wkb.Box{}, false
	}
	h, rest, err := wkb.SplitHeader(blob)
	if err != nil {
		return wkb.Box{}, false
	}
	if h.Empty {
		return wkb.NoBox(), true
	}
	if !h.Box.Empty() {
		return h.Box, true
	}
	_, d, err := wkb.ToGeoJSON(nil, rest)
	return d.Box, err == nil || d.Box.Empty()
}

// outward makes the box of a row of the R*Tree hold the box in single precision.
func outward(b wkb.Box) [4]float32 {
	down := func(v float64) float32 {
		f := float32(v)
		if float64(f) > v {
			f = math.Nextafter32(f, float32(math.Inf(-1)))
		}
		return f
	}
	up := func(v float64) float32 { return -down(-v) }
	return [4]float32{down(b.MinX), up(b.MaxX), down(b.MinY), up(b.MaxY)}
}
