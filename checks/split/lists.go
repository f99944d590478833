package split

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"unicode/utf8"

	"loadline/checks"
	"loadline/checks/internal/disk"
	"loadline/checks/names"
	"loadline/checks/share"
)

// ErrLineBreak: a path contains a line break, so a list with one path per line cannot hold it.
var ErrLineBreak = errors.New("a path contains a line break")

// CheckFolder says by an error why lists cannot be written to a folder: it is there and not empty, the one
// above it is not there, or it would be in the source, where nothing may be changed. It may hang where a
// folder is on a share: call it behind share.Guard.
func CheckFolder(dir, source string) error {
	shown := names.Quote(dir)
	list, err := os.ReadDir(dir)
	place := dir
	switch {
	case errors.Is(err, fs.ErrNotExist):
		if _, err := os.Lstat(dir); err == nil { // Windows says of a file that there is no such folder
			return fmt.Errorf("the folder %s cannot be used for the lists: there is something else of that name", shown)
		}
		if err := disk.Creatable(dir); err != nil {
			return fmt.Errorf("the folder %s cannot be made: %w", shown, err)
		}
		place = filepath.Dir(filepath.Clean(dir))
		if info, err := os.Stat(place); err != nil || !info.IsDir() {
			return fmt.Errorf("there is no folder %s; make it first, or choose another folder for the lists", names.Quote(place))
		}
	case err != nil:
		return fmt.Errorf("the folder %s cannot be used for the lists: %s", shown, checks.Reason(err))
	}
	for _, e := range list {
		if !names.Clutter(e.Name()) {
			return fmt.Errorf("the folder %s is not empty; choose a new one for the lists", shown)
		}
	}
	if in, err := share.Inside(source, place); err == nil && in {
		return fmt.Errorf("%s is inside the source, where nothing may be changed; choose another folder for the lists", shown)
	}
	return nil
}

// ListName is the name of the copy list of the box of an index, which begins at 0.
func ListName(box int) string { return fmt.Sprintf("box-%d.list", box+1) }

// WriteLists writes the copy list of every box that holds something to a folder, which is made if it is not
// there: relative paths, one per line or each ended by NUL, sorted by their bytes. Load.List then names them.
// No file is replaced. On an error nothing stays behind; it is ErrLineBreak where lines cannot hold a path.
func (p *Plan) WriteLists(ctx context.Context, dir string, nul bool) (err error) {
	for i := range p.Loads { // those of an earlier call stay, whatever becomes of these
		p.Loads[i].List = ""
	}
	end := byte(0)
	if !nul {
		end = '\n'
		if n, first := p.broken(); n > 0 {
			return fmt.Errorf("%w: end the paths with NUL instead (-0) (%s, the first is %s)", ErrLineBreak, checks.Plural(n, "path"), names.Quote(first))
		}
	}
	made := false
	if err := os.Mkdir(dir, 0o777); err == nil {
		made = true
	} else if !errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("the folder %s cannot be made: %s", names.Quote(dir), checks.Reason(err))
	}
	defer func() {
		if err == nil {
			return
		}
		for i := range p.Loads {
			if l := &p.Loads[i]; l.List != "" {
				err = errors.Join(err, os.Remove(l.List))
				l.List = ""
			}
		}
		if made {
			err = errors.Join(err, os.Remove(dir))
		}
	}()
	for i := range p.Loads {
		l := &p.Loads[i]
		if l.Files == 0 {
			continue
		}
		file := filepath.Join(dir, ListName(i))
		if err := disk.WriteNew(file, func(w io.Writer) error { return p.writeList(ctx, w, i, end) }); err != nil {
			if ctx.Err() != nil {
				return ctx.Err()
			}
			return fmt.Errorf("the list %s could not be written: %s", names.Quote(file), checks.Reason(err))
		}
		l.List = file
	}
	return nil
}

// writeList writes the copy list of one box.
func (p *Plan) writeList(ctx context.Context, w io.Writer, box int, end byte) error {
	n := 0
	var line []byte
	for path, in := range p.root.boxed() {
		if n++; n%4096 == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		if in == box {
			line = append(append(line[:0], path...), end)
			if _, err := w.Write(line); err != nil {
				return err
			}
		}
	}
	return ctx.Err()
}

// broken counts the paths in boxes that a list with one path per line cannot hold. A carriage return counts
// too: there are readers of lists that take it for the end of a line.
func (p *Plan) broken() (n int64, first string) {
	for path, box := range p.root.boxed() {
		if box != none && strings.ContainsAny(path, "\n\r") {
			if n++; n == 1 {
				first = path
			}
		}
	}
	return n, first
}

// listed is how many folders of a box, or paths that are left, the text names.
const listed = 200

// WriteText writes the plan for people.
func (p *Plan) WriteText(w io.Writer) error {
	b := bufio.NewWriter(w)
	say := func(format string, args ...any) { fmt.Fprintf(b, format+"\n", args...) }
	say("%s", p.Summary())
	say("Source: %s", names.Quote(p.Source))
	for i := range p.Loads {
		l := &p.Loads[i]
		say("")
		if l.Files == 0 {
			say("Box %d, %s: not needed.", i+1, checks.Bytes(l.Size))
			continue
		}
		say("Box %d, %s: %s, %s; %s would be left.", i+1, checks.Bytes(l.Size), checks.Plural(l.Files, "file"), checks.Bytes(l.Bytes), checks.Bytes(l.Size-l.Need.Bytes))
		if l.List != "" {
			say("  list: %s", names.Quote(l.List))
		}
		for k, h := range l.Holds {
			if k == listed {
				say("  and %s more", checks.Count(int64(len(l.Holds)-listed)))
				break
			}
			what := fmt.Sprintf("%s, %s", checks.Plural(h.Files, "file"), checks.Bytes(h.Bytes))
			if h.Whole {
				say("  %s: %s", placeName(h.Path), what)
			} else {
				say("  of the files in %s itself: %s", placeName(h.Path), what)
			}
		}
	}
	if len(p.Torn) > 0 {
		say("")
		say("Not in one box:")
		for _, t := range p.Torn {
			say("  %s", placeName(t.Path))
			say("    why: %s", t.Why)
		}
	}
	if len(p.Left) > 0 {
		say("")
		say("Left out, on no list:")
		for k := range p.Left {
			if k == listed {
				say("  and %s more", checks.Count(int64(len(p.Left)-listed)))
				break
			}
			l := &p.Left[k]
			if l.Files > 1 {
				say("  %s: %s, %s", names.Quote(l.Path), checks.Plural(l.Files, "file"), checks.Bytes(l.Bytes))
			} else if l.Files == 1 {
				say("  %s: %s", names.Quote(l.Path), checks.Bytes(l.Bytes))
			} else {
				say("  %s", names.Quote(l.Path))
			}
			say("    why: %s", checks.Plain(l.Why))
			say("    %s", l.Rule.Fix)
		}
	}
	return b.Flush()
}

func placeName(path string) string {
	if path == "" {
		return "the source"
	}
	return names.Quote(path)
}

type jsonPath struct {
	Path       string `json:"path"`
	PathBase64 []byte `json:"path_base64,omitempty"` // only where Path is not UTF-8
}

func pathOf(path string) jsonPath {
	p := jsonPath{Path: path}
	if !utf8.ValidString(path) {
		p.PathBase64 = []byte(path)
	}
	return p
}

type jsonPart struct {
	jsonPath
	Files int64 `json:"files"`
	Bytes int64 `json:"bytes"`
	Whole bool  `json:"whole"`
}

type jsonBox struct {
	Size    int64      `json:"size"`
	Bytes   int64      `json:"bytes"`
	Files   int64      `json:"files"`
	Folders int64      `json:"folders"`
	Need    int64      `json:"need_bytes"`
	Margin  int64      `json:"margin_bytes"`
	Free    int64      `json:"left_bytes"`
	List    string     `json:"list,omitempty"`
	Holds   []jsonPart `json:"holds"`
}

type jsonTorn struct {
	jsonPath
	Why string `json:"why"`
}

type jsonLeft struct {
	jsonPath
	Files int64  `json:"files"`
	Bytes int64  `json:"bytes"`
	Rule  string `json:"rule"`
	Why   string `json:"why"`
	Fix   string `json:"fix"`
}

// WriteJSON writes the plan as one JSON document.
func (p *Plan) WriteJSON(w io.Writer) error {
	doc := struct {
		Tool    string     `json:"tool"`
		Version string     `json:"version"`
		Schema  int        `json:"schema"`
		Source  jsonPath   `json:"source"`
		Unit    int64      `json:"unit_bytes"`
		Files   int64      `json:"files"`
		Bytes   int64      `json:"bytes"`
		Boxes   []jsonBox  `json:"boxes"`
		Torn    []jsonTorn `json:"torn"`
		Left    []jsonLeft `json:"left"`
	}{
		Tool: "loadline", Version: p.Version, Schema: checks.Schema, Source: pathOf(p.Source), Unit: p.Unit,
		Files: p.Files, Bytes: p.Bytes, Boxes: []jsonBox{}, Torn: []jsonTorn{}, Left: []jsonLeft{},
	}
	for i := range p.Loads {
		l := &p.Loads[i]
		b := jsonBox{
			Size: l.Size, Bytes: l.Bytes, Files: l.Files, Folders: l.Folders, Need: l.Need.Bytes,
			Margin: l.Need.Margin(), Free: l.Size - l.Need.Bytes, List: l.List, Holds: []jsonPart{},
		}
		for _, h := range l.Holds {
			b.Holds = append(b.Holds, jsonPart{pathOf(h.Path), h.Files, h.Bytes, h.Whole})
		}
		doc.Boxes = append(doc.Boxes, b)
	}
	for _, t := range p.Torn {
		doc.Torn = append(doc.Torn, jsonTorn{pathOf(t.Path), t.Why})
	}
	for _, l := range p.Left {
		doc.Left = append(doc.Left, jsonLeft{pathOf(l.Path), l.Files, l.Bytes, l.Rule.ID, l.Why, l.Rule.Fix})
	}
	return checks.EncodeJSON(w, doc)
}
