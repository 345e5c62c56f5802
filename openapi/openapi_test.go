package openapi

import (
	"encoding/json"
	"reflect"
	"strings"
	"testing"

	"github.com/pb33f/libopenapi"
	validator "github.com/pb33f/libopenapi-validator"
	"github.com/pb33f/libopenapi-validator/schema_validation"
	"go.yaml.in/yaml/v3"

	"fallwright/parcels"
)

// TestOracleDocument: an independent reader of the specification finds both
// renderings valid against the schema that the OpenAPI initiative publishes.
func TestOracleDocument(t *testing.T) {
	for name, text := range map[string][]byte{"3.1": JSON(), "3.0": JSON30()} {
		doc, err := libopenapi.NewDocument(text)
		if err != nil {
			t.Fatal(name, err)
		}
		v, errs := validator.NewValidator(doc)
		if len(errs) > 0 {
			t.Fatal(name, errs)
		}
		ok, faults := v.ValidateDocument()
		for _, f := range faults {
			t.Errorf("%s: %s: %s", name, f.Message, f.Reason)
			for _, s := range f.SchemaValidationErrors {
				t.Errorf("  %s %s", s.KeywordLocation, s.Reason)
			}
		}
		if !ok && len(faults) == 0 {
			t.Errorf("%s: not valid", name)
		}
	}
}

// schemaOf says which schema each example is of.
var schemaOf = map[string]string{"site": "Site", "criteria": "Criteria", "execute": "Execute", "zone": "Zone",
	"check": "Check", "plan": "Plan", "audit": "Audit", "finding": "Finding", "problem": "Problem"}

func TestExamplesMatchTheirSchemas(t *testing.T) {
	doc, err := libopenapi.NewDocument(JSON())
	if err != nil {
		t.Fatal(err)
	}
	model, err := doc.BuildV3Model()
	if err != nil {
		t.Fatal(err)
	}
	entries, _ := examples.ReadDir("example")
	if len(entries) != len(schemaOf) {
		t.Errorf("%d examples, %d named", len(entries), len(schemaOf))
	}
	v := schema_validation.NewSchemaValidator()
	for name, schema := range schemaOf {
		text, err := Example(name)
		if err != nil {
			t.Error(err)
			continue
		}
		proxy := model.Model.Components.Schemas.GetOrZero(schema)
		if proxy == nil {
			t.Errorf("no schema %s", schema)
			continue
		}
		ok, faults := v.ValidateSchemaBytes(proxy.Schema(), text)
		if !ok {
			for _, f := range faults {
				for _, s := range f.SchemaValidationErrors {
					t.Errorf("%s: %s: %s", name, s.KeywordLocation, s.Reason)
				}
			}
			t.Errorf("%s does not match %s", name, schema)
		}
		// and the check can fail: the same text without its first needed member
		var m map[string]any
		_ = json.Unmarshal(text, &m)
		for _, need := range proxy.Schema().Required {
			delete(m, need)
			bad, _ := json.Marshal(m)
			if ok, _ := v.ValidateSchemaBytes(proxy.Schema(), bad); ok {
				t.Errorf("%s without %s still matches", name, need)
			}
			break
		}
	}
}

func schemas(t *testing.T) map[string]any {
	t.Helper()
	var doc struct {
		Components struct{ Schemas map[string]any }
	}
	if err := json.Unmarshal(JSON(), &doc); err != nil {
		t.Fatal(err)
	}
	return doc.Components.Schemas
}

// TestCriteriaKeys: the schema and the built-in criteria file have the same
// keys and the same defaults, both ways.
func TestCriteriaKeys(t *testing.T) {
	var file map[string]any
	if err := yaml.Unmarshal([]byte(parcels.CriteriaText()), &file); err != nil {
		t.Fatal(err)
	}
	var compare func(path string, file, schema map[string]any)
	compare = func(path string, file, schema map[string]any) {
		props, _ := schema["properties"].(map[string]any)
		for k := range props {
			if _, ok := file[k]; !ok {
				t.Errorf("%s%s is in the schema, not in the criteria file", path, k)
			}
		}
		for k, v := range file {
			p, ok := props[k].(map[string]any)
			if !ok {
				t.Errorf("%s%s is in the criteria file, not in the schema", path, k)
				continue
			}
			if m, ok := v.(map[string]any); ok && p["properties"] != nil {
				compare(path+k+".", m, p)
				continue
			}
			if d, ok := p["default"]; ok {
				got, _ := json.Marshal(d)
				want, _ := json.Marshal(v)
				if string(got) != string(want) {
					t.Errorf("%s%s: schema has default %s, criteria file %s", path, k, got, want)
				}
			} else if _, list := v.([]any); v != nil && !list && p["additionalProperties"] == nil {
				t.Errorf("%s%s: no default in the schema", path, k)
			}
		}
	}
	compare("", file, schemas(t)["Criteria"].(map[string]any))
}

// TestPlanMembers: each member that the plan's types write is in its schema.
func TestPlanMembers(t *testing.T) {
	all := schemas(t)
	for name, typ := range map[string]reflect.Type{
		"Plan": reflect.TypeFor[parcels.Plan](), "Summary": reflect.TypeFor[parcels.Summary](), "Frame": reflect.TypeFor[parcels.FrameStatement](),
		"Trench": reflect.TypeFor[parcels.Trench](), "Alternative": reflect.TypeFor[parcels.Alternative](), "WaterCase": reflect.TypeFor[parcels.WaterCase](), "Share": reflect.TypeFor[parcels.Share](), "Remedy": reflect.TypeFor[parcels.Remedy](),
		"Bound": reflect.TypeFor[parcels.Bound](), "RestsOn": reflect.TypeFor[parcels.RestsOn](), "Verification": reflect.TypeFor[parcels.Verification](),
		"Finding": reflect.TypeFor[parcels.Finding](), "Fault": reflect.TypeFor[parcels.Fault](), "SiteInfo": reflect.TypeFor[parcels.SiteInfo](),
		"NetworkPoint.properties": reflect.TypeFor[parcels.Point](), "NetworkRun.properties": reflect.TypeFor[parcels.Run](),
		"Audit": reflect.TypeFor[parcels.Audit](), "AuditRow": reflect.TypeFor[parcels.AuditRow](), "AuditShared": reflect.TypeFor[parcels.SharedRow](),
		"AuditInlet": reflect.TypeFor[parcels.InletRow](), "AuditTotals": reflect.TypeFor[parcels.AuditTotals](),
		"Quantities": reflect.TypeFor[parcels.Quantity](), "Profile.rows": reflect.TypeFor[parcels.ProfileRow](), "Verification.checks": reflect.TypeFor[parcels.Check](),
	} {
		schema, part, _ := strings.Cut(name, ".")
		s := all[schema].(map[string]any)
		props := s["properties"].(map[string]any)
		if part != "" {
			sub := props[part].(map[string]any)
			if items, ok := sub["items"].(map[string]any); ok {
				sub = items
			}
			props = sub["properties"].(map[string]any)
		}
		for i := range typ.NumField() {
			key, _, _ := strings.Cut(typ.Field(i).Tag.Get("json"), ",")
			if key == "-" || key == "" {
				continue
			}
			if props[key] == nil {
				t.Errorf("%s: the schema lacks %q", name, key)
			}
		}
	}
}

// TestLayers: a layer of the domain is a layer of the document, both ways.
func TestLayers(t *testing.T) {
	all := schemas(t)
	props := all["Layers"].(map[string]any)["properties"].(map[string]any)
	enum := map[string]bool{}
	for _, v := range all["LayerName"].(map[string]any)["enum"].([]any) {
		enum[v.(string)] = true
	}
	for _, l := range parcels.Layers {
		if props[string(l)] == nil || !enum[string(l)] {
			t.Errorf("layer %s is not in the document", l)
		}
	}
	if len(props) != len(parcels.Layers) || len(enum) != len(parcels.Layers) {
		t.Errorf("document has %d layers and %d names, domain %d", len(props), len(enum), len(parcels.Layers))
	}
}

// TestLint: the rules that a reader of the document counts on.
func TestLint(t *testing.T) {
	var doc struct {
		Paths map[string]map[string]json.RawMessage
		Tags  []struct{ Name string }
	}
	if err := json.Unmarshal(JSON(), &doc); err != nil {
		t.Fatal(err)
	}
	tags := map[string]bool{}
	for _, g := range doc.Tags {
		tags[g.Name] = true
	}
	seen := map[string]bool{}
	for path, item := range doc.Paths {
		for method, raw := range item {
			if method == "parameters" {
				continue
			}
			var op struct {
				OperationID, Summary string
				Tags                 []string
				Responses            map[string]any
				Parameters           []map[string]any
			}
			if err := json.Unmarshal(raw, &op); err != nil {
				t.Fatal(path, err)
			}
			where := method + " " + path
			if op.OperationID == "" || seen[op.OperationID] {
				t.Errorf("%s: operationId %q missing or twice", where, op.OperationID)
			}
			seen[op.OperationID] = true
			if !strings.HasSuffix(op.Summary, ".") {
				t.Errorf("%s: summary %q is no sentence", where, op.Summary)
			}
			if len(op.Tags) != 1 || !tags[op.Tags[0]] {
				t.Errorf("%s: tags %v", where, op.Tags)
			}
			if op.Responses["default"] == nil {
				t.Errorf("%s: no problem answer", where)
			}
			for _, part := range strings.Split(path, "/") {
				name, ok := strings.CutPrefix(part, "{")
				if !ok {
					continue
				}
				name, _, _ = strings.Cut(name, "}")
				if !strings.Contains(string(raw)+string(item["parameters"]), name) {
					t.Errorf("%s: parameter %s is not declared", where, name)
				}
			}
		}
	}
}
