package planner

// One lot: what the route search is asked, what a tree of trenches costs, and
// the choice between outlets.

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"

	"github.com/paulmach/orb"

	"fallwright/geo/ground"
	"fallwright/geo/route"
	"fallwright/geo/shape"
	"fallwright/geo/unit"
	"fallwright/geo/zone"
	"fallwright/hydro"
	"fallwright/hydro/profile"
	"fallwright/hydro/rain"
	"fallwright/parcels"
	"fallwright/parcels/document"
	"fallwright/parcels/siting"
	"fallwright/parcels/yardwater"
)

// inHand is what the planner keeps in hand of every distance, so that rounding
// what is written breaks no rule.
const inHand = unit.Millimetre

type lotPlan struct {
	site     *parcels.Site
	siting   *siting.Siting
	lot      *parcels.Lot // the first of the plan's
	members  []member
	shared   bool // one trunk for all, along easements too
	ways     []way
	corridor orb.MultiPolygon // where centre lines of the width may lie in them
	laidFor  unit.Length      // the width that the corridor is for
	barred   []zone.KeepOut
	taken    []zone.KeepOut // by trunks planned before
	costs    []float64      // of the runs
	parts    []parcels.Share
	surface  ground.Surface // nil: the ground is not known
	given    bool           // it is not made of the site's own shots
	only     string
	quick    bool
	prefix   string

	width  unit.Length // of the trench that the zone was made for
	waters []water
	wanted []*parcels.PerforatedRun
	ends   []end

	stock     []profile.Pipe
	stockOf   []parcels.StockPipe
	solidPipe []int
	perfPipe  []int
	rain      rain.Rainfall
	intensity func(hydro.Duration) hydro.Intensity
	solver    *profile.Solver
	result    profile.Result
	cache     map[[4]float64]*stretch
	regionsOf []boxed
	asked     *route.Problem // what the route was last asked
	refused   *route.Result  // the answer, where nothing that it found can be built
	refusals  map[*route.Tree]shown
	hollows   []yardwater.Pond // on the lot

	beside       []parcels.Point // of the other trunks
	points       []parcels.Point
	runs         []parcels.Run
	trenches     []parcels.Trench
	profiles     []parcels.Profile
	alternatives []parcels.Alternative
	remedies     []parcels.Remedy
	drawn        *layout // written down, and its profile
	final        *profile.Result
	mender       *mender // of what is drawn, where it does not arrive
	prove        proof   // of its remedies' plans; nil: nobody does
	// proveOn is the same for plans on other ground: the site read anew.
	proveOn      func(*parcels.Site, ground.Surface, ...*parcels.Lot) proof
	water        []parcels.WaterCase
	backed       *parcels.BackedUp
	ponds        []parcels.Pond
	lineFlows    []parcels.LineFlow
	overflow     []parcels.Overflow
	findings     []parcels.Finding
	assumptions  []string
	outlet       string
	pipeLength   unit.Length
	trenchLength unit.Length
	cost         *float64
	bound        *route.Bound
	locked       map[string]bool // runs that lie already, by Resolve
	met          []parcels.Met   // come upon in the trenches, by Resolve
}

// stretch is what lies along one straight line, each part of it once asked for;
// nobody writes to it.
type stretch struct {
	measured bool
	stations []profile.Station // the ground
	known    bool
	looked   bool
	met      []profile.Crossing
	priced   bool
	extra    float64 // price of the regions that it crosses
}

func newLotPlan(s *parcels.Site, st *siting.Siting, lot *parcels.Lot, surface ground.Surface, o Options, prefix string) (*lotPlan, error) {
	lp := &lotPlan{site: s, siting: st, lot: lot, surface: surface, given: o.Surface != nil, only: o.Outlet, quick: o.Quick, prefix: prefix}
	return lp, lp.take([]*parcels.Lot{lot})
}

// newShared plans several lots as one, with one trunk. Where districts rule them
// differently, the strictest rule on slope, cover and depth holds for all.
func newShared(s *parcels.Site, st *siting.Siting, lots []*parcels.Lot, surface ground.Surface, o Options) (*lotPlan, error) {
	if len(lots) > MostShared {
		return nil, &parcels.InputError{Kind: parcels.Invalid, Faults: []parcels.Fault{{Slug: "option-invalid", Pointer: "/shared", Member: "shared",
			Detail: fmt.Sprintf("%d lots on one shared trunk; at most %d. Name fewer lots.", len(lots), MostShared)}}}
	}
	ruled := *s
	for i, lot := range lots {
		under, _, err := st.Under(lot)
		if err != nil {
			return nil, err
		}
		if i == 0 {
			ruled = *under
			continue
		}
		a, b := &ruled.Criteria.Pipe, under.Criteria.Pipe
		a.LeastSlope, a.TargetSlope = max(a.LeastSlope, b.LeastSlope), max(a.TargetSlope, b.TargetSlope)
		a.LeastCover, a.GreatestDepth, a.LeastDiameter = max(a.LeastCover, b.LeastCover), min(a.GreatestDepth, b.GreatestDepth), max(a.LeastDiameter, b.LeastDiameter)
		ruled.Criteria.Trench.Width = max(ruled.Criteria.Trench.Width, under.Criteria.Trench.Width)
		ruled.Criteria.TieIn.Reach = min(ruled.Criteria.TieIn.Reach, under.Criteria.TieIn.Reach)
	}
	if o.rule != nil {
		o.rule(&ruled.Criteria)
	}
	lp := &lotPlan{site: &ruled, siting: st, lot: lots[0], shared: true, surface: surface, given: o.Surface != nil, only: o.Outlet, quick: o.Quick}
	return lp, lp.take(lots)
}

// take gathers what is known of the lots.
func (lp *lotPlan) take(lots []*parcels.Lot) error {
	lp.solver, lp.cache = profile.NewSolver(), map[[4]float64]*stretch{}
	for _, lot := range lots {
		g, err := lp.siting.Ground(lot, "solid")
		if err != nil {
			return wrong(lot, err)
		}
		lp.members = append(lp.members, member{lot: lot, solid: g})
		lp.findings = append(append(lp.findings, g.Findings...), g.Borders...)
	}
	var err error
	if lp.rain, err = Rain(lp.site); err != nil {
		return err
	}
	if err := lp.gather(); err != nil {
		return err
	}
	lp.parted()
	lp.pipes()
	if len(lp.solidPipe) == 0 {
		c := lp.site.Criteria.Pipe
		return &parcels.InputError{Kind: parcels.Invalid, Faults: []parcels.Fault{{Slug: "criterion-invalid", Pointer: "/layers/districts", Member: "pipe.least_diameter_mm",
			Detail: fmt.Sprintf("The stock has no solid pipe of wall %s that is %g mm wide or more inside, which the districts of %s together ask on one trunk. Give one, change pipe.wall or pipe.least_diameter_mm of a district, or drain the lots apart.", c.Wall, c.LeastDiameter, lp.names())}}}
	}
	lp.width = lp.trenchWidth(lp.stockOf[lp.solidPipe[0]].OutsideDiameter)
	for i := range lp.members {
		lp.members[i].width = lp.width
	}
	if lp.shared {
		lp.width = lp.firstWidth()
	}
	return nil
}

func wrong(lot *parcels.Lot, err error) error {
	if errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return err // nothing is wrong with the lot: nobody waits for it any more
	}
	return &parcels.Error{Kind: parcels.Failed, Op: "planner: trench zone", Subject: "lot " + lot.ID, Err: err}
}

func (lp *lotPlan) find(f parcels.Finding) {
	if f.Lot == "" && !lp.shared {
		f.Lot = lp.lot.ID
	} else if f.Lot == "" && f.Location != nil {
		if m := lp.at(*f.Location); m != nil {
			f.Lot = m.lot.ID
		}
	}
	for _, o := range lp.findings {
		if o.Code == f.Code && o.Message == f.Message {
			return
		}
	}
	lp.findings = append(lp.findings, f)
}

// trenchWidth is the width that pipes of these outside diameters (mm) side by
// side need: the criteria's, or the pipes with 3 in at each side and 1 in
// between (common practice, P-115), whichever is more.
func (lp *lotPlan) trenchWidth(outside ...float64) unit.Length {
	w := 2*0.0762 + 0.0254*float64(len(outside)-1)
	for _, o := range outside {
		w += o / 1000
	}
	return max(lp.site.Criteria.Trench.Width, unit.Length(math.Ceil(w*1000)/1000))
}

// pipes makes the profile's stock: solid and perforated pipes in one list by
// inside diameter. Buried roof lines are at least least_diameter_mm (P-97).
func (lp *lotPlan) pipes() {
	c := lp.site.Criteria
	all := append(c.Stock("solid"), c.Stock("perforated")...)
	sort.SliceStable(all, func(i, j int) bool { return all[i].Diameter < all[j].Diameter })
	for _, p := range all {
		if p.Diameter < c.Pipe.LeastDiameter-1e-9 {
			continue
		}
		i := len(lp.stock)
		lp.stock = append(lp.stock, profile.Pipe{Inside: unit.Length(p.Diameter / 1000), Outside: unit.Length(p.OutsideDiameter / 1000), N: p.N,
			Price: c.Prices.PipePerMPerMM * p.Diameter})
		lp.stockOf = append(lp.stockOf, p)
		if p.Pipe == "solid" {
			lp.solidPipe = append(lp.solidPipe, i)
		} else {
			lp.perfPipe = append(lp.perfPipe, i)
		}
	}
	if len(lp.perfPipe) == 0 && len(lp.wanted) > 0 {
		lp.wanted = nil
		lp.find(parcels.Finding{Code: "no_perforated_stock", Severity: parcels.Stop, Message: "A perforated run is wanted but the stock has no perforated pipe."})
	}
	if lp.rain != nil {
		years := c.Storm.ReturnYears
		lp.intensity = func(d hydro.Duration) hydro.Intensity {
			i, _, err := lp.rain.Intensity(d, years)
			if err != nil {
				return 0
			}
			return i
		}
	}
}

// run plans the lot: route, profile, network, and what they do to the water
// over the ground.
func (lp *lotPlan) run(ctx context.Context) error {
	if err := lp.pipe(ctx); err != nil {
		return err
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	return lp.lines()
}

// pipe lays the pipes by what the ground's water does now.
func (lp *lotPlan) pipe(ctx context.Context) error {
	if !lp.quick {
		for i := range lp.members {
			if err := ctx.Err(); err != nil {
				return err
			}
			lp.yard(&lp.members[i])
		}
	}
	return lp.drain(ctx)
}

// drain lays the pipes.
func (lp *lotPlan) drain(ctx context.Context) error {
	if len(lp.waters) == 0 && len(lp.wanted) == 0 {
		lp.find(parcels.Finding{Code: "nothing_to_drain", Severity: parcels.Stop, Message: "There is no intake and no perforated run on " + lp.names() + ": add the downspouts and basins as the layer intakes."})
		return nil
	}
	if lp.rain == nil {
		for i := range lp.waters {
			if lp.waters[i].area > 0 {
				lp.find(parcels.Finding{Code: "rainfall_not_supplied", Severity: parcels.Warn, NotProven: true, Cure: "Supply the rainfall table of the place.",
					Message: "No rainfall was supplied: flows and sizes are not known; the smallest pipe is shown."})
				break
			}
		}
	}
	known := len(lp.findings)
	for round := 0; ; round++ {
		lp.findings = lp.findings[:known] // each round tells its own
		tree, final, err := lp.lay(ctx)
		if err != nil || tree == nil {
			return err
		}
		// A pipe may have come out larger than the trench the zone was made
		// for: lay it again in a zone for the wider one.
		if lp.shared {
			ok, err := lp.fits(tree, final)
			if err != nil {
				return err
			}
			if ok || round == 4 {
				return lp.finish(ctx, tree, final)
			}
			continue
		}
		widest := lp.widest(tree, final)
		if widest <= lp.width+1e-9 || round == 3 {
			return lp.finish(ctx, tree, final)
		}
		lp.width = widest
	}
}

// finish writes the layout down and, where a stop stands against it, works out
// the way along the easements.
func (lp *lotPlan) finish(ctx context.Context, l *layout, r *profile.Result) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	lp.drawn, lp.final = l, r
	if err := lp.network(l, r); err != nil {
		return err
	}
	if slices.ContainsFunc(lp.findings, func(f parcels.Finding) bool { return f.Severity == parcels.Stop }) {
		return lp.mendElsewhere(ctx)
	}
	return nil
}

// lay finds the tree of trenches and its profile. A nil tree means that the
// findings say why there is none. Every plan, round, remedy and pair of remedies goes
// through here, and stops here where ctx has ended.
func (lp *lotPlan) lay(ctx context.Context) (*layout, *profile.Result, error) {
	if err := ctx.Err(); err != nil {
		return nil, nil, err
	}
	c := lp.site.Criteria
	lp.alternatives = nil
	if err := lp.targets(); err != nil {
		return nil, nil, err
	}
	area, empty, err := lp.ground()
	if err != nil {
		return nil, nil, err
	}
	if len(area) == 0 {
		lp.find(parcels.Finding{Code: "no_trench_zone", Severity: parcels.Stop, Message: fmt.Sprintf("There is no ground on %s where a trench of %.3f m may lie: %s.", lp.names(), float64(lp.width), empty)})
		return nil, nil, nil
	}
	leadOff := map[string]orb.MultiPolygon{}
	for i := range lp.members {
		m := &lp.members[i]
		if leadOff[m.lot.ID], err = m.solid.LeadOff(m.width + 2*inHand); err != nil {
			return nil, nil, wrong(m.lot, err)
		}
	}
	if len(lp.ends) == 0 {
		lp.find(parcels.Finding{Code: "no_outlet", Severity: parcels.Stop, Message: "There is no storm inlet or other outlet near " + lp.names() + "."})
		return nil, nil, nil
	}
	p := route.Problem{Zone: area, Choice: route.Nearest,
		Rules: route.Rules{JoinAngle: (route.Angle(c.Route.JoinAngle) - 0.05) * route.Degree, BendAngle: (route.Angle(c.Route.BendAngle) - 0.05) * route.Degree, LeastStraight: c.Route.LeastStraight + inHand},
	}
	if c.Route.Outlet == "cheapest" {
		p.Choice = route.Cheapest
	}
	least := lp.stock[lp.solidPipe[0]]
	p.Prices = route.Prices{Metre: c.Prices.TrenchPerM + c.Prices.DepthPerM2*float64(c.Pipe.LeastCover+least.Outside+c.Trench.Bedding) + least.Price,
		Bend: c.Prices.BendEach, Join: c.Prices.WyeEach, TieIn: c.Prices.TieInEach}
	for i := range lp.waters {
		in := lp.waters[i].intake
		p.Sources = append(p.Sources, route.Source{ID: in.ID, At: in.At, LeadOff: in.Kind == "downspout", LeadOffWithin: leadOff[lp.waters[i].lot]})
	}
	for _, r := range lp.wanted {
		p.Kept = append(p.Kept, lp.downhill(r.Line))
	}
	for i := range lp.site.Drains {
		d := &lp.site.Drains[i]
		if !d.Keep || d.Status == "existing" || !lp.has(ownerOf(lp.site, d.Lot, d.Line[0])) {
			continue
		}
		if out, at, err := lp.strays(d.Line, area); err != nil {
			return nil, nil, err
		} else if out > 0 {
			lp.find(parcels.Finding{Code: "drawn_drain_outside_zone", Severity: parcels.Stop, Feature: d.ID, Location: &at, Measured: parcels.Num(float64(mm(out))), Required: parcels.Num(0.0), Unit: "m",
				Message: fmt.Sprintf("Drain %s, as drawn, lies with %.2f m where no trench of %.3f m may lie (lot line, foundation, obstacles): it is not kept. The command check says where and how far.", d.ID, float64(out), float64(lp.width))})
			continue
		}
		// A drawn drain stays where it is drawn; the rest is completed round it.
		p.Kept = append(p.Kept, lp.downhill(d.Line))
		at := d.Line[0]
		lp.find(parcels.Finding{Code: "drawn_drain_kept", Severity: parcels.Note, Feature: d.ID, Location: &at, Message: "Drain " + d.ID + " is kept where it is drawn."})
	}
	for i := range lp.ends {
		e := &lp.ends[i]
		t := route.Target{ID: e.id, At: e.at, Closed: e.closed}
		if e.inlet != nil || e.swale != nil || e.outlet.Kind == "curb_core" {
			t.Reach = c.TieIn.Reach - inHand
			if !area.Bound().Pad(float64(t.Reach)).Contains(e.at) {
				// out of reach whatever may be dug
			} else if t.LastRunWithin, err = lp.lastRun(e.at, t.Reach, lp.width+2*inHand); err != nil {
				return nil, nil, err
			}
		}
		p.Targets = append(p.Targets, t)
	}
	p.Buried = lp.buried()
	if p.Regions, err = lp.regions(); err != nil {
		return nil, nil, err
	}
	p.Prices.Askew = p.Prices.Metre / 30 // neat where it costs next to nothing
	p.Price, p.Prove, p.Stop = lp.price, !lp.quick, ctx.Err
	p.PriceKept = len(lp.wanted) < len(p.Kept) && !lp.quick // of what is drawn, not of what is wanted
	if lp.surface != nil {
		p.Depth = lp.depth
	}
	lp.asked = &p
	res, now := lp.refused, false
	if res != nil {
		// In a wider trench nothing can be built that could not in a narrower one.
	} else if lp.shared && len(lp.members) > 1 && len(p.Sources) > mostJoint {
		res, err = lp.comb(&p)
		now = true
	} else {
		res, err = solve(&p)
	}
	if err != nil {
		return nil, nil, wrong(lp.lot, err)
	}
	best, unreached := res.Best, res.Unreached
	lp.bound = res.Bound
	if res.Best != nil && res.Free != nil && res.Best.Cost > res.Free.Cost {
		lp.find(parcels.Finding{Code: "drawn_drain_price", Severity: parcels.Note, Measured: parcels.Num(round(res.Best.Cost, 2)), Required: parcels.Num(round(res.Free.Cost, 2)), Unit: "cost index",
			Message: fmt.Sprintf("What is drawn costs %.0f %% more than the free layout (cost index %.1f against %.1f).", 100*(res.Best.Cost/res.Free.Cost-1), res.Best.Cost, res.Free.Cost)})
	}
	reasons := lp.tell(res)
	lp.offerEmitter(&p, area)
	if best == nil {
		// Nothing can be built: show the layout that comes nearest, with what it
		// lacks.
		if err := ctx.Err(); err != nil {
			return nil, nil, err
		}
		p.Price, p.Prove = nil, false
		open := false
		for i := range p.Targets {
			if p.Targets[i].Closed == "" {
				open = true
			}
		}
		if s := lp.shownOf(res); now && s != nil { // it was laid in this very zone
			best, unreached = s.tree, s.left
		} else if open {
			var free *route.Result
			if lp.shared && len(lp.members) > 1 && len(p.Sources) > mostJoint {
				free, err = lp.comb(&p)
			} else {
				free, err = solve(&p)
			}
			if err != nil {
				return nil, nil, wrong(lp.lot, err)
			}
			if best = free.Best; best != nil {
				unreached = free.Unreached
			}
			if best == nil && len(reasons) == 0 {
				reasons = lp.tell(free)
			}
		}
		lp.bound, lp.refused = nil, res
		if best == nil {
			lp.find(parcels.Finding{Code: "no_route", Severity: parcels.Stop, Message: "No trench inside the zone of " + lp.names() + " reaches an outlet. " + strings.Join(reasons, " ")})
			lp.tellUnreached(&p, unreached)
			if err := lp.mendElsewhere(ctx); err != nil {
				return nil, nil, err
			}
			return nil, nil, nil
		}
	}
	lp.tellUnreached(&p, unreached)
	l := lp.layout(best)
	l.split(c.Route.CleanoutEvery)
	l.perforate()
	if lp.surface == nil {
		return l, nil, nil
	}
	out := new(profile.Result)
	if err := lp.profile(l, out); err != nil {
		return nil, nil, wrong(lp.lot, err)
	}
	return l, out, nil
}

// longerStraights are the times of the least straight with which a layout is looked
// for again: a corner of several chords is then turned at one place or cut.
var longerStraights = [...]unit.Length{1.6, 2.5}

// solve asks for the route and, where an intake finds no way that keeps the rules,
// again with longer straights between fittings: what keeps those keeps the rule
// too, and the search goes round corners in fewer, longer pieces. No bound is known
// of such a layout, since it is not of the candidates that the bound is over.
func solve(p *route.Problem) (*route.Result, error) {
	res, err := route.Solve(p)
	if err != nil {
		return nil, err
	}
	shut := func(r *route.Result) bool {
		return slices.ContainsFunc(r.Unreached, func(u route.Unreached) bool { return u.Cause == route.CauseShutOut })
	}
	for _, times := range longerStraights {
		if !shut(res) {
			break
		}
		q := *p
		q.Rules.LeastStraight *= times
		q.Prove = false
		longer, err := route.Solve(&q)
		if err != nil {
			return nil, err
		}
		if longer.Best != nil && (res.Best == nil || len(longer.Unreached) < len(res.Unreached)) {
			res = longer
		}
	}
	return res, nil
}

// tellUnreached stops a plan that leaves an intake out, drawn or not.
func (lp *lotPlan) tellUnreached(p *route.Problem, list []route.Unreached) {
	for _, u := range list {
		near := u.Nearest
		if u.Source < 0 {
			lp.find(parcels.Finding{Code: "perforated_unreached", Severity: parcels.Stop, Location: &near, Measured: parcels.Num(round(float64(u.Off), 3)), Unit: "m",
				Message: "A perforated run cannot be joined: " + u.Reason + "."})
			continue
		}
		src := p.Sources[u.Source]
		code := "intake_unreached"
		if !src.LeadOff && u.Off > 0 {
			code = "intake_outside_zone"
		}
		if code == "intake_unreached" && u.Cause == route.CauseNoTarget {
			// said once, of the lot: the outlets and why none of them will do
			lp.find(parcels.Finding{Code: code, Severity: parcels.Stop, Feature: src.ID, Message: fmt.Sprintf("Intake %s is joined to nothing.", src.ID)})
			continue
		}
		lp.find(parcels.Finding{Code: code, Severity: parcels.Stop, Feature: src.ID, Location: &near, Measured: parcels.Num(round(float64(u.Off), 3)), Unit: "m",
			Message: fmt.Sprintf("Intake %s cannot be joined: %s. The nearest ground of the trench zone is %.2f m from it.", src.ID, u.Reason, float64(u.Off))})
	}
}

// tell turns what route says of every outlet into alternatives.
func (lp *lotPlan) tell(res *route.Result) (reasons []string) {
	lp.alternatives = nil
	for _, a := range res.Alternatives {
		e := &lp.ends[a.Target]
		alt := parcels.Alternative{Outlet: e.id, Kind: e.kind(), Verdict: parcels.NotFeasible, Reason: a.Reason}
		if e.inlet != nil && strings.Contains(a.Reason, "no source has a way to it") {
			at := e.at
			lp.find(parcels.Finding{Code: "inlet_cut_off", Severity: parcels.Note, Feature: e.id, Location: &at,
				Message: fmt.Sprintf("Inlet %s stands by a piece of the trench zone of %s that no intake can be led to: what lies between takes the whole width.", e.id, lp.names())})
		}
		if a.Tree != nil {
			alt.Length = parcels.Num(mm(a.Tree.Length))
			alt.CostIndex = parcels.Num(round(a.Tree.Cost, 2))
			if _, ok, _ := lp.price(a.Tree); ok {
				alt.Verdict = parcels.Feasible
			}
		}
		if e.short != nil {
			alt.Short = parcels.Num(mm(*e.short))
		}
		lp.alternatives = append(lp.alternatives, alt)
		if a.Reason != "" && a.Tree == nil {
			reasons = append(reasons, fmt.Sprintf("Outlet %s: %s.", e.id, strings.TrimSuffix(a.Reason, ".")))
		}
	}
	return reasons
}

// end is an outlet as the profile sees it.
type end struct {
	id     string
	at     orb.Point
	inlet  *parcels.Inlet
	outlet *parcels.Outlet
	swale  *parcels.Swale // where it is neither: daylight at a swale
	closed string
	// tieIn is the lowest level of an arriving invert, lower a level that may
	// be used at the price of a submerged entry; nil: not known.
	tieIn  *unit.Elevation
	lower  *unit.Elevation
	atMost *unit.Elevation
	short  *unit.Length // filled by price: how much fall was missing at best
}

// strays is how much of a line drawn to be kept lies off the ground where centre
// lines may, and where; a last piece that ends at an outlet in reach may also lie
// where last runs may.
func (lp *lotPlan) strays(line orb.LineString, area orb.MultiPolygon) (out unit.Length, at orb.Point, err error) {
	line = lp.downhill(line)
	for i := 0; i+1 < len(line); i++ {
		seg, on := orb.LineString{line[i], line[i+1]}, area
		if i+2 == len(line) {
			for k := range lp.ends {
				e := &lp.ends[k]
				reach := lp.site.Criteria.TieIn.Reach
				if d := math.Hypot(e.at[0]-seg[1][0], e.at[1]-seg[1][1]); d > 1e-3 || e.inlet == nil || shape.Locate(seg[0], area) == shape.Outside || math.Hypot(seg[1][0]-seg[0][0], seg[1][1]-seg[0][1]) > float64(reach) {
					continue
				}
				more, err := lp.lastRun(e.at, reach, lp.width+2*inHand)
				if err != nil {
					return 0, at, err
				}
				if on, err = zone.Merge([]orb.MultiPolygon{area, more}, nil); err != nil {
					return 0, at, wrong(lp.lot, err)
				}
			}
		}
		length := unit.Length(math.Hypot(seg[1][0]-seg[0][0], seg[1][1]-seg[0][1]))
		if in, _ := within(seg, on); length-in > 1e-6 {
			out += length - in
			at = seg[0]
			if shape.Locate(at, on) != shape.Outside {
				at = seg[1]
			}
		}
	}
	return out, at, nil
}

// parted takes out each intake that stands where another does, with a stop: a
// layout would have to begin twice at one point.
func (lp *lotPlan) parted() {
	lp.waters = slices.DeleteFunc(lp.waters, func(w water) bool {
		for i := range lp.waters {
			o := &lp.waters[i]
			if o.intake == nil || o.intake == w.intake {
				break
			}
			if d := math.Hypot(o.intake.At[0]-w.intake.At[0], o.intake.At[1]-w.intake.At[1]); d < 1e-3 {
				at := w.intake.At
				lp.find(parcels.Finding{Code: "intakes_at_one_place", Severity: parcels.Stop, Lot: w.lot, Feature: w.intake.ID, Location: &at,
					Message: fmt.Sprintf("Intakes %s and %s stand at one place: make one of them with the water of both, or move one to where it stands.", o.intake.ID, w.intake.ID)})
				return true
			}
		}
		return false
	})
}

// kind names an outlet's kind.
func (e *end) kind() string {
	switch {
	case e.inlet != nil:
		return "inlet"
	case e.swale != nil:
		return "swale"
	}
	return e.outlet.Kind
}

// far is how far from the lot an inlet is still worth listing.
const far = 60 * unit.Metre

// listed is how far from the lots an inlet is listed among the alternatives: far, or
// where none stands so near as far as the nearest does.
func (lp *lotPlan) listed() (unit.Length, error) {
	nearest := unit.Length(math.Inf(1))
	for i := range lp.site.Inlets {
		off, err := lp.off(lp.site.Inlets[i].At)
		if err != nil {
			return 0, err
		}
		nearest = min(nearest, off)
	}
	return max(far, nearest), nil
}

func (lp *lotPlan) targets() error {
	if lp.ends != nil {
		return nil
	}
	s := lp.site
	found := lp.only == ""
	within, err := lp.listed()
	if err != nil {
		return err
	}
	for i := range s.Inlets {
		in := &s.Inlets[i]
		if lp.only != "" && in.ID != lp.only {
			continue
		}
		found = true
		off, err := lp.off(in.At)
		if err != nil {
			return err
		}
		if off > within && lp.only == "" {
			continue
		}
		e := end{id: in.ID, at: in.At, inlet: in}
		switch in.System {
		case parcels.SystemSanitary, parcels.SystemCombined:
			e.closed = "it is a " + string(in.System) + " sewer, where storm water may never go (P-59)"
		}
		crown := crownOf(in)
		switch {
		case in.TieIn != nil:
			e.tieIn = in.TieIn
		case crown != nil:
			e.tieIn, e.lower = crown, in.Invert
		case in.Invert != nil:
			e.tieIn = in.Invert
		}
		low := e.lower
		if low == nil {
			low = e.tieIn
		}
		if thin := lp.stock[lp.solidPipe[0]]; in.Rim != nil && low != nil && e.closed == "" {
			if room, high := in.Rim.Above(*low), (thin.Inside+thin.Outside)/2; high > room+1e-6 {
				e.closed = fmt.Sprintf("its rim lies %.0f mm above the lowest level at which a pipe may arrive, and the thinnest of the stock is %.0f mm high", 1000*float64(room), 1000*float64(high))
			}
		}
		lp.ends = append(lp.ends, e)
	}
	for i := range s.Outlets {
		o := &s.Outlets[i]
		if lp.only != "" && o.ID != lp.only {
			continue
		}
		found = true
		if o.Kind == "curb_core" { // it stands at the curb, beyond the lot
			off, err := lp.off(o.At)
			if err != nil {
				return err
			}
			if off > s.Criteria.TieIn.Reach && lp.only == "" {
				continue
			}
		} else if lp.at(o.At) == nil {
			continue
		}
		e := end{id: o.ID, at: o.At, outlet: o, tieIn: o.Level}
		if o.Kind == "emitter" && o.Level != nil {
			// The pipe lies under the emitter's riser and stands full to its rim.
			e.tieIn = parcels.Num(o.Level.Plus(-(s.Criteria.Pipe.LeastCover + lp.stock[lp.solidPipe[0]].Outside + 0.05)))
		}
		if o.Kind == "daylight" || o.Kind == "emitter" {
			e.closed = lp.dischargeBars(o)
		}
		if e.atGrade() && e.tieIn != nil && o.Kind == "curb_core" {
			top := e.tieIn.Plus(overBed)
			e.atMost = &top
		}
		lp.ends = append(lp.ends, e)
	}
	before := len(lp.ends)
	lp.swaleEnds()
	if found = found || len(lp.ends) > before; !found {
		names := []string{}
		for i := range s.Inlets {
			names = append(names, s.Inlets[i].ID)
		}
		for i := range s.Outlets {
			names = append(names, s.Outlets[i].ID)
		}
		return &parcels.InputError{Kind: parcels.Invalid, Faults: []parcels.Fault{{Slug: "outlet-unknown", Pointer: "/layers/inlets", ID: parcels.Excerpt(lp.only),
			Detail: fmt.Sprintf("There is no inlet or outlet %q. Here are: %s.", parcels.Excerpt(lp.only), strings.Join(names, ", "))}}}
	}
	return nil
}

// crownOf is the inside top of an inlet's outgoing pipe; nil where unknown.
func crownOf(in *parcels.Inlet) *unit.Elevation {
	if in.Invert == nil || in.OutgoingDiameter == nil {
		return nil
	}
	return parcels.Num(in.Invert.Plus(*in.OutgoingDiameter))
}

// off is how far a point lies from the nearest of the lots.
func (lp *lotPlan) off(p orb.Point) (unit.Length, error) {
	least := unit.Length(math.Inf(1))
	for i := range lp.members {
		d, err := zone.Between(lp.members[i].lot.Shape, orb.LineString{p, {p[0] + 1e-3, p[1]}})
		if err != nil {
			return 0, wrong(lp.members[i].lot, err)
		}
		least = min(least, d)
	}
	return least, nil
}

// dischargeBars says what keeps water from being let out on the ground there.
func (lp *lotPlan) dischargeBars(o *parcels.Outlet) string {
	d := lp.site.Criteria.Discharge
	at := orb.LineString{o.At, {o.At[0] + 1e-6, o.At[1]}}
	for i := range lp.site.Swales {
		w := &lp.site.Swales[i]
		if off, _ := shape.PointLine(o.At, w.Line); w.MayDischarge && off < 1 {
			return ""
		}
	}
	m := lp.at(o.At)
	if off, _, _ := shape.LineBoundary(at, m.lot.Shape); off < d.FromLine {
		return fmt.Sprintf("it lets water out %.2f m from the lot line; %.2f m is asked (P-47)", float64(off), float64(d.FromLine))
	}
	for _, k := range m.solid.KeepOuts {
		if k.Kind != "building" {
			continue
		}
		if off, _, _ := shape.LineBoundary(at, k.Geometry.(orb.MultiPolygon)); off < d.FromBuilding {
			return fmt.Sprintf("it lets water out %.2f m from a building; %.2f m is asked (P-48)", float64(off), float64(d.FromBuilding))
		}
	}
	if other := lp.castsOn(o.At); other != "" {
		return "its water would run over the line to lot " + other + " where less runs now (P-52, P-53)"
	}
	return ""
}

// downhill gives a drawn line in the direction in which the ground falls.
func (lp *lotPlan) downhill(l orb.LineString) orb.LineString {
	out := slices.Clone(l)
	if lp.surface == nil {
		return out
	}
	a, okA := lp.surface.At(l[0])
	b, okB := lp.surface.At(l[len(l)-1])
	if okA && okB && a.Elevation < b.Elevation {
		slices.Reverse(out)
	}
	return out
}

// buried are the utilities that may be crossed, near to square: a crossing
// aslant costs as much as another one.
func (lp *lotPlan) buried() []route.Buried {
	var out []route.Buried
	c := lp.site.Criteria
	box := lp.lot.Shape.Bound().Pad(float64(c.TieIn.Reach))
	for i := range lp.site.Obstacles {
		o := &lp.site.Obstacles[i]
		if line, ok := o.Geometry.(orb.LineString); ok && o.Kind == "utility" && o.Crossing != parcels.CrossingForbidden && line.Bound().Intersects(box) {
			out = append(out, route.Buried{Name: "utility " + o.ID, Line: line, LeastAngle: route.Angle(c.Route.UtilityAngle) * route.Degree, Aslant: c.Prices.UtilityCrossingEach})
		}
	}
	return out
}

// regions are the areas that cost extra to cross.
func (lp *lotPlan) regions() ([]route.Region, error) {
	var out []route.Region
	c := lp.site.Criteria
	box := lp.box().Pad(float64(c.TieIn.Reach))
	for i := range lp.site.Obstacles {
		o := &lp.site.Obstacles[i]
		ext := siting.Extent(o, c)
		if !o.Geometry.Bound().Pad(float64(ext)).Intersects(box) {
			continue
		}
		price := 0.0
		if o.CrossingCostPerMetre != nil {
			price = *o.CrossingCostPerMetre
		} else if o.Crossing == parcels.CrossingCostly {
			price = c.Prices.PavingPerM
		}
		each := 0.0
		if o.Kind == "utility" && o.Crossing != parcels.CrossingForbidden {
			// Running along a utility in its hand-dig zone is what to avoid; a
			// crossing costs its exposing.
			ext += siting.KeepClear(o, c)
			price, each = price+c.Prices.PermissionPerM*4, c.Prices.UtilityCrossingEach
		}
		if price == 0 && each == 0 || o.Crossing == parcels.CrossingForbidden {
			continue
		}
		var area orb.MultiPolygon
		switch g := o.Geometry.(type) {
		case orb.MultiPolygon:
			area = g
		case orb.LineString:
			if ext <= 0 {
				continue
			}
			strip, err := lp.siting.Strip(g, 2*ext)
			if err != nil {
				return nil, wrong(lp.lot, err)
			}
			area = strip
		default:
			continue
		}
		out = append(out, route.Region{Name: o.Kind + " " + o.ID, Shape: area, PerMetre: price, Each: each})
	}
	for i := range lp.site.Easements {
		e := &lp.site.Easements[i]
		if e.Trench != parcels.TrenchPermission || lp.shared {
			continue // a shared trunk belongs in the easement: one leave for all of it
		}
		switch g := e.Geometry.(type) {
		case orb.MultiPolygon:
			if g.Bound().Intersects(box) {
				out = append(out, route.Region{Name: "easement " + e.ID, Shape: g, PerMetre: c.Prices.PermissionPerM})
			}
		case orb.LineString:
			if e.Width != nil && g.Bound().Pad(float64(*e.Width)).Intersects(box) {
				strip, err := lp.siting.Strip(g, *e.Width)
				if err != nil {
					return nil, wrong(lp.lot, err)
				}
				out = append(out, route.Region{Name: "easement " + e.ID, Shape: strip, PerMetre: c.Prices.PermissionPerM})
			}
		}
	}
	return out, nil
}

// price is what a whole tree costs once its depth is known; the route search
// calls it for its best candidates.
func (lp *lotPlan) price(t *route.Tree) (float64, bool, string) {
	l := lp.layout(t)
	l.split(lp.site.Criteria.Route.CleanoutEvery)
	l.perforate()
	if lp.surface == nil {
		return l.planCost(), true, ""
	}
	if err := lp.profile(l, &lp.result); err != nil {
		return 0, false, err.Error()
	}
	r := &lp.result
	e := &lp.ends[t.Target]
	if why := lp.overLimit(l, r); why != "" {
		return r.Cost, false, why
	}
	if r.Verdict == profile.Arrives {
		return r.Cost + lp.site.Criteria.Prices.TieInEach, true, ""
	}
	return r.Cost, false, lp.whyNot(l, r, e)
}

// whyNot puts the verdict of a profile in words.
func (lp *lotPlan) whyNot(l *layout, r *profile.Result, e *end) string {
	if r.Verdict == profile.Short {
		short := -r.Margin
		if e.short == nil || short < *e.short {
			e.short = parcels.Num(short)
		}
		return fmt.Sprintf("at the least slope of %.2g %% the pipe arrives %.0f mm too low (%s)", 100*float64(lp.site.Criteria.Pipe.LeastSlope), math.Ceil(float64(short)*1000), lp.binds(l, r.Binds))
	}
	var parts []string
	for _, b := range r.Breaches {
		parts = append(parts, lp.breach(l, b))
	}
	if len(parts) == 0 {
		return "its profile breaks a rule"
	}
	return strings.Join(parts[:min(3, len(parts))], "; ")
}

func (lp *lotPlan) binds(l *layout, b profile.Binding) string {
	at := ""
	if b.Reach >= 0 && b.Reach < len(l.runs) {
		at = fmt.Sprintf(" %.1f m below %s", float64(b.At), l.nodes[l.runs[b.Reach].from].name())
	}
	return fmt.Sprintf("held down by the %s%s, then %.2f m of way that needs %.3f m of fall", b.Kind, at, float64(b.Length), float64(b.Fall))
}

func (lp *lotPlan) breach(l *layout, b profile.Breach) string {
	at := fmt.Sprintf("%.1f m below %s", float64(b.At), l.nodes[l.runs[b.Reach].from].name())
	switch b.Kind {
	case profile.Capacity:
		return fmt.Sprintf("it carries %.2f l/s where %.2f l/s come, %s", 1000*b.Measured, 1000*b.Required, at)
	case profile.Utility:
		what := "what it crosses"
		for _, m := range lp.met {
			if m.Run == fmt.Sprintf("%sR%d", lp.prefix, b.Reach+1) && math.Abs(float64(m.Station-b.At)) < 1e-6 {
				what = "the " + string(m.Kind) + " met"
			}
		}
		return fmt.Sprintf("it passes %s at %.3f m where it needs %.3f m, %s", what, b.Measured, b.Required, at)
	case profile.Cover, profile.Depth:
		return fmt.Sprintf("%s of %.2f m against %.2f m, %s", b.Kind, b.Measured, b.Required, at)
	case profile.Slope:
		return fmt.Sprintf("%s of %.1f %% against %.1f %%, %s", b.Kind, 100*b.Measured, 100*b.Required, at)
	case profile.TieIn, profile.StartLevel:
		return fmt.Sprintf("%s of %.3f m against %.3f m, %s", b.Kind, b.Measured, b.Required, at)
	}
	return fmt.Sprintf("%s of %.3g against %.3g, %s", b.Kind, b.Measured, b.Required, at)
}

// snap moves a point to where it will be written, so that what is worked out is
// what is read back.
func (lp *lotPlan) snap(p orb.Point) orb.Point {
	return lp.site.Frame.Plane(document.Position(lp.site.Frame, p))
}
