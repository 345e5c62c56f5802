package api

// Who may do what, cell by cell: every operation of the document, by every kind
// of caller, on a site of his own, another's and one that is not there. The table
// is written by hand from the role's words (reader reads; designer also runs
// processes and stores sites; admin also deletes them), not from the code.

import (
	"io"
	"strings"
	"testing"
	"time"

	"fallwright/openapi"
)

// authorisation has a row for each operation: the least role that may call it
// (empty: anyone, without a key), the request, and in place of {S} the site that
// it is about; {J} is a job.
var authorisation = []struct{ operation, least, what, body string }{
	{"getLandingPage", "", "GET /", ""},
	{"getOpenAPI", "", "GET /openapi.json", ""},
	{"getDocs", "", "GET /docs", ""},
	{"listProblems", "", "GET /problems", ""},
	{"getProblem", "", "GET /problems/busy", ""},
	{"getAsset", "", "GET /assets/style.css", ""},
	{"getConformance", "", "GET /conformance", ""},
	{"getPositions", "reader", "GET /positions?crs=EPSG:2274&at=2000000,500000", ""},
	{"getHealth", "", "GET /healthz", ""},
	{"getReadiness", "", "GET /readyz", ""},
	{"getMetrics", "admin", "GET /metrics", ""},
	{"listProcesses", "", "GET /processes", ""},
	{"getProcess", "", "GET /processes/plan", ""},
	{"executeZone", "designer", "POST /processes/zone/execution", `{"inputs":{"site":"{S}"}}`},
	{"executeCheck", "designer", "POST /processes/check/execution", `{"inputs":{"site":"{S}"}}`},
	{"executePlan", "designer", "POST /processes/plan/execution", `{"inputs":{"site":"{S}"}}`},
	{"executeGround", "designer", "POST /processes/ground/execution", `{"inputs":{"site":"{S}"}}`},
	{"executeAudit", "designer", "POST /processes/audit/execution", `{"inputs":{"site":"{S}"}}`},
	{"executeAsBuilt", "designer", "POST /processes/asbuilt/execution", `{"inputs":{"site":"{S}","plan":{P}}}`},
	{"executeSteps", "designer", "POST /processes/steps/execution", `{"inputs":{"site":"{S}","plan":{P}}}`},
	{"executeSheet", "designer", "POST /processes/sheet/execution", `{"inputs":{"site":"{S}","plan":{P},"options":{"kind":"plan","format":"pdf"}}}`},
	{"listJobs", "reader", "GET /jobs", ""},
	{"getJob", "reader", "GET /jobs/{J}", ""},
	{"getJobResults", "reader", "GET /jobs/{J}/results", ""},
	{"getJobEvents", "reader", "GET /jobs/{J}/events", ""},
	{"dismissJob", "designer", "DELETE /jobs/{J}", ""},
	{"listCollections", "reader", "GET /collections", ""},
	{"getCollection", "reader", "GET /collections/parcels", ""},
	{"getItems", "reader", "GET /collections/parcels/items?site={S}", ""},
	{"getItem", "reader", "GET /collections/parcels/items/{S}:p0", ""},
	{"listSites", "reader", "GET /sites", ""},
	{"putSite", "designer", "POST /sites?replace=true", "{LOTS}"},
	{"getSite", "reader", "GET /sites/{S}", ""},
	{"getSiteDocument", "reader", "GET /sites/{S}/document", ""},
	{"getSiteHistory", "reader", "GET /sites/{S}/history", ""},
	{"getSiteSheet", "designer", "GET /sites/{S}/sheets/plan.pdf", ""},
	{"getTile", "reader", "GET /sites/{S}/tiles/0/0/0.mvt", ""},
	{"deleteSite", "admin", "DELETE /sites/{S}", ""},
}

func TestHandAuthorisation(t *testing.T) {
	now := time.Date(2026, 5, 1, 0, 0, 0, 0, time.UTC)
	past := now.Add(-time.Second)
	rank := map[string]int{"": 0, "reader": 1, "designer": 2, "admin": 3}
	keys := map[string]string{"none": "", "wrong": "fw_wrong"}
	c := newClient(t, func(o *Options) {
		o.Now = func() time.Time { return now }
		for _, k := range []Key{
			{ID: "reader", Role: "reader", Sites: []string{"mine", "absent"}},
			{ID: "designer", Role: "designer", Sites: []string{"mine", "absent"}},
			{ID: "admin", Role: "admin", Sites: []string{"mine", "absent"}},
			{ID: "everywhere", Role: "admin", Sites: []string{"*"}},
			{ID: "expired", Role: "admin", Sites: []string{"*"}, Expires: &past},
		} {
			keys[k.ID], k.Hash = NewKey()
			o.Config.Keys = append(o.Config.Keys, k)
		}
	})
	as := func(who string) header {
		if keys[who] == "" {
			return header{}
		}
		return header{"Authorization": "Bearer " + keys[who]}
	}
	// job makes one that is finished, of the caller's.
	job := func(who, site string) string {
		j := read[statusInfo](t, c.do("POST /processes/zone/execution", `{"inputs":{"site":"`+site+`"}}`, as(who), header{"Prefer": "respond-async"}))
		waitFor(t, func() bool {
			return read[statusInfo](t, c.do("GET /jobs/"+j.JobID, nil, as("everywhere"))).Status == successful
		})
		return j.JobID
	}
	rows := map[string]bool{}
	cells, right := 0, 0
	for _, row := range authorisation {
		rows[row.operation] = true
		scoped := strings.Contains(row.what+row.body, "{S}") || row.body == "{LOTS}"
		ofJob := strings.Contains(row.what, "{J}")
		scopes := []string{"-"}
		switch {
		case scoped:
			scopes = []string{"mine", "yours", "absent"}
		case ofJob:
			scopes = []string{"mine", "yours"} // the caller's own job, another's
		}
		for _, who := range []string{"none", "wrong", "expired", "reader", "designer", "admin", "everywhere"} {
			role := map[string]string{"reader": "reader", "designer": "designer", "admin": "admin", "everywhere": "admin"}[who]
			for _, scope := range scopes {
				if ofJob && scope == "mine" && rank[role] < rank["designer"] {
					continue // has no job of his own
				}
				if scoped || ofJob {
					for _, s := range []string{"mine", "yours"} {
						if res := c.do("POST /sites?replace=true", lotField(s, 1), as("everywhere")); res.StatusCode != 200 && res.StatusCode != 201 {
							t.Fatalf("%s: %d", s, res.StatusCode)
						}
					}
				}
				fill := []string{"{S}", scope, "{P}", string(example(t, "plan"))}
				if ofJob {
					owner := "everywhere"
					switch {
					case scope == "mine":
						owner = who
					case who == "everywhere":
						owner = "designer"
					}
					fill = append(fill, "{J}", job(owner, "mine"))
				}
				r := strings.NewReplacer(fill...)
				var body any
				switch row.body {
				case "":
				case "{LOTS}":
					body = lotField(scope, 1)
				default:
					body = r.Replace(row.body)
				}
				res := c.do(r.Replace(row.what), body, as(who))
				text, _ := io.ReadAll(res.Body)
				// a key that is sent and wrong is refused everywhere
				status, slug := 200, ""
				switch {
				case who == "wrong" || who == "expired", who == "none" && row.least != "":
					status, slug = 401, "key-missing"
				case rank[role] < rank[row.least]:
					status, slug = 403, "role-too-low"
				case scoped && scope == "yours" && who != "everywhere":
					status, slug = 404, "not-found"
				case scoped && scope == "absent" && row.operation != "putSite":
					status, slug = 404, "not-found"
				case ofJob && scope == "yours" && role != "admin":
					status, slug = 404, "not-found"
				}
				cells++
				switch {
				case status == 200 && res.StatusCode/100 == 2, res.StatusCode == status && strings.Contains(string(text), `"/problems/`+slug+`"`):
					right++
				default:
					t.Errorf("%s by %s on %s: %d %.300s, want %d %s", row.operation, who, scope, res.StatusCode, text, status, slug)
				}
				if scope == "absent" && row.operation == "putSite" && res.StatusCode/100 == 2 {
					c.want(c.do("DELETE /sites/absent", nil, as("everywhere")), 204, "")
				}
			}
		}
	}
	for _, op := range openapi.Operations() {
		if !rows[op.ID] {
			t.Errorf("operation %s has no row in the table", op.ID)
		}
	}
	t.Logf("%d of %d cells right: %d operations, 7 callers, on a site of their own, another's, none", right, cells, len(rows))
}
