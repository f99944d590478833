package seal

import (
	"fmt"
	"strings"
	"syscall"
	"testing"

	"loadline/checks"
	"loadline/checks/walk"
)

// A few files that give errors between others are found; sixteen in a row are put down to the side,
// as on a soft mount whose server is gone (EIO, nfs(5)): then nothing is said of the files.
func TestErrorsInARow(t *testing.T) {
	fail := func(rows string) (*checks.Result, error) { // e an error, . a good file, in order
		stage := NewAfter(Options{})
		c := &comparing{after: stage.a, pass: checks.NewPass(stage.List()[2], &checks.Job{}, 1)}
		d := &walk.Dir{}
		for i := range rows {
			d.Entries = append(d.Entries, walk.Entry{Name: fmt.Sprintf("%03d", i), Size: 1})
		}
		stage.a.tree.addFolder(d)
		s := &side{number: shareSide, name: "the share"}
		var err error
		for i, what := range rows {
			r := &reading{file: i, size: 1, got: 1}
			if what == 'e' {
				r.err, r.got = syscall.EIO, 0
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
