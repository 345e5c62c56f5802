// Package soilwater works the slow water: what the soil gives to a perforated run,
// how long a wet layer or a pond takes to go, and when a stone trench is the wrong
// tool.
//
// Conductivities are metres an hour, lengths metres, flows cubic metres a second,
// times minutes (hydro.Duration). The room may import hydro, hydro/source and
// geo/unit.
//
// Soil is known within a factor of ten at best, so conductivities come as a Range
// (low, likely, high) and answers carry it: see Over. All formulas take saturated,
// even soil; roots, cracks and fill break them both ways.
//
// Sources: source.Hooghoudt, source.MolenWesseling, source.USBR1993 (parallel
// drains), source.Bouwer1963 (falling water table), source.VanBeers1965 (drainable
// pores), source.NEH650 (drainage coefficient), source.Rawls1982,
// source.Rawls1998, source.PermClass (conductivities), source.YardPractice (cap and
// stone).
package soilwater
