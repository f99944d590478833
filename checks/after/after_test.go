package after

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"loadline/checks"
	"loadline/checks/internal/fixture"
	"loadline/checks/share"
)

// blockSize is more than is read at a time.
const blockSize = 4 << 20

// A pair is a source and a folder that stands in for a share.
type pair struct {
	source, share, state string
	prefix               string
}

// archive makes a small invented archive: one file of three blocks, some small ones, an empty one.
func archive(t testing.TB) *pair {
	t.Helper()
	dir := fixture.TempDir(t)
	p := &pair{filepath.Join(dir, "archive"), filepath.Join(dir, "share"), filepath.Join(dir, "state"), "archive"}
	r := rand.NewChaCha8([32]byte{1})
	big := make([]byte, 2*blockSize+blockSize/2+1234)
	_, _ = r.Read(big) // never fails
	fixture.WriteFile(t, filepath.Join(p.source, "day1/cam/A001.mov"), string(big))
	for i := range 5 {
		small := make([]byte, 5000+i)
		_, _ = r.Read(small)
		fixture.WriteFile(t, filepath.Join(p.source, fmt.Sprintf("day1/sound/%d.wav", i)), string(small))
	}
	fixture.WriteFile(t, filepath.Join(p.source, "notes.txt"), "first light\n")
	fixture.WriteFile(t, filepath.Join(p.source, "other.txt"), "first night\n")
	fixture.WriteFile(t, filepath.Join(p.source, "day2/never"), "")
	if err := os.MkdirAll(filepath.Join(p.share, "x"), 0o755); err != nil {
		t.Fatal(err)
	}
	_ = os.Remove(filepath.Join(p.share, "x"))
	return p
}

// copy copies with a POSIX utility.
func (p *pair) copy(t testing.TB) {
	t.Helper()
	fixture.Command(t, filepath.Dir(p.source), "cp", "-R", p.source, p.share)
}

func (p *pair) job() checks.Job {
	return checks.Job{
		Source: p.source, Share: p.share, Prefix: p.prefix, Version: "test",
		Now: func() time.Time { return time.Date(2031, 5, 4, 3, 2, 1, 0, time.UTC) },
		StandIn: &share.Facts{
			Path: p.share, Network: true, NFS: true, Version: "4.2", Invented: "the share",
			Mount: share.Mount{From: "box.example:/export", Point: p.share, Type: "nfs4"},
		},
	}
}

func (p *pair) check(t testing.TB, change func(*Options), watch func(checks.Event)) (*checks.Report, error) {
	t.Helper()
	o := Options{State: p.state, Silence: 5 * time.Second}
	if change != nil {
		change(&o)
	}
	return Run(t.Context(), p.job(), o, watch)
}

// must is check where it has to come to a report.
func (p *pair) must(t testing.TB) *checks.Report {
	t.Helper()
	rep, err := p.check(t, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	return rep
}

// found lists what a report found, notes apart, as "check rule path".
func found(rep *checks.Report) []string {
	var list []string
	for c, f := range rep.Findings() {
		if f.Level != checks.Note {
			list = append(list, c.ID+" "+f.Rule.ID+" "+f.Path)
		}
	}
	return list
}

// A copy that cp -R or pax -rw made is right, and sha256sum -c takes its manifest, on both sides.
func TestGoodCopies(t *testing.T) {
	for name, copyTo := range map[string]func(*testing.T, *pair){
		"cp": func(t *testing.T, p *pair) { p.copy(t) },
		"pax": func(t *testing.T, p *pair) {
			fixture.Command(t, filepath.Dir(p.source), "pax", "-rw", "archive", p.share)
		},
		"every byte in names": func(t *testing.T, p *pair) {
			root, _ := fixture.Hostile(t)
			fixture.Command(t, root, "cp", "-R", ".", filepath.Join(p.source, "hostile"))
			p.copy(t)
		},
		"at the top of the share": func(t *testing.T, p *pair) {
			p.prefix = ""
			fixture.Command(t, p.source, "cp", "-R", ".", p.share)
		},
	} {
		t.Run(name, func(t *testing.T) {
			p := archive(t)
			copyTo(t, p)
			rep := p.must(t)
			if rep.Verdict != checks.Passed || len(found(rep)) > 0 {
				t.Fatalf("verdict %v, found %q", rep.Verdict, found(rep))
			}
			content := rep.Result("content")
			for _, key := range []string{"source_past_cache_odirect", "share_past_cache_odirect", "source_past_cache_posixfadviseposixfadvdontneed", "share_past_cache_posixfadviseposixfadvdontneed"} {
				if n := content.Fact(key).Value; n != nil && n.(int64) == 0 {
					t.Errorf("%s is 0", key)
				}
			}
			if n := content.Fact("proven_files").Value; n != rep.Totals.Files {
				t.Errorf("proven %v of %d files", n, rep.Totals.Files)
			}
			if want := filepath.Join(p.state, "manifests", "loadline-20310504T030201Z.sha256"); rep.Manifest != want {
				t.Errorf("manifest %s, want %s", rep.Manifest, want)
			}
			onShare := filepath.Join(p.share, filepath.Base(rep.Manifest))
			fixture.Command(t, "/", "cmp", rep.Manifest, onShare)
			for _, dir := range []string{p.source, filepath.Join(p.share, p.prefix)} {
				out := fixture.Command(t, dir, "sha256sum", "-c", "--strict", "--warn", onShare)
				if n := strings.Count(out, ": OK\n"); int64(n) != rep.Totals.Files {
					t.Errorf("sha256sum -c accepts %d of %d files", n, rep.Totals.Files)
				}
			}
			// A second run writes a second manifest, and knows the first for what it is.
			again := p.must(t)
			if again.Verdict != checks.Passed || again.Manifest == rep.Manifest {
				t.Errorf("second run: %v, %q, manifest %s", again.Verdict, found(again), again.Manifest)
			}
			if got := again.Result("content").Fact("share_known").Value; got != rep.Totals.Files {
				t.Errorf("second run knows %v of %d files", got, rep.Totals.Files)
			}
			if got := again.Result("leftovers").Rules["extra-on-share"]; got != 0 {
				t.Errorf("the manifest counts as extra %d times", got)
			}
		})
	}
}

func flip(t testing.TB, path string, at int64) {
	t.Helper()
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	info, _ := f.Stat()
	if at < 0 {
		at += info.Size()
	}
	var b [1]byte
	if _, err := f.ReadAt(b[:], at); err != nil {
		t.Fatal(err)
	}
	b[0] ^= 0x10
	if _, err := f.WriteAt(b[:], at); err != nil {
		t.Fatal(err)
	}
	if err := os.Chtimes(path, time.Time{}, info.ModTime()); err != nil {
		t.Fatal(err)
	}
}

// Every way in which a copy can be wrong is found, and nothing else is.
func TestBadCopies(t *testing.T) {
	const big = "day1/cam/A001.mov"
	later := time.Now().Add(time.Hour)
	for name, tc := range map[string]struct {
		spoil func(t *testing.T, p *pair, source, copy string)
		want  []string // "check rule path"
	}{
		"one bit in the first block": {func(t *testing.T, _ *pair, _, c string) { flip(t, filepath.Join(c, big), 0) }, []string{"content content-differs " + big}},
		"one bit in a middle block":  {func(t *testing.T, _ *pair, _, c string) { flip(t, filepath.Join(c, big), blockSize+77) }, []string{"content content-differs " + big}},
		"one bit in the last block":  {func(t *testing.T, _ *pair, _, c string) { flip(t, filepath.Join(c, big), -1) }, []string{"content content-differs " + big}},
		"one bit in the source":      {func(t *testing.T, _ *pair, s, _ string) { flip(t, filepath.Join(s, big), -1) }, []string{"content content-differs " + big}},
		"truncated":                  {func(t *testing.T, _ *pair, _, c string) { fixture.Must(t, os.Truncate(filepath.Join(c, big), 100)) }, []string{"on-share size-differs " + big}},
		"empty":                      {func(t *testing.T, _ *pair, _, c string) { fixture.Must(t, os.Truncate(filepath.Join(c, big), 0)) }, []string{"on-share size-differs " + big}},
		"grown": {func(t *testing.T, _ *pair, _, c string) {
			fixture.Must(t, os.Truncate(filepath.Join(c, big), 3*blockSize))
		}, []string{"on-share size-differs " + big}},
		"zeroes in place of bytes": {func(t *testing.T, _ *pair, _, c string) {
			info, _ := os.Stat(filepath.Join(c, big))
			fixture.Must(t, os.Truncate(filepath.Join(c, big), 3*4096))
			fixture.Must(t, os.Truncate(filepath.Join(c, big), info.Size()))
		}, []string{"content content-differs " + big}},
		"swapped": {func(t *testing.T, _ *pair, _, c string) {
			fixture.Must(t, os.Rename(filepath.Join(c, "notes.txt"), filepath.Join(c, "t")))
			fixture.Must(t, os.Rename(filepath.Join(c, "other.txt"), filepath.Join(c, "notes.txt")))
			fixture.Must(t, os.Rename(filepath.Join(c, "t"), filepath.Join(c, "other.txt")))
		}, []string{"content content-differs notes.txt", "content content-differs other.txt"}},
		"missing file":   {func(t *testing.T, _ *pair, _, c string) { fixture.Must(t, os.Remove(filepath.Join(c, big))) }, []string{"on-share missing-on-share " + big}},
		"missing empty":  {func(t *testing.T, _ *pair, _, c string) { fixture.Must(t, os.Remove(filepath.Join(c, "day2/never"))) }, []string{"on-share missing-on-share day2/never"}},
		"missing folder": {func(t *testing.T, _ *pair, _, c string) { fixture.Must(t, os.RemoveAll(filepath.Join(c, "day1"))) }, []string{"on-share missing-on-share day1"}},
		"no copy":        {func(t *testing.T, _ *pair, _, c string) { fixture.Must(t, os.RemoveAll(c)) }, []string{"on-share no-copy "}},
		"a file for the copy": {func(t *testing.T, _ *pair, _, c string) {
			fixture.Must(t, os.RemoveAll(c))
			fixture.WriteFile(t, c, "")
		}, []string{"on-share no-copy "}},
		"a link in place of the file": {func(t *testing.T, _ *pair, s, c string) {
			fixture.Must(t, os.Remove(filepath.Join(c, big)))
			fixture.Must(t, os.Symlink(filepath.Join(s, big), filepath.Join(c, big)))
		}, []string{"on-share kind-differs " + big}},
		"a folder in place of the file": {func(t *testing.T, _ *pair, _, c string) {
			fixture.Must(t, os.Remove(filepath.Join(c, big)))
			fixture.Must(t, os.Mkdir(filepath.Join(c, big), 0o755))
		}, []string{"on-share kind-differs " + big}},
		"source grew after the copy": {func(t *testing.T, _ *pair, s, _ string) {
			fixture.WriteFile(t, filepath.Join(s, "notes.txt"), "first light, and more")
			fixture.Must(t, os.Chtimes(filepath.Join(s, "notes.txt"), later, later))
		}, []string{"on-share source-changed notes.txt"}},
		"source changed after the copy": {func(t *testing.T, _ *pair, s, _ string) {
			fixture.WriteFile(t, filepath.Join(s, "notes.txt"), "FIRST LIGHT\n")
			fixture.Must(t, os.Chtimes(filepath.Join(s, "notes.txt"), later, later))
		}, []string{"content source-changed notes.txt"}},
		"a half file left over": {func(t *testing.T, _ *pair, _, c string) {
			fixture.WriteFile(t, filepath.Join(c, "day1/.A002.mov.x4Tq9Z"), "half")
			fixture.WriteFile(t, filepath.Join(c, "day1/.nfs000000000000000100000001"), "half")
		}, []string{"leftovers temporary-left day1/.A002.mov.x4Tq9Z", "leftovers temporary-left day1/.nfs000000000000000100000001"}},
		"a link on the source": {func(t *testing.T, _ *pair, s, _ string) {
			fixture.Must(t, os.Symlink("notes.txt", filepath.Join(s, "link")))
		}, []string{"on-share link-not-checked link"}},
		"nothing on the source": {func(t *testing.T, _ *pair, s, _ string) {
			fixture.Must(t, os.RemoveAll(s))
			fixture.Must(t, os.Mkdir(s, 0o755))
		}, []string{"on-share nothing-to-check "}},
		"one folder too high": {func(t *testing.T, p *pair, _, _ string) { p.prefix = "" }, []string{
			"on-share no-copy ", "on-share missing-on-share day1", "on-share missing-on-share day2",
			"on-share missing-on-share notes.txt", "on-share missing-on-share other.txt",
		}},
	} {
		t.Run(name, func(t *testing.T) {
			p := archive(t)
			p.copy(t)
			tc.spoil(t, p, p.source, filepath.Join(p.share, "archive"))
			rep := p.must(t)
			got := found(rep)
			if !slices.Equal(got, tc.want) {
				t.Fatalf("found %q, want %q", got, tc.want)
			}
			harmless := strings.HasPrefix(tc.want[0], "leftovers") || strings.Contains(tc.want[0], "link-not")
			if want := map[bool]checks.Status{true: checks.Warned, false: checks.Failed}[harmless]; rep.Verdict != want {
				t.Errorf("verdict %v, want %v", rep.Verdict, want)
			}
			if (rep.Manifest != "") != harmless {
				t.Errorf("manifest %q", rep.Manifest)
			}
			if names, _ := filepath.Glob(filepath.Join(p.share, "loadline-*")); (len(names) > 0) != harmless {
				t.Errorf("manifest on the share: %q", names)
			}
		})
	}
}

// Extra files, other dates, missing clutter and missing empty folders keep nobody from shipping, but
// they are told.
func TestNotes(t *testing.T) {
	p := archive(t)
	fixture.WriteFile(t, filepath.Join(p.source, ".DS_Store"), "x")
	fixture.WriteFile(t, filepath.Join(p.source, ".Trashes/501/old.mov"), "x")
	fixture.WriteFile(t, filepath.Join(p.source, "day1/._A001.mov"), "\x00\x05\x16\x07\x00\x02")
	fixture.Must(t, os.Mkdir(filepath.Join(p.source, "none"), 0o755))
	p.copy(t)
	c := filepath.Join(p.share, "archive")
	for _, gone := range []string{".DS_Store", ".Trashes", "day1/._A001.mov", "none"} {
		fixture.Must(t, os.RemoveAll(filepath.Join(c, gone)))
	}
	fixture.WriteFile(t, filepath.Join(c, "more/new.mov"), "new")
	old := time.Unix(1_000_000_000, 0)
	fixture.Must(t, os.Chtimes(filepath.Join(c, "notes.txt"), old, old))
	// Without its magic number, a name that begins with ._ is a file like any other.
	fixture.WriteFile(t, filepath.Join(p.source, "day1/._mine"), "mine")
	rep := p.must(t)
	if got, want := found(rep), []string{"on-share missing-on-share day1/._mine"}; !slices.Equal(got, want) {
		t.Fatalf("found %q, want %q", got, want)
	}
	fixture.WriteFile(t, filepath.Join(c, "day1/._mine"), "mine")
	rep = p.must(t)
	if rep.Verdict != checks.Passed || rep.Manifest == "" {
		t.Fatalf("verdict %v, found %q", rep.Verdict, found(rep))
	}
	on, left := rep.Result("on-share").Rules, rep.Result("leftovers").Rules
	if on["clutter-left-out"] != 3 || on["missing-folder"] != 1 || on["date-differs"] < 1 || left["extra-on-share"] != 1 {
		t.Errorf("rules %v and %v", on, left)
	}
	m, err := os.ReadFile(rep.Manifest)
	fixture.Must(t, err)
	if !bytes.Contains(m, []byte("clutter=3")) || bytes.Contains(m, []byte("DS_Store")) {
		t.Errorf("the manifest covers what was left out:\n%s", m)
	}
}

// What a check of the disk has put into lost+found may be a take (mklost+found(8)): leaving it out is no
// clean pass. An empty folder of that name is.
func TestLostAndFound(t *testing.T) {
	p := archive(t)
	fixture.Must(t, os.Mkdir(filepath.Join(p.source, "lost+found"), 0o700))
	p.copy(t)
	fixture.Must(t, os.Remove(filepath.Join(p.share, "archive", "lost+found")))
	if rep := p.must(t); rep.Verdict != checks.Passed {
		t.Errorf("empty: %v, found %q", rep.Verdict, found(rep))
	}
	fixture.WriteFile(t, filepath.Join(p.source, "lost+found", "#12345"), "frames")
	rep := p.must(t)
	if got := found(rep); rep.Verdict != checks.Warned || !slices.Equal(got, []string{"on-share clutter-left-out lost+found/#12345"}) {
		t.Errorf("a file in it: %v, found %q", rep.Verdict, got)
	}
}

// A file that an earlier run has proven, and that is changed since without a trace in size and date,
// is read again: its status change time tells.
func TestStateIsNotTrustedBlindly(t *testing.T) {
	for name, side := range map[string]func(*pair) string{
		"share":  func(p *pair) string { return filepath.Join(p.share, "archive", "notes.txt") },
		"source": func(p *pair) string { return filepath.Join(p.source, "notes.txt") },
	} {
		t.Run(name, func(t *testing.T) {
			p := archive(t)
			p.copy(t)
			if rep := p.must(t); rep.Verdict != checks.Passed {
				t.Fatalf("found %q", found(rep))
			}
			flip(t, side(p), 3)
			rep := p.must(t)
			want := "content content-differs notes.txt"
			if name == "source" {
				want = "content source-changed notes.txt" // it is not what it was when it was proven
			}
			if got := found(rep); !slices.Equal(got, []string{want}) {
				t.Errorf("found %q, want %s", got, want)
			}
			if n := rep.Result("content").Fact(name + "_known").Value; n != rep.Totals.Files-1 {
				t.Errorf("%v files known, want all but one", n)
			}
		})
	}
}

func TestFreshReadsAgain(t *testing.T) {
	p := archive(t)
	p.copy(t)
	p.must(t)
	rep, err := p.check(t, func(o *Options) { o.Fresh = true }, nil)
	fixture.Must(t, err)
	c := rep.Result("content")
	if c.Fact("share_known").Value != nil || c.Fact("share_bytes_read").Value != rep.Totals.Bytes {
		t.Errorf("known %v, read %v of %d", c.Fact("share_known").Value, c.Fact("share_bytes_read").Value, rep.Totals.Bytes)
	}
}

// Stopped after the second proven file, the next run does not read again what the first has proven.
func TestStopAndResume(t *testing.T) {
	p := archive(t)
	p.copy(t)
	ctx, cancel := context.WithCancel(t.Context())
	s := New(Options{State: p.state, Silence: 5 * time.Second})
	s.a.onProven = func(n int64) {
		if n == 2 {
			cancel()
		}
	}
	rep, err := s.Run(ctx, p.job(), nil)
	if !errors.Is(err, context.Canceled) || rep == nil || !rep.Interrupted || rep.Manifest != "" {
		t.Fatalf("stopped run: %v, %+v", err, rep)
	}
	if c := rep.Result("content"); c.Status != checks.Unknown {
		t.Errorf("content is %v, want unknown", c.Status)
	}
	rep = p.must(t)
	c := rep.Result("content")
	if rep.Verdict != checks.Passed || rep.Manifest == "" {
		t.Fatalf("resumed run: %v, %q", rep.Verdict, found(rep))
	}
	for _, key := range []string{"source_known", "share_known"} {
		if n, _ := c.Fact(key).Value.(int64); n < 2 {
			t.Errorf("%s = %d, want at least 2", key, n)
		}
	}
}

func TestRefused(t *testing.T) {
	p := archive(t)
	p.copy(t)
	there := filepath.Join(p.state, "there")
	fixture.WriteFile(t, there, "mine")
	for name, change := range map[string]func(*Options){
		"manifest": func(o *Options) { o.Manifest = there },
		"bag":      func(o *Options) { o.Bag = there },
	} {
		if _, err := p.check(t, change, nil); !errors.Is(err, checks.ErrBadJob) || !strings.Contains(err.Error(), "exists") {
			t.Errorf("%s: %v", name, err)
		}
	}
	if b, _ := os.ReadFile(there); string(b) != "mine" {
		t.Errorf("the file that was there now holds %q", b)
	}
	job := p.job()
	job.Share = ""
	if _, err := Run(t.Context(), job, Options{}, nil); !errors.Is(err, checks.ErrBadJob) {
		t.Errorf("no share: %v", err)
	}
	// The source itself is no copy of the source.
	job = p.job()
	job.Share, job.Prefix, job.StandIn.Path = p.source, "", p.source
	rep, err := Run(t.Context(), job, Options{State: p.state}, nil)
	fixture.Must(t, err)
	if rep.Verdict != checks.Failed || rep.Manifest != "" || rep.Result("content").Status != checks.Unknown {
		t.Errorf("source as share: %v, manifest %q", rep.Verdict, rep.Manifest)
	}
	// A whole copy in an unmounted folder does not travel: no manifest.
	job = p.job()
	job.StandIn.System = true
	rep, err = Run(t.Context(), job, Options{State: p.state}, nil)
	fixture.Must(t, err)
	if rep.Verdict != checks.Failed || rep.Manifest != "" {
		t.Errorf("unmounted: %v, manifest %q", rep.Verdict, rep.Manifest)
	}
}

func TestAfterListIsValid(t *testing.T) {
	if err := checks.Validate(New(Options{}).List()); err != nil {
		t.Error(err)
	}
}
