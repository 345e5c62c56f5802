// Package grid writes one table as CSV or XLSX, the same way for every room: one
// header line, one line a row, no line break in a cell, and no cell that a
// spreadsheet would run as a formula. It has no clock: the same table gives the
// same bytes.
package grid

import (
	"bytes"
	"encoding/csv"
	"math"
	"strconv"

	"github.com/xuri/excelize/v2"

	"fallwright/parcels/display"
)

// Table is a head and rows of cells: text, float64, int, *float64; nil is empty.
type Table struct {
	Name   string // of the XLSX sheet
	Head   []string
	Rows   [][]any
	Widths []float64 // of the XLSX columns, in characters; a missing one is 14
}

// CSV writes the table as RFC 4180 with a line feed.
func (t Table) CSV() ([]byte, error) {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	line := make([]string, len(t.Head))
	for i, h := range t.Head {
		line[i] = display.Cell(h)
	}
	if err := w.Write(line); err != nil {
		return nil, err
	}
	for _, r := range t.Rows {
		line = make([]string, len(r))
		for i, c := range r {
			switch c := c.(type) {
			case string:
				line[i] = display.Cell(c)
			case float64:
				line[i] = number(c)
			case *float64:
				if c != nil {
					line[i] = number(*c)
				}
			case int:
				line[i] = strconv.Itoa(c)
			}
		}
		if err := w.Write(line); err != nil {
			return nil, err
		}
	}
	w.Flush()
	return b.Bytes(), w.Error()
}

func number(v float64) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return ""
	}
	return strconv.FormatFloat(v, 'f', -1, 64)
}

// XLSX writes tables as the sheets of one workbook. Text cells are stored as
// text, so that none is a formula.
func XLSX(tables ...Table) ([]byte, error) {
	f := excelize.NewFile()
	defer f.Close()
	bold, err := f.NewStyle(&excelize.Style{Font: &excelize.Font{Bold: true}, Alignment: &excelize.Alignment{WrapText: true, Vertical: "top"}, Border: []excelize.Border{{Type: "bottom", Color: "000000", Style: 1}}})
	if err != nil {
		return nil, err
	}
	wrap, err := f.NewStyle(&excelize.Style{Alignment: &excelize.Alignment{WrapText: true, Vertical: "top"}})
	if err != nil {
		return nil, err
	}
	for k, t := range tables {
		if k == 0 {
			if err := f.SetSheetName("Sheet1", t.Name); err != nil {
				return nil, err
			}
		} else if _, err := f.NewSheet(t.Name); err != nil {
			return nil, err
		}
		for i, h := range t.Head {
			at, _ := excelize.CoordinatesToCellName(i+1, 1)
			if err := f.SetCellStr(t.Name, at, display.Cell(h)); err != nil {
				return nil, err
			}
			w := 14.0
			if i < len(t.Widths) {
				w = t.Widths[i]
			}
			col, _ := excelize.ColumnNumberToName(i + 1)
			if err := f.SetColWidth(t.Name, col, col, w); err != nil {
				return nil, err
			}
		}
		for j, r := range t.Rows {
			for i, c := range r {
				at, _ := excelize.CoordinatesToCellName(i+1, j+2)
				var err error
				switch c := c.(type) {
				case string:
					if err = f.SetCellStr(t.Name, at, display.Cell(c)); err == nil {
						err = f.SetCellStyle(t.Name, at, at, wrap)
					}
				case float64:
					err = f.SetCellFloat(t.Name, at, c, -1, 64)
				case *float64:
					if c != nil {
						err = f.SetCellFloat(t.Name, at, *c, -1, 64)
					}
				case int:
					err = f.SetCellInt(t.Name, at, int64(c))
				}
				if err != nil {
					return nil, err
				}
			}
		}
		last, _ := excelize.ColumnNumberToName(max(len(t.Head), 1))
		if err := f.SetCellStyle(t.Name, "A1", last+"1", bold); err != nil {
			return nil, err
		}
		if err := f.SetPanes(t.Name, &excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft"}); err != nil {
			return nil, err
		}
	}
	b, err := f.WriteToBuffer()
	if err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}
