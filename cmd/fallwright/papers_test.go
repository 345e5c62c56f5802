package main

import (
	"bytes"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/pb33f/libopenapi"
	validator "github.com/pb33f/libopenapi-validator"
	"github.com/pb33f/libopenapi-validator/config"

	"fallwright/openapi"
	"fallwright/parcels/sheet"
	"fallwright/parcels/sheet/grid"
	"fallwright/sampledata"
)

// Every paper in every format is had from the service, from a plan that it gave,
// each answer held against the OpenAPI document; what cannot be met is a problem
// that says so.
func TestHandPapersOfTheService(t *testing.T) {
	doc, err := libopenapi.NewDocument(openapi.JSON())
	if err != nil {
		t.Fatal(err)
	}
	v, errs := validator.NewValidator(doc, config.WithoutSecurityValidation())
	if len(errs) > 0 {
		t.Fatal(errs[0])
	}
	s := service(t)
	site := json.RawMessage(sampledata.StatePlane())
	_, w, _ := execute(s, "plan", map[string]any{"site": site, "lots": []string{"C3"}})
	if w.Code != 200 {
		t.Fatal(w.Code, w.Body.String())
	}
	plan := json.RawMessage(bytes.Clone(w.Body.Bytes()))
	ask := func(inputs map[string]any) *httptest.ResponseRecorder {
		t.Helper()
		inputs["site"] = site
		r, w, body := execute(s, "sheet", inputs)
		sent := httptest.NewRequest(r.Method, r.URL.String(), bytes.NewReader(body))
		sent.Header = r.Header
		if ok, errs := v.ValidateHttpRequest(sent); !ok && w.Code == 200 {
			t.Errorf("%v: the request breaks the document: %v", inputs["options"], errs[0].Reason)
		}
		if ok, errs := v.ValidateHttpResponse(r, w.Result()); !ok {
			t.Errorf("%v: the answer breaks the document: %s %s", inputs["options"], errs[0].Message, errs[0].Reason)
		}
		return w
	}
	starts := map[string]string{"pdf": "%PDF-", "svg": "<svg", "xlsx": "PK", "csv": "", "gpx": "<?xml", "dxf": "999", "geojson": "{", "ics": "BEGIN:VCALENDAR"}
	for _, k := range sheet.Kinds() {
		for _, f := range sheet.Formats(k) {
			inputs := map[string]any{"plan": plan, "options": map[string]any{"kind": k, "format": f, "paper": "a4", "units": "si", "from": "2026-06-01"}}
			if k == sheet.KindAudit {
				delete(inputs, "plan")
				inputs["lots"] = []string{"B4", "C3"}
			}
			w := ask(inputs)
			h := w.Result().Header
			if _, head, ok := strings.Cut(h.Get("Content-Disposition"), "attachment; filename="); w.Code != 200 || !ok || !strings.HasSuffix(head, "."+f) || !strings.HasPrefix(w.Body.String(), starts[f]) || !strings.HasPrefix(h.Get("Content-Type"), sheet.MediaTypes[f]) {
				t.Errorf("%s as %s: %d, %v, %.60s", k, f, w.Code, h, w.Body.String())
			}
		}
	}
	one := ask(map[string]any{"plan": plan, "options": map[string]any{"format": "svg"}})
	two := ask(map[string]any{"plan": plan, "options": map[string]any{"format": "svg", "page": 2}})
	if n := one.Header().Get("Sheet-Count"); n != two.Header().Get("Sheet-Count") || n < "2" || bytes.Equal(one.Body.Bytes(), two.Body.Bytes()) {
		t.Errorf("Sheet-Count %q; page 2 is page 1: %t", n, bytes.Equal(one.Body.Bytes(), two.Body.Bytes()))
	}
	// made without a plan, the lots are planned; the same bytes come
	if a, b := ask(map[string]any{"plan": plan}), ask(map[string]any{"lots": []string{"C3"}}); !bytes.Equal(a.Body.Bytes(), b.Body.Bytes()) {
		t.Error("the plan that is sent gives another sheet than the lots that are named")
	}
	book := "item,unit,unit_price,date,region\nmobilisation,ea,300,2026-01-01,here\n"
	if w := ask(map[string]any{"plan": plan, "prices": book, "options": map[string]any{"kind": "takeoff", "format": "csv"}}); !strings.Contains(w.Body.String(), ",300,300,") {
		t.Errorf("the price book's price is not on the takeoff: %.300s", w.Body.String())
	}
	x, err := grid.XLSX(grid.Table{Name: "prices", Head: []string{"item", "unit", "unit_price", "date", "region"}, Rows: [][]any{{"mobilisation", "ea", 300.0, "2026-01-01", "here"}}})
	if err != nil {
		t.Fatal(err)
	}
	if w := ask(map[string]any{"plan": plan, "prices": map[string]any{"value": base64.StdEncoding.EncodeToString(x), "encoding": "base64"}, "options": map[string]any{"kind": "takeoff", "format": "csv"}}); !strings.Contains(w.Body.String(), ",300,300,") {
		t.Errorf("the price of a workbook is not on the takeoff: %.300s", w.Body.String())
	}

	if w := ask(map[string]any{"plan": plan, "templates": map[string]string{"visit": "# Ours\n@visit"}, "options": map[string]any{"kind": "visit"}}); w.Code != 200 {
		t.Errorf("own words: %d %.300s", w.Code, w.Body.String())
	}

	var p map[string]any
	_ = json.Unmarshal(plan, &p)
	for _, f := range p["network"].(map[string]any)["features"].([]any) {
		props := f.(map[string]any)["properties"].(map[string]any)
		if props["run"] != nil {
			props["invert_down_m"] = props["invert_down_m"].(float64) - 0.3
			break
		}
	}
	for _, c := range []struct {
		inputs map[string]any
		says   string
	}{
		{map[string]any{"plan": p}, "plan-of-another-site"},
		{map[string]any{"plan": map[string]any{}}, "/inputs/plan"},
		{map[string]any{"plan": plan, "options": map[string]any{"kind": "poster"}}, "There is no sheet"},
		{map[string]any{"plan": plan, "options": map[string]any{"paper": "napkin"}}, "/inputs/options/paper"},
		{map[string]any{"plan": plan, "options": map[string]any{"format": "doc"}}, "pdf or svg"},
		{map[string]any{"plan": plan, "options": map[string]any{"format": "svg", "page": 99}}, "no page 99"},
		{map[string]any{"plan": plan, "options": map[string]any{"kind": "proposal", "format": "ics"}}, "YYYY-MM-DD"},
		{map[string]any{"plan": plan, "options": map[string]any{"kind": "stakes", "every_m": 1e-9}}, "/inputs/options"},
		{map[string]any{"plan": plan, "options": map[string]any{"kind": "stakes", "units": "cubits"}}, "us or si"},
		{map[string]any{"plan": plan, "prices": "item;unit\n"}, "/inputs/prices"},
		{map[string]any{"plan": plan, "prices": 7}, "/inputs/prices"},
		{map[string]any{"plan": plan, "templates": map[string]string{"visit": "{{.Nobody}}"}}, "/inputs/templates/visit"},
		{map[string]any{"plan": plan, "templates": []int{1}}, "/inputs/templates"},
		{map[string]any{"plan": plan, "options": map[string]any{"store": true}}, "A sheet is not kept"},
		{map[string]any{"lots": []string{"nowhere"}}, "lot-unknown"},
		{map[string]any{"plan": plan, "poster": 1}, "input-unknown"},
	} {
		if w := ask(c.inputs); w.Code != http.StatusUnprocessableEntity || !strings.Contains(w.Body.String(), c.says) {
			delete(c.inputs, "site")
			delete(c.inputs, "plan")
			t.Errorf("%v: %d %.400s, want 422 with %q", fmt.Sprint(c.inputs), w.Code, w.Body.String(), c.says)
		}
	}
}

// The kinds and formats that the document offers are those that there are.
func TestPropertyKindsInTheDocument(t *testing.T) {
	var doc struct {
		Components struct {
			Schemas struct {
				Options struct {
					Properties map[string]struct{ Enum []string }
				}
			}
		}
	}
	if err := json.Unmarshal(openapi.JSON(), &doc); err != nil {
		t.Fatal(err)
	}
	p := doc.Components.Schemas.Options.Properties
	formats := map[string]bool{}
	if got, want := fmt.Sprint(p["kind"].Enum), fmt.Sprint(sheet.Kinds()); got != want {
		t.Errorf("kinds %s, want %s", got, want)
	}
	for _, k := range sheet.Kinds() {
		for _, f := range sheet.Formats(k) {
			formats[f] = true
		}
	}
	for _, f := range p["format"].Enum {
		if !formats[f] || sheet.MediaTypes[f] == "" {
			t.Errorf("format %s is offered and not written", f)
		}
		delete(formats, f)
	}
	if len(formats) > 0 {
		t.Errorf("formats written and not offered: %v", formats)
	}
}
