package exchange

// GeoPackages of others: read-only, plain tables only.

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"net/url"
	"os"
	"strings"
	"unicode"

	_ "modernc.org/sqlite" // the driver

	"fallwright/geo/frame"
	"fallwright/parcels"
	"fallwright/parcels/exchange/wkb"
	"fallwright/parcels/store"
)

func schemaFault(object, table, detail string) error {
	return invalid(parcels.Invalid, parcels.Fault{Slug: "geopackage-schema-not-allowed", Object: parcels.Excerpt(object), Table: parcels.Excerpt(table),
		Detail: detail + " Export the layer into a plain table: `ogr2ogr out.gpkg in.gpkg LAYER`."})
}

func corrupt(what string) error {
	return invalid(parcels.Invalid, parcels.Fault{Slug: "geopackage-corrupt", Detail: "The GeoPackage is corrupt: " + what + ". Export it again."})
}

// plainName says whether a name is one that needs no care: letters, digits,
// blanks and _ - .
func plainName(n string) bool {
	if n == "" || len(n) > 200 {
		return false
	}
	for _, r := range n {
		if !unicode.IsLetter(r) && !unicode.IsDigit(r) && !strings.ContainsRune("_-. ", r) {
			return false
		}
	}
	return true
}

func openGeoPackage(data []byte, o Options, report *Report) (src *source, err error) {
	if len(data) < 100 || !strings.HasPrefix(string(data[:16]), "SQLite format 3\x00") {
		return nil, invalid(parcels.Invalid, parcels.Fault{Slug: "not-geopackage", Detail: "The file is no SQLite database, so no GeoPackage."})
	}
	path, remove := o.Path, func() {}
	if path == "" {
		f, err := os.CreateTemp("", "fallwright-*.gpkg")
		if err != nil {
			return nil, &parcels.Error{Kind: parcels.Failed, Op: "import: temporary file", Err: err}
		}
		path, remove = f.Name(), func() { os.Remove(f.Name()) }
		_, err = f.Write(data)
		if cerr := f.Close(); err == nil {
			err = cerr
		}
		if err != nil {
			remove()
			return nil, &parcels.Error{Kind: parcels.Failed, Op: "import: temporary file", Err: err}
		}
	}
	mode := "&immutable=1" // nothing is made beside the file
	if _, err := os.Stat(path + "-wal"); err == nil {
		mode = "" // another program has it open
	}
	db, err := sql.Open("sqlite", "file:"+(&url.URL{Path: path}).EscapedPath()+"?mode=ro"+mode+"&_pragma=query_only(1)&_pragma=trusted_schema(0)&_pragma=busy_timeout(5000)")
	closeAll := func() {
		if db != nil {
			db.Close()
		}
		remove()
	}
	defer func() {
		if err != nil {
			closeAll()
		}
	}()
	if err != nil {
		return nil, corrupt(err.Error())
	}
	db.SetMaxOpenConns(1)
	var check string
	if e := db.QueryRow("PRAGMA quick_check(1)").Scan(&check); e != nil || check != "ok" {
		if e != nil {
			check = e.Error()
		}
		return nil, corrupt("it fails SQLite's quick_check (" + parcels.Excerpt(check) + ")")
	}
	table, err := pickTable(db, o, report)
	if err != nil {
		return nil, err
	}
	if src, err = openTable(db, table, report); err != nil {
		return nil, err
	}
	src.total, src.close = int64(len(data)), closeAll
	return src, nil
}

type object struct{ kind, sql string }

// pickTable looks at the schema before anything of it is queried, and chooses
// the feature table.
func pickTable(db *sql.DB, o Options, report *Report) (string, error) {
	rows, err := db.Query("SELECT type, name, coalesce(sql, ''), tbl_name FROM sqlite_schema")
	if err != nil {
		return "", corrupt("its schema cannot be read (" + parcels.Excerpt(err.Error()) + ")")
	}
	defer rows.Close()
	objects := map[string]object{}
	var triggers []string
	for rows.Next() {
		var k, n, s, t string
		if err := rows.Scan(&k, &n, &s, &t); err != nil {
			return "", corrupt("its schema cannot be read")
		}
		switch {
		case k == "trigger" && !strings.HasPrefix(n, "rtree_") && !strings.HasPrefix(n, "trigger_insert_feature_count_") && !strings.HasPrefix(n, "trigger_delete_feature_count_") && !strings.HasPrefix(n, "gpkg_"):
			triggers = append(triggers, n)
		case k == "table" || k == "view":
			objects[strings.ToLower(n)] = object{k, s}
		}
	}
	if err := rows.Err(); err != nil {
		return "", corrupt("its schema cannot be read")
	}
	plain := func(n string) bool {
		ob, ok := objects[strings.ToLower(n)]
		return ok && ob.kind == "table" && !strings.HasPrefix(strings.ToUpper(strings.TrimSpace(ob.sql)), "CREATE VIRTUAL")
	}
	for _, n := range []string{"gpkg_contents", "gpkg_geometry_columns", "gpkg_spatial_ref_sys"} {
		if _, ok := objects[n]; !ok {
			return "", invalid(parcels.Invalid, parcels.Fault{Slug: "not-geopackage", Object: n, Detail: fmt.Sprintf("The file is an SQLite database without the table %s, so no GeoPackage with features.", n)})
		}
		if !plain(n) {
			return "", schemaFault(n, n, fmt.Sprintf("%s is no plain table.", n))
		}
	}
	list, err := db.Query("SELECT c.table_name FROM gpkg_contents c JOIN gpkg_geometry_columns g ON g.table_name = c.table_name WHERE c.data_type = 'features' ORDER BY 1 LIMIT 1000")
	if err != nil {
		return "", corrupt("gpkg_contents cannot be read")
	}
	defer list.Close()
	var names []string
	for list.Next() {
		var n string
		if err := list.Scan(&n); err != nil {
			return "", corrupt("gpkg_contents cannot be read")
		}
		names = append(names, n)
	}
	if err := list.Err(); err != nil {
		return "", corrupt("gpkg_contents cannot be read")
	}
	pick := ""
	want := o.Table
	switch {
	case len(names) == 0:
		return "", invalid(parcels.Invalid, parcels.Fault{Slug: "not-geopackage", Detail: "The GeoPackage lists no feature table."})
	case len(names) == 1 && want == "":
		pick = names[0]
	default:
		if want == "" {
			want = string(o.Layer)
		}
		for _, n := range names {
			if strings.EqualFold(n, want) {
				pick = n
			}
		}
		if pick == "" {
			return "", invalid(parcels.Invalid, parcels.Fault{Slug: "table-unknown", Detail: fmt.Sprintf("The GeoPackage holds %d layers: %s. Say which: --table NAME.", len(names), parcels.Excerpt(strings.Join(names, ", ")))})
		}
	}
	if !plainName(pick) {
		return "", schemaFault(pick, pick, fmt.Sprintf("The table %s has a name with marks in it.", parcels.Excerpt(pick)))
	}
	if !plain(pick) {
		return "", schemaFault(pick, pick, fmt.Sprintf("The layer %s is a view or a virtual table, which would run what its maker wrote.", parcels.Excerpt(pick)))
	}
	if len(triggers) > 0 {
		report.note("The GeoPackage holds %d triggers of its own (%s); they never run here, rows are only read.", len(triggers), parcels.Excerpt(strings.Join(triggers, ", ")))
	}
	return pick, nil
}

type tableColumn struct {
	name, kind string
}

func openTable(db *sql.DB, table string, report *Report) (*source, error) {
	var geom string
	var srs int64
	if err := db.QueryRow("SELECT column_name, srs_id FROM gpkg_geometry_columns WHERE table_name = ?", table).Scan(&geom, &srs); err != nil {
		return nil, corrupt("gpkg_geometry_columns does not tell the geometry of " + parcels.Excerpt(table))
	}
	info, err := db.Query("SELECT name, type, pk, hidden FROM pragma_table_xinfo(?)", table)
	if err != nil {
		return nil, corrupt("the columns of " + parcels.Excerpt(table) + " cannot be read")
	}
	defer info.Close()
	var columns []tableColumn
	key, hasGeom := "rowid", false
	for info.Next() {
		var c tableColumn
		var pk, hidden int
		if err := info.Scan(&c.name, &c.kind, &pk, &hidden); err != nil {
			return nil, corrupt("the columns of " + parcels.Excerpt(table) + " cannot be read")
		}
		c.kind = strings.ToUpper(c.kind)
		switch {
		case hidden != 0:
			return nil, schemaFault(c.name, table, fmt.Sprintf("The column %s of %s is a generated one.", parcels.Excerpt(c.name), parcels.Excerpt(table)))
		case strings.ContainsAny(c.name, "\"\x00`[];"):
			return nil, schemaFault(c.name, table, fmt.Sprintf("The column %s of %s has marks in its name.", parcels.Excerpt(c.name), parcels.Excerpt(table)))
		case pk == 1:
			key = c.name
		case strings.EqualFold(c.name, geom):
			hasGeom = true
		default:
			columns = append(columns, c)
		}
	}
	if err := info.Err(); err != nil || !hasGeom {
		return nil, corrupt("the table " + parcels.Excerpt(table) + " has no column " + parcels.Excerpt(geom))
	}
	src := &source{format: "GeoPackage", table: table}
	if err := systemOfTable(db, srs, src, report); err != nil {
		return nil, err
	}
	query := fmt.Sprintf(`SELECT "%s", "%s"`, key, geom)
	for _, c := range columns {
		query += fmt.Sprintf(`, "%s"`, c.name)
		src.fields = append(src.fields, c.name)
	}
	query += fmt.Sprintf(` FROM "%s"`, table)
	src.each = func(ctx context.Context, f func(record) error) error {
		rows, err := db.QueryContext(ctx, query)
		if err != nil {
			return readError(ctx, table, err)
		}
		defer rows.Close()
		cells := make([]any, len(columns))
		var fid sql.NullInt64
		var blob sql.RawBytes
		to := []any{&fid, &blob}
		for i := range cells {
			to = append(to, &cells[i])
		}
		for i := 0; rows.Next(); i++ {
			if err := rows.Scan(to...); err != nil {
				return readError(ctx, table, err)
			}
			n := fid.Int64
			r := record{index: i, at: func(ft *parcels.Fault) {
				ft.Table, ft.FID, ft.Pointer = parcels.Excerpt(table), &n, ""
				ft.Detail = fmt.Sprintf("Table %s, row %d: %s", parcels.Excerpt(table), n, ft.Detail)
			}}
			raw := []byte(`{"type":"Feature","geometry":`)
			if len(blob) == 0 {
				raw = append(raw, "null"...)
			} else {
				_, bin, err := wkb.SplitHeader(blob)
				if err == nil {
					var d wkb.Decoded
					if raw, d, err = wkb.ToGeoJSON(raw, bin); d.HasM && err == nil {
						report.mend("measures were left out")
					}
				}
				var ge *wkb.Error
				if errors.As(err, &ge) {
					r.fault = geometryFault(ge, i)
				}
			}
			if r.fault == nil {
				raw = append(raw, `,"properties":`...)
				r.raw = append(appendCells(raw, columns, cells, report), '}')
			}
			if err := f(r); err != nil {
				return err
			}
		}
		return readError(ctx, table, rows.Err())
	}
	return src, nil
}

func readError(ctx context.Context, table string, err error) error {
	if err == nil || ctx.Err() != nil {
		return ctx.Err()
	}
	return corrupt("the table " + parcels.Excerpt(table) + " cannot be read to its end (" + parcels.Excerpt(err.Error()) + ")")
}

// systemOfTable sets the reference system of the source from the table's srs_id.
func systemOfTable(db *sql.DB, srs int64, src *source, report *Report) error {
	var org, def string
	var code int64
	err := db.QueryRow("SELECT organization, organization_coordsys_id, definition FROM gpkg_spatial_ref_sys WHERE srs_id = ?", srs).Scan(&org, &code, &def)
	if err != nil || srs <= 0 {
		src.silent, src.mustAsk, src.crsFrom = true, true, fmt.Sprintf("its srs_id is %d", srs)
		return nil
	}
	src.crsFrom = fmt.Sprintf("srs_id %d of the GeoPackage", srs)
	if strings.EqualFold(org, "EPSG") {
		if src.crs, err = store.System(fmt.Sprintf("EPSG:%d", code)); err == nil {
			return nil
		}
	}
	found, err := frame.Recognise(def)
	if err != nil {
		src.silent, src.mustAsk, src.crsFrom = true, true, fmt.Sprintf("%s:%d is no EPSG system", parcels.Excerpt(org), code)
		return nil
	}
	if src.crs, err = store.System(found.Code); err == nil && !found.Sure {
		report.note("The reference system %s was taken for %s, the likeliest of several.", parcels.Excerpt(found.Name), crsText(found.Code))
	}
	return err
}

func appendCells(raw []byte, columns []tableColumn, cells []any, report *Report) []byte {
	raw = append(raw, '{')
	n := 0
	for i, c := range columns {
		var value []byte
		switch v := cells[i].(type) {
		case nil:
			value = []byte("null")
		case int64:
			if c.kind == "BOOLEAN" && (v == 0 || v == 1) {
				value = fmt.Appendf(nil, "%t", v == 1)
			} else {
				value = fmt.Appendf(nil, "%d", v)
			}
		case float64:
			if math.IsNaN(v) || math.IsInf(v, 0) {
				report.mend(fmt.Sprintf("%s is not finite: empty", parcels.Excerpt(c.name)))
				value = []byte("null")
			} else {
				value = wkb.AppendNumber(nil, v)
			}
		case string:
			value, _ = json.Marshal(v)
		case []byte:
			if strings.HasPrefix(c.kind, "TEXT") {
				value, _ = json.Marshal(string(v))
			} else {
				report.mend(fmt.Sprintf("%s holds bytes: left out", parcels.Excerpt(c.name)))
				continue
			}
		default:
			value, _ = json.Marshal(fmt.Sprint(v))
		}
		if n++; n > 1 {
			raw = append(raw, ',')
		}
		k, _ := json.Marshal(c.name)
		raw = append(append(append(raw, k...), ':'), value...)
	}
	return append(raw, '}')
}
