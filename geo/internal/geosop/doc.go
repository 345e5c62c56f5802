// Package geosop is the one room that calls GEOS.
//
// It takes and gives orb types in metres of the site's plane. It holds what is
// needed to call GEOS without harm: input is checked before (a NaN would kill
// the process, no recover helps), sizes are limited, a panic of the binding or
// a nil answer becomes an *Error, each call has a context to itself, and the C
// memory that Go's collector can't see is counted and given back.
//
// The binding leaks a context that is dropped (its handle table keeps it
// alive), so contexts are kept and used again; there are as many as calls have
// run at once. Broken in the binding below GEOS 3.12 and never to be used:
// PrepGeom.ContainsXY, PrepGeom.IntersectsXY, ConcaveHullByLength,
// DisjointSubsetUnion (a test shows it).
//
// It may import geo/unit, geo/shape, orb and the binding; it is pure: the kept
// contexts change no answer.
package geosop
