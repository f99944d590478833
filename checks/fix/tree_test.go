package fix

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"golang.org/x/text/cases"
	"golang.org/x/text/unicode/norm"

	"loadline/checks"
	"loadline/checks/before"
	"loadline/checks/names"
	"loadline/checks/share"
)

// plant makes a tree: "d/" is a folder, "a => b" a link to b, all else a file that holds its own
// path. Dates are old and all different, so that a date that is not put back shows.
func plant(t testing.TB, root string, tree ...string) {
	t.Helper()
	try := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	for _, s := range tree {
		if link, target, ok := strings.Cut(s, " => "); ok {
			try(os.MkdirAll(filepath.Dir(root+"/"+link), 0o755))
			try(os.Symlink(target, root+"/"+link))
			continue
		}
		path := root + "/" + strings.TrimSuffix(s, "/")
		if strings.HasSuffix(s, "/") {
			try(os.MkdirAll(path, 0o755))
			continue
		}
		dir, _ := names.Split(path)
		try(os.MkdirAll(dir, 0o755))
		try(os.WriteFile(path, []byte(s), 0o644))
	}
	age(t, root)
}

func must(t testing.TB, errs ...error) {
	t.Helper()
	if err := errors.Join(errs...); err != nil {
		t.Fatal(err)
	}
}

// quick returns a folder of the test on a disk in memory where there is one: flushing costs nothing
// there, and a test that stops at every step flushes thousands of times.
func quick(t testing.TB) string {
	t.Helper()
	if info, err := os.Stat("/dev/shm"); err != nil || !info.IsDir() {
		return t.TempDir()
	}
	dir, err := os.MkdirTemp("/dev/shm", "loadline-test-")
	if err != nil {
		return t.TempDir()
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	return dir
}

// age gives everything under root, and root, a date of its own.
func age(t testing.TB, root string) {
	t.Helper()
	day := time.Date(2019, 3, 4, 10, 20, 30, 0, time.UTC)
	var all []string
	if err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err == nil && d.Type()&fs.ModeSymlink == 0 {
			all = append(all, path)
		}
		return err
	}); err != nil {
		t.Fatal(err)
	}
	for i, path := range slices.Backward(all) {
		if err := os.Chtimes(path, day, day.Add(time.Duration(i)*time.Hour)); err != nil {
			t.Fatal(err)
		}
	}
}

// snapshot tells everything of a tree that must come back: names, kinds, content, modes, dates.
func snapshot(t testing.TB, root string) map[string]string {
	t.Helper()
	out := map[string]string{}
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		info, err := d.Info()
		if err != nil {
			return err
		}
		say := fmt.Sprint(info.Mode(), " ", info.ModTime().UnixNano())
		switch {
		case info.Mode().IsRegular():
			b, err := os.ReadFile(path)
			if err != nil {
				return err
			}
			say += " " + string(b)
		case info.Mode()&fs.ModeSymlink != 0:
			target, _ := os.Readlink(path)
			say += " => " + target
		}
		out[strings.TrimPrefix(strings.TrimPrefix(path, root), "/")] = say
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// contents tells what a tree holds apart from names.
func contents(snap map[string]string) (all []string) {
	for path, say := range snap {
		if path != "" && !Ours(path) {
			all = append(all, say)
		}
	}
	slices.Sort(all)
	return all
}

func same(t testing.TB, what string, got, want any) {
	t.Helper()
	if d := cmp.Diff(want, got); d != "" {
		t.Fatalf("%s (-want +got):\n%s", what, d)
	}
}

// examine runs the checks that a plan asks for.
func examine(t testing.TB, job checks.Job) *checks.Report {
	t.Helper()
	rep, err := checks.Run(context.Background(), job, Checks(before.List()), nil)
	if err != nil {
		t.Fatal(err)
	}
	return rep
}

// mustPlan makes a plan within limits: a limit of names is that of an invented share.
func mustPlan(t testing.TB, root string, l limits) *Plan {
	t.Helper()
	job := checks.Job{Source: root, KeyBytes: l.key, Prefix: l.prefix}
	if l.name > 0 {
		job.Share, job.NoTrial = t.TempDir(), true
		job.StandIn = &share.Facts{Path: job.Share, Network: true, Space: share.Space{NameLimit: l.name}, Invented: "a limit of names"}
	}
	return planFrom(t, examine(t, job), Wishes{Portable: l.portable})
}

func planFrom(t testing.TB, rep *checks.Report, w Wishes) *Plan {
	t.Helper()
	p, err := NewPlan(context.Background(), rep, w, nil)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func mustApply(t testing.TB, p *Plan) *Outcome {
	t.Helper()
	out, err := p.Apply(context.Background(), Options{StateDir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func mustUndo(t testing.TB, journal string) {
	t.Helper()
	out, err := Undo(context.Background(), journal, Options{StateDir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	if len(out.Gone)+len(out.Dates) > 0 {
		t.Fatalf("undone but for %q, dates of %q", out.Gone, out.Dates)
	}
}

// steps renders the steps of a plan.
func steps(p *Plan) (out []string) {
	for _, s := range p.Steps {
		out = append(out, fmt.Sprintf("%q -> %q %s", s.From, s.To, strings.Join(s.Rules, " ")))
	}
	return out
}

// cured judges a whole tree anew, with other means than the package: names, twins, lengths of paths.
func cured(root string, l limits) error {
	l.fill()
	var errs []error
	fold := cases.Fold()
	seen := map[string]string{}
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		rel := strings.TrimPrefix(strings.TrimPrefix(path, root), "/")
		if err != nil || rel == "" || Ours(rel) {
			return err
		}
		name := filepath.Base(path)
		if bad := wellNamed(name, l.name); bad != "" {
			errs = append(errs, fmt.Errorf("%q: %s", rel, bad))
		}
		dir, _ := names.Split(rel)
		key := dir + "/" + norm.NFD.String(fold.String(norm.NFD.String(name)))
		if other, ok := seen[key]; ok {
			errs = append(errs, fmt.Errorf("%q and %q are twins", rel, other))
		}
		seen[key] = rel
		if n := len(l.prefix) + min(1, len(l.prefix)) + len(rel); !d.IsDir() && n > l.key {
			errs = append(errs, fmt.Errorf("%q: key of %d bytes", rel, n))
		}
		return nil
	})
	return errors.Join(append(errs, err)...)
}
