//go:build linux

package before

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"golang.org/x/sys/unix"

	"loadline/checks"
	"loadline/checks/demo"
	"loadline/checks/internal/fixture"
	"loadline/checks/share"
)

// stopAt runs the checks and stops them at the n-th event.
func stopAt(t *testing.T, job checks.Job, n int) (rep *checks.Report, events int) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	rep, err := checks.Run(ctx, job, List(), func(e checks.Event) {
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
		if !errors.Is(err, context.Canceled) || !rep.Interrupted || rep.Verdict == checks.Passed || len(rep.Checks) != len(List()) {
			t.Errorf("stopped at event %d: %v, stopped %v, verdict %s", n, err, rep.Interrupted, rep.Verdict)
		}
	}
	return rep, events
}

// TestStop stops at every event of a run: it ends soon, says what was not checked, leaves nothing on
// the share and no goroutine behind.
func TestStop(t *testing.T) {
	if !fixture.Room(t) {
		return
	}
	root := realTemp(t)
	grow(t, root, hostile...)
	// A small share, for the trial writes a part of what is free.
	share := tmpfs(t, realTemp(t), "share", "size=64m")
	job := checks.Job{Source: root, Share: share, Now: func() time.Time { return treeNow }}
	before := runtime.NumGoroutine()
	for n := 1; n <= 2*len(List()); n++ {
		_, events := stopAt(t, job, n)
		if events > 2*len(List()) {
			t.Errorf("%d events", events)
		}
		emptied(t, share)
	}
	// What is left of one run ends by itself. One that never did would keep the test from ending.
	for runtime.NumGoroutine() > before {
		runtime.Gosched()
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := checks.Run(ctx, job, List(), nil); !errors.Is(err, context.Canceled) {
		t.Errorf("stopped before it began: %v", err)
	}
	leftOn(t, share)
}

// A run that is stopped in the middle of a trial, on a share that has fallen silent, names what it could not take away: in
// the findings, in the text and in the JSON.
func TestStoppedTrialIsNamed(t *testing.T) {
	if !fixture.Room(t) {
		return
	}
	base := realTemp(t)
	source := filepath.Join(base, "source")
	grow(t, source, "a 1")
	t.Cleanup(func() { try = share.Try })
	for i, phase := range []string{"Trying names", "Timing small files", "Measuring the rate", "Removing the trial folder"} {
		at, server := fuseDisk(t, base, fmt.Sprintf("share%d", i))
		ctx, cancel := context.WithCancel(t.Context())
		halted := false
		try = func(ctx context.Context, folder string, w share.Wishes) (*share.Result, error) {
			w.Progress = func(_ float64, doing string) {
				if doing == phase && !halted {
					halted = true
					if err := unix.Kill(server, unix.SIGSTOP); err != nil {
						t.Error(err)
					}
					cancel()
				}
			}
			return share.Try(ctx, folder, w)
		}
		rep, err := checks.Run(ctx, checks.Job{Source: source, Share: at, Deadline: time.Hour}, List(), nil)
		cancel()
		if !errors.Is(err, context.Canceled) || rep == nil || !rep.Interrupted || !halted {
			t.Fatalf("%s: %v, %+v", phase, err, rep)
		}
		var text, doc strings.Builder
		if err := errors.Join(rep.WriteText(&text), rep.WriteJSON(&doc)); err != nil {
			t.Fatal(err)
		}
		res := rep.Result(shareWrites.ID)
		i := slices.IndexFunc(res.Findings, func(f checks.Finding) bool { return f.Rule == trialLeftBehind })
		if res.Status != checks.Unknown || res.Rules[trialLeftBehind.ID] != 1 || i < 0 {
			t.Fatalf("%s: %s, %+v", phase, res.Status, res.Findings)
		}
		path, _, _ := strings.Cut(res.Findings[i].Detail, ",")
		if !strings.HasPrefix(path, at+"/.loadline-trial-") || !strings.Contains(doc.String(), path) {
			t.Errorf("%s: %q is not named in\n%s", phase, path, doc.String())
		}
		if !strings.Contains(strings.Join(strings.Fields(text.String()), " "), path) {
			t.Errorf("%s: %q is not named in\n%s", phase, path, text.String())
		}
		// When the share answers again, it is taken away after all.
		if err := unix.Kill(server, unix.SIGCONT); err != nil {
			t.Fatal(err)
		}
		emptied(t, at)
	}
}

// emptied waits until nothing is on the share: on a busy machine a run that was stopped may return while its trial
// still tidies up.
func emptied(t *testing.T, share string) {
	t.Helper()
	for {
		list, err := os.ReadDir(share)
		if err != nil {
			t.Fatal(err)
		}
		if len(list) == 0 {
			return
		}
		runtime.Gosched()
	}
}

// TestEvents: every check begins and ends once, in order; never two events at a time.
func TestEvents(t *testing.T) {
	if !fixture.Room(t) {
		return
	}
	root := realTemp(t)
	grow(t, root, hostile...)
	share := tmpfs(t, realTemp(t), "share", "size=64m")
	began, ended := map[string]int{}, map[string]int{}
	var order []string
	busy := make(chan struct{}, 1)
	last := checks.Progress{}
	rep, err := checks.Run(t.Context(), checks.Job{Source: root, Share: share}, List(), func(e checks.Event) {
		select {
		case busy <- struct{}{}:
		default:
			t.Error("two events at a time")
			return
		}
		defer func() { <-busy }()
		// A new phase counts what it does itself.
		if e.Elapsed < last.Elapsed || e.Phase == last.Phase && (e.Folders < last.Folders || e.Entries < last.Entries) {
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
	for _, c := range List() {
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
	long := oneCheck("long", func(ctx context.Context, _ *checks.Pass) error {
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
		if _, err := checks.Run(t.Context(), checks.Job{Source: root}, []*checks.Check{long}, func(e checks.Event) {
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
func oneCheck(id string, finish func(context.Context, *checks.Pass) error) *checks.Check {
	return &checks.Check{
		ID: id, Title: "t", Doc: "d", Fix: "f", Group: checks.GroupFiles, Finish: finish,
		Rules: []*checks.Rule{{ID: id + "-rule", When: "w", Fix: "f", Source: "s"}},
	}
}

// TestNeeds: what rests on a check that could not judge cannot judge either, and is never good.
func TestNeeds(t *testing.T) {
	root := realTemp(t)
	grow(t, root, "a 1")
	first := oneCheck("first", func(context.Context, *checks.Pass) error { return errors.New("the lens is cap\x1b[2Jped\nGood") })
	second := oneCheck("second", func(context.Context, *checks.Pass) error { t.Error("second ran"); return nil })
	second.Needs = []*checks.Check{first}
	third := oneCheck("third", func(_ context.Context, pass *checks.Pass) error {
		pass.FlagJob(&checks.Rule{ID: "third-rule", Level: checks.Fail, When: "w", Fix: "f", Source: "s"}, "bad")
		return errors.New("then it broke")
	})
	fail := *third.Rules[0]
	fail.Level = checks.Fail
	third.Rules[0] = &fail
	third.Finish = func(_ context.Context, pass *checks.Pass) error {
		pass.FlagJob(&fail, "bad")
		return errors.New("then it broke")
	}
	rep, err := checks.Run(t.Context(), checks.Job{Source: root}, []*checks.Check{first, second, third}, nil)
	if err != nil {
		t.Fatal(err)
	}
	sound(t, rep)
	for i, want := range []checks.Status{checks.Unknown, checks.Unknown, checks.Failed} {
		if c := rep.Checks[i]; c.Status != want || c.Reason == "" {
			t.Errorf("%s: %s, reason %q", c.ID, c.Status, c.Reason)
		}
	}
}

// TestValidate finds every fault that a list of checks can have.
func TestValidate(t *testing.T) {
	good := func() *checks.Check {
		return oneCheck("good", func(context.Context, *checks.Pass) error { return nil })
	}
	if err := checks.Validate([]*checks.Check{good()}); err != nil {
		t.Fatal(err)
	}
	if err := checks.Validate(List()); err != nil {
		t.Error(err)
	}
	other := oneCheck("other", good().Finish)
	for _, c := range []struct {
		want  string
		spoil func(c *checks.Check) []*checks.Check
	}{
		{"lower-case words", func(c *checks.Check) []*checks.Check { c.ID = ""; return []*checks.Check{c} }},
		{"lower-case words", func(c *checks.Check) []*checks.Check { c.ID = "Bad ID"; return []*checks.Check{c} }},
		{"lower-case words", func(c *checks.Check) []*checks.Check { c.ID = "-bad"; return []*checks.Check{c} }},
		{"lower-case words", func(c *checks.Check) []*checks.Check { c.ID = "bad-"; return []*checks.Check{c} }},
		{"lower-case words", func(c *checks.Check) []*checks.Check { c.ID = "b--d"; return []*checks.Check{c} }},
		{"is used twice", func(c *checks.Check) []*checks.Check {
			d := good()
			d.Rules = []*checks.Rule{{ID: "d", When: "w", Fix: "f", Source: "s"}}
			return []*checks.Check{c, d}
		}},
		{"Title is empty", func(c *checks.Check) []*checks.Check { c.Title = " "; return []*checks.Check{c} }},
		{"Doc is empty", func(c *checks.Check) []*checks.Check { c.Doc = ""; return []*checks.Check{c} }},
		{"Fix is empty", func(c *checks.Check) []*checks.Check { c.Fix = ""; return []*checks.Check{c} }},
		{"Group is empty", func(c *checks.Check) []*checks.Check { c.Group = ""; return []*checks.Check{c} }},
		{"never look", func(c *checks.Check) []*checks.Check { c.Finish = nil; return []*checks.Check{c} }},
		{"no rules", func(c *checks.Check) []*checks.Check { c.Rules = nil; return []*checks.Check{c} }},
		{"lacks an ID", func(c *checks.Check) []*checks.Check { c.Rules[0].ID = ""; return []*checks.Check{c} }},
		{"lacks an ID", func(c *checks.Check) []*checks.Check { c.Rules[0].When = ""; return []*checks.Check{c} }},
		{"lacks an ID", func(c *checks.Check) []*checks.Check { c.Rules[0].Fix = ""; return []*checks.Check{c} }},
		{"lacks an ID", func(c *checks.Check) []*checks.Check { c.Rules[0].Source = ""; return []*checks.Check{c} }},
		{"declared twice", func(c *checks.Check) []*checks.Check {
			r := *c.Rules[0]
			c.Rules = append(c.Rules, &r)
			return []*checks.Check{c}
		}},
		{"does not come before", func(c *checks.Check) []*checks.Check {
			c.Needs = []*checks.Check{other}
			return []*checks.Check{c, other}
		}},
		{"does not come before", func(c *checks.Check) []*checks.Check { c.Needs = []*checks.Check{other}; return []*checks.Check{c} }},
		{"does not come before", func(c *checks.Check) []*checks.Check { c.Needs = []*checks.Check{c}; return []*checks.Check{c} }},
	} {
		list := c.spoil(good())
		if err := checks.Validate(list); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("want %q, got %v", c.want, err)
		}
		if _, err := checks.Run(t.Context(), checks.Job{Source: t.TempDir()}, list, nil); err == nil {
			t.Errorf("%q runs", c.want)
		}
	}
}

// TestDemo: every status appears, everything is removed, and what is invented says so.
func TestDemo(t *testing.T) {
	if !fixture.Ordinary(t) {
		return
	}
	d, err := demo.New()
	if err != nil {
		t.Fatal(err)
	}
	rep, err := checks.Run(t.Context(), d.Job, List(), nil)
	if err != nil {
		t.Fatal(err)
	}
	sound(t, rep)
	seen := map[checks.Status]int{}
	for i := range rep.Checks {
		seen[rep.Checks[i].Status]++
	}
	for _, s := range []checks.Status{checks.Passed, checks.Warned, checks.Failed, checks.Unknown} {
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
