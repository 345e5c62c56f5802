package exchange

// CSV: one header line, then points by two columns or geometries as
// well-known text.

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode/utf8"

	"fallwright/parcels"
)

// column names for places, squeezed.
var (
	wktNames = []string{"wkt", "geom", "geometry", "thegeom", "shape"}
	xNames   = []string{"x", "lon", "long", "longitude", "lng", "easting", "east", "pointx", "xcoord", "coordx"}
	yNames   = []string{"y", "lat", "latitude", "northing", "north", "pointy", "ycoord", "coordy"}
	zNames   = []string{"z", "pointz"}
)

func openCSV(data []byte, report *Report) (*source, error) {
	data = bytes.TrimPrefix(data, []byte("\xef\xbb\xbf"))
	if !utf8.Valid(data) {
		at := int64(0)
		for i := 0; i < len(data); {
			r, n := utf8.DecodeRune(data[i:])
			if r == utf8.RuneError && n == 1 {
				at = int64(i)
				break
			}
			i += n
		}
		return nil, invalid(parcels.Unreadable, parcels.Fault{Slug: "not-utf8", Offset: &at, Detail: fmt.Sprintf("The text is not UTF-8 at byte %d. Save the file as UTF-8.", at)})
	}
	first, _, _ := bytes.Cut(data, []byte("\n"))
	comma := ','
	for _, c := range ";\t|" {
		if bytes.Count(first, []byte(string(c))) > bytes.Count(first, []byte(string(comma))) {
			comma = c
		}
	}
	newReader := func() *csv.Reader {
		r := csv.NewReader(bytes.NewReader(data))
		r.Comma, r.ReuseRecord = comma, true
		return r
	}
	r := newReader()
	head, err := r.Read()
	if err != nil {
		return nil, invalid(parcels.Unreadable, parcels.Fault{Slug: "csv-invalid", Detail: "The file has no header line. Give one line of column names, then one line a feature."})
	}
	names := slices.Clone(head)
	find := func(list []string) int {
		for _, want := range list {
			for i, n := range names {
				if squeeze(n) == want {
					return i
				}
			}
		}
		return -1
	}
	wkt, x, y, z := find(wktNames), find(xNames), find(yNames), find(zNames)
	if wkt < 0 && (x < 0 || y < 0) {
		return nil, invalid(parcels.Invalid, parcels.Fault{Slug: "geometry-missing", Detail: "No columns tell the place. Name two of them X and Y (or lon and lat, easting and northing), or one WKT."})
	}
	for i, n := range names {
		if slices.Index(names, n) != i {
			return nil, invalid(parcels.Invalid, parcels.Fault{Slug: "csv-invalid", Member: parcels.Excerpt(n), Detail: fmt.Sprintf("The column %s stands twice in the header. Rename one.", parcels.Excerpt(n))})
		}
	}
	src := &source{format: "CSV", silent: true, total: int64(len(data)), fields: names}
	placed := func(i int) bool { return wkt >= 0 && i == wkt || wkt < 0 && (i == x || i == y || i == z) }
	src.each = func(_ context.Context, f func(record) error) error {
		r := newReader()
		if _, err := r.Read(); err != nil {
			return err
		}
		for i := 0; ; i++ {
			row, err := r.Read()
			if err == io.EOF {
				return nil
			}
			line := i + 2
			if len(row) > 0 { // none where a quote is open at the end of the file
				line, _ = r.FieldPos(0)
			}
			if err != nil {
				var pe *csv.ParseError
				if errors.As(err, &pe) {
					line = pe.Line
				}
				return invalid(parcels.Unreadable, parcels.Fault{Slug: "csv-invalid", Line: &line, Detail: fmt.Sprintf("Line %d is not a line of %d cells: a quote or a separator is wrong. Correct it there.", line, len(names))})
			}
			out := record{index: i, done: r.InputOffset(), at: func(ft *parcels.Fault) {
				ft.Line, ft.Pointer = &line, ""
				ft.Detail = fmt.Sprintf("Line %d: %s", line, ft.Detail)
			}}
			raw := []byte(`{"type":"Feature","geometry":`)
			if wkt >= 0 {
				g, srs, werr := fromWKT(row[wkt])
				if werr != nil {
					out.fault = geometryFault(werr, i)
				}
				if srs != "" && i == 0 {
					report.note("The well-known text names SRID %s, which was not looked at: the system is that of the file.", parcels.Excerpt(srs))
				}
				raw = append(raw, g...)
			} else {
				ok := true
				raw = append(raw, `{"type":"Point","coordinates":[`...)
				for k, c := range []int{x, y, z} {
					if c < 0 {
						continue
					}
					t := strings.TrimSpace(row[c])
					if k == 2 && t == "" {
						continue
					}
					if !isNumber(t) {
						n := i
						out.fault = &parcels.Fault{Slug: "position-invalid", Feature: &n, Detail: fmt.Sprintf("Feature %d has %q in column %s, which is no number. Correct it.", i, parcels.Excerpt(t), parcels.Excerpt(names[c]))}
						ok = false
						break
					}
					if k > 0 {
						raw = append(raw, ',')
					}
					raw = append(raw, t...)
				}
				if ok {
					raw = append(raw, "]}"...)
				}
			}
			raw = append(raw, `,"properties":{`...)
			put := false
			for k, cell := range row {
				if placed(k) {
					continue
				}
				if put {
					raw = append(raw, ',')
				}
				put = true
				key, _ := json.Marshal(names[k])
				raw = append(append(raw, key...), ':')
				raw = append(raw, cellText(cell)...)
			}
			out.raw = append(raw, "}}"...)
			if err := f(out); err != nil {
				return err
			}
		}
	}
	return src, nil
}

// isNumber says whether text is a JSON number.
func isNumber(t string) bool {
	return t != "" && (t[0] == '-' || t[0] >= '0' && t[0] <= '9') && json.Valid([]byte(t))
}

// cellText is a cell as JSON: a number only where the text is one as JSON
// writes it, so that 007 stays what it is.
func cellText(cell string) []byte {
	if cell == "" {
		return []byte("null")
	}
	if isNumber(cell) {
		return []byte(cell)
	}
	out, _ := json.Marshal(cell)
	return out
}
