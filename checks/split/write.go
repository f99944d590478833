package split

import (
	"bufio"
	"fmt"
	"io"
	"unicode/utf8"

	"loadline/checks"
	"loadline/checks/names"
)

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
				say("  %s: %s", place(h.Path), what)
			} else {
				say("  of the files in %s itself: %s", place(h.Path), what)
			}
		}
	}
	if len(p.Torn) > 0 {
		say("")
		say("Not in one box:")
		for _, t := range p.Torn {
			say("  %s", place(t.Path))
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

func place(path string) string {
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
