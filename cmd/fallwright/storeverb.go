package main

// fallwright store: what a store holds, who changed it, and taking a site out.

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"fallwright/parcels"
	"fallwright/parcels/document"
)

type storeCmd struct {
	Sites   storeSitesCmd   `cmd:"" help:"List the stored sites."`
	History storeHistoryCmd `cmd:"" help:"List the edits of a site: who changed what, when."`
	Rasters storeRastersCmd `cmd:"" help:"List the elevation rasters of a site."`
	Results storeResultsCmd `cmd:"" help:"List the stored plans, audits and other results of a site."`
	Result  storeResultCmd  `cmd:"" help:"Write a stored result, byte for byte."`
	Set     storeSetCmd     `cmd:"" help:"Set what stands beside the layers of a site: criteria, rainfall, soil, terrain, vertical_datum, ..."`
	Delete  storeDeleteCmd  `cmd:"" help:"Take a site out with its rasters, results and jobs; asks for its name. The history stays."`
}

type storeName struct {
	Store string `help:"Store: a file (name.gpkg) or postgres://..." required:"" placeholder:"S" env:"FALLWRIGHT_STORE"`
}

type siteOf struct {
	storeName
	Site string `help:"Name of the site in the store." required:"" placeholder:"NAME"`
}

// list prints rows for people, or v as JSON.
func (e *env) list(machine bool, v any, t *table, none string) error {
	if machine {
		b, err := json.MarshalIndent(v, "", " ")
		if err != nil {
			return err
		}
		return e.write("-", append(b, '\n'))
	}
	if len(t.rows) == 0 {
		_, err := fmt.Fprintln(e.stdout, none)
		return err
	}
	return t.write(e.stdout)
}

const minute = "2006-01-02 15:04"

type storeSitesCmd struct {
	storeName
	JSON bool `name:"json" help:"Write the machine's form."`
}

func (c storeSitesCmd) Run(e *env) error {
	st, err := openStore(c.Store, storeRead)
	if err != nil {
		return err
	}
	defer st.Close()
	list, err := st.Sites(e.ctx)
	if err != nil {
		return err
	}
	t := &table{head: []string{"site", "version", "changed (UTC)", "system", "features"}, right: "_r"}
	for _, i := range list {
		var has []string
		for _, l := range parcels.Layers {
			if n, ok := i.Features[l]; ok {
				has = append(has, fmt.Sprintf("%s %d", l, n))
			}
		}
		crs := i.CRS
		if crs == "" {
			crs = "longitude, latitude"
		}
		t.row(parcels.Excerpt(i.Name), strconv.FormatInt(i.Version, 10), i.Changed.Format(minute), crs, strings.Join(has, ", "))
	}
	return e.list(c.JSON, map[string]any{"sites": orEmpty(list)}, t, "The store holds no site.")
}

func orEmpty[T any](list []T) []T {
	if list == nil {
		return []T{}
	}
	return list
}

type storeHistoryCmd struct {
	siteOf
	JSON bool `name:"json" help:"Write the machine's form."`
}

func (c storeHistoryCmd) Run(e *env) error {
	st, err := openStore(c.Store, storeRead)
	if err != nil {
		return err
	}
	defer st.Close()
	list, err := st.History(e.ctx, c.Site)
	if err != nil {
		return err
	}
	t := &table{head: []string{"version", "when (UTC)", "who", "what"}, right: "r"}
	for _, h := range list {
		t.row(strconv.FormatInt(h.Version, 10), h.When.Format(minute), parcels.Excerpt(h.Who), h.What)
	}
	return e.list(c.JSON, map[string]any{"edits": orEmpty(list)}, t, "No edits.")
}

type storeRastersCmd struct {
	siteOf
	JSON bool `name:"json" help:"Write the machine's form."`
}

func (c storeRastersCmd) Run(e *env) error {
	st, err := openStore(c.Store, storeRead)
	if err != nil {
		return err
	}
	defer st.Close()
	list, err := st.Rasters(e.ctx, c.Site)
	if err != nil {
		return err
	}
	t := &table{head: []string{"raster", "format", "cells", "system", "unit of elevation", "bytes", "stored (UTC)", "sha256"}, right: "__r__r"}
	for _, r := range list {
		t.row(parcels.Excerpt(r.Name), r.Format, fmt.Sprintf("%d x %d", r.Columns, r.Rows), r.CRS, fmt.Sprintf("%.9g m", float64(r.ElevationUnit)), strconv.FormatInt(r.Bytes, 10), r.Stored.Format(minute), short(r.SHA256))
	}
	return e.list(c.JSON, map[string]any{"rasters": orEmpty(list)}, t, "No rasters.")
}

type storeResultsCmd struct {
	siteOf
	Kind string `help:"Only those of this kind: plan, audit, zone, check or asbuilt." placeholder:"KIND"`
	JSON bool   `name:"json" help:"Write the machine's form."`
}

func (c storeResultsCmd) Run(e *env) error {
	st, err := openStore(c.Store, storeRead)
	if err != nil {
		return err
	}
	defer st.Close()
	list, err := st.Results(e.ctx, c.Site, c.Kind)
	if err != nil {
		return err
	}
	t := &table{head: []string{"result", "kind", "of version", "made (UTC)", "program", "document", "ground"}, right: "__r"}
	for _, r := range list {
		ground := "-"
		if r.Ground != "" {
			ground = short(r.Ground)
		}
		t.row(r.ID, r.Kind, strconv.FormatInt(r.Version, 10), r.Made.Format(minute), r.Program, short(r.InputSHA), ground)
	}
	return e.list(c.JSON, map[string]any{"results": orEmpty(list)}, t, "No results.")
}

type storeResultCmd struct {
	storeName
	ID  string `arg:"" help:"The result, as listed: r7."`
	Out string `short:"o" help:"File to write; - is standard output." default:"-"`
}

func (c storeResultCmd) Run(e *env) error {
	st, err := openStore(c.Store, storeRead)
	if err != nil {
		return err
	}
	defer st.Close()
	r, err := st.Result(e.ctx, c.ID)
	if err != nil {
		return err
	}
	return e.write(c.Out, r.Body)
}

type storeSetCmd struct {
	siteOf
	Settings  []string `arg:"" help:"KEY=VALUE; a VALUE that begins with @ is a file (YAML or JSON), an empty one takes the setting out: criteria=@firm.yaml, terrain=dtm.tif."`
	IfVersion int64    `help:"Refuse unless the site is at this version." placeholder:"N"`
}

// settable are the members of a site document that are set by themselves.
var settable = []string{"elevation_unit", "vertical_datum", "benchmark", "origin", "terrain", "rainfall", "soil", "criteria"}

func (c storeSetCmd) Run(e *env) error {
	members := map[string]json.RawMessage{}
	for _, s := range c.Settings {
		key, value, ok := strings.Cut(s, "=")
		if !ok || !slices.Contains(settable, key) {
			return inputFault("", "option-invalid", fmt.Sprintf("%q is not KEY=VALUE with a key of %v.", parcels.Excerpt(s), settable))
		}
		file, named := strings.CutPrefix(value, "@")
		switch {
		case value == "":
			members[key] = json.RawMessage("null")
		case named:
			text, err := e.criteriaJSON(file) // YAML or JSON, whatever it is of
			if err != nil {
				return err
			}
			members[key] = text
		case json.Valid([]byte(value)) && strings.ContainsAny(value[:1], `{["`):
			members[key] = json.RawMessage(value)
		default:
			members[key], _ = json.Marshal(value)
		}
	}
	st, err := openStore(c.Store, storeThere)
	if err != nil {
		return err
	}
	defer st.Close()
	info, err := st.Site(e.ctx, c.Site)
	if err != nil {
		return err
	}
	if err := e.readable(st, info, members); err != nil {
		return err
	}
	if c.IfVersion == 0 {
		c.IfVersion = info.Version // the one that was looked at
	}
	info, err = st.PutSettings(e.ctx, c.Site, members, c.IfVersion, userName())
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(e.stdout, "Set in %s, now version %d.\n", parcels.Excerpt(c.Site), info.Version)
	return err
}

// readable holds settings against the strict reader, with one lot of the site
// beside them; a raster named as terrain must be stored.
func (e *env) readable(st parcels.Store, info parcels.SiteInfo, members map[string]json.RawMessage) error {
	doc := map[string]any{"layers": map[string]any{}}
	if info.CRS != "" {
		doc["crs"] = info.CRS
	}
	for k, v := range members {
		if string(v) != "null" {
			doc[k] = v
		}
	}
	lots := []any{}
	for f, err := range st.Features(e.ctx, info.Name, parcels.LayerParcels, parcels.Window{Limit: 1}) {
		if err != nil {
			return err
		}
		lots = append(lots, map[string]any{"type": "Feature", "geometry": f.Geometry, "properties": map[string]any{}})
	}
	if len(lots) == 0 {
		return inputFault("", "no-parcels", "The site has no parcels yet. Import them first.")
	}
	doc["layers"] = map[string]any{"parcels": map[string]any{"type": "FeatureCollection", "features": lots}}
	text, err := json.Marshal(doc)
	if err != nil {
		return err
	}
	s, err := document.Read(text, document.Options{})
	if err != nil {
		return err
	}
	if s.Terrain == "" {
		return nil
	}
	_, _, err = storedGround(e.ctx, st, info.Name, s, "")
	return err
}

type storeDeleteCmd struct {
	siteOf
	Confirm string `help:"The name of the site once more, in place of being asked." placeholder:"NAME"`
}

func (c storeDeleteCmd) Run(e *env) error {
	st, err := openStore(c.Store, storeThere)
	if err != nil {
		return err
	}
	defer st.Close()
	info, err := st.Site(e.ctx, c.Site)
	if err != nil {
		return err
	}
	if c.Confirm == "" {
		rasters, err := st.Rasters(e.ctx, c.Site)
		if err != nil {
			return err
		}
		results, err := st.Results(e.ctx, c.Site, "")
		if err != nil {
			return err
		}
		n := 0
		for _, k := range info.Features {
			n += k
		}
		fmt.Fprintf(e.stderr, "Site %s, version %d: %d features, %d rasters and %d results go for good.\nType the name of the site to delete it: ", parcels.Excerpt(c.Site), info.Version, n, len(rasters), len(results))
		line, err := bufio.NewReader(io.LimitReader(e.stdin, 4096)).ReadString('\n')
		if err != nil && err != io.EOF {
			return err
		}
		c.Confirm = strings.TrimRight(line, "\r\n")
	}
	if c.Confirm != c.Site {
		return inputFault("", "not-confirmed", fmt.Sprintf("Not deleted: %q is not the name of the site.", parcels.Excerpt(c.Confirm)))
	}
	if err := st.DeleteSite(e.ctx, c.Site, userName()); err != nil {
		return err
	}
	_, err = fmt.Fprintf(e.stdout, "Deleted %s.\n", parcels.Excerpt(c.Site))
	return err
}
