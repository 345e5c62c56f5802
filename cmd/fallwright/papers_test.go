package main

import (
	"bytes"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"

	"github.com/pb33f/libopenapi"
	validator "github.com/pb33f/libopenapi-validator"
	"github.com/pb33f/libopenapi-validator/config"

	"fallwright/hydro"
	"fallwright/openapi"
	"fallwright/parcels"
	"fallwright/parcels/asbuilt"
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
	starts := map[string]string{"pdf": "%PDF-", "svg": "<svg", "xlsx": "PK", "csv": "", "gpx": "<?xml", "dxf": "999", "geojson": "{", "ics": "BEGIN:VCALENDAR", "json": "{"}
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

// The steps of a run and shots on the laid pipe, as the page asks for them: the
// answers keep to the document, and the steps' formulas give their results.
func TestHandStepsAndShots(t *testing.T) {
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
	ask := func(process string, inputs map[string]any) *httptest.ResponseRecorder {
		t.Helper()
		inputs["site"] = site
		r, w, _ := execute(s, process, inputs)
		if ok, errs := v.ValidateHttpResponse(r, w.Result()); !ok {
			t.Errorf("%s: the answer breaks the document: %s %s", process, errs[0].Message, errs[0].Reason)
		}
		return w
	}
	plan := json.RawMessage(bytes.Clone(ask("plan", map[string]any{"lots": []string{"B1"}}).Body.Bytes()))
	good := shots(t, plan)
	last := good[len(good)-1].run
	var got struct {
		Runs []struct {
			Run    string
			Steps  []hydro.Step
			Text   string
			WhyNot string `json:"why_not"`
		}
	}
	w := ask("steps", map[string]any{"plan": plan, "options": map[string]any{"runs": []string{last}}})
	if err := json.Unmarshal(w.Body.Bytes(), &got); err != nil || len(got.Runs) != 1 || got.Runs[0].Run != last || len(got.Runs[0].Steps) == 0 {
		t.Fatalf("%v %d %.300s", err, w.Code, w.Body.String())
	}
	if err := (hydro.Sheet{Steps: got.Runs[0].Steps}).Check(); err != nil {
		t.Error(err) // every formula worked again from the values that are sent
	}
	w = ask("steps", map[string]any{"plan": plan})
	if err := json.Unmarshal(w.Body.Bytes(), &got); err != nil || len(got.Runs) < 2 {
		t.Fatalf("%v %d runs", err, len(got.Runs))
	}
	for _, r := range got.Runs {
		if (r.Text == "") != (r.WhyNot != "") {
			t.Errorf("run %s: %d bytes of text, why not: %q", r.Run, len(r.Text), r.WhyNot)
		}
	}

	// the file of the command through the service: feet, each run named
	laid := func(ls []line, options map[string]any) (verdict string, codes map[string]bool, body string) {
		w := ask("asbuilt", map[string]any{"plan": plan, "shots": csvOf(ls), "options": options})
		var r struct {
			Verdict  string
			Findings []struct{ Code string }
		}
		if err := json.Unmarshal(w.Body.Bytes(), &r); err != nil {
			t.Fatal(err)
		}
		codes = map[string]bool{}
		for _, f := range r.Findings {
			codes[f.Code] = true
		}
		return r.Verdict, codes, w.Body.String()
	}
	feet := map[string]any{"shot_unit": "ft"}
	if verdict, codes, body := laid(good, feet); verdict == string(parcels.NotFeasible) || codes[asbuilt.CodeBelly] || codes[asbuilt.CodeLevelUnit] {
		t.Errorf("shots as planned: %s %v %.400s", verdict, codes, body)
	}
	long := good[0]
	for _, l := range good {
		if l.length > long.length && l.slope < 0.02 {
			long = l
		}
	}
	sag := slices.Clone(good)
	for i, l := range sag {
		if l.run == long.run { // half a metre of fall lost in the middle
			sag[i].z -= 0.5 / 0.3048 * math.Sin(math.Pi*l.along/l.length)
		}
	}
	if _, codes, body := laid(sag, feet); !codes[asbuilt.CodeBelly] {
		t.Errorf("a run that sags by half a metre: %v %.400s", codes, body)
	}
	if _, codes, _ := laid(good, map[string]any{"shot_unit": "m"}); !codes[asbuilt.CodeLevelUnit] {
		t.Errorf("feet taken for metres: %v", codes)
	}

	for _, c := range []struct {
		process string
		inputs  map[string]any
		says    string
	}{
		{"steps", map[string]any{}, "inputs.plan is missing"},
		{"steps", map[string]any{"plan": plan, "options": map[string]any{"runs": []string{"R999"}}}, "/inputs/options/runs"},
		{"steps", map[string]any{"plan": map[string]any{}}, "/inputs/plan"},
		{"asbuilt", map[string]any{"plan": plan, "shots": "hello"}, "shots"},
		{"asbuilt", map[string]any{"plan": plan, "shots": ""}, "shots"},
		{"asbuilt", map[string]any{"plan": plan, "shots": 7}, "/inputs/shots"},
	} {
		if w := ask(c.process, c.inputs); w.Code != 422 || !strings.Contains(w.Body.String(), c.says) {
			t.Errorf("%s %v: %d %.300s", c.process, c.says, w.Code, w.Body.String())
		}
	}
}
