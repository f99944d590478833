package walk

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"loadline/checks/internal/disk"
)

func TestWalk(t *testing.T) {
	for _, c := range []struct {
		name string
		tree tree
		want []string
	}{
		{"empty", tree{}, nil},
		{"one file", tree{"a": "x"}, []string{"a"}},
		{"nested", tree{"a/b/c": "", "a/b/d/": "", "e": "", "a.b/c": ""}, []string{"a.b/", "a.b/c", "a/", "a/b/", "a/b/c", "a/b/d/", "e"}},
		{"links are not followed", tree{"a/f": "", "b => a": "", "c => a/f": "", "a/up => ..": "", "gone => nowhere": "", "self => self": ""}, []string{"a/", "a/f", "a/up@", "b@", "c@", "gone@", "self@"}},
		{"dots", tree{"...": "", "..a": "", ".a/": "", ".b/..c": ""}, []string{"...", "..a", ".a/", ".b/", ".b/..c"}},
	} {
		for name, sys := range systems() {
			t.Run(c.name+"/"+name, func(t *testing.T) {
				if got := walkAll(t, c.tree.make(t), sys).names(); !slices.Equal(got, c.want) {
					t.Errorf("got  %q\nwant %q", got, c.want)
				}
			})
		}
	}
}

func TestRoot(t *testing.T) {
	root := tree{"a/b": "", "to => a": "", "gone => nowhere": "", "f": ""}.make(t)
	for name, sys := range systems() {
		t.Run(name, func(t *testing.T) {
			s := walkAll(t, filepath.Join(root, "to"), sys)
			if got := s.names(); !slices.Equal(got, []string{"b"}) {
				t.Errorf("through a link: %q", got)
			}
			for _, bad := range []string{"nothing", "gone", "f", "f/x"} {
				path := filepath.Join(root, bad)
				err := run(context.Background(), Options{Workers: 2, Visit: func(d *Dir) {
					t.Errorf("%s: visited %q", bad, d.Path)
				}}, sys(path))
				if err == nil || !strings.Contains(err.Error(), path) {
					t.Errorf("%s: error %v", bad, err)
				}
				if want := fs.ErrNotExist; (bad == "nothing" || bad == "gone") && !errors.Is(err, want) {
					t.Errorf("%s: error %v, want %v", bad, err, want)
				}
			}
		})
	}
}

func TestResolve(t *testing.T) {
	o := Options{Workers: 7}
	if n := o.Resolve("/"); n != 7 {
		t.Errorf("got %d", n)
	}
	o = Options{}
	root := t.TempDir()
	if n := o.Resolve(root); n < 2 || n != o.Workers || n != DefaultWorkers(root) {
		t.Errorf("resolved to %d, Workers %d", n, o.Workers)
	}
	if n := DefaultWorkers(filepath.Join(root, "nothing")); n < 2 {
		t.Errorf("nothing: %d", n)
	}
}

func TestWorkersFor(t *testing.T) {
	for _, c := range []struct {
		m           disk.Medium
		cores, want int
	}{
		{disk.Medium{Rotates: disk.Yes}, 1, 2},
		{disk.Medium{Rotates: disk.Yes}, 64, 2},
		{disk.Medium{USB: disk.Yes}, 64, 2}, // nobody knows whether it rotates
		{disk.Medium{USB: disk.Yes, Rotates: disk.No}, 8, 8},
		{disk.Medium{Network: disk.Yes}, 2, 32},
		{disk.Medium{Memory: true}, 8, 8},
		{disk.Medium{Rotates: disk.No}, 1, 2},
		{disk.Medium{Rotates: disk.No}, 64, 16},
		{disk.Medium{}, 1, 4},
		{disk.Medium{}, 64, 16},
	} {
		if got := workersFor(&c.m, c.cores); got != c.want {
			t.Errorf("%+v, %d cores: %d, want %d", c.m, c.cores, got, c.want)
		}
	}
}

// TestVanished removes what has been listed before it is opened: the only worker is still visiting
// the parent.
func TestVanished(t *testing.T) {
	for name, sys := range systems() {
		t.Run(name, func(t *testing.T) {
			root := tree{"a/f": "", "b/f": ""}.make(t)
			s := newSeen()
			o := Options{Workers: 1, Visit: func(d *Dir) {
				s.visit(d)
				if d.Path == "" {
					if err := errors.Join(os.RemoveAll(filepath.Join(root, "a")), os.RemoveAll(filepath.Join(root, "b"))); err != nil {
						t.Error(err)
					}
				}
			}}
			if err := run(context.Background(), o, sys(root)); err != nil {
				t.Fatal(err)
			}
			for _, p := range []string{"a", "b"} {
				if d := s.folders[p]; d == nil || !errors.Is(d.Err, fs.ErrNotExist) {
					t.Errorf("%s: %+v", p, d)
				}
			}
			if err := s.check(); err != nil {
				t.Error(err)
			}
		})
	}
}

func TestCloserLook(t *testing.T) {
	root := tree{"d/file": "0123456789", "d/link => ../else where": "", "d/sub/x": ""}.make(t)
	for name, sys := range systems() {
		t.Run(name, func(t *testing.T) {
			var kept *Dir
			o := Options{Workers: 1, Visit: func(d *Dir) {
				kept = d
				if d.Path != "d" {
					return
				}
				if s, err := d.Readlink("link"); s != "../else where" || err != nil {
					t.Errorf("Readlink: %q, %v", s, err)
				}
				if s, err := d.Readlink("file"); err == nil {
					t.Errorf("Readlink of a file: %q", s)
				}
				b := make([]byte, 4)
				if n, err := d.Head("file", b); n != 4 || err != nil || string(b) != "0123" {
					t.Errorf("Head: %d, %v, %q", n, err, b)
				}
				b = make([]byte, 20)
				if n, err := d.Head("file", b); n != 10 || err != nil || string(b[:n]) != "0123456789" {
					t.Errorf("Head of more than there is: %d, %v", n, err)
				}
				if n, err := d.Head("link", b); err == nil {
					t.Errorf("Head follows a link: %q", b[:n])
				}
				for _, e := range d.Entries {
					if err := d.Access(e.Name); err != nil {
						t.Errorf("Access: %v", err)
					}
					if got, err := Look(root, "d/"+e.Name); err != nil || got != e {
						t.Errorf("Look at path: %v\n%+v\n%+v", err, got, e)
					}
					if _, err := d.Xattrs(e.Name); err != nil {
						t.Errorf("Xattrs: %v", err)
					}
				}
				if e, err := Look(root, "d/nothing"); !errors.Is(err, fs.ErrNotExist) || !e.Failed || e.Name != "nothing" {
					t.Errorf("Look at nothing: %+v, %v", e, err)
				}
				if err := d.Access("nothing"); !errors.Is(err, fs.ErrNotExist) {
					t.Errorf("Access to nothing: %v", err)
				}
			}}
			if err := run(context.Background(), o, sys(root)); err != nil {
				t.Fatal(err)
			}
			if _, err := kept.Readlink("link"); !errors.Is(err, errNotVisiting) {
				t.Errorf("after the visit: %v", err)
			}
		})
	}
	if e, err := Look(root, ""); err != nil || e.Kind != Folder || e.Name != "" {
		t.Errorf("Look at the root: %+v, %v", e, err)
	}
	if e, err := Look(root, "d/nothing/x"); !errors.Is(err, fs.ErrNotExist) || !e.Failed {
		t.Errorf("Look at nothing: %+v, %v", e, err)
	}
}

// TestEntriesAreOverwritten guards against what a former folder left in the reused entries.
func TestEntriesAreOverwritten(t *testing.T) {
	var w worker
	big := w.grow(100)
	for i := range big {
		big[i] = Entry{Name: "x", Failed: true, MountRoot: true, Size: 9}
	}
	root := tree{"a": "1"}.make(t)
	for name, sys := range systems() {
		w := worker{walk: &engine{}, entries: w.entries}
		s := sys(root)
		l := s.lister()
		w.dir = Dir{by: &w}
		l.list(&node{}, &w)
		e := w.dir.Entries
		if len(e) != 1 || e[0].Failed || e[0].MountRoot || e[0].Size != 1 || e[0].Name != "a" {
			t.Errorf("%s: %+v", name, e)
		}
		l.done()
		s.close()
	}
}

func TestGrow(t *testing.T) {
	var w worker
	if e := w.grow(3); len(e) != 3 || cap(w.entries) < 3 {
		t.Error("small")
	}
	if e := w.grow(keepEntries); len(e) != keepEntries || cap(w.entries) != keepEntries {
		t.Error("largest that is kept")
	}
	if e := w.grow(keepEntries + 1); len(e) != keepEntries+1 || cap(e) > keepEntries+1024 || w.entries != nil {
		t.Error("huge ones must be let go, and made no larger than needed")
	}
}
