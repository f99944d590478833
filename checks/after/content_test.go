package after

import (
	"fmt"
	"strings"
	"syscall"
	"testing"

	"loadline/checks"
	"loadline/checks/digest"
	"loadline/checks/walk"
)

// A few files that give errors between others are found; a row of them up to the point where a side could not be
// read any more is put down to the side, as on a soft mount whose server is gone (EIO, nfs(5)): then nothing is
// said of the files.
func TestErrorsInARow(t *testing.T) {
	fail := func(rows string, end error) *checks.Result { // e an error, . a good file, in order
		stage := New(Options{})
		c := &comparing{after: stage.a, pass: checks.NewPass(stage.List()[2], &checks.Job{}, 1)}
		d := &walk.Dir{}
		for i := range rows {
			d.Entries = append(d.Entries, walk.Entry{Name: fmt.Sprintf("%03d", i), Size: 1})
		}
		stage.a.tree.addFolder(d)
		for i, what := range rows {
			r := &digest.Result{File: digest.File{ID: i, Size: 1}, Length: 1, Got: 1}
			if what == 'e' {
				r.Err, r.Got = syscall.EIO, 0
			}
			c.judgeContent(shareSide, r)
		}
		c.settleTroubles(end)
		res := c.pass.Close("")
		return &res
	}
	if res := fail("..eee..eeeee.", nil); res.Rules["unreadable-on-share"] != 8 {
		t.Errorf("errors between: %v", res.Rules)
	}
	if res := fail("..eee..eeeee", nil); res.Rules["unreadable-on-share"] != 8 {
		t.Errorf("errors at the end: %v", res.Rules)
	}
	if res := fail("..eee..eeeee", digest.ErrDying); res.Rules["unreadable-on-share"] != 3 {
		t.Errorf("errors in a row: %v", res.Findings)
	}
}

// A reading that is not whole is never compared, and is told by the rule of its side.
func TestUnstable(t *testing.T) {
	for _, tc := range []struct {
		side int
		r    digest.Result
		rule string
	}{
		{shareSide, digest.Result{Length: 4096, Got: 5}, "short-on-share"},
		{sourceSide, digest.Result{Length: 4096, Got: 5}, "unreadable-source"},
		{shareSide, digest.Result{Length: 4096, Got: 4096, Changed: true}, "still-copying"},
		{sourceSide, digest.Result{Length: 4096, Got: 4096, Changed: true}, "source-changed"},
		{shareSide, digest.Result{Length: 5000, Got: 5000}, "still-copying"},
		{sourceSide, digest.Result{Length: 5000, Got: 5000}, "source-changed"},
		{shareSide, digest.Result{Length: 4096, Got: 4096}, ""},
		{sourceSide, digest.Result{Length: 4096, Got: 4096}, ""},
	} {
		stage := New(Options{})
		c := &comparing{after: stage.a, pass: checks.NewPass(stage.List()[2], &checks.Job{}, 1)}
		bad := c.unstable(tc.side, &entry{size: 4096}, &tc.r, "f")
		res := c.pass.Close("")
		if bad != (tc.rule != "") || bad && (len(res.Findings) != 1 || res.Findings[0].Rule.ID != tc.rule || res.Status != checks.Failed) {
			t.Errorf("side %d, %+v: %v, %+v, want %q", tc.side, tc.r, bad, res.Findings, tc.rule)
		}
		// Two equal sizes are no explanation.
		if tc.r.Changed && !strings.Contains(res.Findings[0].Detail, "written to while it was checked; its size is the same") {
			t.Errorf("says %q", res.Findings[0].Detail)
		}
	}
}
