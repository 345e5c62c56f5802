package main

// fallwright sheet: what leaves the office, from a site and its plan.

import (
	"fmt"
	"path/filepath"
	"strings"
	"time"

	"fallwright/parcels"
	"fallwright/parcels/quantities"
	"fallwright/parcels/sheet"
	"fallwright/parcels/sheet/grid"
)

type sheetCmd struct {
	inputs
	output
	Kind   string `help:"What to make: plan, calculation, proposal, permit, visit, crew, takeoff." enum:"plan,calculation,proposal,permit,visit,crew,takeoff" default:"plan"`
	Paper  string `help:"Paper: letter, tabloid, a4, a3." enum:"letter,tabloid,a4,a3" default:"letter"`
	Prices string `help:"The firm's price book, CSV or XLSX: item, unit, unit_price, date, region, and if wanted low, high."`
	From   string `help:"First day of an upkeep calendar (.ics), YYYY-MM-DD."`
}

func (c sheetCmd) Run(e *env) error {
	if c.Out == "" {
		return inputFault("", "out-missing", "Say where to write it: --out FILE.pdf (or .svg for a plan; .xlsx, .csv for a takeoff; .ics for a proposal's upkeep calendar).")
	}
	plan, site, _, err := c.planAndSite(e)
	if err != nil {
		return err
	}
	if site == nil {
		return inputFault(strings.Join(c.Files, ", "), "site-missing", "A sheet is drawn from a plan and its site: give the site document beside the plan.")
	}
	o := sheet.Options{Kind: sheet.Kind(c.Kind), Paper: c.Paper, Units: c.units()}
	if c.Prices != "" {
		b, err := e.read(c.Prices)
		if err != nil {
			return err
		}
		book, err := quantities.ReadBook(b)
		if err != nil {
			return named(err, c.Prices)
		}
		est := quantities.Cost(plan.Quantities, book)
		o.Estimate = &est
	}
	ext := strings.ToLower(filepath.Ext(c.Out))
	if c.Out == "-" {
		ext = ".pdf"
	}
	bad := func(give string) error {
		return &parcels.Error{Kind: parcels.Unsupported, Op: "sheet: " + c.Kind, Subject: ext, Err: fmt.Errorf("give %s", give)}
	}
	switch {
	case ext == ".ics" && o.Kind == sheet.KindProposal:
		day, err := time.Parse("2006-01-02", c.From)
		if err != nil {
			return inputFault("", "from-missing", "Say from which day the upkeep calendar runs: --from YYYY-MM-DD.")
		}
		err = e.write(c.Out, sheet.Calendar(plan, day))
		if err != nil {
			return err
		}
	case (ext == ".xlsx" || ext == ".csv") && o.Kind == sheet.KindTakeoff:
		tables := quantities.Tables(plan.Quantities, o.Estimate)
		write := func() ([]byte, error) { return tables[0].CSV() }
		if ext == ".xlsx" {
			write = func() ([]byte, error) { return grid.XLSX(tables...) }
		}
		b, err := write()
		if err != nil {
			return err
		}
		if err := e.write(c.Out, b); err != nil {
			return err
		}
	case ext == ".pdf", ext == ".svg":
		d, err := sheet.Make(plan, site, o)
		if err != nil {
			return err
		}
		if ext == ".pdf" {
			b, err := d.PDF()
			if err != nil {
				return &parcels.Error{Kind: parcels.Failed, Op: "sheet: write", Subject: c.Kind, Err: err}
			}
			if err := e.write(c.Out, b); err != nil {
				return err
			}
			break
		}
		for i, b := range d.SVG() {
			file := c.Out
			if i > 0 {
				file = fmt.Sprintf("%s-%d%s", strings.TrimSuffix(c.Out, filepath.Ext(c.Out)), i+1, filepath.Ext(c.Out))
			}
			if err := e.write(file, b); err != nil {
				return err
			}
		}
	default:
		return bad(".pdf or .svg; .xlsx or .csv for a takeoff; .ics for a proposal")
	}
	return standing(plan)
}
