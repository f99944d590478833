//go:build !race

package fix

import (
	"context"
	"fmt"
	"testing"
)

// TestCopies puts copies in the place of links and a card into an archive, stops at every step,
// goes on or back, and always ends with what cp and tar make of the same tree, or with the tree as
// it was.
func TestCopies(t *testing.T) {
	for _, r := range []rig{{}, {plain: true}, {passing: true}} {
		for _, goBack := range []bool{false, true} {
			t.Run(fmt.Sprintf("plain=%v,passing=%v,back=%v", r.plain, r.passing, goBack), func(t *testing.T) {
				for point := 0; crashCopies(t, r, point, goBack); point++ {
				}
			})
		}
	}
}

func crashCopies(t *testing.T, r rig, point int, goBack bool) (crashed bool) {
	root, outside := plantCopies(t)
	before := snapshot(t, root)
	wanted := map[string]map[string]string{
		"d_/e/link.mov": followed(t, root+"/d?/target.mov"),
		"sets":          followed(t, root+"/d?/takes"),
		"outside":       followed(t, outside),
	}
	card := followed(t, root+"/"+copyCard)
	p := wantCopies(t, root, outside)
	o := Options{StateDir: t.TempDir(), test: r}
	crashed = crashing(point, func(hook func(string)) {
		o := o
		o.test.hook = hook
		if out, err := p.Apply(context.Background(), o); err != nil || out.Made != 4 || out.Done != 2 {
			t.Fatalf("%+v, %v", out, err)
		}
	})
	all, err := Journals(root, o.StateDir)
	if err != nil {
		t.Fatal(err)
	}
	if len(all) > 0 {
		if !goBack {
			if _, err := Resume(context.Background(), all[0].Path, o); err != nil {
				t.Fatalf("point %d: %v", point, err)
			}
			for path, want := range wanted {
				same(t, fmt.Sprintf("point %d: %s", point, path), snapshot(t, root+"/"+path), want)
			}
			same(t, "the card, unpacked", unpacked(t, root+"/"+copyCard+archiveEnding, "PRIVATE"), card)
		}
		out, err := Undo(context.Background(), all[0].Path, o)
		if err != nil || len(out.Gone)+len(out.Dates)+len(out.Stayed) > 0 {
			t.Fatalf("point %d: %+v, %v", point, out, err)
		}
	}
	after := snapshot(t, root)
	if len(all) == 0 {
		after[""] = before[""] // see recoverFrom
	}
	same(t, fmt.Sprintf("point %d: after undo", point), after, before)
	return crashed
}

// TestCrashAnywhere ends the program before and after every change that it makes to the disk, with
// each kind of disk, and then goes on, or back.
func TestCrashAnywhere(t *testing.T) {
	for _, r := range []rig{{}, {plain: true}, {passing: true}, {plain: true, passing: true}} {
		for _, goBack := range []bool{false, true} {
			t.Run(fmt.Sprintf("plain=%v,passing=%v,back=%v", r.plain, r.passing, goBack), func(t *testing.T) {
				crashEverywhere(t, r, goBack)
			})
		}
	}
}

func crashEverywhere(t *testing.T, r rig, goBack bool) {
	points := 0
	for ; ; points++ {
		root := quick(t)
		p := forced(t, root, mixed)
		before := snapshot(t, root)
		o := Options{StateDir: t.TempDir(), test: r}
		crashed := crashing(points, func(hook func(string)) {
			o := o
			o.test.hook = hook
			if _, err := p.Apply(context.Background(), o); err != nil {
				t.Fatal(err)
			}
		})
		recoverFrom(t, p, before, o, goBack)
		if !crashed {
			break
		}
	}
	if points < 4*len(mixed) {
		t.Errorf("only %d points were tried", points)
	}
}
