//go:build linux

package share

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// quick is a small trial whose end nothing but its work decides.
var quick = Wishes{Bytes: 300_001, Files: 5, Time: time.Hour, Deadline: time.Hour}

func listed(t testing.TB, folder string) []string {
	t.Helper()
	entries, err := os.ReadDir(folder)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, e := range entries {
		names = append(names, e.Name())
	}
	return names
}

func TestTryOnALocalFolder(t *testing.T) {
	folder := t.TempDir()
	var last float64
	r, err := Try(t.Context(), folder, Wishes{Bytes: 8<<20 + 1000, Time: time.Hour, Deadline: time.Hour, Progress: func(done float64, doing string) {
		if done < last || done > 1 || doing == "" {
			t.Errorf("progress %v %q after %v", done, doing, last)
		}
		last = done
	}})
	if err != nil || len(r.Problems) > 0 || !r.NamesTried || r.CutsShort || r.FoldsCase || r.FoldsForms {
		t.Fatalf("Try = %+v, %v", r, err)
	}
	var st unix.Statfs_t
	if err := unix.Statfs(folder, &st); err != nil {
		t.Fatal(err)
	}
	if r.NameLimit != int(st.Namelen) {
		t.Errorf("name limit %d, statfs(2) says %d", r.NameLimit, st.Namelen)
	}
	if r.Written != 8<<20+1000 || r.RateLow > r.Rate || r.Rate > r.RateHigh || r.RateLow <= 0 || r.PerFile <= 0 || r.PastCache == "" {
		t.Errorf("measures: %+v", r)
	}
	if !r.ClockKnown || r.ClockAhead != 0 {
		t.Errorf("the clock of this computer is %v ahead of itself", r.ClockAhead)
	}
	if left := listed(t, folder); len(left) > 0 {
		t.Errorf("left: %q", left)
	}
}

// A trial that is stopped in any phase tidies up, where the share answers.
func TestTryStopped(t *testing.T) {
	for _, phase := range []string{
		"Making a trial folder", "Writing and reading back a file", "Trying names", "Timing small files",
		"Measuring the rate", "Reading back", "Removing the trial folder",
	} {
		folder := t.TempDir()
		ctx, cancel := context.WithCancel(t.Context())
		seen := false
		w := quick
		w.Progress = func(_ float64, doing string) {
			if doing == phase {
				seen = true
				cancel()
			}
		}
		r, err := Try(ctx, folder, w)
		if !seen || r == nil || err != nil && !errors.Is(err, context.Canceled) || err == nil && phase != "Removing the trial folder" {
			t.Errorf("stopped while %q (%v): %v", phase, seen, err)
		}
		settled(t) // on a busy machine it may be tidying up still
		if left := listed(t, folder); len(left) > 0 {
			t.Errorf("stopped while %q, left: %q", phase, left)
		}
		cancel()
	}
}

func TestTryCannot(t *testing.T) {
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Try(t.Context(), file, quick); !errors.Is(err, ErrNotFolder) {
		t.Errorf("a file: %v", err)
	}
	if _, err := Try(t.Context(), file+"x", quick); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("nothing: %v", err)
	}
	if _, err := Look(t.Context(), file, 0); !errors.Is(err, ErrNotFolder) {
		t.Errorf("Look at a file: %v", err)
	}
	if _, err := Look(t.Context(), file+"x", 0); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("Look at nothing: %v", err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := Try(ctx, t.TempDir(), quick); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled before: %v", err)
	}
	if _, err := LookBelow(t.Context(), t.TempDir(), "../x", 0); err == nil {
		t.Error("a prefix may climb out")
	}
}

func TestLookAtALocalFolder(t *testing.T) {
	dir := t.TempDir()
	link := filepath.Join(dir, "link")
	if err := os.Mkdir(filepath.Join(dir, "real"), 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink("real", link); err != nil {
		t.Fatal(err)
	}
	f, err := Look(t.Context(), link, 0)
	if err != nil {
		t.Fatal(err)
	}
	var st unix.Statfs_t
	if err := unix.Statfs(dir, &st); err != nil {
		t.Fatal(err)
	}
	if filepath.Base(f.Path) != "real" || f.NFS || f.Space.Total != int64(st.Blocks)*st.Frsize || f.Space.NameLimit != int(st.Namelen) {
		t.Errorf("Look = %+v", f)
	}
	for _, tc := range []struct {
		a, b string
		want bool
	}{{dir, dir, true}, {dir, link, true}, {link, dir, true}, {link, filepath.Join(dir, "real"), true}, {link, t.TempDir(), false}} {
		if got, err := Nested(tc.a, tc.b); got != tc.want || err != nil {
			t.Errorf("Nested(%s, %s) = %v, %v", tc.a, tc.b, got, err)
		}
	}
	if same, err := SameFileSystem(dir, link); !same || err != nil {
		t.Errorf("SameFileSystem = %v, %v", same, err)
	}
	if same, err := SameFileSystem(dir, "/proc"); same || err != nil {
		t.Errorf("SameFileSystem with /proc = %v, %v", same, err)
	}
	if root, err := Look(t.Context(), "/", 0); err != nil || !root.System {
		t.Errorf("Look(/) = %+v, %v", root, err)
	}
}

// plant makes a trial folder of an earlier run.
func plant(t *testing.T, folder, name string, change func(*marker)) string {
	t.Helper()
	path := filepath.Join(folder, name)
	if err := os.Mkdir(path, 0o700); err != nil {
		t.Fatal(err)
	}
	m := newMarker(name)
	m.pid, m.started = 1<<30, time.Now().Add(-time.Minute) // no process has this number
	if change != nil {
		change(&m)
	}
	if err := os.WriteFile(filepath.Join(path, markerName), []byte(m.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestLeftBehind(t *testing.T) {
	folder := t.TempDir()
	write := func(path ...string) {
		if err := os.WriteFile(filepath.Join(path...), nil, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	full := plant(t, folder, ".loadline-trial-aaaaaaaa", nil)
	for _, n := range []string{"probe", "renamed", "unit", "stream", "small-7"} {
		write(full, n)
	}
	if err := os.Mkdir(filepath.Join(full, "names"), 0o700); err != nil {
		t.Fatal(err)
	}
	for _, a := range attempts() {
		write(full, "names", a.name)
	}
	empty := filepath.Join(folder, ".loadline-trial-bbbbbbbb")
	old := time.Now().Add(-time.Hour)
	if err := errors.Join(os.Mkdir(empty, 0o700), os.Chtimes(empty, old, old)); err != nil {
		t.Fatal(err)
	}
	// None of these is a left-over of ours.
	kept := []string{
		plant(t, folder, ".loadline-trial-cccccccc", func(m *marker) { m.name = ".loadline-trial-aaaaaaaa" }),
		plant(t, folder, ".loadline-trial-dddddddd", func(m *marker) { m.pid = os.Getppid() }),
		plant(t, folder, ".loadline-trial-eeeeeeee", func(m *marker) { m.host = "elsewhere" }),
		plant(t, folder, "archive", nil),
		filepath.Join(folder, ".loadline-trial-ffffffff"),
		filepath.Join(folder, ".loadline-trial-gggggggg"),
	}
	if err := errors.Join(os.Symlink(full, kept[4]), os.Mkdir(kept[5], 0o700)); err != nil {
		t.Fatal(err)
	}
	write(kept[5], "film.mov")

	found, err := LeftBehind(t.Context(), folder)
	slices.Sort(found)
	if err != nil || !slices.Equal(found, []string{full, empty}) {
		t.Fatalf("LeftBehind = %q, %v", found, err)
	}
	r, err := Try(t.Context(), folder, quick)
	slices.Sort(r.LeftBehind)
	if err != nil || !slices.Equal(r.LeftBehind, found) {
		t.Errorf("Try = %+v, %v", r, err)
	}
	for _, p := range kept {
		if err := Remove(t.Context(), p); err == nil {
			t.Errorf("%s was removed", p)
		}
		if _, err := os.Lstat(p); err != nil {
			t.Error(err)
		}
	}
	for _, p := range found {
		if err := Remove(t.Context(), p); err != nil {
			t.Error(err)
		}
		if _, err := os.Lstat(p); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("%s is still there: %v", p, err)
		}
	}
}

// A marker of somebody else's making opens no door: what no trial makes stays, and no link is
// followed out of the folder.
func TestRemoveKeepsWhatIsNotOurs(t *testing.T) {
	outside := t.TempDir()
	victim := filepath.Join(outside, "probe")
	if err := os.WriteFile(victim, []byte("footage"), 0o600); err != nil {
		t.Fatal(err)
	}
	for name, set := range map[string]func(trial string) error{
		"a foreign file":      func(p string) error { return os.WriteFile(filepath.Join(p, "film.mov"), nil, 0o600) },
		"a link for a file":   func(p string) error { return os.Symlink(victim, filepath.Join(p, "probe")) },
		"a link for a folder": func(p string) error { return os.Symlink(outside, filepath.Join(p, "names")) },
		"a folder for a file": func(p string) error { return os.Mkdir(filepath.Join(p, "stream"), 0o700) },
		"footage among names": func(p string) error {
			n := filepath.Join(p, "names")
			return errors.Join(os.Mkdir(n, 0o700), os.WriteFile(filepath.Join(n, "a"), []byte("footage"), 0o600))
		},
		"a link for the trial": func(p string) error { return errors.Join(os.Rename(p, p+".x"), os.Symlink(p+".x", p)) },
		"a link for the marker": func(p string) error {
			m := filepath.Join(p, markerName)
			return errors.Join(os.Rename(m, m+"2"), os.Symlink(markerName+"2", m))
		},
		"a FIFO for the marker": func(p string) error {
			m := filepath.Join(p, markerName)
			return errors.Join(os.Remove(m), unix.Mkfifo(m, 0o600))
		},
	} {
		folder := t.TempDir()
		p := plant(t, folder, ".loadline-trial-aaaaaaaa", nil)
		if err := set(p); err != nil {
			t.Fatal(err)
		}
		if err := Remove(t.Context(), p); err == nil {
			t.Errorf("%s: removed", name)
		}
		if b, err := os.ReadFile(victim); err != nil || string(b) != "footage" {
			t.Fatalf("%s: the victim: %q, %v", name, b, err)
		}
	}
}

// Somebody who may write to the share moves the trial folder away, or puts a link to another folder
// in its place, in every phase and over and over. Nothing outside the share is touched, and nothing
// but what the trial made disappears.
func TestTryUnderAttack(t *testing.T) {
	folder, outside := t.TempDir(), t.TempDir()
	precious := []string{"probe", "renamed", "unit", "stream", "small-0", markerName}
	for _, n := range precious {
		if err := os.WriteFile(filepath.Join(outside, n), []byte("footage"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Mkdir(filepath.Join(outside, "names"), 0o700); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	var wg sync.WaitGroup
	swaps := 0
	wg.Go(func() {
		aside := filepath.Join(folder, "aside")
		for ctx.Err() == nil {
			entries, err := os.ReadDir(folder)
			if err != nil {
				t.Error(err)
				return
			}
			for _, e := range entries {
				if !strings.HasPrefix(e.Name(), trialPrefix) || e.Type()&fs.ModeSymlink != 0 {
					continue
				}
				p := filepath.Join(folder, e.Name())
				if os.Rename(p, aside) != nil {
					continue
				}
				swaps++
				if os.Symlink(outside, p) == nil {
					_ = os.Remove(p)
				}
				if os.Rename(aside, p) != nil {
					_ = os.RemoveAll(aside)
				}
			}
		}
	})
	for range 5 {
		_, _ = Try(t.Context(), folder, Wishes{Bytes: 100_000, Files: 10}) // whatever it finds
	}
	cancel()
	wg.Wait()
	if swaps == 0 {
		t.Error("the attack never took place")
	}
	want := append([]string{"names"}, precious...)
	slices.Sort(want)
	got := listed(t, outside)
	slices.Sort(got)
	if !slices.Equal(got, want) {
		t.Errorf("outside there is %q, want %q", got, want)
	}
	if in := listed(t, filepath.Join(outside, "names")); len(in) > 0 {
		t.Errorf("in the folder outside there is %q", in)
	}
	for _, n := range precious {
		if b, err := os.ReadFile(filepath.Join(outside, n)); string(b) != "footage" {
			t.Errorf("%s outside: %q, %v", n, b, err)
		}
	}
}

// A file that somebody else put in the place of one of ours is neither opened nor removed.
func TestPlaceKnowsItsOwn(t *testing.T) {
	dir := t.TempDir()
	p, err := openPlace(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer p.close()
	for name, put := range map[string]func(path string) error{
		"file":   func(p string) error { return os.WriteFile(p, []byte("theirs"), 0o600) },
		"link":   func(p string) error { return os.Symlink("file", p) },
		"fifo":   func(p string) error { return unix.Mkfifo(p, 0o600) },
		"folder": func(p string) error { return os.Mkdir(p, 0o700) },
	} {
		f, err := p.create("ours-" + name)
		if err != nil {
			t.Fatal(err)
		}
		path := filepath.Join(dir, "ours-"+name)
		// Moved aside and not removed, so that its number is not given to the next.
		if err := errors.Join(f.Close(), os.Rename(path, path+".old"), put(path)); err != nil {
			t.Fatal(err)
		}
		if f, err := p.reopen("ours-"+name, 0); err == nil {
			f.Close()
			t.Errorf("a %s was opened for ours", name)
		}
		if err := p.remove("ours-" + name); err == nil {
			t.Errorf("a %s was removed for ours", name)
		}
		if f, err := p.create("ours-" + name); err == nil {
			f.Close()
			t.Errorf("made over a %s", name)
		}
		if _, err := os.Lstat(path); err != nil {
			t.Error(err)
		}
	}
	if _, err := p.enter("ours-link"); err == nil {
		t.Error("a link was entered")
	}
}
