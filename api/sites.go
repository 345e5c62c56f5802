package api

// Stored sites: put, import, read, delete.

import (
	"fmt"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strconv"

	"github.com/labstack/echo/v4"

	"fallwright/parcels"
	"fallwright/parcels/document"
)

// siteAnswer is a stored site as it is sent.
type siteAnswer struct {
	parcels.SiteInfo
	Warnings []string `json:"warnings,omitempty"`
	Links    []link   `json:"links,omitempty"`
}

func (s *service) siteAnswer(c echo.Context, i parcels.SiteInfo) siteAnswer {
	at := s.base(c) + "/sites/" + url.PathEscape(i.Name)
	if i.Features == nil {
		i.Features = map[parcels.Layer]int{}
	}
	return siteAnswer{SiteInfo: i, Links: []link{
		{at, "self", appJSON, "This site"},
		{at + "/document", "item", appJSON, "The site document"},
		{at + "/history", "version-history", appJSON, "Who changed what"},
		{s.base(c) + "/collections/parcels/items?site=" + url.QueryEscape(i.Name), "items", geoJSON, "Its parcels"},
	}}
}

func versionTag(v int64) string { return fmt.Sprintf(`W/"v%d"`, v) }

func (s *service) listSites(c echo.Context) error {
	sites, err := s.sites(c)
	if err != nil {
		return err
	}
	if notModified(c, s.siteTag(c, sites)) {
		return c.NoContent(http.StatusNotModified)
	}
	list := []siteAnswer{}
	for _, i := range sites {
		list = append(list, s.siteAnswer(c, i))
	}
	return s.respond(c, "Sites", map[string]any{"sites": list, "links": s.selfLinks(c, "/sites")})
}

// siteParam gives the site of the path if it is there for the caller.
func (s *service) siteParam(c echo.Context) (parcels.SiteInfo, error) {
	name := c.Param("site")
	if err := s.maySee(c, name); err != nil {
		return parcels.SiteInfo{}, err
	}
	i, err := s.Store.Site(c.Request().Context(), name)
	return i, hideAbsent(err, name)
}

func (s *service) site(c echo.Context) error {
	i, err := s.siteParam(c)
	if err != nil {
		return err
	}
	if notModified(c, versionTag(i.Version)) {
		return c.NoContent(http.StatusNotModified)
	}
	return s.respond(c, i.Name, s.siteAnswer(c, i))
}

func (s *service) siteDocument(c echo.Context) error {
	i, err := s.siteParam(c)
	if err != nil {
		return err
	}
	if notModified(c, versionTag(i.Version)) {
		return c.NoContent(http.StatusNotModified)
	}
	read := s.Store.Document
	switch v := c.QueryParam("features"); v {
	case "", "true":
	case "false":
		read = s.Store.Head
	default:
		return refuse("parameter-invalid", "features is true or false, not %s.", parcels.Excerpt(v))
	}
	doc, err := read(c.Request().Context(), i.Name)
	if err != nil {
		return hideAbsent(err, i.Name)
	}
	return c.Blob(http.StatusOK, appJSON, doc)
}

func (s *service) siteHistory(c echo.Context) error {
	i, err := s.siteParam(c)
	if err != nil {
		return err
	}
	if notModified(c, versionTag(i.Version)) {
		return c.NoContent(http.StatusNotModified)
	}
	edits, err := s.Store.History(c.Request().Context(), i.Name)
	if err != nil {
		return hideAbsent(err, i.Name)
	}
	if edits == nil {
		edits = []parcels.Edit{}
	}
	return s.respond(c, i.Name+": history", map[string]any{"edits": edits, "links": s.selfLinks(c, "/sites/"+url.PathEscape(i.Name)+"/history")})
}

func (s *service) deleteSite(c echo.Context) error {
	i, err := s.siteParam(c)
	if err != nil {
		return err
	}
	if err := s.Store.DeleteSite(c.Request().Context(), i.Name, caller(c).ID); err != nil {
		return hideAbsent(err, i.Name)
	}
	s.changed(c, "deleteSite", i.Name, i.Version)
	return c.NoContent(http.StatusNoContent)
}

var ifMatch = regexp.MustCompile(`^(?:W/)?"v(\d{1,18})"$`)

// putSite stores a site document or imports a layer.
func (s *service) putSite(c echo.Context) error {
	media, err := s.mediaType(c, "putSite")
	if err != nil {
		return err
	}
	if s.Store == nil {
		return refuse("no-store", "This service has no store of sites; start it with --store.")
	}
	for name := range c.QueryParams() {
		if !slices.Contains([]string{"site", "layer", "crs", "replace"}, name) {
			return refuse("parameter-invalid", "There is no parameter %s here.", parcels.Excerpt(name))
		}
	}
	replace := false
	if t := c.QueryParam("replace"); t != "" {
		if replace, err = strconv.ParseBool(t); err != nil {
			return refuse("parameter-invalid", "replace is true or false, not %s.", parcels.Excerpt(t))
		}
	}
	var version int64
	if m := c.Request().Header.Get("If-Match"); m != "" {
		found := ifMatch.FindStringSubmatch(m)
		if found == nil {
			return refuse("version-conflict", "If-Match is no tag of a site.")
		}
		version, _ = strconv.ParseInt(found[1], 10, 64)
		replace = true
	}
	body, err := s.readBody(c)
	if err != nil {
		return err
	}
	if media == appJSON {
		if body, err = document.Scan(body); err != nil {
			return err
		}
		top, err := members(body, 0, "")
		if err != nil {
			return refuse("not-geojson", "The body is no JSON object: a site document or a FeatureCollection is needed.").at(parcels.Fault{Pointer: ""})
		}
		if _, ok := top["layers"]; !ok && (c.QueryParam("layer") != "" || top["type"].text != nil) {
			media = geoJSON
		}
	}
	if media == appJSON {
		return s.putDocument(c, body, replace, version)
	}
	return s.importLayer(c, media, body, replace, version)
}

// newName checks the name under which something is to be stored.
func (s *service) newName(c echo.Context, name string) error {
	if name == "" {
		return refuse("parameter-invalid", "Under what name? Give site=NAME, or the document a site.")
	}
	if !siteName.MatchString(name) {
		return refuse("parameter-invalid", "%s is no name of a site: letters, digits, blanks and _ . - , at most 100.", parcels.Excerpt(name))
	}
	return s.maySee(c, name)
}

func (s *service) putDocument(c echo.Context, body []byte, replace bool, version int64) error {
	ctx := c.Request().Context()
	own, err := s.Engine.Read(ctx, body)
	if err != nil {
		return err
	}
	name := c.QueryParam("site")
	if name == "" {
		name = own
	}
	if err := s.newName(c, name); err != nil {
		return err
	}
	stored, err := s.Store.Site(ctx, name)
	exists := err == nil
	if err != nil && hideAbsent(err, name) == err {
		return err
	}
	if exists && !replace {
		return refuse("conflict", "There is a site %s already. Send replace=true to put this in its place.", name)
	}
	if version != 0 && (!exists || stored.Version != version) {
		return refuse("version-conflict", "Version %d of %s is stored, not %d.", stored.Version, name, version)
	}
	info, err := s.Store.PutSite(ctx, name, body, version, caller(c).ID)
	if err != nil {
		return err
	}
	s.changed(c, "putSite", name, info.Version)
	return s.stored(c, info, !exists, nil)
}

func (s *service) stored(c echo.Context, info parcels.SiteInfo, made bool, warnings []string) error {
	a := s.siteAnswer(c, info)
	a.Warnings = warnings
	c.Response().Header().Set("ETag", versionTag(info.Version))
	if !made {
		return c.JSON(http.StatusOK, a)
	}
	c.Response().Header().Set("Location", s.base(c)+"/sites/"+url.PathEscape(info.Name))
	return c.JSON(http.StatusCreated, a)
}

// importLayer reads an export whole before anything is written.
func (s *service) importLayer(c echo.Context, media string, body []byte, replace bool, version int64) error {
	ctx := c.Request().Context()
	layer := parcels.Layer(c.QueryParam("layer"))
	if layer == "" {
		layer = parcels.LayerParcels
	}
	if !slices.Contains(parcels.Layers, layer) {
		return refuse("parameter-invalid", "%s is no layer.", parcels.Excerpt(string(layer)))
	}
	name := c.QueryParam("site")
	if err := s.newName(c, name); err != nil {
		return err
	}
	leave, err := s.lanes.imports.enter(ctx)
	if err != nil {
		return err
	}
	defer leave()
	_, err = s.Store.Site(ctx, name)
	exists := err == nil
	if err != nil && hideAbsent(err, name) == err {
		return err
	}
	up := Upload{Body: body, ContentType: media, Layer: layer, CRS: c.QueryParam("crs")}
	var read Imported
	if media == geoJSON {
		read, err = s.importGeoJSON(ctx, name, exists, up)
	} else {
		read, err = s.Engine.Import(ctx, up)
	}
	if err != nil {
		return err
	}
	var writers []parcels.LayerWriter
	abort := func(err error) error {
		for _, w := range writers {
			_ = w.Abort() // nothing of it is seen; the first error is told
		}
		return err
	}
	for _, l := range read.Layers {
		w, err := s.Store.Write(ctx, name, l.Layer, l.CRS, replace)
		if err != nil {
			return abort(err)
		}
		writers = append(writers, w)
		if len(writers) == 1 {
			if err := w.Expect(ctx, version); err != nil {
				return abort(err)
			}
		}
		for _, f := range l.Features {
			if err := w.Add(ctx, f); err != nil {
				return abort(err)
			}
		}
	}
	var info parcels.SiteInfo
	for i, w := range writers {
		if info, err = w.Commit(ctx, caller(c).ID); err != nil {
			writers = writers[i:]
			return abort(err)
		}
	}
	if len(writers) == 0 {
		return refuse("invalid-input", "The export holds no layer.")
	}
	s.changed(c, "importLayer", name, info.Version)
	return s.stored(c, info, !exists, append(read.Warnings, info.Notes...))
}
