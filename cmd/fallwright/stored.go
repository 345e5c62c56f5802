package main

// Plans of stored sites: worked from what the store holds, kept in it with all
// that it rests on, and worked again.

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"

	"fallwright/geo/ground"
	"fallwright/parcels"
	"fallwright/parcels/document"
	"fallwright/parcels/exchange/raster"
	"fallwright/parcels/planner"
)

// asked is what a plan was asked for, as it is kept with the result by command
// and service alike.
type asked struct {
	Lots     []string        `json:"lots"`
	Criteria json.RawMessage `json:"criteria"`
	Options  json.RawMessage `json:"options"`
}

// readSite reads a site document with criteria and options as they are sent
// and kept.
func readSite(doc []byte, criteria, opts json.RawMessage, limits document.Limits) (*parcels.Site, options, error) {
	return readSiteWith(doc, criteria, opts, document.Options{Limits: limits})
}

func readSiteWith(doc []byte, criteria, opts json.RawMessage, ro document.Options) (*parcels.Site, options, error) {
	o, err := readOptions(opts)
	if err != nil {
		return nil, o, err
	}
	ro.KeepGoing = o.KeepGoing
	if len(criteria) > 0 && string(criteria) != "null" {
		c, given, err := document.ReadCriteria(criteria)
		if err != nil {
			return nil, o, named(err, "criteria")
		}
		ro.Criteria, ro.CriteriaGiven = &c, given
	}
	s, err := document.Read(doc, ro)
	if err != nil {
		return nil, o, named(err, "site")
	}
	return s, o, nil
}

func readOptions(opts json.RawMessage) (o options, err error) {
	if absent := len(opts) == 0 || string(opts) == "null"; absent {
		return o, nil
	}
	if err := json.Unmarshal(opts, &o); err != nil {
		return o, &parcels.InputError{Kind: parcels.Invalid, File: "options", Faults: []parcels.Fault{{Slug: "option-invalid", Pointer: "/options", Detail: "The options cannot be read: " + parcels.Excerpt(err.Error()) + "."}}}
	}
	return o, nil
}

// storedGround is the ground under a stored site's lots: the raster that its
// document names as terrain, or the one of a checksum. Without a terrain it is
// nil. It gives the checksum of what it read.
func storedGround(ctx context.Context, st parcels.RasterStore, site string, s *parcels.Site, sum string) (ground.Surface, string, error) {
	if s.Terrain == "" && sum == "" {
		return nil, "", nil
	}
	name := sum
	if name == "" {
		name = s.Terrain
	}
	r, file, err := st.OpenRaster(ctx, site, name)
	var e *parcels.Error
	if errors.As(err, &e) && e.Kind == parcels.NotFound && sum == "" {
		return nil, "", inputFault("site", "terrain-missing", fmt.Sprintf("The document of %s names the raster %s as its terrain, which is not stored. Import it: fallwright import %s --store S --site NAME.", parcels.Excerpt(site), parcels.Excerpt(name), parcels.Excerpt(name)))
	}
	if err != nil {
		return nil, "", err
	}
	defer file.Close()
	f, err := raster.Open(file, r.Bytes, r.Name, raster.Options{CRS: r.CRS, ElevationUnit: r.ElevationUnit})
	if err != nil {
		return nil, "", err
	}
	surface, err := groundOf(s, f, r.Name)
	return surface, r.SHA256, err
}

// fromStore reads a stored site as the plan asks for it.
func (c planCmd) fromStore(ctx context.Context, e *env, st parcels.Store) (s *parcels.Site, surface ground.Surface, keep parcels.Result, err error) {
	if len(c.Files) > 0 {
		return nil, nil, keep, inputFault("", "input-twice", "A stored site is planned from the store alone. Give files, or --site.")
	}
	keep = parcels.Result{Site: c.Site, Kind: "plan", Program: "fallwright " + version()}
	// document and version of one state: nobody may write between the two
	for {
		info, err := st.Site(ctx, c.Site)
		if err != nil {
			return nil, nil, keep, err
		}
		if keep.Version == info.Version {
			break
		}
		keep.Version = info.Version
		if keep.Document, err = st.Document(ctx, c.Site); err != nil {
			return nil, nil, keep, err
		}
	}
	a := asked{Lots: c.Lots}
	if c.Criteria != "" {
		if a.Criteria, err = e.criteriaJSON(c.Criteria); err != nil {
			return nil, nil, keep, err
		}
	}
	if a.Options, err = json.Marshal(options{Outlet: c.Outlet, Shared: c.Shared, KeepGoing: c.KeepGoing}); err != nil {
		return nil, nil, keep, err
	}
	if keep.Inputs, err = json.Marshal(a); err != nil {
		return nil, nil, keep, err
	}
	if s, _, err = readSite(keep.Document, a.Criteria, a.Options, document.Limits{}); err != nil {
		return nil, nil, keep, err
	}
	surface, keep.Ground, err = storedGround(ctx, st, c.Site, s, "")
	return s, surface, keep, err
}

// again works a stored plan from what was stored with it and says whether the
// bytes are the same.
func (c planCmd) again(e *env) error {
	if len(c.Files) > 0 || len(c.Lots) > 0 || c.Criteria != "" || c.Outlet != "" || c.Shared || c.Site != "" || c.Keep || len(c.WhatIf) > 0 || len(c.Steps) > 0 {
		return inputFault("", "input-twice", "A plan that is worked again takes site, lots, criteria and outlet from what was stored with it. Give --again with --store alone.")
	}
	if c.Store == "" {
		return inputFault("", "store-missing", "In which store is the plan? Give --store.")
	}
	st, err := openStore(c.Store, storeRead)
	if err != nil {
		return err
	}
	defer st.Close()
	r, err := st.Result(e.ctx, c.Again)
	if err != nil {
		return err
	}
	if r.Kind != "plan" {
		return inputFault("", "result-kind", fmt.Sprintf("The result %s is of kind %s; only a plan is worked again.", r.ID, r.Kind))
	}
	doc, err := st.Input(e.ctx, r)
	if err != nil {
		return err
	}
	var a asked
	if len(r.Inputs) > 0 {
		if err := json.Unmarshal(r.Inputs, &a); err != nil {
			return &parcels.Error{Kind: parcels.Failed, Op: "plan again", Subject: r.ID, Err: fmt.Errorf("what it was asked for cannot be read: %w", err)}
		}
	}
	s, o, err := readSite(doc, a.Criteria, a.Options, document.Limits{})
	if err != nil {
		return err
	}
	var surface ground.Surface
	if r.Ground != "" {
		if surface, _, err = storedGround(e.ctx, st, r.Site, s, r.Ground); err != nil {
			return err
		}
	}
	plan, body, err := newPlanner().Plan(e.ctx, s, planner.Options{Lots: a.Lots, Outlet: o.Outlet, Shared: o.Shared, Quick: o.Quick, Surface: surface})
	if err != nil {
		return err
	}
	if err := c.show(e, plan, body, body); err != nil {
		return err
	}
	own := "fallwright " + version()
	switch {
	case bytes.Equal(body, r.Body):
		fmt.Fprintf(e.stderr, "The same bytes as the stored plan %s (site %s, version %d, document %s).\n", r.ID, parcels.Excerpt(r.Site), r.Version, short(r.InputSHA))
	case r.Program != own:
		fmt.Fprintf(e.stderr, "Not the bytes of the stored plan %s: that is of %s, this program is %s. The first difference is at byte %d of %d.\n", r.ID, r.Program, own, difference(body, r.Body), len(r.Body))
	default:
		return &parcels.Error{Kind: parcels.Failed, Op: "plan again", Subject: r.ID, Err: fmt.Errorf("worked again by the same program, the plan differs from byte %d of %d on", difference(body, r.Body), len(r.Body))}
	}
	return verdict(plan)
}

func short(sum string) string { return sum[:min(12, len(sum))] }

// difference is the place of the first byte that differs.
func difference(a, b []byte) int {
	n := min(len(a), len(b))
	for i := range n {
		if a[i] != b[i] {
			return i
		}
	}
	return n
}
