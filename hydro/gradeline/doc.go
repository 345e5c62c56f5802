// Package gradeline works the hydraulic grade line of a tree of pipe runs, from
// the water level at the outlet upward to every intake.
//
// Each run is worked as it flows: under pressure at its friction slope, or part
// full by gradually varied flow (backwater and drawdown curves towards normal
// depth, critical depth at a free end or where a steep pipe begins). At the
// nodes stand the losses: exit, bends, wyes by momentum, entrances. Every node
// gets a water level, set against its rim.
//
// Lengths and elevations are metres, flows cubic metres a second. The room may
// import hydro, hydro/pipe, hydro/source and geo/unit. Flows are steady: a
// structure that backs up in time belongs to hydro/storage.
//
// Where the method must choose it errs upward: conveyance is held at that of the
// full pipe (no credit for the peak under the crown), a steep run starts at
// critical depth, a junction never lowers the line, and spilling at a low rim
// does not relieve the levels above it.
//
// Sources: source.HEC22 (order of work, junction, bend), source.HDS5 and
// source.MSMA (entrances), source.TxDOT (the other starting rule),
// source.Chow1959 (gradually varied flow).
package gradeline
