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
}

// Open begins with the head of a site: its document with no feature in any
// layer. The error is a *parcels.InputError or ErrWhole.
func Open(head []byte, o Options) (*Pieces, error) {
	var err error
	if o.Scanned, err = ScanWith(head, nil); err != nil {
		return nil, err
	}
	d, texts, err := open(o)
	if err != nil {
		return nil, err
	}
	p := &Pieces{d: d, texts: texts}
	for _, l := range p.Layers() {
		d.s.Supplied[l] = true
		d.layer, d.base = string(l), texts[l].base
		own := d.collection(texts[l].Text, layerTypes[l], false).CRS
		switch {
		case l == parcels.LayerParcels:
			var ok bool
			if p.given, ok = d.system(own); !ok {
				return nil, d.error(parcels.Invalid)
			}
		case own != "" && !sameSystem(own, d.s.CRS):
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

// parse makes features of what a store hands over; at is the place of each in
// its layer. Faults go to r.
func parse(r *reader, fs []parcels.StoredFeature, at func(int) int, l parcels.Layer) ([]Feature, error) {
	var text []byte // features keep slices of it
	ends := make([]int, len(fs))
	for i, f := range fs {
		text = append(text, `{"type":"Feature"`...)
		if f.ID != "" {
			id, _ := json.Marshal(f.ID) // a text
			text = append(append(text, `,"id":`...), id...)
		}
		text = append(text, `,"geometry":`...)
		text = appendOrNull(text, f.Geometry)
		text = append(text, `,"properties":`...)
		text = appendOrNull(text, f.Properties)
		text = append(text, '}')
		ends[i] = len(text)
	}
	out := make([]Feature, 0, len(fs))
	from := 0
	for i, to := range ends {
		raw, err := Scan(text[from:to])
		if err != nil {
			return nil, err
		}
		from = to
		n := at(i)
		if f, ok := r.feature(raw, n, r.base+"/features/"+strconv.Itoa(n), layerTypes[l], false); ok {
			out = append(out, f)
		}
	}
	return out, nil
}

// parsed is a batch that has been parsed.
type parsed struct {
	first, n int // places in the layer
	features []Feature
	faults   []parcels.Fault
	err      error
}

// parsed hands over the batches of a layer in order, parsed by several at once.
func (p *Pieces) parsed(l parcels.Layer, batches Batches, workers int, f func(parsed) error) error {
	one := func(fs []parcels.StoredFeature, first int) parsed {
		r := &reader{limits: p.d.limits, layer: p.d.layer, base: p.d.base}
		b := parsed{first: first, n: len(fs)}
		b.features, b.err = parse(r, fs, func(i int) int { return first + i }, l)
		b.faults = r.faults
		return b
	}
	n := 0
	if workers <= 1 {
		return batches(l, func(fs []parcels.StoredFeature) error {
			b := one(fs, n)
			n += len(fs)
			if b.err != nil {
				return b.err
			}
			return f(b)
		})
	}
	waiting := make(chan chan parsed, workers)
	stop := make(chan struct{})
	var read error
	go func() {
		defer close(waiting)
		read = batches(l, func(fs []parcels.StoredFeature) error {
			out := make(chan parsed, 1)
			own, first := slices.Clone(fs), n
			n += len(fs)
			select {
			case waiting <- out: // as many as its room are parsed at once
			case <-stop:
				return errStopped
			}
			go func() { out <- one(own, first) }()
			return nil
		})
	}()
	var err error
	for out := range waiting {
		if err != nil {
			continue // the reader has to come to its end
		}
		b := <-out
		if err = b.err; err == nil {
			err = f(b)
		}
		if err != nil {
			close(stop)
		}
	}
	if err == nil {
		err = read
	}
	return err
}

var errStopped = errors.New("document: reading was stopped")

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

// Survey reads the whole site once, parsing as many batches at once as there are
// workers. each is called with every batch in order: the site's features are
// those of the batch alone. It returns the site without features, with all its findings and assumptions, and what is
// needed to read parts of it. Limits on all features together do not hold here.
// The error is a *parcels.InputError with every fault, or one of batches or each.
func (p *Pieces) Survey(workers int, batches Batches, each func(l parcels.Layer, s *parcels.Site) error) (*parcels.Site, Known, error) {
	d, k := p.d, Known{Dropped: map[parcels.Layer][]int{}}
	if err := p.measure(workers, batches, &k); err != nil {
		return nil, k, err
	}
	var shots []parcels.Spot // that may be placeholders
	for _, l := range p.Layers() {
		p.enter(l)
		ids := map[string]int{}
		degrees := !d.info.Geographic
		var first *Feature
		err := p.parsed(l, batches, workers, func(b parsed) error {
			p.clear()
			d.faults = append(d.faults, b.faults...)
			features, low := d.holds(b.features, d.info, p.given)
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
			k.drop(l, b.first, b.n, d.s)
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
	}
	d.layer = ""
	mid := d.middle()
	if !math.IsNaN(mid) {
		k.Middle = &mid
	}
	d.s.Spots = shots
	d.wholeShows(func() float64 { return mid })
	d.s.Spots = nil
	if len(d.faults) > 0 {
		return nil, k, d.error(parcels.Invalid)
	}
	site := *d.s
	return &site, k, nil
}

// measure finds the bounds of the parcels, so that the plane can be laid.
func (p *Pieces) measure(workers int, batches Batches, k *Known) error {
	d, l := p.d, parcels.LayerParcels
	d.layer, d.base = string(l), p.texts[l].base
	found := false
	err := p.parsed(l, batches, workers, func(b parsed) error {
		d.faults = append(d.faults, b.faults...)
		features, _ := d.holds(b.features, d.info, p.given)
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
	d.faults = nil // all will be found again
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
		features, err := parse(d.reader, stored, func(i int) int { return at[i] }, l)
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
	d.sentinels(func() float64 { return mid })
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
