package openapi

// The document as bytes, in its two renderings, made once.

import (
	"bytes"
	"embed"
	"encoding/json"
	"fmt"
	"strings"
	"sync"

	"go.yaml.in/yaml/v3"
)

//go:embed openapi.yaml
var source []byte

//go:embed example/*.json
var examples embed.FS

// YAML is the source of the document.
func YAML() []byte { return bytes.Clone(source) }

// Example returns a worked example by the name of its file less the ending:
// site, criteria, execute, zone, check, plan, audit, finding, problem. An
// unknown name is an error.
func Example(name string) ([]byte, error) {
	b, err := examples.ReadFile("example/" + name + ".json")
	if err != nil {
		return nil, fmt.Errorf("openapi: no example %q", name)
	}
	return b, nil
}

// JSON is the document in OpenAPI 3.1, keys in the order of the source,
// examples put in. The caller must not change the bytes.
func JSON() []byte { return rendered() }

// JSON30 is the same document rendered in OpenAPI 3.0.3, for clients that know
// no newer one: null in a type becomes nullable, members that 3.0 lacks are
// left out. The caller must not change the bytes.
func JSON30() []byte { return rendered30() }

var rendered = sync.OnceValue(func() []byte {
	var doc yaml.Node
	if err := yaml.Unmarshal(source, &doc); err != nil {
		panic(fmt.Sprintf("openapi: %v", err))
	}
	var b bytes.Buffer
	write(&b, doc.Content[0])
	var out bytes.Buffer
	if err := json.Indent(&out, b.Bytes(), "", " "); err != nil {
		panic(fmt.Sprintf("openapi: %v", err))
	}
	return out.Bytes()
})

// write puts a YAML node out as JSON, keys in order. externalValue becomes the
// value of the file that it names.
func write(b *bytes.Buffer, n *yaml.Node) {
	switch n.Kind {
	case yaml.MappingNode:
		b.WriteByte('{')
		for i := 0; i < len(n.Content); i += 2 {
			if i > 0 {
				b.WriteByte(',')
			}
			key, value := n.Content[i], n.Content[i+1]
			if key.Value == "externalValue" {
				example, err := examples.ReadFile(value.Value)
				if err != nil {
					panic(fmt.Sprintf("openapi: line %d: %v", value.Line, err))
				}
				b.WriteString(`"value":`)
				b.Write(example)
				continue
			}
			k, _ := json.Marshal(key.Value)
			b.Write(k)
			b.WriteByte(':')
			write(b, value)
		}
		b.WriteByte('}')
	case yaml.SequenceNode:
		b.WriteByte('[')
		for i, c := range n.Content {
			if i > 0 {
				b.WriteByte(',')
			}
			write(b, c)
		}
		b.WriteByte(']')
	default:
		var v any
		if err := n.Decode(&v); err != nil {
			panic(fmt.Sprintf("openapi: line %d: %v", n.Line, err))
		}
		s, err := json.Marshal(v)
		if err != nil {
			panic(fmt.Sprintf("openapi: line %d: %v", n.Line, err))
		}
		b.Write(s)
	}
}

var rendered30 = sync.OnceValue(func() []byte {
	var doc map[string]any
	if err := json.Unmarshal(rendered(), &doc); err != nil {
		panic(fmt.Sprintf("openapi: %v", err))
	}
	doc["openapi"] = "3.0.3"
	info := doc["info"].(map[string]any)
	delete(info, "summary")
	info["license"] = map[string]any{"name": "Apache-2.0", "url": "https://www.apache.org/licenses/LICENSE-2.0"}
	components := doc["components"].(map[string]any)
	schemas := components["schemas"].(map[string]any)
	for _, s := range schemas {
		downgrade(s.(map[string]any))
	}
	for _, s := range schemas {
		nameTypes(s, schemas)
	}
	visit(doc["paths"])
	for name, part := range components {
		if name != "schemas" && name != "examples" {
			visit(part)
		}
	}
	out, err := json.MarshalIndent(doc, "", " ")
	if err != nil {
		panic(fmt.Sprintf("openapi: %v", err))
	}
	return out
})

// visit finds the schemas of operations, parameters and answers.
func visit(v any) {
	switch v := v.(type) {
	case map[string]any:
		for key, child := range v {
			if s, ok := child.(map[string]any); ok && key == "schema" {
				downgrade(s)
				continue
			}
			if key != "examples" && key != "value" {
				visit(child)
			}
		}
	case []any:
		for _, child := range v {
			visit(child)
		}
	}
}

// downgrade turns a schema of JSON Schema 2020-12 into one of OpenAPI 3.0, in
// place.
func downgrade(s map[string]any) {
	if _, ok := s["$ref"]; ok {
		for k := range s { // 3.0 passes over what stands beside a $ref
			if k != "$ref" {
				delete(s, k)
			}
		}
		return
	}
	if list, ok := s["type"].([]any); ok {
		var kinds []string
		for _, t := range list {
			if t == "null" {
				s["nullable"] = true
			} else {
				kinds = append(kinds, t.(string))
			}
		}
		if len(kinds) == 1 {
			s["type"] = kinds[0]
		} else {
			delete(s, "type")
			var any1 []any
			for _, k := range kinds {
				one := map[string]any{"type": k}
				if k == "array" {
					one["items"] = map[string]any{}
				}
				any1 = append(any1, one)
			}
			s["anyOf"] = any1
		}
	}
	for _, bound := range [][2]string{{"exclusiveMinimum", "minimum"}, {"exclusiveMaximum", "maximum"}} {
		if v, ok := s[bound[0]].(float64); ok {
			s[bound[1]], s[bound[0]] = v, true
		}
	}
	if s["type"] == "array" && s["items"] == nil {
		s["items"] = map[string]any{}
	}
	for _, key := range []string{"oneOf", "anyOf", "allOf"} {
		list, ok := s[key].([]any)
		if !ok {
			continue
		}
		kept := list[:0]
		for _, c := range list {
			m := c.(map[string]any)
			if m["type"] == "null" {
				s["nullable"] = true
				continue
			}
			downgrade(m)
			kept = append(kept, m)
		}
		s[key] = kept
	}
	for _, key := range []string{"items", "additionalProperties"} {
		if m, ok := s[key].(map[string]any); ok {
			downgrade(m)
		}
	}
	if props, ok := s["properties"].(map[string]any); ok {
		for _, p := range props {
			downgrade(p.(map[string]any))
		}
	}
}

// nameTypes gives each nullable schema the type of what it is made of: 3.0 wants
// the two beside each other.
func nameTypes(v any, schemas map[string]any) {
	switch v := v.(type) {
	case map[string]any:
		if v["nullable"] == true && v["type"] == nil {
			for _, key := range []string{"oneOf", "anyOf"} {
				if list, ok := v[key].([]any); ok && len(list) > 0 {
					part := list[0].(map[string]any)
					if ref, ok := part["$ref"].(string); ok {
						part = schemas[strings.TrimPrefix(ref, "#/components/schemas/")].(map[string]any)
					}
					v["type"] = "object"
					if t, ok := part["type"].(string); ok {
						v["type"] = t
					}
				}
			}
		}
		for _, child := range v {
			nameTypes(child, schemas)
		}
	case []any:
		for _, child := range v {
			nameTypes(child, schemas)
		}
	}
}

// Operation is an address of the document.
type Operation struct {
	ID     string
	Method string // upper case
	Path   string // with {parameter}
	Media  []string
}

// Operations lists every operation, in the order of the source, with the media
// types its body may have.
func Operations() []Operation {
	var doc struct {
		Paths yaml.Node `yaml:"paths"`
	}
	if err := yaml.Unmarshal(source, &doc); err != nil {
		panic(fmt.Sprintf("openapi: %v", err))
	}
	var out []Operation
	for i := 0; i < len(doc.Paths.Content); i += 2 {
		path, item := doc.Paths.Content[i].Value, doc.Paths.Content[i+1]
		for j := 0; j < len(item.Content); j += 2 {
			method := item.Content[j].Value
			switch method {
			case "get", "put", "post", "delete", "patch", "head", "options":
			default:
				continue
			}
			var op struct {
				ID   string `yaml:"operationId"`
				Body struct {
					Ref     string         `yaml:"$ref"`
					Content map[string]any `yaml:"content"`
				} `yaml:"requestBody"`
			}
			if err := item.Content[j+1].Decode(&op); err != nil {
				panic(fmt.Sprintf("openapi: %s %s: %v", method, path, err))
			}
			o := Operation{ID: op.ID, Method: strings.ToUpper(method), Path: path}
			if strings.HasSuffix(op.Body.Ref, "/Execute") {
				o.Media = []string{"application/json"}
			}
			for m := range op.Body.Content {
				o.Media = append(o.Media, m)
			}
			out = append(out, o)
		}
	}
	return out
}
