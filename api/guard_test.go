package api

import (
	"bytes"
	"compress/gzip"
	"errors"
	"io"
	"strings"
	"sync"
	"testing"
	"time"
)

// TestStart: what would be unsafe does not start, and says how to make it safe.
func TestStart(t *testing.T) {
	_, hash := NewKey()
	key := []Key{{ID: "a", Hash: hash, Role: "reader", Sites: []string{"*"}}}
	for _, row := range []struct {
		c    Config
		want string // "" starts
	}{
		{Config{}, ""},
		{Config{Addr: "[::1]:80"}, ""},
		{Config{Addr: "localhost:80"}, ""},
		{Config{Addr: ":8080"}, "no keys"},
		{Config{Addr: "0.0.0.0:8080"}, "--new-key"},
		{Config{Addr: "192.0.2.7:8080"}, "no keys"},
		{Config{Addr: "192.0.2.7:8080", Keys: key}, ""},
		{Config{Addr: "0.0.0.0:8080", Keys: key}, "hosts"},
		{Config{Addr: "0.0.0.0:8080", Keys: key, Hosts: []string{"drains.example.org"}}, ""},
		{Config{Addr: "8080"}, "host:port"},
		{Config{Origins: []string{"*"}}, "origin"},
		{Config{TLSCert: "x"}, "go together"},
		{Config{Keys: []Key{{ID: "a", Hash: "abc", Role: "reader", Sites: []string{"*"}}}}, "64 hexadecimal"},
		{Config{Keys: []Key{{ID: "a", Hash: hash, Role: "root", Sites: []string{"*"}}}}, "role"},
		{Config{Keys: []Key{{ID: "a", Hash: hash, Role: "reader"}}}, "sites"},
	} {
		s, err := New(Options{Engine: exampleEngine{}, Config: row.c})
		switch {
		case err == nil && row.want != "":
			t.Errorf("%+v starts", row.c)
		case err != nil && (row.want == "" || !strings.Contains(err.Error(), row.want)):
			t.Errorf("%+v: %v, want %q", row.c, err, row.want)
		}
		if s != nil {
			_ = s.Close(t.Context())
		}
	}
}

// TestRoles: the role table, row by row.
func TestRoles(t *testing.T) {
	keys := map[string]string{}
	now := time.Date(2026, 5, 1, 0, 0, 0, 0, time.UTC)
	past := now.Add(-time.Hour)
	var changes []Change
	c := newClient(t, func(o *Options) {
		o.Now = func() time.Time { return now }
		o.Audit = func(e Change) { changes = append(changes, e) }
		for _, k := range []Key{
			{ID: "ria", Role: "reader", Sites: []string{"mine"}},
			{ID: "dan", Role: "designer", Sites: []string{"mine", "new"}},
			{ID: "ada", Role: "admin", Sites: []string{"*"}},
			{ID: "old", Role: "admin", Sites: []string{"*"}, Expires: &past},
		} {
			keys[k.ID], k.Hash = NewKey()
			o.Config.Keys = append(o.Config.Keys, k)
		}
	})
	as := func(id string) header {
		if id == "" {
			return header{}
		}
		return header{"Authorization": "Bearer " + keys[id]}
	}
	for _, site := range []string{"mine", "yours"} {
		c.want(c.do("POST /sites", lotField(site, 3), as("ada")), 201, "")
	}
	execute := `{"inputs":{"site":"mine"}}`
	for _, row := range []struct {
		who, what string
		body      any
		status    int
		slug      string
	}{
		{"", "GET /", nil, 200, ""},
		{"", "GET /openapi.json", nil, 200, ""},
		{"", "GET /healthz", nil, 200, ""},
		{"", "GET /processes", nil, 200, ""},
		{"", "GET /collections", nil, 401, "key-missing"},
		{"", "GET /sites", nil, 401, "key-missing"},
		{"", "GET /metrics", nil, 401, "key-missing"},
		{"", "POST /processes/zone/execution", execute, 401, "key-missing"},
		{"old", "GET /sites", nil, 401, "key-missing"},
		{"ria", "GET /sites", nil, 200, ""},
		{"ria", "GET /sites/mine", nil, 200, ""},
		{"ria", "GET /sites/yours", nil, 404, "not-found"},
		{"ria", "GET /sites/absent", nil, 404, "not-found"},
		{"ria", "GET /sites/yours/document", nil, 404, "not-found"},
		{"ria", "GET /sites/yours/tiles/0/0/0.mvt", nil, 404, "not-found"},
		{"ria", "GET /collections/parcels/items?site=yours", nil, 404, "not-found"},
		{"ria", "GET /collections/parcels/items/yours:p0", nil, 404, "not-found"},
		{"ria", "GET /metrics", nil, 403, "role-too-low"},
		{"ria", "POST /processes/zone/execution", execute, 403, "role-too-low"},
		{"ria", "GET /sites/mine/sheets/plan.pdf", nil, 403, "role-too-low"},
		{"", "GET /sites/mine/sheets/plan.pdf", nil, 401, "key-missing"},
		{"dan", "GET /sites/mine/sheets/plan.pdf", nil, 200, ""},
		{"dan", "GET /sites/yours/sheets/plan.pdf", nil, 404, "not-found"},
		{"ria", "POST /sites", lotField("mine", 1), 403, "role-too-low"},
		{"ria", "DELETE /sites/mine", nil, 403, "role-too-low"},
		{"dan", "POST /processes/zone/execution", execute, 200, ""},
		{"dan", "POST /processes/zone/execution", `{"inputs":{"site":"yours"}}`, 404, "not-found"},
		{"dan", "POST /sites", lotField("new", 1), 201, ""},
		{"dan", "POST /sites?replace=true", lotField("yours", 1), 404, "not-found"},
		{"dan", "DELETE /sites/mine", nil, 403, "role-too-low"},
		{"ada", "DELETE /sites/new", nil, 204, ""},
		{"ada", "GET /metrics", nil, 200, ""},
	} {
		res := c.do(row.what, row.body, as(row.who))
		body, _ := io.ReadAll(res.Body)
		if res.StatusCode != row.status || row.slug != "" && !bytes.Contains(body, []byte("/problems/"+row.slug)) {
			t.Errorf("%s %s: %d %s, want %d %s", row.who, row.what, res.StatusCode, body, row.status, row.slug)
		}
		if res.StatusCode == 401 && res.Header.Get("WWW-Authenticate") == "" {
			t.Error("no WWW-Authenticate")
		}
	}
	// another tenant's site cannot be told from an absent one
	tell := func(site string) string {
		p := read[problem](t, c.do("GET /sites/"+site, nil, as("ria")))
		return strings.ReplaceAll(p.Detail+p.Title, site, "X")
	}
	if tell("yours") != tell("absent") {
		t.Error(tell("yours"), tell("absent"))
	}
	if p := read[itemsPage](t, c.do("GET /collections/parcels/items", nil, as("ria"))); p.NumberMatched != 3 {
		t.Errorf("ria sees %d lots", p.NumberMatched)
	}
	// jobs are the caller's own
	j := read[statusInfo](t, c.do("POST /processes/zone/execution", execute, as("dan"), header{"Prefer": "respond-async"}))
	c.want(c.do("GET /jobs/"+j.JobID, nil, as("ria")), 404, "not-found")
	c.want(c.do("GET /jobs/"+j.JobID, nil, as("dan")), 200, "")
	c.want(c.do("GET /jobs/"+j.JobID, nil, as("ada")), 200, "")
	c.want(c.do("GET /sites", nil, header{"Authorization": "Basic eDp5"}), 401, "key-missing")
	c.want(c.do("GET /healthz", nil, header{"Authorization": "Bearer wrong"}), 401, "key-missing")
	var said []string
	for _, e := range changes {
		said = append(said, e.Who+" "+e.What+" "+e.Site)
	}
	if got := strings.Join(said, ", "); got != "ada putSite mine, ada putSite yours, dan putSite new, ada deleteSite new" {
		t.Errorf("audit log: %s", got)
	}
}

func TestRateLimit(t *testing.T) {
	c := newClient(t, func(o *Options) { o.Config.Limits.PerSecond, o.Config.Limits.Burst = 1, 3 })
	for i := range 5 {
		res := c.do("GET /healthz", nil, header{"X-Forwarded-For": "198.51.100." + string(rune('1'+i))})
		if want := map[bool]int{true: 200, false: 429}[i < 3]; res.StatusCode != want {
			t.Errorf("request %d: %d", i, res.StatusCode)
		}
		if res.StatusCode == 429 && res.Header.Get("Retry-After") == "" {
			t.Error("no Retry-After")
		}
	}
}

func TestOrigins(t *testing.T) {
	c := newClient(t, func(o *Options) {
		o.Config.Origins = []string{"https://maps.example.org"}
		o.Config.Hosts = []string{"drains.example.org"}
	})
	res := c.do("GET /sites", nil, header{"Origin": "https://maps.example.org"})
	if res.StatusCode != 200 || res.Header.Get("Access-Control-Allow-Origin") != "https://maps.example.org" {
		t.Errorf("%d %v", res.StatusCode, res.Header)
	}
	c.want(c.do("GET /sites", nil, header{"Origin": "https://maps.example.org.evil.example"}), 403, "origin-not-allowed")
	c.want(c.do("GET /sites", nil, header{"Origin": "http://127.0.0.1:8080"}), 200, "")
	c.want(c.do("GET /sites", nil, header{"Host": "drains.example.org"}), 200, "")
	c.want(c.do("GET /sites", nil, header{"Host": "drains.example.org.evil.example"}), 403, "host-not-allowed")
	pre := c.do("OPTIONS /sites", nil, header{"Origin": "https://maps.example.org", "Access-Control-Request-Method": "POST"})
	if pre.StatusCode != 204 || !strings.Contains(pre.Header.Get("Access-Control-Allow-Methods"), "POST") {
		t.Errorf("%d %v", pre.StatusCode, pre.Header)
	}
}

// TestOnce: a write sent twice under one key is done once, also when the second
// comes while the first is under way.
func TestOnce(t *testing.T) {
	c := newClient(t)
	body := lotField("once", 3)
	var wg sync.WaitGroup
	answers := make([]string, 4)
	for i := range answers {
		wg.Go(func() {
			res := c.do("POST /sites", body, header{"Idempotency-Key": "k1"})
			b, _ := io.ReadAll(res.Body)
			answers[i] = res.Header.Get("Location") + string(b)
			if res.StatusCode != 201 {
				t.Errorf("%d %s", res.StatusCode, b)
			}
		})
	}
	wg.Wait()
	for _, a := range answers {
		if a != answers[0] || a == "" {
			t.Errorf("another answer: %s", a)
		}
	}
	if c.store.puts != 1 {
		t.Errorf("stored %d times", c.store.puts)
	}
	c.want(c.do("POST /sites", lotField("once", 4), header{"Idempotency-Key": "k1"}), 422, "idempotency-mismatch")
	c.want(c.do("POST /sites?replace=true", body, header{"Idempotency-Key": "k1"}), 422, "idempotency-mismatch")
	// a refusal is not remembered
	c.want(c.do("POST /sites", body, header{"Idempotency-Key": "k2"}), 409, "conflict")
	c.want(c.do("DELETE /sites/once", nil), 204, "")
	c.want(c.do("POST /sites", body, header{"Idempotency-Key": "k2"}), 201, "")
	a := read[statusInfo](t, c.do("POST /processes/zone/execution", `{"inputs":{"site":{}}}`, header{"Prefer": "respond-async", "Idempotency-Key": "k3"}))
	b := read[statusInfo](t, c.do("POST /processes/zone/execution", `{"inputs":{"site":{}}}`, header{"Prefer": "respond-async", "Idempotency-Key": "k3"}))
	if a.JobID != b.JobID {
		t.Error("two jobs")
	}
}

// TestTags: what the client has already is not sent again, until it changes.
func TestTags(t *testing.T) {
	c := newClient(t)
	c.want(c.do("POST /sites", lotField("tagged", 3)), 201, "")
	for _, path := range []string{"/sites", "/sites/tagged", "/sites/tagged/document", "/sites/tagged/history", "/sites/tagged/tiles/0/0/0.mvt", "/collections",
		"/collections/parcels", "/collections/parcels/items", "/collections/parcels/items/p1", "/openapi.json", "/assets/style.css"} {
		tag := c.do("GET "+path, nil).Header.Get("ETag")
		if tag == "" {
			t.Errorf("%s has no ETag", path)
			continue
		}
		res := c.do("GET "+path, nil, header{"If-None-Match": `"other", ` + tag})
		if body, _ := io.ReadAll(res.Body); res.StatusCode != 304 || len(body) > 0 {
			t.Errorf("%s: %d", path, res.StatusCode)
		}
		if strings.HasPrefix(path, "/sites") || strings.HasPrefix(path, "/collections") {
			c.want(c.do("POST /sites", lotField("tagged", 3), header{"If-Match": c.do("GET /sites/tagged", nil).Header.Get("ETag")}), 200, "")
			if res := c.do("GET "+path, nil, header{"If-None-Match": tag}); res.StatusCode != 200 {
				t.Errorf("%s: %d after a change", path, res.StatusCode)
			}
		}
	}
	c.want(c.do("POST /sites", lotField("tagged", 3), header{"If-Match": `W/"v1"`}), 412, "version-conflict")
}

// TestHead: what stands beside the features of a site comes without them.
func TestHead(t *testing.T) {
	c := newClient(t)
	c.want(c.do("POST /sites", bytes.Replace(lotField("headed", 3), []byte(`{"site"`), []byte(`{"criteria":{"clearance":{"lot_line_m":1.5}},"site"`), 1)), 201, "")
	got := read[struct {
		CRS      string
		Criteria struct{ Clearance map[string]float64 }
		Layers   map[string]struct{ Features []any }
	}](t, c.do("GET /sites/headed/document?features=false", nil))
	if got.CRS != "EPSG:2274" || got.Criteria.Clearance["lot_line_m"] != 1.5 || len(got.Layers) != 2 || len(got.Layers["parcels"].Features) != 0 {
		t.Errorf("%+v", got)
	}
	whole := read[struct {
		Layers map[string]struct{ Features []any }
	}](t, c.do("GET /sites/headed/document?features=true", nil))
	if len(whole.Layers["parcels"].Features) != 3 {
		t.Errorf("%+v", whole)
	}
	c.want(c.do("GET /sites/headed/document?features=none", nil), 400, "parameter-invalid")
	c.want(c.do("GET /sites/nowhere/document?features=false", nil), 404, "not-found")
}

func TestCompression(t *testing.T) {
	c := newClient(t)
	c.want(c.do("POST /sites", lotField("big", 200)), 201, "")
	plain, _ := io.ReadAll(c.do("GET /collections/parcels/items?limit=200", nil).Body)
	res := c.do("GET /collections/parcels/items?limit=200", nil, header{"Accept-Encoding": "gzip"})
	packed, _ := io.ReadAll(res.Body)
	z, err := gzip.NewReader(bytes.NewReader(packed))
	if err != nil || res.Header.Get("Content-Encoding") != "gzip" {
		t.Fatal(err, res.Header)
	}
	out, _ := io.ReadAll(z)
	if len(packed)*3 > len(plain) || len(out) != len(plain) {
		t.Errorf("%d of %d bytes", len(packed), len(plain))
	}
}

// TestStoreDown: the store's failure is the service's, with no word of its
// cause; readiness says so, health does not.
func TestStoreDown(t *testing.T) {
	c := newClient(t)
	c.want(c.do("GET /readyz", nil), 200, "")
	c.store.down = errors.New("dial unix /var/run/secret.sock: no")
	for what, status := range map[string]int{"GET /readyz": 503, "GET /healthz": 200, "GET /sites": 500, "GET /collections/parcels/items": 500, "GET /processes": 200} {
		res := c.do(what, nil)
		body, _ := io.ReadAll(res.Body)
		if res.StatusCode != status || bytes.Contains(body, []byte("secret")) {
			t.Errorf("%s: %d %s", what, res.StatusCode, body)
		}
	}
}

// TestNoStore: without a store the processes work and the collections are
// empty, with a reason where one is asked for by name.
func TestNoStore(t *testing.T) {
	c := newClient(t, func(o *Options) { o.Store = nil })
	c.want(c.do("POST /processes/plan/execution", example(t, "execute")), 200, "")
	c.want(c.do("GET /collections", nil), 200, "")
	c.want(c.do("GET /sites", nil), 200, "")
	c.want(c.do("GET /readyz", nil), 200, "")
	c.want(c.do("GET /sites/x", nil), 404, "no-store")
	c.want(c.do("POST /sites", example(t, "site")), 404, "no-store")
	c.want(c.do("POST /processes/plan/execution", `{"inputs":{"site":"x"}}`), 404, "no-store")
}
