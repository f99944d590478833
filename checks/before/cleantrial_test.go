//go:build linux

package before

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"loadline/checks"
	"loadline/checks/internal/fixture"
)

// TestCleanTrial: what a trial that was killed left on the share is told, and removed when that is asked
// for; nothing else ever is, whatever its name.
func TestCleanTrial(t *testing.T) {
	if !fixture.Room(t) {
		return
	}
	base := realTemp(t)
	source := filepath.Join(base, "source")
	grow(t, source, "a 1")
	at := tmpfs(t, base, "share", "size=64m")
	// A process that has ended: its number is free, or at least not that of a trial with this token.
	ended := exec.Command("true")
	if err := ended.Run(); err != nil {
		t.Fatal(err)
	}
	host, err := os.Hostname()
	if err != nil {
		t.Fatal(err)
	}
	marker := func(name string) string {
		return fmt.Sprintf("This is a trial folder of Loadline. It holds test files only and may be removed.\n"+
			"name: %s\ntoken: ABCDEFGHIJKLMNOPQRSTUVWXYZ\nhost: %s\npid: %d\nstarted: %s\n",
			name, strings.Join(strings.Fields(host), "-"), ended.Process.Pid, time.Now().Add(-time.Hour).UTC().Format(time.RFC3339))
	}
	put := func(name, text string) {
		p := filepath.Join(at, name)
		if err := os.MkdirAll(filepath.Dir(p), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(p, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	const left, holds, unmarked, other, named = ".loadline-trial-aaaaaaaa", ".loadline-trial-bbbbbbbb", ".loadline-trial-cccccccc", ".loadline-trial-dddddddd", "footage"
	for _, name := range []string{left, holds} {
		put(name+"/.loadline-trial", marker(name))
		put(name+"/stream", "half")
		put(name+"/small-1", "x")
		put(name+"/names/ab", "")
	}
	put(holds+"/A001.mov", "frames")                      // somebody's
	put(unmarked+"/stream", "frames")                     // of the name only
	put(other+"/.loadline-trial", marker(unmarked))       // the marker of another folder
	put(named+"/.loadline-trial", marker(named))          // a marker only
	put(".loadline-trial-eeeeeeee", marker("a file"))     // no folder
	put(named+"/inner/"+left+"/stream", "not at the top") // nobody looks there
	tree := func() []string {
		list := strings.Split(strings.TrimSpace(output(t, at, "find", ".", "-type", "f")), "\n")
		slices.Sort(list)
		return list
	}
	before := tree()
	paths := func(names ...string) (list []string) {
		for _, n := range names {
			list = append(list, filepath.Join(at, n))
		}
		return list
	}
	told := func(rep *checks.Report) (list []string) {
		for _, f := range rep.Result(shareWrites.ID).Findings {
			if f.Rule == trialLeftBehind {
				list = append(list, f.Detail)
			}
		}
		slices.Sort(list)
		return list
	}
	// Nothing is removed unasked, nor where nothing may be written.
	rep := examine(t, checks.Job{Source: source, Share: at})
	if got := told(rep); !slices.Equal(got, paths(left, holds)) {
		t.Errorf("told: %q", got)
	}
	examine(t, checks.Job{Source: source, Share: at, CleanTrial: true, NoTrial: true})
	if now := tree(); !slices.Equal(now, before) {
		t.Fatalf("unasked:\n%q\nbefore\n%q", now, before)
	}
	rep = examine(t, checks.Job{Source: source, Share: at, CleanTrial: true})
	if got := told(rep); !slices.Equal(got, paths(holds)) {
		t.Errorf("told after cleaning: %q", got)
	}
	r := rep.Result(shareWrites.ID)
	removed, kept := r.Fact("removed_trials").Text, r.Fact("kept_trials").Text
	if r.Status != checks.Warned || !strings.Contains(removed, left) || strings.Contains(removed, holds) {
		t.Errorf("%s, removed: %s", r.Status, removed)
	}
	if !strings.Contains(kept, holds) || !strings.Contains(kept, "A001.mov") {
		t.Errorf("kept: %s", kept)
	}
	want := slices.DeleteFunc(before, func(p string) bool {
		return strings.HasPrefix(p, "./"+left+"/")
	})
	if got := tree(); !slices.Equal(got, want) {
		t.Errorf("after cleaning:\n%q\nwant\n%q", got, want)
	}
	if _, err := os.Stat(filepath.Join(at, left)); !os.IsNotExist(err) {
		t.Errorf("%s is still there: %v", left, err)
	}
}
