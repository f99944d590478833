package walk

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
)

// A tree is what to make: names that end with "/" are folders, "a => b" is a link, everything else
// is a file that holds the text. Folders above are made as needed.
type tree map[string]string

func (tr tree) make(t testing.TB) (root string) {
	t.Helper()
	root = t.TempDir()
	for _, name := range slices.Sorted(maps.Keys(tr)) {
		link, target, isLink := strings.Cut(name, " => ")
		path := filepath.Join(root, link)
		var err error
		if strings.HasSuffix(name, "/") {
			err = os.MkdirAll(path, 0o755)
		} else {
			err = os.MkdirAll(filepath.Dir(path), 0o755)
		}
		if err == nil {
			switch {
			case isLink:
				err = os.Symlink(target, path)
			case !strings.HasSuffix(name, "/"):
				err = os.WriteFile(path, []byte(tr[name]), 0o644)
			}
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	return root
}

// seen is all that a walk told.
type seen struct {
	mu      sync.Mutex
	entries map[string]Entry
	why     map[string]error
	folders map[string]*Dir // copies, without Entries
	errs    []string        // broken promises
}

func newSeen() *seen {
	return &seen{entries: map[string]Entry{}, why: map[string]error{}, folders: map[string]*Dir{}}
}

func (s *seen) visit(d *Dir) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.folders[d.Path] != nil {
		s.errs = append(s.errs, fmt.Sprintf("%q is visited twice", d.Path))
	}
	if want := strings.Count(d.Path, "/") + min(len(d.Path), 1); d.Depth != want {
		s.errs = append(s.errs, fmt.Sprintf("%q has depth %d", d.Path, d.Depth))
	}
	s.folders[d.Path] = &Dir{Path: d.Path, Depth: d.Depth, Err: d.Err, Device: d.Device, Loop: d.Loop, Worker: d.Worker}
	for _, e := range d.Entries {
		p := d.Join(e.Name)
		if _, ok := s.entries[p]; ok {
			s.errs = append(s.errs, fmt.Sprintf("%q is listed twice", p))
		}
		s.entries[p] = e
		if err := d.Why(e.Name); (err != nil) != e.Failed {
			s.errs = append(s.errs, fmt.Sprintf("%q: Failed %v, Why %v", p, e.Failed, err))
		} else if err != nil {
			s.why[p] = err
		}
	}
}

// check returns the promises that were broken: each folder that was listed is visited, once, and
// no other.
func (s *seen) check() error {
	errs := s.errs
	for p, e := range s.entries {
		if e.Kind == Folder && !e.Failed && s.folders[p] == nil {
			errs = append(errs, fmt.Sprintf("%q is not visited", p))
		}
	}
	for p := range s.folders {
		if e, ok := s.entries[p]; p != "" && (!ok || e.Kind != Folder || e.Failed) {
			errs = append(errs, fmt.Sprintf("%q is visited but not listed as a folder", p))
		}
	}
	if len(errs) > 0 {
		return errors.New(strings.Join(errs[:min(len(errs), 20)], "\n"))
	}
	return nil
}

// systems are the ways to walk that must agree.
func systems() map[string]func(root string) system {
	m := platformSystems()
	m["portable"] = newPortable
	m["default"] = newSystem
	return m
}

// walkAll walks with several workers and fails the test if a promise is broken.
func walkAll(t testing.TB, root string, sys func(string) system) *seen {
	t.Helper()
	s := newSeen()
	var p Progress
	if err := run(context.Background(), Options{Workers: 4, Visit: s.visit, Progress: &p}, sys(root)); err != nil {
		t.Fatal(err)
	}
	if err := s.check(); err != nil {
		t.Error(err)
	}
	var bytes int64
	for _, e := range s.entries {
		if e.Kind == File {
			bytes += e.Size
		}
	}
	if p.Folders.Load() != int64(len(s.folders)) || p.Entries.Load() != int64(len(s.entries)) || p.Bytes.Load() != bytes {
		t.Errorf("progress says %d folders, %d entries, %d bytes; seen %d, %d, %d",
			p.Folders.Load(), p.Entries.Load(), p.Bytes.Load(), len(s.folders), len(s.entries), bytes)
	}
	return s
}

// same compares what two walks told of one tree.
func same(t *testing.T, a, b *seen) {
	t.Helper()
	n := 0
	complain := func(format string, args ...any) {
		t.Helper()
		if n++; n <= 10 {
			t.Errorf(format, args...)
		}
	}
	for p, e := range a.entries {
		// A bind mount of the same file system is only told by statx.
		f := b.entries[p]
		f.MountRoot = e.MountRoot
		if e != f {
			complain("%q:\n%+v\n%+v", p, e, f)
		}
		if x, y := class(a.why[p]), class(b.why[p]); x != y {
			complain("%q: %v, %v", p, a.why[p], b.why[p])
		}
	}
	for p, d := range a.folders {
		f := b.folders[p]
		switch {
		case f == nil:
			complain("folder %q is missing", p)
		case d.Depth != f.Depth || d.Device != f.Device || d.Loop != f.Loop || class(d.Err) != class(f.Err):
			complain("folder %q:\n%+v\n%+v", p, *d, *f)
		}
	}
	if len(a.entries) != len(b.entries) || len(a.folders) != len(b.folders) {
		complain("%d entries and %d folders; %d and %d", len(a.entries), len(a.folders), len(b.entries), len(b.folders))
	}
}

func class(err error) error {
	if err == nil {
		return nil
	}
	for _, c := range []error{fs.ErrNotExist, fs.ErrPermission} {
		if errors.Is(err, c) {
			return c
		}
	}
	var e *fs.PathError
	if errors.As(err, &e) {
		return e.Err
	}
	return err
}

func (s *seen) names() []string {
	kinds := [...]string{File: "", Folder: "/", Link: "@", Other: "?"}
	var all []string
	for p, e := range s.entries {
		all = append(all, p+kinds[e.Kind])
	}
	slices.SortFunc(all, cmp.Compare[string])
	return all
}
