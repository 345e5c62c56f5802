package quantities

// Money: a firm's own dated price book laid beside a takeoff.

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"sort"
	"strconv"
	"strings"

	"github.com/xuri/excelize/v2"

	"fallwright/parcels"
	"fallwright/parcels/sheet/grid"
)

// Price is a line of a price book. Low and High are nil where the book gives
// the likely price only.
type Price struct {
	Item, Unit string
	Likely     float64
	Low, High  *float64
	Date       string
	Region     string
}

// Book is a price book. Rates are shares of one: of the direct cost (Overhead),
// of cost with overhead (Margin, a mark-up), of the price before tax (Tax), and
// how far a price without a low and a high is to be trusted (Spread).
type Book struct {
	Prices                        map[string]Price // by item, lower case
	Overhead, Margin, Tax, Spread float64
	Currency, Date, Region        string
}

// columns of a book. The last two may be left out.
var columns = []string{"item", "unit", "unit_price", "date", "region"}

// ReadBook reads a price book, CSV or XLSX (first sheet): a header line with the
// columns item, unit, unit_price, date (YYYY-MM-DD), region, and if wanted low and
// high. The items overhead, margin, tax and range have the unit % ; the item
// currency has its code (USD) as unit. The error is a *parcels.InputError that
// names each bad line.
func ReadBook(data []byte) (*Book, error) {
	var rows [][]string
	bad := func(faults ...parcels.Fault) error {
		return &parcels.InputError{Kind: parcels.Invalid, Faults: faults}
	}
	if bytes.HasPrefix(data, []byte("PK\x03\x04")) {
		f, err := excelize.OpenReader(bytes.NewReader(data), excelize.Options{UnzipSizeLimit: 64 << 20, UnzipXMLSizeLimit: 16 << 20, RawCellValue: true})
		if err != nil {
			return nil, bad(parcels.Fault{Slug: "price-book", Detail: "The price book is not a workbook that can be read: " + parcels.Excerpt(err.Error()) + "."})
		}
		defer f.Close()
		if rows, err = f.GetRows(f.GetSheetName(0), excelize.Options{RawCellValue: true}); err != nil {
			return nil, bad(parcels.Fault{Slug: "price-book", Detail: "The first sheet of the price book cannot be read: " + parcels.Excerpt(err.Error()) + "."})
		}
	} else {
		r := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(data, []byte("\ufeff"))))
		r.FieldsPerRecord = -1
		r.TrimLeadingSpace = true
		for {
			line, err := r.Read()
			if err == io.EOF {
				break
			}
			if err != nil {
				return nil, bad(parcels.Fault{Slug: "price-book", Detail: "The price book is not CSV: " + parcels.Excerpt(err.Error()) + "."})
			}
			rows = append(rows, line)
		}
	}
	if len(rows) == 0 {
		return nil, bad(parcels.Fault{Slug: "price-book", Detail: "The price book is empty. Give a header line (" + strings.Join(columns, ", ") + ") and a line an item."})
	}
	at := map[string]int{}
	for i, h := range rows[0] {
		at[strings.ToLower(strings.TrimSpace(h))] = i
	}
	for _, c := range columns {
		if _, ok := at[c]; !ok {
			return nil, bad(parcels.Fault{Slug: "price-book", Detail: fmt.Sprintf("The price book has no column %q. Its header line must hold %s.", c, strings.Join(columns, ", "))})
		}
	}
	b := &Book{Prices: map[string]Price{}, Spread: 0}
	var faults []parcels.Fault
	for i, r := range rows[1:] {
		n := i + 2
		cell := func(c string) string {
			if k, ok := at[c]; ok && k < len(r) {
				return strings.TrimSpace(r[k])
			}
			return ""
		}
		fault := func(format string, a ...any) {
			faults = append(faults, parcels.Fault{Slug: "price-book", Line: &n, Detail: fmt.Sprintf("Line %d of the price book: ", n) + fmt.Sprintf(format, a...)})
		}
		item := strings.ToLower(cell("item"))
		if item == "" {
			if strings.TrimSpace(strings.Join(r, "")) != "" {
				fault("the item has no name.")
			}
			continue
		}
		if item == "currency" {
			b.Currency = cell("unit")
			continue
		}
		money := func(c string) (*float64, bool) {
			if cell(c) == "" {
				return nil, true
			}
			v, err := strconv.ParseFloat(cell(c), 64)
			if err != nil || math.IsNaN(v) || math.IsInf(v, 0) || v < 0 {
				fault("%s of %q is %q; give a number of at least 0, without a currency sign.", c, parcels.Excerpt(item), parcels.Excerpt(cell(c)))
				return nil, false
			}
			return &v, true
		}
		likely, ok := money("unit_price")
		if !ok {
			continue
		}
		if likely == nil {
			fault("%q has no unit_price.", parcels.Excerpt(item))
			continue
		}
		rate := map[string]*float64{"overhead": &b.Overhead, "margin": &b.Margin, "tax": &b.Tax, "range": &b.Spread}[item]
		if rate != nil {
			if cell("unit") != "%" || *likely > 100 {
				fault("%s must be in %% and at most 100.", item)
				continue
			}
			*rate = *likely / 100
			continue
		}
		low, ok1 := money("low")
		high, ok2 := money("high")
		if !ok1 || !ok2 {
			continue
		}
		if low != nil && *low > *likely || high != nil && *high < *likely {
			fault("the prices of %q do not rise from low to high.", parcels.Excerpt(item))
			continue
		}
		d := cell("date")
		if len(d) != 10 || d[4] != '-' || d[7] != '-' {
			fault("the date of %q is %q; give it as YYYY-MM-DD.", parcels.Excerpt(item), parcels.Excerpt(d))
			continue
		}
		if _, twice := b.Prices[item]; twice {
			fault("%q stands twice.", parcels.Excerpt(item))
			continue
		}
		b.Prices[item] = Price{Item: cell("item"), Unit: cell("unit"), Likely: *likely, Low: low, High: high, Date: d, Region: cell("region")}
		if b.Date == "" || d < b.Date {
			b.Date = d
		}
		if b.Region == "" {
			b.Region = cell("region")
		}
	}
	if len(faults) > 0 {
		return nil, bad(faults...)
	}
	return b, nil
}

// Sum is a cost, low, likely and high.
type Sum struct{ Low, Likely, High float64 }

func (s Sum) times(k float64) Sum { return Sum{s.Low * k, s.Likely * k, s.High * k} }
func (s Sum) plus(o Sum) Sum      { return Sum{s.Low + o.Low, s.Likely + o.Likely, s.High + o.High} }

// Estimate is a takeoff with money. Where Unpriced is not empty the sums lack
// those items and are no price for the job.
type Estimate struct {
	Rows                                 []parcels.Quantity
	Direct, Overhead, Margin, Tax, Total Sum
	OverheadRate, MarginRate, TaxRate    float64
	Unpriced                             []string
	Currency, Date, Region               string
}

// notPriced are rows that only explain others, so that they need no price.
func notPriced(item string) bool {
	switch item {
	case "excavation, in the bank", "backfill with dug soil", "truckload":
		return true
	}
	return false
}

// sameUnit takes m3 for m³.
func sameUnit(a, b string) bool {
	plain := strings.NewReplacer("²", "2", "³", "3")
	return strings.EqualFold(plain.Replace(a), plain.Replace(b))
}

// Cost lays the book beside the rows, by item and unit. A row that explains
// another (bank volume, backfill, truckloads) costs nothing unless the book prices
// it. An item whose unit is not the book's is not priced, and is named.
func Cost(rows []parcels.Quantity, b *Book) Estimate {
	e := Estimate{Currency: b.Currency, Date: b.Date, Region: b.Region, OverheadRate: b.Overhead, MarginRate: b.Margin, TaxRate: b.Tax, Rows: append([]parcels.Quantity(nil), rows...)}
	for i := range e.Rows {
		q := &e.Rows[i]
		p, ok := b.Prices[strings.ToLower(q.Item)]
		switch {
		case !ok && notPriced(q.Item):
			continue
		case !ok:
			e.Unpriced = append(e.Unpriced, q.Item+" (no price)")
			continue
		case !sameUnit(p.Unit, q.OrderUnit):
			e.Unpriced = append(e.Unpriced, fmt.Sprintf("%s (priced by the %s, ordered by the %s)", q.Item, p.Unit, q.OrderUnit))
			continue
		}
		low, high := p.Likely*(1-b.Spread), p.Likely*(1+b.Spread)
		if p.Low != nil {
			low = *p.Low
		}
		if p.High != nil {
			high = *p.High
		}
		q.UnitCost, q.Cost = parcels.Num(p.Likely), parcels.Num(round(p.Likely*q.Order, 2))
		e.Direct = e.Direct.plus(Sum{low, p.Likely, high}.times(q.Order))
	}
	e.Overhead = e.Direct.times(b.Overhead)
	e.Margin = e.Direct.plus(e.Overhead).times(b.Margin)
	before := e.Direct.plus(e.Overhead).plus(e.Margin)
	e.Tax = before.times(b.Tax)
	e.Total = before.plus(e.Tax)
	sort.Strings(e.Unpriced)
	return e
}

// Tables are the takeoff, and the money where there is an estimate, as sheets.
func Tables(rows []parcels.Quantity, e *Estimate) []grid.Table {
	t := grid.Table{Name: "quantities", Head: []string{"item", "net", "net_unit", "waste", "order_quantity", "order_unit", "unit_cost", "cost", "basis"}, Widths: []float64{34, 10, 10, 8, 14, 12, 11, 12, 90}}
	if e != nil {
		rows = e.Rows
	}
	for _, q := range rows {
		t.Rows = append(t.Rows, []any{q.Item, q.Net, q.NetUnit, q.Waste, q.Order, q.OrderUnit, q.UnitCost, q.Cost, q.Basis})
	}
	out := []grid.Table{t}
	if e == nil {
		return out
	}
	m := grid.Table{Name: "cost", Head: []string{"line", "low", "likely", "high", "note"}, Widths: []float64{20, 12, 12, 12, 80}}
	line := func(name string, s Sum, note string) {
		m.Rows = append(m.Rows, []any{name, round(s.Low, 2), round(s.Likely, 2), round(s.High, 2), note})
	}
	line("direct cost", e.Direct, "order quantities times unit prices")
	line("overhead", e.Overhead, fmt.Sprintf("%.1f %% of direct cost", 100*e.OverheadRate))
	line("margin", e.Margin, fmt.Sprintf("%.1f %% of direct cost and overhead", 100*e.MarginRate))
	line("tax", e.Tax, fmt.Sprintf("%.2f %% of the sum of these", 100*e.TaxRate))
	line("total", e.Total, fmt.Sprintf("%s, oldest price of %s, region %s", e.Currency, e.Date, e.Region))
	for _, u := range e.Unpriced {
		m.Rows = append(m.Rows, []any{"NOT PRICED", nil, nil, nil, u})
	}
	return append(out, m)
}
