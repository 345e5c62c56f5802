package storetest

// Two writers on one store, each as another process would have it open.

import (
	"fmt"
	"sync"
	"testing"

	"fallwright/parcels"
)

// writers: two import into the same layer by turns that nobody arranged, and
// two put a new version over the same old one. Nothing is lost, nothing is there
// twice, and of two changes to one version one is refused.
func writers(t *testing.T, open Opener) {
	const rounds, each = 5, 20
	stores := []parcels.Store{open(t), open(t)}
	importLots(t, stores[0], "a", "EPSG:2274", false, lot("first", 1699000, 600000, 50))
	var group sync.WaitGroup
	for k, s := range stores {
		group.Go(func() {
			for r := range rounds {
				w, err := s.Write(ctx, "a", parcels.LayerParcels, "EPSG:2274", false)
				if err != nil {
					t.Error(err)
					return
				}
				for i := range each {
					n := (k*rounds+r)*each + i
					if err := w.Add(ctx, lot(fmt.Sprint(n), 1700000+60*float64(n), 600000, 50)); err != nil {
						t.Error(err)
					}
				}
				if _, err := w.Commit(ctx, fmt.Sprintf("writer %d", k)); err != nil {
					t.Error(err)
				}
			}
		})
	}
	group.Wait()
	seen := map[string]int{}
	for _, f := range all(t, stores[1], "a", parcels.LayerParcels, parcels.Window{}) {
		seen[f.ID]++
	}
	for id, n := range seen {
		if n != 1 {
			t.Errorf("lot %s is there %d times", id, n)
		}
	}
	i := ok[parcels.SiteInfo](t)(stores[0].Site(ctx, "a"))
	if want := 1 + 2*rounds*each; len(seen) != want || i.Features[parcels.LayerParcels] != want || i.Version != 1+2*rounds {
		t.Errorf("%d lots of %d, %+v", len(seen), want, i)
	}
	by := map[string]int{}
	for k, e := range ok[[]parcels.Edit](t)(stores[0].History(ctx, "a")) {
		by[e.Who]++
		if e.Version != int64(k+1) {
			t.Errorf("change %d made version %d", k, e.Version)
		}
	}
	if by["writer 0"] != rounds || by["writer 1"] != rounds {
		t.Errorf("changes by %v", by)
	}
	for range rounds {
		version := ok[parcels.SiteInfo](t)(stores[0].PutSite(ctx, "b", []byte(Document), 0, "ann")).Version
		var errs [2]error
		for k, s := range stores {
			group.Go(func() { _, errs[k] = s.PutSite(ctx, "b", []byte(Document), version, "both") })
		}
		group.Wait()
		if (errs[0] == nil) == (errs[1] == nil) {
			t.Fatalf("two puts over version %d: %v, %v", version, errs[0], errs[1])
		}
		for _, err := range errs {
			if err != nil {
				wantKind(t, err, parcels.Conflict)
			}
		}
	}
}
