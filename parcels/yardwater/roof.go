package yardwater

// Which downspout takes how much of which roof.

import (
	"fmt"
	"math"
	"slices"

	"github.com/paulmach/orb"

	"fallwright/geo/overland"
	"fallwright/geo/shape"
	"fallwright/geo/unit"
	"fallwright/parcels"
)

// Roof is the part of a building's roof that comes down at one place.
type Roof struct {
	Building int // index
	Intake   int // index of the downspout; -1 for a corner of a house without one
	At       orb.Point
	Area     unit.Area
	Stated   bool // the intake's own roof_area_m2
}

// Roofs shares the roof of every building among its downspouts: stated areas are
// kept, the rest goes to the downspout nearest along the eaves
// (overland.SplitRoof). A downspout belongs to the nearest building within 3 m.
// A building without one sheds at its corners. The parts of a building add up to
// its roof (roof_area_m2, else its plan area), but for parts of the footprint
// without a downspout, which are told. Stated areas that cannot be right are
// told too, and the roof is then shared by nearness alone.
func Roofs(s *parcels.Site) (roofs []Roof, findings []parcels.Finding) {
	houses := make([]orb.MultiPolygon, len(s.Buildings))
	for b := range s.Buildings {
		houses[b] = s.Buildings[b].Shape
	}
	of := make([][]int, len(houses))
	for i, x := range s.Intakes {
		if x.Kind != "downspout" {
			continue
		}
		if b := nearest(houses, x.At); b >= 0 {
			if d, _, _ := shape.LineBoundary(orb.LineString{x.At, x.At}, houses[b]); d <= AtHouse {
				of[b] = append(of[b], i)
			}
		}
	}
	for b := range houses {
		var spouts []overland.Downspout
		stated := false
		for _, i := range of[b] {
			spouts = append(spouts, overland.Downspout{At: s.Intakes[i].At, Area: s.Intakes[i].RoofArea})
			stated = stated || s.Intakes[i].RoofArea != nil
		}
		corners := len(spouts) == 0
		if corners {
			for _, poly := range houses[b] {
				for _, p := range poly[0][:len(poly[0])-1] {
					spouts = append(spouts, overland.Downspout{At: p})
				}
			}
		}
		name := BuildingName(s.Buildings[b])
		split, err := overland.SplitRoof(houses[b], spouts, s.Buildings[b].RoofArea, AtHouse)
		if err != nil && stated {
			findings = append(findings, parcels.Finding{Code: "roof_areas_differ", Severity: parcels.Warn, Lot: s.Buildings[b].Lot, Feature: name,
				Message: fmt.Sprintf("The stated roof areas of the downspouts of %s do not fit its roof (%v): it is shared by nearness along the eaves.", name, err), Cure: "Measure the roof that sheds to each downspout."})
			for k := range spouts {
				spouts[k].Area = nil
			}
			split, err = overland.SplitRoof(houses[b], spouts, s.Buildings[b].RoofArea, AtHouse)
		}
		if err != nil {
			findings = append(findings, parcels.Finding{Code: "roof_not_split", Severity: parcels.Warn, Lot: s.Buildings[b].Lot, Feature: name,
				Message: fmt.Sprintf("The roof of %s cannot be shared: %v.", name, err)})
			continue
		}
		if split.Left > 0 && !corners {
			findings = append(findings, parcels.Finding{Code: "roof_without_downspout", Severity: parcels.Note, Lot: s.Buildings[b].Lot, Feature: name, Measured: parcels.Num(round(float64(split.Left))), Unit: "m2",
				Message: fmt.Sprintf("%.1f m2 of the roof of %s have no downspout.", float64(split.Left), name)})
		}
		for k, a := range split.Shares {
			r := Roof{Building: b, Intake: -1, At: spouts[k].At, Area: a, Stated: spouts[k].Area != nil}
			if !corners {
				r.Intake = of[b][k]
			}
			roofs = append(roofs, r)
		}
	}
	return roofs, findings
}

// Share is the part of a roof that comes down at a downspout.
type Share struct {
	Area  unit.Area // to a hundredth of a square metre
	House string    // what a person calls the building
}

// Shares are those of some of a site's downspouts (Roofs), by their index, where
// they have one. Only the houses at these downspouts are looked at, all downspouts
// at those, and all houses at these: what the shares hang on, in a site of any
// size. The findings are those of these houses.
func Shares(s *parcels.Site, some []int) (map[int]Share, []parcels.Finding) {
	if len(some) == 0 {
		return nil, nil
	}
	wanted := map[int]bool{}
	var spouts []orb.Point
	for _, i := range some {
		wanted[i] = true
		spouts = append(spouts, s.Intakes[i].At)
	}
	at := func(spouts []orb.Point) (near []parcels.Building) {
		for _, b := range s.Buildings {
			box := b.Shape.Bound().Pad(float64(AtHouse))
			if slices.ContainsFunc(spouts, box.Contains) {
				near = append(near, b)
			}
		}
		return near
	}
	houses := at(spouts)
	near := *s
	near.Intakes = nil
	spouts = nil
	var index []int // in the site, of the near intakes
	for i, in := range s.Intakes {
		if in.Kind == "downspout" && slices.ContainsFunc(houses, func(b parcels.Building) bool { return b.Shape.Bound().Pad(float64(AtHouse)).Contains(in.At) }) {
			near.Intakes = append(near.Intakes, in)
			index = append(index, i)
			spouts = append(spouts, in.At)
		}
	}
	near.Buildings = at(spouts)
	roofs, told := Roofs(&near)
	shares := map[int]Share{}
	for _, r := range roofs {
		if r.Intake < 0 || !wanted[index[r.Intake]] {
			continue
		}
		if a := unit.Area(math.Round(100*float64(r.Area)) / 100); a > 0 {
			shares[index[r.Intake]] = Share{a, BuildingName(near.Buildings[r.Building])}
		}
	}
	return shares, told
}

// nearest is the building nearest to a point; -1 without buildings.
func nearest(houses []orb.MultiPolygon, p orb.Point) int {
	best, at := unit.Length(math.Inf(1)), -1
	for b, mp := range houses {
		if d, _, _ := shape.LineBoundary(orb.LineString{p, p}, mp); d < best {
			best, at = d, b
		}
	}
	return at
}

// BuildingName is what a person calls a building: by its id, or by its lot.
func BuildingName(b parcels.Building) string {
	switch {
	case b.FeatureID != "":
		return b.FeatureID
	case b.Lot != "":
		return "the house on " + b.Lot
	}
	return fmt.Sprintf("building #%d", b.Index)
}
