package fix

import (
	"context"
	"os"
	"testing"

	"pgregory.net/rapid"
)

// crash is the panic by which a test ends the program in the middle.
type crash struct{}

// crashing calls do with a hook that ends it at point n. It reports whether it came that far.
func crashing(n int, do func(hook func(string))) (crashed bool) {
	defer func() {
		if r := recover(); r != nil {
			if _, ok := r.(crash); !ok {
				panic(r)
			}
			crashed = true
		}
	}()
	do(func(string) {
		if n--; n < 0 {
			panic(crash{})
		}
	})
	return false
}

var mixed = [][2]string{
	{"d/", "e"},
	{"e/", "d"},
	{"d/a", "b"},
	{"d/b", "a"},
	{"d/c", "C"},
	{"d/sub/", "Sub"},
	{"d/sub/x", "y"},
	{"d/sub/e\u0301", "\u00e9"},
	{"e/1", "2"},
	{"e/2", "3"},
	{"f", "g"},
}

// recoverFrom goes on or back after a crash and looks whether all is well.
func recoverFrom(t testing.TB, p *Plan, before map[string]string, o Options, goBack bool) {
	t.Helper()
	all, err := Journals(p.Source, o.StateDir)
	if err != nil {
		t.Fatal(err)
	}
	if len(all) == 0 {
		// Between removing the journal and putting back the date of the source folder, that one
		// date is lost: nothing is left that knows it.
		after := snapshot(t, p.Source)
		after[""] = before[""]
		same(t, "without a journal", after, before)
		return
	}
	do := Resume
	if goBack {
		do = Undo
	}
	out, err := do(context.Background(), all[0].Path, o)
	if err != nil {
		t.Fatal(err)
	}
	if len(out.Gone)+len(out.Kept)+len(out.Dates) > 0 {
		t.Fatalf("outcome %+v", out)
	}
	if !goBack {
		after := snapshot(t, p.Source)
		for _, s := range p.Steps {
			if after[s.To] != before[s.From] {
				t.Fatalf("%q holds %q, want %q", s.To, after[s.To], before[s.From])
			}
		}
		same(t, "content", contents(after), contents(before))
		if after[""] != before[""] {
			t.Fatalf("date of the source: %s, was %s", after[""], before[""])
		}
		mustUndo(t, out.Journal)
	}
	same(t, "after undo", snapshot(t, p.Source), before)
}

// TestCrashTwice ends the program while it applies a plan to any tree, ends it again while it goes
// on or back, and then goes back for good.
func TestCrashTwice(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		root, err := os.MkdirTemp(quick(t), "")
		if err != nil {
			rt.Fatal(err)
		}
		defer os.RemoveAll(root)
		drawTree(rt, root)
		age(t, root)
		before := snapshot(t, root)
		p := mustPlan(t, root, limits{})
		o := Options{StateDir: "/nonexistent", test: rig{
			plain: rapid.Bool().Draw(rt, "plain"), passing: rapid.Bool().Draw(rt, "passing"),
		}}
		crashed := crashing(rapid.IntRange(0, 60).Draw(rt, "first"), func(hook func(string)) {
			o := o
			o.test.hook = hook
			if _, err := p.Apply(context.Background(), o); err != nil {
				rt.Fatal(err)
			}
		})
		all, err := Journals(root, o.StateDir)
		if err != nil {
			rt.Fatal(err)
		}
		if len(all) > 0 && crashed {
			crashing(rapid.IntRange(0, 60).Draw(rt, "second"), func(hook func(string)) {
				o := o
				o.test.hook = hook
				do := Resume
				if rapid.Bool().Draw(rt, "back") {
					do = Undo
				}
				if _, err := do(context.Background(), all[0].Path, o); err != nil {
					rt.Fatal(err)
				}
			})
		}
		recoverFrom(t, p, before, o, true)
	})
}
