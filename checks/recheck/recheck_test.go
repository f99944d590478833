package recheck

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"loadline/checks"
	"loadline/checks/internal/disk"
	"loadline/checks/internal/fixture"
	"loadline/checks/internal/sums"
	"loadline/checks/manifest"
)

// An archive of n files, as a copy and as a manifest.
func archive(t testing.TB, names ...string) (folder, file string) {
	t.Helper()
	dir := t.TempDir()
	folder, file = filepath.Join(dir, "copy"), filepath.Join(dir, "m.sha256")
	fixture.Must(t, os.Mkdir(folder, 0o755))
	slices.Sort(names)
	h := &manifest.Header{Made: time.Date(2031, 5, 4, 3, 2, 1, 0, time.UTC), Source: "/media/disk", Prefix: "archive"}
	var files []*manifest.File
	for _, n := range names {
		content := "content of " + n
		fixture.WriteFile(t, filepath.Join(folder, n), content)
		files = append(files, &manifest.File{Path: []byte(n), Size: int64(len(content)), Sums: sums.Of(0, []byte(content))})
		h.Files++
		h.Bytes += int64(len(content))
	}
	f, err := os.Create(file)
	fixture.Must(t, err)
	fixture.Must(t, manifest.Write(f, h, slices.Values(files)))
	fixture.Must(t, f.Close())
	return folder, file
}

func findings(rep *checks.Report) []string {
	var list []string
	for c, f := range rep.Findings() {
		list = append(list, fmt.Sprint(c.ID, " ", f.Level, " ", f.Rule.ID, " ", f.Path))
	}
	return list
}

var some = []string{"a", "b/1.mov", "b/2.mov", "b/c/3.wav", "Ä.txt", "leer"}

var cases = map[string]struct {
	change  func(t *testing.T, folder string)
	o       Options
	want    []string
	verdict checks.Status
	says    string
}{
	"good": {nil, Options{}, nil, checks.Passed, "Every byte of 6 files is what the manifest says"},
	"missing and extra": {func(t *testing.T, d string) {
		fixture.Must(t, os.Rename(filepath.Join(d, "b/1.mov"), filepath.Join(d, "b/9.mov")))
	}, Options{}, []string{"copy-complete fail copy-missing b/1.mov", "copy-complete note copy-extra b/9.mov"}, checks.Failed, "1 missing"},
	"another size": {func(t *testing.T, d string) { fixture.WriteFile(t, filepath.Join(d, "a"), "content of a.") }, Options{}, []string{"copy-complete fail copy-size a"}, checks.Failed, "1 of another size"},
	"one byte":     {func(t *testing.T, d string) { fixture.WriteFile(t, filepath.Join(d, "a"), "content of A") }, Options{}, []string{"copy-content fail copy-differs a"}, checks.Failed, "Of 6 files, 1 is not what the manifest says"},
	"another form": {func(t *testing.T, d string) {
		fixture.Must(t, os.Rename(filepath.Join(d, "Ä.txt"), filepath.Join(d, "A\u0308.txt")))
	}, Options{}, []string{"copy-complete note copy-other-form Ä.txt"}, checks.Passed, ""},
	"another form, another content": {func(t *testing.T, d string) {
		fixture.Must(t, os.Remove(filepath.Join(d, "Ä.txt")))
		fixture.WriteFile(t, filepath.Join(d, "A\u0308.txt"), "content of Ö.txt")
	}, Options{}, []string{"copy-complete note copy-other-form Ä.txt", "copy-content fail copy-differs Ä.txt"}, checks.Failed, ""},
	"a link in its place": {func(t *testing.T, d string) {
		fixture.Must(t, os.Rename(filepath.Join(d, "a"), filepath.Join(d, "z")))
		fixture.Must(t, os.Symlink("z", filepath.Join(d, "a")))
	}, Options{}, []string{"copy-complete fail copy-missing a", "copy-complete note copy-extra z"}, checks.Failed, ""},
	"the manifest travels with it": {func(t *testing.T, d string) {
		fixture.WriteFile(t, filepath.Join(d, manifest.Name(time.Unix(0, 0))), "x")
	}, Options{}, nil, checks.Passed, ""},
	"a sample":     {nil, Options{Sample: 20, Seed: 3, HasSeed: true}, []string{"copy-content warn copy-sampled "}, checks.Warned, "with 95 % certainty, fewer than 78 % are damaged"},
	"a tiny one":   {nil, Options{Sample: 0.001}, []string{"copy-content warn copy-sampled "}, checks.Warned, "The one file that was read is what the manifest says"},
	"all the same": {nil, Options{Sample: 100}, nil, checks.Passed, ""},
	"an empty folder": {func(t *testing.T, d string) {
		fixture.Must(t, os.RemoveAll(d))
		fixture.Must(t, os.MkdirAll(filepath.Join(d, "archive"), 0o755))
	}, Options{}, []string{
		"copy-complete fail copy-missing a", "copy-complete fail copy-missing b/1.mov", "copy-complete fail copy-missing b/2.mov", "copy-complete fail copy-missing b/c/3.wav",
		"copy-complete fail copy-missing leer", "copy-complete fail copy-missing Ä.txt",
	}, checks.Failed, "The copy may be in"},
}

func TestRecheck(t *testing.T) {
	for name, tc := range cases {
		t.Run(name, func(t *testing.T) {
			folder, file := archive(t, some...)
			if tc.change != nil {
				tc.change(t, folder)
			}
			rep, err := Run(t.Context(), file, folder, tc.o, nil)
			fixture.Must(t, err)
			if got := withoutCache(findings(rep)); !slices.Equal(got, tc.want) || rep.Verdict != tc.verdict {
				t.Errorf("%v, %q; want %v, %q", rep.Verdict, got, tc.verdict, tc.want)
			}
			var text strings.Builder
			fixture.Must(t, rep.WriteText(&text))
			if plain := strings.Join(strings.Fields(text.String()), " "); !strings.Contains(plain, tc.says) {
				t.Errorf("does not say %q:\n%s", tc.says, text.String())
			}
		})
	}
}

// What a file system cannot do says nothing of the copy.
func withoutCache(list []string) []string {
	return slices.DeleteFunc(list, func(s string) bool { return strings.HasSuffix(s, " copy-through-cache ") })
}

// A choice is repeated by its seed, and another seed makes another one.
func TestSample(t *testing.T) {
	var names []string
	for i := range 50 {
		names = append(names, fmt.Sprintf("f%02d", i))
	}
	_, file := archive(t, names...)
	choice := func(seed uint64, sample float64) (list []int) {
		x, err := manifest.Load(t.Context(), file, manifest.Keep{}, nil)
		fixture.Must(t, err)
		r := &recheck{x: x, o: Options{Sample: sample}}
		r.choose(seed)
		for i, c := range r.chosen {
			if c {
				list = append(list, i)
			}
		}
		if int64(len(list)) != r.nChosen {
			t.Errorf("%d chosen, %d said", len(list), r.nChosen)
		}
		return list
	}
	if a, b := choice(1, 10), choice(1, 10); len(a) != 5 || !slices.Equal(a, b) {
		t.Errorf("%v and %v", a, b)
	}
	if slices.Equal(choice(1, 10), choice(2, 10)) {
		t.Error("two seeds choose alike")
	}
	for sample, want := range map[float64]int{0.0001: 1, 2: 1, 2.1: 2, 50: 25, 99.9: 50} {
		if n := len(choice(7, sample)); n != want {
			t.Errorf("%g %%: %d files, want %d", sample, n, want)
		}
	}
	// Every file is chosen as often as any other, within six standard deviations.
	hits := make([]int, 50)
	const runs = 2000
	x, err := manifest.Load(t.Context(), file, manifest.Keep{}, nil)
	fixture.Must(t, err)
	for seed := range uint64(runs) {
		r := &recheck{x: x, o: Options{Sample: 10}}
		r.choose(seed)
		for i, c := range r.chosen {
			if c {
				hits[i]++
			}
		}
	}
	for i, n := range hits {
		if n < 200-6*13 || n > 200+6*13 {
			t.Errorf("file %d was chosen %d times of %d", i, n, runs)
		}
	}
}

// A run that was stopped goes on where it was; one that ended is done anew. The copy that was good is remembered,
// and forgotten when it is no longer.
func TestRecheckResumes(t *testing.T) {
	var names []string
	for i := range 40 {
		names = append(names, fmt.Sprintf("f%02d", i))
	}
	folder, file := archive(t, names...)
	state := t.TempDir()
	o := Options{State: state}
	ctx, cancel := context.WithCancel(t.Context())
	rep, err := Run(ctx, file, folder, o, func(e checks.Event) {
		if e.Check != nil && e.Check.ID == "copy-content" && e.Result == nil {
			cancel()
		}
	})
	if !errors.Is(err, context.Canceled) || rep == nil || !rep.Interrupted || rep.Verdict == checks.Passed {
		t.Fatalf("stopped: %v, %+v", err, rep)
	}
	x, err := manifest.Load(t.Context(), file, manifest.Keep{}, nil)
	fixture.Must(t, err)
	seal := x.Seal
	if len(manifest.Recalled(state, seal)) != 0 {
		t.Error("remembered though it was stopped")
	}
	for i := range 2 {
		rep, err = Run(t.Context(), file, folder, o, nil)
		fixture.Must(t, err)
		if rep.Verdict != checks.Passed {
			t.Fatalf("run %d: %q", i, findings(rep))
		}
		if f := rep.Result("copy-content").Fact("read_before_stop"); f.Key != "" && i == 1 {
			t.Errorf("a new recheck takes what an earlier one had read: %s", f.Text)
		}
	}
	known := manifest.Recalled(state, seal)
	if len(known) != 1 || known[0].Folder != folder || !known[0].Whole() || known[0].Of != 40 {
		t.Fatalf("remembered: %+v", known)
	}
	// A sample does not take the place of the whole.
	_, err = Run(t.Context(), file, folder, Options{State: state, Sample: 10}, nil)
	fixture.Must(t, err)
	if known = manifest.Recalled(state, seal); !slices.ContainsFunc(known, func(r manifest.Rechecked) bool { return r.Whole() }) {
		t.Errorf("a sample took the place of the whole: %+v", known)
	}
	fixture.WriteFile(t, filepath.Join(folder, "f00"), "content of F00")
	if rep, err = Run(t.Context(), file, folder, o, nil); err != nil || rep.Verdict != checks.Failed {
		t.Fatalf("%v, %v", err, rep)
	}
	if known = manifest.Recalled(state, seal); len(known) != 0 {
		t.Errorf("still remembered as good: %+v", known)
	}
}

// What was read within a session counts, and nothing older.
func TestRecheckSession(t *testing.T) {
	folder, file := archive(t, some...)
	x, err := manifest.Load(t.Context(), file, manifest.Keep{}, nil)
	fixture.Must(t, err)
	now := time.Date(2031, 5, 4, 3, 2, 1, 0, time.UTC)
	r := &recheck{x: x, o: Options{State: t.TempDir(), Now: func() time.Time { return now }}}
	first := r.session("disk", folder)
	now = now.Add(6 * 24 * time.Hour)
	if s := r.session("disk", folder); !s.Began.Equal(first.Began) || s.Seed != first.Seed {
		t.Errorf("after six days it begins at %v with seed %d, not %v with %d", s.Began, s.Seed, first.Began, first.Seed)
	}
	if s := r.session("other disk", folder); !s.Began.Equal(now) {
		t.Errorf("another disk goes on from %v", s.Began)
	}
	now = now.Add(2 * 24 * time.Hour)
	s := r.session("disk", folder)
	if !s.Began.Equal(now) {
		t.Errorf("after eight days it goes on from %v", s.Began)
	}
	s.end()
	now = now.Add(time.Hour)
	if s := r.session("disk", folder); !s.Began.Equal(now) {
		t.Errorf("after its end it goes on from %v", s.Began)
	}
}

func TestRecheckRefused(t *testing.T) {
	folder, file := archive(t, some...)
	bad := filepath.Join(t.TempDir(), "bad")
	fixture.WriteFile(t, bad, "no manifest")
	for _, tc := range []struct {
		file, folder string
		o            Options
		field        checks.Field
	}{
		{bad, folder, Options{}, checks.FieldManifest},
		{"", folder, Options{}, checks.FieldManifest},
		{bad + "x", folder, Options{}, checks.FieldManifest},
		{folder, folder, Options{}, checks.FieldManifest},
		{file, "", Options{}, checks.FieldSource},
		{file, bad, Options{}, checks.FieldSource},
		{file, folder + "x", Options{}, checks.FieldSource},
		{file, folder, Options{Sample: -1}, checks.FieldSample},
		{file, folder, Options{Sample: 100.1}, checks.FieldSample},
	} {
		rep, err := Run(t.Context(), tc.file, tc.folder, tc.o, nil)
		var job *checks.JobError
		if rep != nil || !errors.As(err, &job) || job.Field != tc.field {
			t.Errorf("%+v: %v, %v", tc, rep, err)
		}
	}
}

// What a disk does while it is read: a file that cannot be opened, one that changes, one that comes from the cache.
func TestRecheckReading(t *testing.T) {
	at := func(name string, then func(path string) (*disk.Reader, error)) func(string) (*disk.Reader, error) {
		return func(path string) (*disk.Reader, error) {
			if filepath.Base(path) == name {
				return then(path)
			}
			return disk.OpenPast(path)
		}
	}
	for rule, tc := range map[string]struct {
		open    func(string) (*disk.Reader, error)
		want    string
		verdict checks.Status
	}{
		"copy-unreadable": {at("a", func(path string) (*disk.Reader, error) {
			return nil, &os.PathError{Op: "open", Path: path, Err: syscall.EIO}
		}), "copy-content fail copy-unreadable a", checks.Failed},
		"copy-changing": {at("a", func(path string) (*disk.Reader, error) {
			r, err := disk.OpenPast(path)
			if err == nil {
				err = os.WriteFile(path, []byte("content of a, and more"), 0o600)
			}
			return r, err
		}), "copy-content fail copy-changing a", checks.Failed},
	} {
		t.Run(rule, func(t *testing.T) {
			folder, file := archive(t, some...)
			rep, err := Run(t.Context(), file, folder, Options{open: tc.open}, nil)
			fixture.Must(t, err)
			if got := findings(rep); !slices.Contains(got, tc.want) || rep.Verdict != tc.verdict {
				t.Errorf("%v, %q; want %v, %q", rep.Verdict, got, tc.verdict, tc.want)
			}
		})
	}
}

// TestEveryRuleHasACase finds rules that no case wants.
func TestEveryRuleHasACase(t *testing.T) {
	seen := map[string]bool{"copy-unreadable": true, "copy-changing": true, "copy-through-cache": true} // by TestRecheckReading and TestRecheckThroughCache
	for _, tc := range cases {
		for _, w := range tc.want {
			seen[strings.Fields(w)[2]] = true
		}
	}
	for _, c := range List() {
		for _, r := range c.Rules {
			if !seen[r.ID] {
				t.Errorf("rule %s has no case", r.ID)
			}
		}
	}
}

func TestListIsValid(t *testing.T) {
	if err := checks.Validate(List()); err != nil {
		t.Error(err)
	}
}
