package sheet

import (
	"bytes"
	"compress/zlib"
	"context"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"fallwright/parcels"
	"fallwright/parcels/display"
	"fallwright/parcels/document"
	"fallwright/parcels/planner"
	"fallwright/parcels/quantities"
	"fallwright/parcels/verify"
	"fallwright/sampledata"
)

// planned is the sample subdivision with the plan of a lot, made once.
var planned = func() func(t *testing.T, lot string) (*parcels.Plan, *parcels.Site) {
	var mu sync.Mutex
	var site *parcels.Site
	plans := map[string]*parcels.Plan{}
	return func(t *testing.T, lot string) (*parcels.Plan, *parcels.Site) {
		t.Helper()
		mu.Lock()
		defer mu.Unlock()
		if site == nil {
			var err error
			if site, err = document.Read(sampledata.StatePlane(), document.Options{}); err != nil {
				t.Fatal(err)
			}
		}
		if plans[lot] == nil {
			p, _, err := (&planner.Planner{Verifier: verify.Checker{}, Program: "test"}).Plan(context.Background(), site, planner.Options{Lots: []string{lot}})
			if err != nil {
				t.Fatal(err)
			}
			plans[lot] = p
		}
		return plans[lot], site
	}
}()

func made(t *testing.T, lot string, o Options) *Document {
	t.Helper()
	p, s := planned(t, lot)
	d, err := Make(p, s, o)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// streams are the unpacked content streams of a PDF.
func streams(t *testing.T, pdf []byte) string {
	t.Helper()
	var all strings.Builder
	for _, part := range bytes.Split(pdf, []byte("stream\n"))[1:] {
		r, err := zlib.NewReader(bytes.NewReader(part))
		if err != nil {
			continue
		}
		b, _ := io.ReadAll(r)
		all.Write(b)
	}
	return all.String()
}

// A hundred feet at 1 in = 20 ft is 5 in: 360 points; 30 m at 1:100 is 0.3 m: 850.39
// points. The scale bar and a run are measured in the PDF itself and in the SVG.
func TestHandScaleOfThePaper(t *testing.T) {
	for _, w := range []struct {
		said   string
		metres float64
		points float64
		u      display.Units
	}{{"1 in = 20 ft", 30.48, 360, display.US}, {"1:100", 30, 850.3937, display.SI}} {
		found := false
		for _, s := range scales(w.u) {
			if s.said == w.said {
				found = true
				if got := w.metres * s.per; math.Abs(got-w.points) > 1e-3 {
					t.Errorf("%s: %v m are %v points, want %v", w.said, w.metres, got, w.points)
				}
			}
		}
		if !found {
			t.Errorf("no scale %s", w.said)
		}
	}
	p, _ := planned(t, "B4")
	d := made(t, "B4", Options{Kind: KindPlan, Paper: "letter"})
	pdf, err := d.PDF()
	if err != nil {
		t.Fatal(err)
	}
	svg, err := d.SVG()
	if err != nil {
		t.Fatal(err)
	}
	if len(svg[0]) > 200<<10 {
		t.Errorf("an SVG of %d bytes carries more than the font that it uses", len(svg[0]))
	}
	text := streams(t, pdf)
	longest := 0.0
	for _, r := range p.Runs {
		longest = math.Max(longest, float64(r.Length))
	}
	// the plan sheet of B4 is at 1 in = 30 ft: 72 / 9.144 points a metre
	if !strings.Contains(string(svg[0]), "1 in = 30 ft") {
		t.Fatal("lot B4 on letter is not at 1 in = 30 ft")
	}
	want := longest * 72 / (30 * 0.3048)
	seg := regexp.MustCompile(`(-?[\d.]+) (-?[\d.]+) m\s+(-?[\d.]+) (-?[\d.]+) l`)
	best := math.Inf(1)
	for _, m := range seg.FindAllStringSubmatch(text, -1) {
		var v [4]float64
		for i := range v {
			v[i], _ = strconv.ParseFloat(m[i+1], 64)
		}
		best = math.Min(best, math.Abs(math.Hypot(v[2]-v[0], v[3]-v[1])-want))
	}
	if best > 0.02 {
		t.Errorf("no line of %.2f points (the longest run, %.3f m) in the PDF: nearest is off by %.3f", want, longest, best)
	}
	if !strings.Contains(string(svg[0]), `width="11in" height="8.5in" viewBox="0 0 792.000 612.000"`) {
		t.Error("the SVG is not the size of its paper")
	}
}

// The same plan gives the same bytes: every paper, in every format.
func TestPropertySameBytes(t *testing.T) {
	p, s := planned(t, "B4")
	day := time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC)
	for _, k := range Kinds() {
		for _, f := range Formats(k) {
			if k == KindAudit {
				continue // TestHandSubdivision
			}
			var last []File
			for range 2 {
				got, err := Write(p, s, Order{Kind: k, Format: f, Paper: "a4", Units: display.SI, From: &day})
				if err != nil {
					t.Fatal(k, f, err)
				}
				for i := range last {
					if !bytes.Equal(got[i].Body, last[i].Body) || got[i].Name != last[i].Name {
						t.Errorf("%s as %s: the same plan gives other bytes", k, f)
					}
				}
				last = got
			}
		}
	}
}

// Text of a page is read back by another program, with the numbers of the plan.
func TestOracleTextOfTheSheets(t *testing.T) {
	if _, err := exec.LookPath("pdftotext"); err != nil {
		t.Skip("pdftotext is not installed")
	}
	p, _ := planned(t, "B4")
	u := display.US
	for k, wants := range map[Kind][]string{
		KindPlan:        {"Quillmere Hollow", "PRELIMINARY", "1 in = 30 ft", "B4-DS1", "LINE A", "TRENCH: 4 in solid", "CAUTIONS", "invert up", "rim 543.40"},
		KindCalculation: {"Run R3", "Q = CA*i/3600000", "fhwa-hec-22", "Design storm", "Sources"},
		KindProposal:    {"Proposal", "no price book", "10-year storm", "no warranty", "Upkeep"},
		KindPermit:      {"Permit package", "Who must sign", "LINE A", "Q = CA*i/3600000", "easement E1", "cored hole", u.Length(*p.Summary.GreatestDepth)},
		KindVisit:       {"still to be measured", "Shoot the rim of I1", "From maps", "under 0.1 %", "not reckoned"},
		KindCrew:        {"outlet up", "Stake table", "close-out", "0+25.0", "tie-in at I1, easement E1 (drainage)"},
		KindCloseOut:    {"Hose test", "invert shot", "B4-DS1", "Handed over"},
		KindStakes:      {"Stake table", "cut marked", "0+25.0"},
		KindTakeoff:     {"stone, washed open-graded", "short ton", "average end area"},
	} {
		b, err := made(t, "B4", Options{Kind: k, Paper: "letter"}).PDF()
		if err != nil {
			t.Fatal(err)
		}
		file := filepath.Join(t.TempDir(), "x.pdf")
		if err := os.WriteFile(file, b, 0o600); err != nil {
			t.Fatal(err)
		}
		out, err := exec.Command("pdftotext", "-layout", file, "-").Output()
		if err != nil {
			t.Fatal(err)
		}
		if fonts, err := exec.Command("pdffonts", file).Output(); err == nil {
			for _, l := range strings.Split(strings.TrimSpace(string(fonts)), "\n")[2:] {
				if !regexp.MustCompile(`\byes +(no|yes) +yes +\d+ +\d+$`).MatchString(l) { // embedded, with Unicode
					t.Errorf("%s: a font is not embedded: %s", k, l)
				}
			}
		}
		flat := strings.Join(strings.Fields(string(out)), " ")
		for _, w := range append(wants, "Planning estimate") {
			if !strings.Contains(flat, w) {
				t.Errorf("%s: the text lacks %q", k, w)
			}
		}
	}
}

// No label lies on another, and every mark of text lies on its page, on any paper;
// a plan that is not feasible is drawn too and says so.
func TestPropertyLabels(t *testing.T) {
	for _, lot := range []string{"B4", "D5"} {
		for paper := range papers {
			d := made(t, lot, Options{Kind: KindPlan, Paper: paper})
			for n, p := range d.pages {
				for _, m := range p.marks {
					if m.text == "" || m.angle != 0 {
						continue
					}
					w := width(m.text, m.size, m.bold)
					if m.at.x < 0 || m.at.x+w > p.w+0.5 || m.at.y < 0 || m.at.y > p.h {
						t.Errorf("%s on %s, sheet %d: %q lies off the paper", lot, paper, n+1, m.text)
					}
				}
			}
		}
	}
	pl := &placer{area: rect{0, 0, 400, 300}}
	pg := &page{w: 400, h: 300}
	put := 0
	for i := range 60 {
		if pl.put(pg, xy{200 + float64(i%6), 150}, 7, false, black, fmt.Sprintf("P%d", i), "inv 543.21") {
			put++
		}
	}
	for i := range pl.taken {
		for j := range i {
			if pl.taken[i].meets(pl.taken[j]) {
				t.Fatalf("labels %d and %d overlap", i, j)
			}
		}
	}
	if put < 10 || put == 60 {
		t.Errorf("%d of 60 labels placed about one point: want some, and some refused", put)
	}
}

// Hostile and empty input: an empty plan is drawn and says why; control characters
// and text-direction marks never reach the page.
func TestHandEmptyAndHostile(t *testing.T) {
	_, s := planned(t, "B4")
	hostile := *s
	hostile.VerticalDatum = " \u202e\x00 "
	hostile.Criteria.Sheet = parcels.TitleBlock{Firm: "</text><script>alert(1)</script>", Licence: " ", Drawn: strings.Repeat("W", 4000), Revision: "\u202eabc"}
	empty := &parcels.Plan{Status: parcels.Preliminary, Site: "\u202e<b>", Cautions: parcels.Cautions, Summary: parcels.Summary{Verdict: parcels.NotFeasible, WhyNot: "No outlet."}}
	for _, k := range []Kind{KindPlan, KindCalculation, KindProposal, KindPermit, KindVisit, KindCrew, KindCloseOut, KindTakeoff} {
		d, err := Make(empty, &hostile, Options{Kind: k, Paper: "letter"})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := d.PDF(); err != nil {
			t.Fatal(err)
		}
		svg, err := d.SVG()
		if err != nil {
			t.Fatal(err)
		}
		for _, b := range svg {
			if bytes.Contains(b, []byte("<script")) || bytes.Contains(b, []byte("\u202e")) {
				t.Errorf("%s: markup or direction marks of the input stand in the SVG", k)
			}
		}
	}
	for _, o := range []Options{{Kind: "poster", Paper: "letter"}, {Kind: KindPlan, Paper: "napkin"}} {
		if _, err := Make(empty, s, o); err == nil {
			t.Errorf("%+v is taken", o)
		}
	}
}

// Money stands only where the firm's book prices every item.
func TestHandPriceOfTheProposal(t *testing.T) {
	p, s := planned(t, "B4")
	text := func(e *quantities.Estimate) string {
		d, err := Make(p, s, Options{Kind: KindProposal, Paper: "letter", Estimate: e})
		if err != nil {
			t.Fatal(err)
		}
		var b strings.Builder
		for _, pg := range d.pages {
			for _, m := range pg.marks {
				b.WriteString(m.text + " ")
			}
		}
		return b.String()
	}
	var book strings.Builder
	book.WriteString("item,unit,unit_price,date,region\ncurrency,USD,0,2026-01-01,here\n")
	for _, q := range p.Quantities {
		fmt.Fprintf(&book, "%q,%s,10,2026-01-01,here\n", q.Item, q.OrderUnit)
	}
	b, err := quantities.ReadBook([]byte(book.String()))
	if err != nil {
		t.Fatal(err)
	}
	e := quantities.Cost(p.Quantities, b)
	sum := 0.0
	for _, q := range p.Quantities {
		sum += 10 * q.Order
	}
	if got := text(&e); !strings.Contains(got, "USD "+amount(sum)) {
		t.Errorf("the proposal does not ask for %s", amount(sum))
	}
	delete(b.Prices, "mobilisation")
	e = quantities.Cost(p.Quantities, b)
	if got := text(&e); strings.Contains(got, "USD") || !strings.Contains(got, "mobilisation (no price)") {
		t.Error("a price is given though an item has none")
	}
	if amount(1234567.4) != "1,234,567" || amount(999) != "999" {
		t.Error("amounts are written wrongly")
	}
}

// RFC 5545: lines end in CRLF and hold at most 75 octets, each event has its UID.
func TestHandCalendar(t *testing.T) {
	p, _ := planned(t, "B4")
	b := Calendar(p, time.Date(2026, 6, 15, 0, 0, 0, 0, time.UTC))
	uids := map[string]bool{}
	for _, l := range strings.Split(strings.TrimSuffix(string(b), "\r\n"), "\r\n") {
		if len(l) > 75 || strings.ContainsAny(l, "\r\n") {
			t.Errorf("line of %d octets: %q", len(l), l)
		}
		if u, ok := strings.CutPrefix(l, "UID:"); ok {
			if uids[u] {
				t.Errorf("uid %s twice", u)
			}
			uids[u] = true
		}
	}
	// grates 4, basins 2, gutters 2, cleanouts 1, outlet 2, jetting 1
	if n := strings.Count(string(b), "BEGIN:VEVENT"); n != 12 || len(uids) != 12 {
		t.Errorf("%d events, %d uids, want 12", n, len(uids))
	}
	if !strings.Contains(string(b), "DTSTART;VALUE=DATE:20270301") { // March is over in June
		t.Error("an event starts before the calendar does")
	}
}

// The working of every run can be followed by hand: its formulas give its results.
func TestPropertyWorkingHolds(t *testing.T) {
	p, _ := planned(t, "B4")
	for i := range p.Runs {
		s, err := Working(&p.Runs[i])
		if err != nil {
			t.Fatal(err)
		}
		if err := s.Check(); err != nil {
			t.Errorf("run %s: %v", p.Runs[i].ID, err)
		}
	}
}

// The report of an audit: every lot once, worst first, on its pages and in its
// workbook; the same audit gives the same bytes.
func TestHandSubdivision(t *testing.T) {
	_, s := planned(t, "B4")
	a := &parcels.Audit{Status: parcels.Preliminary, Site: "x"}
	for i, v := range []parcels.Verdict{parcels.Feasible, parcels.NotFeasible, parcels.NotProven} {
		a.Rows = append(a.Rows, parcels.AuditRow{Lot: s.Lots[i].ID, Verdict: v, Shape: s.Lots[i].Shape, Findings: []parcels.Finding{{Severity: parcels.Stop, Code: "c", Message: "=message " + s.Lots[i].ID}}})
	}
	d, err := Subdivision(a, s, "letter", display.US)
	if err != nil {
		t.Fatal(err)
	}
	one, err := d.PDF()
	if err != nil {
		t.Fatal(err)
	}
	again, _ := Subdivision(a, s, "letter", display.US)
	if two, _ := again.PDF(); !bytes.Equal(one, two) {
		t.Error("the same audit gives other bytes")
	}
	rows := SubdivisionTables(a)[0].Rows
	var order []string
	for _, r := range rows {
		order = append(order, r[0].(string))
	}
	if want := []string{s.Lots[1].ID, s.Lots[2].ID, s.Lots[0].ID}; strings.Join(order, " ") != strings.Join(want, " ") {
		t.Errorf("lots in the order %v, want %v", order, want)
	}
	if _, err := Subdivision(&parcels.Audit{}, s, "letter", display.US); err != nil {
		t.Errorf("an audit without lots: %v", err)
	}
	if _, err := Subdivision(a, s, "napkin", display.US); err == nil {
		t.Error("an unknown paper is taken")
	}
}
