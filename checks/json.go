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
	if len(r.Sources) > 0 {
		j.key("sources")
		j.open('[')
		for _, d := range r.Sources {
			j.open('{')
			j.path("path", d.Source)
			j.path("prefix", d.Prefix)
			j.close('}')
		}
		j.close(']')
	}
	j.several = len(r.Sources) > 0
	if r.Share != nil {
		j.key("share")
		j.place(r.Share, true)
	}
	j.field("totals", r.Totals)
	if r.Manifest != "" {
		j.field("manifest", r.Manifest)
	}
	j.field("machine", r.Machine)
	if r.Unproven != "" {
		j.field("unproven", r.Unproven)
	}
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

// EncodeJSON writes a document of another form in one line, safe to show as the report is.
func EncodeJSON(w io.Writer, v any) error {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(v); err != nil {
		return err
	}
	_, err := w.Write(append(shown(bytes.TrimSuffix(b.Bytes(), []byte("\n"))), '\n'))
	return err
}

// jsonWriter writes values one after the other; it remembers whether a comma is due.
type jsonWriter struct {
	w     *bufio.Writer
	buf   bytes.Buffer
	enc   *json.Encoder // writes into buf
	err   error
	comma bool

	several bool              // there are several sources, so findings say theirs
	line    []byte            // the finding that is written
	quoted  map[string]string // texts of findings as JSON strings
}

func newJSONWriter(w *bufio.Writer) *jsonWriter {
	j := &jsonWriter{w: w, quoted: map[string]string{}}
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
	b := append(j.line[:0], `{"path":`...)
	if utf8.ValidString(f.Path) {
		b = j.quote(b, f.Path)
	} else {
		b = j.quote(b, strings.ToValidUTF8(f.Path, "\uFFFD"))
		b = append(b, `,"path_base64":"`...)
		b = base64.StdEncoding.AppendEncode(b, []byte(f.Path))
		b = append(b, '"')
	}
	if j.several && f.Path != "" {
		b = append(b, `,"source":`...)
		b = strconv.AppendInt(b, int64(f.Source), 10)
	}
	b = append(b, `,"rule":"`...)
	b = append(b, f.Rule.ID...)
	b = append(b, `","level":"`...)
	b = append(b, f.Level.String()...)
	b = append(b, `","detail":`...)
	b = j.common(b, f.Detail)
	b = append(b, `,"fix":`...)
	b = j.common(b, f.Fix())
	b = append(b, '}')
	j.line = b
	j.comma = true
	if j.err == nil {
		_, j.err = j.w.Write(b)
	}
}

// quote appends a text as a JSON string, safe to show. Most texts need no escape.
func (j *jsonWriter) quote(b []byte, s string) []byte {
	for i := range len(s) {
		if c := s[i]; c < 0x20 || c >= 0x7F || c == '"' || c == '\\' {
			j.buf.Reset()
			if err := j.enc.Encode(s); err != nil && j.err == nil {
				j.err = err
			}
			return append(b, shown(bytes.TrimSuffix(j.buf.Bytes(), []byte("\n")))...)
		}
	}
	b = append(b, '"')
	b = append(b, s...)
	return append(b, '"')
}

// quotedKept bounds how many quoted texts are kept.
const quotedKept = 256

// common is quote for texts that many findings share.
func (j *jsonWriter) common(b []byte, s string) []byte {
	q, ok := j.quoted[s]
	if !ok {
		q = string(j.quote(nil, s))
		if len(j.quoted) < quotedKept {
			j.quoted[s] = q
		}
	}
	return append(b, q...)
}
