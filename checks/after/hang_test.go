//go:build unix

package after

import (
	"context"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"loadline/checks"
	"loadline/checks/internal/disk"
	"loadline/checks/internal/fixture"
)

// during calls f once, when the check begins.
func during(check string, f func()) func(checks.Event) {
	return func(e checks.Event) {
		if e.Check != nil && e.Check.ID == check && e.Result == nil {
			f()
		}
	}
}

// stalled opens files, but waits at one of them until the returned function is called: it stands for a server
// that is gone.
func stalled(path string) (open func(string) (*disk.Reader, error), free func()) {
	wait := make(chan struct{})
	return func(p string) (*disk.Reader, error) {
		if p == path {
			<-wait
		}
		return disk.OpenPast(p)
	}, func() { close(wait) }
}

// A share that stops to answer leaves its check "Not checked", and what was proven before is kept.
func TestSilentShare(t *testing.T) {
	p := archive(t)
	p.copy(t)
	synctest.Test(t, func(t *testing.T) {
		open, free := stalled(filepath.Join(p.share, "archive/day1/cam/A001.mov"))
		rep, err := p.check(t, func(o *Options) { o.Silence, o.open = time.Minute, open }, nil)
		free()
		fixture.Must(t, err)
		c := rep.Result("content")
		if c.Status != checks.Unknown || !strings.Contains(c.Reason, "does not respond") || rep.Manifest != "" || rep.Verdict != checks.Warned {
			t.Errorf("content %v %q, verdict %v, manifest %q", c.Status, c.Reason, rep.Verdict, rep.Manifest)
		}
		if s := rep.Result("on-share"); s.Status != checks.Passed {
			t.Errorf("on-share %v", s.Status)
		}
	})
}

// Stop works at once, however long the share may stay silent.
func TestStopWhileSilent(t *testing.T) {
	p := archive(t)
	p.copy(t)
	ctx, cancel := context.WithCancel(t.Context())
	open, free := stalled(filepath.Join(p.share, "archive/day1/cam/A001.mov"))
	t.Cleanup(free)
	done := make(chan error, 1)
	s := New(Options{State: p.state, Silence: time.Hour, open: open})
	s.a.onProven = func(n int64) {
		if n == 5 { // all but the one that hangs will be
			cancel()
		}
	}
	go func() {
		_, err := s.Run(ctx, p.job(), nil)
		done <- err
	}()
	select {
	case err := <-done:
		if !errors.Is(err, context.Canceled) {
			t.Errorf("stopped: %v", err)
		}
	case <-time.After(20 * time.Second):
		t.Fatal("Stop did not work")
	}
}

// What changes while it is checked is recognized for what it is.
func TestChangedWhileChecked(t *testing.T) {
	for name, tc := range map[string]struct {
		path func(p *pair) string
		want string
	}{
		"source":              {func(p *pair) string { return filepath.Join(p.source, "notes.txt") }, "content source-changed notes.txt"},
		"copy still going on": {func(p *pair) string { return filepath.Join(p.share, "archive/notes.txt") }, "content still-copying notes.txt"},
	} {
		t.Run(name, func(t *testing.T) {
			p := archive(t)
			p.copy(t)
			rep, err := p.check(t, nil, during("content", func() { fixture.WriteFile(t, tc.path(p), "longer than before, much longer") }))
			fixture.Must(t, err)
			if got := found(rep); !slices.Equal(got, []string{tc.want}) || rep.Manifest != "" {
				t.Errorf("found %q, want %s; manifest %q", got, tc.want, rep.Manifest)
			}
		})
	}
}

// A file that goes away, a link that is put in its place: neither is followed nor passed over.
func TestReplacedWhileChecked(t *testing.T) {
	for name, spoil := range map[string]func(string) error{
		"removed": os.Remove,
		"a link in its place": func(path string) error {
			if err := os.Rename(path, path+".real"); err != nil {
				return err
			}
			return os.Symlink(path+".real", path)
		},
	} {
		t.Run(name, func(t *testing.T) {
			p := archive(t)
			p.copy(t)
			rep, err := p.check(t, nil, during("content", func() { fixture.Must(t, spoil(filepath.Join(p.share, "archive/notes.txt"))) }))
			fixture.Must(t, err)
			if got := found(rep); !slices.Equal(got, []string{"content unreadable-on-share notes.txt"}) {
				t.Errorf("found %q", got)
			}
		})
	}
}

// Killed outright after the third proven file, the next run goes on from there.
func TestKillAndResume(t *testing.T) {
	if dir := os.Getenv("LOADLINE_KILL"); dir != "" {
		p := &pair{filepath.Join(dir, "archive"), filepath.Join(dir, "share"), filepath.Join(dir, "state"), "archive"}
		s := New(Options{State: p.state, Silence: 5 * time.Second})
		s.a.journalEvery = time.Nanosecond
		s.a.onProven = func(n int64) {
			if n == 4 { // the third is in the journal
				_ = syscall.Kill(os.Getpid(), syscall.SIGKILL)
				select {}
			}
		}
		_, err := s.Run(t.Context(), p.job(), nil)
		t.Fatalf("still alive: %v", err)
	}
	p := archive(t)
	p.copy(t)
	child := exec.Command(os.Args[0], "-test.run", "^TestKillAndResume$")
	child.Env = append(os.Environ(), "LOADLINE_KILL="+filepath.Dir(p.source))
	out, err := child.CombinedOutput()
	var exit *exec.ExitError
	if !errors.As(err, &exit) || exit.Sys().(syscall.WaitStatus).Signal() != syscall.SIGKILL {
		t.Fatalf("the child was not killed: %v\n%s", err, out)
	}
	rep := p.must(t)
	c := rep.Result("content")
	source, _ := c.Fact("source_known").Value.(int64)
	onShare, _ := c.Fact("share_known").Value.(int64)
	if source < 3 || onShare < 3 || source+onShare >= 2*rep.Totals.Files {
		t.Errorf("of %d files, %d of the source and %d of the share are known", rep.Totals.Files, source, onShare)
	}
	if rep.Verdict != checks.Passed || rep.Manifest == "" {
		t.Errorf("resumed: %v, found %q", rep.Verdict, found(rep))
	}
}

// A source file that cannot be read, a FIFO on the source, a place where no manifest can be written.
func TestOtherRules(t *testing.T) {
	p := archive(t)
	p.copy(t)
	fixture.Must(t, syscall.Mkfifo(filepath.Join(p.source, "pipe"), 0o644))
	rep, err := p.check(t, nil, during("content", func() {
		path := filepath.Join(p.source, "notes.txt")
		fixture.Must(t, os.Rename(path, path+".real"))
		fixture.Must(t, os.Symlink(path+".real", path)) // ELOOP, open(2) O_NOFOLLOW
	}))
	fixture.Must(t, err)
	if got := found(rep); !slices.Equal(got, []string{"content unreadable-source notes.txt"}) || rep.Manifest != "" {
		t.Errorf("found %q, manifest %q", got, rep.Manifest)
	}
	if n := rep.Result("on-share").Rules["special-not-checked"]; n != 1 {
		t.Errorf("special files: %d", n)
	}

	p = archive(t)
	p.copy(t)
	fixture.WriteFile(t, filepath.Join(p.state, "manifests"), "in the way")
	rep = p.must(t)
	if got := found(rep); !slices.Equal(got, []string{"content manifest-not-written "}) || rep.Verdict != checks.Warned || rep.Manifest != "" {
		t.Errorf("found %q, verdict %v, manifest %q", got, rep.Verdict, rep.Manifest)
	}
}
