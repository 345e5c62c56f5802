package main

// The service with the real engine, each answer held against the OpenAPI
// document.

import (
	"bytes"
	"context"
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/pb33f/libopenapi"
	validator "github.com/pb33f/libopenapi-validator"
	"github.com/pb33f/libopenapi-validator/config"

	"fallwright/api"
	"fallwright/openapi"
	"fallwright/sampledata"
)

func service(t *testing.T) http.Handler {
	t.Helper()
	s, err := api.New(api.Options{Engine: engine{}, Sample: sampledata.LonLat(), SampleLots: []string{sampledata.Sample}, Version: "test"})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
		defer cancel()
		_ = s.Close(ctx)
	})
	return s
}

func execute(s http.Handler, process string, inputs map[string]any) (*http.Request, *httptest.ResponseRecorder, []byte) {
	body, _ := json.Marshal(map[string]any{"inputs": inputs})
	r := httptest.NewRequest("POST", "http://127.0.0.1:8080/processes/"+process+"/execution", bytes.NewReader(body))
	r.Header.Set("Content-Type", "application/json")
	w := httptest.NewRecorder()
	s.ServeHTTP(w, r)
	r.Body = http.NoBody
	return r, w, body
}

func TestAnswersKeepTheDocument(t *testing.T) {
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
	for _, c := range []struct {
		process string
		inputs  map[string]any
		status  int
		says    string
	}{
		{"zone", map[string]any{"site": site}, 200, "narrowest_m"},
		{"check", map[string]any{"site": site}, 200, "DR-C3"},
		{"plan", map[string]any{"site": site, "lots": []string{sampledata.Sample}}, 200, `"feasible"`},
		{"plan", map[string]any{"site": site, "lots": []string{sampledata.BelowInlet}}, 200, `"not_feasible"`},
		{"plan", map[string]any{"site": site, "lots": []string{"B1"}}, 200, "without_valve"},
		{"audit", map[string]any{"site": site, "lots": []string{"B4", "C3"}}, 200, "reach_inlet"},
		{"plan", map[string]any{"site": site, "lots": []string{"nowhere"}}, 422, "lot-unknown"},
		{"zone", map[string]any{"site": map[string]any{"layers": map[string]any{}}}, 422, "no-parcels"},
	} {
		r, w, _ := execute(s, c.process, c.inputs)
		if w.Code != c.status || !strings.Contains(w.Body.String(), c.says) {
			t.Errorf("%s: %d, want %d with %q: %.300s", c.process, w.Code, c.status, c.says, w.Body.String())
			continue
		}
		res := w.Result()
		if ok, errs := v.ValidateHttpResponse(r, res); !ok {
			for _, e := range errs {
				t.Errorf("%s: the answer breaks the document: %s %s", c.process, e.Message, e.Reason)
				for _, x := range e.SchemaValidationErrors {
					t.Errorf("   %s at %s", x.Reason, x.FieldPath)
				}
			}
		}
	}
}

// Every hostile text is answered as its index asks, by the service.
func TestHostileThroughTheService(t *testing.T) {
	dir := sharedData()
	if dir == "" {
		t.Skip("the hostile files are not beside the checkout; package document has its own")
	}
	raw, err := os.ReadFile(filepath.Join(dir, "hostile", "index.json"))
	if err != nil {
		t.Skip("no index of hostile files beside the checkout")
	}
	var index []struct {
		File   string
		Expect struct {
			Status any
			Type   any
		}
	}
	if err := json.Unmarshal(raw, &index); err != nil {
		t.Fatal(err)
	}
	s := service(t)
	for _, c := range index {
		if !strings.HasSuffix(c.File, ".geojson") || strings.HasPrefix(c.File, "24-") || strings.HasPrefix(c.File, "26-") {
			continue // 24 and 26 need the request's own crs
		}
		b, err := os.ReadFile(filepath.Join(dir, "hostile", c.File))
		if err != nil {
			t.Fatal(err)
		}
		body := append(append([]byte(`{"inputs":{"site":`), b...), "}}"...)
		r := httptest.NewRequest("POST", "http://127.0.0.1:8080/processes/zone/execution", bytes.NewReader(body))
		r.Header.Set("Content-Type", "application/json")
		w := httptest.NewRecorder()
		s.ServeHTTP(w, r)
		want := map[int]bool{}
		switch v := c.Expect.Status.(type) {
		case float64:
			want[int(v)] = true
		case []any:
			for _, x := range v {
				want[int(x.(float64))] = true
			}
		}
		if want[200] {
			continue // good files: what becomes of them is for import
		}
		var problem struct{ Type string }
		_ = json.Unmarshal(w.Body.Bytes(), &problem)
		if !want[w.Code] {
			t.Errorf("%s: %d %s, want one of %v: %.200s", c.File, w.Code, problem.Type, want, w.Body.String())
		}
		if w.Code >= 500 || !strings.HasPrefix(w.Header().Get("Content-Type"), "application/problem+json") {
			t.Errorf("%s: %d %s", c.File, w.Code, w.Header().Get("Content-Type"))
		}
	}
}

// sharedData is the folder of real data beside the checkout, or "".
func sharedData() string {
	if dir := os.Getenv("FALLWRIGHT_SHARED"); dir != "" {
		return filepath.Join(dir, "data")
	}
	for d := "../.."; len(d) < 30; d += "/.." {
		if _, err := os.Stat(filepath.Join(d, "shared", "data")); err == nil {
			return filepath.Join(d, "shared", "data")
		}
	}
	return ""
}
