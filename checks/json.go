package checks

import (
	"bufio"
	"bytes"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"
	"unicode/utf16"
	"unicode/utf8"
)

// WriteJSON writes the report as one JSON document, with keys as they stand in the handbook. It
// writes finding by finding, so that a million of them cost no memory.
func (r *Report) WriteJSON(w io.Writer) error {
	b := bufio.NewWriterSize(w, 1<<16)
	j := newJSONWriter(b)
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
	if r.Interrupted {
		j.field("interrupted", true)
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
	buf   bytes.Buffer
	enc   *json.Encoder // writes into buf
	err   error
	comma bool
}

func newJSONWriter(w *bufio.Writer) *jsonWriter {
	j := &jsonWriter{w: w}
	j.enc = json.NewEncoder(&j.buf)
	j.enc.SetEscapeHTML(false)
	return j
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
	j.buf.Reset()
	if j.err = j.enc.Encode(v); j.err == nil {
		_, j.err = j.w.Write(shown(bytes.TrimSuffix(j.buf.Bytes(), []byte("\n"))))
	}
}

// shown escapes the characters of a JSON text that a screen would obey or not show: C1 controls,
// those that direct text, and whatever else is not printable. Below U+0020 JSON has done so itself.
func shown(s []byte) []byte {
	hidden := func(r rune) bool { return r >= 0x7F && !strconv.IsPrint(r) }
	if bytes.IndexFunc(s, hidden) < 0 {
		return s
	}
	var b []byte
	for _, r := range string(s) {
		switch {
		case !hidden(r):
			b = utf8.AppendRune(b, r)
		case r > 0xFFFF:
			high, low := utf16.EncodeRune(r)
			b = fmt.Appendf(b, `\u%04x\u%04x`, high, low)
		default:
			b = fmt.Appendf(b, `\u%04x`, r)
		}
	}
	return b
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
		j.next()
		j.finding(&r.Findings[i])
	}
	j.close(']')
	j.close('}')
}

// finding writes a whole finding in one go: there may be a million.
func (j *jsonWriter) finding(f *Finding) {
	out := struct {
		Path   string `json:"path"`
		Base64 []byte `json:"path_base64,omitempty"`
		Rule   string `json:"rule"`
		Level  string `json:"level"`
		Detail string `json:"detail"`
		Fix    string `json:"fix"`
	}{f.Path, nil, f.Rule.ID, f.Level.String(), f.Detail, f.Fix()}
	if !utf8.ValidString(f.Path) {
		out.Path, out.Base64 = strings.ToValidUTF8(f.Path, "\uFFFD"), []byte(f.Path)
	}
	j.value(&out)
}
