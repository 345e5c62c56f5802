package gpkg

// A plain GeoPackage to give away: one layer, none of our own tables.

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"net/url"
	"os"
	"slices"
	"strings"

	"fallwright/parcels"
	"fallwright/parcels/exchange"
	"fallwright/parcels/exchange/wkb"
	"fallwright/parcels/store"
)

// Export writes a set into a new GeoPackage at path: geometry with its R*Tree,
// a column for each property. The file appears whole or not at all; one that is
// there is replaced.
func Export(ctx context.Context, path string, s exchange.Set) error {
	if err := register(); err != nil {
		return fault("export", path, err)
	}
	fields, _, err := s.Survey()
	if err != nil {
		return err
	}
	tmp, err := os.CreateTemp(dirOf(path), ".fallwright-*.gpkg")
	if err != nil {
		return fault("export", path, err)
	}
	name := tmp.Name()
	tmp.Close()
	defer os.Remove(name)
	db, err := sql.Open("sqlite", "file:"+(&url.URL{Path: name}).EscapedPath()+"?_pragma=synchronous(full)")
	if err != nil {
		return fault("export", path, err)
	}
	defer db.Close()
	db.SetMaxOpenConns(1)
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return fault("export", path, err)
	}
	if err := exportInto(ctx, tx, s, fields); err != nil {
		_ = tx.Rollback() // the first error is told
		return fault("export", path, err)
	}
	if err := tx.Commit(); err != nil {
		return fault("export", path, err)
	}
	if err := db.Close(); err != nil {
		return fault("export", path, err)
	}
	if err := os.Chmod(name, 0o644); err != nil {
		return fault("export", path, err)
	}
	return fault("export", path, os.Rename(name, path))
}

func dirOf(path string) string {
	if i := strings.LastIndexByte(path, '/'); i > 0 {
		return path[:i]
	}
	return "."
}

func exportInto(ctx context.Context, tx *sql.Tx, s exchange.Set, fields []exchange.Field) error {
	for _, text := range []string{standard, fmt.Sprintf("PRAGMA application_id = %d", applicationID), fmt.Sprintf("PRAGMA user_version = %d", userVersion)} {
		if _, err := tx.ExecContext(ctx, text); err != nil {
			return err
		}
	}
	if err := addSystem(ctx, tx, ""); err != nil {
		return err
	}
	if err := addSystem(ctx, tx, s.CRS); err != nil {
		return err
	}
	quote := func(n string) string { return `"` + strings.ReplaceAll(n, `"`, `""`) + `"` }
	taken := []string{"fid", "geom", "feature_id"}
	columns, marks, kinds := "fid, geom, feature_id", "?,?,?", ""
	for _, f := range fields {
		n := f.Name
		for slices.Contains(taken, strings.ToLower(n)) || n == "" {
			n += "_"
		}
		taken = append(taken, strings.ToLower(n))
		kind := "TEXT"
		if f.Whole {
			kind = "INTEGER"
		} else if f.Number {
			kind = "DOUBLE"
		}
		columns += ", " + quote(n)
		kinds += ", " + quote(n) + " " + kind
		marks += ",?"
	}
	id := store.SRS(s.CRS)
	t := s.Name
	for _, text := range []string{
		fmt.Sprintf(`CREATE TABLE %s (fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, geom GEOMETRY, feature_id TEXT%s)`, quote(t), kinds),
		fmt.Sprintf(`CREATE VIRTUAL TABLE "rtree_%s_geom" USING rtree(id, minx, maxx, miny, maxy)`, t),
		fmt.Sprintf(`INSERT INTO gpkg_contents (table_name, data_type, identifier, srs_id) VALUES ('%s', 'features', '%s', %d)`, t, t, id),
		fmt.Sprintf(`INSERT INTO gpkg_geometry_columns VALUES ('%s', 'geom', 'GEOMETRY', %d, 2, 0)`, t, id),
		fmt.Sprintf(`INSERT INTO gpkg_extensions VALUES ('%s', 'geom', 'gpkg_rtree_index', 'http://www.geopackage.org/spec120/#extension_rtree', 'write-only')`, t),
	} {
		if _, err := tx.ExecContext(ctx, text); err != nil {
			return err
		}
	}
	row, err := tx.PrepareContext(ctx, fmt.Sprintf("INSERT INTO %s (%s) VALUES (%s)", quote(t), columns, marks))
	if err != nil {
		return err
	}
	tree, err := tx.PrepareContext(ctx, fmt.Sprintf(`INSERT INTO "rtree_%s_geom" VALUES (?,?,?,?,?)`, t))
	if err != nil {
		return err
	}
	n := 0
	all := wkb.NoBox()
	for f, err := range s.Features {
		if err != nil {
			return err
		}
		n++
		head := make([]byte, wkb.HeaderSize)
		blob, box, _, err := wkb.FromGeoJSON(head, f.Geometry)
		if err != nil {
			return err
		}
		args := []any{n, nil, nil}
		if !box.Empty() {
			copy(blob, wkb.AppendHeader(nil, int32(id), box))
			args[1] = blob
			all = all.Join(box)
			o := outward(box)
			if _, err := tree.ExecContext(ctx, n, o[0], o[1], o[2], o[3]); err != nil {
				return err
			}
		}
		if f.ID != "" {
			args[2] = f.ID
		}
		var m map[string]json.RawMessage
		_ = json.Unmarshal(f.Properties, &m) // no object: no properties
		for _, fd := range fields {
			raw := m[fd.Name]
			switch {
			case len(raw) == 0 || string(raw) == "null":
				args = append(args, nil)
			case fd.Number:
				args = append(args, json.Number(raw).String())
			default:
				args = append(args, exchange.Plain(raw))
			}
		}
		if _, err := row.ExecContext(ctx, args...); err != nil {
			return err
		}
	}
	for _, text := range append(triggers(t), insertTrigger(t)) {
		if _, err := tx.ExecContext(ctx, text); err != nil {
			return err
		}
	}
	if n == 0 {
		return &parcels.Error{Kind: parcels.Invalid, Op: "export", Subject: s.Name, Err: fmt.Errorf("nothing to write")}
	}
	if all.Empty() {
		return nil
	}
	_, err = tx.ExecContext(ctx, "UPDATE gpkg_contents SET min_x = ?, min_y = ?, max_x = ?, max_y = ?", all.MinX, all.MinY, all.MaxX, all.MaxY)
	return err
}
