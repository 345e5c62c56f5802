package store

// Rasters, and the bytes of rasters and documents in parts. Bytes stand under
// their checksum, so that a result finds what it was worked from after it has
// been replaced; they go when neither a raster nor a result names them.

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"math"
	"regexp"
	"sync"
	"time"

	"fallwright/geo/unit"
	"fallwright/parcels"
)

// partSize is how many bytes a part holds, heldParts how many of them an open
// raster keeps in memory.
const (
	partSize  = 256 << 10
	heldParts = 32
)

// putBlob stores bytes under their checksum unless they are there, and refuses
// bytes that have become others since that was worked out.
func (t *Tables) putBlob(ctx context.Context, tx *sql.Tx, site, sum string, size int64, src io.ReaderAt) error {
	var there bool
	if err := tx.QueryRowContext(ctx, t.q("SELECT EXISTS (SELECT 1 FROM @blobs WHERE site = $1 AND sha256 = $2)"), site, sum).Scan(&there); err != nil || there {
		return err
	}
	put, err := tx.PrepareContext(ctx, t.q("INSERT INTO @blobs (site, sha256, part, bytes) VALUES ($1,$2,$3,$4)"))
	if err != nil {
		return err
	}
	defer put.Close()
	h := sha256.New()
	buf := make([]byte, partSize)
	for part := int64(0); part*partSize < size || part == 0; part++ {
		b := buf[:min(partSize, size-part*partSize)]
		if n, err := src.ReadAt(b, part*partSize); n < len(b) {
			return &parcels.Error{Kind: parcels.Unreadable, Op: "store: put", Subject: site, Err: fmt.Errorf("the source ended at byte %d of %d: %w", part*partSize+int64(n), size, err)}
		}
		_, _ = h.Write(b) // a hash takes all
		if _, err := put.ExecContext(ctx, site, sum, part, b); err != nil {
			return err
		}
	}
	if hex.EncodeToString(h.Sum(nil)) != sum {
		return &parcels.Error{Kind: parcels.Conflict, Op: "store: put", Subject: site, Err: errors.New("the source has changed while it was read; import it again")}
	}
	return nil
}

// sweep takes out a raster that is no longer present, and the bytes of its
// checksum, unless something names them.
func (t *Tables) sweep(ctx context.Context, tx *sql.Tx, site, sum string) error {
	if err := t.exec(ctx, tx, `DELETE FROM @rasters WHERE site = $1 AND sha256 = $2 AND NOT present
		AND NOT EXISTS (SELECT 1 FROM @results p WHERE p.site = $1 AND p.ground_sha256 = $2)`, site, sum); err != nil {
		return err
	}
	return t.exec(ctx, tx, `DELETE FROM @blobs WHERE site = $1 AND sha256 = $2
		AND NOT EXISTS (SELECT 1 FROM @rasters r WHERE r.site = $1 AND r.sha256 = $2)
		AND NOT EXISTS (SELECT 1 FROM @results p WHERE p.site = $1 AND p.input_sha256 = $2)`, site, sum)
}

const rasterColumns = "site, name, format, crs, cells_across, cells_down, west, south, east, north, unit_m, size, sha256, stored"

func raster(row interface{ Scan(...any) error }) (r parcels.Raster, err error) {
	var u float64
	err = row.Scan(&r.Site, &r.Name, &r.Format, &r.CRS, &r.Columns, &r.Rows, &r.Bounds[0], &r.Bounds[1], &r.Bounds[2], &r.Bounds[3], &u, &r.Bytes, &r.SHA256, at{&r.Stored})
	r.ElevationUnit = unit.Length(u)
	return r, err
}

var sum256 = regexp.MustCompile(`^[0-9a-f]{64}$`)

// PutRaster stores a raster in place of the one of its name.
func (t *Tables) PutRaster(ctx context.Context, r parcels.Raster, src io.ReaderAt, version int64, who string) (parcels.Raster, error) {
	refuse := func(why string) error {
		return &parcels.Error{Kind: parcels.Invalid, Op: "store: put raster", Subject: parcels.Excerpt(r.Name), Err: errors.New(why)}
	}
	switch {
	case r.Name == "" || len(r.Name) > 200 || sum256.MatchString(r.Name):
		return r, refuse("a raster has a name of 1 to 200 characters, and none that reads as a checksum")
	case r.Bytes <= 0 || r.Columns <= 0 || r.Rows <= 0:
		return r, refuse("the raster is empty")
	case !(r.ElevationUnit > 0) || math.IsInf(float64(r.ElevationUnit), 0):
		return r, refuse("the unit of the raster's elevations is not given")
	}
	h := sha256.New()
	n, err := io.Copy(h, io.NewSectionReader(src, 0, r.Bytes))
	if err != nil || n != r.Bytes {
		return r, refuse(fmt.Sprintf("%d of its %d bytes could be read", n, r.Bytes))
	}
	own := hex.EncodeToString(h.Sum(nil))
	if r.SHA256 != "" && r.SHA256 != own {
		return r, refuse("its bytes do not match the checksum given")
	}
	r.SHA256, r.Stored = own, moment(time.Time{})
	err = t.write(ctx, "put raster", r.Site, func(tx *sql.Tx) error {
		info, err := t.site(ctx, tx, r.Site)
		if err != nil {
			return err
		}
		if err := t.expect(ctx, tx, r.Site, version); err != nil {
			return err
		}
		old, err := t.takeRaster(ctx, tx, r.Site, r.Name)
		if err != nil {
			return err
		}
		if err := t.putBlob(ctx, tx, r.Site, r.SHA256, r.Bytes, src); err != nil {
			return err
		}
		if err := t.exec(ctx, tx, "INSERT INTO @rasters ("+rasterColumns+`, present) VALUES ($1,$2,$3,$4,$5,$6,$7,$8,$9,$10,$11,$12,$13,$14,TRUE)
			ON CONFLICT (site, name, sha256) DO UPDATE SET format = excluded.format, crs = excluded.crs, cells_across = excluded.cells_across, cells_down = excluded.cells_down,
			west = excluded.west, south = excluded.south, east = excluded.east, north = excluded.north, unit_m = excluded.unit_m, stored = excluded.stored, present = TRUE`,
			r.Site, r.Name, r.Format, r.CRS, r.Columns, r.Rows, r.Bounds[0], r.Bounds[1], r.Bounds[2], r.Bounds[3], float64(r.ElevationUnit), r.Bytes, r.SHA256, t.Stamp(r.Stored)); err != nil {
			return err
		}
		if old != "" {
			if err := t.sweep(ctx, tx, r.Site, old); err != nil {
				return err
			}
		}
		return t.change(ctx, tx, r.Site, info.CRS, who, fmt.Sprintf("raster %s: %d by %d cells", parcels.Excerpt(r.Name), r.Columns, r.Rows))
	})
	return r, err
}

// takeRaster marks a raster as no longer present and gives its checksum, ""
// where there was none.
func (t *Tables) takeRaster(ctx context.Context, tx *sql.Tx, site, name string) (sum string, err error) {
	err = tx.QueryRowContext(ctx, t.q("UPDATE @rasters SET present = FALSE WHERE site = $1 AND name = $2 AND present RETURNING sha256"), site, name).Scan(&sum)
	if err == sql.ErrNoRows {
		return "", nil
	}
	return sum, err
}

// DeleteRaster takes one out; what results rest on stays until they go.
func (t *Tables) DeleteRaster(ctx context.Context, site, name string, version int64, who string) error {
	return t.write(ctx, "delete raster", site, func(tx *sql.Tx) error {
		info, err := t.site(ctx, tx, site)
		if err != nil {
			return err
		}
		if err := t.expect(ctx, tx, site, version); err != nil {
			return err
		}
		sum, err := t.takeRaster(ctx, tx, site, name)
		if err != nil {
			return err
		}
		if sum == "" {
			return absent("raster", "raster", parcels.Excerpt(name))
		}
		if err := t.sweep(ctx, tx, site, sum); err != nil {
			return err
		}
		return t.change(ctx, tx, site, info.CRS, who, "raster "+parcels.Excerpt(name)+" deleted")
	})
}

// Rasters lists those of a site, by name.
func (t *Tables) Rasters(ctx context.Context, site string) (out []parcels.Raster, err error) {
	err = t.read(ctx, "rasters", site, func(tx *sql.Tx) error {
		if _, err := t.site(ctx, tx, site); err != nil {
			return err
		}
		return t.rows(ctx, tx, func(rows *sql.Rows) error {
			r, err := raster(rows)
			out = append(out, r)
			return err
		}, "SELECT "+rasterColumns+" FROM @rasters WHERE site = $1 AND present ORDER BY name", site)
	})
	return out, err
}

// OpenRaster opens one by its name or checksum.
func (t *Tables) OpenRaster(ctx context.Context, site, name string) (parcels.Raster, parcels.RasterFile, error) {
	fail := func(err error) (parcels.Raster, parcels.RasterFile, error) {
		return parcels.Raster{}, nil, t.Fault("open raster", site, err)
	}
	// the transaction outlives the call, so that Close ends it and not ctx
	tx, err := t.Snapshot(context.WithoutCancel(ctx))
	if err != nil {
		return fail(err)
	}
	abandon := func(err error) (parcels.Raster, parcels.RasterFile, error) {
		_ = tx.Rollback() // nothing was written
		return fail(err)
	}
	if _, err := t.site(ctx, tx, site); err != nil {
		return abandon(err)
	}
	r, err := raster(tx.QueryRowContext(ctx, t.q("SELECT "+rasterColumns+" FROM @rasters WHERE site = $1 AND (name = $2 AND present OR sha256 = $2) ORDER BY present DESC, name LIMIT 1"), site, name))
	if err == sql.ErrNoRows {
		err = absent("raster", "raster", parcels.Excerpt(name))
	}
	if err != nil {
		return abandon(err)
	}
	return r, &blob{t: t, tx: tx, site: site, sum: r.SHA256, size: r.Bytes, parts: map[int64][]byte{}}, nil
}

// blob reads stored bytes in one state of the store.
type blob struct {
	t         *Tables
	site, sum string
	size      int64

	mu    sync.Mutex
	tx    *sql.Tx
	parts map[int64][]byte
	order []int64 // of parts held, oldest first
}

func (b *blob) part(n int64) ([]byte, error) {
	if p, ok := b.parts[n]; ok {
		return p, nil
	}
	var p []byte
	err := b.tx.QueryRow(b.t.q("SELECT bytes FROM @blobs WHERE site = $1 AND sha256 = $2 AND part = $3"), b.site, b.sum, n).Scan(&p)
	if want := min(partSize, b.size-n*partSize); err == nil && int64(len(p)) != want || err == sql.ErrNoRows {
		err = &parcels.Error{Kind: parcels.Failed, Op: "store: read raster", Subject: b.site, Err: fmt.Errorf("part %d is not whole; the store is damaged", n)}
	}
	if err != nil {
		return nil, b.t.Fault("read raster", b.site, err)
	}
	if len(b.order) == heldParts {
		delete(b.parts, b.order[0])
		b.order = b.order[1:]
	}
	b.parts[n], b.order = p, append(b.order, n)
	return p, nil
}

func (b *blob) ReadAt(p []byte, off int64) (n int, err error) {
	if off < 0 {
		return 0, fmt.Errorf("store: read raster: offset %d bytes", off)
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	for n < len(p) {
		if off >= b.size {
			return n, io.EOF
		}
		part, err := b.part(off / partSize)
		if err != nil {
			return n, err
		}
		k := copy(p[n:], part[off%partSize:])
		n += k
		off += int64(k)
	}
	return n, nil
}

func (b *blob) Close() error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if err := b.tx.Rollback(); err != nil && err != sql.ErrTxDone {
		return b.t.Fault("close raster", b.site, err)
	}
	return nil
}
