package after

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"loadline/checks"
	"loadline/checks/internal/fixture"
)

// A manifest or a bag is refused before anything is read where it would change the source, travel away, or
// could not be written at all.
func TestWhereNothingIsWritten(t *testing.T) {
	p := archive(t)
	p.copy(t)
	base := filepath.Dir(p.source)
	fixture.Must(t, os.Symlink(filepath.Join(p.source, "day1"), filepath.Join(base, "link")))
	source, onShare := fixture.Tree(t, p.source), fixture.Tree(t, p.share)
	manifest := func(path ...string) func(*Options) {
		return func(o *Options) { o.Manifest = filepath.Join(append([]string{base}, path...)...) }
	}
	bag := func(path ...string) func(*Options) {
		return func(o *Options) { o.Bag = filepath.Join(append([]string{base}, path...)...) }
	}
	for name, tc := range map[string]struct {
		change func(*Options)
		want   string
	}{
		"in the source":            {manifest("archive", "m"), "is inside the source"},
		"deep in the source":       {manifest("archive", "day1", "cam", "m"), "is inside the source"},
		"in the source, by a link": {manifest("link", "m"), "is inside the source"},
		"on the share":             {manifest("share", "m"), "would be shipped"},
		"in the copy":              {manifest("share", "archive", "day2", "m"), "would be shipped"},
		"in no folder":             {manifest("nowhere", "m"), "there is no folder"},
		"in a file":                {manifest("archive", "notes.txt", "m"), "there is no folder"},
		"a bag in the source":      {bag("archive", "bag"), "is inside the source"},
		"a bag in no folder":       {bag("nowhere", "bag"), "there is no folder"},
	} {
		rep, err := p.check(t, tc.change, nil)
		if rep != nil || !errors.Is(err, checks.ErrBadJob) || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%s: %v, want %q", name, err, tc.want)
		}
	}
	if now := fixture.Tree(t, p.source); now != source {
		t.Errorf("the source was changed:\n%s\nnow\n%s", source, now)
	}
	if now := fixture.Tree(t, p.share); now != onShare {
		t.Errorf("the share was changed:\n%s\nnow\n%s", onShare, now)
	}
	// Beside the source is not in it.
	rep, err := p.check(t, manifest("m"), nil)
	fixture.Must(t, err)
	if rep.Verdict != checks.Passed || rep.Manifest != filepath.Join(base, "m") {
		t.Errorf("beside the source: %v, %q, manifest %q", rep.Verdict, found(rep), rep.Manifest)
	}
}

// Records kept in the source would change it, and be missing in its copy: then nothing is remembered.
func TestStateInSource(t *testing.T) {
	p := archive(t)
	p.copy(t)
	source := fixture.Tree(t, p.source)
	p.state = filepath.Join(p.source, "not", "yet")
	for range 2 {
		rep := p.must(t)
		if got := found(rep); rep.Verdict != checks.Warned || !slices.Equal(got, []string{"content manifest-not-written "}) {
			t.Errorf("verdict %v, found %q", rep.Verdict, got)
		}
	}
	if now := fixture.Tree(t, p.source); now != source {
		t.Errorf("the source was changed:\n%s\nnow\n%s", source, now)
	}
}

// A prefix that is a link is no head of any key; a link that leads to the share is nobody's business.
func TestPrefixThroughALink(t *testing.T) {
	p := archive(t)
	p.copy(t)
	fixture.Must(t, os.Symlink("archive", filepath.Join(p.share, "link")))
	fixture.Must(t, os.MkdirAll(filepath.Join(p.share, "in"), 0o755))
	fixture.Must(t, os.Symlink("..", filepath.Join(p.share, "in", "up")))
	for prefix, linked := range map[string]string{"link": "link", "in/up/archive": "in/up"} {
		p.prefix = prefix
		rep := p.must(t)
		c := rep.Result("on-share")
		if rep.Verdict != checks.Failed || rep.Manifest != "" || c.Rules["no-copy"] != 1 || !strings.HasPrefix(c.Findings[0].Detail, linked+" is a link") {
			t.Errorf("%s: %v, %+v, manifest %q", prefix, rep.Verdict, c.Findings, rep.Manifest)
		}
	}
	p = archive(t)
	fixture.Command(t, p.source, "cp", "-R", ".", p.share)
	fixture.Must(t, os.Symlink(p.share, p.share+"-link"))
	p.share, p.prefix = p.share+"-link", ""
	if rep := p.must(t); rep.Verdict != checks.Passed {
		t.Errorf("a link to the share: %v, found %q", rep.Verdict, found(rep))
	}
}

// Where nothing is where it should be, the check says where it is.
func TestHints(t *testing.T) {
	for name, tc := range map[string]struct {
		at, prefix string // where the copy is, and where it is looked for
		remedy     string
	}{
		"a folder too deep":        {"archive/archive", "archive", "check again with the folder archive/archive as prefix"},
		"two folders too deep":     {"archive/disk 1/archive", "archive", `check again with the folder "archive/disk 1/archive" as prefix`},
		"no prefix given":          {"other", "", "check again with the folder other as prefix"},
		"a prefix too much":        {"", "archive", "check again without a prefix"},
		"a prefix too much, there": {".", "empty", "check again without a prefix"},
		"it is nowhere":            {"../elsewhere", "archive", ""},
	} {
		t.Run(name, func(t *testing.T) {
			p := archive(t)
			to := filepath.Join(p.share, tc.at)
			fixture.Must(t, os.MkdirAll(to, 0o755))
			fixture.Must(t, os.MkdirAll(filepath.Join(p.share, "empty"), 0o755))
			fixture.Command(t, p.source, "cp", "-R", ".", to)
			p.prefix = tc.prefix
			rep := p.must(t)
			hint := ""
			for _, f := range rep.Result("on-share").Findings {
				if f.Rule == noCopy && f.Remedy != "" {
					hint += f.Remedy
				}
			}
			want := ""
			if tc.remedy != "" {
				want = "If that is the copy, " + tc.remedy + "."
			}
			if rep.Verdict != checks.Failed || strings.ReplaceAll(hint, `"`, "") != strings.ReplaceAll(want, `"`, "") {
				t.Errorf("%v, hint %q, want %q; found %q", rep.Verdict, hint, want, found(rep))
			}
		})
	}
}

// What is left off a copy list is no file that is missing, and hides no hint.
func TestHintWithACopyList(t *testing.T) {
	p := archive(t)
	fixture.WriteFile(t, filepath.Join(p.share, "archive", "archive", "notes.txt"), "first light\n")
	list, err := checks.ReadCopyList(strings.NewReader("notes.txt\n"))
	fixture.Must(t, err)
	job := p.job()
	job.CopyList = list
	rep, err := Run(t.Context(), job, Options{}, nil)
	fixture.Must(t, err)
	c := rep.Result("on-share")
	told := slices.ContainsFunc(c.Findings, func(f checks.Finding) bool { return strings.Contains(f.Remedy, "the folder archive/archive as prefix") })
	if c.Rules["missing-on-share"] != 1 || !told {
		t.Errorf("%+v", c.Findings)
	}
}

// What a run that was killed while it wrote the manifest left behind, the next one removes; what only
// looks like it stays, and so does everything when nothing may be written.
func TestLeftByAKill(t *testing.T) {
	const left = ".loadline-20310504T030201Z.sha256.2435048303.part"
	foreign := []string{
		"loadline-20310504T030201Z.sha256.1.part", ".loadline-20310504T030201Z.sha256.part", ".loadline-mine.sha256.1.part",
		".loadline-20310504T030201Z.sha256.1x.part", ".loadline-20310504T030201Z.sha256.2.part/kept",
	}
	p := archive(t)
	p.copy(t)
	for _, dir := range []string{p.share, filepath.Join(p.state, "manifests")} {
		fixture.WriteFile(t, filepath.Join(dir, left), "half")
		for _, f := range foreign {
			fixture.WriteFile(t, filepath.Join(dir, f), "mine")
		}
		fixture.Must(t, os.Symlink("nowhere", filepath.Join(dir, ".loadline-20310504T030201Z.sha256.3.part")))
	}
	job := p.job()
	job.NoTrial = true
	_, err := Run(context.Background(), job, Options{}, nil)
	fixture.Must(t, err)
	if _, err := os.Lstat(filepath.Join(p.share, left)); err != nil {
		t.Errorf("removed though nothing may be written on the share: %v", err)
	}
	if rep := p.must(t); rep.Verdict != checks.Passed {
		t.Errorf("verdict %v, found %q", rep.Verdict, found(rep))
	}
	for _, dir := range []string{p.share, filepath.Join(p.state, "manifests")} {
		if _, err := os.Lstat(filepath.Join(dir, left)); !errors.Is(err, os.ErrNotExist) {
			t.Errorf("%s in %s: %v", left, dir, err)
		}
		for _, f := range append(foreign, ".loadline-20310504T030201Z.sha256.3.part") {
			if _, err := os.Lstat(filepath.Join(dir, f)); err != nil {
				t.Error(err)
			}
		}
	}
}
