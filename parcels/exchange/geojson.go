package exchange

// GeoJSON, whole or a feature a line.

import (
	"bytes"
	"context"
	"fmt"

	"fallwright/parcels"
	"fallwright/parcels/document"
	"fallwright/parcels/store"
)

func openGeoJSON(data []byte) (*source, error) {
	text, err := document.Scan(data)
	if err != nil {
		return nil, err
	}
	src := &source{format: "GeoJSON", total: int64(len(text)), silent: true}
	src.each = func(_ context.Context, f func(record) error) error {
		var stop error
		done := int64(0)
		err := document.EachFeature(text, func(crs string) error {
			if crs == "" {
				return nil
			}
			own, err := store.System(crs)
			src.crs, src.silent, src.crsFrom = own, false, "the file's crs member"
			return err
		}, func(i int, raw []byte, pointer string) bool {
			done += int64(len(raw))
			stop = f(record{raw: raw, index: i, pointer: pointer, done: done})
			return stop == nil
		})
		if stop != nil {
			return stop
		}
		return err
	}
	return src, nil
}

// openLines reads one feature a line; each line is a text of its own, and a
// line that cannot be parsed refuses the file, as cut-short text does.
func openLines(data []byte) *source {
	src := &source{format: "GeoJSON, a feature a line", total: int64(len(data)), silent: true}
	src.each = func(_ context.Context, f func(record) error) error {
		line, i := 0, 0
		for rest := data; len(rest) > 0; {
			line++
			text := rest
			if n := bytes.IndexByte(rest, '\n'); n >= 0 {
				text, rest = rest[:n], rest[n+1:]
			} else {
				rest = nil
			}
			text = bytes.Trim(text, " \t\r\x1e")
			if len(text) == 0 {
				continue
			}
			clean, err := document.Scan(text)
			if err != nil {
				return onLine(err, line, int64(cap(data)-cap(text)))
			}
			n := line
			at := func(ft *parcels.Fault) {
				ft.Line = &n
				ft.Detail = fmt.Sprintf("Line %d: %s", n, ft.Detail)
			}
			if err := f(record{raw: clean, index: i, at: at, done: int64(len(data) - len(rest))}); err != nil {
				return err
			}
			i++
		}
		return nil
	}
	return src
}

func onLine(err error, line int, offset int64) error {
	in, ok := err.(*parcels.InputError)
	if !ok {
		return err
	}
	for i := range in.Faults {
		f := &in.Faults[i]
		f.Line = &line
		if f.Offset != nil {
			o := *f.Offset + offset
			f.Offset = &o
		}
		f.Detail = fmt.Sprintf("Line %d of the file: %s", line, f.Detail)
	}
	return in
}
