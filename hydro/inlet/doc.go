// Package inlet works where water goes in and where it comes out: grates and curb
// openings in a sag, gutters, emitters that open under head, and pumps where
// gravity fails.
//
// Lengths are metres, flows cubic metres a second. The room may import hydro,
// hydro/pipe, hydro/source and geo/unit.
//
// Sources: source.HEC22 and source.TxDOT (grates, curb openings, gutters);
// emitter and pump balances are energy equations with stated coefficients.
package inlet
