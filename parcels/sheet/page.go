package sheet

// A page of marks, and the two writers.

import (
	"bytes"
	"encoding/base64"
	"encoding/xml"
	"fmt"
	"math"
	"strings"
	"sync"
	"time"

	"codeberg.org/go-fonts/dejavu/dejavusanscondensed"
	"codeberg.org/go-fonts/dejavu/dejavusanscondensedbold"
	"codeberg.org/go-pdf/fpdf"
)

// xy is a place on a page, in points from the upper left corner.
type xy struct{ x, y float64 }

type ink struct{ r, g, b int }

var (
	black = ink{0, 0, 0}
	navy  = ink{16, 28, 66}
	grey  = ink{110, 110, 110}
	pale  = ink{170, 170, 170}
	mist  = ink{232, 232, 232}
	white = ink{255, 255, 255}
	earth = ink{150, 120, 90} // contours
)

// mark is one thing drawn: a path, a text, or a change of clip.
type mark struct {
	path   []xy
	closed bool
	fill   *ink
	stroke *ink
	width  float64
	dash   []float64

	text  string
	at    xy
	size  float64
	bold  bool
	angle float64 // counter-clockwise, degrees
	ink   ink

	clip *[4]float64 // x, y, w, h; nil with end: the clip ends
	end  bool
}

// page is one sheet of paper.
type page struct {
	w, h  float64
	marks []mark
}

func (p *page) line(w float64, c ink, dash []float64, pts ...xy) {
	p.marks = append(p.marks, mark{path: pts, stroke: &c, width: w, dash: dash})
}

func (p *page) area(fill, stroke *ink, w float64, pts ...xy) {
	p.marks = append(p.marks, mark{path: pts, closed: true, fill: fill, stroke: stroke, width: w})
}

func (p *page) box(x, y, w, h float64, fill, stroke *ink, lw float64) {
	p.area(fill, stroke, lw, xy{x, y}, xy{x + w, y}, xy{x + w, y + h}, xy{x, y + h})
}

func (p *page) circle(c xy, r float64, fill, stroke *ink, w float64) {
	var pts []xy
	n := 24
	if r > 12 {
		n = 72
	}
	for i := 0; i < n; i++ {
		s, co := math.Sincos(float64(i) * 2 * math.Pi / float64(n))
		pts = append(pts, xy{c.x + r*co, c.y + r*s})
	}
	p.area(fill, stroke, w, pts...)
}

// words puts text with its baseline's left end at at.
func (p *page) words(at xy, size float64, bold bool, c ink, s string) {
	if s != "" {
		p.marks = append(p.marks, mark{text: s, at: at, size: size, bold: bold, ink: c})
	}
}

func (p *page) turned(at xy, size, angle float64, c ink, s string) {
	p.marks = append(p.marks, mark{text: s, at: at, size: size, angle: angle, ink: c})
}

func (p *page) clip(x, y, w, h float64) {
	p.marks = append(p.marks, mark{clip: &[4]float64{x, y, w, h}})
}
func (p *page) unclip() { p.marks = append(p.marks, mark{end: true}) }

// ruler measures text in the embedded font: advances by character, at 1000 points.
type ruler struct {
	mu       sync.Mutex
	f        *fpdf.Fpdf
	advances [2]map[rune]float64
}

var measuring = sync.OnceValue(func() *ruler {
	f := fpdf.NewCustom(&fpdf.InitType{UnitStr: "pt", Size: fpdf.SizeType{Wd: 612, Ht: 792}})
	fonts(f)
	return &ruler{f: f, advances: [2]map[rune]float64{{}, {}}}
})

func fonts(f *fpdf.Fpdf) {
	f.AddUTF8FontFromBytes("sheet", "", dejavusanscondensed.TTF)
	f.AddUTF8FontFromBytes("sheet", "B", dejavusanscondensedbold.TTF)
}

// width of a text in points.
func width(s string, size float64, bold bool) float64 {
	r := measuring()
	r.mu.Lock()
	defer r.mu.Unlock()
	style, k := "", 0
	if bold {
		style, k = "B", 1
	}
	sum := 0.0
	for _, c := range plain(s) {
		a, ok := r.advances[k][c]
		if !ok {
			r.f.SetFont("sheet", style, 1000)
			a = r.f.GetStringWidth(string(c))
			r.advances[k][c] = a
		}
		sum += a
	}
	return sum * size / 1000
}

// plain drops what the font's plane or a PDF cannot hold, and text direction marks.
func plain(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n' || r == '\t' || r == '\r':
			return ' '
		case r < 0x20 || r == 0x7f || r >= 0x80 && r < 0xa0 || r >= 0x200b && r <= 0x200f || r >= 0x202a && r <= 0x202e || r >= 0x2066 && r <= 0x2069:
			return -1
		case r > 0xffff:
			return '\ufffd'
		}
		return r
	}, s)
}

// wrap breaks text into lines no wider than w; a word that is wider is cut.
func wrap(s string, w, size float64, bold bool) []string {
	var out []string
	line := ""
	for _, word := range strings.Fields(plain(s)) {
		if width(word, size, bold) > w {
			if line != "" {
				out = append(out, line)
				line = ""
			}
			part, sum := "", 0.0
			for _, c := range word {
				a := width(string(c), size, bold)
				if sum+a > w && part != "" {
					out = append(out, part)
					part, sum = "", 0
				}
				part, sum = part+string(c), sum+a
			}
			word = part
		}
		next := word
		if line != "" {
			next = line + " " + word
		}
		if width(next, size, bold) > w && line != "" {
			out = append(out, line)
			next = word
		}
		line = next
	}
	if line != "" {
		out = append(out, line)
	}
	return out
}

// writePDF writes pages as a PDF with the font embedded. The date in it is fixed.
func writePDF(title string, pages []*page) ([]byte, error) {
	f := fpdf.NewCustom(&fpdf.InitType{UnitStr: "pt", Size: fpdf.SizeType{Wd: pages[0].w, Ht: pages[0].h}})
	f.SetCatalogSort(true)
	fixed := time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)
	f.SetCreationDate(fixed)
	f.SetModificationDate(fixed)
	f.SetTitle(plain(title), true)
	f.SetCreator("fallwright", true)
	f.SetAutoPageBreak(false, 0)
	f.SetMargins(0, 0, 0)
	fonts(f)
	for _, p := range pages {
		f.AddPageFormat("P", fpdf.SizeType{Wd: p.w, Ht: p.h})
		for _, m := range p.marks {
			switch {
			case m.clip != nil:
				f.ClipRect(m.clip[0], m.clip[1], m.clip[2], m.clip[3], false)
			case m.end:
				f.ClipEnd()
			case m.text != "":
				style := ""
				if m.bold {
					style = "B"
				}
				f.SetFont("sheet", style, m.size)
				f.SetTextColor(m.ink.r, m.ink.g, m.ink.b)
				if m.angle != 0 {
					f.TransformBegin()
					f.TransformRotate(m.angle, m.at.x, m.at.y)
				}
				f.Text(m.at.x, m.at.y, plain(m.text))
				if m.angle != 0 {
					f.TransformEnd()
				}
			case len(m.path) > 0:
				style := ""
				if m.fill != nil {
					f.SetFillColor(m.fill.r, m.fill.g, m.fill.b)
					style = "F"
				}
				if m.stroke != nil {
					f.SetDrawColor(m.stroke.r, m.stroke.g, m.stroke.b)
					f.SetLineWidth(m.width)
					f.SetDashPattern(m.dash, 0)
					style = "D" + style
				}
				f.MoveTo(m.path[0].x, m.path[0].y)
				for _, q := range m.path[1:] {
					f.LineTo(q.x, q.y)
				}
				if m.closed {
					f.ClosePath()
				}
				f.DrawPath(style)
			}
		}
	}
	var b bytes.Buffer
	if err := f.Output(&b); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}

// writeSVG writes one page, sized in inches so that it prints true to scale, with
// the part of the font that it uses.
func writeSVG(title string, p *page) ([]byte, error) {
	var b bytes.Buffer
	esc := func(s string) string {
		var e bytes.Buffer
		_ = xml.EscapeText(&e, []byte(plain(s)))
		return e.String()
	}
	rgb := func(c *ink) string {
		if c == nil {
			return "none"
		}
		return fmt.Sprintf("#%02x%02x%02x", c.r, c.g, c.b)
	}
	fmt.Fprintf(&b, "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"%.4gin\" height=\"%.4gin\" viewBox=\"0 0 %.3f %.3f\">\n<title>%s</title>\n", p.w/72, p.h/72, p.w, p.h, esc(title))
	var used [2][]rune
	for _, m := range p.marks {
		k := 0
		if m.bold {
			k = 1
		}
		used[k] = append(used[k], []rune(plain(m.text))...)
	}
	b.WriteString("<style>")
	for k, ttf := range [2][]byte{dejavusanscondensed.TTF, dejavusanscondensedbold.TTF} {
		part, err := subset(ttf, used[k])
		if err != nil {
			return nil, err
		}
		fmt.Fprintf(&b, "@font-face{font-family:sheet;font-weight:%s;src:url(data:font/ttf;base64,%s)}", [2]string{"normal", "bold"}[k], base64.StdEncoding.EncodeToString(part))
	}
	b.WriteString("text{font-family:sheet,'DejaVu Sans Condensed',sans-serif;white-space:pre;text-rendering:geometricPrecision}</style>\n")
	fmt.Fprintf(&b, "<rect width=\"%.3f\" height=\"%.3f\" fill=\"#ffffff\"/>\n", p.w, p.h)
	clips := 0
	for _, m := range p.marks {
		switch {
		case m.clip != nil:
			clips++
			fmt.Fprintf(&b, "<clipPath id=\"c%d\"><rect x=\"%.3f\" y=\"%.3f\" width=\"%.3f\" height=\"%.3f\"/></clipPath>\n<g clip-path=\"url(#c%d)\">\n", clips, m.clip[0], m.clip[1], m.clip[2], m.clip[3], clips)
		case m.end:
			b.WriteString("</g>\n")
		case m.text != "":
			weight, turn := "", ""
			if m.bold {
				weight = " font-weight=\"bold\""
			}
			if m.angle != 0 {
				turn = fmt.Sprintf(" transform=\"rotate(%.3f %.3f %.3f)\"", -m.angle, m.at.x, m.at.y)
			}
			fmt.Fprintf(&b, "<text x=\"%.3f\" y=\"%.3f\" font-size=\"%g\" fill=\"%s\"%s%s>%s</text>\n", m.at.x, m.at.y, m.size, rgb(&m.ink), weight, turn, esc(m.text))
		case len(m.path) > 0:
			fmt.Fprintf(&b, "<path d=\"M")
			for i, q := range m.path {
				if i > 0 {
					b.WriteString("L")
				}
				fmt.Fprintf(&b, "%.3f %.3f", q.x, q.y)
			}
			if m.closed {
				b.WriteString("Z")
			}
			fmt.Fprintf(&b, "\" fill=\"%s\" stroke=\"%s\"", rgb(m.fill), rgb(m.stroke))
			if m.stroke != nil {
				fmt.Fprintf(&b, " stroke-width=\"%g\"", m.width)
			}
			if len(m.dash) > 0 {
				fmt.Fprintf(&b, " stroke-dasharray=\"%s\"", strings.Trim(strings.ReplaceAll(fmt.Sprint(m.dash), " ", ","), "[]"))
			}
			b.WriteString("/>\n")
		}
	}
	b.WriteString("</svg>\n")
	return b.Bytes(), nil
}
