package api

// Load: the service beside a bare echo handler that sends the same bytes, over
// loopback, in the same run. p99 and the ratio of the medians are reported.

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/labstack/echo/v4"
	"go.yaml.in/yaml/v3"

	"fallwright/sampledata"
)

// ask sends one request and reads the answer to its end.
func ask(b *testing.B, client *http.Client, method, url string, body []byte) []byte {
	r, err := http.NewRequest(method, url, bytes.NewReader(body))
	if err != nil {
		b.Fatal(err)
	}
	if body != nil {
		r.Header.Set("Content-Type", appJSON)
	}
	res, err := client.Do(r)
	if err != nil {
		b.Fatal(err)
	}
	defer res.Body.Close()
	answer, err := io.ReadAll(res.Body)
	if err != nil || res.StatusCode != 200 {
		b.Fatalf("%d %v %.300s", res.StatusCode, err, answer)
	}
	return answer
}

// load calls the service and its bare peer by turns from as many clients as
// there are processors.
func load(b *testing.B, c *client, method string, path func(i int) string, body []byte) {
	server := httptest.NewServer(c.s)
	defer server.Close()
	transport := &http.Transport{MaxIdleConnsPerHost: 64, DisableCompression: true}
	client := &http.Client{Transport: transport}
	same := ask(b, client, method, server.URL+path(0), body)
	e := echo.New()
	e.Any("/*", func(c echo.Context) error {
		_, _ = io.Copy(io.Discard, c.Request().Body)
		return c.Blob(http.StatusOK, appJSON, same)
	})
	bare := httptest.NewServer(e)
	defer bare.Close()
	var mu sync.Mutex
	var own, peer []time.Duration
	b.ResetTimer()
	b.RunParallel(func(pb *testing.PB) {
		var a, z []time.Duration
		for i := 0; pb.Next(); i++ {
			start := time.Now()
			ask(b, client, method, server.URL+path(i), body)
			mid := time.Now()
			ask(b, client, method, bare.URL+"/", body)
			a, z = append(a, mid.Sub(start)), append(z, time.Since(mid))
		}
		mu.Lock()
		own, peer = append(own, a...), append(peer, z...)
		mu.Unlock()
	})
	b.StopTimer()
	slices.Sort(own)
	slices.Sort(peer)
	at := func(d []time.Duration, q float64) float64 {
		return float64(d[int(q*float64(len(d)-1))].Microseconds()) / 1000
	}
	b.ReportMetric(at(own, .5), "p50-ms")
	b.ReportMetric(at(own, .99), "p99-ms")
	b.ReportMetric(at(own, .5)/max(at(peer, .5), .001), "x-bare-p50")
	b.ReportMetric(float64(len(same)), "bytes")
}

func fixed(path string) func(int) string { return func(int) string { return path } }

// one makes a document of a single lot of the sample.
func one(b *testing.B, lot string) []byte {
	return []byte(`{"inputs":{"site":` + string(sampledata.StatePlane()) + `,"lots":["` + lot + `"]}}`)
}

func BenchmarkHealth(b *testing.B) { load(b, newClient(b), "GET", fixed("/healthz"), nil) }

func BenchmarkCheck(b *testing.B) {
	load(b, newClient(b, real, roomy), "POST", fixed("/processes/check/execution"), one(b, sampledata.Sample))
}

func BenchmarkPlan(b *testing.B) {
	load(b, newClient(b, real, roomy), "POST", fixed("/processes/plan/execution"), one(b, sampledata.Sample))
}

// roomy lets the benchmark's clients wait: here speed is measured, not refusal.
func roomy(o *Options) { o.Config.Limits.Waiting = 1000 }

// BenchmarkItem and BenchmarkItems read from 100,000 lots in the plane of a US
// state: the answer is in longitude, latitude.
func BenchmarkItem(b *testing.B) {
	c := newClient(b)
	c.want(c.do("POST /sites", lotField("field", 100_000)), 201, "")
	load(b, c, "GET", func(i int) string { return "/collections/parcels/items/p" + strconv.Itoa(i*7919%100_000) }, nil)
}

func BenchmarkItems(b *testing.B) {
	c := newClient(b)
	c.want(c.do("POST /sites", lotField("field", 100_000)), 201, "")
	load(b, c, "GET", func(i int) string {
		x, y := 1740000+1000*(i%4), 640000+1500*(i*31%190)
		return fmt.Sprintf("/collections/parcels/items?bbox=%d,%d,%d,%d&bbox-crs=%s2274&limit=100", x+50, y+50, x+950, y+1450, epsgURI)
	}, nil)
}

// TestDeployedConfig: the configuration that is shipped has each key that there
// is, with its default.
func TestDeployedConfig(t *testing.T) {
	text, err := os.ReadFile("deploy/config.yaml")
	if err != nil {
		t.Fatal(err)
	}
	var c Config
	dec := yaml.NewDecoder(bytes.NewReader(text))
	dec.KnownFields(true)
	if err := dec.Decode(&c); err != nil {
		t.Fatal(err)
	}
	keys := func(v any) (out []string) {
		b, _ := yaml.Marshal(v)
		for _, line := range strings.Split(string(b), "\n") {
			key, _, ok := strings.Cut(line, ":")
			if ok {
				out = append(out, strings.TrimSpace(key))
			}
		}
		return out
	}
	for _, k := range keys(Config{}) {
		if !strings.Contains(string(text), k+":") {
			t.Errorf("the shipped configuration lacks %s", k)
		}
	}
	got, _ := json.Marshal(c.withDefaults().Limits)
	want, _ := json.Marshal(Config{}.withDefaults().Limits)
	if string(got) != string(want) {
		t.Errorf("shipped %s\nbuilt in %s", got, want)
	}
}
