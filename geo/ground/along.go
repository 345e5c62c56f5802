package ground

// From the stretches of a line that lie in faces of a surface to a profile.

import (
	"cmp"
	"math"
	"slices"

	"github.com/paulmach/orb"

	"fallwright/geo/unit"
)

// piece is a stretch of a segment, from and to in 0..1, within one face.
type piece struct {
	from, to float64
	face     int32
}

// same is the distance under which two stations are one.
const same = 1e-6

// along makes the profile of a line: faces gives the pieces of a segment p-q
// of length n, in any order; level the ground in a face.
func along(line orb.LineString, faces func(p, q orb.Point, n float64) []piece, level func(face int32, p orb.Point) Level) Profile {
	var out Profile
	done := 0.0
	add := func(d float64, p orb.Point, face int32) {
		s := out.Stations
		if len(s) > 0 && d-float64(s[len(s)-1].Distance) < same {
			return
		}
		l := level(face, p)
		out.Stations = append(s, Station{unit.Length(d), p, l.Elevation, l.StdErr})
	}
	gap := func(from, to float64) {
		if to-from < same {
			return
		}
		if g := out.Gaps; len(g) > 0 && from-float64(g[len(g)-1].To) < same {
			g[len(g)-1].To = unit.Length(to)
			return
		}
		out.Gaps = append(out.Gaps, Gap{unit.Length(from), unit.Length(to)})
	}
	for i := 1; i < len(line); i++ {
		p, q := line[i-1], line[i]
		n := math.Hypot(q[0]-p[0], q[1]-p[1])
		if n == 0 || math.IsNaN(n) {
			continue
		}
		list := faces(p, q, n)
		slices.SortFunc(list, func(a, b piece) int { return cmp.Or(cmp.Compare(a.from, b.from), cmp.Compare(b.to, a.to)) })
		point := func(t float64) orb.Point {
			if t >= 1 {
				return q
			}
			return orb.Point{p[0] + t*(q[0]-p[0]), p[1] + t*(q[1]-p[1])}
		}
		reach := 0.0
		for _, f := range list {
			if (f.from-reach)*n >= same {
				gap(done+reach*n, done+f.from*n)
			}
			if f.to < reach && f.from < reach { // a sliver beside the line, or a face that only touches it
				continue
			}
			add(done+f.from*n, point(f.from), f.face)
			if (f.to-f.from)*n > 2*same {
				doubt(p, q, n, done, f, level, add)
			}
			add(done+f.to*n, point(f.to), f.face)
			reach = math.Max(reach, f.to)
		}
		if (1-reach)*n >= same {
			gap(done+reach*n, done+n)
		} else if len(list) > 0 && len(out.Stations) > 0 {
			// the last station of a segment is its vertex, exactly
			s := &out.Stations[len(out.Stations)-1]
			s.Distance, s.At = unit.Length(done+n), q
		}
		done += n
	}
	out.Length = unit.Length(done)
	return out
}

// doubt adds a station where the standard error is greatest within a piece, if
// that is more than at both of its ends. The variance there is a quadratic
// function of the distance: three values give its top.
func doubt(p, q orb.Point, n, done float64, f piece, level func(int32, orb.Point) Level, add func(float64, orb.Point, int32)) {
	at := func(t float64) (orb.Point, float64) {
		x := orb.Point{p[0] + t*(q[0]-p[0]), p[1] + t*(q[1]-p[1])}
		s := float64(level(f.face, x).StdErr)
		return x, s * s
	}
	_, v0 := at(f.from)
	_, v1 := at((f.from + f.to) / 2)
	_, v2 := at(f.to)
	a := 2*v0 - 4*v1 + 2*v2
	b := 4*v1 - 3*v0 - v2
	if a >= 0 || b <= 0 || b >= -2*a {
		return
	}
	u := -b / (2 * a) // 0..1 within the piece
	t := f.from + u*(f.to-f.from)
	x, top := at(t)
	if math.Sqrt(top)-math.Sqrt(math.Max(v0, v2)) > 0.001 {
		add(done+t*n, x, f.face)
	}
}

// gaps lists the stretches of 0..1, longer than least, that no piece covers.
func gaps(list []piece, least float64) [][2]float64 {
	slices.SortFunc(list, func(a, b piece) int { return cmp.Compare(a.from, b.from) })
	var out [][2]float64
	reach := 0.0
	for _, f := range list {
		if f.from-reach > least {
			out = append(out, [2]float64{reach, f.from})
		}
		reach = math.Max(reach, f.to)
	}
	if 1-reach > least {
		out = append(out, [2]float64{reach, 1})
	}
	return out
}
