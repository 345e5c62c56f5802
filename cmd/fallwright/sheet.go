package main

// fallwright sheet: what leaves the office, from a site and its plan.

import (
	"errors"
	"fmt"
	"path/filepath"
	"strings"
	"time"

	"fallwright/parcels"
	"fallwright/parcels/planner"
	"fallwright/parcels/quantities"
	"fallwright/parcels/sheet"
)

type sheetCmd struct {
	inputs
	output
	Kind   string `help:"What to make: plan, stakes, takeoff, visit, proposal, permit, calculation, crew, closeout." enum:"plan,stakes,takeoff,visit,proposal,permit,calculation,crew,closeout" default:"plan"`
	Paper  string `help:"Paper: letter, tabloid, a4, a3." enum:"letter,tabloid,a4,a3" default:"letter"`
	Prices string `help:"The firm's price book, CSV or XLSX: item, unit, unit_price, date, region, and if wanted low, high."`
	From   string `help:"First day of an upkeep calendar (.ics), YYYY-MM-DD."`

	Templates     string `help:"Folder of the firm's own words, NAME.tmpl, in place of the built-in ones." placeholder:"DIR"`
	ShowTemplates string `help:"Write the built-in words into a folder, to start from, and end." placeholder:"DIR"`
}

func (c sheetCmd) Run(e *env) error {
	if c.ShowTemplates != "" {
		for _, n := range sheet.TemplateNames() {
			if err := e.write(filepath.Join(c.ShowTemplates, n+".tmpl"), []byte(sheet.BuiltIn(n))); err != nil {
				return err
			}
		}
		return nil
	}
	if c.Out == "" {
		return inputFault("", "out-missing", "Say where to write it: --out FILE.pdf (or .svg for a plan; .xlsx, .csv for a takeoff; .ics for a proposal's upkeep calendar).")
	}
	plan, site, _, surface, err := c.planAndSite(e)
	if err != nil {
		return err
	}
	if site == nil {
		return inputFault(strings.Join(c.Files, ", "), "site-missing", "A sheet is drawn from a plan and its site: give the site document beside the plan.")
	}
	if surface == nil {
		if surface, _, err = planner.Surface(site); err != nil {
			return err
		}
	}
	o := sheet.Order{Kind: sheet.Kind(c.Kind), Format: filepath.Ext(c.Out), Paper: c.Paper, Units: c.units(), Ground: surface}
	if c.Out == "-" {
		o.Format = ""
	}
	if c.Prices != "" {
		b, err := e.read(c.Prices)
		if err != nil {
			return err
		}
		if o.Book, err = quantities.ReadBook(b); err != nil {
			return named(err, c.Prices)
		}
	}
	if c.Templates != "" {
		if o.Templates, err = e.templates(c.Templates); err != nil {
			return err
		}
	}
	if c.From != "" {
		day, err := time.Parse("2006-01-02", c.From)
		if err != nil {
			return inputFault("", "option-invalid", "--from is no day: give YYYY-MM-DD.")
		}
		o.From = &day
	}
	if err := e.sheets(c.Out, plan, site, o); err != nil {
		return err
	}
	return standing(plan)
}

// templates reads a folder of a firm's own words.
func (e *env) templates(dir string) (sheet.Templates, error) {
	names, err := filepath.Glob(filepath.Join(dir, "*.tmpl"))
	if err != nil || len(names) == 0 {
		return nil, inputFault(dir, "template-invalid", fmt.Sprintf("There is no NAME.tmpl in the folder. Names: %s; --show-templates DIR writes those that are built in.", strings.Join(sheet.TemplateNames(), ", ")))
	}
	files := map[string]string{}
	for _, n := range names {
		b, err := e.read(n)
		if err != nil {
			return nil, err
		}
		files[strings.TrimSuffix(filepath.Base(n), ".tmpl")] = string(b)
	}
	t, err := sheet.ReadTemplates(files)
	return t, named(err, dir)
}

// sheets writes a paper to the file that --out names, and its further pages, in
// formats that hold one page each, beside it.
func (e *env) sheets(out string, plan *parcels.Plan, site *parcels.Site, o sheet.Order) error {
	files, err := sheet.Write(plan, site, o)
	var in *parcels.InputError
	if err != nil && !errors.As(err, &in) {
		return &parcels.Error{Kind: parcels.Failed, Op: "sheet: write", Subject: string(o.Kind), Err: err}
	}
	if err != nil {
		return err
	}
	for i, f := range files {
		name := out
		if i > 0 {
			if out == "-" {
				break
			}
			name = fmt.Sprintf("%s-%d%s", strings.TrimSuffix(out, filepath.Ext(out)), i+1, filepath.Ext(out))
		}
		if err := e.write(name, f.Body); err != nil {
			return err
		}
	}
	return nil
}
