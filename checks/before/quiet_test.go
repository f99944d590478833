//go:build linux

package before

import (
	"errors"
	"fmt"
	"path/filepath"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"loadline/checks"
	"loadline/checks/internal/fixture"
	"loadline/checks/share"
)

// TestLinksToADeadMount: links may lead to a mount whose server is gone (nfs(5), hard: a request is repeated
// for ever; here what serves a FUSE disk is halted). The check gives up after the deadline, once for all of
// them, and judges them by where they lead.
func TestLinksToADeadMount(t *testing.T) {
	if !fixture.Room(t) {
		return
	}
	base := realTemp(t)
	source := filepath.Join(base, "source")
	tree := []string{"a 1", "inside => a", "round => ../source/a"}
	want := map[spot]bool{{"link-inside", "inside"}: true, {"link-inside", "round"}: true}
	for i := range 40 { // more than calls may hang
		name := fmt.Sprintf("d%d/link", i)
		tree = append(tree, fmt.Sprintf("%s => ../../dead/f%d/x", name, i))
		want[spot{"link-outside", name}] = true
	}
	grow(t, source, tree...)
	at, server := fuseDisk(t, base, "dead")
	if err := unix.Kill(server, unix.SIGSTOP); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = unix.Kill(server, unix.SIGCONT) })
	// Were each of them waited for, it would take minutes and more calls than may hang.
	rep := examine(t, checks.Job{Source: source, Deadline: 5 * time.Second, Workers: 8})
	compare(t, "path_resolution(7)", spots(rep, symlinks.Rules...), want)
	if r := rep.Result(symlinks.ID); r.Status != checks.Failed {
		t.Errorf("the check is %s", r.Status)
	}
	// The calls that may hang are not used up: what can answer is still asked.
	for range 8 {
		if _, err := share.Guard(t.Context(), time.Minute, func() (int, error) { return 1, nil }); err != nil {
			t.Fatalf("other calls: %v", err)
		}
	}
	if _, err := ask(&elsewhere, filepath.Join(at, "else"), time.Hour, func() (int, error) { return 1, nil }); !errors.Is(err, share.ErrSilent) {
		t.Errorf("the mount is asked again: %v", err)
	}
	if _, err := ask(&elsewhere, at+"2", time.Minute, func() (int, error) { return 1, nil }); err != nil {
		t.Errorf("another place: %v", err)
	}
}

// A place that was silent is asked again after a while.
func TestQuietEnds(t *testing.T) {
	q := &quiet{until: map[string]time.Time{"/mnt/a": time.Now().Add(-time.Second), "/mnt/b": time.Now().Add(time.Hour)}}
	asked := errors.New("asked")
	for p, want := range map[string]error{"/mnt/a/x": asked, "/mnt/b/x": share.ErrSilent, "/mnt/b": share.ErrSilent, "/mnt/bb": asked} {
		_, err := ask(q, p, time.Minute, func() (int, error) { return 0, asked })
		if !errors.Is(err, want) {
			t.Errorf("%s: %v, want %v", p, err, want)
		}
	}
}
