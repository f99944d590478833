package listing

import (
	"bytes"
	"errors"
	"io"
	"slices"
	"strings"

	"github.com/go-json-experiment/json/jsontext"
)

// readJSON reads JSON of any nesting, one document or many: lines of records are documents of one record.
//
// encoding/json takes a document token by token at a tenth of the speed of jsontext (28 and 286 MB/s, read on
// one core), its candidate for a successor.
func (rd *reader) readJSON() error {
	g := &guard{r: rd.in}
	j := &jsonReader{
		rd: rd, tree: newTree(rd), guard: g,
		// Fields that appear twice are judged where they matter; so are invalid characters.
		dec: jsontext.NewDecoder(g, jsontext.AllowDuplicateNames(true), jsontext.AllowInvalidUTF8(true)),
	}
	rd.format.Shape = JSON
	if err := j.read(); err != nil {
		return err
	}
	return j.tree.end()
}

type jsonReader struct {
	rd     *reader
	tree   *tree
	dec    *jsontext.Decoder
	guard  *guard
	levels []level
	text   []byte
	plan   bool // it has the members of a plan of Loadline's
}

// A level is one object or array that is open.
type level struct {
	array bool
	named bool   // the name of the next value was read
	name  *field // of the array, or of the next value
}

// name returns the name that the next value stands under, and whether it stands in an array.
func (j *jsonReader) name() (*field, bool) {
	if len(j.levels) == 0 {
		return nil, false
	}
	l := &j.levels[len(j.levels)-1]
	return l.name, l.array
}

// done notes that a value has ended.
func (j *jsonReader) done() {
	if len(j.levels) > 0 {
		j.levels[len(j.levels)-1].named = false
	}
}

func (j *jsonReader) read() error {
	t := j.tree
	for {
		j.guard.reset()
		kind := j.dec.PeekKind()
		switch kind {
		case '{', '[':
			if _, err := j.dec.ReadToken(); err != nil {
				return j.broken(err)
			}
			name, inArray := j.name()
			if kind == '[' {
				if len(j.levels) >= 2*deepest {
					return t.bad("it is nested more than %d deep", deepest)
				}
				j.levels = append(j.levels, level{array: true, name: name})
				continue
			}
			if err := t.open(name, inArray); err != nil {
				return err
			}
			j.levels = append(j.levels, level{})
		case '}', ']':
			if _, err := j.dec.ReadToken(); err != nil {
				return j.broken(err)
			}
			j.levels = j.levels[:len(j.levels)-1]
			if kind == '}' {
				before := t.count
				if err := t.close(); err != nil {
					return err
				}
				if len(j.levels) == 0 && t.count == before+1 {
					j.rd.format.Shape = JSONLines
				}
			}
			j.done()
		case '"', '0', 't', 'f', 'n':
			raw, err := j.dec.ReadValue()
			if err != nil {
				return j.broken(err)
			}
			if err := j.value(kind, raw); err != nil {
				return err
			}
		default:
			switch _, err := j.dec.ReadToken(); {
			case errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF):
				if j.plan && t.count == 0 {
					return refuse(LoadlineJSON, "Give a list of the objects that the store made.", "it is a plan by Loadline, not a listing")
				}
				return nil
			case err != nil:
				return j.broken(err)
			}
			return t.bad("the JSON is damaged")
		}
	}
}

// value takes a name or a value that is neither object nor array.
func (j *jsonReader) value(kind jsontext.Kind, raw jsontext.Value) error {
	if len(j.levels) == 0 {
		return j.tree.bad("there is a value by itself: %s", quote(string(raw)))
	}
	l := &j.levels[len(j.levels)-1]
	if !l.array && !l.named {
		l.name, l.named = j.tree.field(j.unquoted(raw)), true
		if len(j.levels) == 1 && (l.name.name == "plan" || l.name.name == "left") {
			j.plan = true
		}
		return nil
	}
	f := l.name
	switch {
	case kind == 'n':
		if !l.array && j.tree.depth > 0 {
			switch f.role {
			case roleTruncated, roleNext, roleStart:
				j.tree.top().rec.paged = true
			}
		}
	case l.array:
		if f != nil {
			j.tree.element(f, j.plain(kind, raw))
		}
	case f.role != RoleNone:
		text := raw
		if kind == '"' {
			text = j.unquoted(raw)
			if f.role == RoleKey && bytes.IndexByte(raw, '\\') >= 0 && j.halved(raw) {
				j.tree.top().rec.damaged = true
			}
		}
		j.tree.scalar(f, text)
	case len(j.levels) == 1 && kind == '"':
		if err := j.topLevel(f.name, j.unquoted(raw)); err != nil {
			return err
		}
	}
	l.named = false
	return nil
}

func (j *jsonReader) plain(kind jsontext.Kind, raw jsontext.Value) []byte {
	if kind == '"' {
		return j.unquoted(raw)
	}
	return raw
}

// unquoted returns what a string stands for. It holds until the next call, or the next token.
func (j *jsonReader) unquoted(raw jsontext.Value) []byte {
	if bytes.IndexByte(raw, '\\') < 0 {
		return raw[1 : len(raw)-1]
	}
	j.text, _ = jsontext.AppendUnquote(j.text[:0], raw) // what is no character becomes U+FFFD; see halved
	return j.text
}

// halved reports whether a string with escapes holds half of a surrogate pair, or bytes that are no UTF-8.
func (j *jsonReader) halved(raw jsontext.Value) bool {
	_, err := jsontext.AppendUnquote(j.text[len(j.text):], raw)
	return err != nil
}

// topLevel looks at the texts of the outermost object for what says that it is something else.
func (j *jsonReader) topLevel(name string, text []byte) error {
	switch {
	case name == "tool" && string(text) == "loadline":
		return refuse(LoadlineJSON, "Give a list of the objects that the store made.", "it is a report by Loadline, not a listing")
	case slices.Contains(schemaNames, squeeze([]byte(name))) && len(columnsOf(string(text))) > 1:
		return refuse(Schema, "Give it together with the files that it names.", "it names the columns of a listing, %s, but is not one itself", quote(string(text)))
	}
	return nil
}

func (j *jsonReader) broken(err error) error {
	rd := j.rd
	rd.at = j.tree.count + 1
	var syntax *jsontext.SyntacticError
	if errors.As(err, &syntax) && !errors.Is(err, io.ErrUnexpectedEOF) {
		return rd.bad("Get the listing again; this copy of it is damaged.", "the JSON is damaged at byte %d: %s", syntax.ByteOffset, strings.TrimPrefix(syntax.Err.Error(), "jsontext: "))
	}
	return rd.broken(err)
}
