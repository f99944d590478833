package gui

import (
	"testing"

	"fyne.io/fyne/v2/test"

	"loadline/checks"
	"loadline/checks/demo"
	"loadline/gui/kit"
)

// TestDemo drives the demo through all three stages on the real engine: what is wrong is shown, the demo's own
// button puts it right, and the next check is no longer red.
func TestDemo(t *testing.T) {
	t.Setenv("TMPDIR", t.TempDir())
	d, err := demo.New()
	if err != nil {
		t.Fatal(err)
	}
	r := newRig(t, 1280, 800, kit.Light)
	r.Window = New(test.NewTempWindow(t, nil), RealEngine(), r.desktop)
	r.Demo(d)
	check := func(s checks.Stage) *checks.Report {
		t.Helper()
		r.setStage(s)
		r.Check()
		if r.running != s {
			t.Fatalf("%s does not begin: %s", s, r.message)
		}
		r.until("the end of "+string(s), func() bool { return r.running == "" })
		rep := r.view().report
		if rep == nil {
			t.Fatalf("%s gives no report: %s", s, r.message)
		}
		return rep
	}
	if rep := check(checks.Before); rep.Verdict != checks.Failed || r.view().head.more.Visible() {
		t.Errorf("before copying: %s", rep.Verdict)
	}
	for _, s := range []checks.Stage{checks.After, checks.Arrival} {
		if rep := check(s); rep.Verdict != checks.Failed || !r.view().head.more.Visible() {
			t.Fatalf("%s: %s, and nothing to put it right", s, rep.Verdict)
		}
		test.Tap(r.view().head.more)
		rep := check(s)
		if rep.Verdict == checks.Failed || r.view().head.more.Visible() {
			t.Errorf("%s, put right: %s", s, rep.Verdict)
		}
		if s == checks.After && rep.Manifest == "" {
			t.Error("no manifest of the copy put right")
		}
	}
	if err := d.Close(); err != nil {
		t.Error(err)
	}
}
