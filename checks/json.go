package checks

import (
	"bufio"
	"encoding/base64"
	"encoding/json"
	"io"
	"strings"
	"time"
	"unicode/utf8"
)

// WriteJSON writes the report as one JSON document, with keys as they stand in the handbook. It
// writes finding by finding, so that a million of them cost no memory.
func (r *Report) WriteJSON(w io.Writer) error {
	b := bufio.NewWriterSize(w, 1<<16)
	j := jsonWriter{w: b}
	j.open('{')
	j.field("tool", "loadline")
	j.field("version", r.Version)
	j.field("schema", Schema)
	j.field("stage", r.Stage)
	j.field("started", r.Started.Format(time.RFC3339Nano))
	j.field("finished", r.Finished.Format(time.RFC3339Nano))
	if r.Invented != "" {
		j.field("invented", r.Invented)
	}
	if r.Stopped {
		j.field("stopped", true)
	}
	j.key("source")
	j.place(&r.Source, false)
	if r.Share != nil {
		j.key("share")
		j.place(r.Share, true)
	}
	j.field("totals", r.Totals)
	if r.Manifest != "" {
		j.field("manifest", r.Manifest)
	}
	j.field("machine", r.Machine)
	j.field("verdict", r.Verdict)
	j.key("checks")
	j.open('[')
	for i := range r.Checks {
		j.next()
		j.result(&r.Checks[i])
	}
	j.close(']')
	j.close('}')
	j.raw("\n")
	if j.err != nil {
		return j.err
	}
	return b.Flush()
}

// jsonWriter writes values one after the other; it remembers whether a comma is due.
type jsonWriter struct {
	w     *bufio.Writer
	err   error
	comma bool
}

func (j *jsonWriter) raw(s string) {
	if j.err == nil {
		_, j.err = j.w.WriteString(s)
	}
}

func (j *jsonWriter) next() {
	if j.comma {
		j.raw(",")
	}
	j.comma = false
}

func (j *jsonWriter) open(c byte) {
	j.next()
	j.raw(string(c))
	j.comma = false
}

func (j *jsonWriter) close(c byte) {
	j.raw(string(c))
	j.comma = true
}

func (j *jsonWriter) key(k string) {
	j.next()
	j.value(k)
	j.raw(":")
	j.comma = false
}

func (j *jsonWriter) field(k string, v any) {
	j.key(k)
	j.value(v)
}

func (j *jsonWriter) value(v any) {
	j.comma = true
	if j.err != nil {
		return
	}
	var s strings.Builder
	e := json.NewEncoder(&s)
	e.SetEscapeHTML(false)
	if j.err = e.Encode(v); j.err == nil {
		j.raw(strings.TrimSuffix(s.String(), "\n"))
	}
}

// path writes a path; one that is not UTF-8 is shown with U+FFFD and given whole in base64.
func (j *jsonWriter) path(key, p string) {
	j.field(key, strings.ToValidUTF8(p, "\uFFFD"))
	if !utf8.ValidString(p) {
		j.field(key+"_base64", base64.StdEncoding.EncodeToString([]byte(p)))
	}
}

func (j *jsonWriter) place(p *Place, share bool) {
	j.open('{')
	j.path("path", p.Path)
	if share {
		j.path("prefix", p.Prefix)
	}
	if share || p.Type != "" {
		j.field("from", p.From)
		j.field("type", p.Type)
		j.field("options", append([]string{}, p.Options...))
	}
	j.close('}')
}

func (j *jsonWriter) result(r *Result) {
	j.open('{')
	j.field("id", r.ID)
	j.field("title", r.Title)
	j.field("status", r.Status)
	j.field("summary", r.Summary)
	if r.Reason != "" {
		j.field("reason", r.Reason)
	}
	j.key("facts")
	j.open('{')
	for i := range r.Facts {
		j.field(r.Facts[i].Key, r.Facts[i].Value)
	}
	j.close('}')
	rules := r.Rules
	if rules == nil {
		rules = map[string]int64{}
	}
	j.field("rules", rules)
	j.key("findings")
	j.open('[')
	for i := range r.Findings {
		f := &r.Findings[i]
		j.open('{')
		j.path("path", f.Path)
		j.field("rule", f.Rule.ID)
		j.field("level", f.Level)
		j.field("detail", f.Detail)
		j.field("fix", f.Fix())
		j.close('}')
	}
	j.close(']')
	j.close('}')
}
