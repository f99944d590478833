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

// A few files that give errors between others are found; sixteen in a row are put down to the side,
// as on a soft mount whose server is gone (EIO, nfs(5)): then nothing is said of the files.
func TestErrorsInARow(t *testing.T) {
	fail := func(rows string) (*checks.Result, error) { // e an error, . a good file, in order
		stage := New(Options{})
		c := &comparing{after: stage.a, pass: checks.NewPass(stage.List()[2], &checks.Job{}, 1)}
		d := &walk.Dir{}
		for i := range rows {
			d.Entries = append(d.Entries, walk.Entry{Name: fmt.Sprintf("%03d", i), Size: 1})
		}
		stage.a.tree.addFolder(d)
		s := &digest.Side{Number: digest.Share, Name: "the share"}
		var err error
		for i, what := range rows {
			r := &digest.Reading{File: i, Size: 1, Got: 1}
			if what == 'e' {
				r.Err, r.Got = syscall.EIO, 0
			}
			if err = c.take(s, r); err != nil {
				break
			}
		}
		res := c.pass.Close("")
		return &res, err
	}
	res, err := fail("..eee.." + strings.Repeat("e", mostTroubles-1) + ".")
	if err != nil || res.Rules["unreadable-on-share"] != 3+mostTroubles-1 {
		t.Errorf("errors between: %v, %v", res.Rules, err)
	}
	res, err = fail("..." + strings.Repeat("e", mostTroubles))
	if err == nil || !strings.Contains(err.Error(), "nothing but errors") || len(res.Findings) > 0 {
		t.Errorf("errors in a row: %v, %v", res.Findings, err)
	}
}

// A reading that is not whole is never compared, and is told by the rule of its side.
func TestUnstable(t *testing.T) {
	for _, tc := range []struct {
		side int
		r    digest.Reading
		rule string
	}{
		{digest.Share, digest.Reading{Size: 4096, Got: 5}, "short-on-share"},
		{digest.Source, digest.Reading{Size: 4096, Got: 5}, "unreadable-source"},
		{digest.Share, digest.Reading{Size: 4096, Got: 4096, Changed: true}, "still-copying"},
		{digest.Source, digest.Reading{Size: 4096, Got: 4096, Changed: true}, "source-changed"},
		{digest.Share, digest.Reading{Size: 5000, Got: 5000}, "still-copying"},
		{digest.Source, digest.Reading{Size: 5000, Got: 5000}, "source-changed"},
		{digest.Share, digest.Reading{Size: 4096, Got: 4096}, ""},
		{digest.Source, digest.Reading{Size: 4096, Got: 4096}, ""},
	} {
		stage := New(Options{})
		c := &comparing{after: stage.a, pass: checks.NewPass(stage.List()[2], &checks.Job{}, 1)}
		bad := c.unstable(&digest.Side{Number: tc.side}, &entry{size: 4096}, &tc.r, "f")
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
