package api

// Stored layers and results as OGC API - Features, Parts 1 and 2. A collection
// is a layer over all sites that the caller may see.

import (
	"bytes"
	"context"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"sort"
	"strconv"
	"strings"
	"sync"

	"github.com/labstack/echo/v4"
	"github.com/paulmach/orb"

	"fallwright/openapi"
	"fallwright/parcels"
)

// resultKinds are the results that are read as features, with the member of the
// document that holds them.
var resultKinds = map[string][]string{
	"plan":  {"network", "features"},
	"zone":  {"features"},
	"check": {"features"},
	"audit": {"lots", "features"},
}

const resultsPrefix = "results_"

// sites gives the stored sites that the caller may see, by name.
func (s *service) sites(c echo.Context) ([]parcels.SiteInfo, error) {
	if s.Store == nil {
		return nil, nil
	}
	all, err := s.Store.Sites(c.Request().Context())
	if err != nil {
		return nil, err
	}
	who := caller(c)
	all = slices.DeleteFunc(slices.Clone(all), func(i parcels.SiteInfo) bool { return !who.scope(i.Name) })
	sort.Slice(all, func(i, j int) bool { return all[i].Name < all[j].Name })
	return all, nil
}

// siteTag is the entity tag of what depends on these sites, their results and
// the request.
func (s *service) siteTag(c echo.Context, sites []parcels.SiteInfo, more ...any) string {
	parts := []any{s.Version, s.base(c), c.Request().URL.RequestURI(), c.Request().Header.Get("Accept")}
	for _, i := range sites {
		parts = append(parts, i.Name, i.Version, timeText(i.Changed))
	}
	return hashTag(append(parts, more...)...)
}

// A collection is one that can be asked for.
type collection struct {
	id     string
	layer  parcels.Layer // empty: of results
	kind   string        // of results
	sites  []parcels.SiteInfo
	titled string
	about  string
}

// storage is the system all of the sites are in, else longitude, latitude.
func (col collection) storage() string {
	code := ""
	for i, site := range col.sites {
		if i > 0 && site.CRS != code {
			return ""
		}
		code = site.CRS
	}
	return code
}

// systems lists the systems that the collection is offered in, the default
// first.
func (col collection) systems() []string {
	out := []string{crs84, latLonURI, epsgURI + "3857"}
	for _, site := range col.sites {
		if uri := crsURI(site.CRS); !slices.Contains(out, uri) {
			out = append(out, uri)
		}
	}
	return out
}

func (s *service) layerCollection(layer parcels.Layer, sites []parcels.SiteInfo) (collection, bool) {
	col := collection{id: string(layer), layer: layer, titled: strings.ToUpper(string(layer[0])) + strings.ReplaceAll(string(layer[1:]), "_", " ")}
	for _, site := range sites {
		if _, ok := site.Features[layer]; ok {
			col.sites = append(col.sites, site)
		}
	}
	col.about = fmt.Sprintf("Layer %s of %d stored sites.", layer, len(col.sites))
	return col, len(col.sites) > 0
}

func (s *service) resultCollection(ctx context.Context, kind string, sites []parcels.SiteInfo) (collection, bool, error) {
	col := collection{id: resultsPrefix + kind, kind: kind, titled: "Results: " + kind, about: "Stored results of the process " + kind + " as features."}
	for _, site := range sites {
		rs, err := s.Store.Results(ctx, site.Name, kind)
		if err != nil {
			return col, false, err
		}
		if len(rs) > 0 {
			col.sites = append(col.sites, site)
		}
	}
	return col, len(col.sites) > 0, nil
}

// findCollection gives the collection of the path.
func (s *service) findCollection(c echo.Context) (collection, error) {
	id := c.Param("collection")
	sites, err := s.sites(c)
	if err != nil {
		return collection{}, err
	}
	if kind, ok := strings.CutPrefix(id, resultsPrefix); ok && resultKinds[kind] != nil {
		col, ok, err := s.resultCollection(c.Request().Context(), kind, sites)
		if ok || err != nil {
			return col, err
		}
	} else if slices.Contains(parcels.Layers, parcels.Layer(id)) {
		if col, ok := s.layerCollection(parcels.Layer(id), sites); ok {
			return col, nil
		}
	}
	return collection{}, refuse("not-found", "There is no collection %s; see /collections.", parcels.Excerpt(id))
}

func (s *service) describe(c echo.Context, col collection) map[string]any {
	at := s.base(c) + "/collections/" + col.id
	m := map[string]any{
		"id": col.id, "title": col.titled, "description": col.about, "itemType": "feature",
		"crs": col.systems(), "storageCrs": crsURI(col.storage()),
		"links": []link{
			{at, "self", appJSON, "This collection"},
			{at + "?f=html", "alternate", "text/html", "This collection as a page"},
			{at + "/items", "items", geoJSON, "Features"},
			{at + "/items?f=html", "items", "text/html", "Features as a page"},
		},
	}
	var all *orb.Bound
	for _, site := range col.sites {
		if site.Bounds == nil {
			continue
		}
		b := orb.Bound{Min: orb.Point{site.Bounds[0], site.Bounds[1]}, Max: orb.Point{site.Bounds[2], site.Bounds[3]}}
		if ll, ok, err := s.frames.box(b, systemOf(crsURI(site.CRS)), system{uri: crs84}); err == nil && ok {
			if all != nil {
				ll = ll.Union(*all)
			}
			all = &ll
		}
	}
	if all != nil {
		m["extent"] = map[string]any{"spatial": map[string]any{"bbox": [][]float64{{all.Min[0], all.Min[1], all.Max[0], all.Max[1]}}, "crs": crs84}}
	}
	return m
}

func (s *service) collections(c echo.Context) error {
	sites, err := s.sites(c)
	if err != nil {
		return err
	}
	list := []map[string]any{}
	ids := []any{}
	for _, layer := range parcels.Layers {
		if col, ok := s.layerCollection(layer, sites); ok {
			list = append(list, s.describe(c, col))
		}
	}
	for _, kind := range slices.Sorted(mapKeysOf(resultKinds)) {
		if s.Store == nil {
			break
		}
		col, ok, err := s.resultCollection(c.Request().Context(), kind, sites)
		if err != nil {
			return err
		}
		if ok {
			list = append(list, s.describe(c, col))
			ids = append(ids, col.id)
		}
	}
	if notModified(c, s.siteTag(c, sites, ids...)) {
		return c.NoContent(http.StatusNotModified)
	}
	return s.respond(c, "Collections", map[string]any{"collections": list, "links": s.selfLinks(c, "/collections")})
}

func mapKeysOf[V any](m map[string]V) func(func(string) bool) {
	return func(yield func(string) bool) {
		for k := range m {
			if !yield(k) {
				return
			}
		}
	}
}

func (s *service) collection(c echo.Context) error {
	col, err := s.findCollection(c)
	if err != nil {
		return err
	}
	if notModified(c, s.siteTag(c, col.sites)) {
		return c.NoContent(http.StatusNotModified)
	}
	return s.respond(c, col.titled, s.describe(c, col))
}

// positive reads a whole number of at least 1; a greater one than most counts
// as most.
func positive(c echo.Context, name string, def, most int) (int, error) {
	text := c.QueryParam(name)
	if text == "" {
		return def, nil
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < 1 {
		return 0, refuse("parameter-invalid", "%s is a whole number from 1, not %s.", name, parcels.Excerpt(text))
	}
	return min(n, most), nil
}

// crsParam reads a parameter that names one of the collection's systems.
func crsParam(c echo.Context, name string, col collection) (system, error) {
	uri := c.QueryParam(name)
	if uri == "" {
		return system{uri: crs84}, nil
	}
	uri = strings.Trim(uri, "[]<>")
	if code, ok := strings.CutPrefix(strings.ToUpper(uri), "EPSG:"); ok {
		uri = epsgURI + code
	}
	uri = strings.Replace(uri, "https://", "http://", 1)
	if !slices.Contains(col.systems(), uri) {
		return system{}, refuse("parameter-invalid", "%s %s is none of the collection's systems; see its crs.", name, parcels.Excerpt(uri))
	}
	return systemOf(uri), nil
}

// A query is what is asked of a collection.
type query struct {
	col    collection
	limit  int
	site   string // of the cursor
	after  int64  // of the cursor
	box    *orb.Bound
	boxCRS system
	crs    system
	equal  map[string]string
	prefix bool // ids bear the site's name
}

// itemParams are the parameters of items that are no property filters.
var itemParams = map[string]bool{"site": true, "limit": true, "cursor": true, "bbox": true, "bbox-crs": true, "datetime": true, "crs": true, "f": true}

func (s *service) readQuery(c echo.Context) (q query, err error) {
	if q.col, err = s.findCollection(c); err != nil {
		return q, err
	}
	values, err := url.ParseQuery(c.Request().URL.RawQuery)
	if err != nil {
		return q, refuse("parameter-invalid", "The query of the address cannot be read.")
	}
	q.prefix = len(q.col.sites) > 1
	if name := values.Get("site"); name != "" {
		q.col.sites = slices.DeleteFunc(slices.Clone(q.col.sites), func(i parcels.SiteInfo) bool { return i.Name != name })
		q.prefix = false
		if len(q.col.sites) == 0 {
			return q, absent(name)
		}
	}
	if q.limit, err = positive(c, "limit", 100, s.limits.PageItems); err != nil {
		return q, err
	}
	if text := values.Get("cursor"); text != "" {
		raw, err := base64.RawURLEncoding.DecodeString(text)
		site, fid, ok := strings.Cut(string(raw), "\x00")
		if q.after, _ = strconv.ParseInt(fid, 10, 64); err != nil || !ok || q.after < 0 {
			return q, refuse("parameter-invalid", "cursor is taken from a next link, not made up.")
		}
		q.site = site
	}
	if q.crs, err = crsParam(c, "crs", q.col); err != nil {
		return q, err
	}
	if q.boxCRS, err = crsParam(c, "bbox-crs", q.col); err != nil {
		return q, err
	}
	if text := values.Get("bbox"); text != "" {
		b, err := parseBox(text)
		if err != nil {
			return q, err
		}
		if b.Min[0] > b.Max[0] && q.boxCRS.code != "" {
			return q, refuse("parameter-invalid", "bbox has its least x after its greatest; that is for longitudes only.")
		}
		q.box = &b
	}
	for name, v := range values {
		if itemParams[name] {
			if len(v) > 1 {
				return q, refuse("parameter-invalid", "%s stands twice in the address.", parcels.Excerpt(name))
			}
			continue
		}
		if len(v) != 1 || name == "" || len(name) > 200 || len(v[0]) > 1000 {
			return q, refuse("filter-invalid", "The filter %s stands twice or is too long.", parcels.Excerpt(name))
		}
		if q.equal == nil {
			q.equal = map[string]string{}
		}
		q.equal[name] = v[0]
	}
	if len(q.equal) > 20 {
		return q, refuse("filter-invalid", "At most 20 filters.")
	}
	return q, nil
}

// window is the query for one site; ok is false where it can have nothing.
func (s *service) window(q query, site parcels.SiteInfo) (w parcels.Window, ok bool, err error) {
	w = parcels.Window{Equal: q.equal}
	if q.box == nil {
		return w, true, nil
	}
	own := systemOf(crsURI(site.CRS))
	b := *q.box
	if b.Min[0] > b.Max[0] { // over the antimeridian: the side the site lies on
		east := true
		if site.Bounds != nil {
			sb := orb.Bound{Min: orb.Point{site.Bounds[0], site.Bounds[1]}, Max: orb.Point{site.Bounds[2], site.Bounds[3]}}
			if ll, ok, err := s.frames.box(sb, own, system{uri: crs84}); err == nil && ok {
				east = ll.Center()[0] > 0
			}
		}
		if east {
			b.Max[0] = 180
		} else {
			b.Min[0] = -180
		}
	}
	in, ok, err := s.frames.box(b, q.boxCRS, own)
	if err != nil || !ok {
		return w, false, err
	}
	w.Bounds = &in
	return w, true, nil
}

// A foundFeature is a feature with the site it is of.
type foundFeature struct {
	site     string
	fid      int64
	id       string
	text     json.RawMessage // the Feature
	props    json.RawMessage
	geometry json.RawMessage // as it is stored
}

// featureText writes a feature as it is sent.
func featureText(id string, geometry, properties json.RawMessage, site string, self string) json.RawMessage {
	var b bytes.Buffer
	b.Grow(len(geometry) + len(properties) + 100)
	b.WriteString(`{"type":"Feature","id":`)
	i, _ := json.Marshal(id)
	b.Write(i)
	b.WriteString(`,"geometry":`)
	if len(geometry) == 0 {
		b.WriteString("null")
	} else {
		b.Write(geometry)
	}
	b.WriteString(`,"properties":`)
	b.Write(withSite(properties, site))
	if self != "" {
		b.WriteString(self)
	}
	b.WriteByte('}')
	return b.Bytes()
}

// withSite adds the property site where the feature has none of that name.
func withSite(properties json.RawMessage, site string) json.RawMessage {
	p := bytes.TrimSpace(properties)
	name, _ := json.Marshal(site)
	if len(p) < 2 || p[0] != '{' {
		return []byte(`{"site":` + string(name) + `}`)
	}
	if bytes.Contains(p, []byte(`"site"`)) {
		var m map[string]json.RawMessage
		if json.Unmarshal(p, &m) == nil && m["site"] != nil {
			return p
		}
	}
	rest := bytes.TrimSpace(p[1:])
	comma := ","
	if rest[0] == '}' {
		comma = ""
	}
	return []byte(`{"site":` + string(name) + comma + string(rest))
}

func (q query) outID(site string, f parcels.StoredFeature) string {
	id := f.ID
	if id == "" {
		id = strconv.FormatInt(f.FID, 10)
	}
	if q.prefix {
		id = site + ":" + id
	}
	return id
}

// find gives a page of features, how many match in all, and the cursor of the
// next page, empty after the last.
func (s *service) find(ctx context.Context, q query) (out []foundFeature, matched int, next string, err error) {
	if q.col.kind != "" {
		return s.findResults(ctx, q)
	}
	more := false
	for _, site := range q.col.sites {
		w, ok, err := s.window(q, site)
		if err != nil {
			return nil, 0, "", err
		}
		if !ok {
			continue
		}
		if more || site.Name < q.site {
			n, err := s.Store.Count(ctx, site.Name, q.col.layer, w)
			if err != nil {
				return nil, 0, "", err
			}
			matched += n
			continue
		}
		whole, before := w, len(out)
		if site.Name == q.site {
			w.After = q.after
		}
		w.Limit = q.limit - len(out) + 1
		m, err := s.frames.between(systemOf(crsURI(site.CRS)), q.crs)
		if err != nil {
			return nil, 0, "", err
		}
		for f, err := range s.Store.Features(ctx, site.Name, q.col.layer, w) {
			if err != nil {
				return nil, 0, "", err
			}
			if len(out) == q.limit {
				more = true
				last := out[len(out)-1]
				next = base64.RawURLEncoding.EncodeToString([]byte(last.site + "\x00" + strconv.FormatInt(last.fid, 10)))
				break
			}
			g, err := moveGeometry(f.Geometry, m, q.crs.decimals())
			if err != nil {
				return nil, 0, "", err
			}
			id := q.outID(site.Name, f)
			out = append(out, foundFeature{site: site.Name, fid: f.FID, id: id, text: featureText(id, g, f.Properties, site.Name, ""), props: f.Properties, geometry: f.Geometry})
		}
		n := len(out) - before
		if more || w.After > 0 { // else all of them were read
			if n, err = s.Store.Count(ctx, site.Name, q.col.layer, whole); err != nil {
				return nil, 0, "", err
			}
		}
		matched += n
	}
	if matched == 0 && len(q.equal) > 0 {
		if err := s.knownProperties(ctx, q); err != nil {
			return nil, 0, "", err
		}
	}
	return out, matched, next, nil
}

func geometryType(g json.RawMessage) string {
	var t struct{ Type string }
	_ = json.Unmarshal(g, &t)
	return t.Type
}

// layerProperties are the properties that the document names for a layer.
var layerProperties = sync.OnceValue(func() map[parcels.Layer]map[string]bool {
	var doc struct {
		Components struct {
			Schemas map[string]json.RawMessage
		}
	}
	if err := json.Unmarshal(openapi.JSON(), &doc); err != nil {
		panic(fmt.Sprintf("api: layers: %v", err))
	}
	var layers struct {
		Properties map[parcels.Layer]struct {
			Ref string `json:"$ref"`
		}
	}
	_ = json.Unmarshal(doc.Components.Schemas["Layers"], &layers)
	out := map[parcels.Layer]map[string]bool{}
	for layer, r := range layers.Properties {
		var s struct {
			AllOf []struct {
				Properties struct {
					Features struct {
						Items struct {
							Properties struct {
								Properties struct {
									Properties map[string]any
								}
							}
						}
					}
				}
			}
		}
		_ = json.Unmarshal(doc.Components.Schemas[strings.TrimPrefix(r.Ref, "#/components/schemas/")], &s)
		out[layer] = map[string]bool{}
		for _, part := range s.AllOf {
			for name := range part.Properties.Features.Items.Properties.Properties.Properties {
				out[layer][name] = true
			}
		}
	}
	return out
})

// knownProperties refuses a filter on a property that neither the document nor
// a look at the features knows: a slip of the pen must not read as "none".
func (s *service) knownProperties(ctx context.Context, q query) error {
	unknown := map[string]bool{}
	for name := range q.equal {
		if !layerProperties()[q.col.layer][name] {
			unknown[name] = true
		}
	}
	for _, site := range q.col.sites {
		if len(unknown) == 0 {
			return nil
		}
		for f, err := range s.Store.Features(ctx, site.Name, q.col.layer, parcels.Window{Limit: 1000}) {
			if err != nil {
				return err
			}
			var m map[string]json.RawMessage
			_ = json.Unmarshal(f.Properties, &m)
			for name := range m {
				delete(unknown, name)
			}
		}
	}
	for name := range unknown {
		return refuse("filter-invalid", "The collection %s has no property %s.", q.col.id, parcels.Excerpt(name)).at(parcels.Fault{Member: parcels.Excerpt(name), Offset: parcels.Num(int64(0))})
	}
	return nil
}

// findResults pages through the features of stored results. They are few, so
// they are gone through in memory.
func (s *service) findResults(ctx context.Context, q query) (out []foundFeature, matched int, next string, err error) {
	n := int64(0)
	for _, site := range q.col.sites {
		w, ok, err := s.window(q, site)
		if err != nil {
			return nil, 0, "", err
		}
		if !ok {
			continue
		}
		list, err := s.Store.Results(ctx, site.Name, q.col.kind)
		if err != nil {
			return nil, 0, "", err
		}
		for _, r := range list {
			if r.Body == nil {
				if r, err = s.Store.Result(ctx, r.ID); err != nil {
					return nil, 0, "", err
				}
			}
			features, own, err := resultFeatures(r, site)
			if err != nil {
				return nil, 0, "", err
			}
			m, err := s.frames.between(own, q.crs)
			if err != nil {
				return nil, 0, "", err
			}
			for i, f := range features {
				n++
				if !holds(f.Properties, q.equal) || w.Bounds != nil && !touches(f.Geometry, *w.Bounds) {
					continue
				}
				matched++
				if n <= q.after {
					continue
				}
				if len(out) == q.limit {
					if next == "" {
						next = base64.RawURLEncoding.EncodeToString([]byte("results\x00" + strconv.FormatInt(out[len(out)-1].fid, 10)))
					}
					continue
				}
				g, err := moveGeometry(f.Geometry, m, q.crs.decimals())
				if err != nil {
					return nil, 0, "", err
				}
				id := fmt.Sprintf("%s.%d", r.ID, i)
				out = append(out, foundFeature{site: site.Name, fid: n, id: id, text: featureText(id, g, f.Properties, site.Name, ""), props: f.Properties, geometry: f.Geometry})
			}
		}
	}
	return out, matched, next, nil
}

type plainFeature struct {
	Geometry   json.RawMessage
	Properties json.RawMessage
}

// resultFeatures takes the features out of a result, with their system.
func resultFeatures(r parcels.Result, site parcels.SiteInfo) ([]plainFeature, system, error) {
	own := systemOf(crsURI(site.CRS))
	var top map[string]json.RawMessage
	if err := json.Unmarshal(r.Body, &top); err != nil {
		return nil, own, fmt.Errorf("api: stored result %s: %w", r.ID, err)
	}
	var framed struct{ CRS string }
	if json.Unmarshal(top["frame"], &framed) == nil && framed.CRS != "" {
		own = systemOf(crsURI(framed.CRS))
	}
	var named string
	if json.Unmarshal(top["crs"], &named) == nil && named != "" {
		own = systemOf(crsURI(named))
	}
	raw := json.RawMessage(r.Body)
	for _, key := range resultKinds[r.Kind] {
		var m map[string]json.RawMessage
		if json.Unmarshal(raw, &m) != nil || m[key] == nil {
			return nil, own, nil
		}
		raw = m[key]
	}
	var list []plainFeature
	if err := json.Unmarshal(raw, &list); err != nil {
		return nil, own, fmt.Errorf("api: stored result %s: %w", r.ID, err)
	}
	return list, own, nil
}

// holds says whether the properties equal the texts asked for.
func holds(properties json.RawMessage, equal map[string]string) bool {
	if len(equal) == 0 {
		return true
	}
	var m map[string]json.RawMessage
	if json.Unmarshal(properties, &m) != nil {
		return false
	}
	for k, want := range equal {
		raw, ok := m[k]
		if !ok {
			return false
		}
		got := string(raw)
		var text string
		if json.Unmarshal(raw, &text) == nil {
			got = text
		}
		if got != want {
			return false
		}
	}
	return true
}

// touches says whether the bounds of a geometry touch the box.
func touches(geometry json.RawMessage, b orb.Bound) bool {
	first := true
	var own orb.Bound
	_, err := moveGeometry(geometry, func(p orb.Point) orb.Point {
		if first {
			own, first = orb.Bound{Min: p, Max: p}, false
		}
		own = own.Extend(p)
		return p
	}, 0)
	return err == nil && !first && own.Intersects(b)
}

func (s *service) items(c echo.Context) error {
	q, err := s.readQuery(c)
	if err != nil {
		return err
	}
	if q.col.layer != "" && notModified(c, s.siteTag(c, q.col.sites)) {
		return c.NoContent(http.StatusNotModified)
	}
	found, matched, next, err := s.find(c.Request().Context(), q)
	if err != nil {
		return err
	}
	here := s.base(c) + "/collections/" + q.col.id + "/items"
	with := func(set map[string]string) string {
		v := c.Request().URL.Query()
		for k, x := range set {
			if x == "" {
				v.Del(k)
			} else {
				v.Set(k, x)
			}
		}
		if len(v) == 0 {
			return here
		}
		return here + "?" + v.Encode()
	}
	links := []link{
		{with(nil), "self", geoJSON, "This page"},
		{with(map[string]string{"f": "html"}), "alternate", "text/html", "This page for people"},
		{s.base(c) + "/collections/" + q.col.id, "collection", appJSON, q.col.titled},
	}
	if next != "" {
		links = append(links, link{with(map[string]string{"cursor": next}), "next", geoJSON, "Next page"})
	}
	html, err := wantsHTML(c)
	if err != nil {
		return err
	}
	c.Response().Header().Set("Content-Crs", "<"+q.crs.uri+">")
	if html {
		p := page{Title: q.col.titled, Lead: fmt.Sprintf("%d of %d features.", len(found), matched), Table: featureTable(found, here, q)}
		if next != "" {
			p.Pager = []link{{Href: with(map[string]string{"cursor": next, "f": "html"}), Rel: "next", Title: "Next page"}}
		}
		return s.render(c, p)
	}
	var b bytes.Buffer
	n := 300
	for _, f := range found {
		n += len(f.text) + 1
	}
	b.Grow(n)
	l, err := json.Marshal(links)
	if err != nil {
		return fmt.Errorf("api: links: %w", err)
	}
	fmt.Fprintf(&b, `{"type":"FeatureCollection","timeStamp":%q,"numberMatched":%d,"numberReturned":%d,"links":%s,"features":[`, timeText(s.Now()), matched, len(found), l)
	for i, f := range found {
		if i > 0 {
			b.WriteByte(',')
		}
		b.Write(f.text)
	}
	b.WriteString("]}")
	return c.Blob(http.StatusOK, geoJSON, b.Bytes())
}

// featureTable lists features with their properties in columns.
func featureTable(found []foundFeature, at string, q query) *table {
	var names []string
	rows := make([]map[string]json.RawMessage, len(found))
	for i, f := range found {
		_ = json.Unmarshal(f.props, &rows[i])
		for k := range rows[i] {
			if !slices.Contains(names, k) && len(names) < 40 {
				names = append(names, k)
			}
		}
	}
	slices.Sort(names)
	t := &table{Head: append([]string{"id", "site", "geometry"}, names...)}
	for i, f := range found {
		href := at + "/" + url.PathEscape(f.id) + "?f=html"
		row := []*node{{Text: f.id, Href: href}, {Text: f.site}, {Text: geometryType(f.geometry)}}
		for _, k := range names {
			raw := rows[i][k]
			cell := string(raw)
			var word string
			if json.Unmarshal(raw, &word) == nil && len(raw) > 0 && raw[0] == '"' {
				cell = word
			}
			row = append(row, &node{Text: cell})
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

// item answers with one feature.
func (s *service) item(c echo.Context) error {
	col, err := s.findCollection(c)
	if err != nil {
		return err
	}
	for name := range c.QueryParams() {
		if name != "site" && name != "crs" && name != "f" {
			return refuse("parameter-invalid", "There is no parameter %s here.", parcels.Excerpt(name))
		}
	}
	crs, err := crsParam(c, "crs", col)
	if err != nil {
		return err
	}
	id := c.Param("feature")
	if col.layer != "" && notModified(c, s.siteTag(c, col.sites)) {
		return c.NoContent(http.StatusNotModified)
	}
	none := refuse("not-found", "The collection %s has no feature %s.", col.id, parcels.Excerpt(id))
	var hits []foundFeature
	if col.kind != "" {
		found, _, _, err := s.findResults(c.Request().Context(), query{col: col, limit: 1 << 30, crs: crs})
		if err != nil {
			return err
		}
		for _, f := range found {
			if f.id == id {
				hits = append(hits, f)
			}
		}
	} else {
		name := c.QueryParam("site")
		if site, own, ok := strings.Cut(id, ":"); ok && name == "" && slices.ContainsFunc(col.sites, func(i parcels.SiteInfo) bool { return i.Name == site }) {
			if hits, err = s.byID(c.Request().Context(), col, site, own, crs, id); err != nil {
				return err
			}
		}
		if len(hits) == 0 {
			if hits, err = s.byID(c.Request().Context(), col, name, id, crs, ""); err != nil {
				return err
			}
		}
	}
	switch len(hits) {
	case 0:
		return none
	case 1:
	default:
		return refuse("conflict", "%d sites have a feature %s: ask with site=NAME.", len(hits), parcels.Excerpt(id))
	}
	at := s.base(c) + "/collections/" + col.id
	self := at + "/items/" + url.PathEscape(hits[0].id)
	links, err := json.Marshal([]link{{self, "self", geoJSON, "This feature"}, {self + "?f=html", "alternate", "text/html", "This feature as a page"}, {at, "collection", appJSON, col.titled}})
	if err != nil {
		return fmt.Errorf("api: links: %w", err)
	}
	body := append(bytes.TrimSuffix(hits[0].text, []byte("}")), `,"links":`...)
	body = append(append(body, links...), '}')
	c.Response().Header().Set("Content-Crs", "<"+crs.uri+">")
	return s.respondAs(c, geoJSON, page{Title: col.titled + " " + hits[0].id}, body)
}

// byID looks a feature up by the id of its file, else by its number for those
// that had none. An empty site looks in all.
func (s *service) byID(ctx context.Context, col collection, site, id string, crs system, as string) (hits []foundFeature, err error) {
	number, numErr := strconv.ParseInt(id, 10, 64)
	for _, info := range col.sites {
		if site != "" && info.Name != site {
			continue
		}
		m, err := s.frames.between(systemOf(crsURI(info.CRS)), crs)
		if err != nil {
			return nil, err
		}
		tries := []parcels.Window{{ID: id, Limit: 1}}
		if numErr == nil && number > 0 {
			tries = append(tries, parcels.Window{After: number - 1, Limit: 1})
		}
		for i, w := range tries {
			var hit *parcels.StoredFeature
			for f, err := range s.Store.Features(ctx, info.Name, col.layer, w) {
				if err != nil {
					return nil, err
				}
				if i == 0 || f.FID == number && f.ID == "" {
					hit = &f
				}
			}
			if hit == nil {
				continue
			}
			g, err := moveGeometry(hit.Geometry, m, crs.decimals())
			if err != nil {
				return nil, err
			}
			out := as
			if out == "" {
				out = query{prefix: site == "" && len(col.sites) > 1}.outID(info.Name, *hit)
			}
			hits = append(hits, foundFeature{site: info.Name, fid: hit.FID, id: out, text: featureText(out, g, hit.Properties, info.Name, "")})
			break
		}
	}
	return hits, nil
}

// hideAbsent gives the error of a missing site the words of one that may not be
// seen.
func hideAbsent(err error, site string) error {
	if isAbsent(err) {
		return absent(site)
	}
	return err
}

// isAbsent says whether the store does not have what was asked for.
func isAbsent(err error) bool {
	var e *parcels.Error
	return errors.As(err, &e) && e.Kind == parcels.NotFound
}
