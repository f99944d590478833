package demo

import (
	"os"
	"testing"

	"loadline/checks"
	"loadline/checks/after"
	"loadline/checks/arrival"
	"loadline/checks/before"
)

// TestStages runs the demo through all three stages by the real checks: what it shows is what they find.
func TestStages(t *testing.T) {
	t.Setenv("TMPDIR", t.TempDir())
	d, err := New()
	if err != nil {
		t.Fatal(err)
	}
	counts := func(rep *checks.Report) map[string]int64 {
		all := map[string]int64{}
		for i := range rep.Checks {
			for rule, n := range rep.Checks[i].Rules {
				all[rule] += n
			}
		}
		return all
	}

	rep, err := checks.Run(t.Context(), d.Job, before.List(), nil)
	if err != nil || rep.Verdict != checks.Failed || rep.Invented == "" {
		t.Fatalf("before copying: %v, %v", rep, err)
	}

	copied := func() *checks.Report {
		t.Helper()
		rep, err := after.Run(t.Context(), d.Copied, after.Options{State: d.State}, nil)
		if err != nil {
			t.Fatal(err)
		}
		return rep
	}
	rep = copied()
	for _, rule := range []string{"content-differs", "size-differs", "missing-on-share"} {
		if n := counts(rep)[rule]; n != 1 {
			t.Errorf("%s: %d", rule, n)
		}
	}
	if rep.Verdict != checks.Failed || rep.Manifest != "" {
		t.Errorf("a damaged copy is %s, manifest %q", rep.Verdict, rep.Manifest)
	}
	if err := d.PutRight(); err != nil {
		t.Fatal(err)
	}
	if rep = copied(); rep.Verdict == checks.Failed || rep.Manifest == "" {
		t.Fatalf("the copy put right is %s, manifest %q: %v", rep.Verdict, rep.Manifest, counts(rep))
	}

	own, err := d.Manifest()
	if err != nil {
		t.Fatal(err)
	}
	for _, manifest := range []string{own, rep.Manifest} {
		for _, whole := range []bool{false, true} {
			list, err := d.Listing(whole)
			if err != nil {
				t.Fatal(err)
			}
			rep, err := arrival.Run(t.Context(), manifest, []string{list}, arrival.Options{}, nil)
			if err != nil {
				t.Fatal(err)
			}
			if missing := counts(rep)["missing-object"]; (missing == 0) != whole || (rep.Verdict == checks.Failed) == whole {
				t.Errorf("listing, whole %v: %s, %d missing", whole, rep.Verdict, missing)
			}
		}
	}

	if err := d.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(d.Folder); err == nil {
		t.Error("the demo's folder is still there")
	}
}
