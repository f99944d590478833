//go:build linux

package checks

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

// stopAt runs the checks and stops them at the n-th event.
func stopAt(t *testing.T, job Job, n int) (rep *Report, events int) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	rep, err := Run(ctx, job, BeforeList(), func(e Event) {
		if e.Check == nil {
			return
		}
		if events++; events == n {
			cancel()
		}
	})
	if rep == nil {
		t.Fatalf("stopped at event %d: no report, %v", n, err)
	}
	sound(t, rep)
	if events >= n {
		if !errors.Is(err, context.Canceled) || !rep.Stopped || rep.Verdict == Passed || len(rep.Checks) != len(BeforeList()) {
			t.Errorf("stopped at event %d: %v, stopped %v, verdict %s", n, err, rep.Stopped, rep.Verdict)
		}
	}
	return rep, events
}

// TestStop stops at every event of a run: it ends soon, says what was not checked, leaves nothing on
// the share and no goroutine behind.
func TestStop(t *testing.T) {
	if !mounting(t) {
		return
	}
	root := realTemp(t)
	grow(t, root, hostile...)
	// A small share, for the trial writes a part of what is free.
	share := tmpfs(t, realTemp(t), "share", "size=64m")
	job := Job{Source: root, Share: share, Now: func() time.Time { return treeNow }}
	before := runtime.NumGoroutine()
	for n := 1; n <= 2*len(BeforeList()); n++ {
		began := time.Now()
		_, events := stopAt(t, job, n)
		if took := time.Since(began); took > soon {
			t.Errorf("stopped at event %d: it took %s", n, took)
		}
		if events > 2*len(BeforeList()) {
			t.Errorf("%d events", events)
		}
		leftOn(t, share)
	}
	deadline := time.Now().Add(soon)
	for runtime.NumGoroutine() > before && time.Now().Before(deadline) {
		runtime.Gosched()
	}
	if now := runtime.NumGoroutine(); now > before {
		buf := make([]byte, 1<<16)
		t.Errorf("%d goroutines, %d before\n%s", now, before, buf[:runtime.Stack(buf, true)])
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := Run(ctx, job, BeforeList(), nil); !errors.Is(err, context.Canceled) {
		t.Errorf("stopped before it began: %v", err)
	}
	leftOn(t, share)
}

// TestEvents: every check begins and ends once, in order; never two events at a time.
func TestEvents(t *testing.T) {
	if !mounting(t) {
		return
	}
	root := realTemp(t)
	grow(t, root, hostile...)
	share := tmpfs(t, realTemp(t), "share", "size=64m")
	began, ended := map[string]int{}, map[string]int{}
	var order []string
	busy := make(chan struct{}, 1)
	last := Progress{}
	rep, err := Run(t.Context(), Job{Source: root, Share: share}, BeforeList(), func(e Event) {
		select {
		case busy <- struct{}{}:
		default:
			t.Error("two events at a time")
			return
		}
		defer func() { <-busy }()
		if e.Elapsed < last.Elapsed || e.Folders < last.Folders || e.Entries < last.Entries {
			t.Errorf("progress goes back: %+v after %+v", e.Progress, last)
		}
		if e.Done > 1 {
			t.Errorf("done %v", e.Done)
		}
		last = e.Progress
		switch {
		case e.Check == nil && e.Result != nil:
			t.Error("a result of no check")
		case e.Check == nil:
		case e.Result == nil:
			began[e.Check.ID]++
		default:
			ended[e.Check.ID]++
			order = append(order, e.Check.ID)
			if began[e.Check.ID] != 1 || e.Result.Check != e.Check {
				t.Errorf("%s ends, begun %d times", e.Check.ID, began[e.Check.ID])
			}
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	var want []string
	for _, c := range BeforeList() {
		want = append(want, c.ID)
		if began[c.ID] != 1 || ended[c.ID] != 1 {
			t.Errorf("%s began %d times and ended %d times", c.ID, began[c.ID], ended[c.ID])
		}
	}
	if fmt.Sprint(order) != fmt.Sprint(want) {
		t.Errorf("ended in the order %v", order)
	}
	for i := range rep.Checks {
		if rep.Checks[i].ID != want[i] {
			t.Errorf("check %d of the report is %s", i, rep.Checks[i].ID)
		}
	}
}

// TestProgress runs a check of a minute by a clock of its own: mere progress comes at most ten times a
// second, and does come.
func TestProgress(t *testing.T) {
	root := realTemp(t)
	grow(t, root, "a 1")
	long := oneCheck("long", func(ctx context.Context, _ *Pass) error {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(time.Minute):
			return nil
		}
	})
	synctest.Test(t, func(t *testing.T) {
		began := time.Now()
		perSecond := map[int64]int{}
		if _, err := Run(t.Context(), Job{Source: root}, []*Check{long}, func(e Event) {
			if e.Check == nil {
				perSecond[int64(time.Since(began)/time.Second)]++
			}
		}); err != nil {
			t.Fatal(err)
		}
		if len(perSecond) < 59 {
			t.Errorf("progress in %d of 60 seconds", len(perSecond))
		}
		for s, n := range perSecond {
			if n > 11 { // ten, and the one that falls on the border
				t.Errorf("%d events in second %d", n, s)
			}
		}
	})
}

// oneCheck is a sound check that does one thing at its end.
func oneCheck(id string, finish func(context.Context, *Pass) error) *Check {
	return &Check{
		ID: id, Title: "t", Doc: "d", Fix: "f", Group: GroupFiles, Finish: finish,
		Rules: []*Rule{{ID: id + "-rule", When: "w", Fix: "f", Source: "s"}},
	}
}

// TestNeeds: what rests on a check that could not judge cannot judge either, and is never good.
func TestNeeds(t *testing.T) {
	root := realTemp(t)
	grow(t, root, "a 1")
	first := oneCheck("first", func(context.Context, *Pass) error { return errors.New("the lens is cap\x1b[2Jped\nGood") })
	second := oneCheck("second", func(context.Context, *Pass) error { t.Error("second ran"); return nil })
	second.Needs = []*Check{first}
	third := oneCheck("third", func(_ context.Context, pass *Pass) error {
		pass.FlagJob(&Rule{ID: "third-rule", Level: Fail, When: "w", Fix: "f", Source: "s"}, "bad")
		return errors.New("then it broke")
	})
	fail := *third.Rules[0]
	fail.Level = Fail
	third.Rules[0] = &fail
	third.Finish = func(_ context.Context, pass *Pass) error {
		pass.FlagJob(&fail, "bad")
		return errors.New("then it broke")
	}
	rep, err := Run(t.Context(), Job{Source: root}, []*Check{first, second, third}, nil)
	if err != nil {
		t.Fatal(err)
	}
	sound(t, rep)
	for i, want := range []Status{Unknown, Unknown, Failed} {
		if c := rep.Checks[i]; c.Status != want || c.Reason == "" {
			t.Errorf("%s: %s, reason %q", c.ID, c.Status, c.Reason)
		}
	}
}

// TestValidate finds every fault that a list of checks can have.
func TestValidate(t *testing.T) {
	good := func() *Check { return oneCheck("good", func(context.Context, *Pass) error { return nil }) }
	if err := Validate([]*Check{good()}); err != nil {
		t.Fatal(err)
	}
	if err := Validate(BeforeList()); err != nil {
		t.Error(err)
	}
	other := oneCheck("other", good().Finish)
	for _, c := range []struct {
		want  string
		spoil func(c *Check) []*Check
	}{
		{"lower-case words", func(c *Check) []*Check { c.ID = ""; return []*Check{c} }},
		{"lower-case words", func(c *Check) []*Check { c.ID = "Bad ID"; return []*Check{c} }},
		{"lower-case words", func(c *Check) []*Check { c.ID = "-bad"; return []*Check{c} }},
		{"lower-case words", func(c *Check) []*Check { c.ID = "bad-"; return []*Check{c} }},
		{"lower-case words", func(c *Check) []*Check { c.ID = "b--d"; return []*Check{c} }},
		{"stands twice", func(c *Check) []*Check {
			d := good()
			d.Rules = []*Rule{{ID: "d", When: "w", Fix: "f", Source: "s"}}
			return []*Check{c, d}
		}},
		{"Title is empty", func(c *Check) []*Check { c.Title = " "; return []*Check{c} }},
		{"Doc is empty", func(c *Check) []*Check { c.Doc = ""; return []*Check{c} }},
		{"Fix is empty", func(c *Check) []*Check { c.Fix = ""; return []*Check{c} }},
		{"Group is empty", func(c *Check) []*Check { c.Group = ""; return []*Check{c} }},
		{"never look", func(c *Check) []*Check { c.Finish = nil; return []*Check{c} }},
		{"no rules", func(c *Check) []*Check { c.Rules = nil; return []*Check{c} }},
		{"lacks an ID", func(c *Check) []*Check { c.Rules[0].ID = ""; return []*Check{c} }},
		{"lacks an ID", func(c *Check) []*Check { c.Rules[0].When = ""; return []*Check{c} }},
		{"lacks an ID", func(c *Check) []*Check { c.Rules[0].Fix = ""; return []*Check{c} }},
		{"lacks an ID", func(c *Check) []*Check { c.Rules[0].Source = ""; return []*Check{c} }},
		{"declared twice", func(c *Check) []*Check { r := *c.Rules[0]; c.Rules = append(c.Rules, &r); return []*Check{c} }},
		{"does not stand before", func(c *Check) []*Check { c.Needs = []*Check{other}; return []*Check{c, other} }},
		{"does not stand before", func(c *Check) []*Check { c.Needs = []*Check{other}; return []*Check{c} }},
		{"does not stand before", func(c *Check) []*Check { c.Needs = []*Check{c}; return []*Check{c} }},
	} {
		list := c.spoil(good())
		if err := Validate(list); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("want %q, got %v", c.want, err)
		}
		if _, err := Run(t.Context(), Job{Source: t.TempDir()}, list, nil); err == nil {
			t.Errorf("%q runs", c.want)
		}
	}
}

// TestDemo: every status appears, everything is removed, and what is invented says so.
func TestDemo(t *testing.T) {
	if !ordinary(t) {
		return
	}
	d, err := NewDemo()
	if err != nil {
		t.Fatal(err)
	}
	rep, err := Run(t.Context(), d.Job, BeforeList(), nil)
	if err != nil {
		t.Fatal(err)
	}
	sound(t, rep)
	seen := map[Status]int{}
	for i := range rep.Checks {
		seen[rep.Checks[i].Status]++
	}
	for _, s := range []Status{Passed, Warned, Failed, Unknown} {
		if seen[s] == 0 {
			t.Errorf("no check of the demo is %s", s)
		}
	}
	var b strings.Builder
	if err := rep.WriteText(&b); err != nil || rep.Invented == "" || !strings.Contains(b.String(), "THIS IS A DEMO. Invented: ") {
		t.Errorf("the demo does not say what is invented: %v", err)
	}
	leftOn(t, d.Job.Share)
	if err := d.Close(); err != nil {
		t.Error(err)
	}
	if _, err := os.Lstat(d.Folder); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("the demo's folder is left: %v", err)
	}
	if left, _ := filepath.Glob(filepath.Join(os.TempDir(), "loadline-demo-*")); len(left) > 0 {
		t.Errorf("left: %v", left)
	}
}
