package listing

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"

	"github.com/dustin/go-humanize/english"

	"loadline/checks/internal/disk"
	"loadline/checks/names"
)

// schemaNames are members of a schema file that name the columns, as squeeze leaves them.
var schemaNames = []string{"fileschema", "schema", "columns", "columnnames", "header", "fields"}

const (
	mostSchema = 1 << 20 // bytes of a schema file
	mostBeside = 200     // files beside a part that may be one
)

// A schema names the columns of tables, and may name the tables: they are its parts.
type schema struct {
	path    string
	columns []string
	parts   []string
}

// columnsOf reads names of columns from a text: with commas between, and a key among them.
func columnsOf(text string) []string {
	list := strings.Split(text, ",")
	for i := range list {
		list[i] = strings.TrimSpace(list[i])
		if list[i] == "" {
			return nil
		}
	}
	if !slices.ContainsFunc(list, func(s string) bool { return meaning([]byte(s)).role == RoleKey }) {
		return nil
	}
	return list
}

// parseSchema reads a schema file: a JSON object with a member that names columns, as one text with commas
// or as an array of texts or of objects with a name; and perhaps an array of its parts.
func parseSchema(text []byte) (*schema, bool) {
	var doc map[string]json.RawMessage
	if text = bytes.TrimPrefix(text, []byte("\xef\xbb\xbf")); json.Unmarshal(text, &doc) != nil {
		return nil, false
	}
	s := &schema{}
	for name, raw := range doc {
		if slices.Contains(schemaNames, squeeze([]byte(name))) && s.columns == nil {
			s.columns = schemaColumns(raw)
		}
	}
	if len(s.columns) < 2 {
		return nil, false
	}
	for _, raw := range doc {
		var parts []struct {
			Key, Name, Path, File string
		}
		var plain []string
		switch {
		case json.Unmarshal(raw, &plain) == nil && !slices.Equal(plain, s.columns):
			s.parts = append(s.parts, plain...)
		case json.Unmarshal(raw, &parts) == nil:
			for _, p := range parts {
				for _, name := range []string{p.Key, p.Path, p.File, p.Name} {
					if name != "" && !slices.Contains(s.columns, name) {
						s.parts = append(s.parts, name)
						break
					}
				}
			}
		}
	}
	return s, true
}

func schemaColumns(raw json.RawMessage) []string {
	var text string
	if json.Unmarshal(raw, &text) == nil {
		return columnsOf(text)
	}
	var list []string
	if json.Unmarshal(raw, &list) != nil {
		var objects []struct{ Name string }
		if json.Unmarshal(raw, &objects) != nil {
			return nil
		}
		list = nil // what could be read of it as texts
		for _, o := range objects {
			list = append(list, o.Name)
		}
	}
	return columnsOf(strings.Join(list, ","))
}

func readSchema(path string) (*schema, bool) {
	info, err := os.Stat(path)
	if err != nil || !info.Mode().IsRegular() || info.Size() > mostSchema {
		return nil, false
	}
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, false
	}
	s, ok := parseSchema(text)
	if ok {
		s.path = path
	}
	return s, ok
}

// names reports whether the schema names a file as one of its parts; one that names none is for all.
func (s *schema) names(file string) bool {
	base := filepath.Base(file)
	return len(s.parts) == 0 || slices.ContainsFunc(s.parts, func(p string) bool { return path.Base(p) == base })
}

// A Part is one file of a set.
type Part struct {
	Path   string
	Size   int64
	schema *schema
}

// A Set is what a person gave as one listing: one file or several.
type Set struct {
	Parts []Part
	// Absent are parts that a schema file names and that are not there: the listing is not whole without
	// them.
	Absent []string
}

// Bytes is what the parts hold together.
func (s *Set) Bytes() int64 {
	n := int64(0)
	for _, p := range s.Parts {
		n += p.Size
	}
	return n
}

// Gather settles which files a listing is made of. A schema file stands for the parts that it names, which
// are beside it or in a folder there; a table without a header follows the schema file that is beside it,
// or in the folder above. A file that is given twice is read once.
func Gather(paths []string) (*Set, error) {
	set := &Set{}
	var schemas []*schema
	given := map[string]bool{}
	add := func(path string) error {
		f, err := openFile(path)
		if err != nil {
			return err
		}
		defer f.Close()
		info, err := f.Stat()
		if err != nil {
			return &Error{File: path, Err: disk.WithoutPath(err)}
		}
		real, err := filepath.EvalSymlinks(path)
		if err != nil {
			real = path
		}
		if real, err = filepath.Abs(real); err == nil {
			if given[real] {
				return nil
			}
			given[real] = true
		}
		set.Parts = append(set.Parts, Part{Path: path, Size: info.Size()})
		return nil
	}
	for _, path := range paths {
		s, ok := readSchema(path)
		if !ok {
			if err := add(path); err != nil {
				return nil, err
			}
			continue
		}
		schemas = append(schemas, s)
	}
	for _, s := range schemas {
		if len(s.parts) == 0 && len(paths) == 1 {
			return nil, &Error{File: s.path, Is: Schema, Err: errors.New("it names the columns of a listing, but is not one itself"), Hint: "Give it together with the files of the listing."}
		}
		for _, part := range s.parts {
			path, ok := s.find(part, set.Parts)
			if !ok {
				set.Absent = append(set.Absent, part)
				continue
			}
			if err := add(path); err != nil {
				return nil, err
			}
		}
	}
	if len(set.Parts) == 0 {
		if len(set.Absent) > 0 {
			return nil, &Error{File: schemas[0].path, Is: Schema, Err: fmt.Errorf("none of the %s that it names is beside it", english.Plural(len(set.Absent), "file", "")), Hint: "Put the files beside it, or give them with it."}
		}
		return nil, refuse(Empty, "Ask the store for a list of its objects with key and size.", "no listing was given")
	}
	beside := map[string][]*schema{}
	for i := range set.Parts {
		p := &set.Parts[i]
		for _, s := range schemas {
			if s.names(p.Path) {
				p.schema = s
			}
		}
		if p.schema == nil {
			p.schema = schemaBeside(p.Path, beside)
		}
		if s := p.schema; s != nil && len(s.parts) > 0 && !slices.Contains(schemas, s) {
			// It was not given, but it says which files belong together.
			schemas = append(schemas, s)
			for _, part := range s.parts {
				base := path.Base(part)
				if !slices.ContainsFunc(set.Parts, func(q Part) bool { return filepath.Base(q.Path) == base }) {
					set.Absent = append(set.Absent, part)
				}
			}
		}
	}
	return set, nil
}

// find returns where a part of a schema is: among those given, or beside the schema file.
func (s *schema) find(part string, given []Part) (string, bool) {
	base := path.Base(part)
	for _, p := range given {
		if filepath.Base(p.Path) == base {
			return p.Path, true
		}
	}
	dir := filepath.Dir(s.path)
	var tries []string
	if name, err := filepath.Localize(base); err == nil { // the name of a file on this system
		tries = append(tries, filepath.Join(dir, name))
	}
	for rest := part; ; { // its key, as deep as folders were kept
		if name, err := filepath.Localize(rest); err == nil {
			tries = append(tries, filepath.Join(dir, name), filepath.Join(filepath.Dir(dir), name))
		}
		_, below, more := strings.Cut(rest, "/")
		if !more {
			break
		}
		rest = below
	}
	for _, t := range tries {
		if info, err := os.Stat(t); err == nil && info.Mode().IsRegular() {
			return t, true
		}
	}
	return "", false
}

// schemaBeside looks for the schema file of a part in its folder and the one above.
func schemaBeside(part string, known map[string][]*schema) *schema {
	dir := filepath.Dir(part)
	for range 2 {
		list, ok := known[dir]
		if !ok {
			list = schemasIn(dir)
			known[dir] = list
		}
		var found *schema
		for _, s := range list {
			switch {
			case len(s.parts) > 0 && s.names(part):
				return s
			case len(s.parts) == 0 && found == nil:
				found = s
			case len(s.parts) == 0 && !slices.Equal(found.columns, s.columns):
				found = &schema{} // two that differ: neither is followed
			}
		}
		if found != nil && len(found.columns) > 0 {
			return found
		}
		up := filepath.Dir(dir)
		if up == dir {
			break
		}
		dir = up
	}
	return nil
}

func schemasIn(dir string) []*schema {
	d, err := os.Open(dir)
	if err != nil {
		return nil
	}
	defer d.Close()
	var list []*schema
	tried := 0
	for tried < mostBeside {
		files, err := d.Readdirnames(1024)
		slices.Sort(files)
		for _, name := range files {
			if !strings.EqualFold(filepath.Ext(name), ".json") || tried >= mostBeside {
				continue
			}
			tried++
			if s, ok := readSchema(filepath.Join(dir, name)); ok {
				list = append(list, s)
			}
		}
		if err != nil {
			break
		}
	}
	return list
}

// Read reads all parts one after the other; part is the number of the one that a row stands in. Parts of one
// table that was cut into files may have their header in the first only. Progress counts the bytes of all.
func (s *Set) Read(ctx context.Context, o Options, yield func(part int, r *Row) error) ([]*Format, error) {
	formats := make([]*Format, 0, len(s.Parts))
	done := int64(0)
	for i := range s.Parts {
		p := &s.Parts[i]
		one := s.options(o, i, formats)
		if o.Progress != nil {
			one.Progress = func(n int64) { o.Progress(done + n) }
		}
		f, err := readFile(ctx, p.Path, one, func(r *Row) error { return yield(i, r) })
		var e *Error
		if errors.As(err, &e) && e.Is == Empty && f != nil && len(s.Parts) > 1 {
			err = nil // one part of several may hold nothing; all together must hold something
		}
		if err == nil {
			err = inFile(steadyParts(f, formats), p.Path)
		}
		if err != nil {
			return nil, err
		}
		formats = append(formats, f)
		done += p.Size
	}
	if !slices.ContainsFunc(formats, func(f *Format) bool { return f.Objects+f.Deleted > 0 || f.hasPages() }) {
		for _, f := range formats {
			if f.Skipped[OldVersion] > 0 {
				return nil, refuse(Empty, "List the present versions of the objects.", "all parts list old versions only, and no object that is there now")
			}
		}
		return nil, refuse(Empty, "List the objects again, after they have arrived.", "no part of it lists an object")
	}
	return formats, nil
}

// Inspect reads how part i is written, and its first rows, n at most.
func (s *Set) Inspect(ctx context.Context, o Options, i, n int) (*Format, []Row, error) {
	var before []*Format
	if i > 0 && s.Parts[i].schema == nil {
		if f, _, err := inspect(ctx, s.Parts[0].Path, s.options(o, 0, nil), 1); err == nil {
			before = append(before, f)
		}
	}
	return inspect(ctx, s.Parts[i].Path, s.options(o, i, before), n)
}

// options adds the names of columns that part i follows where it has no header.
func (s *Set) options(o Options, i int, before []*Format) Options {
	if sc := s.Parts[i].schema; sc != nil {
		o.Names, o.NamesFrom = sc.columns, filepath.Base(sc.path)
		return o
	}
	for k, f := range before {
		if f.Shape == Table && f.Header != "" && !f.Guessed {
			o.Names, o.NamesFrom = nil, "the header of "+filepath.Base(s.Parts[k].Path)
			for _, c := range f.Columns {
				o.Names = append(o.Names, c.Name)
			}
			break
		}
	}
	return o
}

// Partial says why the set is not whole: parts that are not there, and what Partial says of the pages.
func (s *Set) Partial(formats []*Format, head string) []string {
	var why []string
	if n := len(s.Absent); n > 0 {
		why = append(why, fmt.Sprintf("%s that the schema file names %s not there, %s first", english.Plural(n, "part", ""), map[bool]string{true: "is", false: "are"}[n == 1], names.Quote(s.Absent[0])))
	}
	return append(why, Partial(formats, head)...)
}
