package schema

import (
	"strings"
	"testing"
)

// A schema that takes everything would prove nothing: each of these is one slip away from a good document.
func TestSlips(t *testing.T) {
	s, err := Load()
	if err != nil {
		t.Fatal(err)
	}
	const (
		report = `{"tool":"loadline","version":"1","schema":1,"stage":"before","started":"2026-11-25T16:00:00Z","finished":"2026-11-25T16:00:01.5+01:00",` +
			`"source":{"path":"/disk"},"totals":{"files":1,"folders":0,"links":0,"others":0,"bytes":3},"machine":"m","verdict":"warn","checks":[` +
			`{"id":"free-space","title":"T","status":"unknown","summary":"s","reason":"r","facts":{"a_b":1,"c":["x"]},"rules":{"thin-margin":1},` +
			`"findings":[{"path":"\ufffd","path_base64":"/w==","rule":"thin-margin","level":"warn","detail":"d","fix":"f"}]}]}`
		fix   = `{"schema":1,"plan":[{"from":"a","to":"b","rules":["not-nfc"]}],"left":[{"path":"p","why":"w"}]}`
		split = `{"tool":"loadline","version":"1","schema":1,"source":{"path":"/disk"},"unit_bytes":4096,"files":1,"bytes":1,"boxes":[{"size":9,"bytes":1,` +
			`"files":1,"folders":0,"need_bytes":1,"margin_bytes":1,"left_bytes":8,"holds":[{"path":"","files":1,"bytes":1,"whole":true}]}],"torn":[],"left":[]}`
	)
	for _, good := range []string{report, fix, split} {
		if known, err := s.Check([]byte(good)); !known || err != nil {
			t.Errorf("%s: known %v, %v", good, known, err)
		}
	}
	for _, c := range []struct{ doc, from, to string }{
		{report, `"schema":1`, `"schema":2`},
		{report, `"stage":"before"`, `"stage":"between"`},
		{report, `2026-11-25T16:00:00Z`, `25 November`},
		{report, `"machine":"m",`, ``},
		{report, `"machine":"m",`, `"machine":"m","more":1,`},
		{report, `"machine":"m",`, `"machine":"m","interrupted":false,`},
		{report, `"verdict":"warn"`, `"verdict":"pass","interrupted":true`},
		{report, `"verdict":"warn"`, `"verdict":"unknown"`},
		{report, `"reason":"r",`, ``},
		{report, `"status":"unknown"`, `"status":"pass"`},
		{report, `"status":"unknown"`, `"status":"fail"`},
		{report, `"a_b":1`, `"a-b":1`},
		{report, `"a_b":1`, `"a_b":null`},
		{report, `"thin-margin":1`, `"thin-margin":0`},
		{report, `"thin-margin":1`, `"thinMargin":1`},
		{report, `"/w=="`, `"%"`},
		{report, `"fix":"f"`, `"fix":""`},
		{report, `"detail":"d"`, `"detail":"d","size":1`},
		{report, `"bytes":3`, `"bytes":-3`},
		{fix, `"to":"b",`, ``},
		{fix, `"why":"w"`, `"why":""`},
		{split, `"files":1,"bytes":1,"boxes"`, `"files":0,"bytes":1,"boxes"`},
		{split, `"whole":true`, `"whole":"yes"`},
		{split, `"left":[]`, `"left":[{"path":"p","why":"w"}]`},
	} {
		bad := strings.Replace(c.doc, c.from, c.to, 1)
		if bad == c.doc {
			t.Errorf("%s does not stand in the document", c.from)
		}
		if known, err := s.Check([]byte(bad)); !known || err == nil {
			t.Errorf("%s for %s is taken", c.to, c.from)
		}
	}
	for _, other := range []string{"", "text", `{"version":"1"}`} {
		if known, err := s.Check([]byte(other)); known || err != nil {
			t.Errorf("%q: known %v, %v", other, known, err)
		}
	}
}
