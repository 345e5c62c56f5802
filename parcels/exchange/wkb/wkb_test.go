package wkb

import (
	"encoding/hex"
	"errors"
	"strings"
	"testing"
)

// The examples of PostGIS's manual for ST_AsBinary and ST_AsEWKB, and ISO forms
// worked by hand: order, type (1000 more with Z), then doubles.
func TestHandBinary(t *testing.T) {
	for _, c := range []struct{ text, hex string }{
		{`{"type":"Point","coordinates":[1,2]}`, "0101000000000000000000f03f0000000000000040"},
		{`{"type":"Point","coordinates":[1,2,3]}`, "01e9030000000000000000f03f00000000000000400000000000000840"},
		{`{"type":"LineString","coordinates":[[0,0],[1,2]]}`, "010200000002000000" + "00000000000000000000000000000000" + "000000000000f03f0000000000000040"},
	} {
		got, _, _, err := FromGeoJSON(nil, []byte(c.text))
		if err != nil || hex.EncodeToString(got) != c.hex {
			t.Errorf("%s: %x %v", c.text, got, err)
		}
		back, _, err := ToGeoJSON(nil, got)
		if err != nil || string(back) != c.text {
			t.Errorf("%s: back %s %v", c.text, back, err)
		}
	}
	for _, h := range []string{
		"00000000013ff00000000000004000000000000000",                 // big-endian
		"0101000020e6100000000000000000f03f0000000000000040",         // extended, with a system
		"01d1070000000000000000f03f00000000000000400000000000001440", // ISO with M: 2001
		"0101000040000000000000f03f00000000000000400000000000001440", // extended with M
	} {
		b, err := hex.DecodeString(h)
		if err != nil {
			t.Fatal(err)
		}
		got, d, err := ToGeoJSON(nil, b)
		if err != nil || string(got) != `{"type":"Point","coordinates":[1,2]}` || d.Vertices != 1 {
			t.Errorf("%s: %s %v", h, got, err)
		}
	}
}

func TestPropertyThereAndBack(t *testing.T) {
	for _, text := range []string{
		`{"type":"Polygon","coordinates":[[[0.1,-1e-12],[1.0000000000000002,0],[1e20,123456789.123456789],[0.1,-1e-12]],[[0,0],[1,1],[2,2],[0,0]]]}`,
		`{"type":"MultiPolygon","coordinates":[[[[0,0,1],[1,0,2],[1,1,3],[0,0,1]]],[[[5,5,1],[6,5,2],[6,6,3],[5,5,1]]]]}`,
		`{"type":"MultiPoint","coordinates":[[0,0],[1,2]]}`,
		`{"type":"MultiLineString","coordinates":[[[0,0],[1,2]],[[3,4],[5,6],[7,8]]]}`,
	} {
		a, box, _, err := FromGeoJSON(nil, []byte(text))
		if err != nil {
			t.Fatalf("%s: %v", text, err)
		}
		back, d, err := ToGeoJSON(nil, a)
		if err != nil {
			t.Fatalf("%s: %v", text, err)
		}
		b, _, _, err := FromGeoJSON(nil, back)
		if err != nil || string(a) != string(b) || d.Box != box || !strings.HasPrefix(text, `{"type":"`+d.Kind) || KindOf(a) != d.Kind {
			t.Errorf("%s: back %s %v", text, back, err)
		}
		blob := AppendHeader(nil, 2274, box)
		if len(blob) != HeaderSize {
			t.Errorf("header of %d bytes", len(blob))
		}
		h, rest, err := SplitHeader(append(blob, a...))
		if err != nil || h.SRS != 2274 || h.Box != box || string(rest) != string(a) {
			t.Errorf("header %+v %v", h, err)
		}
	}
}

func TestHostile(t *testing.T) {
	deep := func(n int) string {
		return strings.Repeat("010700000001000000", n) + "0101000000000000000000f03f0000000000000040"
	}
	for _, c := range []struct{ name, hex, slug string }{
		{"nothing", "", "geometry-corrupt"},
		{"cut", "010100000000000000", "geometry-corrupt"},
		{"order", "0301000000000000000000f03f0000000000000040", "geometry-corrupt"},
		{"type", "0163000000000000000000f03f0000000000000040", "geometry-corrupt"},
		{"count beyond the bytes", "0102000000ffffffff", "geometry-corrupt"},
		{"ring count", "0103000000ffffff7f", "geometry-corrupt"},
		{"a line in a MultiPolygon", "010600000001000000010200000001000000000000000000f03f000000000000f03f", "geometry-corrupt"},
		{"NaN", "0102000000010000000000000000f87f0000000000000040"[:18] + "000000000000f87f0000000000000040", "coordinate-not-finite"},
		{"Inf", "0101000000000000000000f07f0000000000000040", "coordinate-not-finite"},
		{"empty point", "0101000000000000000000f87f000000000000f87f", "geometry-empty"},
		{"empty polygon", "010300000000000000", "geometry-empty"},
		{"bytes after", "0101000000000000000000f03f000000000000004000", "geometry-corrupt"},
		{"nested 9", deep(9), "geometry-too-deep"},
		{"nested 60000", deep(60000), "geometry-too-deep"},
	} {
		b, err := hex.DecodeString(c.hex)
		if err != nil {
			t.Fatal(c.name, err)
		}
		_, _, err = ToGeoJSON(nil, b)
		var e *Error
		if !errors.As(err, &e) || e.Slug != c.slug {
			t.Errorf("%s: %v, want %s", c.name, err, c.slug)
		}
	}
	if b, _ := hex.DecodeString(deep(8)); true {
		if _, _, err := ToGeoJSON(nil, b); err != nil {
			t.Errorf("nested 8: %v", err)
		}
	}
	for _, b := range []string{"", "GP", "GP\x00\x01abc", "GP\x01\x01\x00\x00\x00\x00", "GP\x00\x03\x00\x00\x00\x00", "GP\x00\x0f\x00\x00\x00\x00", "XX\x00\x01\x00\x00\x00\x00"} {
		if _, _, err := SplitHeader([]byte(b)); err == nil {
			t.Errorf("%q was taken", b)
		}
	}
}

func FuzzToGeoJSON(f *testing.F) {
	for _, text := range []string{`{"type":"Point","coordinates":[1,2]}`, `{"type":"MultiPolygon","coordinates":[[[[0,0,1],[1,0,2],[1,1,3],[0,0,1]]]]}`} {
		b, _, _, _ := FromGeoJSON(nil, []byte(text))
		f.Add(b)
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		text, d, err := ToGeoJSON(nil, b)
		if err != nil || d.Kind == "GeometryCollection" {
			return
		}
		if _, _, _, err := FromGeoJSON(nil, text); err != nil {
			t.Errorf("%x: %s: %v", b, text, err)
		}
	})
}
