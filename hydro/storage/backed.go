package storage

// The backed-up inlet: inflow against an outlet whose water level follows the
// structure's.

import (
	"fmt"
	"math"

	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/hydro/gradeline"
	"fallwright/hydro/pipe"
	"fallwright/hydro/source"
)

// Connection is the pipe from the storage to the structure.
type Connection struct {
	Pipes                pipe.Barrels
	Length               unit.Length
	InvertUp, InvertDown unit.Elevation
	// Losses is the sum of entrance, bend, valve and exit coefficients on the
	// velocity head of the full pipe; 1.5 is a square entrance (0.5) and the exit (1).
	Losses float64
	// Valve: a backwater valve lets nothing in from the structure.
	Valve bool
	// Limit is the most that the owner of the structure takes; nil: no limit.
	Limit *hydro.Flow
}

// Spill is where water comes out: a grate or opening of the given edge length.
type Spill struct {
	Name string
	Rim  unit.Elevation
	Edge unit.Length // weir length, the grate's perimeter
	// Rise is how much higher the water stands there than in the pool at the design
	// flow (from hydro/gradeline); zero where the line to it is short.
	Rise unit.Length
}

// Trench is what stores and what lets out.
type Trench struct {
	Store   Curve
	Outlet  Connection
	Spills  []Spill // at least one
	Soak    hydro.Flow
	Initial *unit.Elevation // level at time zero; nil: empty
}

// LevelAt is the water level in the structure at a time.
type LevelAt struct {
	At    hydro.Duration
	Level unit.Elevation
}

// Case is a storm and how it is stepped. Outside is straight between its times and
// held before and after them; a structure that stays low is one row below the pipe.
type Case struct {
	Inflow  hydro.Hydrograph
	Outside []LevelAt
	End     hydro.Duration
	Step    hydro.Duration // 1.0/60 is a second
	Record  hydro.Duration // spacing of the series; zero: about 240 rows
	// Watch is the level whose time above is counted; nil: the crown of the
	// connection at its upper end.
	Watch *unit.Elevation
}

// Row is one line of the series.
type Row struct {
	At      hydro.Duration
	Level   unit.Elevation
	Outside unit.Elevation
	Inflow  hydro.Flow
	Outflow hydro.Flow // to the structure; negative: from it
	Stored  hydro.Volume
}

// Result is the balance of a case.
type Result struct {
	VoidVolume   hydro.Volume // below the lowest rim
	UsableVolume hydro.Volume // of it, what the structure's water leaves to the lot's own
	FromSewer    hydro.Volume // that came in through the connection
	ToSewer      hydro.Volume
	Inflow       hydro.Volume
	Overflow     hydro.Volume
	Soaked       hydro.Volume
	StoredChange hydro.Volume
	// Error is what the balance fails to close by, over the volume that came in.
	Error        float64
	PeakLevel    unit.Elevation
	PeakAt       hydro.Duration
	MinutesAbove hydro.Duration
	FirstSpill   string // name of the grate; empty: none
	FirstSpillAt *hydro.Duration
	SpillVolumes []hydro.Volume  // by Trench.Spills
	EmptyAfter   *hydro.Duration // from the end of inflow to the connection's invert; nil: not within the run
	Series       []Row
	Notes        []hydro.Note
}

// Codes of notes.
const (
	NoteNoRelief   = "voids_filled_from_sewer"
	NoteSpilled    = "storage_overflows"
	NoteNotEmpty   = "not_empty_at_end"
	NoteDeadBelow  = "storage_below_connection"
	NoteOutsideRim = "outlet_level_above_every_rim"
)

const weir = 1.66 // SI weir coefficient, source HEC22

// rating is the connection's flow, tabulated for the free part.
//
//	q(h, w) = min(free(h - InvertUp), C sqrt(h - w))   w above the upper invert or
//	                                                    the lower crown
//	        = free(h - InvertUp)                        else
//	C = 1/sqrt(L/K^2 + losses/(2 g A^2))                full pipe
//
// free is what runs off with nothing standing outside, by gradeline: drawdown,
// uniform flow or the full pipe, with the entrance.
type rating struct {
	up, down   float64 // inverts
	d, c       float64
	free       []float64
	step       float64
	valve      bool
	limit      float64
	lowerCrown float64
}

func newRating(c Connection, top float64) (*rating, error) {
	if _, err := c.Pipes.Capacity(0.01); err != nil {
		return nil, fmt.Errorf("storage: connection: %w", err)
	}
	for _, e := range []error{
		hydro.Check("length of the connection", float64(c.Length), hydro.Positive, 1e5, "m", ""),
		hydro.Check("upper invert of the connection", float64(c.InvertUp), -1e4, 1e4, "m", ""),
		hydro.Check("lower invert of the connection", float64(c.InvertDown), -1e4, 1e4, "m", ""),
		hydro.Check("loss coefficients of the connection", c.Losses, 0, 1000, "", ""),
	} {
		if e != nil {
			return nil, fmt.Errorf("storage: %w", e)
		}
	}
	r := &rating{up: float64(c.InvertUp), down: float64(c.InvertDown), valve: c.Valve, limit: math.Inf(1)}
	if c.Limit != nil {
		if err := hydro.Check("flow limit of the structure", float64(*c.Limit), 0, 1e4, "m3/s", ""); err != nil {
			return nil, fmt.Errorf("storage: %w", err)
		}
		r.limit = float64(*c.Limit)
	}
	l := float64(c.Length)
	// Pipes side by side share one head: their C add up.
	for _, p := range c.Pipes {
		s, _ := pipe.Circle(p.Diameter, p.Diameter)
		kf, a := s.Conveyance(p.N), float64(s.Area)
		r.c += 1 / math.Sqrt(l/(kf*kf)+c.Losses/(2*hydro.Gravity*a*a))
		r.d = math.Max(r.d, float64(p.Diameter))
	}
	r.lowerCrown = r.down + r.d
	return r, r.tabulate(c, math.Max(top-r.up, 4*r.d))
}

// tabulate works the level over the upper invert for rising flows with a free
// outfall, by gradeline, and turns the table round to flow over level.
func (r *rating) tabulate(c Connection, high float64) error {
	line := gradeline.Network{
		Nodes: []gradeline.Node{{Name: "structure"}, {Name: "storage", Kind: gradeline.Open, Entrance: math.Min(math.Max(c.Losses-1, 0), 10)}},
		Runs:  []gradeline.Run{{Name: "connection", From: 1, To: 0, Pipes: c.Pipes, Length: c.Length, InvertUp: c.InvertUp, InvertDown: c.InvertDown}},
	}
	// The greatest flow of interest: the whole height as velocity head in the mouth.
	most := 0.0
	for _, p := range c.Pipes {
		s, _ := pipe.Circle(p.Diameter, p.Diameter)
		most += float64(s.Area) * math.Sqrt(2*hydro.Gravity*high)
	}
	const n, flows = 512, 300
	r.step, r.free = high/n, make([]float64, n+1)
	y0, q0, at := 0.0, 0.0, 1
	for i := 0; i <= flows && at <= n; i++ {
		q := most * math.Pow(10, 6*(float64(i)/flows-1))
		line.Runs[0].Flow = hydro.Flow(q)
		g, err := gradeline.Solve(line)
		if err != nil {
			return fmt.Errorf("storage: connection: %w", err)
		}
		y := math.Max(float64(g.Nodes[1].Level)-r.up, y0)
		for ; at <= n && float64(at)*r.step <= y; at++ {
			f := 1.0
			if y > y0 {
				f = (float64(at)*r.step - y0) / (y - y0)
			}
			r.free[at] = q0 + f*(q-q0)
		}
		y0, q0 = y, q
	}
	for ; at <= n; at++ {
		r.free[at] = q0
	}
	return nil
}

func (r *rating) freeAt(y float64) float64 {
	if y <= 0 {
		return 0
	}
	x := y / r.step
	i := int(x)
	if i >= len(r.free)-1 {
		return r.free[len(r.free)-1]
	}
	return r.free[i] + (x-float64(i))*(r.free[i+1]-r.free[i])
}

// flow is positive to the structure. It never falls with h and never rises with w.
func (r *rating) flow(h, w float64) float64 {
	if h >= w {
		q := math.Min(r.freeAt(h-r.up), r.limit)
		if w > r.lowerCrown || w > r.up {
			q = math.Min(q, r.c*math.Sqrt(h-w))
		}
		return q
	}
	if r.valve || w <= r.up {
		return 0
	}
	return -math.Min(r.freeAt(w-r.up), r.c*math.Sqrt(w-math.Max(h, r.up)))
}

// Run balances the trench through the case, step by step, each solved for the
// level at its end:
//
//	V(h) - V(before) = dt (inflow - q(h, w) - soak - spill(h))
//
// inflow is the hydrograph's exact mean over the step; spill is a weir at each rim
// (HEC22). Solved so that the balance closes within 0.1 % of what came in, which
// Result.Error states; a balance that does not is an error. Faulty input is an
// error that names what. Cost: about a tenth of a microsecond a step.
func Run(t Trench, c Case) (Result, error) {
	s, err := newRun(t, c)
	if err != nil {
		return Result{}, err
	}
	return s.run()
}

// WithAndWithout runs the case twice, without and with a backwater valve on the
// connection, whatever the trench says of one.
func WithAndWithout(t Trench, c Case) (without, with Result, err error) {
	t.Outlet.Valve = false
	if without, err = Run(t, c); err != nil {
		return without, with, err
	}
	t.Outlet.Valve = true
	with, err = Run(t, c)
	return without, with, err
}

type run struct {
	t       Trench
	c       Case
	r       *rating
	rims    []float64
	edges   []float64
	lowest  float64
	soak    float64
	bottom  float64
	dt      float64 // s
	res     Result
	h, v    float64
	inAt    int
	cum     []float64 // volume of the hydrograph to each ordinate
	outAt   int
	watched float64
}

func newRun(t Trench, c Case) (*run, error) {
	if len(t.Store.volumes) == 0 {
		return nil, fmt.Errorf("storage: the storage is empty; make it with Tabulate")
	}
	if err := c.Inflow.Check(); err != nil {
		return nil, fmt.Errorf("storage: inflow: %w", err)
	}
	for _, e := range []error{
		hydro.Check("number of spill points", float64(len(t.Spills)), 1, 1e5, "", ""),
		hydro.Check("number of outlet levels", float64(len(c.Outside)), 1, 1e7, "", ""),
		hydro.Check("time step", float64(c.Step), 1e-4, 60, "min", ""),
		hydro.Check("end of the run", float64(c.End), float64(c.Step), 1e6, "min", ""),
		hydro.Check("number of steps", float64(c.End/c.Step), 1, 2e7, "", ""),
		hydro.Check("soaking flow", float64(t.Soak), 0, 10, "m3/s", ""),
		hydro.Check("spacing of the series", float64(c.Record), 0, 1e6, "min", ""),
	} {
		if e != nil {
			return nil, fmt.Errorf("storage: %w", e)
		}
	}
	s := &run{t: t, c: c, soak: float64(t.Soak), bottom: t.Store.bottom, dt: float64(c.Step) * 60, lowest: math.Inf(1)}
	highest := math.Inf(-1)
	for i, sp := range t.Spills {
		if err := hydro.Check("rim of spill point "+sp.Name, float64(sp.Rim), s.bottom, 1e4, "m", ""); err != nil {
			return nil, fmt.Errorf("storage: %w", err)
		}
		if err := hydro.Check("edge of spill point "+sp.Name, float64(sp.Edge), 0.001, 1e4, "m", ""); err != nil {
			return nil, fmt.Errorf("storage: %w", err)
		}
		if err := hydro.Check("rise at spill point "+sp.Name, float64(sp.Rise), 0, float64(sp.Rim)-s.bottom, "m", ""); err != nil {
			return nil, fmt.Errorf("storage: %w", err)
		}
		s.rims, s.edges = append(s.rims, float64(sp.Rim)-float64(sp.Rise)), append(s.edges, float64(sp.Edge))
		s.lowest, highest = math.Min(s.lowest, s.rims[i]), math.Max(highest, s.rims[i])
	}
	for i, o := range c.Outside {
		least := -hydro.Huge
		if i > 0 {
			least = math.Nextafter(float64(c.Outside[i-1].At), hydro.Huge)
		}
		if err := hydro.Check("time of an outlet level (must rise)", float64(o.At), least, 1e7, "min", ""); err != nil {
			return nil, fmt.Errorf("storage: %w", err)
		}
		if err := hydro.Check("outlet level", float64(o.Level), -1e4, 1e4, "m", ""); err != nil {
			return nil, fmt.Errorf("storage: %w", err)
		}
		highest = math.Max(highest, float64(o.Level))
	}
	var err error
	if s.r, err = newRating(t.Outlet, highest+2); err != nil {
		return nil, err
	}
	s.cum = make([]float64, len(c.Inflow))
	for i := 1; i < len(c.Inflow); i++ {
		a, b := c.Inflow[i-1], c.Inflow[i]
		s.cum[i] = s.cum[i-1] + float64(b.At-a.At)*60*float64(a.Flow+b.Flow)/2
	}
	s.watched = s.r.up + s.r.d
	if c.Watch != nil {
		s.watched = float64(*c.Watch)
	}
	s.h = s.bottom
	if t.Initial != nil {
		if err := hydro.Check("level at the start", float64(*t.Initial), s.bottom, 1e4, "m", ""); err != nil {
			return nil, fmt.Errorf("storage: %w", err)
		}
		s.h = float64(*t.Initial)
	}
	return s, nil
}

// inflowTo is the volume of the hydrograph up to a time; times come in rising.
func (s *run) inflowTo(t hydro.Duration) float64 {
	h := s.c.Inflow
	if len(h) == 0 || t <= h[0].At {
		return 0
	}
	for s.inAt+1 < len(h) && h[s.inAt+1].At <= t {
		s.inAt++
	}
	i := s.inAt
	if i+1 >= len(h) {
		return s.cum[len(h)-1]
	}
	a, b := h[i], h[i+1]
	f := float64((t - a.At) / (b.At - a.At))
	q := float64(a.Flow) + f*float64(b.Flow-a.Flow)
	return s.cum[i] + float64(t-a.At)*60*(float64(a.Flow)+q)/2
}

func (s *run) outside(t hydro.Duration) float64 {
	o := s.c.Outside
	for s.outAt+1 < len(o) && o[s.outAt+1].At <= t {
		s.outAt++
	}
	i := s.outAt
	if t <= o[i].At || i+1 >= len(o) {
		return float64(o[i].Level)
	}
	f := float64((t - o[i].At) / (o[i+1].At - o[i].At))
	return float64(o[i].Level) + f*float64(o[i+1].Level-o[i].Level)
}

func (s *run) spill(h float64) float64 {
	if h <= s.lowest {
		return 0
	}
	q := 0.0
	for i, rim := range s.rims {
		if d := h - rim; d > 0 {
			q += weir * s.edges[i] * d * math.Sqrt(d)
		}
	}
	return q
}

// soaked is the seepage, faded out over the last centimetre so that an empty
// trench gives none.
func (s *run) soaked(h float64) float64 {
	if s.soak == 0 {
		return 0
	}
	return s.soak * math.Min(1, math.Max(0, (h-s.bottom)/0.01))
}

// step solves one step for the level at its end by false position (Illinois),
// which keeps the root between its ends.
func (s *run) step(in, w float64) (float64, error) {
	f := func(h float64) float64 {
		return s.t.Store.at(h) - s.v - in + s.dt*(s.r.flow(h, w)+s.soaked(h)+s.spill(h))
	}
	const tol = 1e-10 // m3
	a := s.h
	fa := f(a)
	if math.Abs(fa) <= tol {
		return a, nil
	}
	// Bracket: walk from where the level is.
	b, fb := a, fa
	for d := 1e-4; ; d *= 4 {
		if fa < 0 {
			b = a + d
		} else {
			b = math.Max(a-d, s.bottom)
		}
		fb = f(b)
		if (fb < 0) != (fa < 0) {
			break
		}
		if b == s.bottom {
			return b, nil // empty
		}
		if d > 1000 {
			return 0, fmt.Errorf("storage: the inflow stands more than 1000 m over the rims; check flow and edge lengths")
		}
	}
	for i := 0; i < 100; i++ {
		m := (a*fb - b*fa) / (fb - fa)
		fm := f(m)
		if math.Abs(fm) <= tol || math.Abs(b-a) < 1e-13 {
			return nearest(f, m, s.h, tol), nil
		}
		if (fm < 0) == (fb < 0) {
			fa /= 2
		} else {
			a, fa = b, fb
		}
		b, fb = m, fm
	}
	return b, nil
}

// nearest is, of the levels between root and from that balance alike, the one
// nearest to from. Over a full store no water is held between two levels: the
// level then goes only as far as the flow makes it go.
func nearest(f func(float64) float64, root, from, tol float64) float64 {
	if d := from - root; math.Abs(d) < 1e-3 || math.Abs(f(root+math.Copysign(1e-4, d))) > tol {
		return root
	}
	for math.Abs(from-root) > 1e-6 {
		m := (root + from) / 2
		if math.Abs(f(m)) <= tol {
			root = m
		} else {
			from = m
		}
	}
	return root
}

func (s *run) run() (Result, error) {
	r := &s.res
	n := int(math.Round(float64(s.c.End / s.c.Step)))
	record := max(n/240, 1)
	if s.c.Record > 0 {
		record = max(int(math.Round(float64(s.c.Record/s.c.Step))), 1)
	}
	r.SpillVolumes = make([]hydro.Volume, len(s.rims))
	s.v = s.t.Store.at(s.h)
	v0 := s.v
	w := s.outside(0)
	highest, lowestW := w, w
	r.PeakLevel, r.Series = unit.Elevation(s.h), append(r.Series, Row{0, unit.Elevation(s.h), unit.Elevation(w), s.c.Inflow.At(0), hydro.Flow(s.r.flow(s.h, w)), hydro.Volume(s.v)})
	last := s.inflowTo(0)
	var fromSewer, toSewer, inflow, over, soaked float64
	endOfInflow := hydro.Duration(0)
	if k := len(s.c.Inflow); k > 0 {
		endOfInflow = s.c.Inflow[k-1].At
	}
	for i := 1; i <= n; i++ {
		t := hydro.Duration(i) * s.c.Step
		cum := s.inflowTo(t)
		in := cum - last
		last = cum
		w = s.outside(t)
		highest, lowestW = math.Max(highest, w), math.Min(lowestW, w)
		h, err := s.step(in, w)
		if err != nil {
			return Result{}, err
		}
		q := s.r.flow(h, w)
		if q < 0 {
			fromSewer -= q * s.dt
		} else {
			toSewer += q * s.dt
		}
		inflow += in
		if s.soak > 0 {
			soaked += s.soaked(h) * s.dt
		}
		if h > s.lowest {
			over += s.spill(h) * s.dt
			s.spilled(h, t)
		}
		s.h, s.v = h, s.t.Store.at(h)
		if h > float64(r.PeakLevel) {
			r.PeakLevel, r.PeakAt = unit.Elevation(h), t
		}
		if h > s.watched {
			r.MinutesAbove += s.c.Step
		}
		if r.EmptyAfter == nil && t >= endOfInflow && h <= math.Max(s.r.up, s.bottom)+0.001 {
			e := t - endOfInflow
			r.EmptyAfter = &e
		} else if r.EmptyAfter != nil && h > math.Max(s.r.up, s.bottom)+0.005 {
			r.EmptyAfter = nil // filled again, from the sewer
		}
		if i%record == 0 || i == n {
			r.Series = append(r.Series, Row{t, unit.Elevation(h), unit.Elevation(w), hydro.Flow(in / s.dt), hydro.Flow(q), hydro.Volume(s.v)})
		}
	}
	r.FromSewer, r.ToSewer, r.Inflow = hydro.Volume(fromSewer), hydro.Volume(toSewer), hydro.Volume(inflow)
	r.Overflow, r.Soaked, r.StoredChange = hydro.Volume(over), hydro.Volume(soaked), hydro.Volume(s.v-v0)
	came := inflow + fromSewer + math.Max(0, v0)
	if came > 0 {
		r.Error = (inflow + fromSewer - toSewer - over - soaked - (s.v - v0)) / came
	}
	if math.Abs(r.Error) > 0.001 {
		return Result{}, fmt.Errorf("storage: the balance fails to close by %.3g of what came in; use a shorter step", r.Error)
	}
	s.volumes(highest)
	s.notes(highest, lowestW)
	return *r, nil
}

func (s *run) spilled(h float64, t hydro.Duration) {
	first := -1
	for i, rim := range s.rims {
		if d := h - rim; d > 0 {
			s.res.SpillVolumes[i] += hydro.Volume(weir * s.edges[i] * d * math.Sqrt(d) * s.dt)
			if first < 0 || rim < s.rims[first] {
				first = i
			}
		}
	}
	if s.res.FirstSpillAt == nil {
		s.res.FirstSpill, s.res.FirstSpillAt = s.t.Spills[first].Name, &t
	}
}

// volumes says how much of the void below the lowest rim the lot can use: without
// a valve only what lies above the structure's highest water, with one all that
// was empty at the start.
func (s *run) volumes(highest float64) {
	all := s.t.Store.at(s.lowest)
	s.res.VoidVolume = hydro.Volume(all)
	start := float64(s.res.Series[0].Stored)
	taken := start
	if !s.r.valve && highest > s.r.up {
		taken = math.Max(taken, s.t.Store.at(math.Min(highest, s.lowest)))
	}
	s.res.UsableVolume = hydro.Volume(math.Max(0, all-taken))
}

func (s *run) notes(highest, lowestW float64) {
	r := &s.res
	note := func(code, src, format string, args ...any) {
		r.Notes = append(r.Notes, hydro.Note{Code: code, Source: src, Text: fmt.Sprintf(format, args...)})
	}
	if highest > s.lowest && lowestW > s.lowest {
		note(NoteOutsideRim, "", "the structure's water stands above every rim all the time: without a valve the lot is fed from the sewer, with one nothing drains")
	}
	if r.FromSewer > 0 && float64(r.UsableVolume) < 0.5*float64(r.VoidVolume) {
		note(NoteNoRelief, "", "of %.2f m3 of voids the sewer's own water takes all but %.2f m3: they are no relief without a valve", r.VoidVolume, r.UsableVolume)
	}
	if r.Overflow > 0 {
		note(NoteSpilled, source.HEC22, "%.2f m3 come out, first at %s after %.1f min", r.Overflow, r.FirstSpill, *r.FirstSpillAt)
	}
	if r.EmptyAfter == nil {
		note(NoteNotEmpty, "", "at the end of %.0f min the water still stands %.3f m over the connection's invert", s.c.End, s.h-s.r.up)
	}
	if s.r.up > s.bottom+0.01 && s.soak == 0 {
		note(NoteDeadBelow, "", "%.2f m3 lie below the connection and drain only into the soil, which is not counted", s.t.Store.at(s.r.up))
	}
}
