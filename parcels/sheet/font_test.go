package sheet

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"codeberg.org/go-fonts/dejavu/dejavusanscondensed"
	"codeberg.org/go-pdf/fpdf"
)

// The part of the font is read by the reader of the PDF library, with the advances of
// the whole, and by FreeType; an accented letter, which is made of two glyphs, comes
// with both.
func TestOracleSubset(t *testing.T) {
	text := "Lot B4, inv 543.02 ft² – é Å ☐ • %"
	part, err := subset(dejavusanscondensed.TTF, []rune(text))
	if err != nil {
		t.Fatal(err)
	}
	if len(part) > 40<<10 {
		t.Errorf("%d bytes of %d for %d characters", len(part), len(dejavusanscondensed.TTF), len(text))
	}
	width := func(ttf []byte) (out []float64) {
		f := fpdf.NewCustom(&fpdf.InitType{UnitStr: "pt", Size: fpdf.SizeType{Wd: 612, Ht: 792}})
		f.AddUTF8FontFromBytes("x", "", ttf)
		f.SetFont("x", "", 1000)
		if f.Err() {
			t.Fatal(f.Error())
		}
		for _, r := range text {
			out = append(out, f.GetStringWidth(string(r)))
		}
		return out
	}
	whole, got := width(dejavusanscondensed.TTF), width(part)
	for i := range whole {
		if whole[i] != got[i] || got[i] == 0 {
			t.Errorf("character %d: advance %v, in the whole font %v", i, got[i], whole[i])
		}
	}
	if _, err := subset([]byte("OTTO"), nil); err == nil {
		t.Error("what is no TrueType font is taken")
	}
	if _, err := exec.LookPath("fc-scan"); err != nil {
		t.Skip("fc-scan is not installed")
	}
	file := filepath.Join(t.TempDir(), "x.ttf")
	if err := os.WriteFile(file, part, 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command("fc-scan", "--format", "%{family} %{charset}", file).CombinedOutput()
	// é is e9, the box 2610
	if err != nil || !strings.Contains(string(out), "DejaVu Sans") || !strings.Contains(string(out), "e9") || !strings.Contains(string(out), "2610") {
		t.Errorf("FreeType says %q, %v", out, err)
	}
}
