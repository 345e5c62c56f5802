package api

// Pages and JSON documents: the same value in the form that the client asks
// for. Text of features is only ever text here (html/template escapes it).

import (
	"bytes"
	"embed"
	"encoding/json"
	"fmt"
	"html/template"
	"io"
	"io/fs"
	"net/http"
	"path"
	"strconv"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"fallwright/openapi"
	"fallwright/parcels"
)

//go:embed web
var web embed.FS

type link struct {
	Href  string `json:"href"`
	Rel   string `json:"rel"`
	Type  string `json:"type,omitempty"`
	Title string `json:"title,omitempty"`
}

// base is the address of the service as the client sees it, without a slash at
// its end.
func (s *service) base(c echo.Context) string {
	if s.Config.PublicURL != "" {
		return strings.TrimSuffix(s.Config.PublicURL, "/")
	}
	return c.Scheme() + "://" + c.Request().Host
}

func (s *service) selfLinks(c echo.Context, at string) []link {
	url := s.base(c) + at
	return []link{
		{Href: url, Rel: "self", Type: appJSON, Title: "This document"},
		{Href: url + "?f=html", Rel: "alternate", Type: "text/html", Title: "This document as a page"},
	}
}

// wantsHTML reads the f parameter, else the Accept header.
func wantsHTML(c echo.Context) (bool, error) {
	switch f := c.QueryParam("f"); f {
	case "html":
		return true, nil
	case "json":
		return false, nil
	case "":
	default:
		return false, refuse("parameter-invalid", "f is json or html, not %s.", parcels.Excerpt(f))
	}
	c.Response().Header().Add("Vary", "Accept")
	html, data := 0.0, 0.0
	for _, line := range c.Request().Header.Values("Accept") {
		for _, part := range strings.Split(line, ",") {
			media, params, _ := strings.Cut(part, ";")
			q := 1.0
			for _, p := range strings.Split(params, ";") {
				if v, ok := strings.CutPrefix(strings.TrimSpace(p), "q="); ok {
					q, _ = strconv.ParseFloat(v, 64)
				}
			}
			switch strings.ToLower(strings.TrimSpace(media)) {
			case "text/html", "application/xhtml+xml":
				html = max(html, q)
			case appJSON, geoJSON, "application/*":
				data = max(data, q)
			}
		}
	}
	return html > data, nil
}

// respond answers with the value as JSON or as a page.
func (s *service) respond(c echo.Context, title string, v any) error {
	return s.respondAs(c, appJSON, page{Title: title}, v)
}

func (s *service) respondAs(c echo.Context, media string, p page, v any) error {
	html, err := wantsHTML(c)
	if err != nil {
		return err
	}
	body, ok := v.([]byte)
	if !ok {
		if body, err = json.Marshal(v); err != nil {
			return fmt.Errorf("api: answer: %w", err)
		}
	}
	if !html {
		return c.Blob(http.StatusOK, media, body)
	}
	if p.Table == nil {
		n, err := tree(body, s.base(c))
		if err != nil {
			return fmt.Errorf("api: page: %w", err)
		}
		p.Value = n
	}
	return s.render(c, p)
}

// page is what the template draws.
type page struct {
	Base, Title, Lead string
	Crumbs, Pager     []link
	Value             *node
	Table             *table
	Drawing           template.HTML // made by drawing.go alone
	Cautions          []string
	JSON              string

	docsPage
}

type table struct {
	Head []string
	Rows [][]*node
}

type node struct {
	Text   string
	Href   string
	Fields []field
	Items  []*node
	Table  *table
}

type field struct {
	Name  string
	Value *node
}

type pages struct{ t *template.Template }

func newPages() *pages {
	return &pages{template.Must(template.New("").ParseFS(web, "web/page.html"))}
}

func (s *service) render(c echo.Context, p page) error {
	p.Base = s.base(c)
	if p.JSON == "" {
		q := c.Request().URL.Query()
		q.Set("f", "json")
		p.JSON = p.Base + c.Request().URL.EscapedPath() + "?" + q.Encode()
	}
	if p.Crumbs == nil {
		at := p.Base
		parts := strings.Split(strings.Trim(c.Request().URL.EscapedPath(), "/"), "/")
		for _, part := range parts[:len(parts)-1] {
			at += "/" + part
			p.Crumbs = append(p.Crumbs, link{Href: at, Title: part})
		}
	}
	var b bytes.Buffer
	if err := s.pages.t.ExecuteTemplate(&b, "page", p); err != nil {
		return fmt.Errorf("api: page: %w", err)
	}
	return c.HTMLBlob(http.StatusOK, b.Bytes())
}

// tree reads JSON, keys in order, for the page. Texts that begin with the
// service's own address become links; no other text does.
func tree(text []byte, base string) (*node, error) {
	dec := json.NewDecoder(bytes.NewReader(text))
	dec.UseNumber()
	return treeValue(dec, base, "")
}

func treeValue(dec *json.Decoder, base, key string) (*node, error) {
	t, err := dec.Token()
	if err != nil {
		return nil, err
	}
	switch t := t.(type) {
	case json.Delim:
		n := &node{}
		if t == '{' {
			for dec.More() {
				k, err := dec.Token()
				if err != nil {
					return nil, err
				}
				v, err := treeValue(dec, base, k.(string))
				if err != nil {
					return nil, err
				}
				n.Fields = append(n.Fields, field{k.(string), v})
			}
			if len(n.Fields) == 0 {
				n.Text = "none"
			}
		} else {
			for dec.More() {
				v, err := treeValue(dec, base, "")
				if err != nil {
					return nil, err
				}
				n.Items = append(n.Items, v)
			}
			switch {
			case len(n.Items) == 0:
				n.Text = "none"
			case key == "links":
				for _, item := range n.Items {
					asLink(item)
				}
			case len(n.Items) <= 6 && plain(n.Items):
				var words []string
				for _, i := range n.Items {
					words = append(words, i.Text)
				}
				n.Text, n.Items = strings.Join(words, ", "), nil
			}
		}
		_, err := dec.Token()
		return n, err
	case string:
		n := &node{Text: t}
		if strings.HasPrefix(t, base+"/") {
			n.Href = t
		}
		return n, nil
	case nil:
		return &node{Text: "not known"}, nil
	default:
		return &node{Text: fmt.Sprint(t)}, nil
	}
}

func plain(items []*node) bool {
	for _, i := range items {
		if i.Fields != nil || i.Items != nil || i.Href != "" || len(i.Text) > 40 {
			return false
		}
	}
	return true
}

// asLink draws a link object as one link.
func asLink(n *node) {
	var href, title, rel string
	for _, f := range n.Fields {
		switch f.Name {
		case "href":
			href = f.Value.Href
		case "title":
			title = f.Value.Text
		case "rel":
			rel = f.Value.Text
		}
	}
	if href == "" {
		return
	}
	if title == "" {
		title = rel
	}
	*n = node{Text: title, Href: href}
}

// landing is the map page, or for clients that ask for JSON the OGC landing
// page.
func (s *service) landing(c echo.Context) error {
	html, err := wantsHTML(c)
	if err != nil {
		return err
	}
	if html {
		if s.Page != nil {
			return s.file(c, s.Page, "index.html", "no-cache")
		}
		d := s.sample()
		return s.render(c, page{Title: "Drains that stay inside the lot and fall to the inlet",
			Lead:    d.lead,
			Drawing: d.svg, Cautions: parcels.Cautions, Crumbs: []link{}})
	}
	base := s.base(c)
	return c.JSON(http.StatusOK, map[string]any{
		"title":       "Fallwright",
		"description": "Yard drainage planned over parcel data. Every result is preliminary.",
		"links": []link{
			{base + "/", "self", appJSON, "This document"},
			{base + "/?f=html", "alternate", "text/html", "The map page"},
			// one address; the media type, sent as Accept, says which
			{base + "/openapi.json", "service-desc", "application/vnd.oai.openapi+json;version=3.1", "The API, OpenAPI 3.1: what comes where nothing is asked"},
			{base + "/openapi.json", "service-desc", "application/vnd.oai.openapi+json;version=3.0", "The API, OpenAPI 3.0, for clients that send this type as Accept"},
			{base + "/docs", "service-doc", "text/html", "The API as a page"},
			{base + "/conformance", "conformance", appJSON, "Conformance classes"},
			{base + "/conformance", "http://www.opengis.net/def/rel/ogc/1.0/conformance", appJSON, "Conformance classes"},
			{base + "/collections", "data", appJSON, "Stored layers and results"},
			{base + "/processes", "http://www.opengis.net/def/rel/ogc/1.0/processes", appJSON, "Processes"},
			{base + "/jobs", "http://www.opengis.net/def/rel/ogc/1.0/job-list", appJSON, "Jobs"},
			{base + "/sites", "related", appJSON, "Stored sites"},
		},
	})
}

// conformanceClasses are those that hold.
var conformanceClasses = []string{
	"http://www.opengis.net/spec/ogcapi-features-1/1.0/conf/core",
	"http://www.opengis.net/spec/ogcapi-features-1/1.0/conf/oas30",
	"http://www.opengis.net/spec/ogcapi-features-1/1.0/conf/html",
	"http://www.opengis.net/spec/ogcapi-features-1/1.0/conf/geojson",
	"http://www.opengis.net/spec/ogcapi-features-2/1.0/conf/crs",
	"http://www.opengis.net/spec/ogcapi-processes-1/1.0/conf/core",
	"http://www.opengis.net/spec/ogcapi-processes-1/1.0/conf/ogc-process-description",
	"http://www.opengis.net/spec/ogcapi-processes-1/1.0/conf/json",
	"http://www.opengis.net/spec/ogcapi-processes-1/1.0/conf/html",
	"http://www.opengis.net/spec/ogcapi-processes-1/1.0/conf/oas30",
	"http://www.opengis.net/spec/ogcapi-processes-1/1.0/conf/job-list",
	"http://www.opengis.net/spec/ogcapi-processes-1/1.0/conf/dismiss",
}

func (s *service) conformance(c echo.Context) error {
	return s.respond(c, "Conformance", map[string]any{"conformsTo": conformanceClasses})
}

func (s *service) problems(c echo.Context) error {
	return s.respond(c, "Problems", map[string]any{"problems": problemKinds, "links": s.selfLinks(c, "/problems")})
}

func (s *service) problem(c echo.Context) error {
	k, ok := kindBySlug[c.Param("slug")]
	if !ok {
		return refuse("not-found", "There is no problem of this name; see /problems.")
	}
	return s.respond(c, k.Title, k)
}

// document serves the OpenAPI document in the version asked for.
func (s *service) document(c echo.Context) error {
	c.Response().Header().Add("Vary", "Accept")
	accept := c.Request().Header.Get("Accept")
	body, media := openapi.JSON(), "application/vnd.oai.openapi+json;version=3.1"
	switch {
	case strings.Contains(accept, "version=3.0") || c.QueryParam("v") == "3.0":
		body, media = openapi.JSON30(), "application/vnd.oai.openapi+json;version=3.0"
	case !strings.Contains(accept, "openapi"):
		media = appJSON
	}
	return s.static(c, media, body, "no-cache")
}

// asset serves the style sheet and picture of the pages, and what the map page
// loads.
func (s *service) asset(c echo.Context) error {
	name := c.Param("*")
	if !fs.ValidPath(name) {
		return refuse("not-found", "There is nothing at this address; see /docs.")
	}
	if s.Page != nil {
		for _, at := range []string{"assets/" + name, name} {
			if err := s.file(c, s.Page, at, "public, max-age=300"); err == nil || c.Response().Committed {
				return err
			}
		}
	}
	if err := s.file(c, web, "web/"+name, "public, max-age=300"); err == nil || c.Response().Committed {
		return err
	}
	return refuse("not-found", "There is nothing at this address; see /docs.")
}

var mediaByEnding = map[string]string{".html": "text/html; charset=utf-8", ".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8",
	".svg": "image/svg+xml", ".json": appJSON, ".png": "image/png", ".woff2": "font/woff2", ".map": appJSON, ".ico": "image/x-icon", ".txt": "text/plain; charset=utf-8"}

func (s *service) file(c echo.Context, from fs.FS, name, cache string) error {
	f, err := from.Open(name)
	if err != nil {
		return refuse("not-found", "There is nothing at this address; see /docs.")
	}
	defer f.Close()
	if st, err := f.Stat(); err != nil || st.IsDir() {
		return refuse("not-found", "There is nothing at this address; see /docs.")
	}
	body, err := io.ReadAll(f)
	if err != nil {
		return fmt.Errorf("api: page file: %w", err)
	}
	media := mediaByEnding[path.Ext(name)]
	if media == "" {
		media = "application/octet-stream"
	}
	return s.static(c, media, body, cache)
}

// static answers with bytes that do not depend on the caller, tagged by their
// hash.
func (s *service) static(c echo.Context, media string, body []byte, cache string) error {
	c.Response().Header().Set("Cache-Control", cache)
	if notModified(c, hashTag(media, body)) {
		return c.NoContent(http.StatusNotModified)
	}
	return c.Blob(http.StatusOK, media, body)
}

// timeText is a time as the documents write it.
func timeText(t time.Time) string { return t.UTC().Format(time.RFC3339) }
