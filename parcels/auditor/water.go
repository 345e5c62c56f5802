package auditor

// The water of a lot: its intakes, or what is assumed where none are given.

import (
	"fmt"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/hydro/runoff"
	"fallwright/parcels"
	"fallwright/parcels/siting"
	"fallwright/parcels/yardwater"
)

// water is where a lot's water comes to be carried off, and how much.
type water struct {
	sources []source
	parts   []runoff.Part
	stated  hydro.Flow
	// assumed says in words what was taken in place of intakes; empty where they
	// are given.
	assumed string
}

type source struct {
	id     string
	at     orb.Point
	ground *unit.Elevation // rim, else the surface
	invert *unit.Elevation // stated
	cover  *unit.Length    // stated
	spout  bool
}

// gather finds the lot's intakes: those that name it, and those that name no
// lot and stand on it. A downspout without any area takes its share of its roof. With none, the corners of the house stand in; with no
// house, the middle of the lot.
func (w *lotWork) gather() *water {
	if w.water != nil {
		return w.water
	}
	h := &water{}
	w.water = h
	c := w.site.Criteria
	roofC, yardC := c.Runoff.RoofC, c.Runoff.YardC
	var own, bare []int // the lot's; downspouts for which nothing is stated
	for i := range w.site.Intakes {
		in := &w.site.Intakes[i]
		if in.Lot != w.lot.ID && (in.Lot != "" || shape.Locate(in.At, w.lot.Shape) == shape.Outside) {
			continue
		}
		own = append(own, i)
		if in.Kind == "downspout" && in.RoofArea == nil && in.YardArea == nil && in.Flow == nil {
			bare = append(bare, i)
		}
	}
	shares, _ := yardwater.Shares(w.site, bare) // as the plan reckons them
	for _, i := range own {
		in := &w.site.Intakes[i]
		s := source{id: in.ID, at: in.At, ground: in.Rim, invert: in.Invert, cover: in.StartCover, spout: in.Kind == "downspout"}
		if s.ground == nil {
			s.ground = w.level(in.At)
		}
		h.sources = append(h.sources, s)
		if in.Flow != nil {
			h.stated += *in.Flow
			continue
		}
		add := func(a *unit.Area, own *float64, usual float64, least hydro.Duration) {
			if a == nil || *a <= 0 {
				return
			}
			if own != nil {
				usual = *own
			}
			h.parts = append(h.parts, runoff.Part{Surface: runoff.Surface{Area: *a, C: usual}, Tc: in.Concentration(least)})
		}
		roof := in.RoofArea
		if share, ok := shares[i]; ok {
			roof = &share.Area
		}
		add(roof, in.RoofC, roofC, c.Storm.RoofMin)
		add(in.YardArea, in.YardC, yardC, c.Storm.YardMin)
	}
	if len(h.sources) > 0 {
		return h
	}
	var roof unit.Area
	for i := range w.site.Buildings {
		b := &w.site.Buildings[i]
		if !w.owns(b) {
			continue
		}
		if b.RoofArea != nil {
			roof += *b.RoofArea
		} else {
			roof += shape.Area(b.Shape)
		}
		for _, p := range b.Shape {
			for k, v := range p[0][:len(p[0])-1] {
				prev := p[0][(k+len(p[0])-2)%(len(p[0])-1)]
				if shape.Orient(prev, v, p[0][k+1]) > 0 && shape.Locate(v, w.lot.Shape) != shape.Outside {
					h.sources = append(h.sources, source{id: fmt.Sprintf("corner %d of the house", len(h.sources)+1), at: v, ground: w.level(v), spout: true})
				}
			}
		}
	}
	lot := shape.Area(w.lot.Shape)
	if roof > 0 {
		h.parts = append(h.parts, runoff.Part{Surface: runoff.Surface{Area: roof, C: roofC}, Tc: c.Storm.RoofMin})
	}
	if lot > roof {
		h.parts = append(h.parts, runoff.Part{Surface: runoff.Surface{Area: lot - roof, C: yardC}, Tc: c.Storm.YardMin})
	}
	h.assumed = "no intakes are given: the corners of the house stand in for downspouts, the whole lot for their ground"
	if len(h.sources) == 0 {
		at := siting.Middle(w.lot.Shape)
		h.sources = []source{{id: "the middle of the lot", at: at, ground: w.level(at)}}
		h.assumed = "neither intakes nor a house are given: the middle of the lot stands in"
	}
	return h
}

// owns says whether a building is the lot's: it names it, or names none and
// has its middle on it.
func (w *lotWork) owns(b *parcels.Building) bool {
	if b.Lot != "" {
		return b.Lot == w.lot.ID
	}
	return shape.Locate(siting.Middle(b.Shape), w.lot.Shape) != shape.Outside
}

func (w *lotWork) level(p orb.Point) *unit.Elevation {
	if w.a.surface == nil {
		return nil
	}
	l, ok := w.a.surface.At(p)
	if !ok {
		return nil
	}
	return &l.Elevation
}

// flow is the lot's peak in the design storm; nil where no rain is given.
func (w *lotWork) flow() (*hydro.Flow, error) {
	h := w.gather()
	q, err := w.a.peak(h.parts, w.site.Criteria)
	if err != nil || q == nil {
		return nil, err
	}
	return ptr(*q + h.stated), nil
}

// peak is the rational peak of parts; nil without rain, 0 without parts.
func (a *basis) peak(parts []runoff.Part, c parcels.Criteria) (*hydro.Flow, error) {
	if a.rain == nil {
		return nil, nil
	}
	if len(parts) == 0 {
		return ptr(hydro.Flow(0)), nil
	}
	factors := map[float64]float64{}
	for years, f := range c.Runoff.FrequencyFactor {
		factors[float64(years)] = f
	}
	p, err := runoff.PeakOf(parts, a.rain, c.Storm.ReturnYears, min(c.Storm.RoofMin, c.Storm.YardMin), factors)
	if err != nil {
		return nil, err
	}
	return &p.Flow, nil
}
