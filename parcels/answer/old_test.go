package answer_test

import (
	"context"
	"encoding/json"
	"slices"
	"testing"

	"fallwright/parcels"
	"fallwright/parcels/answer"
	"fallwright/parcels/asbuilt"
	"fallwright/parcels/document"
	"fallwright/sampledata"
)

// The old drain DR-C3 of the sample falls 2.2 ft over 98 ft in 4 in pipe, n 0.012:
//
//	slope 2.2/98.0 = 2.24 %; full 0.3117/0.012·0.1016^(8/3)·sqrt(0.0224) = 8.74 l/s
//
// and each thing said of it changes what is made of it.
func TestHandOldDrainOfSite(t *testing.T) {
	for _, c := range []struct {
		name  string
		props map[string]any
		want  asbuilt.Judgement
		code  string
	}{
		{"as it is", nil, asbuilt.Keep, asbuilt.CodeUnknown},
		{"inverts the other way round", map[string]any{"invert_up_ft": 542.45, "invert_down_ft": 544.65}, asbuilt.Abandon, asbuilt.CodeBackFall},
		{"no end found", map[string]any{"end": "not_found"}, asbuilt.Abandon, asbuilt.CodeNoOutlet},
		{"its end under water", map[string]any{"end": "open", "outlet_level_ft": 543.0}, asbuilt.Mend, asbuilt.CodeDrowned},
		{"a third more than it carries", map[string]any{"end": "open", "outlet_level_ft": 540.0, "flow_m3s": 0.0117}, asbuilt.Mend, asbuilt.CodeCapacity},
		{"three times what it carries", map[string]any{"end": "open", "outlet_level_ft": 540.0, "flow_m3s": 0.026}, asbuilt.Abandon, asbuilt.CodeCapacity},
		{"the grate lets in half", map[string]any{"end": "open", "outlet_level_ft": 540.0, "flow_m3s": 0.004, "intake_flow_m3s": 0.002}, asbuilt.Mend, asbuilt.CodeIntake},
	} {
		var doc map[string]any
		if err := json.Unmarshal(sampledata.StatePlane(), &doc); err != nil {
			t.Fatal(err)
		}
		for _, f := range doc["layers"].(map[string]any)["drains"].(map[string]any)["features"].([]any) {
			if p := f.(map[string]any)["properties"].(map[string]any); p["drain"] == "DR-C3" {
				for k, v := range c.props {
					p[k] = v
				}
			}
		}
		text, err := json.Marshal(doc)
		if err != nil {
			t.Fatal(err)
		}
		s, err := document.Read(text, document.Options{})
		if err != nil {
			t.Fatalf("%s: %v", c.name, err)
		}
		col, err := answer.Checks(context.Background(), s, answer.Options{Lots: []string{"C3"}})
		if err != nil {
			t.Fatalf("%s: %v", c.name, err)
		}
		i := slices.IndexFunc(col.Checks, func(r answer.CheckRow) bool { return r.Drain == "DR-C3" })
		if i < 0 || col.Checks[i].Condition == nil {
			t.Fatalf("%s: not looked into", c.name)
		}
		r := col.Checks[i].Condition
		if r.Judgement != c.want || !slices.ContainsFunc(r.Findings, func(f parcels.Finding) bool { return f.Code == c.code }) {
			t.Errorf("%s: %s, want %s with %s", c.name, r.Judgement, c.want, c.code)
			for _, f := range r.Findings {
				t.Logf("    %s %s: %s", f.Severity, f.Code, f.Message)
			}
		}
		if c.props == nil && (r.Capacity < 0.0086 || r.Capacity > 0.0089) {
			t.Errorf("carries %.5f m3/s full", float64(r.Capacity))
		}
	}
	// a drain that is proposed, or of unknown inverts, is not looked into
	s, err := document.Read(sampledata.StatePlane(), document.Options{})
	if err != nil {
		t.Fatal(err)
	}
	col, err := answer.Checks(context.Background(), s, answer.Options{})
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range col.Checks {
		if (r.Condition != nil) != (r.Drain == "DR-C3" || r.Drain == "DR-D1") {
			t.Errorf("%s: condition %+v", r.Drain, r.Condition)
		}
	}
}
