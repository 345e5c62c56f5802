package verify

// The table of where the sizes grow, held to the runs: it must be the way of
// the most water from its head to the outlet, each figure that of its run.

import (
	"math"
	"slices"
)

func (j *judge) trunk() {
	c := j.open("trunk").bound(1e-6)
	told := map[int]bool{} // runs that end at an outlet and have their table
	for _, t := range j.p.trunks {
		name := "trunk to " + t.outlet
		last, station := -1, 0.0
		for k, q := range t.points {
			i, ok := j.p.runAt[q.run]
			if !ok || j.p.runs[i].a < 0 {
				c.fail(name, "run %q is not in the network", q.run)
				last = -1
				break
			}
			r := &j.p.runs[i]
			n := &j.p.nodes[r.a]
			if q.point != n.id {
				c.fail(name, "run %s leaves %s, not %q", r.id, n.id, q.point)
			}
			if k == 0 && len(n.in) > 0 {
				c.fail(name, "begins at %s, where water comes in from above", n.id)
			}
			if k > 0 && !slices.Contains(n.in, last) {
				c.fail(name, "run %s does not go on from %s", r.id, j.p.runs[last].id)
				last = -1
				break
			}
			joins := []string{}
			for _, x := range n.in {
				if x != last {
					joins = append(joins, j.p.runs[x].id)
				}
				if last >= 0 && flowOf(&j.p.runs[x]) > flowOf(&j.p.runs[last])+1e-9 {
					c.fail(name, "at %s run %s brings more water than the trunk", n.id, j.p.runs[x].id)
				}
			}
			said := slices.Clone(q.joins)
			slices.Sort(joins)
			slices.Sort(said)
			if !slices.Equal(joins, said) {
				c.fail(name, "at %s %q join, it says %q", n.id, joins, said)
			}
			flow, added, grown := flowOf(r), flowOf(r), false
			if last >= 0 {
				added -= flowOf(&j.p.runs[last])
				grown = r.diameter > j.p.runs[last].diameter
			}
			c.most(max(math.Abs(q.flow-flow), math.Abs(q.added-added)), r.id)
			if !(math.Abs(q.flow-flow) <= 1e-6 && math.Abs(q.added-added) <= 1e-6) {
				c.fail(name, "flow %.6f and %.6f more at %s, the runs say %.6f and %.6f", q.flow, q.added, n.id, flow, added)
			}
			if q.grown != grown || q.size != r.size || math.Abs(q.diameter-r.diameter) > 1e-6 || q.count != float64(r.count) {
				c.fail(name, "the pipe below %s is not that of run %s, or it did not grow as said", n.id, r.id)
			}
			if ca := r.roofCA + r.yardCA; !(math.Abs(q.ca-ca) <= 0.002) || !(math.Abs(q.tc-r.tc) <= 1e-3) {
				c.fail(name, "ca_m2 %.3f in %.3f min at %s, run %s has %.3f in %.3f min", q.ca, q.tc, n.id, r.id, ca, r.tc)
			}
			switch {
			case !r.levels || r.capacity <= 0:
			case q.spare == nil:
				c.fail(name, "no spare at %s, and run %s has a capacity", n.id, r.id)
			case math.Abs(*q.spare-(1-flow/r.capacity)) > 2e-4:
				c.fail(name, "spare at %s says %.4f, it is %.4f", n.id, *q.spare, 1-flow/r.capacity)
			}
			if !(math.Abs(q.station-station) <= oneMillimetre*float64(k+2)) {
				c.fail(name, "%s is at station %s, it says %s", n.id, mm(station), mm(q.station))
			}
			station += r.measured
			last = i
		}
		if last < 0 {
			continue
		}
		if b := j.p.runs[last].b; b < 0 || len(j.p.nodes[b].out) > 0 || j.p.nodes[b].id != t.outlet {
			c.fail(name, "ends at %s", j.p.runs[last].to)
			continue
		}
		if told[last] {
			c.fail(name, "run %s has two tables", j.p.runs[last].id)
		}
		told[last] = true
	}
	for i := range j.p.runs {
		if r := &j.p.runs[i]; r.flow != nil && r.b >= 0 && len(j.p.nodes[r.b].out) == 0 && !told[i] {
			c.fail(r.id, "ends at %s and has no table of where its flow grows", r.to)
		}
	}
}

func flowOf(r *run) float64 {
	if r.flow == nil {
		return 0
	}
	return *r.flow
}
