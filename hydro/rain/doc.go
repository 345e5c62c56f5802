// Package rain gives rainfall intensity for a duration and a return period, from
// a depth-duration-frequency table, a fitted curve, or one stated intensity, and
// lays design storms out in time.
//
// Durations are minutes, return periods are average recurrence intervals in
// years, depths millimetres, intensities millimetres an hour. Between the nodes
// of a table depth is interpolated log-log; outside a table nothing is
// extrapolated: the value at the end is held and a hydro.Note says so, every
// time. The room may import hydro, hydro/source and the standard library; it
// parses bytes and opens no file.
//
// Sources: source.NOAA14 (tables), source.Wenzel1982, source.MinistryHealth
// (curves), source.Hydro35, source.NSPC2015 (short durations),
// source.AnnualSeries (annual to partial series).
package rain
