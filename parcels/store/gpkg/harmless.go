package gpkg

// What a file that we are handed would run when it is written or read.

import (
	"context"
	"database/sql"
	"fmt"
	"strings"

	"fallwright/parcels"
)

// harmless refuses a file that holds code: a view, a virtual table that is no
// R*Tree, a trigger on a table that we write other than those of the standard.
// Plain tables and indexes of other programs are let be.
func harmless(ctx context.Context, tx *sql.Tx) error {
	rows, err := tx.QueryContext(ctx, "SELECT type, name, tbl_name, coalesce(sql, '') FROM sqlite_schema WHERE type IN ('view', 'trigger') OR type = 'table' AND sql LIKE 'CREATE VIRTUAL%'")
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var kind, name, table, text string
		if err := rows.Scan(&kind, &name, &table, &text); err != nil {
			return err
		}
		if kind == "trigger" && known(table, text) || kind == "table" && isRTree(text) {
			continue
		}
		if kind == "table" {
			kind = "virtual table"
		}
		return &parcels.Error{Kind: parcels.Invalid, Op: "store: open", Err: fmt.Errorf("the file holds the %s %s, which would run code of its own. Drop it with a GIS program if you know what it does, or import the layers into a new store", kind, parcels.Excerpt(name))}
	}
	return rows.Err()
}

// known says whether a trigger is one of those that we or the standard put on
// a table, or stands on a table that we never write.
func known(table, text string) bool {
	if !writes(table) {
		return true
	}
	t := squeeze(text)
	for _, own := range append(triggers(table), insertTrigger(table)) {
		if t == squeeze(own) {
			return true
		}
	}
	return false
}

// writes says whether a table is one that the store writes.
func writes(table string) bool {
	table = strings.ToLower(table)
	if strings.HasPrefix(table, "gpkg_") || strings.HasPrefix(table, "fallwright_") || strings.HasPrefix(table, "rtree_") {
		return true
	}
	for _, l := range parcels.Layers {
		rest, ok := strings.CutPrefix(table, string(l))
		if ok && strings.Trim(rest, "0123456789_") == "" { // parcels, parcels_2274
			return true
		}
	}
	return false
}

func squeeze(text string) string { return strings.ToLower(strings.Join(strings.Fields(text), " ")) }

func isRTree(text string) bool {
	_, by, ok := strings.Cut(strings.ToLower(text), " using ")
	return ok && strings.HasPrefix(strings.TrimSpace(by), "rtree(")
}
