package exchange

// Archives: every entry is looked at before any is opened, and what comes out
// is counted while it comes out.

import (
	"archive/zip"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"path"
	"sort"
	"strings"
	"unicode/utf8"

	"fallwright/parcels"
)

const (
	mostEntries = 64
	mostBytes   = 512 << 20 // of the service
	mostRatio   = 100       // of the service, past ratioFrom
	ratioFrom   = 1 << 20
	// ratioAlways holds for the command too: no export packs so well, deflate
	// ends at 1032.
	ratioAlways = 500
)

type archive struct {
	entries map[string]*zip.File // by name in lower case
	size    int64                // of the archive
	o       Options
	total   int64
}

func entryFault(slug, entry, detail string) parcels.Fault {
	return parcels.Fault{Slug: slug, Entry: parcels.Excerpt(entry), Detail: fmt.Sprintf("Entry %s: %s", parcels.Excerpt(entry), detail)}
}

// badName says what is wrong with the name of an entry, "" for nothing.
func badName(n string) string {
	switch {
	case n == "":
		return "the name is empty"
	case !utf8.ValidString(n):
		return "the name is not UTF-8"
	case strings.ContainsAny(n, "\x00"):
		return "the name holds a NUL"
	case strings.Contains(n, `\`):
		return "the name holds a backslash"
	case strings.HasPrefix(n, "/"):
		return "the name is absolute"
	case len(n) > 1 && n[1] == ':':
		return "the name holds a drive letter"
	}
	for _, part := range strings.Split(n, "/") {
		if part == ".." {
			return "the name climbs out of the archive"
		}
	}
	return ""
}

func newArchive(data []byte, o Options) (*archive, error) {
	z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil && !errors.Is(err, zip.ErrInsecurePath) {
		return nil, invalid(parcels.Unreadable, parcels.Fault{Slug: "unreadable", Detail: "The archive is cut short or no zip. Pack it again."})
	}
	if len(z.File) > mostEntries {
		return nil, invalid(parcels.TooLarge, parcels.Fault{Slug: "archive-too-many-entries", Limit: mostEntries, Actual: len(z.File), Entry: parcels.Excerpt(z.File[mostEntries].Name), Detail: fmt.Sprintf("The archive holds %d entries; at most %d are taken. Pack only the layer.", len(z.File), mostEntries)})
	}
	a := &archive{entries: map[string]*zip.File{}, size: int64(len(data)), o: o}
	var faults []parcels.Fault
	for _, f := range z.File {
		n := f.Name
		if bad := badName(n); bad != "" {
			faults = append(faults, entryFault("archive-entry-path", n, bad+". Pack the files again with plain relative names."))
			continue
		}
		mode := f.Mode()
		if strings.HasSuffix(n, "/") && mode.IsDir() && f.UncompressedSize64 == 0 {
			continue
		}
		if f.Flags&1 != 0 || !mode.IsRegular() || strings.HasSuffix(n, "/") {
			faults = append(faults, entryFault("archive-entry-type", n, "it is encrypted or no plain file (a link, a device, a folder). Pack plain files."))
			continue
		}
		key := strings.ToLower(path.Clean(n))
		if _, twice := a.entries[key]; twice {
			faults = append(faults, entryFault("archive-entry-path", n, "the name stands twice. Keep one of them."))
			continue
		}
		a.entries[key] = f
	}
	if len(faults) > 0 {
		return nil, &parcels.InputError{Kind: parcels.Invalid, Faults: faults}
	}
	return a, nil
}

// read unpacks an entry, stopping at the limits.
func (a *archive) read(f *zip.File) ([]byte, error) {
	corrupt := func() error {
		return invalid(parcels.Invalid, entryFault("archive-corrupt", f.Name, "it cannot be unpacked (cut short, a wrong checksum or an unknown method). Pack it again."))
	}
	r, err := f.Open()
	if err != nil {
		return nil, corrupt()
	}
	defer r.Close()
	ratio := int64(ratioAlways)
	if a.o.Service {
		ratio = mostRatio
	}
	// what the entry says of its sizes may be a lie: no more is packed than there is
	packed := max(int64(min(f.CompressedSize64, uint64(a.size))), 1)
	var out bytes.Buffer
	if n := f.UncompressedSize64; n <= uint64(packed)*20 {
		out.Grow(int(n) + bytes.MinRead)
	}
	chunk := make([]byte, 256<<10)
	for {
		n, err := r.Read(chunk)
		out.Write(chunk[:n])
		a.total += int64(n)
		over := func(limit any, what string) error {
			ft := entryFault("archive-too-large", f.Name, what+". Pack less, or import the parts one by one.")
			ft.Limit = limit
			return invalid(parcels.TooLarge, ft)
		}
		if a.o.Service && a.total > mostBytes {
			return nil, over(int64(mostBytes), fmt.Sprintf("the archive unpacks to more than %d MiB", mostBytes>>20))
		}
		if int64(out.Len()) > ratioFrom && int64(out.Len()) > ratio*packed {
			return nil, over(ratio, fmt.Sprintf("it unpacks to more than %d times its size", ratio))
		}
		if err == io.EOF {
			return out.Bytes(), nil
		}
		if err != nil {
			return nil, corrupt()
		}
	}
}

func openZip(data []byte, o Options, report *Report) (*source, error) {
	a, err := newArchive(data, o)
	if err != nil {
		return nil, err
	}
	var shapes, other, nested []string
	for n := range a.entries {
		switch path.Ext(n) {
		case ".shp":
			shapes = append(shapes, n)
		case ".geojson", ".json", ".csv", ".gpkg", ".geojsonl", ".ndjson":
			other = append(other, n)
		case ".zip":
			nested = append(nested, n)
		}
	}
	sort.Strings(shapes)
	sort.Strings(other)
	pick := func(list []string, what string) (string, error) {
		if len(list) == 1 && o.Table == "" {
			return list[0], nil
		}
		want := o.Table
		if want == "" {
			want = string(o.Layer)
		}
		for _, n := range list {
			if strings.EqualFold(strings.TrimSuffix(path.Base(n), path.Ext(n)), want) {
				return n, nil
			}
		}
		return "", invalid(parcels.Invalid, parcels.Fault{Slug: "table-unknown", Detail: fmt.Sprintf("The archive holds %d %s: %s. Say which: --table NAME.", len(list), what, parcels.Excerpt(strings.Join(list, ", ")))})
	}
	switch {
	case len(shapes) > 0:
		n, err := pick(shapes, "shapefiles")
		if err != nil {
			return nil, err
		}
		return openShapefile(a, n, report)
	case len(other) > 0:
		n, err := pick(other, "files")
		if err != nil {
			return nil, err
		}
		f := a.entries[n]
		inner, err := a.read(f)
		if err != nil {
			return nil, err
		}
		o.Path, o.Table = "", ""
		src, err := open(f.Name, inner, o, report)
		if err == nil {
			src.format += ", zipped"
		}
		return src, err
	case len(nested) > 0:
		return nil, invalid(parcels.Invalid, entryFault("archive-entry-type", nested[0], "an archive in an archive is not opened. Unpack it and import what is in it."))
	}
	return nil, invalid(parcels.Invalid, parcels.Fault{Slug: "archive-empty", Detail: "The archive holds no layer that is read (.shp with .dbf, .prj and .cpg; .geojson, .gpkg, .csv)."})
}

// each runs over n records.
func counted(n int, one func(i int) (record, error)) func(context.Context, func(record) error) error {
	return func(_ context.Context, f func(record) error) error {
		for i := range n {
			r, err := one(i)
			if err != nil {
				return err
			}
			if r.raw == nil && r.fault == nil {
				continue // a record marked as deleted
			}
			if err := f(r); err != nil {
				return err
			}
		}
		return nil
	}
}
