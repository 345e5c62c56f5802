package raster

// Files that lie, are cut or swell: each refused with its place, quickly and
// without memory.

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"math/rand"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"fallwright/geo/unit"
)

// shared finds a folder of the data set laid beside the checkout.
func shared(t testing.TB, sub string) string {
	t.Helper()
	if d := os.Getenv("FALLWRIGHT_SHARED"); d != "" {
		return filepath.Join(d, "data", sub)
	}
	dir, _ := os.Getwd()
	for i := 0; i < 8; i++ {
		for _, p := range []string{"shared/data", "../shared/data"} {
			if d := filepath.Join(dir, p, sub); exists(d) {
				return d
			}
		}
		dir = filepath.Dir(dir)
	}
	t.Skip("the data set is not beside the checkout (set FALLWRIGHT_SHARED)")
	return ""
}

func exists(p string) bool { _, err := os.Stat(p); return err == nil }

type tag struct {
	id, kind int
	values   []uint32
}

// tiffOf writes a little-endian TIFF of one directory: data from byte 8 on.
func tiffOf(data []byte, next uint32, tags ...tag) []byte {
	b := append([]byte("II*\x00\x00\x00\x00\x00"), data...)
	for len(b)%2 != 0 {
		b = append(b, 0)
	}
	var dir []byte
	put := func(v uint32, n int) {
		var w [4]byte
		binary.LittleEndian.PutUint32(w[:], v)
		dir = append(dir, w[:n]...)
	}
	put(uint32(len(tags)), 2)
	for _, t := range tags {
		put(uint32(t.id), 2)
		put(uint32(t.kind), 2)
		put(uint32(len(t.values)), 4)
		size := map[int]int{3: 2, 4: 4}[t.kind]
		var v []byte
		for _, x := range t.values {
			var w [4]byte
			binary.LittleEndian.PutUint32(w[:], x)
			v = append(v, w[:size]...)
		}
		if len(v) > 4 {
			put(uint32(len(b)), 4)
			b = append(b, v...)
			if len(b)%2 != 0 {
				b = append(b, 0)
			}
			continue
		}
		dir = append(dir, append(v, 0, 0, 0, 0)[:4]...)
	}
	if next == 1 { // a loop: back to this directory
		next = uint32(len(b))
	}
	put(next, 4)
	binary.LittleEndian.PutUint32(b[4:], uint32(len(b)))
	return append(b, dir...)
}

// plain are the tags of a 4 by 3 raster of float32 in one strip at byte 8.
func plain(change ...tag) []tag {
	t := []tag{{256, 4, []uint32{4}}, {257, 4, []uint32{3}}, {258, 3, []uint32{32}}, {259, 3, []uint32{1}}, {262, 3, []uint32{1}},
		{273, 4, []uint32{8}}, {277, 3, []uint32{1}}, {278, 4, []uint32{3}}, {279, 4, []uint32{48}}, {339, 3, []uint32{3}}}
	for _, c := range change {
		for i := range t {
			if t[i].id == c.id {
				t[i] = c
				c.id = 0
				break
			}
		}
		if c.id != 0 {
			t = append(t, c)
		}
	}
	return t
}

func TestHandHostileTIFF(t *testing.T) {
	cells := make([]byte, 48)
	deflated := func(n int) []byte {
		var b bytes.Buffer
		w := zlib.NewWriter(&b)
		w.Write(make([]byte, n))
		w.Close()
		return b.Bytes()
	}
	bomb := deflated(50 << 20)
	for name, c := range map[string]struct {
		file []byte
		slug string
		says string
	}{
		"width lies":          {tiffOf(cells, 0, plain(tag{256, 4, []uint32{4000}})...), "raster-corrupt", "StripByteCounts"},
		"both lie":            {tiffOf(cells, 0, plain(tag{256, 4, []uint32{0x7fffffff}}, tag{257, 4, []uint32{0x7fffffff}}, tag{278, 4, []uint32{0x7fffffff}})...), "raster-corrupt", "StripByteCounts"},
		"no width":            {tiffOf(cells, 0, plain(tag{256, 4, []uint32{0}})...), "raster-corrupt", "ImageWidth"},
		"offset outside":      {tiffOf(cells, 0, plain(tag{273, 4, []uint32{1 << 30}})...), "raster-corrupt", "StripOffsets"},
		"count outside":       {tiffOf(cells, 0, plain(tag{279, 4, []uint32{1 << 30}})...), "raster-corrupt", "StripOffsets"},
		"two strips, one":     {tiffOf(cells, 0, plain(tag{278, 4, []uint32{2}})...), "raster-corrupt", "StripOffsets"},
		"no rows in a strip":  {tiffOf(cells, 0, plain(tag{278, 4, []uint32{0}})...), "raster-corrupt", "RowsPerStrip"},
		"loop":                {tiffOf(cells, 1, plain()...), "raster-corrupt", ""},
		"next outside":        {tiffOf(cells, 0x7fffffff, plain()...), "raster-corrupt", ""},
		"unknown compression": {tiffOf(cells, 0, plain(tag{259, 3, []uint32{34887}})...), "raster-corrupt", "Compression"},
		"tag twice":           {tiffOf(cells, 0, append(plain(), tag{256, 4, []uint32{4}})...), "raster-corrupt", "ImageWidth"},
		"values outside":      {tiffOf(cells, 0, plain(tag{273, 4, make([]uint32, 3)}, tag{279, 4, make([]uint32, 2)})...), "raster-corrupt", "StripOffsets"},
		"three bands":         {tiffOf(cells, 0, plain(tag{277, 3, []uint32{3}})...), "raster-unsupported", "SamplesPerPixel"},
		"12 bits":             {tiffOf(cells, 0, plain(tag{258, 3, []uint32{12}}, tag{339, 3, []uint32{1}})...), "raster-unsupported", "BitsPerSample"},
		"complex":             {tiffOf(cells, 0, plain(tag{339, 3, []uint32{6}})...), "raster-unsupported", "SampleFormat"},
		"predictor 9":         {tiffOf(cells, 0, plain(tag{317, 3, []uint32{9}})...), "raster-corrupt", "Predictor"},
		"nowhere":             {tiffOf(cells, 0, plain()...), "raster-unsupported", "ModelTiepointTag"},
		"great strip": {tiffOf(bomb, 0, plain(tag{256, 4, []uint32{20000}}, tag{257, 4, []uint32{20000}}, tag{278, 4, []uint32{20000}}, tag{259, 3, []uint32{8}},
			tag{279, 4, []uint32{uint32(len(bomb))}})...), "raster-too-large", "StripOffsets"},
		"version": {append([]byte("II\x2b\x01\x00\x00\x00\x00"), cells...), "raster-corrupt", ""},
		"empty":   {nil, "raster-corrupt", ""},
		"stub":    {[]byte("II*\x00\x08\x00\x00\x00"), "raster-corrupt", ""},
	} {
		_, err := Open(bytes.NewReader(c.file), int64(len(c.file)), "h.tif", Options{CRS: "EPSG:26915", ElevationUnit: unit.Metre})
		f := wantSlug(t, name, err, c.slug)
		if c.says != "" && f.Tag != c.says {
			t.Errorf("%s: tag %q, want %q (%s)", name, f.Tag, c.says, f.Detail)
		}
	}
}

// Blocks whose bytes do not decode to their size are refused when read.
func TestHandBadBlocks(t *testing.T) {
	src, err := os.ReadFile("testdata/lidar-1m.tif")
	if err != nil {
		t.Fatal(err)
	}
	f := open(t, "testdata/lidar-1m.tif", metres)
	b := f.cells.(*blocks)
	hurt := bytes.Clone(src)
	for i := int64(0); i < 20; i++ {
		hurt[b.offsets[1]+b.counts[1]/2+i] ^= 0x5a
	}
	g, err := Open(bytes.NewReader(hurt), int64(len(hurt)), "hurt.tif", metres)
	if err != nil {
		t.Fatal(err)
	}
	z := make([]float32, 96*80)
	if f := wantSlug(t, "hurt block", g.Read(0, 0, 96, 80, z), "raster-corrupt"); f.Offset == nil || *f.Offset != b.offsets[1] {
		t.Errorf("hurt block at %v, told %v", b.offsets[1], f.Offset)
	}
	if err := g.Read(0, 0, 60, 40, z); err != nil {
		t.Errorf("a whole block beside a hurt one: %v", err)
	}
	for _, raw := range [][]byte{nil, {0xff}, {0x80, 0x00}, bytes.Repeat([]byte{0xff}, 50), {0x80, 0x40, 0xff, 0xff}} {
		if out, err := unLZW(raw, 100); err == nil && len(out) == 100 {
			t.Errorf("LZW % x gave 100 bytes", raw)
		}
	}
}

// Any damage of a good file ends in an answer or an error, never in a panic or
// a great allocation.
func FuzzOpen(f *testing.F) {
	for _, p := range []string{"testdata/lidar-1m.tif", "testdata/city-2m.tif", "testdata/bijou-5m.asc"} {
		b, err := os.ReadFile(p)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b)
	}
	f.Fuzz(func(t *testing.T, b []byte) { tryOpen(b) })
}

func tryOpen(b []byte) {
	g, err := Open(bytes.NewReader(b), int64(len(b)), "f", Options{CRS: "EPSG:26915", ElevationUnit: unit.Metre, MaxCells: 1e6})
	if err != nil {
		return
	}
	z := make([]float32, g.Cols)
	for r := 0; r < g.Rows; r++ {
		if g.Read(0, r, g.Cols, 1, z) != nil {
			return
		}
	}
}

func TestPropertyDamage(t *testing.T) {
	r := rand.New(rand.NewSource(9))
	for _, p := range []string{"testdata/lidar-1m.tif", "testdata/city-2m.tif", "testdata/bijou-5m.asc"} {
		src, err := os.ReadFile(p)
		if err != nil {
			t.Fatal(err)
		}
		for i := 0; i < 300; i++ {
			b := bytes.Clone(src)
			for k := 0; k < 1+r.Intn(4); k++ {
				at := r.Intn(len(b))
				if i%2 == 0 { // most tags lie at one end of the file
					at = r.Intn(min(len(b), 600))
					if i%4 == 0 {
						at = len(b) - 1 - at
					}
				}
				b[at] = byte(r.Intn(256))
			}
			if i%10 == 0 {
				b = b[:r.Intn(len(b))]
			}
			tryOpen(b)
		}
	}
}

// The files of the hostile set: within their time, without growing.
func TestPublishedHostileSet(t *testing.T) {
	dir := shared(t, "hostile")
	for name, want := range map[string][]string{
		"40-dem-deflate-bomb.tif": {"raster-too-large"},
		"41-dem-size-lies.tif":    {"raster-too-large", "raster-corrupt"},
	} {
		b, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		for _, most := range []int64{0, 100e6} {
			var m0, m1 runtime.MemStats
			runtime.ReadMemStats(&m0)
			_, err = Open(bytes.NewReader(b), int64(len(b)), name, Options{MaxCells: most})
			runtime.ReadMemStats(&m1)
			f, ok := slugOf(err)
			if !ok || !strings.Contains(strings.Join(want, " "), f.Slug) || len(f.Size) != 2 || f.Limit == nil {
				t.Errorf("%s, limit %d: %v %+v", name, most, err, f)
			}
			if grown := m1.TotalAlloc - m0.TotalAlloc; grown > 1<<20 {
				t.Errorf("%s: %d bytes were taken to refuse it", name, grown)
			}
		}
	}
}

// The whole public rasters, cell for cell against GDAL.
func TestOracleGDALWholeSets(t *testing.T) {
	equalToGDAL(t, shared(t, "dem-lidar-1m-mn/dem.tif"), metres)
	equalToGDAL(t, shared(t, "alexandria-va-dtm/dtm.tif"), metres)
	equalToGDAL(t, shared(t, "alexandria-va-dtm/dsm.tif"), metres)
	equalToGDAL(t, shared(t, "dem-bijou-5m/dem.asc"), Options{CRS: "EPSG:26913", ElevationUnit: unit.Metre})
	_, err := openErr(shared(t, "dem-srtm-geographic/dem.asc"), metres)
	wantSlug(t, "degrees", err, "crs-units-mismatch")
}
