package sheet

// Running text and tables over as many pages as they need.

import (
	"fmt"
	"strings"
)

const margin = 46.0

// flow sets text from the top of a page down and turns the page at its foot.
type flow struct {
	w, h      float64
	pages     []*page
	y         float64
	head      string // running title
	foot      string
	drawn     map[*page]bool // drawn sheets, with a title block of their own
	cautioned bool           // the cautions stand
	left      float64
	column    float64 // width of the text
}

func newFlow(w, h float64, head, foot string) *flow {
	f := &flow{w: w, h: h, head: head, foot: foot, left: margin, column: w - 2*margin}
	f.turn()
	return f
}

func (f *flow) page() *page { return f.pages[len(f.pages)-1] }

func (f *flow) turn() {
	p := &page{w: f.w, h: f.h}
	f.pages = append(f.pages, p)
	p.words(xy{f.left, 30}, 7.5, false, grey, f.head)
	p.line(0.5, pale, nil, xy{f.left, 35}, xy{f.w - margin, 35})
	f.y = 50
}

// insert puts drawn sheets, with a title block of their own, behind what stands.
func (f *flow) insert(pages ...*page) {
	if f.drawn == nil {
		f.drawn = map[*page]bool{}
	}
	for _, p := range pages {
		f.pages = append(f.pages, p)
		f.drawn[p] = true
	}
}

// need turns the page unless h points are left on it.
func (f *flow) need(h float64) {
	if f.y+h > f.h-margin {
		f.turn()
	}
}

// number puts the page numbers in, once all pages stand.
func (f *flow) number() []*page {
	for i, p := range f.pages {
		if f.drawn[p] {
			continue
		}
		p.line(0.5, pale, nil, xy{f.left, f.h - 34}, xy{f.w - margin, f.h - 34})
		n := fmt.Sprintf("page %d of %d", i+1, len(f.pages))
		p.words(xy{f.w - margin - width(n, 7.5, false), f.h - 24}, 7.5, false, grey, n)
		for j, l := range wrap(f.foot, f.column-80, 7, false) {
			p.words(xy{f.left, f.h - 24 + 8*float64(j)}, 7, false, grey, l)
		}
	}
	return f.pages
}

func (f *flow) title(s string) {
	for _, l := range wrap(s, f.column, 17, true) {
		f.need(24)
		f.y += 18
		f.page().words(xy{f.left, f.y}, 17, true, black, l)
	}
	f.y += 8
}

func (f *flow) heading(s string) {
	f.need(100) // it does not stand alone at the foot
	f.y += 18
	f.page().words(xy{f.left, f.y}, 11, true, black, s)
	f.page().line(0.8, black, nil, xy{f.left, f.y + 3.5}, xy{f.left + f.column, f.y + 3.5})
	f.y += 8
}

func (f *flow) para(s string) { f.set("", s, 9) }

func (f *flow) item(s string) { f.set("•", s, 9) }

// tick is a line with a box to be ticked.
func (f *flow) tick(s string) { f.set("☐", s, 9) }

func (f *flow) set(lead, s string, size float64) {
	indent := 0.0
	if lead != "" {
		indent = 14
	}
	lines := wrap(s, f.column-indent, size, false)
	if len(lines) <= 6 { // a short one is not parted
		f.need(float64(len(lines)) * size * 1.35)
	}
	for i, l := range lines {
		f.need(size * 1.35)
		f.y += size * 1.35
		if i == 0 && lead != "" {
			f.page().words(xy{f.left + 2, f.y}, size, false, black, lead)
		}
		f.page().words(xy{f.left + indent, f.y}, size, false, black, l)
	}
	f.y += size * 0.35
}

// facts are lines of name and value.
func (f *flow) facts(rows [][2]string) {
	w := 0.0
	for _, r := range rows {
		w = max(w, width(r[0], 9, false))
	}
	w = min(w, f.column*0.45)
	for _, r := range rows {
		if r[1] == "" {
			continue
		}
		for i, l := range wrap(r[1], f.column-w-14, 9, false) {
			f.need(12.5)
			f.y += 12.2
			if i == 0 {
				f.page().words(xy{f.left, f.y}, 9, false, grey, r[0])
			}
			f.page().words(xy{f.left + w + 14, f.y}, 9, false, black, l)
		}
	}
	f.y += 4
}

// table sets rows under a head that comes again on each page. share gives each
// column's share of the width; right has an r for a column set to the right.
func (f *flow) table(head []string, share []float64, right string, rows [][]string, size float64) {
	sum := 0.0
	for _, s := range share {
		sum += s
	}
	x := make([]float64, len(share)+1)
	x[0] = f.left
	for i, s := range share {
		x[i+1] = x[i] + s/sum*f.column
	}
	row := func(cells []string, bold bool) float64 {
		n := 1
		lines := make([][]string, len(cells))
		for i, c := range cells {
			lines[i] = wrap(c, x[i+1]-x[i]-5, size, bold)
			n = max(n, len(lines[i]))
		}
		h := float64(n)*size*1.22 + 3.5
		for i := range lines {
			for j, l := range lines[i] {
				at := xy{x[i] + 2, f.y + size*1.05 + float64(j)*size*1.22}
				if i < len(right) && right[i] == 'r' {
					at.x = x[i+1] - 6 - width(l, size, bold)
				}
				f.page().words(at, size, bold, black, l)
			}
		}
		return h
	}
	height := func(cells []string, bold bool) float64 {
		n := 1
		for i, c := range cells {
			n = max(n, len(wrap(c, x[i+1]-x[i]-5, size, bold)))
		}
		return float64(n)*size*1.22 + 3.5
	}
	top := func() {
		h := height(head, true)
		f.page().box(x[0], f.y, f.column, h, &mist, nil, 0)
		f.y += row(head, true)
		f.page().line(0.7, black, nil, xy{x[0], f.y}, xy{x[0] + f.column, f.y})
	}
	f.need(height(head, true) + 2*size*1.3)
	f.y += 3
	top()
	for _, r := range rows {
		h := height(r, false)
		if f.y+h > f.h-margin {
			f.turn()
			top()
		}
		f.y += row(r, false)
		f.page().line(0.25, pale, nil, xy{x[0], f.y}, xy{x[0] + f.column, f.y})
	}
	f.y += 6
}

// together turns the page unless a heading and these items fit on it.
func (f *flow) together(items []string, size float64) {
	h := 46.0
	for _, s := range items {
		h += float64(len(wrap(s, f.column-14, size, false)))*size*1.35 + size*0.35
	}
	if h < f.h-2*margin-50 {
		f.need(h)
	}
}

// sign sets lines to be signed, each with room to write.
func (f *flow) sign(who ...string) {
	for _, s := range who {
		lines := wrap(s, f.column*0.42, 9, false)
		f.need(26 + 12*float64(len(lines)-1))
		f.y += 20
		for i, l := range lines {
			f.page().words(xy{f.left, f.y + 12*float64(i)}, 9, false, black, l)
		}
		x, y := f.left+f.column*0.45, f.y+2
		f.page().line(0.6, black, nil, xy{x, y}, xy{f.left + f.column*0.76, y})
		f.page().words(xy{f.left + f.column*0.78, f.y}, 9, false, grey, "date")
		f.page().line(0.6, black, nil, xy{f.left + f.column*0.83, y}, xy{f.left + f.column, y})
		f.y += 12 * float64(len(lines)-1)
	}
	f.y += 8
}

// mono sets lines as they are, for the working of a calculation.
func (f *flow) lines(text string, size float64) {
	for _, l := range strings.Split(strings.TrimRight(text, "\n"), "\n") {
		f.need(size * 1.3)
		f.y += size * 1.3
		f.page().words(xy{f.left, f.y}, size, false, black, l)
	}
}
