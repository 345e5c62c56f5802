package verify

// What a plan says would mend it.

import (
	"math"
	"slices"

	"fallwright/parcels"
)

// remedyRounding is how far the drawn drain's arrival, laid with the steps and
// millimetres of a whole profile, may lie over the level of a lower tie-in.
const remedyRounding = 0.06

// remedies: a remedy that does it has a price and lacks nothing, one that does
// not has none; what it changes is what the criteria and the site say now; a
// pump lifts no less than what comes to the outlet; two things together are two,
// neither of which the plan says to do it alone; and none stands in a plan that
// needs none.
func (j *judge) remedies() {
	c := j.open("remedies")
	kinds := []string{parcels.LowerTieIn, parcels.LessCover, parcels.LargerPipe, parcels.DeeperTrench, parcels.OtherInlet, parcels.SharedTrunk, parcels.RegradeSwale, parcels.FillBowl, parcels.Pump, parcels.Combined}
	if len(j.p.remedies) > 0 && j.p.summary.verdict != string(parcels.NotFeasible) {
		c.fail("remedies", "told in a plan that is %s", j.p.summary.verdict)
	}
	for i := range j.p.remedies {
		r := &j.p.remedies[i]
		name := "remedy " + r.kind
		if !slices.Contains(kinds, r.kind) {
			c.fail(name, "is no remedy")
		}
		if r.lot != "" && !j.chosen(r.lot) {
			c.fail(name, "of lot %q, which is none of the plan's", r.lot)
		}
		if r.outlet != "" && j.inlet(r.outlet) == nil && !j.swaleNamed(r.outlet) {
			c.fail(name, "the site has no outlet %q", r.outlet)
		}
		if r.message == "" {
			c.fail(name, "no message")
		}
		works := r.verdict == string(parcels.Feasible) || r.verdict == string(parcels.NotProven)
		switch {
		case !works && r.verdict != string(parcels.NotFeasible):
			c.fail(name, "verdict %q", r.verdict)
		case works && r.cost == nil:
			c.fail(name, "does it, and has no cost_index")
		case works && r.short != nil:
			c.fail(name, "does it, and is %s short", mm(*r.short))
		case r.cost != nil && !(*r.cost > 0):
			c.fail(name, "cost_index %.2f", *r.cost)
		}
		for _, v := range []*float64{r.short, r.cut, r.fill} {
			if v != nil && !(*v >= 0) {
				c.fail(name, "a negative quantity: %.3f", *v)
			}
		}
		if r.checked && !works {
			c.fail(name, "does not do it, and its plan is said to have passed a check")
		}
		less := func() {
			if r.from != nil && r.to != nil && !(*r.to < *r.from) {
				c.fail(name, "%.4f is no less than %.4f", *r.to, *r.from)
			}
		}
		if r.kind == parcels.Combined {
			j.twoSteps(c, r, works)
		} else if len(r.steps) > 0 {
			c.fail(name, "is one thing, and has steps")
		}
		j.changes(c, name, r)
		switch r.kind {
		case parcels.LowerTieIn, parcels.RegradeSwale:
			if r.kind == parcels.RegradeSwale && !works && r.to == nil {
				break // none was found
			}
			less()
			if r.from == nil || r.to == nil || !works {
				break
			}
			for k := range j.p.runs {
				u := &j.p.runs[k]
				if u.levels && j.endsWith(k, r) && u.down < *r.to-remedyRounding {
					c.fail(name, "a level of %s would do, and %s arrives at %s", mm(*r.to), u.id, mm(u.down))
				}
			}
		case parcels.Pump:
			if r.flow == nil || r.head == nil || !(*r.head > 0) {
				c.fail(name, "no duty")
				break
			}
			for k := range j.p.runs {
				u := &j.p.runs[k]
				if u.flow != nil && j.endsWith(k, r) && *r.flow < 0.98**u.flow {
					c.fail(name, "lifts %.5f m3/s of the %.5f that come", *r.flow, *u.flow)
				}
			}
		}
	}
}

// endsWith tells whether a run ends at the outlet of a remedy, with water of its lot where
// it names one.
func (j *judge) endsWith(run int, r *remedy) bool {
	b := j.p.runs[run].b
	if b < 0 || len(j.p.nodes[b].out) > 0 || j.outletOf(&j.p.nodes[b]) != r.outlet {
		return false
	}
	if r.lot == "" {
		return true
	}
	_, _, of := j.brings(run)
	return of[r.lot] > 0
}

// changes holds what a remedy, or a step of one, changes to what the criteria say
// now.
func (j *judge) changes(c *check, name string, r *remedy) {
	is := func(what string, now float64) {
		switch {
		case r.from == nil || r.to == nil:
			c.fail(name, "from or to missing")
		case math.Abs(*r.from-now) > oneMillimetre:
			c.fail(name, "from %.4f, %s is %.4f", *r.from, what, now)
		}
	}
	way := func(sign float64, words string) {
		if r.from != nil && r.to != nil && !(sign*(*r.to-*r.from) > 0) {
			c.fail(name, "%.4f is no %s than %.4f", *r.to, words, *r.from)
		}
	}
	switch r.kind {
	case parcels.LessCover:
		is("the least cover", float64(j.c.Pipe.LeastCover))
		way(-1, "less")
	case parcels.LargerPipe:
		is("the least slope", float64(j.c.Pipe.LeastSlope))
		way(-1, "less")
	case parcels.DeeperTrench:
		is("the greatest depth", float64(j.c.Pipe.GreatestDepth))
	case parcels.OtherInlet:
		for k := range j.p.runs {
			if j.endsWith(k, r) {
				c.fail(name, "the plan's own outlet is no other")
				break
			}
		}
		if r.from != nil || r.to != nil {
			is("the longest last run", float64(j.c.TieIn.Reach))
			way(1, "more")
		}
	}
}

// graded: a plan made on other ground than lies there says what ground: no shot of it
// lies lower than now where a hollow is filled, and none over the level to which it is;
// none lies higher where a bed is cut, and none under the bed's own fall.
func (j *judge) graded(c *check, r *remedy) {
	name := "remedy " + r.kind
	var fill, cut *remedy
	for i := range r.steps {
		switch s := &r.steps[i]; s.kind {
		case parcels.FillBowl:
			fill = s
		case parcels.RegradeSwale:
			cut = s
		}
	}
	switch moves := fill != nil || cut != nil; {
	case r.checked && moves && len(r.grading) == 0:
		c.fail(name, "changes the ground, and its plan is said to have passed a check of the site as it is")
	case len(r.grading) > 0 && !(r.checked && moves):
		c.fail(name, "grading of a plan that moves no earth or was not checked")
	}
	for _, g := range r.grading {
		lo, hi, ok := j.shot(g.at)
		if ok && g.level < lo-groundSlack && cut == nil {
			c.fail(name, "fills to %s where the ground lies at %s", mm(g.level), mm(lo))
		}
		if ok && g.level > hi+groundSlack && fill == nil {
			c.fail(name, "cuts to %s where the ground lies at %s", mm(g.level), mm(hi))
		}
		if fill != nil && fill.to != nil && g.level > hi+groundSlack && g.level > *fill.to+2*oneMillimetre {
			c.fail(name, "fills to %s, over the %s at which it runs over", mm(g.level), mm(*fill.to))
		}
		if cut != nil && cut.to != nil && g.level < lo-groundSlack && g.level < *cut.to-mostBedFall*float64(j.c.Ground.SwaleLeastSlope)-oneMillimetre {
			c.fail(name, "cuts to %s, under a bed from %s", mm(g.level), mm(*cut.to))
		}
	}
}

// mostBedFall is the length of bed, m, over which a new swale may fall.
const mostBedFall = 60

// twoSteps judges a combined remedy: two kinds of one thing, each a change from
// what holds now, and neither told to do it by itself at the same outlet.
func (j *judge) twoSteps(c *check, r *remedy, works bool) {
	name := "remedy " + r.kind
	kinds := []string{parcels.LessCover, parcels.LargerPipe, parcels.DeeperTrench, parcels.OtherInlet, parcels.RegradeSwale, parcels.FillBowl}
	j.graded(c, r)
	if len(r.steps) != 2 || r.steps[0].kind == r.steps[1].kind {
		c.fail(name, "is not two things, each of its own kind")
	}
	for i := range r.steps {
		s := &r.steps[i]
		s.lot = r.lot
		if !slices.Contains(kinds, s.kind) {
			c.fail(name, "%q is no step", s.kind)
			continue
		}
		if s.kind == parcels.OtherInlet && s.outlet != r.outlet || s.outlet != "" && s.outlet != r.outlet {
			c.fail(name, "its step %s is of outlet %q, the remedy of %q", s.kind, s.outlet, r.outlet)
		}
		if s.kind == parcels.DeeperTrench && s.from != nil && s.to != nil && !(*s.to > *s.from) {
			c.fail(name, "a trench of %.4f is no deeper than %.4f", *s.to, *s.from)
		}
		j.changes(c, name, s)
		for k := range j.p.remedies {
			o := &j.p.remedies[k]
			if works && o.kind == s.kind && o.lot == r.lot && o.outlet == r.outlet && (o.verdict == string(parcels.Feasible) || o.verdict == string(parcels.NotProven)) {
				c.fail(name, "its step %s does it alone", s.kind)
			}
		}
	}
}
