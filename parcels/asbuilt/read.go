package asbuilt

// Shots from a survey's point file, from a site document, and the report as
// JSON.

import (
	"encoding/json"
	"strconv"
	"strings"

	"github.com/paulmach/orb"

	"fallwright/geo/frame"
	"fallwright/geo/unit"
	"fallwright/parcels"
	"fallwright/parcels/document"
	"fallwright/parcels/exchange/survey"
)

// ReadPoints reads a point file (number, northing, easting, elevation,
// description) taken on the pipe. Coordinates are the document's; elevation is
// the length of one unit of elevation in the file. The file is read in the
// order northing, easting unless it names its columns: whether that was right is
// judged by Assess, which has a finding for it. The error is a
// *parcels.InputError with the line.
//
// A word of the description that is the name of a run says which run the shot
// is of.
func ReadPoints(text []byte, name string, elevation unit.Length, f *frame.Frame, plan *parcels.Plan, c parcels.Criteria) ([]Shot, []parcels.Finding, error) {
	file, err := survey.Read(text, name, survey.Options{ElevationUnit: elevation, Codes: c.Survey.Codes, MaxPoints: mostShots})
	if err != nil {
		return nil, nil, err
	}
	shots := make([]Shot, 0, len(file.Points))
	for _, p := range file.Points {
		s := Shot{ID: p.ID, At: p.At, Z: p.Z, Kind: p.Kind, Run: runNamed(plan, p.Description)}
		if f != nil {
			s.At = f.Plane(p.At)
		}
		shots = append(shots, s)
	}
	return shots, file.Findings, nil
}

// runNamed is the run of the plan that a description names, or empty.
func runNamed(plan *parcels.Plan, description string) string {
	if plan == nil {
		return ""
	}
	for _, w := range strings.FieldsFunc(description, func(r rune) bool { return r == ' ' || r == ',' || r == ';' || r == '\t' }) {
		if plan.Run(w) != nil {
			return w
		}
	}
	return ""
}

// FromSite takes the shots that a site document holds: every vertex with an
// elevation of a drain of status laid (a drain that has a run's name is of that
// run), its stated inverts where the vertices have none, and spots whose
// description begins with a code of inverts.
func FromSite(s *parcels.Site, plan *parcels.Plan) []Shot {
	var shots []Shot
	for i := range s.Drains {
		d := &s.Drains[i]
		if d.Status != "laid" || len(d.Line) == 0 {
			continue
		}
		run := runNamed(plan, d.ID)
		add := func(at orb.Point, z unit.Elevation, n string) {
			shots = append(shots, Shot{ID: d.ID + "/" + n, At: at, Z: &z, Run: run, Kind: "invert"})
		}
		if len(d.Z) == len(d.Line) {
			for k := range d.Line {
				add(d.Line[k], d.Z[k], strconv.Itoa(k))
			}
			continue
		}
		if d.InvertUp != nil {
			add(d.Line[0], *d.InvertUp, "up")
		}
		if d.InvertDown != nil {
			add(d.Line[len(d.Line)-1], *d.InvertDown, "down")
		}
	}
	for i := range s.Spots {
		p := &s.Spots[i]
		word, _, _ := strings.Cut(strings.TrimSpace(p.Description), " ")
		switch kind := s.Criteria.Survey.Codes[strings.ToUpper(word)]; kind {
		case "invert":
			z := p.Z
			shots = append(shots, Shot{ID: "spot " + strconv.Itoa(i), At: p.At, Z: &z, Run: runNamed(plan, p.Description), Kind: kind})
		}
	}
	return shots
}

// Document writes the report as JSON, places in the document's own system.
func (r *Report) Document(f *frame.Frame) ([]byte, error) {
	out := *r
	if f != nil {
		out.Findings = document.Findings(f, r.Findings)
	}
	return json.Marshal(&out)
}
