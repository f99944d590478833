//go:build linux

package before

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"loadline/checks"
	"loadline/checks/internal/fixture"
)

// mountAt makes a folder and mounts something there until the test ends.
func mountAt(t testing.TB, dir, name string, args ...string) string {
	t.Helper()
	p := filepath.Join(dir, name)
	fixture.Mount(t, p, args...)
	return p
}

// tmpfs mounts memory.
func tmpfs(t testing.TB, dir, name, options string) string {
	t.Helper()
	return mountAt(t, dir, name, "-t", "tmpfs", "-o", options, "tmpfs")
}

// whole returns the rules that hold of the whole job.
func whole(rep *checks.Report) map[string]checks.Level {
	found := map[string]checks.Level{}
	for s, level := range spots(rep) {
		if s.path == "" {
			found[s.rule] = level
		}
	}
	return found
}

// expectWhole compares the rules of the whole job; those of the machine that runs the tests aside.
func expectWhole(t testing.TB, rep *checks.Report, want ...string) {
	t.Helper()
	got := whole(rep)
	for _, id := range []string{"on-battery", "wireless-link", "slow-link", "slow-source", "clock-skew"} {
		delete(got, id)
	}
	for _, id := range want {
		if _, ok := got[id]; !ok {
			t.Errorf("%s does not hold", id)
		}
		delete(got, id)
	}
	for id := range got {
		t.Errorf("%s holds: %s", id, detailOf(rep, id))
	}
}

func detailOf(rep *checks.Report, id string) string {
	for _, f := range rep.Findings() {
		if f.Rule.ID == id {
			return f.Detail
		}
	}
	return ""
}

// fact returns a number of a check.
func fact[T any](t testing.TB, rep *checks.Report, c *checks.Check, key string) T {
	t.Helper()
	f := rep.Result(c.ID).Fact(key)
	v, ok := f.Value.(T)
	if !ok {
		t.Errorf("%s: %s is a %T", c.ID, key, f.Value)
	}
	return v
}

// leftOn fails for what the trial left on a share.
func leftOn(t testing.TB, share string, known ...string) {
	t.Helper()
	list, err := os.ReadDir(share)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, e := range list {
		names = append(names, e.Name())
	}
	if fmt.Sprint(names) != fmt.Sprint(known) {
		t.Errorf("%q lies on the share, want %q", names, known)
	}
}
