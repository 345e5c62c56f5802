package api

// Reference systems at the border of the service: names as OGC writes them,
// transformation of positions and boxes by geo/frame.

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"strings"
	"sync"

	"github.com/paulmach/orb"

	"fallwright/geo/frame"
	"fallwright/parcels"
)

const (
	crs84     = "http://www.opengis.net/def/crs/OGC/1.3/CRS84"
	epsgURI   = "http://www.opengis.net/def/crs/EPSG/0/"
	latLonURI = epsgURI + "4326"
)

// crsURI is the OGC name of a system; "" is longitude, latitude.
func crsURI(code string) string {
	if i, err := frame.Lookup(code); err != nil || i.Geographic {
		return crs84
	}
	return epsgURI + strings.TrimPrefix(frame.Normalise(code), "EPSG:")
}

// A system is a reference system as a client named it. EPSG:4326 has latitude
// first there, CRS84 longitude.
type system struct {
	uri    string
	code   string // "" for longitude, latitude
	latLon bool
}

func systemOf(uri string) system {
	if uri == latLonURI {
		return system{uri, "", true}
	}
	code := frame.Normalise(uri)
	if i, err := frame.Lookup(code); err == nil && i.Geographic {
		code = ""
	}
	return system{uri, code, false}
}

// frames keeps one frame for each projected system. Only systems of stored
// sites and those offered get in, so it stays small.
type frames struct {
	mu sync.Mutex
	m  map[string]*frame.Frame
}

func newFrames() *frames { return &frames{m: map[string]*frame.Frame{}} }

func (f *frames) of(code string) (*frame.Frame, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if fr := f.m[code]; fr != nil {
		return fr, nil
	}
	fr, err := frame.New(code, orb.Bound{})
	if err != nil {
		return nil, err
	}
	f.m[code] = fr
	return fr, nil
}

// A move takes positions from one system to another; nil: they are the same.
type move func(orb.Point) orb.Point

// between gives the move from one system to another.
func (f *frames) between(from, to system) (move, error) {
	if from.code == to.code && from.latLon == to.latLon {
		return nil, nil
	}
	toLL := func(p orb.Point) orb.Point { return p }
	if from.code != "" {
		fr, err := f.of(from.code)
		if err != nil {
			return nil, err
		}
		toLL = func(p orb.Point) orb.Point { return fr.LonLat(fr.Plane(p)) }
	}
	fromLL := func(p orb.Point) orb.Point { return p }
	if to.code != "" {
		fr, err := f.of(to.code)
		if err != nil {
			return nil, err
		}
		fromLL = func(p orb.Point) orb.Point { return fr.Document(fr.FromLonLat(p)) }
	}
	return func(p orb.Point) orb.Point {
		if from.latLon {
			p[0], p[1] = p[1], p[0]
		}
		if from.code != to.code {
			p = fromLL(toLL(p))
		}
		if to.latLon {
			p[0], p[1] = p[1], p[0]
		}
		return p
	}, nil
}

// box takes a box to a system: the bounds of its edges there, cut to the area
// of use of the systems first. ok is false where nothing is left.
func (f *frames) box(b orb.Bound, from, to system) (out orb.Bound, ok bool, err error) {
	toLL, err := f.between(from, system{uri: crs84})
	if err != nil {
		return out, false, err
	}
	fromLL, err := f.between(system{uri: crs84}, to)
	if err != nil {
		return out, false, err
	}
	if from.latLon && to.code == "" && !to.latLon {
		return orb.Bound{Min: orb.Point{b.Min[1], b.Min[0]}, Max: orb.Point{b.Max[1], b.Max[0]}}, true, nil
	}
	if toLL == nil && fromLL == nil || from.code == to.code && !from.latLon {
		return b, true, nil
	}
	ll := b
	if toLL != nil {
		if ll, err = through(b, toLL); err != nil {
			return out, false, err
		}
	}
	if fromLL == nil {
		return ll, true, nil
	}
	info, err := frame.Lookup(to.code)
	if err != nil {
		return out, false, err
	}
	const more = 1 // degree around the area of use, where projections still hold
	area := orb.Bound{Min: orb.Point{max(info.West-more, -180), max(info.South-more, -89)}, Max: orb.Point{min(info.East+more, 180), min(info.North+more, 89)}}
	if info.West > info.East { // the area lies over the antimeridian
		area.Min[0], area.Max[0] = -180, 180
	}
	if !ll.Intersects(area) {
		return out, false, nil
	}
	ll.Min[0], ll.Min[1] = max(ll.Min[0], area.Min[0]), max(ll.Min[1], area.Min[1])
	ll.Max[0], ll.Max[1] = min(ll.Max[0], area.Max[0]), min(ll.Max[1], area.Max[1])
	out, err = through(ll, fromLL)
	return out, err == nil, err
}

// through moves a box by points along its edges; a curved edge bulges past
// them by far less than a 64th of the side.
func through(b orb.Bound, m move) (orb.Bound, error) {
	const steps = 16
	var out orb.Bound
	for i := range steps + 1 {
		t := float64(i) / steps
		x, y := b.Min[0]+t*(b.Max[0]-b.Min[0]), b.Min[1]+t*(b.Max[1]-b.Min[1])
		for _, p := range []orb.Point{{x, b.Min[1]}, {x, b.Max[1]}, {b.Min[0], y}, {b.Max[0], y}} {
			q := m(p)
			if math.IsNaN(q[0]+q[1]) || math.IsInf(q[0]+q[1], 0) {
				return out, refuse("parameter-invalid", "The box cannot be worked in the system of the collection; give a smaller one.")
			}
			if i == 0 && out == (orb.Bound{}) {
				out = orb.Bound{Min: q, Max: q}
			}
			out = out.Extend(q)
		}
	}
	return out, nil
}

// decimals that a tenth of a millimetre needs.
func (s system) decimals() int {
	if s.code == "" {
		return 9
	}
	return 4
}

// moveGeometry rewrites the positions of a GeoJSON geometry; heights and what
// else a position holds stay as they are.
func moveGeometry(geometry json.RawMessage, m move, decimals int) (json.RawMessage, error) {
	if m == nil || len(geometry) == 0 || string(geometry) == "null" {
		return geometry, nil
	}
	head, coordinates, ok := plainGeometry(geometry)
	if !ok {
		var g struct {
			Type        string            `json:"type"`
			Coordinates json.RawMessage   `json:"coordinates"`
			Geometries  []json.RawMessage `json:"geometries"`
		}
		if err := json.Unmarshal(geometry, &g); err != nil {
			return nil, fmt.Errorf("api: stored geometry: %w", err)
		}
		if g.Type == "GeometryCollection" {
			for i := range g.Geometries {
				part, err := moveGeometry(g.Geometries[i], m, decimals)
				if err != nil {
					return nil, err
				}
				g.Geometries[i] = part
			}
			return json.Marshal(map[string]any{"type": g.Type, "geometries": g.Geometries})
		}
		head, coordinates = fmt.Appendf(nil, `{"type":%q,"coordinates":`, g.Type), g.Coordinates
	}
	out := append(make([]byte, 0, len(geometry)+len(geometry)/4+8), head...)
	out, err := movePositions(out, coordinates, m, decimals)
	if err != nil {
		return nil, err
	}
	return append(out, '}'), nil
}

// plainGeometry cuts a geometry as the stores write it, type and coordinates
// with nothing between, so that it need not be parsed; ok is false for others.
func plainGeometry(geometry []byte) (head, coordinates []byte, ok bool) {
	const before, between = `{"type":"`, `","coordinates":`
	at := bytes.Index(geometry, []byte(between))
	if at < 0 || !bytes.HasPrefix(geometry, []byte(before)) || geometry[len(geometry)-1] != '}' || bytes.IndexByte(geometry[len(before):at], '"') >= 0 {
		return nil, nil, false
	}
	at += len(between)
	coordinates = geometry[at : len(geometry)-1]
	return geometry[:at], coordinates, bytes.IndexByte(coordinates, '"') < 0
}

// movePositions appends an array of positions, however deep, each moved.
func movePositions(out, c []byte, m move, decimals int) ([]byte, error) {
	for i := 0; i < len(c); i++ {
		b := c[i]
		if b == '[' {
			j := i + 1
			for j < len(c) && (c[j] == ' ' || c[j] == '\n' || c[j] == '\t' || c[j] == '\r') {
				j++
			}
			if j < len(c) && (c[j] == '-' || c[j] >= '0' && c[j] <= '9') {
				end := bytes.IndexByte(c[i:], ']') + i
				if end < i {
					return nil, fmt.Errorf("api: stored geometry: unclosed position")
				}
				first, rest, ok := bytes.Cut(c[i+1:end], []byte(","))
				if !ok {
					return nil, fmt.Errorf("api: stored geometry: position of one number")
				}
				second, more, higher := bytes.Cut(rest, []byte(","))
				x, err1 := strconv.ParseFloat(string(bytes.TrimSpace(first)), 64)
				y, err2 := strconv.ParseFloat(string(bytes.TrimSpace(second)), 64)
				if err1 != nil || err2 != nil {
					return nil, fmt.Errorf("api: stored geometry: position is no number")
				}
				q := m(orb.Point{x, y})
				if math.IsNaN(q[0]+q[1]) || math.IsInf(q[0]+q[1], 0) {
					return nil, refuse("parameter-invalid", "The features cannot be written in the system asked for; ask for another crs.")
				}
				out = strconv.AppendFloat(append(out, '['), q[0], 'f', decimals, 64)
				out = strconv.AppendFloat(append(out, ','), q[1], 'f', decimals, 64)
				if higher {
					out = append(append(out, ','), bytes.TrimSpace(more)...)
				}
				out = append(out, ']')
				i = end
				continue
			}
		}
		out = append(out, b)
	}
	return out, nil
}

// parseBox reads a bbox parameter.
func parseBox(text string) (orb.Bound, error) {
	bad := func() (orb.Bound, error) {
		return orb.Bound{}, refuse("parameter-invalid", "bbox is four numbers, least x, least y, greatest x, greatest y (or six, with heights), not %s.", parcels.Excerpt(text))
	}
	parts := strings.Split(text, ",")
	if len(parts) != 4 && len(parts) != 6 {
		return bad()
	}
	n := make([]float64, len(parts))
	for i, p := range parts {
		v, err := strconv.ParseFloat(strings.TrimSpace(p), 64)
		if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
			return bad()
		}
		n[i] = v
	}
	half := len(n) / 2
	b := orb.Bound{Min: orb.Point{n[0], n[1]}, Max: orb.Point{n[half], n[half+1]}}
	if b.Min[1] > b.Max[1] {
		return bad()
	}
	return b, nil
}
