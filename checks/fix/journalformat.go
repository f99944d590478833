package fix

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"loadline/checks/names"
)

// A journal is a text file of JSON lines: a head, the dates of folders, one line a rename, a
// foot. It is written and flushed whole before the first rename; after that only words of fixed
// width in it change in place, flushed before each step, so that going on and going back need no
// new space on a full disk. The foot holds a checksum of all else: a bit that turned on the disk
// gives no file a name that it never had.
const (
	journalMagic   = "renames"
	journalVersion = 2 // 1 had no checksum
	journalPrefix  = names.OwnPrefix + "renames-"
	journalSuffix  = ".jsonl"
	tempPrefix     = names.OwnPrefix + "moving-"
	wordLen        = 8                 // of the words that change
	wordAt         = len(`{"state":"`) // where they stand in their line
	mostJournal    = 1 << 30           // bytes; a larger file is not ours
	mostHead       = 1 << 16           // and none whose first line is longer
)

// Places where a renamed thing can be, and ways between them. A way stands in the journal before
// the rename, the place after it.
const (
	atOld     = "old"
	atTemp    = "temp"
	atNew     = "new"
	oldToTemp = "old>temp"
	oldToNew  = "old>new"
	tempToNew = "temp>new"
	newToTemp = "new>temp"
	newToOld  = "new>old"
	tempToOld = "temp>old"
	// Of what is made.
	copying  = "copying"  // link to copy
	linking  = "linking"  // copy to link
	packing  = "packing"  // an archive is made
	removing = "removing" // and taken away
)

var words = []string{
	atOld, atTemp, atNew, oldToTemp, oldToNew, tempToNew, newToTemp, newToOld, tempToOld, copying, linking, packing, removing,
	string(StatePlanned), string(StateApplying), string(StateApplied), string(StateUndoing), string(StateUndone),
}

type head struct {
	State    string    `json:"state"`
	Loadline string    `json:"loadline"`
	Version  int       `json:"version"`
	ID       string    `json:"id"`
	Started  time.Time `json:"started"`
	Source   raw       `json:"source"`
}

// line is any line but the head; what is set shows which.
type line struct {
	State string `json:"state,omitempty"` // first, so that it stands at wordAt

	// A rename: Dir is the folder as it was called when the plan was made.
	Dir  raw `json:"dir,omitempty"`
	From raw `json:"from,omitempty"`
	To   raw `json:"to,omitempty"`
	Temp raw `json:"temp,omitempty"`

	Made *made `json:"made,omitempty"` // instead of a rename

	// A folder whose date is kept.
	Folder *raw `json:"folder,omitempty"`

	ID *identity `json:"id,omitempty"`

	// The foot: how many lines stand between, and the SHA-256 of all before it, its words in blanks.
	Lines *int   `json:"lines,omitempty"`
	Sum   string `json:"sha256,omitempty"`
}

// raw is a name or a path of any bytes. In JSON it is a string where it is UTF-8.
type raw string

func (r raw) MarshalJSON() ([]byte, error) {
	if utf8.ValidString(string(r)) {
		return json.Marshal(string(r))
	}
	return json.Marshal(map[string][]byte{"base64": []byte(r)})
}

func (r *raw) UnmarshalJSON(b []byte) error {
	if len(b) > 0 && b[0] == '{' {
		var o struct {
			Base64 []byte `json:"base64"`
		}
		err := json.Unmarshal(b, &o)
		*r = raw(o.Base64)
		return err
	}
	return json.Unmarshal(b, (*string)(r))
}

// encode renders the whole journal and notes where its words stand.
func (j *journalFile) encode() ([]byte, error) {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false) // a word holds ">"
	add := e.Encode
	h := j.head
	h.State = word(h.State)
	errs := []error{add(h)}
	n := 0
	for _, f := range j.folders {
		path := raw(f.path)
		errs = append(errs, add(line{Folder: &path, ID: &f.id}))
		n++
	}
	for _, m := range j.moves {
		m.offset = int64(b.Len() + wordAt)
		l := line{State: word(m.at), Dir: raw(m.dir), From: raw(m.from), To: raw(m.to), Temp: raw(m.temp), ID: &m.id}
		l.Made = m.made
		errs = append(errs, add(l))
		n++
	}
	sum := sha256.New()
	for text := range bytes.Lines(b.Bytes()) {
		sum.Write(fixed(text))
	}
	errs = append(errs, add(line{Lines: &n, Sum: hex.EncodeToString(sum.Sum(nil))}))
	return b.Bytes(), errors.Join(errs...)
}

// word pads a word to the width of its place.
func word(w string) string { return w + strings.Repeat(" ", wordLen-len(w)) }

// fixed returns a line as it stays: its word, if it has one, in blanks.
func fixed(text []byte) []byte {
	if !isWord(text) {
		return text
	}
	return slices.Concat(text[:wordAt], []byte(word("")), text[wordAt+wordLen:])
}

// ErrJournal wraps what makes a file no journal of ours.
var ErrJournal = errors.New("not a journal that can be read")

// errHalf is a journal that was still being written when its program ended: nothing was renamed.
var errHalf = errors.New("the journal breaks off, so nothing was renamed yet")

// decode reads a journal. It trusts nothing: names with a slash, paths that lead out of the source
// and words out of place are refused.
func decode(data []byte) (*journalFile, error) {
	bad := func(n int, what string) error { return fmt.Errorf("%w: line %d %s", ErrJournal, n, what) }
	j := &journalFile{}
	r := bufio.NewReader(bytes.NewReader(data))
	var at int64
	foot := false
	sum := sha256.New()
	for n := 1; ; n++ {
		text, err := r.ReadBytes('\n')
		if errors.Is(err, io.EOF) {
			if len(text) > 0 || !foot {
				if n == 1 {
					// The word is the first to be written, and a plan that was begun has another.
					begin := `{"state":"` + word(string(StatePlanned))
					if !strings.HasPrefix(string(text), begin) && !strings.HasPrefix(begin, string(text)) {
						return nil, bad(1, "is not whole")
					}
					j.head.State = string(StatePlanned)
				}
				return j, errHalf // what lines there are is whole
			}
			return j, nil
		}
		if foot {
			return nil, bad(n, "comes after the end")
		}
		if n == 1 {
			if err := json.Unmarshal(text, &j.head); err != nil || j.head.Loadline != journalMagic {
				return nil, bad(n, "is not the head of a journal")
			}
			if j.head.Version != journalVersion {
				return nil, fmt.Errorf("%w: it is of version %d, this program knows %d", ErrJournal, j.head.Version, journalVersion)
			}
			j.head.State = known(j.head.State)
			if len(j.head.ID) != 8 || strings.Trim(j.head.ID, "0123456789abcdef") != "" {
				return nil, bad(n, "has no valid id")
			}
			if !isWord(text) {
				return nil, bad(n, "has its state out of place")
			}
			at += int64(len(text))
			sum.Write(fixed(text))
			continue
		}
		var l line
		if err := json.Unmarshal(text, &l); err != nil {
			return nil, bad(n, "cannot be read")
		}
		switch {
		case l.Lines != nil:
			if *l.Lines != n-2 {
				return nil, bad(n, "gives a different number of lines")
			}
			if l.Sum != hex.EncodeToString(sum.Sum(nil)) {
				return nil, bad(n, "does not match the lines before it: the journal has changed since it was written")
			}
			foot = true
		case l.Folder != nil:
			if l.ID == nil || !inside(string(*l.Folder)) {
				return nil, bad(n, "does not name a folder of the source")
			}
			j.folders = append(j.folders, dated{string(*l.Folder), *l.ID})
		default:
			m := &move{
				dir: string(l.Dir), from: string(l.From), to: string(l.To), temp: string(l.Temp),
				at: known(l.State), offset: at + int64(wordAt), made: l.Made,
			}
			if l.ID == nil || !inside(m.dir) || !plainName(m.from) || !plainName(m.to) ||
				m.temp != j.tempName(len(j.moves)) || m.made != nil && !m.made.archive() && m.from != m.to {
				return nil, bad(n, "does not name anything on the source")
			}
			if !isWord(text) {
				return nil, bad(n, "has its state out of place")
			}
			m.id = *l.ID
			j.moves = append(j.moves, m)
		}
		at += int64(len(text))
		sum.Write(fixed(text))
	}
}

// isWord reports whether a word stands where it can be changed in place.
func isWord(text []byte) bool {
	return len(text) > wordAt+wordLen && string(text[:wordAt]) == `{"state":"` && text[wordAt+wordLen] == '"'
}

// known returns a word that stands in a journal, "" for one that was half written: then only a
// look at the disk tells.
func known(w string) string {
	w = strings.TrimRight(w, " ")
	if slices.Contains(words, w) {
		return w
	}
	return ""
}

func plainName(s string) bool {
	return s != "" && s != "." && s != ".." && !strings.ContainsAny(s, "/\x00")
}

func inside(path string) bool {
	if path == "" {
		return true
	}
	for s := range strings.SplitSeq(path, "/") {
		if !plainName(s) {
			return false
		}
	}
	return true
}
