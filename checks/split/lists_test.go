package split

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"loadline/checks"
)

// source makes a folder with two files that two boxes take.
func source(t *testing.T) (*Plan, string) {
	t.Helper()
	top := t.TempDir()
	for _, name := range []string{"a/1.mov", "b/2.mov"} {
		file := filepath.Join(top, "archive", filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(file), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(file, make([]byte, 1000), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	p, err := Make(t.Context(), checks.Job{Source: filepath.Join(top, "archive")}, Options{Unit: 1, Boxes: []Box{{Size: 2000}, {Size: 2000}}}, nil)
	if err != nil {
		t.Fatal(err)
	}
	return p, top
}

// entries lists what is in a folder, nothing where it is not there.
func entries(dir string) string {
	var names []string
	list, _ := os.ReadDir(dir)
	for _, e := range list {
		names = append(names, e.Name())
	}
	return strings.Join(names, " ")
}

// The lists are read back by the checks that follow them.
func TestListsReadBack(t *testing.T) {
	p, top := source(t)
	for _, nul := range []bool{false, true} {
		dir := filepath.Join(top, map[bool]string{false: "lines", true: "ended"}[nul])
		if err := p.WriteLists(t.Context(), dir, nul); err != nil {
			t.Fatal(err)
		}
		for i, want := range []string{"a/1.mov", "b/2.mov"} {
			l, err := checks.OpenCopyList(p.Loads[i].List)
			if err != nil || l.Len() != 1 || !l.Has(want) {
				t.Errorf("list %d: %+v, %v", i+1, l, err)
			}
		}
	}
}

// A list that cannot be written takes the others with it, but nothing of somebody else's; and so does a stop.
func TestListsLeaveNothing(t *testing.T) {
	p, top := source(t)
	dir := filepath.Join(top, "taken")
	if err := os.MkdirAll(filepath.Join(dir, "box-2.list"), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := p.WriteLists(t.Context(), dir, false); err == nil || entries(dir) != "box-2.list" || p.Loads[0].List != "" {
		t.Errorf("a list was there: %v; then there is %q", err, entries(dir))
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	// What an earlier call wrote elsewhere is not of this one.
	kept := filepath.Join(top, "kept")
	if err := p.WriteLists(t.Context(), kept, false); err != nil {
		t.Fatal(err)
	}
	if err := p.WriteLists(t.Context(), dir, false); err == nil || entries(kept) != "box-1.list box-2.list" {
		t.Errorf("a list was there: %v; of the earlier ones there is %q", err, entries(kept))
	}
	dir = filepath.Join(top, "stopped")
	if err := p.WriteLists(ctx, dir, false); !errors.Is(err, context.Canceled) {
		t.Errorf("stopped: %v", err)
	}
	if _, err := os.Lstat(dir); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("stopped, but the folder stays: %q, %v", entries(dir), err)
	}
}

// Where lists may be written, and where not.
func TestCheckFolder(t *testing.T) {
	_, top := source(t)
	clutter := filepath.Join(top, "clutter")
	if err := os.Mkdir(clutter, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(clutter, ".DS_Store"), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(top, "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	for dir, want := range map[string]string{
		"file": "cannot be used", "new": "", "clutter": "", "archive": "not empty", "archive/lists": "is inside the source", "a/b": "there is no folder", "archive/a/1.mov": "cannot be used",
	} {
		err := CheckFolder(filepath.Join(top, dir), filepath.Join(top, "archive"))
		if (err == nil) != (want == "") || err != nil && !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, want %q", dir, err, want)
		}
	}
}
