package document

// A site too large to be held at once. It is read through once, batch by batch
// (Survey): that finds every fault and what only the whole shows. After that
// any features of it are read on their own (Part), in the same plane and to the
// same as Read would have made of them.

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"

	"github.com/paulmach/orb"

	"fallwright/geo/frame"
	"fallwright/parcels"
)

// ErrWhole says that a site cannot be read in pieces: a layer of it is in a
// system of its own.
var ErrWhole = errors.New("document: a layer is in a reference system of its own; the site has to be read whole")

// Known is what has to be known of the whole to read a part of it. It can be
// kept as JSON.
type Known struct {
	// Bounds of the parcels, in the document's system.
	Bounds orb.Bound `json:"bounds"`
	// Dropped lists, by layer and rising, the places of the features that are
	// not taken: faulty ones, and those under a name that another bears.
	Dropped map[parcels.Layer][]int `json:"dropped,omitempty"`
	// Middle of the heights; nil where none are known.
	Middle *float64 `json:"middle,omitempty"`
}

// Pieces reads a site piece by piece. It is for one goroutine.
type Pieces struct {
	d      *siteReader
	texts  map[parcels.Layer]layerText
	given  bool
	origin parcels.Origin
	text   []byte
}

// Open begins with the head of a site: its document with no feature in any
// layer. The error is a *parcels.InputError or ErrWhole.
func Open(head []byte, o Options) (*Pieces, error) {
	d, texts, err := open(head, o)
	if err != nil {
		return nil, err
	}
	p := &Pieces{d: d, texts: texts}
	for _, l := range p.Layers() {
		d.s.Supplied[l] = true
		d.layer, d.base = string(l), texts[l].base
		own := d.collection(texts[l].raw, layerTypes[l], false).CRS
		switch {
		case l == parcels.LayerParcels:
			var ok bool
			if p.given, ok = d.system(own); !ok {
				return nil, d.error(parcels.Invalid)
			}
		case own != "" && frame.Normalise(own) != frame.Normalise(d.s.CRS):
			return nil, ErrWhole
		}
	}
	if len(d.faults) > 0 {
		return nil, d.error(parcels.Invalid)
	}
	return p, nil
}

// Layers lists those that the site has, in the order of parcels.Layers.
func (p *Pieces) Layers() []parcels.Layer {
	var out []parcels.Layer
	for _, l := range parcels.Layers {
		if _, ok := p.texts[l]; ok {
			out = append(out, l)
		}
	}
	return out
}

// Over lays the plane over the bounds of the parcels.
func (p *Pieces) Over(k Known) error {
	if !p.d.over(k.Bounds) {
		return p.d.error(parcels.Invalid)
	}
	return nil
}

// read makes features of what a store hands over; at is the place of each in
// its layer.
func (p *Pieces) read(fs []parcels.StoredFeature, at func(int) int, l parcels.Layer) ([]Feature, error) {
	d := p.d
	p.text = p.text[:0:0] // features keep slices of it
	ends := make([]int, len(fs))
	for i, f := range fs {
		p.text = append(p.text, `{"type":"Feature"`...)
		if f.ID != "" {
			id, _ := json.Marshal(f.ID) // a text
			p.text = append(append(p.text, `,"id":`...), id...)
		}
		p.text = append(p.text, `,"geometry":`...)
		p.text = appendOrNull(p.text, f.Geometry)
		p.text = append(p.text, `,"properties":`...)
		p.text = appendOrNull(p.text, f.Properties)
		p.text = append(p.text, '}')
		ends[i] = len(p.text)
	}
	var out []Feature
	from := 0
	for i, to := range ends {
		raw, err := Scan(p.text[from:to])
		if err != nil {
			return nil, err
		}
		from = to
		n := at(i)
		if f, ok := d.reader.feature(raw, n, d.base+"/features/"+strconv.Itoa(n), layerTypes[l], false); ok {
			out = append(out, f)
		}
	}
	return out, nil
}

func appendOrNull(b []byte, raw json.RawMessage) []byte {
	if len(raw) == 0 {
		return append(b, "null"...)
	}
	return append(b, raw...)
}

// enter makes ready for a layer.
func (p *Pieces) enter(l parcels.Layer) {
	t := p.texts[l]
	p.d.layer, p.d.base, p.d.bad = string(l), t.base, nil
	p.origin = p.d.beside(l, t)
}

// clear drops the features of the batch before.
func (p *Pieces) clear() {
	s := p.d.s
	s.Lots, s.Streets, s.Districts, s.Buildings, s.Openings, s.Easements, s.Swales, s.Inlets = nil, nil, nil, nil, nil, nil, nil, nil
	s.Outlets, s.Intakes, s.PerforatedRuns, s.Obstacles, s.Drains, s.Spots, s.Contours, s.Breaklines = nil, nil, nil, nil, nil, nil, nil, nil
}

// Batches hands over a layer's features in order, some at a time.
type Batches func(l parcels.Layer, f func([]parcels.StoredFeature) error) error

// Survey reads the whole site once. each is called with every batch that has
// been read: the site's features are those of the batch alone. It returns the
// site without features, with all its findings and assumptions, and what is
// needed to read parts of it. The error is a *parcels.InputError with every
// fault, or one of batches or each.
func (p *Pieces) Survey(batches Batches, each func(l parcels.Layer, s *parcels.Site) error) (*parcels.Site, Known, error) {
	d, k := p.d, Known{Dropped: map[parcels.Layer][]int{}}
	if err := p.measure(batches, &k); err != nil {
		return nil, k, err
	}
	var shots []parcels.Spot // that may be placeholders
	for _, l := range p.Layers() {
		p.enter(l)
		n, ids := 0, map[string]int{}
		degrees := !d.info.Geographic
		var first *Feature
		err := batches(l, func(fs []parcels.StoredFeature) error {
			p.clear()
			features, err := p.read(fs, func(i int) int { return n + i }, l)
			if err != nil {
				return err
			}
			features, low := d.holds(features, d.info, p.given)
			degrees = degrees && low
			if first == nil && len(features) > 0 {
				first = &features[0]
			}
			if l == parcels.LayerParcels {
				d.areaOfUse(features)
			}
			for _, f := range features {
				d.feature(l, f, p.origin, ids, d.s.Frame.Plane)
			}
			clear(ids) // a store holds no id twice
			k.drop(l, n, len(fs), d.s)
			n += len(fs)
			d.heights()
			for _, sp := range d.s.Spots {
				if IsSentinel(float64(sp.Z) / d.zUnit) {
					shots = append(shots, sp)
				}
			}
			odd := d.levels[:0]
			for _, v := range d.levels {
				if IsSentinel(v.raw) {
					v.clear, v.common.Properties = func() {}, nil
					odd = append(odd, v)
				} else if len(d.ground) == 0 {
					d.sound = append(d.sound, v.value)
				}
			}
			d.levels = odd
			for _, o := range d.s.Obstacles {
				d.utility = d.utility || o.Kind == "utility"
			}
			return each(l, d.s)
		})
		p.clear()
		if err != nil {
			return nil, k, err
		}
		if degrees && first != nil {
			d.fault(d.readsAsDegrees(*first, d.info))
			return nil, k, d.error(parcels.Invalid)
		}
		if len(d.faults) > 0 {
			d.keepGoing()
		}
		if d.full {
			return nil, k, d.error(parcels.Invalid)
		}
	}
	d.layer = ""
	if v := d.middle(); !math.IsNaN(v) {
		k.Middle = &v
	}
	d.s.Spots = shots
	d.wholeShows()
	d.s.Spots = nil
	if len(d.faults) > 0 {
		return nil, k, d.error(parcels.Invalid)
	}
	site := *d.s
	return &site, k, nil
}

// measure finds the bounds of the parcels, so that the plane can be laid.
func (p *Pieces) measure(batches Batches, k *Known) error {
	d, l := p.d, parcels.LayerParcels
	d.layer, d.base = string(l), p.texts[l].base
	n, found := 0, false
	err := batches(l, func(fs []parcels.StoredFeature) error {
		features, err := p.read(fs, func(i int) int { return n + i }, l)
		if err != nil {
			return err
		}
		n += len(fs)
		features, _ = d.holds(features, d.info, p.given)
		for _, f := range features {
			if b := f.Geometry.Bound(); found {
				k.Bounds = k.Bounds.Union(b)
			} else {
				k.Bounds, found = b, true
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	if !found {
		if len(d.faults) == 0 {
			d.fault(parcels.Fault{Slug: "no-parcels", Pointer: d.base + "/features", Detail: "The layer parcels has no lots. Give at least one polygon."})
		}
		return d.error(parcels.Invalid)
	}
	d.faults, d.vertices = nil, 0 // all will be found again
	return p.Over(*k)
}

// drop notes which of a batch's features were not taken.
func (k *Known) drop(l parcels.Layer, first, n int, s *parcels.Site) {
	taken := make([]bool, n)
	m := 0
	for c := range commons(l, s) {
		taken[c.Index-first] = true
		m++
	}
	if m == n {
		return
	}
	for i, ok := range taken {
		if !ok {
			k.Dropped[l] = append(k.Dropped[l], first+i)
		}
	}
}

// Part reads some features of some layers: at gives the place of each in its
// layer of the whole. It may be asked after Survey, or after Open and Over with
// what another's Survey came to know.
func (p *Pieces) Part(k Known, layers []parcels.Layer, fs func(l parcels.Layer) (features []parcels.StoredFeature, at []int, err error)) (*parcels.Site, error) {
	head := *p.d.s
	d := &siteReader{reader: &reader{}, s: &head, o: p.d.o, top: p.d.top, zUnit: p.d.zUnit, info: p.d.info, part: true}
	head.Findings, head.Assumptions = nil, nil // the whole has told them
	q := &Pieces{d: d, texts: p.texts, given: p.given}
	q.clear()
	for _, l := range layers {
		if _, ok := p.texts[l]; !ok {
			continue
		}
		stored, at, err := fs(l)
		if err != nil {
			return nil, err
		}
		if len(stored) == 0 {
			continue
		}
		q.enter(l)
		features, err := q.read(stored, func(i int) int { return at[i] }, l)
		if err != nil {
			return nil, err
		}
		d.faults = nil
		for _, f := range features {
			if _, out := slices.BinarySearch(k.Dropped[l], f.Index); !out {
				d.feature(l, f, q.origin, nil, head.Frame.Plane)
				d.faults = nil // the whole has told them
			}
		}
	}
	mid := math.NaN()
	if k.Middle != nil {
		mid = *k.Middle
	}
	d.sentinels(mid)
	head.Findings, head.Assumptions = nil, nil
	return &head, nil
}

// commons walks what the features of a layer have in common.
func commons(l parcels.Layer, s *parcels.Site) func(yield func(*parcels.Common) bool) {
	return func(yield func(*parcels.Common) bool) {
		switch l {
		case parcels.LayerParcels:
			walkAll(s.Lots, func(v *parcels.Lot) *parcels.Common { return &v.Common }, yield)
		case parcels.LayerStreets:
			walkAll(s.Streets, func(v *parcels.Street) *parcels.Common { return &v.Common }, yield)
		case parcels.LayerDistricts:
			walkAll(s.Districts, func(v *parcels.District) *parcels.Common { return &v.Common }, yield)
		case parcels.LayerBuildings:
			walkAll(s.Buildings, func(v *parcels.Building) *parcels.Common { return &v.Common }, yield)
		case parcels.LayerOpenings:
			walkAll(s.Openings, func(v *parcels.Opening) *parcels.Common { return &v.Common }, yield)
		case parcels.LayerEasements:
			walkAll(s.Easements, func(v *parcels.Easement) *parcels.Common { return &v.Common }, yield)
		case parcels.LayerSwales:
			walkAll(s.Swales, func(v *parcels.Swale) *parcels.Common { return &v.Common }, yield)
		case parcels.LayerInlets:
			walkAll(s.Inlets, func(v *parcels.Inlet) *parcels.Common { return &v.Common }, yield)
		case parcels.LayerOutlets:
			walkAll(s.Outlets, func(v *parcels.Outlet) *parcels.Common { return &v.Common }, yield)
		case parcels.LayerIntakes:
			walkAll(s.Intakes, func(v *parcels.Intake) *parcels.Common { return &v.Common }, yield)
		case parcels.LayerPerforatedRuns:
			walkAll(s.PerforatedRuns, func(v *parcels.PerforatedRun) *parcels.Common { return &v.Common }, yield)
		case parcels.LayerObstacles:
			walkAll(s.Obstacles, func(v *parcels.Obstacle) *parcels.Common { return &v.Common }, yield)
		case parcels.LayerDrains:
			walkAll(s.Drains, func(v *parcels.Drain) *parcels.Common { return &v.Common }, yield)
		case parcels.LayerSpots:
			walkAll(s.Spots, func(v *parcels.Spot) *parcels.Common { return &v.Common }, yield)
		case parcels.LayerContours:
			walkAll(s.Contours, func(v *parcels.GroundLine) *parcels.Common { return &v.Common }, yield)
		case parcels.LayerBreaklines:
			walkAll(s.Breaklines, func(v *parcels.GroundLine) *parcels.Common { return &v.Common }, yield)
		default:
			panic(fmt.Sprintf("document: layer %s has no features", l))
		}
	}
}

func walkAll[T any](all []T, of func(*T) *parcels.Common, yield func(*parcels.Common) bool) {
	for i := range all {
		if !yield(of(&all[i])) {
			return
		}
	}
}
