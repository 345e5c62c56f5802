package api

// The OpenAPI document as a readable page, drawn here: no script and no outside
// asset.

import (
	"bytes"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"sync"

	"github.com/labstack/echo/v4"

	"fallwright/openapi"
)

type docsPage struct {
	Spec       string
	Text       []string
	Operations []docOperation
	Schemas    []docSchema
}

type docOperation struct {
	ID, Method, Path, Summary, Description string
	Parameters                             []docParameter
	Body                                   []docContent
	Responses                              []docResponse
	Examples                               []docExample
}

type docParameter struct {
	Name, In, Type, Description string
	Required                    bool
}

type docContent struct{ Media, Schema string }

type docResponse struct {
	Status, Description string
	Content             []docContent
}

type docExample struct{ Name, Text string }

type docSchema struct {
	Name, Description string
	Rows              []docRow
}

type docRow struct {
	Name, Type, Ref, Description string
	Required                     bool
}

var readDocs = sync.OnceValue(func() docsPage {
	var doc struct {
		OpenAPI string
		Info    struct{ Description string }
		Paths   map[string]map[string]json.RawMessage
	}
	var all map[string]any
	if err := json.Unmarshal(openapi.JSON(), &doc); err != nil {
		panic(fmt.Sprintf("api: docs: %v", err))
	}
	if err := json.Unmarshal(openapi.JSON(), &all); err != nil {
		panic(fmt.Sprintf("api: docs: %v", err))
	}
	p := docsPage{Spec: doc.OpenAPI}
	for _, t := range strings.Split(doc.Info.Description, "\n\n") {
		p.Text = append(p.Text, strings.NewReplacer("**", "", "`", "").Replace(t))
	}
	resolve := func(v any) map[string]any {
		m, _ := v.(map[string]any)
		if ref, ok := m["$ref"].(string); ok {
			var at any = all
			for _, key := range strings.Split(strings.TrimPrefix(ref, "#/"), "/") {
				at = at.(map[string]any)[key]
			}
			m, _ = at.(map[string]any)
		}
		return m
	}
	for _, op := range openapi.Operations() {
		var raw map[string]any
		item := doc.Paths[op.Path]
		_ = json.Unmarshal(item[strings.ToLower(op.Method)], &raw)
		d := docOperation{ID: op.ID, Method: op.Method, Path: op.Path, Summary: text(raw["summary"]), Description: text(raw["description"])}
		var shared []any
		if item["parameters"] != nil {
			_ = json.Unmarshal(item["parameters"], &shared)
		}
		own, _ := raw["parameters"].([]any)
		for _, v := range append(shared, own...) {
			q := resolve(v)
			need, _ := q["required"].(bool)
			typ, _ := schemaType(q["schema"])
			d.Parameters = append(d.Parameters, docParameter{text(q["name"]), text(q["in"]), typ, text(q["description"]), need})
		}
		content := func(v any) (out []docContent) {
			m, _ := v.(map[string]any)
			for media, c := range m {
				cm, _ := c.(map[string]any)
				_, ref := schemaType(cm["schema"])
				out = append(out, docContent{media, ref})
				ex, _ := cm["examples"].(map[string]any)
				for name, e := range ex {
					value := resolve(e)["value"]
					b, _ := json.Marshal(value)
					var pretty bytes.Buffer
					_ = json.Indent(&pretty, b, "", " ")
					d.Examples = append(d.Examples, docExample{name, pretty.String()})
				}
			}
			slices.SortFunc(out, func(a, b docContent) int { return strings.Compare(a.Media, b.Media) })
			return out
		}
		d.Body = content(resolve(raw["requestBody"])["content"])
		responses, _ := raw["responses"].(map[string]any)
		for _, status := range slices.Sorted(mapKeys(responses)) {
			r := resolve(responses[status])
			kept := len(d.Examples)
			dr := docResponse{status, text(r["description"]), content(r["content"])}
			if status == "default" { // one example of a problem is enough
				d.Examples = d.Examples[:kept]
				dr.Status = "4xx, 5xx"
			}
			d.Responses = append(d.Responses, dr)
		}
		p.Operations = append(p.Operations, d)
	}
	schemas := all["components"].(map[string]any)["schemas"].(map[string]any)
	for _, name := range slices.Sorted(mapKeys(schemas)) {
		s := schemas[name].(map[string]any)
		d := docSchema{Name: name, Description: text(s["description"])}
		d.Rows = schemaRows(s, "")
		p.Schemas = append(p.Schemas, d)
	}
	return p
})

func mapKeys(m map[string]any) func(func(string) bool) {
	return func(yield func(string) bool) {
		for k := range m {
			if !yield(k) {
				return
			}
		}
	}
}

func text(v any) string {
	s, _ := v.(string)
	return s
}

// schemaRows lists the members of an object, those of objects within it by
// their path.
func schemaRows(s map[string]any, prefix string) (out []docRow) {
	if list, ok := s["allOf"].([]any); ok {
		for _, part := range list {
			out = append(out, schemaRows(part.(map[string]any), prefix)...)
		}
	}
	need := map[string]bool{}
	list, _ := s["required"].([]any)
	for _, n := range list {
		need[n.(string)] = true
	}
	props, _ := s["properties"].(map[string]any)
	for _, name := range slices.Sorted(mapKeys(props)) {
		p := props[name].(map[string]any)
		typ, ref := schemaType(p)
		out = append(out, docRow{prefix + name, typ, ref, text(p["description"]), need[name]})
		inner := p
		at := prefix + name + "."
		if items, ok := p["items"].(map[string]any); ok {
			inner, at = items, prefix+name+"[]."
		}
		if len(at) < 80 {
			out = append(out, schemaRows(inner, at)...)
		}
	}
	return out
}

// schemaType says the type of a schema in words, and the schema it names.
func schemaType(v any) (words, ref string) {
	s, _ := v.(map[string]any)
	if r, ok := s["$ref"].(string); ok {
		name := r[strings.LastIndex(r, "/")+1:]
		return name, name
	}
	switch t := s["type"].(type) {
	case string:
		words = t
	case []any:
		var all []string
		for _, x := range t {
			all = append(all, text(x))
		}
		words = strings.Join(all, " or ")
	}
	if items, ok := s["items"]; ok {
		w, r := schemaType(items)
		if w != "" {
			words, ref = "list of "+w, r
		}
	}
	for _, key := range []string{"oneOf", "anyOf"} {
		list, ok := s[key].([]any)
		if !ok {
			continue
		}
		var all []string
		for _, x := range list {
			w, r := schemaType(x)
			all = append(all, w)
			if ref == "" {
				ref = r
			}
		}
		words = strings.Join(all, " or ")
	}
	if e, ok := s["enum"].([]any); ok {
		var all []string
		for _, x := range e {
			all = append(all, fmt.Sprint(x))
		}
		words = strings.Join(all, " | ")
	}
	for _, b := range [][2]string{{"minimum", "≥"}, {"exclusiveMinimum", ">"}, {"maximum", "≤"}} {
		if n, ok := s[b[0]].(float64); ok {
			words += fmt.Sprintf(" %s %g", b[1], n)
		}
	}
	if d, ok := s["default"]; ok && d != "" {
		words += fmt.Sprintf(", else %v", d)
	}
	return words, ref
}

func (s *service) docs(c echo.Context) error {
	return s.render(c, page{Title: "The service's interface", docsPage: readDocs(), Crumbs: []link{}, JSON: s.base(c) + "/openapi.json"})
}
