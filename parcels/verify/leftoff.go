package verify

import (
	"math"
	"slices"

	"fallwright/parcels"
)

// leftOff: a lot that is said to be on no shared trunk drains to nothing, and for a
// reason that may be: a flow over an inlet's limit is no more than the lot can bring to
// what comes there, in the hardest rain; a level under an inlet's is no lower than
// where the lot's worst intake, led straight there at the least slope under the least
// cover, arrives.
func (j *judge) leftOff() {
	c := j.open("lot_left_off")
	off := map[string]bool{}
	for _, f := range j.p.findings {
		if f.code != "lot_left_off" {
			continue
		}
		if f.severity != string(parcels.Stop) || !j.chosen(f.lot) || off[f.lot] {
			c.fail(f.lot, "left off in a %s, or twice, or none of the plan's lots", f.severity)
			continue
		}
		off[f.lot] = true
		if slices.ContainsFunc(j.p.shares, func(s share) bool { return s.lot == f.lot && s.outlet != "" }) {
			c.fail(f.lot, "is said to be left off, and shares a trunk")
		}
		switch {
		case f.measured == nil && f.required == nil: // by estimate, or cut off: words alone
		case f.measured == nil || f.required == nil:
			c.fail(f.lot, "measured or required is missing")
		case f.unit == "m3/s":
			j.leftOffByFlow(c, &f)
		default:
			j.leftOffByLevel(c, &f)
		}
	}
	for i := range j.s.intakes {
		k := &j.s.intakes[i]
		if n, ok := j.p.nodeAt[k.id]; ok && off[k.lot] && len(j.p.nodes[n].out) > 0 {
			c.fail(k.id, "is joined, and its lot is said to be left off")
		}
	}
}

func (j *judge) leftOffByFlow(c *check, f *found) {
	q := j.inlet(f.feature)
	if q == nil || q.flowLimit == nil || math.Abs(*q.flowLimit-*f.required) > 1e-9 || !(*f.measured > *f.required) {
		c.fail(f.lot, "no inlet %q with a limit of %.6f m3/s that %.6f is over", f.feature, *f.required, *f.measured)
		return
	}
	most := 0.0
	if n, ok := j.p.nodeAt[q.id]; ok {
		for _, k := range j.p.nodes[n].in {
			most += flowOf(&j.p.runs[k])
		}
	}
	rule := j.of(f.lot)
	for i := range j.s.intakes {
		k := &j.s.intakes[i]
		if k.lot != f.lot {
			continue
		}
		ca, stated := j.bringsAlone(k, rule)
		hardest, _ := j.s.rate(float64(min(rule.Storm.RoofMin, rule.Storm.YardMin)), float64(rule.Storm.ReturnYears))
		most += stated + ca*hardest/3.6e6
	}
	if *f.measured > most*1.01+1e-6 {
		c.fail(f.lot, "%.6f m3/s would come to %s with it, in the hardest rain %.6f do", *f.measured, q.id, most)
	}
}

func (j *judge) leftOffByLevel(c *check, f *found) {
	at, ok := pt{}, false
	if q := j.inlet(f.feature); q != nil {
		at, ok = q.at, true
		asked := q.tieIn
		if asked == nil {
			asked = q.invert
		}
		if asked == nil {
			asked = q.level
		}
		if asked == nil || *f.required > *asked+oneMillimetre && !q.outlet {
			c.fail(f.lot, "%s is asked at %s, whose level is another", mm(*f.required), f.feature)
		}
	}
	if !ok || !(*f.measured < *f.required) {
		if ok || !j.swaleNamed(f.feature) {
			c.fail(f.lot, "%s is not under %s at an outlet %q", mm(*f.measured), mm(*f.required), f.feature)
		}
		return
	}
	// the strictest rule of the plan's lots holds for all that share a trunk
	slope, under, bore := 0.0, 0.0, 0.0
	for _, id := range j.p.summary.lots {
		r := j.of(id)
		slope, under, bore = max(slope, float64(r.Pipe.LeastSlope)), max(under, float64(r.Pipe.LeastCover)), max(bore, r.Pipe.LeastDiameter)
	}
	least := math.Inf(1)
	for _, s := range j.of(f.lot).Pipe.Stock {
		if s.Pipe == "solid" && s.Diameter >= bore-1e-9 {
			least = min(least, s.Diameter/1000)
		}
	}
	highest := math.Inf(1)
	for i := range j.s.intakes {
		k := &j.s.intakes[i]
		if k.lot != f.lot {
			continue
		}
		top := math.Inf(1)
		if k.invert != nil {
			top = *k.invert
		} else if _, hi, ok := j.shot(k.at); ok {
			cover := under
			if k.startCover != nil {
				cover = max(cover, *k.startCover)
			}
			top = hi - cover - least
		}
		highest = min(highest, top-slope*apartBy(k.at, at))
	}
	if !math.IsInf(highest, 0) && *f.measured < highest-groundSlack-oneMillimetre {
		c.fail(f.lot, "its water would arrive at %s, led straight to %s it arrives at %s", mm(*f.measured), f.feature, mm(highest))
	}
}
