package overland

// Another engine on real ground: GRASS. It takes some seconds a raster, so these
// run where FALLWRIGHT_GRASS is set (make grass).

import (
	"encoding/binary"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"fallwright/geo/ground"
)

// shared finds a file of the data set laid beside the checkout.
func shared(t testing.TB, sub string) string {
	t.Helper()
	if d := os.Getenv("FALLWRIGHT_SHARED"); d != "" {
		return filepath.Join(d, "data", sub)
	}
	dir, _ := os.Getwd()
	for i := 0; i < 8; i++ {
		for _, p := range []string{"shared/data", "../shared/data"} {
			d := filepath.Join(dir, p, sub)
			if _, err := os.Stat(d); err == nil {
				return d
			}
		}
		dir = filepath.Dir(dir)
	}
	t.Skip("the data set is not beside the checkout (set FALLWRIGHT_SHARED)")
	return ""
}

func run(t testing.TB, name string, args ...string) string {
	t.Helper()
	out, err := exec.Command(name, args...).CombinedOutput()
	if err != nil {
		t.Fatalf("%s %v: %v\n%s", name, args, err, out)
	}
	return string(out)
}

func floats(t testing.TB, path string) []float32 {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	out := make([]float32, len(b)/4)
	for i := range out {
		out[i] = math.Float32frombits(binary.LittleEndian.Uint32(b[4*i:]))
	}
	return out
}

// real reads a raster with GDAL; the cell size is given.
func real(t testing.TB, path string, cell float64) ground.Grid {
	t.Helper()
	dir := t.TempDir()
	bin := filepath.Join(dir, "z.bin")
	run(t, "gdal_translate", "-q", "-of", "ENVI", "-ot", "Float32", path, bin)
	var w, h int
	head, err := os.ReadFile(filepath.Join(dir, "z.hdr"))
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range strings.Split(string(head), "\n") {
		k, v, _ := strings.Cut(l, "=")
		n, _ := strconv.Atoi(strings.TrimSpace(v))
		switch strings.TrimSpace(k) {
		case "samples":
			w = n
		case "lines":
			h = n
		}
	}
	g := ground.Grid{Cols: w, Rows: h, North: float64(h) * cell, CellX: cell, CellY: cell, Z: floats(t, bin)}
	for i, z := range g.Z {
		if z < -500 {
			g.Z[i] = float32(math.NaN())
		}
	}
	return g
}

// grass runs a script in a throwaway location with the raster as dem.
func grass(t testing.TB, raster, script string) string {
	t.Helper()
	if os.Getenv("FALLWRIGHT_GRASS") == "" {
		t.Skip("another engine, slow: set FALLWRIGHT_GRASS (make grass)")
	}
	if _, err := exec.LookPath("grass"); err != nil {
		t.Fatal("grass is not installed (package grass-core)")
	}
	dir := t.TempDir()
	sh := filepath.Join(dir, "run.sh")
	text := "set -e\ncd " + dir + "\nr.in.gdal -o --quiet input=" + raster + " output=dem\ng.region raster=dem\n" + script
	if err := os.WriteFile(sh, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	run(t, "grass", "--tmp-location", "XY", "--exec", "bash", sh)
	return dir
}

// fallOf is GRASS's drainage (1 NE counter-clockwise to 8 E) as ours.
var fallOf = map[int]Direction{1: NorthEast, 2: North, 3: NorthWest, 4: West, 5: SouthWest, 6: South, 7: SouthEast, 8: East}

func TestOracleGRASS(t *testing.T) {
	for _, c := range []struct {
		file  string
		cell  float64
		lower int
	}{{"dem-lidar-1m-mn/dem.tif", 1, 0}, {"alexandria-va-dtm/dtm.tif", 2, 28}, {"dem-bijou-5m/dem.asc", 4.988744589, 0}} {
		path := shared(t, c.file)
		dir := grass(t, path, `
r.watershed -s elevation=dem drainage=dir --quiet
r.fill.dir input=dem output=f direction=d1 --quiet
for i in 1 2 3 4 5 6 7 8 9 10 11 12; do
  r.fill.dir input=f output=f2 direction=d2 --quiet --overwrite
  g.rename raster=f2,f --quiet --overwrite
done
r.mapcalc "dirf = float(dir)" --quiet
r.mapcalc "dir2f = float(d2)" --quiet
r.out.bin -f input=dir2f output=dir2.bin bytes=4 null=-1e9 --quiet
r.out.bin -f input=dirf output=dir.bin bytes=4 null=-1e9 --quiet
r.out.bin -f input=f output=fill.bin bytes=4 null=-1e9 --quiet
`)
		g := real(t, path, c.cell)
		f := flow(t, Input{Ground: g})
		read := func(name string) []float32 { return floats(t, filepath.Join(dir, name)) }
		fill, byWatershed, byFill := read("fill.bin"), read("dir.bin"), read("dir2.bin")

		// Filling: that command does not let water out into missing cells, so where
		// a raster has some ours may lie lower beside them; else bit for bit.
		var n, lower int
		for i := range g.Z {
			if !f.Wet(i) {
				continue
			}
			n++
			switch {
			case f.Filled[i] > fill[i]:
				t.Errorf("%s: cell %d filled to %v, GRASS %v", c.file, i, f.Filled[i], fill[i])
			case f.Filled[i] < fill[i]:
				lower++
			}
		}
		if lower > c.lower {
			t.Errorf("%s: %d cells filled less than by GRASS, %d are explained by missing cells", c.file, lower, c.lower)
		}
		// Directions: the same, or one of the reasons.
		compare := func(engine string, theirs func(i int) (Direction, bool), most int) {
			var same, level, tie, edge, pond, less, more int
			for i := range g.Z {
				if !f.Wet(i) {
					continue
				}
				d, ok := theirs(i)
				j, in := f.neighbour(i%g.Cols, i/g.Cols, int(d)%8)
				in = in && f.Wet(j)
				slack := 2 * grassStep / f.steps[int(d)%8]
				switch {
				case !ok || f.Dir[i] > NorthEast || !in:
					edge++ // one of the two leaves the raster here
				case d == f.Dir[i]:
					same++
				case f.Filled[i] > g.Z[i] || f.levelAround(i):
					level++ // a flat or a pond: both drain it, by other ways
				case math.Abs(f.fallTo(i, d)-f.fallTo(i, f.Dir[i])) <= slack:
					tie++
				case f.rawFall(i, d) >= f.rawFall(i, f.Dir[i])-slack:
					pond++ // beside a pond: steeper on the ground under the water
				case f.fallTo(i, d) < f.fallTo(i, f.Dir[i]):
					less++ // theirs is not the steepest
				default:
					more++
				}
			}
			t.Logf("%s, %s: of %d cells the same %d, flat or pond %d, tie %d, edge %d, beside a pond %d, theirs less steep %d, theirs steeper %d",
				c.file, engine, n, same, level, tie, edge, pond, less, more)
			if more > 0 || less > most {
				t.Errorf("%s, %s: directions without a reason", c.file, engine)
			}
		}
		// r.watershed searches ways of least cost: in up to one cell in a hundred it
		// keeps the way by which it came first, though another is steeper.
		compare("r.watershed", func(i int) (Direction, bool) {
			d, ok := fallOf[int(math.Abs(float64(byWatershed[i])))]
			return d, ok
		}, n/50)
		// r.fill.dir takes the steepest, in single precision.
		compare("r.fill.dir", func(i int) (Direction, bool) {
			d, ok := fallOf[int(byFill[i])/45]
			return d, ok
		}, n/1000)
	}
}

// levelAround tells whether a cell has no lower neighbour on the filled ground.
func (f *Field) levelAround(i int) bool { return f.steepest(i%f.Grid.Cols, i/f.Grid.Cols) == flat }

// fallTo is the slope on the filled ground to the neighbour in a direction.
func (f *Field) fallTo(i int, d Direction) float64 {
	j, ok := f.neighbour(i%f.Grid.Cols, i/f.Grid.Cols, int(d))
	if !ok {
		return math.Inf(-1)
	}
	return float64(f.Filled[i]-f.Filled[j]) / f.steps[d]
}

// grassStep is what that command rounds elevations to: it works in whole
// numbers of a tenth of a millimetre.
const grassStep = 1e-4

// rawFall is the slope on the ground as it lies.
func (f *Field) rawFall(i int, d Direction) float64 {
	j, ok := f.neighbour(i%f.Grid.Cols, i/f.Grid.Cols, int(d))
	if !ok {
		return math.Inf(-1)
	}
	return float64(f.Grid.Z[i]-f.Grid.Z[j]) / f.steps[d]
}
