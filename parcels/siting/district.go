package siting

// The criteria of a lot: the site's, with those of the districts that hold the
// lot laid over them.

import (
	"fmt"
	"math"
	"slices"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
	"fallwright/parcels"
	"fallwright/parcels/document"
)

// Under gives the site as the lot's districts rule it: the site itself where no
// district with criteria holds the middle of the lot, else a copy with their
// criteria laid over in the order of the layer. A lot that reaches into a
// district which does not hold its middle is told by a finding. The error is an
// *parcels.InputError of a district's criteria.
func (t *Siting) Under(lot *parcels.Lot) (*parcels.Site, []parcels.Finding, error) {
	if len(t.site.Districts) == 0 {
		return t.site, nil, nil
	}
	var told []parcels.Finding
	var hold []int
	at, box := Middle(lot.Shape), lot.Shape.Bound()
	for i := range t.site.Districts {
		d := &t.site.Districts[i]
		switch {
		case len(d.Criteria) == 0 || !d.Shape.Bound().Intersects(box):
		case shape.Locate(at, d.Shape) != shape.Outside:
			hold = append(hold, i)
		case reaches(lot.Shape, d.Shape):
			told = append(told, parcels.Finding{Code: "district_border", Severity: parcels.Note, Lot: lot.ID, Feature: Label(d.Common), Location: &at,
				Message: fmt.Sprintf("Lot %s reaches into district %s but its middle lies outside: the district's criteria are not applied to it.", lot.ID, Label(d.Common))})
		}
	}
	s, err := t.ruled(hold)
	return s, told, err
}

// ruled is the site under the criteria of some of its districts, by their places.
func (t *Siting) ruled(by []int) (*parcels.Site, error) {
	if len(by) == 0 {
		return t.site, nil
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	key := fmt.Sprint(by)
	if s := t.under[key]; s != nil {
		return s, nil
	}
	s := *t.site
	for _, i := range by {
		d := &t.site.Districts[i]
		c, err := document.MergeCriteria(d.Criteria, s.Criteria)
		if err != nil {
			return nil, fmt.Errorf("siting: district %s: %w", Label(d.Common), err)
		}
		s.Criteria = c
	}
	if t.under == nil {
		t.under = map[string]*parcels.Site{}
	}
	t.under[key] = &s
	return &s, nil
}

func reaches(lot, district orb.MultiPolygon) bool {
	for _, p := range lot {
		if slices.ContainsFunc(p[0], func(v orb.Point) bool { return shape.Locate(v, district) == shape.Inside }) {
			return true
		}
	}
	return false
}

// Middle is a place well inside a lot: the middle of the widest span on the
// level line through the middle of its largest part's box. Thin parts may have
// it close to their line, never on it. The zero point for no part.
func Middle(mp orb.MultiPolygon) orb.Point {
	var part orb.Polygon
	most := -1.0
	for _, p := range mp {
		if a := math.Abs(float64(shape.RingArea(p[0]))); a > most {
			part, most = p, a
		}
	}
	if part == nil {
		return orb.Point{}
	}
	b := part.Bound()
	// a height that is no vertex's
	y := (b.Min[1] + b.Max[1]) / 2
	for range 40 {
		hit := false
		for _, r := range part {
			for _, v := range r {
				hit = hit || v[1] == y
			}
		}
		if !hit {
			break
		}
		y += (b.Max[1] - b.Min[1]) * 0.0037
	}
	var xs []float64
	for _, r := range part {
		for i := 1; i < len(r); i++ {
			p, q := r[i-1], r[i]
			if (p[1] > y) != (q[1] > y) {
				xs = append(xs, p[0]+(y-p[1])/(q[1]-p[1])*(q[0]-p[0]))
			}
		}
	}
	slices.Sort(xs)
	best, wide := part[0][0], -1.0
	for i := 0; i+1 < len(xs); i += 2 {
		if w := xs[i+1] - xs[i]; w > wide {
			best, wide = orb.Point{(xs[i] + xs[i+1]) / 2, y}, w
		}
	}
	return best
}
