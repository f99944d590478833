package selftest

import (
	"errors"
	"io/fs"
	"os"
	"os/user"
	"path/filepath"
	"regexp"
	"sort"
	"strings"

	"loadline/checks/share"
)

// A hider replaces what names a person, a machine or a place by words in capitals.
type hider struct{ names []replaced }

type replaced struct{ name, word string }

func newHider(f *share.Facts) *hider {
	h := &hider{}
	m := &f.Mount
	h.add(f.Path, "FOLDER")
	h.add(m.Point, "POINT")
	h.add(m.From, "FROM")
	h.add(m.Root, "ROOT")
	h.add(m.Server(), "SERVER")
	if _, export, err := share.SplitExport(m.From); err == nil {
		h.add(export, "EXPORT")
	}
	h.machine()
	return h
}

// machine adds what names this computer and who uses it.
func (h *hider) machine() {
	if host, err := os.Hostname(); err == nil {
		h.add(host, "MACHINE")
		short, _, _ := strings.Cut(host, ".")
		h.add(short, "MACHINE")
	}
	if home, err := os.UserHomeDir(); err == nil {
		h.add(home, "HOME")
	}
	if u, err := user.Current(); err == nil {
		h.add(filepath.Base(u.HomeDir), "PERSON")
		h.add(u.Username, "PERSON")
	}
	// Longer ones first: a folder's name may begin with that of the one it is in.
	sort.SliceStable(h.names, func(i, j int) bool { return len(h.names[i].name) > len(h.names[j].name) })
}

func (h *hider) add(name, word string) {
	if len(name) > 1 { // "/" and "." name nothing
		h.names = append(h.names, replaced{name, word})
	}
}

// Addresses of version 4 and 6, and those of network cards.
var addresses = regexp.MustCompile(`\b[0-9]{1,3}(\.[0-9]{1,3}){3}\b|[0-9a-fA-F]{0,4}(:[0-9a-fA-F]{0,4}){2,7}`)

func (h *hider) text(s string) string {
	for _, r := range h.names {
		s = strings.ReplaceAll(s, r.name, r.word)
		s = strings.ReplaceAll(s, strings.ReplaceAll(r.name, " ", `\040`), r.word) // as mount tables write it
	}
	return addresses.ReplaceAllString(s, "ADDRESS")
}

// failed says what went wrong, without the names in it.
func failed(err error, path string) string {
	var p *fs.PathError
	var l *os.LinkError
	text := err.Error()
	switch {
	case errors.As(err, &p):
		text = p.Op + ": " + p.Err.Error()
	case errors.As(err, &l):
		text = l.Op + ": " + l.Err.Error()
	}
	h := &hider{}
	h.add(path, "FOLDER")
	h.machine()
	return "error: " + h.text(text)
}
