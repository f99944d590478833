//go:build linux

package before

import (
	"bytes"
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"loadline/checks"
	"loadline/checks/internal/fixture"
	"loadline/checks/walk"
)

// TestClips: the samples of the media package are whole, and the same ones cut are told, with what is no clip
// passed over. What a player makes of whole and cut samples is the oracle of that package's own tests.
func TestClips(t *testing.T) {
	root := realTemp(t)
	samples, err := filepath.Glob("../media/testdata/samples/*/*")
	if err != nil || len(samples) < 10 {
		t.Fatalf("%d samples: %v", len(samples), err)
	}
	clips := int64(0)
	for _, s := range samples {
		content, err := os.ReadFile(s)
		if err != nil {
			t.Fatal(err)
		}
		dir := filepath.Join(root, filepath.Base(filepath.Dir(s)))
		if err := os.MkdirAll(dir, 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, filepath.Base(s)), content, 0o644); err != nil {
			t.Fatal(err)
		}
		clips++
	}
	grow(t, root, "notes.txt 40", "tiny 11", ".DS_Store 40", "link => notes.txt")
	job := checks.Job{Source: root, Now: func() time.Time { return time.Now().AddDate(1, 0, 0) }}
	rep := examine(t, job)
	r := rep.Result(clipsWhole.ID)
	if r.Status != checks.Passed || fact[int64](t, rep, clipsWhole, "clips") != clips || fact[int64](t, rep, clipsWhole, "not_judged") != 2 {
		t.Errorf("%s: %s, %v %v", r.Status, r.Summary, r.Facts, r.Findings)
	}

	// A clip of a camera that lost power: its index was never written. ISO/IEC 14496-12 §8.2.1: a file
	// without moov and moof describes no presentation.
	mdat := append([]byte("\x00\x00\x00\x14ftypqt  \x00\x00\x00\x00qt  \x00\x00\x04\x08mdat"), make([]byte, 1024)...)
	wav := []byte("RIFF\x24\x10\x00\x00WAVEfmt \x10\x00\x00\x00\x01\x00\x01\x00\x80\xbb\x00\x00\x00\x77\x01\x00\x02\x00\x10\x00data\x00\x10\x00\x00half")
	for name, content := range map[string][]byte{"A001.mov": mdat, "boom.wav": wav} {
		if err := os.WriteFile(filepath.Join(root, name), content, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	rep = examine(t, job)
	compare(t, "the standards", spots(rep, clipNoIndex, clipCutShort), map[spot]bool{{clipNoIndex.ID, "A001.mov"}: true, {clipCutShort.ID, "boom.wav"}: true})
	if r := rep.Result(clipsWhole.ID); r.Status != checks.Warned || !strings.Contains(r.Findings[0].Fix(), "original card") {
		t.Errorf("%s: %s", r.Status, r.Summary)
	}

	job.NoClips = true
	if r := examine(t, job).Result(clipsWhole.ID); r.Status != checks.Unknown || !strings.Contains(r.Reason, "-no-clips") {
		t.Errorf("%s: %s", r.Status, r.Reason)
	}
}

// unfinished is a QuickTime file without moov and moof: it describes no presentation (ISO/IEC 14496-12 §8.2.1).
const unfinished = "\x00\x00\x00\x14ftypqt  \x00\x00\x00\x00qt  \x00\x00\x00\x10mdattides..."

// wholeClip is the same with an index of no tracks: all boxes end where they say.
const wholeClip = unfinished + "\x00\x00\x00\x08moov"

// meddle is a check that does something to the source once it has been listed, before anything is looked at.
func meddle(do func(root string)) *checks.Check {
	c := oneCheck("meddle", nil)
	c.Finish, c.Visit = nil, func(pass *checks.Pass, d *walk.Dir) {
		if d.Path == "" {
			do(pass.Job.Source)
		}
	}
	return c
}

// What is no longer what the walk saw, or too long to follow, is told by name, and keeps the check from being
// good; it is no finding, and is empty up.
func TestClipsThatCannotBeJudged(t *testing.T) {
	change := func(name string, do func(path string) error) func(t *testing.T) *checks.Check {
		return func(t *testing.T) *checks.Check {
			return meddle(func(root string) {
				if err := do(filepath.Join(root, name)); err != nil {
					t.Error(err)
				}
			})
		}
	}
	replace := func(with func(path string) error) func(path string) error {
		return func(path string) error { return errors.Join(os.Remove(path), with(path)) }
	}
	for name, c := range map[string]struct {
		do        func(t *testing.T) *checks.Check
		key, says string
	}{
		"shrinks": {change("b.mov", func(p string) error { return os.Truncate(p, 20) }), "clips_changing", "Changed while being examined: b.mov."},
		"grows": {change("b.mov", func(p string) error {
			return os.WriteFile(p, []byte(wholeClip+"\x00\x00\x10\x00mdat"), 0o644)
		}), "clips_changing", "Changed while being examined: b.mov."},
		"vanishes": {change("b.mov", os.Remove), "clips_unread", "Could not be examined: b.mov (no such file or directory)."},
		"becomes a pipe": {
			change("b.mov", replace(func(p string) error { return unix.Mkfifo(p, 0o644) })), "clips_unread", "b.mov (something else has taken its place).",
		},
		"becomes a link": {
			change("b.mov", replace(func(p string) error { return os.Symlink("a.mov", p) })), "clips_unread", "b.mov (too many levels of symbolic links).",
		},
	} {
		t.Run(name, func(t *testing.T) {
			root := realTemp(t)
			for _, clip := range []string{"a.mov", "b.mov"} {
				if err := os.WriteFile(filepath.Join(root, clip), []byte(wholeClip), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			rep, err := checks.Run(t.Context(), checks.Job{Source: root}, []*checks.Check{c.do(t), clipsWhole}, nil)
			if err != nil {
				t.Fatal(err)
			}
			sound(t, rep)
			r := rep.Result(clipsWhole.ID)
			if r.Status != checks.Unknown || len(r.Findings) > 0 || !strings.Contains(r.Reason+".", c.says) || fact[int64](t, rep, clipsWhole, c.key) != 1 || fact[int64](t, rep, clipsWhole, "clips") != 1 {
				t.Errorf("%s: %s, %v %v", r.Status, r.Reason, r.Facts, r.Findings)
			}
		})
	}
	t.Run("goes on", func(t *testing.T) {
		root := realTemp(t)
		box := []byte("\x00\x00\x00\x08free")
		long := append([]byte(wholeClip), bytes.Repeat(box, 1<<20+10)...) // more boxes than a look may take
		if err := os.WriteFile(filepath.Join(root, "long.mov"), long, 0o644); err != nil {
			t.Fatal(err)
		}
		rep := examine(t, checks.Job{Source: root})
		if r := rep.Result(clipsWhole.ID); r.Status != checks.Unknown || !strings.Contains(r.Reason, "Too long to follow to the end: long.mov") {
			t.Errorf("%s: %s", r.Status, r.Reason)
		}
		// Beside a clip that is not whole it is reported as well.
		if err := os.WriteFile(filepath.Join(root, "bad.mov"), []byte(unfinished), 0o644); err != nil {
			t.Fatal(err)
		}
		rep = examine(t, checks.Job{Source: root})
		if r := rep.Result(clipsWhole.ID); r.Status != checks.Warned || fact[int64](t, rep, clipsWhole, "clips_partly") != 1 {
			t.Errorf("%s: %s", r.Status, r.Summary)
		}
	})
}

// A file that may not be opened is told, and so are those beside it that are not whole. Opening takes an
// ordinary user to fail.
func TestClosedClip(t *testing.T) {
	if !fixture.Ordinary(t) {
		return
	}
	root := realTemp(t)
	grow(t, root, "closed.mov 100 mode=0", "seen.mov 100")
	rep := examine(t, checks.Job{Source: root})
	if r := rep.Result(clipsWhole.ID); r.Status != checks.Unknown || !strings.Contains(r.Reason, "closed.mov (permission denied)") {
		t.Errorf("%s: %s", r.Status, r.Reason)
	}
	if err := os.WriteFile(filepath.Join(root, "lost.mov"), []byte(unfinished), 0o644); err != nil {
		t.Fatal(err)
	}
	rep = examine(t, checks.Job{Source: root})
	compare(t, "the standard", spots(rep, clipsWhole.Rules...), map[spot]bool{{clipNoIndex.ID, "lost.mov"}: true})
	if r := rep.Result(clipsWhole.ID); r.Status != checks.Warned || fact[int64](t, rep, clipsWhole, "clips_unread") != 1 {
		t.Errorf("%s: %s", r.Status, r.Summary)
	}
}

// A card names a few of its clips, those that come first, and counts the rest.
func TestExample(t *testing.T) {
	var e example
	for _, p := range []string{"d", "b", "a\nb", "e", "c"} {
		e.add(p, nil)
	}
	if got, want := e.String(), `"a\nb", b, c and 2 more`; got != want {
		t.Errorf("%s, want %s", got, want)
	}
	e = example{}
	e.add("x", unix.EACCES)
	if got, want := e.String(), "x (permission denied)"; got != want {
		t.Errorf("%s, want %s", got, want)
	}
}

// A path longer than PATH_MAX (limits.h) cannot be opened in one piece.
func TestClipBelowLongPath(t *testing.T) {
	root := realTemp(t)
	deep := strings.Repeat(strings.Repeat("d", 200)+"/", 25)
	grow(t, root, deep+`short.mov "\x00\x00\x00\x64ftypqt  "`) // a box of 100 bytes
	compare(t, "the tree", spots(examine(t, checks.Job{Source: root}), clipsWhole.Rules...), map[spot]bool{{clipCutShort.ID, deep + "short.mov"}: true})
}

// TestClipsOnASilentDisk halts what serves the disk once it has been listed: every look would hang for ever. One
// is given up after the deadline, the others are not begun; and a run that is stopped does not wait for it.
func TestClipsOnASilentDisk(t *testing.T) {
	if !fixture.Room(t) {
		return
	}
	at, server := fuseDisk(t, realTemp(t), "disk")
	for _, n := range []string{"a", "b", "c", "d", "e"} {
		if err := os.WriteFile(filepath.Join(at, n+".mov"), []byte(wholeClip), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	wake := func() { _ = unix.Kill(server, unix.SIGCONT) }
	t.Cleanup(wake)
	halt := meddle(func(string) {
		if err := unix.Kill(server, unix.SIGSTOP); err != nil {
			t.Error(err)
		}
	})
	list := []*checks.Check{halt, clipsWhole}
	rep, err := checks.Run(t.Context(), checks.Job{Source: at, Deadline: 3 * time.Second}, list, nil)
	if err != nil {
		t.Fatal(err)
	}
	sound(t, rep)
	r := rep.Result(clipsWhole.ID)
	if r.Status != checks.Unknown || !strings.Contains(r.Reason, "stopped responding at ") || fact[int64](t, rep, clipsWhole, "clips_unseen") != 5 {
		t.Errorf("%s: %s, %v", r.Status, r.Reason, r.Facts)
	}

	wake()
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	rep, err = checks.Run(ctx, checks.Job{Source: at, Deadline: time.Hour}, list, func(e checks.Event) {
		if e.Phase == "Looking at clips" {
			cancel()
		}
	})
	if !errors.Is(err, context.Canceled) || rep.Result(clipsWhole.ID).Status != checks.Unknown {
		t.Errorf("stopped: %v", err)
	}
}
