package auditor

// The audit of a stored site by windows: the lots of a chunk and what lies near
// them are read from the store, worked, and dropped. Of the whole are held its
// districts, swales, ground and the places of its inlets, and some 40 bytes a
// lot. A row is the same whatever window its lot was read in.

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"iter"
	"slices"

	"github.com/paulmach/orb"

	"fallwright/parcels"
	"fallwright/parcels/document"
	"fallwright/parcels/jobs"
)

// Source is what an audit asks of a store.
type Source interface {
	Site(ctx context.Context, name string) (parcels.SiteInfo, error)
	// Head is the site document without features.
	Head(ctx context.Context, name string) ([]byte, error)
	Document(ctx context.Context, name string) ([]byte, error)
	Features(ctx context.Context, site string, l parcels.Layer, w parcels.Window) iter.Seq2[parcels.StoredFeature, error]
}

// windowLayers are read window by window; the others bear on no lot or are held
// whole.
var windowLayers = []parcels.Layer{parcels.LayerParcels, parcels.LayerStreets, parcels.LayerBuildings, parcels.LayerOpenings, parcels.LayerEasements,
	parcels.LayerSwales, parcels.LayerInlets, parcels.LayerOutlets, parcels.LayerIntakes, parcels.LayerObstacles, parcels.LayerDrains}

const (
	// windowLots is how many lots make a window where nothing else is asked for:
	// with fewer the margin is read too often, with more the memory grows.
	windowLots = 512
	// batch is how many features are read at once where all are read in order.
	batch = 512
)

// plan is what the workers on one audit of a stored site share, found by reading
// the whole site once.
type plan struct {
	Version int64          `json:"version"`
	Known   document.Known `json:"known"`
	// Fids finds the place of a feature in its layer from its number in the store.
	Fids map[parcels.Layer][]run `json:"fids"`
	// Reach is how far features of a layer reach beyond what is drawn of them.
	Reach map[parcels.Layer]float64 `json:"reach"`
	// Places are those of the lots asked for in their layer; empty: all.
	Places []int `json:"places,omitempty"`
	Lots   int   `json:"lots"`
	Inlets int   `json:"inlets"`
	// Windows are the lots of each chunk, in the plane.
	Windows     []orb.Bound       `json:"windows"`
	Findings    []parcels.Finding `json:"findings"`
	Assumptions []string          `json:"assumptions"`
}

// run is a run of features whose numbers follow each other.
type run struct {
	FID   int64 `json:"fid"`
	Place int   `json:"place"`
}

func place(runs []run, fid int64) int {
	i, found := slices.BinarySearchFunc(runs, fid, func(r run, fid int64) int { return cmp.Compare(r.FID, fid) })
	if !found {
		i--
	}
	if i < 0 {
		return -1
	}
	return runs[i].Place + int(fid-runs[i].FID)
}

// stored is a stored site under audit.
type stored struct {
	*basis
	ctx    context.Context
	src    Source
	name   string
	pieces *document.Pieces
	plan   *plan
}

// survey reads a stored site once: its faults, its plan, the order of its lots.
func survey(ctx context.Context, src Source, r *Request, read document.Options, chunk, workers int) (*stored, []int, error) {
	info, err := src.Site(ctx, r.Site)
	if err != nil {
		return nil, nil, err
	}
	if r.Version != 0 && info.Version != r.Version {
		return nil, nil, changed(r.Site, r.Version, info.Version)
	}
	v := &stored{ctx: ctx, src: src, name: r.Site, plan: &plan{Version: info.Version, Fids: map[parcels.Layer][]run{}, Reach: map[parcels.Layer]float64{}}}
	if err := v.openHead(read); err != nil {
		return nil, nil, err
	}
	checks, err := choose(r.Checks)
	if err != nil {
		return nil, nil, err
	}
	want := map[string]bool{}
	for _, n := range r.Lots {
		want[n] = false
	}
	p := v.plan
	var whole parcels.Site
	var t targets
	var boxes []orb.Bound
	base, known, err := v.pieces.Survey(workers, v.batches, func(l parcels.Layer, s *parcels.Site) error {
		if l == parcels.LayerParcels {
			for i := range s.Lots {
				lot := &s.Lots[i]
				if len(want) > 0 {
					if _, ok := want[lot.ID]; !ok {
						continue
					}
					want[lot.ID] = true
					p.Places = append(p.Places, lot.Index)
				}
				boxes = append(boxes, lot.Shape.Bound())
			}
			return ctx.Err()
		}
		t.add(s)
		p.Inlets += len(s.Inlets)
		for i := range s.Easements {
			p.Reach[l] = max(p.Reach[l], easementReach(&s.Easements[i]))
		}
		for i := range s.Obstacles {
			p.Reach[l] = max(p.Reach[l], obstacleReach(&s.Obstacles[i], s.Criteria))
		}
		keepWhole(&whole, s, wantsGround(checks))
		return ctx.Err()
	})
	if err != nil {
		return nil, nil, err
	}
	var faults []parcels.Fault
	for _, n := range r.Lots {
		if !want[n] {
			faults = append(faults, lotUnknown(n, len(boxes)))
		}
	}
	if len(faults) > 0 {
		return nil, nil, &parcels.InputError{Kind: parcels.Invalid, Faults: faults}
	}
	p.Known, p.Lots, p.Findings, p.Assumptions = known, len(boxes), base.Findings, base.Assumptions
	// shots that cannot be meant are known by now
	whole.Spots = nil
	if wantsGround(checks) {
		err := v.each(parcels.LayerSpots, func(s *parcels.Site) error { whole.Spots = append(whole.Spots, s.Spots...); return nil })
		if err != nil {
			return nil, nil, err
		}
	}
	centres := make([]orb.Point, len(boxes))
	for i, b := range boxes {
		centres[i] = b.Center()
	}
	order := jobs.Order(centres)
	for from := 0; from < len(order); from += chunk {
		b := boxes[order[from]]
		for _, k := range order[from+1 : min(from+chunk, len(order))] {
			b = b.Union(boxes[k])
		}
		p.Windows = append(p.Windows, b)
	}
	return v, order, v.settle(base, &whole, &t, r.options())
}

// join takes up a stored site that another has surveyed.
func join(ctx context.Context, src Source, r *Request, read document.Options) (*stored, error) {
	v := &stored{ctx: ctx, src: src, name: r.Site, plan: r.Plan}
	if err := v.openHead(read); err != nil {
		return nil, err
	}
	if err := v.pieces.Over(v.plan.Known); err != nil {
		return nil, err
	}
	checks, err := choose(r.Checks)
	if err != nil {
		return nil, err
	}
	var whole parcels.Site
	var t targets
	for _, l := range []parcels.Layer{parcels.LayerDistricts, parcels.LayerSwales, parcels.LayerInlets, parcels.LayerSpots, parcels.LayerContours, parcels.LayerBreaklines} {
		err := v.each(l, func(s *parcels.Site) error {
			t.add(s)
			keepWhole(&whole, s, wantsGround(checks))
			return nil
		})
		if err != nil {
			return nil, err
		}
	}
	base, err := v.pieces.Part(v.plan.Known, nil, nil)
	if err != nil {
		return nil, err
	}
	base.Findings, base.Assumptions = v.plan.Findings, v.plan.Assumptions
	return v, v.settle(base, &whole, &t, r.options())
}

// keepWhole keeps what is held of the whole site.
func keepWhole(to, s *parcels.Site, ground bool) {
	to.Districts = append(to.Districts, s.Districts...)
	to.Swales = append(to.Swales, s.Swales...)
	if ground {
		to.Spots = append(to.Spots, s.Spots...)
		to.Contours = append(to.Contours, s.Contours...)
		to.Breaklines = append(to.Breaklines, s.Breaklines...)
	}
}

// settle makes the basis of the audit.
func (v *stored) settle(base, whole *parcels.Site, t *targets, o Options) error {
	base.Districts, base.Swales, base.Spots, base.Contours, base.Breaklines = whole.Districts, whole.Swales, whole.Spots, whole.Contours, whole.Breaklines
	var err error
	if v.basis, err = newBasis(base, o); err != nil {
		return err
	}
	base.Spots, base.Contours, base.Breaklines = nil, nil, nil
	v.inlets, v.targets = v.plan.Inlets, t.ready()
	return nil
}

func (v *stored) openHead(read document.Options) error {
	head, err := v.src.Head(v.ctx, v.name)
	if err != nil {
		return err
	}
	v.pieces, err = document.Open(head, read)
	return err
}

func changed(site string, was, is int64) error {
	return &parcels.Error{Kind: parcels.Conflict, Op: "audit", Subject: site, Err: fmt.Errorf("the site is at version %d, the audit was begun at version %d; begin it again", is, was)}
}

// current is a Conflict where the site has changed since the audit was begun.
func (v *stored) current() error {
	info, err := v.src.Site(v.ctx, v.name)
	if err == nil && info.Version != v.plan.Version {
		err = changed(v.name, v.plan.Version, info.Version)
	}
	return err
}

// batches hands over a layer as the store has it, and notes the numbers of its
// features.
func (v *stored) batches(l parcels.Layer, f func([]parcels.StoredFeature) error) error {
	var runs []run
	fs := make([]parcels.StoredFeature, 0, batch)
	n := 0
	for ft, err := range v.src.Features(v.ctx, v.name, l, parcels.Window{}) {
		if err != nil {
			return err
		}
		if k := len(runs) - 1; k < 0 || runs[k].FID+int64(n-runs[k].Place) != ft.FID {
			runs = append(runs, run{ft.FID, n})
		}
		n++
		if fs = append(fs, ft); len(fs) == batch {
			if err := f(fs); err != nil {
				return err
			}
			fs = fs[:0]
		}
	}
	v.plan.Fids[l] = runs
	if len(fs) == 0 {
		return nil
	}
	return f(fs)
}

// each hands over a layer in order, some features at a time.
func (v *stored) each(l parcels.Layer, f func(*parcels.Site) error) error {
	n := 0
	return v.cut(l, func(fs []parcels.StoredFeature) error {
		at := make([]int, len(fs))
		for i := range at {
			at[i] = n + i
		}
		n += len(fs)
		s, err := v.pieces.Part(v.plan.Known, []parcels.Layer{l}, func(parcels.Layer) ([]parcels.StoredFeature, []int, error) { return fs, at, nil })
		if err != nil {
			return err
		}
		return f(s)
	})
}

// cut is batches of a layer whose numbers are known.
func (v *stored) cut(l parcels.Layer, f func([]parcels.StoredFeature) error) error {
	if len(v.plan.Fids[l]) == 0 {
		return nil
	}
	u := *v
	u.plan = &plan{Fids: map[parcels.Layer][]run{}}
	return u.batches(l, f)
}

// window reads the layers asked for where they come near a box of the plane.
func (v *stored) window(b orb.Bound, margin float64, layers []parcels.Layer) (*parcels.Site, error) {
	s, err := v.pieces.Part(v.plan.Known, layers, func(l parcels.Layer) ([]parcels.StoredFeature, []int, error) {
		runs := v.plan.Fids[l]
		if len(runs) == 0 {
			return nil, nil, nil
		}
		in := v.bounds(b.Pad(margin + v.plan.Reach[l]))
		var fs []parcels.StoredFeature
		var at []int
		for f, err := range v.src.Features(v.ctx, v.name, l, parcels.Window{Bounds: &in}) {
			if err != nil {
				return nil, nil, err
			}
			fs, at = append(fs, f), append(at, place(runs, f.FID))
		}
		return fs, at, nil
	})
	if err != nil {
		return nil, err
	}
	s.Districts = v.base.Districts
	return s, nil
}

// bounds holds a box of the plane in the document's system: a little more, for
// its sides may bend on the way.
func (v *stored) bounds(b orb.Bound) orb.Bound {
	const more = 1.001
	c := b.Center()
	w, h := (b.Max[0]-b.Min[0])/2*more, (b.Max[1]-b.Min[1])/2*more
	f := v.base.Frame
	var out orb.Bound
	for i, d := range []orb.Point{{-1, -1}, {0, -1}, {1, -1}, {1, 0}, {1, 1}, {0, 1}, {-1, 1}, {-1, 0}} {
		p := f.Document(orb.Point{c[0] + d[0]*w, c[1] + d[1]*h})
		if i == 0 {
			out = p.Bound()
		}
		out = out.Extend(p)
	}
	return out
}

// around is an auditor of the lots that meet a box and of all that lies near
// them.
func (v *stored) around(b orb.Bound) (*Auditor, error) {
	s, err := v.window(b, 0, []parcels.Layer{parcels.LayerParcels})
	if err != nil {
		return nil, err
	}
	for i := range s.Lots {
		b = b.Union(s.Lots[i].Shape.Bound())
	}
	if s, err = v.window(b, near, windowLayers); err != nil {
		return nil, err
	}
	return v.over(s), nil
}

// open makes ready for a chunk: the auditor of its window, and the work on a lot
// by its number among those asked for.
func (v *stored) open(ctx context.Context, chunk int, _ []int) (func(int) (parcels.AuditRow, error), error) {
	if err := v.current(); err != nil {
		return nil, err
	}
	if chunk >= len(v.plan.Windows) {
		return nil, fmt.Errorf("auditor: chunk %d of %d", chunk, len(v.plan.Windows))
	}
	s, err := v.window(v.plan.Windows[chunk], near, windowLayers)
	if err != nil {
		return nil, err
	}
	a := v.over(s)
	return func(k int) (parcels.AuditRow, error) {
		at := v.place(k)
		i, ok := slices.BinarySearchFunc(s.Lots, at, func(l parcels.Lot, at int) int { return cmp.Compare(l.Index, at) })
		if !ok {
			return parcels.AuditRow{}, fmt.Errorf("auditor: lot %d is not where it was", at)
		}
		return a.Lot(i)
	}, ctx.Err()
}

// place is that of a lot in its layer, by its number among those asked for.
func (v *stored) place(k int) int {
	if len(v.plan.Places) > 0 {
		return v.plan.Places[k]
	}
	for _, d := range v.plan.Known.Dropped[parcels.LayerParcels] {
		if d > k {
			break
		}
		k++
	}
	return k
}

// lot reads one lot by its number among those asked for.
func (v *stored) lot(k int) (*parcels.Lot, error) {
	at := v.place(k)
	var fid int64
	for _, r := range v.plan.Fids[parcels.LayerParcels] {
		if r.Place <= at {
			fid = r.FID + int64(at-r.Place)
		}
	}
	for f, err := range v.src.Features(v.ctx, v.name, parcels.LayerParcels, parcels.Window{After: fid - 1, Limit: 1}) {
		if err != nil {
			return nil, err
		}
		s, err := v.pieces.Part(v.plan.Known, []parcels.Layer{parcels.LayerParcels}, func(parcels.Layer) ([]parcels.StoredFeature, []int, error) {
			return []parcels.StoredFeature{f}, []int{at}, nil
		})
		if err == nil && len(s.Lots) == 1 {
			return &s.Lots[0], nil
		}
	}
	return nil, fmt.Errorf("auditor: lot %d is not where it was", at)
}

// Stored audits a stored site in this process. The rows are on disk until the
// result is closed. The error is a *parcels.InputError with every fault of the
// site, a Conflict where it changed on the way, or one of the store.
func Stored(ctx context.Context, src Source, r Request, o Options) (*Result, error) {
	chunk := o.Chunk
	if chunk <= 0 {
		chunk = windowLots
	}
	j, err := r.prepare(ctx, src, chunk, o.workers())
	if err != nil {
		return nil, err
	}
	rows, err := newSpool(j.n)
	if err != nil {
		return nil, err
	}
	workers := o.workers()
	lot := make([]func(int) (parcels.AuditRow, error), workers)
	buf := make([][]byte, workers)
	aside, err := jobs.Run(ctx, j.n, func(_ context.Context, w, k int) error {
		row, err := lot[w](k)
		if err == nil {
			buf[w], err = record(buf[w][:0], j.base.Frame, &row)
		}
		if err != nil {
			return err
		}
		return rows.put(k, buf[w])
	}, jobs.Options{Order: j.order, Workers: workers, Chunk: chunk, Report: o.Report, Pause: o.Pause,
		Open: func(ctx context.Context, w, c int, items []int) (err error) {
			lot[w], err = j.open(ctx, c, items)
			return err
		}})
	for _, s := range aside {
		if err == nil {
			err = j.aside(rows, s.Item, s.Err)
		}
	}
	var out *Result
	if err == nil {
		out, err = j.result(rows)
	}
	if err != nil {
		rows.close()
		return nil, err
	}
	return out, nil
}

// lotUnknown tells of a lot that the site of n lots does not have.
func lotUnknown(name string, n int) parcels.Fault {
	return parcels.Fault{Slug: "lot-unknown", Layer: string(parcels.LayerParcels), Pointer: "/lots", ID: parcels.Excerpt(name),
		Detail: fmt.Sprintf("There is no lot %q among the %d of the site. Check the name.", parcels.Excerpt(name), n)}
}

var errNoStore = errors.New("no store was given")
