package gpkg

// The R*Tree of a table that was empty, written at once: insertion one by one
// is a third of the time of an import.

import (
	"context"
	"database/sql"
	"encoding/binary"
	"fmt"
	"math"
	"slices"
	"strings"
)

// A node of SQLite's R*Tree is 4 bytes (the depth of the tree in the root, else
// 0; the number of cells), then its cells of 24: the id of a row or the number
// of a child, then the box in single precision, all big-endian. SQLite takes
// the size of a node from that of the root.
// Source: sqlite.org/src, ext/rtree/rtree.c, comment on the database format
// (from memory; held by rtreecheck and by GDAL in the tests).
const (
	nodeHead = 4
	cellSize = 24
)

// cell is a box with what it is of.
type cell struct {
	of  int64
	box [4]float32 // least x, greatest x, least y, greatest y
}

func (c *cell) mid(axis int) float64 { return float64(c.box[axis]) + float64(c.box[axis+1]) }

// mostHeld is how many boxes of an import wait for the tree to be written: 100
// MB. Past it they go in one by one. A variable for the test only.
var mostHeld = 4_000_000

// emptyTree says whether the R*Tree of a table holds nothing, and the size of
// its nodes.
func emptyTree(ctx context.Context, tx *sql.Tx, table string) (empty bool, size int, err error) {
	err = tx.QueryRowContext(ctx, fmt.Sprintf(`SELECT NOT EXISTS (SELECT 1 FROM "rtree_%s_geom_rowid"), (SELECT length(data) FROM "rtree_%s_geom_node" WHERE nodeno = 1)`, table, table)).Scan(&empty, &size)
	return empty, size, err
}

// group puts cells into the order of tiles: columns by x, within each by y
// (Leutenegger, Lopez, Edgington 1997, sort-tile-recursive), for nodes of n.
func group(cells []cell, n int) {
	nodes := (len(cells) + n - 1) / n
	column := n * int(math.Ceil(math.Sqrt(float64(nodes))))
	by := func(axis int) func(a, b cell) int {
		return func(a, b cell) int {
			x, y := a.mid(axis), b.mid(axis)
			switch {
			case x < y:
				return -1
			case x > y:
				return 1
			}
			return int(max(-1, min(1, a.of-b.of)))
		}
	}
	slices.SortFunc(cells, by(0))
	for i := 0; i < len(cells); i += column {
		slices.SortFunc(cells[i:min(i+column, len(cells))], by(2))
	}
}

// rows collects values for one statement of many rows.
type rows struct {
	tx    *sql.Tx
	head  string
	width int
	many  *sql.Stmt
	args  []any
}

const treeRows = 200

func (r *rows) add(ctx context.Context, values ...any) (err error) {
	r.width = len(values)
	r.args = append(r.args, values...)
	if len(r.args) < treeRows*r.width {
		return nil
	}
	if r.many == nil {
		if r.many, err = r.tx.PrepareContext(ctx, r.head+r.marks(treeRows)); err != nil {
			return err
		}
	}
	_, err = r.many.ExecContext(ctx, r.args...)
	r.args = r.args[:0]
	return err
}

func (r *rows) marks(n int) string {
	one := ",(?" + strings.Repeat(",?", r.width-1) + ")"
	return strings.Repeat(one, n)[1:]
}

func (r *rows) end(ctx context.Context) (err error) {
	if len(r.args) > 0 {
		_, err = r.tx.ExecContext(ctx, r.head+r.marks(len(r.args)/r.width), r.args...)
	}
	if r.many != nil {
		r.many.Close()
	}
	return err
}

// writeTree writes the tree of a table in place of an empty one. Nodes are
// filled to nine tenths, so that later edits find room. The order of cells
// changes.
func writeTree(ctx context.Context, tx *sql.Tx, table string, size int, cells []cell) error {
	most := (size - nodeHead) / cellSize
	if most < 4 {
		return fmt.Errorf("gpkg: nodes of the index have %d bytes", size)
	}
	shadow := func(part string) string { return fmt.Sprintf(`"rtree_%s_geom_%s"`, table, part) }
	for _, part := range []string{"node", "rowid", "parent"} {
		if _, err := tx.ExecContext(ctx, "DELETE FROM "+shadow(part)); err != nil {
			return err
		}
	}
	nodes := rows{tx: tx, head: "INSERT INTO " + shadow("node") + " (nodeno, data) VALUES "}
	parents := rows{tx: tx, head: "INSERT INTO " + shadow("parent") + " (nodeno, parentnode) VALUES "}
	type place struct{ row, node int64 }
	places := make([]place, 0, len(cells))
	next := int64(2) // the root is 1
	for depth := uint16(0); ; depth++ {
		root := len(cells) <= most
		fill := most
		if !root {
			fill = most * 9 / 10
			group(cells, fill)
		}
		var above []cell
		for i := 0; i < len(cells) || root && i == 0; i += fill {
			part := cells[i:min(i+fill, len(cells))]
			no := next
			data := make([]byte, size)
			if root {
				no = 1
				binary.BigEndian.PutUint16(data, depth)
			} else {
				next++
			}
			binary.BigEndian.PutUint16(data[2:], uint16(len(part)))
			up := cell{of: no}
			for k, c := range part {
				b := data[nodeHead+k*cellSize:]
				binary.BigEndian.PutUint64(b, uint64(c.of))
				for j, v := range c.box {
					binary.BigEndian.PutUint32(b[8+4*j:], math.Float32bits(v))
				}
				if k == 0 {
					up.box = c.box
				}
				for j := 0; j < 4; j += 2 {
					up.box[j], up.box[j+1] = min(up.box[j], c.box[j]), max(up.box[j+1], c.box[j+1])
				}
				if depth == 0 {
					places = append(places, place{c.of, no})
				} else if err := parents.add(ctx, c.of, no); err != nil {
					return err
				}
			}
			if err := nodes.add(ctx, no, data); err != nil {
				return err
			}
			above = append(above, up)
		}
		if root {
			break
		}
		cells = above
	}
	if err := nodes.end(ctx); err != nil {
		return err
	}
	if err := parents.end(ctx); err != nil {
		return err
	}
	// in the order of rows, so that the table grows at its end
	slices.SortFunc(places, func(a, b place) int { return int(max(-1, min(1, a.row-b.row))) })
	ids := rows{tx: tx, head: "INSERT INTO " + shadow("rowid") + " (rowid, nodeno) VALUES "}
	for _, p := range places {
		if err := ids.add(ctx, p.row, p.node); err != nil {
			return err
		}
	}
	return ids.end(ctx)
}
