package api

// Direct executions in three lanes, so that what answers in milliseconds does not
// stand behind what takes a second: checks and zones; quick plans; all others. A
// lane lets in one a thread (GOMAXPROCS, which the command serve sets to one more than
// there are processors); the last two let in one less, since each of theirs keeps a
// thread busy, and a check then finds one free. Imports go one at a time beside them:
// one may take as long as its file is large.

import (
	"context"
	"encoding/json"
)

type lanes struct{ short, quick, long, imports gate }

// newLanes makes the lanes; quick plans and long executions wait in one row, since
// which of them a body asks for shows only when it is looked into.
func newLanes(l Limits) lanes {
	busy := max(1, l.Concurrent-1)
	n := lanes{short: newGate(l.Concurrent, l.Waiting), long: newGate(busy, busy+l.Waiting), imports: newGate(1, l.Waiting)}
	n.quick = gate{make(chan struct{}, busy), n.long.waiting}
	return n
}

// before is the lane whose row a request to a process joins.
func (n lanes) before(p processKind) gate {
	if p.short {
		return n.short
	}
	return n.long
}

// of is the lane of an execution.
func (n lanes) of(e execution) gate {
	if g := n.before(e.process); e.process.id != "plan" {
		return g
	}
	var o struct {
		Quick  bool              `json:"quick"`
		Shared bool              `json:"shared"`
		WhatIf []json.RawMessage `json:"what_if"`
	}
	if json.Unmarshal(e.request.Options, &o) != nil { // which is told where they are read
		return n.long
	}
	if o.Quick && !o.Shared && len(o.WhatIf) == 0 {
		return n.quick
	}
	return n.long
}

// A gate lets so many in at once and so many wait; others are refused at once.
type gate struct {
	in, waiting chan struct{}
}

func newGate(in, waiting int) gate {
	return gate{make(chan struct{}, in), make(chan struct{}, in+waiting)}
}

// full says that whoever comes now would be refused.
func (g gate) full() bool { return len(g.waiting) == cap(g.waiting) }

func busy() error {
	return refuse("busy", "The service is busy. Send the request again, or send Prefer: respond-async.").retry(1)
}

// wait takes a place among those who wait, or is refused. give gives it back,
// whether or not its holder got in.
func (g gate) wait() (give func(), err error) {
	select {
	case g.waiting <- struct{}{}:
		return func() { <-g.waiting }, nil
	default:
		return nil, busy()
	}
}

// pass lets in one who has a place.
func (g gate) pass(ctx context.Context) (leave func(), err error) {
	select {
	case g.in <- struct{}{}:
		return func() { <-g.in }, nil
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

func (g gate) enter(ctx context.Context) (leave func(), err error) {
	give, err := g.wait()
	if err != nil {
		return nil, err
	}
	out, err := g.pass(ctx)
	if err != nil {
		give()
		return nil, err
	}
	return func() { out(); give() }, nil
}
