// Package pipe works steady uniform flow in circular pipes: geometry of the
// part-full section, Manning capacity and depth, critical depth, velocity and
// boundary shear, two or more pipes in one trench, and the table of stock pipes
// that carry a flow.
//
// Units are SI: metres, cubic metres a second, pascals. Roughness is held
// constant with depth, the assumption of the published tables; a few agencies
// let it vary. Use the inside diameter. The room may import hydro, hydro/source
// and geo/unit.
//
// A circular pipe carries up to 1.0757 of its full flow just under the crown,
// so a flow a little above full flow has two depths. Design on full flow; the
// lower depth is returned.
//
// Sources: source.Chow1959 (hydraulic elements), source.HEC22 (Manning forms,
// roughness), source.MerrittShear and source.ASCE60 (self-cleansing shear).
package pipe
