package document

// Layers from memory: as they were read, by their text, and as they were brought
// into the plane, by all that bears on that. What bore a fault is not kept, since
// its faults are to be told again. Of a layer that was changed, the features whose
// text was not are taken from what was read before.

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"slices"

	"github.com/paulmach/orb"

	"fallwright/parcels"
	"fallwright/parcels/memory"
)

// errFaulty keeps a layer out of memory.
var errFaulty = errors.New("document: the layer has faults")

// content is the SHA-256 of a layer's text, and the text in memory of its own.
func (t layerText) content() (key memory.Key, own func() []byte) {
	if k := t.known(); k != nil {
		return k.Key, func() []byte { return k.Bytes }
	}
	return sha256.Sum256(t.Text), func() []byte { return bytes.Clone(t.Text) }
}

// mostLike is among how many texts of a layer, those used last, its features are
// looked for: several sites may be worked on at once.
const mostLike = 4

// result is a collection without faults and how many vertices it has.
type result struct {
	Collection
	vertices int
}

// kept is the collection of a layer.
func (d *siteReader) kept(l parcels.Layer, t layerText) Collection {
	if d.o.Memory == nil {
		return d.collection(t.Text, layerTypes[l], false)
	}
	var own Collection // as read here, faults and all
	read := false
	key, text := t.content()
	name := func(text memory.Key) memory.Key {
		return memory.NewHash("document.layer").Text(string(l)).Text(d.base).Count(d.limits.Vertices).Count(d.limits.Properties).Bytes(text[:]).Key()
	}
	got, err := memory.Of(d.o.Memory, func() memory.Key { return name(key) }, func() (result, int64, error) {
		told, before := d.told, d.vertices
		for _, o := range d.o.Memory.Texts(string(l)) { // those used last in front
			if was, ok := memory.Find[result](d.o.Memory, name(o.Key)); ok {
				if d.like = append(d.like, was.read); len(d.like) == mostLike {
					break
				}
			}
		}
		own, read = d.collection(text(), layerTypes[l], false), true
		d.like = nil
		if d.told > told || d.full {
			return result{}, 0, errFaulty
		}
		return result{Collection: own, vertices: d.vertices - before}, 4 * int64(len(t.Text)), nil
	})
	if read {
		return own
	}
	if most := d.limits.AllVertices; err != nil || most > 0 && d.vertices+got.vertices > most {
		return d.collection(t.Text, layerTypes[l], false) // and it says where it is full
	}
	d.bad = nil
	d.vertices += got.vertices
	return got.Collection
}

// layerTaken is what a layer added to its site; nobody may write to it.
type layerTaken struct {
	site        parcels.Site // the layer's features alone
	findings    []parcels.Finding
	assumptions []string
	reversed    int
	vertices    int
	names       []nameKey
	firsts      []int // the features that bear them
	levels      []level
}

// taken does what read does, which brings a layer into the plane over bounds, or
// gives what it did before.
func (d *siteReader) taken(l parcels.Layer, t layerText, bounds orb.Bound, given bool, read func()) {
	if d.o.Memory == nil {
		read()
		return
	}
	here := false
	got, err := memory.Of(d.o.Memory, func() memory.Key {
		key, _ := t.content()
		h := memory.NewHash("document.taken").Text(string(l)).Text(d.base).Bytes(key[:]).Count(d.limits.Vertices).Count(d.limits.Properties)
		h.Text(d.info.Code).Text(d.s.CRS).Number(bounds.Min[0], bounds.Min[1], bounds.Max[0], bounds.Max[1], d.zUnit)
		return h.Text(string(d.s.Origin)).Text(d.s.VerticalDatum).Value([]bool{given, d.o.KeepGoing}).Key()
	}, func() (*layerTaken, int64, error) {
		here = true
		told, reversed, vertices := d.told, d.reversed, d.vertices
		d.renamed = false
		findings, assumptions, named, levels := len(d.s.Findings), len(d.s.Assumptions), len(d.named), len(d.levels)
		read()
		if d.told > told || d.full || d.renamed {
			return nil, 0, errFaulty // a name hangs on the layers before
		}
		out := &layerTaken{reversed: d.reversed - reversed, vertices: d.vertices - vertices, names: slices.Clone(d.named[named:]),
			findings: slices.Clone(d.s.Findings[findings:]), assumptions: slices.Clone(d.s.Assumptions[assumptions:])}
		for _, k := range out.names {
			out.firsts = append(out.firsts, d.names[k])
		}
		for _, v := range d.levels[levels:] {
			if IsSentinel(v.raw) {
				return nil, 0, errFaulty // it may have to be taken away again
			}
			out.levels = append(out.levels, level{raw: v.raw, value: v.value})
		}
		if l == parcels.LayerSpots && slices.ContainsFunc(d.s.Spots, func(sp parcels.Spot) bool { return IsSentinel(float64(sp.Z) / d.zUnit) }) {
			return nil, 0, errFaulty
		}
		share(&out.site, d.s, l)
		return out, 4 * int64(len(t.Text)), nil
	})
	if here {
		return
	}
	most := d.limits.AllVertices
	if err != nil || most > 0 && d.vertices+got.vertices > most || slices.ContainsFunc(got.names, func(k nameKey) bool { _, borne := d.names[k]; return borne }) {
		read() // and it says what is wrong
		return
	}
	share(d.s, &got.site, l)
	d.s.Findings, d.s.Assumptions = append(d.s.Findings, got.findings...), append(d.s.Assumptions, got.assumptions...)
	d.reversed += got.reversed
	d.vertices += got.vertices
	d.levels = append(d.levels, got.levels...)
	d.named = append(d.named, got.names...)
	if d.names == nil {
		d.names = map[nameKey]int{}
	}
	for i, k := range got.names {
		d.names[k] = got.firsts[i]
	}
}

// share gives a site the features of a layer of another.
func share(to, from *parcels.Site, l parcels.Layer) {
	switch l {
	case parcels.LayerParcels:
		to.Lots = slices.Clip(from.Lots)
	case parcels.LayerStreets:
		to.Streets = slices.Clip(from.Streets)
	case parcels.LayerDistricts:
		to.Districts = slices.Clip(from.Districts)
	case parcels.LayerBuildings:
		to.Buildings = slices.Clip(from.Buildings)
	case parcels.LayerOpenings:
		to.Openings = slices.Clip(from.Openings)
	case parcels.LayerEasements:
		to.Easements = slices.Clip(from.Easements)
	case parcels.LayerSwales:
		to.Swales = slices.Clip(from.Swales)
	case parcels.LayerInlets:
		to.Inlets = slices.Clip(from.Inlets)
	case parcels.LayerOutlets:
		to.Outlets = slices.Clip(from.Outlets)
	case parcels.LayerIntakes:
		to.Intakes = slices.Clip(from.Intakes)
	case parcels.LayerPerforatedRuns:
		to.PerforatedRuns = slices.Clip(from.PerforatedRuns)
	case parcels.LayerObstacles:
		to.Obstacles = slices.Clip(from.Obstacles)
	case parcels.LayerDrains:
		to.Drains = slices.Clip(from.Drains)
	case parcels.LayerSpots:
		to.Spots = slices.Clip(from.Spots)
	case parcels.LayerContours:
		to.Contours = slices.Clip(from.Contours)
	case parcels.LayerBreaklines:
		to.Breaklines = slices.Clip(from.Breaklines)
	default:
		panic("document: layer " + string(l) + " has no features")
	}
}
