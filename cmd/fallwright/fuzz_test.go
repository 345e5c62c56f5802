package main

// Any body to the service with the real engine: an answer in JSON, or a problem
// about the request, never our own fault.

import (
	"bytes"
	"context"
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"os"
	"strings"
	"testing"
	"time"

	"fallwright/api"
)

// posts are the addresses that the fuzzers send to.
var posts = []string{"/processes/zone/execution", "/processes/check/execution", "/processes/plan/execution", "/processes/audit/execution", "/processes/asbuilt/execution"}

func fuzzed(f *testing.F) http.Handler {
	s, err := api.New(api.Options{Engine: engine{}, Version: "test"})
	if err != nil {
		f.Fatal(err)
	}
	f.Cleanup(func() { _ = s.Close(context.Background()) })
	return s
}

// yard is a small invented site with every common layer.
func yard(t testing.TB) []byte {
	t.Helper()
	b, err := os.ReadFile("testdata/yard.json")
	if err != nil {
		t.Fatal(err)
	}
	return bytes.TrimSpace(b)
}

func send(t *testing.T, s http.Handler, path string, body []byte) {
	r := httptest.NewRequest("POST", "http://127.0.0.1:8080"+path, bytes.NewReader(body))
	r.Header.Set("Content-Type", "application/json")
	w := httptest.NewRecorder()
	started := time.Now()
	s.ServeHTTP(w, r)
	if d := time.Since(started); d > 20*time.Second {
		t.Fatalf("%s took %v", path, d)
	}
	if w.Code >= 500 {
		t.Fatalf("%s: %d %.600s", path, w.Code, w.Body.String())
	}
	if !json.Valid(w.Body.Bytes()) {
		t.Fatalf("%s: %d and no JSON: %.200q", path, w.Code, w.Body.String())
	}
	if w.Code >= 400 && w.Header().Get("Content-Type") != "application/problem+json" {
		t.Fatalf("%s: %d as %q", path, w.Code, w.Header().Get("Content-Type"))
	}
}

// FuzzBody sends any bytes as the body.
func FuzzBody(f *testing.F) {
	s := fuzzed(f)
	site := string(yard(f))
	for i := range posts {
		f.Add(uint8(i), `{"inputs":{"site":`+site+`,"lots":["1"]}}`)
	}
	f.Add(uint8(0), `{"inputs":{"site":{}}}`)
	f.Add(uint8(2), `{"inputs":{"site":"x","options":{"keep_going":true},"criteria":{"pipe":{"stock":[]}}}}`)
	f.Fuzz(func(t *testing.T, to uint8, body string) {
		send(t, s, posts[int(to)%len(posts)], []byte(body))
	})
}

// FuzzYard changes a right site at two places, so that what comes is read,
// planned and checked more often than refused.
func FuzzYard(f *testing.F) {
	s := fuzzed(f)
	site := string(yard(f))
	f.Add(uint8(2), 0, 0, "", 0, 0, "")
	f.Add(uint8(2), strings.Index(site, "rim_m")+8, 3, "-999", 900, 0, "1")
	f.Add(uint8(0), strings.Index(site, "[["), 2, "[[0,0],[", 400, 4, "1e9")
	f.Add(uint8(3), strings.Index(site, `"crs"`), 17, "", 0, 0, "")
	f.Fuzz(func(t *testing.T, to uint8, i, cut int, put string, j, cut2 int, put2 string) {
		text := site
		for _, c := range []struct {
			at, n int
			with  string
		}{{i, cut, put}, {j, cut2, put2}} {
			if c.at < 0 || c.n < 0 || c.n > 4000 || c.at+c.n > len(text) || c.at+c.n < 0 {
				continue
			}
			text = text[:c.at] + c.with + text[c.at+c.n:]
		}
		send(t, s, posts[int(to)%len(posts)], []byte(`{"inputs":{"site":`+text+`,"lots":["1"],"options":{"keep_going":`+map[bool]string{true: "true", false: "false"}[to&128 != 0]+`}}}`))
	})
}
