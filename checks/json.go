package checks

import (
	"bufio"
	"bytes"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"io"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"time"
	"unicode/utf16"
	"unicode/utf8"
)

// WriteJSON writes the report as one JSON document, with keys as they stand in the handbook. It
// writes some findings at a time, so that a million of them cost no memory.
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

	several bool // there are several sources, so findings say theirs
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
		if hidden(r) {
			b = appendEscaped(b, r)
		} else {
			b = utf8.AppendRune(b, r)
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
	j.findings(r.Findings)
	j.close('}')
}

// findings writes them all, encoded on all cores, as there may be a million.
func (j *jsonWriter) findings(all []Finding) {
	j.open('[')
	parts := make([]findingWriter, runtime.GOMAXPROCS(0))
	for len(all) > 0 && j.err == nil {
		n := min(len(all), len(parts)*findingBlock)
		var encoding sync.WaitGroup
		for i := range parts {
			p, some := &parts[i], all[n*i/len(parts):n*(i+1)/len(parts)]
			p.several = j.several
			encoding.Go(func() { p.encode(some) })
		}
		encoding.Wait()
		for i := range parts {
			if len(parts[i].text) > 0 && j.err == nil {
				j.next()
				_, j.err = j.w.Write(parts[i].text)
				j.comma = true
			}
		}
		all = all[n:]
	}
	j.close(']')
}

// A findingWriter encodes findings.
type findingWriter struct {
	several bool // there are several sources, so findings say theirs
	text    []byte
	quoted  map[string]string // texts of findings as JSON strings
}

// encode makes text what stands for some findings.
func (w *findingWriter) encode(some []Finding) {
	b := w.text[:0]
	for i := range some {
		if i > 0 {
			b = append(b, ',')
		}
		b = w.finding(b, &some[i])
	}
	w.text = b
}

func (w *findingWriter) finding(b []byte, f *Finding) []byte {
	b = append(b, `{"path":`...)
	if utf8.ValidString(f.Path) {
		b = appendQuoted(b, f.Path)
	} else {
		b = appendQuoted(b, strings.ToValidUTF8(f.Path, "\uFFFD"))
		b = append(b, `,"path_base64":"`...)
		b = base64.StdEncoding.AppendEncode(b, []byte(f.Path))
		b = append(b, '"')
	}
	if w.several && f.Path != "" {
		b = append(b, `,"source":`...)
		b = strconv.AppendInt(b, int64(f.Source), 10)
	}
	b = append(b, `,"rule":"`...)
	b = append(b, f.Rule.ID...)
	b = append(b, `","level":"`...)
	b = append(b, f.Level.String()...)
	b = append(b, `","detail":`...)
	b = w.common(b, f.Detail)
	b = append(b, `,"fix":`...)
	b = w.common(b, f.Fix())
	if p := f.Part; p != nil {
		b = append(b, `,"offset":`...)
		b = strconv.AppendInt(b, p.Offset, 10)
		b = append(b, `,"length":`...)
		b = strconv.AppendInt(b, p.Length, 10)
	}
	return append(b, '}')
}

// quotedKept bounds how many quoted texts are kept.
const quotedKept = 256

// common quotes texts that many findings share.
func (w *findingWriter) common(b []byte, s string) []byte {
	q, ok := w.quoted[s]
	if !ok {
		q = string(appendQuoted(nil, s))
		if w.quoted == nil {
			w.quoted = map[string]string{}
		}
		if len(w.quoted) < quotedKept {
			w.quoted[s] = q
		}
	}
	return append(b, q...)
}

// appendQuoted appends a text as a JSON string, as encoding/json writes it and shown shows it.
func appendQuoted(b []byte, s string) []byte {
	b = append(b, '"')
	from := 0
	for i := 0; i < len(s); {
		c := s[i]
		if c >= ' ' && c < 0x7F && c != '"' && c != '\\' {
			i++
			continue
		}
		r, n := utf8.DecodeRuneInString(s[i:])
		if r > 0x7F && n > 1 && strconv.IsPrint(r) {
			i += n
			continue
		}
		b = append(b, s[from:i]...)
		if at := strings.IndexByte("\"\\\b\f\n\r\t", c); at >= 0 {
			b = append(b, '\\', `"\bfnrt`[at])
		} else {
			b = appendEscaped(b, r)
		}
		i += n
		from = i
	}
	b = append(b, s[from:]...)
	return append(b, '"')
}

func appendEscaped(b []byte, r rune) []byte {
	if r > 0xFFFF {
		high, low := utf16.EncodeRune(r)
		return fmt.Appendf(b, `\u%04x\u%04x`, high, low)
	}
	return fmt.Appendf(b, `\u%04x`, r)
}
