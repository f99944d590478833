package fix

import (
	"bytes"
	"context"
	"errors"
	"os"
	"slices"
	"strings"
	"testing"

	"loadline/checks"
	"loadline/checks/before"
)

// TestChecks: what a plan asks for is in the list of before copying, with what it needs, and nothing that
// takes long for nothing.
func TestChecks(t *testing.T) {
	var ids []string
	for _, c := range Checks(before.List()) {
		ids = append(ids, c.ID)
	}
	same(t, "checks", ids, []string{
		"share-mounted", "share-writes", "share-names", "permissions", "name-length", "name-characters", "name-twins",
		"path-depth", "symlinks", "file-kinds", "clutter",
	})
	if err := checks.Validate(Checks(before.List())); err != nil {
		t.Error(err)
	}
}

// TestReportMustFit: a plan is made from the report of such a source as it is now, or not at all.
func TestReportMustFit(t *testing.T) {
	root := t.TempDir()
	plant(t, root, "a:b.mov", "c.mov", "d/e.mov")
	rep := examine(t, checks.Job{Source: root})
	refused := func(what string, rep *checks.Report, want error) {
		t.Helper()
		if _, err := NewPlan(context.Background(), rep, Wishes{}, nil); !errors.Is(err, want) {
			t.Errorf("%s: %v", what, err)
		}
	}
	refused("nothing", &checks.Report{}, ErrReport)
	other := *rep
	other.Stage = checks.After
	refused("another stage", &other, ErrReport)
	other = *rep
	other.Interrupted = true
	refused("interrupted", &other, ErrReport)
	other = *rep
	other.Checks = slices.DeleteFunc(slices.Clone(rep.Checks), func(r checks.Result) bool { return r.ID == "name-twins" })
	refused("a check is missing", &other, ErrReport)
	other = *rep
	other.Checks = slices.Clone(rep.Checks)
	for i := range other.Checks {
		if other.Checks[i].ID == "name-length" {
			other.Checks[i].Reason = "it could not be checked"
		}
	}
	refused("a check could not judge", &other, ErrReport)

	p := planFrom(t, rep, Wishes{})
	must(t, os.WriteFile(root+"/new:one.mov", nil, 0o644))
	refused("a file came", rep, ErrStale)
	if _, err := p.WriteLists(context.Background(), &bytes.Buffer{}, &bytes.Buffer{}, true); !errors.Is(err, ErrStale) {
		t.Errorf("lists, a file came: %v", err)
	}
	must(t, os.Remove(root+"/new:one.mov"), os.Rename(root+"/a:b.mov", root+"/x:y.mov"))
	refused("a flagged file has another name", rep, ErrStale)
	if _, err := p.WriteLists(context.Background(), &bytes.Buffer{}, &bytes.Buffer{}, true); !errors.Is(err, ErrStale) {
		t.Errorf("lists, a flagged file has another name: %v", err)
	}
	must(t, os.Rename(root+"/x:y.mov", root+"/a:b.mov"))
	planFrom(t, rep, Wishes{})
}

// TestBundles: nothing in a folder that its desktop shows as one file gets another name; what is flagged in
// it is left, and the whole can be archived like a card.
func TestBundles(t *testing.T) {
	root := t.TempDir()
	plant(t, root, "Film:1.fcpbundle/Day?/a:b.mov", "Film:1.fcpbundle/Event/Inner.app/x:y", "Film:1.fcpbundle/alias => Day?",
		"Song.band/DCIM/100ABCDE/a:b.jpg", "Notes.RTFD/ok.txt", "file.rtfd:", "day/a:b.mov")
	p := mustPlan(t, root, limits{})
	same(t, "steps", steps(p), []string{
		`"Film:1.fcpbundle" -> "Film-1.fcpbundle" reserved-character`,
		`"day/a:b.mov" -> "day/a-b.mov" reserved-character`,
		`"file.rtfd:" -> "file.rtfd-" reserved-character`,
	})
	var left, cards []string
	for _, l := range p.Left {
		left = append(left, l.Path)
		if l.Card == nil || !l.Card.Bundle || !slices.Contains(l.Offers, OfferArchive) || slices.Contains(l.Offers, OfferReplace) ||
			!strings.Contains(l.Why, "a bundle, which its desktop shows as one file") {
			t.Errorf("left %+v", l)
		}
	}
	same(t, "left", left, []string{
		"Film:1.fcpbundle/Day?", "Film:1.fcpbundle/Day?/a:b.mov", "Film:1.fcpbundle/Event/Inner.app/x:y", "Film:1.fcpbundle/alias",
		"Song.band/DCIM/100ABCDE/a:b.jpg",
	})
	for _, c := range p.Cards {
		cards = append(cards, c.Path+" "+c.File)
	}
	same(t, "bundles", cards, []string{"Film:1.fcpbundle Film-1.fcpbundle.tar", "Notes.RTFD Notes.RTFD.tar", "Song.band Song.band.tar"})
	must(t, p.Archive("Song.band", true))
	before := snapshot(t, root)
	out := mustApply(t, p)
	if out.Done != 3 || out.Made != 1 {
		t.Errorf("outcome %+v", out)
	}
	copied, skipped := listsOf(t, mustPlan(t, root, limits{}))
	if !slices.Contains(copied, "Song.band.tar") || !slices.Contains(skipped, "Song.band/DCIM/100ABCDE/a:b.jpg") {
		t.Errorf("copied %q\nskipped %q", copied, skipped)
	}
	mustUndo(t, out.Journal)
	same(t, "after undo", snapshot(t, root), before)

	// A bundle that is itself the source.
	p = mustPlan(t, root+"/Film:1.fcpbundle", limits{})
	if len(p.Steps) > 0 || len(p.Left) != 4 || slices.Contains(p.Left[0].Offers, OfferArchive) {
		t.Errorf("the bundle as source: steps %q, left %+v", steps(p), p.Left)
	}
}

func listsOf(t testing.TB, p *Plan) (copied, skipped []string) {
	t.Helper()
	var copyList, skipList bytes.Buffer
	_, err := p.WriteLists(context.Background(), &copyList, &skipList, true)
	if err != nil {
		t.Fatal(err)
	}
	return lines(copyList.String()), lines(skipList.String())
}

// TestListsOfAList: a report that follows a copy list spares what is not on it; the lists of a plan from
// that report still leave it out.
func TestListsOfAList(t *testing.T) {
	root := t.TempDir()
	plant(t, root, "good.mov", "two\nlines.mov", "caf\xe9/x.mov", ".DS_Store")
	list, err := checks.ReadCopyList(strings.NewReader("good.mov\n"))
	must(t, err)
	copied, skipped := listsOf(t, planFrom(t, examine(t, checks.Job{Source: root, CopyList: list}), Wishes{}))
	same(t, "copied", copied, []string{"good.mov"})
	same(t, "skipped", skipped, []string{".DS_Store", "two\nlines.mov", "caf\xe9/x.mov"})
}

// TestTooLarge: what no object can hold is left out, and told.
func TestTooLarge(t *testing.T) {
	root := t.TempDir()
	plant(t, root, "take.mov", "small.mov")
	must(t, os.Truncate(root+"/take.mov", 1<<20))
	p := planFrom(t, examine(t, checks.Job{Source: root, ObjectBytes: 1 << 19}), Wishes{})
	if len(p.Left) != 1 || p.Left[0].Path != "take.mov" || p.Left[0].Fix == "" || p.Left[0].Size != 1<<20 {
		t.Errorf("left %+v", p.Left)
	}
	copied, skipped := listsOf(t, p)
	same(t, "copied", copied, []string{"small.mov"})
	same(t, "skipped", skipped, []string{"take.mov"})
}

// TestNeverTooLong: a name that is cured by a longer one keeps it where the path would not fit then, and
// could not be made shorter.
func TestNeverTooLong(t *testing.T) {
	root := t.TempDir()
	path := strings.Repeat("abcdefgh/", 10) + "con/x.mov" // 99 bytes
	plant(t, root, path, "con/y.mov")
	p := mustPlan(t, root, limits{key: 99})
	same(t, "steps", steps(p), []string{`"con" -> "con_" device-name`})
	if len(p.Left) != 1 || p.Left[0].Path+"/x.mov" != path || !strings.Contains(p.Left[0].Why, "too long") {
		t.Errorf("left %+v", p.Left)
	}
}

// TestSettledPlaces: journals are found however the source is written.
func TestSettledPlaces(t *testing.T) {
	top, state := t.TempDir(), t.TempDir()
	plant(t, top, "disk/a:b", "alias => disk")
	out, err := mustPlan(t, top+"/alias/../disk/", limits{}).Apply(context.Background(), Options{StateDir: state, InState: true})
	must(t, err)
	for _, source := range []string{top + "/disk", top + "/alias", top + "/disk/", top + "/alias/../disk"} {
		if all, err := Journals(source, state); err != nil || len(all) != 1 || all[0].Path != out.Journal {
			t.Errorf("%s: %+v, %v", source, all, err)
		}
	}
}
