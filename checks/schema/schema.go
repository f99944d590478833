// Package schema is for tests: it holds JSON documents against the published schemas of testdata/schema
// (JSON Schema, draft 2020-12).
package schema

import (
	"bytes"
	"fmt"

	"github.com/santhosh-tekuri/jsonschema/v6"

	published "loadline/testdata/schema"
)

// A Set holds the schemas.
type Set struct{ report, fix, split *jsonschema.Schema }

// Load compiles the schemas. Published, they let keys be added; here they do not, so that what a
// document holds and a schema does not name is found.
func Load() (*Set, error) {
	var s Set
	for name, to := range map[string]**jsonschema.Schema{"report-1.json": &s.report, "fix-1.json": &s.fix, "split-1.json": &s.split} {
		text, err := published.Files.ReadFile(name)
		if err != nil {
			return nil, err
		}
		doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
		if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		closeObjects(doc)
		c := jsonschema.NewCompiler()
		c.AssertFormat()
		c.AssertContent()
		c.DefaultDraft(jsonschema.Draft2020)
		if err := c.AddResource(name, doc); err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		if *to, err = c.Compile(name); err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
	}
	return &s, nil
}

// closeObjects lets no object hold more keys than its schema names.
func closeObjects(v any) {
	switch v := v.(type) {
	case []any:
		for _, e := range v {
			closeObjects(e)
		}
	case map[string]any:
		if v["type"] == "object" && v["properties"] != nil && v["additionalProperties"] == nil {
			v["additionalProperties"] = false
		}
		for _, e := range v {
			closeObjects(e)
		}
	}
}

// Check returns what is wrong with a document: a report, or what fix or split print. What is no JSON
// document of these is known to be none (known false).
func (s *Set) Check(text []byte) (known bool, err error) {
	if !bytes.HasPrefix(text, []byte("{")) {
		return false, nil
	}
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	if err != nil {
		return true, err
	}
	keys := doc.(map[string]any)
	has := func(key string) bool { _, ok := keys[key]; return ok }
	switch {
	case has("checks"):
		return true, s.report.Validate(doc)
	case has("boxes"):
		return true, s.split.Validate(doc)
	case has("plan"):
		return true, s.fix.Validate(doc)
	}
	return false, nil
}
