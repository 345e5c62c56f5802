// Package runoff turns rain into flow: the rational method, times of
// concentration, curve-number runoff and hydrographs.
//
// Areas are square metres, intensities millimetres an hour, flows cubic metres a
// second, times minutes. The room may import hydro, hydro/rain, hydro/source and
// geo/unit; it never sees where the area lies.
//
// The rational constant is exact, Q = C i A / 3.6e6 in these units; the US
// convention that drops the factor 1.0083 is 0.8 % lower.
//
// Sources: source.HEC22, source.HDS2 (rational method, kinematic wave),
// source.TR55, source.NEH630 (curve number, travel times), source.Kirpich1940,
// source.FAA1970, source.HABITAT1991.
package runoff
