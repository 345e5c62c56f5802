package api

// A store in memory, for these tests only: the two that ship have one suite of
// their own.

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"iter"
	"maps"
	"math"
	"slices"
	"sync"
	"time"

	"github.com/paulmach/orb"
	"github.com/tidwall/rtree"

	"fallwright/parcels"
)

type memorySite struct {
	info     parcels.SiteInfo
	document []byte
	layers   map[parcels.Layer]*memoryLayer
	edits    []parcels.Edit
	results  []parcels.Result
}

type memoryLayer struct {
	features []parcels.StoredFeature // FID is place + 1
	index    rtree.RTreeG[int]
	byID     map[string]int
}

type memoryStore struct {
	parcels.RasterStore // none of these tests asks for them
	memoryJobs
	mu    sync.RWMutex
	sites map[string]*memorySite
	down  error
	puts  int
}

func newMemoryStore() *memoryStore {
	return &memoryStore{sites: map[string]*memorySite{}, memoryJobs: memoryJobs{jobs: map[string]parcels.Job{}, replies: map[string]parcels.Reply{}}}
}

func (m *memoryStore) Input(_ context.Context, r parcels.Result) ([]byte, error) {
	return nil, missing(r.ID)
}

// memoryJobs are the jobs and replies of a store in memory.
type memoryJobs struct {
	jobsMu  sync.Mutex
	jobs    map[string]parcels.Job
	replies map[string]parcels.Reply
}

func (m *memoryJobs) PutJob(_ context.Context, j parcels.Job) error {
	m.jobsMu.Lock()
	defer m.jobsMu.Unlock()
	m.jobs[j.ID] = j
	return nil
}

func (m *memoryJobs) Job(_ context.Context, id string) (parcels.Job, error) {
	m.jobsMu.Lock()
	defer m.jobsMu.Unlock()
	if j, ok := m.jobs[id]; ok {
		return j, nil
	}
	return parcels.Job{}, missing(id)
}

func (m *memoryJobs) Jobs(_ context.Context, owner, state string) (out []parcels.Job, err error) {
	m.jobsMu.Lock()
	defer m.jobsMu.Unlock()
	for _, j := range m.jobs {
		if (owner == "" || j.Owner == owner) && (state == "" || j.State == state) {
			j.Body, j.Request = nil, nil
			out = append(out, j)
		}
	}
	slices.SortFunc(out, func(a, b parcels.Job) int { return a.Created.Compare(b.Created) })
	return out, nil
}

func (m *memoryJobs) DeleteJob(_ context.Context, id string) error {
	m.jobsMu.Lock()
	defer m.jobsMu.Unlock()
	delete(m.jobs, id)
	return nil
}

func (m *memoryJobs) PutReply(_ context.Context, r parcels.Reply) error {
	m.jobsMu.Lock()
	defer m.jobsMu.Unlock()
	m.replies[r.Key] = r
	return nil
}

func (m *memoryJobs) Reply(_ context.Context, key string) (parcels.Reply, error) {
	m.jobsMu.Lock()
	defer m.jobsMu.Unlock()
	if r, ok := m.replies[key]; ok {
		return r, nil
	}
	return parcels.Reply{}, missing(key)
}

func (m *memoryJobs) Expire(_ context.Context, now time.Time) (n int, err error) {
	m.jobsMu.Lock()
	defer m.jobsMu.Unlock()
	before := len(m.jobs) + len(m.replies)
	maps.DeleteFunc(m.jobs, func(_ string, j parcels.Job) bool { return j.Expires != nil && j.Expires.Before(now) })
	maps.DeleteFunc(m.replies, func(_ string, r parcels.Reply) bool { return r.Expires.Before(now) })
	return before - len(m.jobs) - len(m.replies), nil
}

func missing(name string) error {
	return &parcels.Error{Kind: parcels.NotFound, Op: "store: site", Subject: name}
}

func (m *memoryStore) Sites(context.Context) (out []parcels.SiteInfo, err error) {
	m.mu.RLock()
	defer m.mu.RUnlock()
	for _, s := range m.sites {
		out = append(out, s.info)
	}
	return out, m.down
}

func (m *memoryStore) site(name string) (*memorySite, error) {
	if m.down != nil {
		return nil, m.down
	}
	s := m.sites[name]
	if s == nil {
		return nil, missing(name)
	}
	return s, nil
}

func (m *memoryStore) Site(_ context.Context, name string) (parcels.SiteInfo, error) {
	m.mu.RLock()
	defer m.mu.RUnlock()
	s, err := m.site(name)
	if err != nil {
		return parcels.SiteInfo{}, err
	}
	return s.info, nil
}

func bounds(g json.RawMessage) (b orb.Bound, ok bool) {
	first := true
	_, err := moveGeometry(g, func(p orb.Point) orb.Point {
		if first {
			b, first = orb.Bound{Min: p, Max: p}, false
		}
		b = b.Extend(p)
		return p
	}, 0)
	return b, err == nil && !first
}

func (s *memorySite) add(layer parcels.Layer, f parcels.StoredFeature) error {
	l := s.layers[layer]
	if l == nil {
		l = &memoryLayer{byID: map[string]int{}}
		s.layers[layer] = l
	}
	if f.ID != "" {
		if _, twice := l.byID[f.ID]; twice {
			return &parcels.InputError{Kind: parcels.Conflict, Faults: []parcels.Fault{{Slug: "duplicate-id", ID: f.ID, Detail: "The id is stored already."}}}
		}
		l.byID[f.ID] = len(l.features)
	}
	f.FID = int64(len(l.features) + 1)
	if b, ok := bounds(f.Geometry); ok {
		l.index.Insert(b.Min, b.Max, len(l.features))
		if s.info.Bounds == nil {
			s.info.Bounds = &[4]float64{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}
		}
		all := s.info.Bounds
		all[0], all[1], all[2], all[3] = min(all[0], b.Min[0]), min(all[1], b.Min[1]), max(all[2], b.Max[0]), max(all[3], b.Max[1])
	}
	l.features = append(l.features, f)
	s.info.Features[layer] = len(l.features)
	return nil
}

func (s *memorySite) change(who, what string) {
	s.info.Version++
	s.info.Changed = time.Date(2026, 3, 1, 12, 0, int(s.info.Version), 0, time.UTC)
	s.edits = append(s.edits, parcels.Edit{Version: s.info.Version, When: s.info.Changed, Who: who, What: what})
}

func newMemorySite(name string) *memorySite {
	return &memorySite{info: parcels.SiteInfo{Name: name, Features: map[parcels.Layer]int{}}, layers: map[parcels.Layer]*memoryLayer{}}
}

func (m *memoryStore) PutSite(_ context.Context, name string, document []byte, version int64, who string) (parcels.SiteInfo, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.puts++
	var doc struct {
		CRS    string
		Layers map[parcels.Layer]struct {
			Features []struct {
				ID                   any
				Geometry, Properties json.RawMessage
			}
		}
	}
	if err := json.Unmarshal(document, &doc); err != nil {
		return parcels.SiteInfo{}, err
	}
	s := newMemorySite(name)
	s.info.CRS, s.document = doc.CRS, bytes.Clone(document)
	if old := m.sites[name]; old != nil {
		if version != 0 && old.info.Version != version {
			return parcels.SiteInfo{}, &parcels.Error{Kind: parcels.Conflict, Op: "store: put", Subject: name}
		}
		s.info.Version, s.edits = old.info.Version, old.edits
	}
	for layer, l := range doc.Layers {
		s.info.Features[layer] = 0
		for _, f := range l.Features {
			id := ""
			if f.ID != nil {
				id = fmt.Sprint(f.ID)
			}
			if err := s.add(layer, parcels.StoredFeature{ID: id, Geometry: f.Geometry, Properties: f.Properties}); err != nil {
				return parcels.SiteInfo{}, err
			}
		}
	}
	s.change(who, "put")
	m.sites[name] = s
	return s.info, nil
}

func (m *memoryStore) Document(_ context.Context, name string) ([]byte, error) {
	m.mu.RLock()
	defer m.mu.RUnlock()
	s, err := m.site(name)
	if err != nil {
		return nil, err
	}
	return s.document, nil
}

func (m *memoryStore) Head(ctx context.Context, name string) ([]byte, error) {
	text, err := m.Document(ctx, name)
	var doc map[string]any
	if err != nil || json.Unmarshal(text, &doc) != nil {
		return nil, err
	}
	for _, l := range doc["layers"].(map[string]any) {
		l.(map[string]any)["features"] = []any{}
	}
	return json.Marshal(doc)
}

func (m *memoryStore) DeleteSite(_ context.Context, name, _ string) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if _, err := m.site(name); err != nil {
		return err
	}
	delete(m.sites, name)
	return nil
}

func (m *memoryStore) History(_ context.Context, name string) ([]parcels.Edit, error) {
	m.mu.RLock()
	defer m.mu.RUnlock()
	s, err := m.site(name)
	if err != nil {
		return nil, err
	}
	return s.edits, nil
}

type memoryWriter struct {
	m       *memoryStore
	name    string
	layer   parcels.Layer
	crs     string
	replace bool
	held    []parcels.StoredFeature
}

func (m *memoryStore) Write(_ context.Context, site string, layer parcels.Layer, crs string, replace bool) (parcels.LayerWriter, error) {
	return &memoryWriter{m: m, name: site, layer: layer, crs: crs, replace: replace}, m.down
}

func (w *memoryWriter) Add(_ context.Context, f parcels.StoredFeature) error {
	w.held = append(w.held, f)
	return nil
}

func (w *memoryWriter) Commit(_ context.Context, who string) (parcels.SiteInfo, error) {
	w.m.mu.Lock()
	defer w.m.mu.Unlock()
	old := w.m.sites[w.name]
	s := newMemorySite(w.name)
	if old != nil {
		s.info.Version, s.edits, s.info.CRS, s.results = old.info.Version, old.edits, old.info.CRS, old.results
		for layer, l := range old.layers {
			if layer == w.layer && w.replace {
				continue
			}
			for _, f := range l.features {
				if err := s.add(layer, f); err != nil {
					return parcels.SiteInfo{}, err
				}
			}
		}
	} else {
		s.info.CRS = w.crs
	}
	for _, f := range w.held {
		if err := s.add(w.layer, f); err != nil {
			return parcels.SiteInfo{}, err
		}
	}
	s.change(who, "import "+string(w.layer))
	// put together from its layers
	layers := map[parcels.Layer]any{}
	for layer, l := range s.layers {
		var fs []any
		for _, f := range l.features {
			fs = append(fs, map[string]any{"type": "Feature", "geometry": f.Geometry, "properties": f.Properties})
		}
		layers[layer] = map[string]any{"type": "FeatureCollection", "features": fs}
	}
	s.document, _ = json.Marshal(map[string]any{"site": w.name, "layers": layers})
	w.m.sites[w.name] = s
	return s.info, nil
}

func (w *memoryWriter) Abort() error { return nil }

func (w *memoryWriter) Expect(_ context.Context, version int64) error {
	w.m.mu.RLock()
	defer w.m.mu.RUnlock()
	s, err := w.m.site(w.name)
	if version != 0 && (err != nil || s.info.Version != version) {
		return &parcels.Error{Kind: parcels.Conflict, Op: "store: put", Subject: w.name}
	}
	return nil
}

func (m *memoryStore) PutSettings(_ context.Context, name string, _ map[string]json.RawMessage, _ int64, _ string) (parcels.SiteInfo, error) {
	return parcels.SiteInfo{}, missing(name) // none of these tests asks for it
}

func (m *memoryStore) matching(site string, layer parcels.Layer, w parcels.Window) ([]parcels.StoredFeature, error) {
	m.mu.RLock()
	defer m.mu.RUnlock()
	s, err := m.site(site)
	if err != nil {
		return nil, err
	}
	l := s.layers[layer]
	if l == nil {
		return nil, nil
	}
	if w.ID != "" {
		if i, ok := l.byID[w.ID]; ok {
			return l.features[i : i+1], nil
		}
		return nil, nil
	}
	if w.Bounds == nil && w.Equal == nil {
		from := min(int(w.After), len(l.features))
		to := len(l.features)
		if w.Limit > 0 {
			to = min(to, from+w.Limit)
		}
		return l.features[from:to], nil
	}
	var places []int
	if w.Bounds != nil {
		l.index.Search(w.Bounds.Min, w.Bounds.Max, func(_, _ [2]float64, i int) bool {
			places = append(places, i)
			return true
		})
		slices.Sort(places)
	} else {
		for i := range l.features {
			places = append(places, i)
		}
	}
	var out []parcels.StoredFeature
	for _, i := range places {
		f := l.features[i]
		if f.FID > w.After && holds(f.Properties, w.Equal) {
			out = append(out, f)
			if len(out) == w.Limit {
				break
			}
		}
	}
	return out, nil
}

func (m *memoryStore) Features(_ context.Context, site string, layer parcels.Layer, w parcels.Window) iter.Seq2[parcels.StoredFeature, error] {
	return func(yield func(parcels.StoredFeature, error) bool) {
		fs, err := m.matching(site, layer, w)
		if err != nil {
			yield(parcels.StoredFeature{}, err)
			return
		}
		for _, f := range fs {
			if !yield(f, nil) {
				return
			}
		}
	}
}

func (m *memoryStore) Count(_ context.Context, site string, layer parcels.Layer, w parcels.Window) (int, error) {
	w.Limit = 0
	fs, err := m.matching(site, layer, w)
	return len(fs), err
}

func (m *memoryStore) PutResult(_ context.Context, r parcels.Result) (parcels.Result, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	s, err := m.site(r.Site)
	if err != nil {
		return r, err
	}
	r.ID = fmt.Sprintf("r%d", len(s.results)+1)
	s.results = append(s.results, r)
	return r, nil
}

func (m *memoryStore) Results(_ context.Context, site, kind string) (out []parcels.Result, err error) {
	m.mu.RLock()
	defer m.mu.RUnlock()
	s, err := m.site(site)
	if err != nil {
		return nil, err
	}
	for _, r := range s.results {
		if r.Kind == kind {
			out = append(out, r)
		}
	}
	return out, nil
}

func (m *memoryStore) Result(_ context.Context, id string) (parcels.Result, error) {
	m.mu.RLock()
	defer m.mu.RUnlock()
	for _, name := range slices.Sorted(maps.Keys(m.sites)) {
		for _, r := range m.sites[name].results {
			if r.ID == id {
				return r, nil
			}
		}
	}
	return parcels.Result{}, &parcels.Error{Kind: parcels.NotFound, Op: "store: result", Subject: id}
}

func (m *memoryStore) Ready(context.Context) error { return m.down }
func (m *memoryStore) Close() error                { return nil }
