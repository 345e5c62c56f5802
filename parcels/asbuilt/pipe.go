package asbuilt

// What was laid: levels along a run, water left standing, cover, line.

import (
	"fmt"
	"math"
	"slices"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
	"fallwright/geo/unit"
	"fallwright/parcels"
)

// lend gives a run the shot at a fitting that was put to its neighbour, where
// both inverts are planned at one level there.
func (a *assessor) lend() {
	type loan struct {
		to int
		p  found
	}
	var loans []loan
	for i := range a.tracks {
		t := &a.tracks[i]
		for _, end := range [...]float64{0, t.length} {
			have := slices.ContainsFunc(t.pts, func(p found) bool { return math.Abs(p.at-end) <= atEnd })
			if have {
				continue
			}
			corner := t.line[0]
			if end > 0 {
				corner = t.line[len(t.line)-1]
			}
			for k := range a.tracks {
				if k == i || !a.touch(i, k) {
					continue
				}
				for _, p := range a.tracks[k].pts {
					if math.Hypot(p.shot.At[0]-corner[0], p.shot.At[1]-corner[1]) > atEnd {
						continue
					}
					n := shape.Nearest(t.line, p.shot.At)
					if math.Abs(t.planned(float64(n.Along))-a.tracks[k].planned(p.at)) > reading+0.01*atEnd {
						continue
					}
					q := p
					q.at, q.side = float64(n.Along), float64(n.Off)
					q.off = q.z - a.shift - t.planned(q.at)
					q.lent = true
					loans = append(loans, loan{i, q})
				}
			}
		}
	}
	for _, l := range loans {
		t := &a.tracks[l.to]
		if !slices.ContainsFunc(t.pts, func(p found) bool { return p.shot == l.p.shot }) {
			t.pts = append(t.pts, l.p)
		}
	}
}

// gather orders the shots of a run, brings shots of one place together, and
// tells what was not shot.
func (a *assessor) gather(t *track) {
	slices.SortStableFunc(t.pts, func(p, q found) int {
		switch {
		case p.at < q.at:
			return -1
		case p.at > q.at:
			return 1
		}
		return 0
	})
	kept := t.pts[:0]
	for _, p := range t.pts {
		if n := len(kept); n > 0 && p.at-kept[n-1].at < samePlace {
			q := &kept[n-1]
			if d := math.Abs(p.z - q.z); d > worse {
				a.find(parcels.Finding{Code: CodeDisagree, Severity: parcels.Warn, NotProven: true, Feature: t.run.ID, Measured: parcels.Num(round(d, 3)), Required: parcels.Num(worse), Unit: "m", Source: "P-157", Location: parcels.Num(p.shot.At), Cure: "Shoot the place again.",
					Message: fmt.Sprintf("Shots %s and %s of one place on run %s are %.0f mm apart; their mean is used.", list([]string{q.shot.ID}), list([]string{p.shot.ID}), t.run.ID, d*1000)})
			}
			q.z, q.off = (q.z+p.z)/2, (q.off+p.off)/2
			continue
		}
		kept = append(kept, p)
	}
	t.pts = kept
	n := len(t.pts)
	if t.unread {
		return // what is missing was told with the unit
	}
	if n == 0 {
		a.notShot(t)
		return
	}
	var missing string
	switch up, down := t.pts[0].at > atEnd, t.pts[n-1].at < t.length-atEnd; {
	case up && down:
		missing = "Neither end"
	case up:
		missing = "The upper end (" + t.run.From + ")"
	case down:
		missing = "The lower end (" + t.run.To + ")"
	}
	widest := 0.0
	for i := 1; i < n; i++ {
		widest = max(widest, t.pts[i].at-t.pts[i-1].at)
	}
	if n < 2 && t.length > shortRun || widest > spacing*1.1 {
		why := fmt.Sprintf("%d shots on %.1f m, the widest gap %.1f m", n, t.length, widest)
		if n == 1 {
			why = fmt.Sprintf("one shot on %.1f m", t.length)
		}
		a.find(parcels.Finding{Code: CodeFew, Severity: parcels.Warn, NotProven: true, Feature: t.run.ID, Measured: parcels.Num(round(max(widest, t.length/float64(n)), 2)), Required: parcels.Num(spacing), Unit: "m", Source: "P-159", Cure: fmt.Sprintf("Shoot run %s at every fitting and every 25 ft (7.6 m).", t.run.ID),
			Message: fmt.Sprintf("Run %s is shot too thinly to know its grade: %s.", t.run.ID, why)})
	}
	if missing != "" && n > 1 && t.length > shortRun {
		a.find(parcels.Finding{Code: CodeEnd, Severity: parcels.Warn, NotProven: true, Feature: t.run.ID, Source: "P-159", Cure: fmt.Sprintf("Shoot both ends of run %s.", t.run.ID),
			Message: fmt.Sprintf("%s of run %s was not shot: what lies beyond the last shot is not known.", missing, t.run.ID)})
	}
}

// water finds, for each shot, the highest invert downstream: water stands up to
// it when the flow has ended.
func (a *assessor) water() {
	done := make([]bool, len(a.tracks))
	var fill func(i int)
	fill = func(i int) {
		if done[i] {
			return
		}
		done[i] = true
		t := &a.tracks[i]
		high, sill := math.Inf(-1), spot{-1, -1}
		if t.next >= 0 {
			fill(t.next)
			if n := a.tracks[t.next].pts; len(n) > 0 {
				high, sill = n[0].spill, n[0].sill
			}
		}
		for k := len(t.pts) - 1; k >= 0; k-- {
			p := &t.pts[k]
			if p.z >= high {
				high, sill = p.z, spot{i, k}
			}
			p.spill, p.sill = high, sill
		}
	}
	for i := range a.tracks {
		fill(i)
	}
	// Water in each stretch, put together by the sill that holds it.
	pools := map[spot]*Pool{}
	low := map[spot]spot{}
	var order []spot
	for i := range a.tracks {
		t := &a.tracks[i]
		for k := range t.pts {
			p := &t.pts[k]
			d := p.spill - p.z
			if d <= reading {
				continue
			}
			q, ok := pools[p.sill]
			if !ok {
				q = &Pool{}
				pools[p.sill] = q
				order = append(order, p.sill)
			}
			if unit.Length(d) > q.Depth {
				q.Depth, q.At, q.Where = unit.Length(d), unit.Length(p.at), p.shot.At
				low[p.sill] = spot{i, k}
			}
		}
	}
	for i := range a.tracks {
		t := &a.tracks[i]
		for k := 0; k+1 < len(t.pts); k++ {
			p, n := &t.pts[k], &t.pts[k+1]
			q, ok := pools[n.sill]
			if !ok {
				continue
			}
			v := a.held(t, p, n, n.spill)
			q.Volume += v
			t.built.Standing += v
		}
	}
	for _, s := range order {
		q, l := pools[s], low[s]
		// A fitting belongs to two runs: the pool is that of the one that holds it.
		if own := a.tracks[s.track].pts; l.track != s.track {
			if k := slices.IndexFunc(own, func(p found) bool { return p.shot == a.tracks[l.track].pts[l.pt].shot }); k >= 0 {
				l = spot{s.track, k}
				q.At = unit.Length(own[k].at)
			}
		}
		t := &a.tracks[l.track]
		if float64(q.Depth) <= point {
			continue // within the tolerance of a point on grade
		}
		q.From, q.To = a.reach(l, s)
		q.Sill = a.tracks[s.track].pts[s.pt].shot.ID
		q.Code = a.why(l, s)
		q.Volume = round(q.Volume, 6)
		q.Depth, q.From, q.To, q.At = mm(q.Depth), mm(q.From), mm(q.To), mm(q.At)
		t.built.Pools = append(t.built.Pools, *q)
	}
}

func mm(l unit.Length) unit.Length { return unit.Length(round(float64(l), 3)) }

// held is the water that stands between two shots under a level, in m3: the
// area of the circle's segment along a straight invert, by Simpson's rule on
// pieces of a few centimetres.
func (a *assessor) held(t *track, p, n *found, level float64) float64 {
	length := n.at - p.at
	pieces := 2 * int(math.Ceil(length/0.1))
	d := t.run.Diameter / 1000
	area := func(x float64) float64 {
		y := min(max(level-(p.z+(n.z-p.z)*x), 0), d)
		th := 2 * math.Acos(1-2*y/d)
		return d * d * (th - math.Sin(th)) / 8
	}
	sum := 0.0
	for i := 0; i <= pieces; i++ {
		w := 2.0
		switch {
		case i == 0 || i == pieces:
			w = 1
		case i%2 == 1:
			w = 4
		}
		sum += w * area(float64(i)/float64(pieces))
	}
	return sum * length / float64(pieces) / 3 * float64(max(t.run.PipeCount, 1))
}

// reach is where the water around shot l, held by sill s, begins and ends, as
// stations of l's run.
func (a *assessor) reach(l, s spot) (from, to unit.Length) {
	t := &a.tracks[l.track]
	level := a.tracks[s.track].pts[s.pt].z
	from = unit.Length(t.pts[0].at)
	for k := l.pt; k > 0; k-- {
		p, n := t.pts[k-1], t.pts[k]
		if p.z >= level {
			f := 1.0
			if p.z > n.z {
				f = (p.z - level) / (p.z - n.z)
			}
			from = unit.Length(p.at + f*(n.at-p.at))
			break
		}
	}
	if s.track == l.track {
		return from, unit.Length(t.pts[s.pt].at)
	}
	return from, unit.Length(t.length)
}

// why says what holds the water: a sag, a lifted pipe, or a fall the wrong way.
func (a *assessor) why(l, s spot) string {
	t := &a.tracks[l.track]
	n := len(t.pts)
	if t.pts[n-1].z >= t.pts[0].z && n > 1 {
		return CodeBackFall // from end to end
	}
	lowOff, sillOff := t.pts[l.pt].off, a.tracks[s.track].pts[s.pt].off
	total := sillOff - lowOff
	switch {
	case -lowOff >= 0.7*total:
		return CodeBelly
	case sillOff >= 0.7*total:
		return CodeLifted
	}
	return CodeBackFall
}

// judge fills a run's rows and tells what is wrong with it.
func (a *assessor) judge(i int) {
	t := &a.tracks[i]
	if len(t.pts) == 0 {
		return
	}
	before := len(a.report.Findings)
	a.pools(t)
	a.levels(i)
	a.slopes(t)
	a.beside(t)
	quiet := !slices.ContainsFunc(t.pts, func(p found) bool { return p.spill-p.z > point })
	for _, f := range a.report.Findings {
		quiet = quiet && !(f.Feature == t.run.ID && f.Severity != parcels.Note)
	}
	if quiet && len(a.report.Findings) == before && a.level {
		worst, slope := 0.0, ""
		for _, p := range t.pts {
			worst = max(worst, math.Abs(p.off))
		}
		if len(t.pts) > 1 {
			slope = fmt.Sprintf(", %.2f %% from end to end", 100*endToEnd(t))
		}
		a.find(parcels.Finding{Code: CodeAsPlanned, Severity: parcels.Note, Feature: t.run.ID, Measured: parcels.Num(round(worst, 4)), Required: parcels.Num(worse), Unit: "m", Source: "P-157",
			Message: fmt.Sprintf("Run %s is laid as planned: %s within %.0f mm of grade%s.", t.run.ID, number(len(t.pts), "shot"), math.Ceil(worst*1000), slope)})
	}
}

func number(n int, what string) string {
	if n == 1 {
		return "one " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

func endToEnd(t *track) float64 {
	p, q := t.pts[0], t.pts[len(t.pts)-1]
	if q.at <= p.at {
		return 0
	}
	return (p.z - q.z) / (q.at - p.at)
}

var poolWords = map[string]string{
	CodeBelly:    "sags under grade",
	CodeLifted:   "stands above grade (as when stone lifts an empty pipe)",
	CodeBackFall: "falls the wrong way",
}

func (a *assessor) pools(t *track) {
	for _, q := range t.built.Pools {
		sev := parcels.Stop
		if float64(q.Depth) <= worse || t.run.Pipe == "perforated" {
			sev = parcels.Warn
		}
		source := "P-157"
		if q.Code == CodeLifted {
			source = "P-157, P-158"
		}
		a.find(parcels.Finding{Code: q.Code, Severity: sev, Feature: t.run.ID, Measured: parcels.Num(float64(q.Depth)), Required: parcels.Num(point), Unit: "m", Source: source, Location: parcels.Num(q.Where), Cure: "Take it up and lay it again before stone.",
			Message: fmt.Sprintf("Run %s %s: %.0f mm of water, %.1f litres, stay from %.1f m to %.1f m, deepest at %.1f m, held by shot %s.", t.run.ID, poolWords[q.Code], float64(q.Depth)*1000, q.Volume*1000, float64(q.From), float64(q.To), float64(q.At), list([]string{q.Sill}))})
	}
}

// inPool says whether a station lies in standing water or at its sill.
func inPool(t *track, at float64) bool {
	for _, q := range t.built.Pools {
		if at >= float64(q.From)-samePlace && at <= float64(q.To)+samePlace {
			return true
		}
	}
	return false
}

// levels writes the rows of the shots, and tells pipe off its grade that holds
// no water, too little cover, and trench too deep.
func (a *assessor) levels(i int) {
	t := &a.tracks[i]
	b := t.built
	d, od := t.run.Diameter/1000, t.run.OutsideDiameter/1000
	wall := (od - d) / 2
	c := a.criteria(t.run)
	var high, low []found // off grade in dry pipe
	var leastCover, mostDepth *found
	for k := range t.pts {
		p := &t.pts[k]
		l := Level{Shot: p.shot.ID, Station: mm(unit.Length(p.at)), Invert: unit.Elevation(round(p.z, 4)), Planned: unit.Elevation(round(t.planned(p.at), 4)), Off: unit.Length(round(p.off, 4)), Beside: mm(unit.Length(p.side)), Standing: unit.Length(round(p.spill-p.z, 4))}
		if g, ok := t.groundAt(p.at); ok && a.level {
			cover := unit.Length(round(g-p.z-d-wall, 4))
			depth := unit.Length(round(g-p.z+wall+float64(c.Trench.Bedding), 4))
			l.Cover, l.Depth = &cover, &depth
			if b.LeastCover == nil || cover < *b.LeastCover {
				b.LeastCover, leastCover = l.Cover, p
			}
			if b.GreatestDepth == nil || depth > *b.GreatestDepth {
				b.GreatestDepth, mostDepth = l.Depth, p
			}
		}
		if b.GreatestOff == nil || math.Abs(p.off) > math.Abs(float64(*b.GreatestOff)) {
			b.GreatestOff = parcels.Num(l.Off)
		}
		if math.Abs(p.off) > worse && !inPool(t, p.at) {
			if p.off > 0 {
				high = append(high, *p)
			} else {
				low = append(low, *p)
			}
		}
		b.Levels = append(b.Levels, l)
	}
	n := len(t.pts)
	good := func(k int) bool { return math.Abs(t.pts[k].off) <= worse }
	if len(high) > 0 {
		worst := slices.MaxFunc(high, func(p, q found) int { return sign(p.off - q.off) })
		code, what := CodeOffGrade, "stands above its planned level"
		if good(0) && good(n-1) && len(low) == 0 {
			code, what = CodeLifted, "stands above grade between good ends, as when stone lifts an empty pipe; it holds no water, but its grade is broken"
		}
		a.offGrade(t, code, what, worst)
	}
	if len(low) > 0 {
		worst := slices.MinFunc(low, func(p, q found) int { return sign(p.off - q.off) })
		a.offGrade(t, CodeOffGrade, "lies under its planned level", worst)
	}
	if b.LeastCover != nil && float64(*b.LeastCover) < float64(c.Pipe.LeastCover)-reading {
		a.find(parcels.Finding{Code: CodeCover, Severity: parcels.Stop, Feature: t.run.ID, Measured: parcels.Num(float64(*b.LeastCover)), Required: parcels.Num(float64(c.Pipe.LeastCover)), Unit: "m", Source: "P-83", Location: parcels.Num(leastCover.shot.At), Cure: "Lay it lower, or protect it.",
			Message: fmt.Sprintf("Run %s has %.3f m of cover at %.1f m, less than %.3f m.", t.run.ID, float64(*b.LeastCover), leastCover.at, float64(c.Pipe.LeastCover))})
	}
	if b.GreatestDepth != nil && float64(*b.GreatestDepth) > float64(c.Pipe.GreatestDepth)+reading {
		a.find(parcels.Finding{Code: CodeDeep, Severity: parcels.Warn, Feature: t.run.ID, Measured: parcels.Num(float64(*b.GreatestDepth)), Required: parcels.Num(float64(c.Pipe.GreatestDepth)), Unit: "m", Source: "29 CFR 1926.651(c)(2)", Location: parcels.Num(mostDepth.shot.At),
			Message: fmt.Sprintf("The trench of run %s is %.3f m deep at %.1f m, deeper than %.3f m.", t.run.ID, float64(*b.GreatestDepth), mostDepth.at, float64(c.Pipe.GreatestDepth))})
	}
}

func sign(v float64) int {
	switch {
	case v < 0:
		return -1
	case v > 0:
		return 1
	}
	return 0
}

func (a *assessor) offGrade(t *track, code, what string, worst found) {
	a.find(parcels.Finding{Code: code, Severity: parcels.Warn, Feature: t.run.ID, Measured: parcels.Num(round(worst.off, 4)), Required: parcels.Num(worse), Unit: "m", Source: "P-157, P-158", Location: parcels.Num(worst.shot.At),
		Message: fmt.Sprintf("Run %s %s: %.0f mm %s it at %.1f m (shot %s).", t.run.ID, what, math.Abs(worst.off)*1000, overUnder(worst.off), worst.at, list([]string{worst.shot.ID}))})
}

// slopes writes the stretches and tells what is flatter than the least slope.
// A fall counts as less only beyond what two readings of the rod leave open.
func (a *assessor) slopes(t *track) {
	b := t.built
	least := float64(a.criteria(t.run).Pipe.LeastSlope)
	n := len(t.pts)
	if n < 2 {
		return
	}
	b.Slope = parcels.Num(unit.Slope(round(endToEnd(t), 6)))
	worst, at := math.Inf(1), 0.0
	var where orb.Point
	for k := 1; k < n; k++ {
		p, q := t.pts[k-1], t.pts[k]
		length := q.at - p.at
		s := (p.z - q.z) / length
		b.Stretches = append(b.Stretches, Stretch{From: mm(unit.Length(p.at)), To: mm(unit.Length(q.at)), Fall: unit.Length(round(p.z-q.z, 4)), Slope: unit.Slope(round(s, 6)), Planned: unit.Slope(round(float64(b.Planned), 6))})
		if b.FlattestSlope == nil || s < float64(*b.FlattestSlope) {
			b.FlattestSlope = parcels.Num(unit.Slope(round(s, 6)))
		}
		if p.z-q.z < least*length-2*reading && s < worst && !(inPool(t, p.at) && inPool(t, q.at)) {
			worst, at, where = s, p.at, q.shot.At
		}
	}
	if whole := endToEnd(t); (t.pts[0].z-t.pts[n-1].z) < least*(t.pts[n-1].at-t.pts[0].at)-2*reading && len(b.Pools) == 0 {
		a.find(parcels.Finding{Code: CodeFlat, Severity: parcels.Stop, Feature: t.run.ID, Measured: parcels.Num(round(whole, 5)), Required: parcels.Num(least), Source: "P-156", Cure: "Lay it again on grade.",
			Message: fmt.Sprintf("Run %s falls %.2f %% from end to end, less than %.2f %%.", t.run.ID, 100*whole, 100*least)})
		return
	}
	if !math.IsInf(worst, 1) {
		a.find(parcels.Finding{Code: CodeFlat, Severity: parcels.Warn, Feature: t.run.ID, Measured: parcels.Num(round(worst, 5)), Required: parcels.Num(least), Source: "P-156", Location: &where,
			Message: fmt.Sprintf("A stretch of run %s from %.1f m on falls %.2f %%, less than %.2f %%.", t.run.ID, at, 100*worst, 100*least)})
	}
}

// beside tells what lies off the planned line or too near to a lot line.
func (a *assessor) beside(t *track) {
	b := t.built
	var off *found
	for k := range t.pts {
		p := &t.pts[k]
		if !p.lent && (off == nil || p.side > off.side) {
			off = p
		}
	}
	if off == nil {
		return
	}
	b.GreatestBeside = parcels.Num(mm(unit.Length(off.side)))
	if off.side > max(beside, t.width/2)+reading {
		a.find(parcels.Finding{Code: CodeOffLine, Severity: parcels.Warn, Feature: t.run.ID, Measured: parcels.Num(round(off.side, 3)), Required: parcels.Num(round(max(beside, t.width/2), 3)), Unit: "m", Location: parcels.Num(off.shot.At),
			Message: fmt.Sprintf("Run %s lies %.2f m beside its planned line at %.1f m (shot %s).", t.run.ID, off.side, off.at, list([]string{off.shot.ID}))})
	}
	if t.lot == nil {
		return
	}
	worst, need := math.Inf(1), 0.0
	var at *found
	for k := range t.pts {
		p := &t.pts[k]
		if p.lent {
			continue
		}
		d, req := a.lotLine(t, p.shot.At)
		if math.IsInf(d, 1) {
			return
		}
		b.Levels[k].LotLine = parcels.Num(mm(unit.Length(d)))
		if b.LeastLotLine == nil || unit.Length(d) < *b.LeastLotLine {
			b.LeastLotLine = parcels.Num(mm(unit.Length(d)))
		}
		if d-req < worst {
			worst, need, at = d-req, req, p
		}
	}
	// Where the plan itself goes nearer (the last run to an inlet on the line),
	// the plan's distance is the rule.
	if pl := t.run.LeastClearance; pl != nil && float64(*pl) < need {
		worst += need - float64(*pl)
		need = float64(*pl)
	}
	if at != nil && worst < -reading {
		a.find(parcels.Finding{Code: CodeClearance, Severity: parcels.Stop, Feature: t.run.ID, Lot: t.lot.ID, Measured: parcels.Num(round(worst+need, 3)), Required: parcels.Num(round(need, 4)), Unit: "m", Source: "P-50", Location: parcels.Num(at.shot.At), Cure: "Have the line staked, and move the pipe.",
			Message: fmt.Sprintf("The trench of run %s comes within %.2f m of the lot line at %.1f m, nearer than %.2f m.", t.run.ID, worst+need, at.at, need)})
	}
}

// lotLine is the distance from the trench edge at p to the lot line (negative
// beyond it), at the edge where it is least against what is asked there.
func (a *assessor) lotLine(t *track, p orb.Point) (dist, need float64) {
	dist, need = math.Inf(1), 0
	c := a.criteria(t.run)
	least := math.Inf(1)
	outside := shape.Locate(p, t.lot.Shape) == shape.Outside
	for pi, poly := range t.lot.Shape {
		for ri, ring := range poly {
			for e := 0; e+1 < len(ring); e++ {
				req := float64(c.Clearance.LotLine + c.Clearance.LineMargin)
				if pi == 0 && ri == 0 && e < len(t.lot.Roles) {
					req = float64(c.LineClearance(t.lot.Roles[e]))
				}
				if t.lot.Clearance != nil {
					req = float64(*t.lot.Clearance)
				}
				v, _ := shape.PointSegment(p, ring[e], ring[e+1])
				d := float64(v) - t.width/2
				rank := d - req
				if outside { // the nearest edge is the one that was crossed
					rank = float64(v)
					d = -float64(v) - t.width/2
				}
				if rank < least {
					least, dist, need = rank, d, req
				}
			}
		}
	}
	return dist, need
}
