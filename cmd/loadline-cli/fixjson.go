package main

import (
	"encoding/json"
	"io"
	"unicode/utf8"
)

type jsonStep struct {
	From       string   `json:"from"`
	FromBase64 []byte   `json:"from_base64,omitempty"`
	To         string   `json:"to"`
	ToBase64   []byte   `json:"to_base64,omitempty"`
	Rules      []string `json:"rules"`
}

type jsonLeft struct {
	Path       string `json:"path"`
	PathBase64 []byte `json:"path_base64,omitempty"`
	Why        string `json:"why"`
}

type jsonCopy struct {
	Path       string `json:"path"`
	PathBase64 []byte `json:"path_base64,omitempty"`
	To         string `json:"to"`
	ToBase64   []byte `json:"to_base64,omitempty"`
	Kind       string `json:"kind"` // "copy" or "archive"
	Files      int64  `json:"files"`
	Bytes      int64  `json:"bytes"`
}

// onlyBytes returns a path that JSON cannot hold as it is.
func onlyBytes(path string) []byte {
	if utf8.ValidString(path) {
		return nil
	}
	return []byte(path)
}

func (f *fixer) json(w io.Writer) error {
	doc := struct {
		Schema  int        `json:"schema"`
		Unsure  string     `json:"unsure,omitempty"` // why it is not known which names the share refuses
		Plan    []jsonStep `json:"plan"`
		Make    []jsonCopy `json:"make,omitempty"`
		Left    []jsonLeft `json:"left"`
		Journal string     `json:"journal,omitempty"`
		Stayed  []jsonLeft `json:"stayed,omitempty"`
		Gone    []jsonLeft `json:"gone,omitempty"`
		Kept    []jsonLeft `json:"kept,omitempty"`
		Dates   []jsonLeft `json:"dates,omitempty"`
		Awake   *bool      `json:"kept_awake,omitempty"` // only where content was copied or compared
	}{Schema: 1, Plan: []jsonStep{}, Left: []jsonLeft{}}
	if f.plan != nil {
		doc.Unsure = f.plan.Unsure
		for i := range f.plan.Steps {
			s := &f.plan.Steps[i]
			doc.Plan = append(doc.Plan, jsonStep{s.From, onlyBytes(s.From), s.To, onlyBytes(s.To), append([]string{}, s.Rules...)})
		}
		for i := range f.plan.Left {
			l := &f.plan.Left[i]
			doc.Left = append(doc.Left, jsonLeft{l.Path, onlyBytes(l.Path), l.Why})
		}
	}
	if f.estimate != nil {
		for _, m := range f.estimate.Copies {
			kind := "copy"
			if m.Archive {
				kind = "archive"
			}
			doc.Make = append(doc.Make, jsonCopy{m.Path, onlyBytes(m.Path), m.To, onlyBytes(m.To), kind, m.Files, m.Bytes})
		}
	}
	if f.outcome != nil {
		doc.Journal = f.outcome.Journal
		if awake := f.outcome.Awake != ""; awake || f.outcome.Asleep != nil {
			doc.Awake = &awake
		}
		for _, s := range f.outcome.Stayed {
			doc.Stayed = append(doc.Stayed, jsonLeft{s.Path, onlyBytes(s.Path), s.Why})
		}
		for _, told := range []struct {
			in    *[]jsonLeft
			paths []string
			why   string
		}{
			{&doc.Gone, f.outcome.Gone, "it is no longer there"},
			{&doc.Kept, f.outcome.Kept, "the disk stores accented letters in a form of its own"},
			{&doc.Dates, f.outcome.Dates, "its date could not be restored"},
		} {
			for _, path := range told.paths {
				*told.in = append(*told.in, jsonLeft{path, onlyBytes(path), told.why})
			}
		}
	}
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	return e.Encode(doc)
}
