package parcels

// What is found wrong or uncertain, and the verdict that follows from it.

import "github.com/paulmach/orb"

// Severity ranks a finding.
type Severity string

const (
	// Stop: a criterion or prohibition is broken.
	Stop Severity = "stop"
	// Warn: permission, unknown water level, submerged entry, not proven and the like.
	Warn Severity = "warn"
	// Note: worth knowing; changes no verdict.
	Note Severity = "note"
)

// Finding is one thing found about a yard, a layer or a run. Location is in
// the site's plane; package document turns it into the output's system.
type Finding struct {
	Code     string     `json:"code"`
	Severity Severity   `json:"severity"`
	Message  string     `json:"message"`
	Lot      string     `json:"lot,omitempty"`
	Feature  string     `json:"feature,omitempty"`
	Measured *float64   `json:"measured,omitempty"`
	Required *float64   `json:"required,omitempty"`
	Unit     string     `json:"unit,omitempty"`
	Source   string     `json:"source,omitempty"`
	Location *orb.Point `json:"location,omitempty"`
	// NotProven marks a finding that keeps a verdict from feasible; Cure says
	// what would settle it.
	NotProven bool   `json:"not_proven,omitempty"`
	Cure      string `json:"cure,omitempty"`
}

// Num returns a pointer to v, for the optional numbers of findings and rows.
func Num[T any](v T) *T { return &v }

// Verdict is the answer to "can this be built under the criteria".
type Verdict string

const (
	// Feasible: no stop, every intake joined, verification passed.
	Feasible Verdict = "feasible"
	// NotProven: as Feasible, but rests on something to be measured or confirmed.
	NotProven Verdict = "not_proven"
	// NotFeasible: a stop stands.
	NotFeasible Verdict = "not_feasible"
)

// Judge derives the verdict from findings alone: any stop is NotFeasible, any
// finding marked NotProven makes NotProven, else Feasible. It returns the
// messages of the stops and the cures, in order, without repeats.
func Judge(findings []Finding) (v Verdict, whyNot, cures []string) {
	v = Feasible
	seen := map[string]bool{}
	for _, f := range findings {
		if f.Severity == Stop {
			v = NotFeasible
			if !seen["w"+f.Message] {
				seen["w"+f.Message] = true
				whyNot = append(whyNot, f.Message)
			}
		}
		if f.NotProven && f.Severity != Stop {
			if v == Feasible {
				v = NotProven
			}
			if f.Cure != "" && !seen["c"+f.Cure] {
				seen["c"+f.Cure] = true
				cures = append(cures, f.Cure)
			}
		}
	}
	return v, whyNot, cures
}
