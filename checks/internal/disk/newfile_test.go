package disk

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"loadline/checks/internal/fixture"
)

func text(s string) func(io.Writer) error {
	return func(w io.Writer) error { _, err := io.WriteString(w, s); return err }
}

// holds fails unless a folder holds exactly these files with this content.
func holds(t testing.TB, dir string, want map[string]string) {
	t.Helper()
	list, err := os.ReadDir(dir)
	fixture.Must(t, err)
	got := map[string]string{}
	for _, e := range list {
		b, err := os.ReadFile(filepath.Join(dir, e.Name()))
		fixture.Must(t, err)
		got[e.Name()] = string(b)
	}
	if fmt.Sprint(got) != fmt.Sprint(want) {
		t.Errorf("%s holds %q, want %q", dir, got, want)
	}
}

func TestWriteNew(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "report.txt")
	fixture.Must(t, WriteNew(path, text("first")))
	if err := WriteNew(path, text("second")); !errors.Is(err, fs.ErrExist) {
		t.Errorf("a taken name: %v", err)
	}
	fixture.Must(t, os.Symlink("nowhere", filepath.Join(dir, "link")))
	if err := WriteNew(filepath.Join(dir, "link"), text("x")); !errors.Is(err, fs.ErrExist) {
		t.Errorf("a name that is a dangling link: %v", err)
	}
	fixture.Must(t, os.Remove(filepath.Join(dir, "link")))
	holds(t, dir, map[string]string{"report.txt": "first"})

	broken := errors.New("the disk of the reader is broken")
	err := WriteNew(filepath.Join(dir, "other"), func(w io.Writer) error {
		_, _ = io.WriteString(w, strings.Repeat("x", 3<<20)) // more than is held back
		return broken
	})
	if !errors.Is(err, broken) {
		t.Errorf("an error of the filler: %v", err)
	}
	if err := WriteNew(filepath.Join(dir, "no", "folder"), text("x")); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("no folder: %v", err)
	}
	// 255 bytes is the longest name (limits.h, NAME_MAX), and its temporary name must fit as well.
	long := strings.Repeat("é", 127) + "x"
	fixture.Must(t, WriteNew(filepath.Join(dir, long), text("long")))
	holds(t, dir, map[string]string{"report.txt": "first", long: "long"})
}

// A name that is taken while the file is being written is not replaced, whichever way the rename goes.
func TestWriteNewMeanwhile(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "report.txt")
	err := WriteNew(path, func(w io.Writer) error {
		fixture.Must(t, os.WriteFile(path, []byte("theirs"), 0o644))
		return text("ours")(w)
	})
	if !errors.Is(err, fs.ErrExist) {
		t.Errorf("got %v", err)
	}
	holds(t, dir, map[string]string{"report.txt": "theirs"})
}

// Of many that want one name exactly one gets it, by each of the ways.
func TestRenameNewRace(t *testing.T) {
	ways := map[string]func(from, to string) error{"system": RenameNew, "link": renameByLink, "claim": renameByClaim}
	for name, rename := range ways {
		t.Run(name, func(t *testing.T) {
			for range 50 {
				dir := t.TempDir()
				to := filepath.Join(dir, "to")
				var won atomic.Int64
				var all sync.WaitGroup
				for i := range 8 {
					from := filepath.Join(dir, fmt.Sprint("from", i))
					fixture.Must(t, os.WriteFile(from, []byte(fmt.Sprint(i)), 0o644))
					all.Go(func() {
						switch err := rename(from, to); {
						case err == nil:
							won.Add(1)
							fixture.Must(t, os.WriteFile(filepath.Join(dir, "winner"), []byte(fmt.Sprint(i)), 0o644))
						case !errors.Is(err, fs.ErrExist):
							t.Error(err)
						}
					})
				}
				all.Wait()
				got, err := os.ReadFile(to)
				fixture.Must(t, err)
				winner, err := os.ReadFile(filepath.Join(dir, "winner"))
				fixture.Must(t, err)
				if won.Load() != 1 || string(got) != string(winner) {
					t.Fatalf("%d won, the file is of %q, who won is %q", won.Load(), got, winner)
				}
				if list, _ := os.ReadDir(dir); len(list) != 9 {
					t.Fatalf("%d files, want the renamed one, the winner's name and the 7 that lost", len(list))
				}
			}
		})
	}
}

func TestRenameNewFolder(t *testing.T) {
	dir := t.TempDir()
	from, to := filepath.Join(dir, "from"), filepath.Join(dir, "to")
	fixture.Must(t, os.Mkdir(from, 0o755))
	fixture.Must(t, os.Mkdir(to, 0o755)) // rename(2) would replace an empty folder
	if err := RenameNew(from, to); !errors.Is(err, fs.ErrExist) {
		t.Errorf("got %v", err)
	}
	if err := renameByLink(from, filepath.Join(dir, "new")); !errors.Is(err, errors.ErrUnsupported) {
		t.Errorf("a folder has no second name: %v", err)
	}
	fixture.Must(t, os.Remove(to))
	fixture.Must(t, RenameNew(from, to))
}

// An answer that was lost on the way from an NFS server: the second name is there, and is ours. One
// that was there before is not.
func TestRenameByLinkTwice(t *testing.T) {
	dir := t.TempDir()
	from, to := filepath.Join(dir, "from"), filepath.Join(dir, "to")
	fixture.Must(t, os.WriteFile(from, []byte("x"), 0o644))
	fixture.Must(t, os.Link(from, to))
	if err := renameByLink(from, to); !errors.Is(err, fs.ErrExist) {
		t.Errorf("a second name that was there before: %v", err)
	}
	holds(t, dir, map[string]string{"from": "x", "to": "x"})
}

func TestWriteNumbered(t *testing.T) {
	dir := t.TempDir()
	for _, want := range []string{"list.txt", "list-2.txt", "list-3.txt"} {
		got, err := WriteNumbered(filepath.Join(dir, "list.txt"), text(want))
		fixture.Must(t, err)
		if got != filepath.Join(dir, want) {
			t.Errorf("got %s, want %s", got, want)
		}
	}
	holds(t, dir, map[string]string{"list.txt": "list.txt", "list-2.txt": "list-2.txt", "list-3.txt": "list-3.txt"})
}

func TestReplace(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "state.json")
	fixture.Must(t, Replace(path, text("one")))
	fixture.Must(t, Replace(path, text("two")))
	holds(t, dir, map[string]string{"state.json": "two"})
	broken := errors.New("broken")
	if err := Replace(path, func(io.Writer) error { return broken }); !errors.Is(err, broken) {
		t.Errorf("got %v", err)
	}
	holds(t, dir, map[string]string{"state.json": "two"})
	fixture.Must(t, os.Mkdir(filepath.Join(dir, "folder"), 0o755))
	if err := Replace(filepath.Join(dir, "folder"), text("x")); err == nil {
		t.Error("a folder was replaced")
	}
}

func TestSweep(t *testing.T) {
	dir := t.TempDir()
	now := time.Now()
	for _, name := range []string{".list.txt.123.part", ".list.txt.124.part", ".theirs.123.part", ".list.txt.12x.part", "list.txt", ".123.part", "list.txt.9.part"} {
		fixture.Must(t, os.WriteFile(filepath.Join(dir, name), nil, 0o644))
	}
	fixture.Must(t, os.Chtimes(filepath.Join(dir, ".list.txt.124.part"), now, now.Add(-2*time.Hour)))
	fixture.Must(t, os.Mkdir(filepath.Join(dir, ".list.txt.125.part"), 0o755))
	Sweep(dir, time.Hour, now, func(file string) bool { return file == "list.txt" })
	list, err := os.ReadDir(dir)
	fixture.Must(t, err)
	for _, e := range list {
		if e.Name() == ".list.txt.124.part" {
			t.Error("an old file of ours stays")
		}
	}
	if len(list) != 7 {
		t.Errorf("%d stay, want 7: %v", len(list), list)
	}
}

// Every name that a writer uses is known as one, and for which file.
func TestTemporary(t *testing.T) {
	dir := t.TempDir()
	for _, name := range []string{"a", ".a", "loadline-2026-11-25.sha256", "a.5", "ends.part"} {
		f, err := createTemporary(filepath.Join(dir, name))
		fixture.Must(t, err)
		fixture.Must(t, f.Close())
		if got, ok := Temporary(filepath.Base(f.Name())); !ok || got != name {
			t.Errorf("%s is %q, %v; want %q", f.Name(), got, ok, name)
		}
	}
}

// The names are those that Microsoft lists in "Naming Files, Paths, and Namespaces".
func TestCreatable(t *testing.T) {
	for _, name := range []string{
		"CON", "con", "prn.txt", "AUX", "nul.tar.gz", "COM1", "com9.log", "LPT1", "lpt9", "COM¹", "LPT³.txt", "nul ", "CONIN$",
		"a:b", "a.", "a ",
	} {
		if creatable("windows", name) == nil {
			t.Errorf("%q is taken", name)
		}
		if creatable("linux", name) != nil {
			t.Errorf("%q is not taken where it could be", name)
		}
	}
	for _, name := range []string{"console", "con1", "COM", "COM10", "LPT", "aux1", "nulls.txt", "a.con", "ünter.txt", "com.txt"} {
		if err := creatable("windows", name); err != nil {
			t.Errorf("%q: %v", name, err)
		}
	}
}

func TestLongPath(t *testing.T) {
	for path, want := range map[string]string{
		`C:\a`:       `\\?\C:\a`,
		`\\box\s\a`:  `\\?\UNC\box\s\a`,
		`\\?\C:\a`:   `\\?\C:\a`,
		`\\.\pipe\a`: `\\.\pipe\a`,
	} {
		if got := longPath(path); got != want {
			t.Errorf("%s: %s, want %s", path, got, want)
		}
	}
}
