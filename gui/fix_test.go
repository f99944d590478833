package gui

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/test"

	"loadline/checks"
	"loadline/checks/fix"
	"loadline/gui/input"
	"loadline/gui/kit"
)

// tree makes files with their path as content, and returns the folder.
func tree(t testing.TB, paths ...string) string {
	t.Helper()
	dir := t.TempDir()
	for _, p := range paths {
		full := filepath.Join(dir, p)
		if err := os.MkdirAll(filepath.Dir(full), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(full, []byte(p), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

// filesIn is what stands below a folder, journals aside.
func filesIn(t *testing.T, dir string) (paths []string) {
	t.Helper()
	err := filepath.WalkDir(dir, func(p string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() && !fix.Ours(d.Name()) {
			rel, _ := filepath.Rel(dir, p)
			paths = append(paths, rel)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return paths
}

// fixRig opens the page of repairs on a folder.
func fixRig(t *testing.T, dir string) *rig {
	t.Helper()
	t.Setenv("XDG_STATE_HOME", t.TempDir())
	r := newRig(t, 1280, 800, kit.Light)
	r.Open(dir, "")
	test.Tap(r.bar.fix)
	if r.at != pageFix {
		t.Fatalf("the page is %q", r.at)
	}
	r.until("the plan", func() bool { return r.fix.plan != nil })
	return r
}

// From a plan over a yes to renamed files and a new check; undo gives the old names back.
func TestFixAndUndo(t *testing.T) {
	before := []string{"day 1/good.mov", "day 1/what?.mov", "day 1/what?.xml", "trailing /a.wav"}
	dir := tree(t, before...)
	r := fixRig(t, dir)
	p := r.fix
	if n := len(p.plan.Steps); n < 3 || p.apply.Disabled() {
		t.Fatalf("the plan has %d steps, Rename is off: %v", n, p.apply.Disabled())
	}
	if got := filesIn(t, dir); !slices.Equal(got, before) {
		t.Fatalf("looking changed the disk: %q", got)
	}
	test.Tap(p.apply)
	if r.sheet == nil || r.sheet.Name != "rename" {
		t.Fatal("Rename should ask first")
	}
	r.key(fyne.KeyEscape)
	if got := filesIn(t, dir); !slices.Equal(got, before) {
		t.Fatalf("a no changed the disk: %q", got)
	}
	test.Tap(p.apply)
	test.Tap(r.sheet.Yes)
	r.until("the new check", func() bool { return r.running != "" })
	r.began().end <- ending{rep: clean()}
	r.until("its end", func() bool { return r.running == "" })
	after := filesIn(t, dir)
	if len(after) != len(before) || slices.ContainsFunc(after, func(s string) bool { return strings.ContainsAny(s, "?") || strings.Contains(s, " /") }) {
		t.Fatalf("after the renames: %q", after)
	}
	r.showFix()
	r.until("the plan", func() bool { return r.fix.plan != nil })
	p = r.fix
	if p.past == nil || !p.undo.Visible() {
		t.Fatal("undo should be on offer")
	}
	test.Tap(p.undo)
	test.Tap(r.sheet.Yes)
	r.until("the old names", func() bool { return !p.busy && p.plan != nil && p.past == nil })
	if got := filesIn(t, dir); !slices.Equal(got, before) {
		t.Errorf("after undo: %q, want %q", got, before)
	}
}

// What the page of repairs looks like: renames, and what is left.
func TestFixScreens(t *testing.T) {
	dir := tree(t, "day 1/what?.mov", "day 1/what?.xml", "trailing /a.wav", "-rushes.mov")
	if err := os.Symlink("-rushes.mov", filepath.Join(dir, "link.mov")); err != nil {
		t.Fatal(err)
	}
	r := fixRig(t, dir)
	r.fix.table.Choose(1)
	golden(t, "screen-fix", r.win.Canvas())
	test.Tap(r.fix.tabLeft)
	r.fix.table.Choose(0)
	golden(t, "screen-fix-left", r.win.Canvas())
}

// A proposal can be edited; what does not hold is said at once, and keeps Rename off.
func TestFixEdit(t *testing.T) {
	dir := tree(t, "what?.mov", "taken.mov")
	r := fixRig(t, dir)
	p := r.fix
	p.table.Choose(0)
	if !p.edit.Visible() || p.name.Text == "" {
		t.Fatal("the chosen row should be open to change")
	}
	p.name.SetText("taken.mov")
	if p.fault.Text == "" || !p.apply.Disabled() {
		t.Errorf("a name that is taken: said %q, Rename is off: %v", p.fault.Text, p.apply.Disabled())
	}
	p.name.SetText("a/b")
	if p.fault.Text == "" {
		t.Error("a slash in a name should be refused")
	}
	p.name.SetText("what is it.mov")
	if p.fault.Text != "" || p.apply.Disabled() || p.plan.Steps[0].Name() != "what is it.mov" {
		t.Errorf("a good name: said %q, the plan has %q", p.fault.Text, p.plan.Steps[0].Name())
	}
	test.Tap(p.keep)
	if p.plan.Steps[0].Changes() || !p.apply.Disabled() {
		t.Error("with its old name kept there is nothing to rename")
	}
}

// Portable names are proposed where they are wished, and no longer where not.
func TestFixPortable(t *testing.T) {
	r := fixRig(t, tree(t, "Über uns.mov"))
	p := r.fix
	if len(p.plan.Steps) != 0 {
		t.Fatalf("%d steps", len(p.plan.Steps))
	}
	test.Tap(p.portable)
	r.until("the plan", func() bool { return p.plan != nil })
	if len(p.plan.Steps) != 1 || p.plan.Steps[0].Name() != "Uber_uns.mov" || p.apply.Disabled() {
		t.Errorf("steps %+v", p.plan.Steps)
	}
	test.Tap(p.portable)
	r.until("the plan", func() bool { return p.plan != nil })
	if len(p.plan.Steps) != 0 || !p.apply.Disabled() {
		t.Errorf("steps %+v", p.plan.Steps)
	}
}

// What a rename would not cure has its reason, and what else can be done.
func TestFixLeft(t *testing.T) {
	dir := tree(t, "real.mov")
	if err := os.Symlink("real.mov", filepath.Join(dir, "link.mov")); err != nil {
		t.Fatal(err)
	}
	r := fixRig(t, dir)
	p := r.fix
	test.Tap(p.tabLeft)
	if p.rows() != 1 {
		t.Fatalf("%d rows are left as they are", p.rows())
	}
	p.table.Choose(0)
	if !p.offers.Visible() || !p.doLink.Visible() {
		t.Fatal("the link should be replaceable by a copy")
	}
	test.Tap(p.doLink)
	if p.apply.Disabled() {
		t.Error("with a link to replace, there is something to do")
	}
	test.Tap(p.apply)
	r.until("the question", func() bool { return r.sheet != nil })
	test.Tap(r.sheet.Yes)
	r.until("the new check", func() bool { return r.running != "" })
	r.began().end <- ending{rep: clean()}
	r.until("its end", func() bool { return r.running == "" })
	if info, err := os.Lstat(filepath.Join(dir, "link.mov")); err != nil || !info.Mode().IsRegular() {
		t.Errorf("the link was not replaced: %v, %v", info, err)
	}
}

// question is what the sheet in front asks.
func (r *rig) question() string {
	var all []string
	for _, o := range test.LaidOutObjects(r.win.Canvas().Overlays().Top()) {
		if p, ok := o.(*kit.Paragraph); ok {
			all = append(all, p.Text)
		}
	}
	return strings.Join(all, " ")
}

// A link to a folder and a card: counted before the question, made, and taken back; but what has lost
// its original stays.
func TestFixMakings(t *testing.T) {
	base := tree(t, "disk/DCIM/100ABCDE/a:b.jpg", "disk/DCIM/100ABCDE/c.jpg", "shoot/one/take.mov", "shoot/two.wav")
	dir, outside := filepath.Join(base, "disk"), filepath.Join(base, "shoot")
	if err := os.Symlink("../shoot", filepath.Join(dir, "takes")); err != nil {
		t.Fatal(err)
	}
	before := filesIn(t, dir)
	r := fixRig(t, dir)
	p := r.fix
	test.Tap(p.tabLeft)
	for row := range p.plan.Left {
		p.table.Choose(row)
		switch l := p.chosenLeft(); l.Path {
		case "takes":
			test.Tap(p.doLink)
		case "DCIM/100ABCDE/a:b.jpg":
			test.Tap(p.archive)
			if got := r.copied; got != "pax -w -x pax -f DCIM.tar DCIM" {
				t.Errorf("the clipboard holds %q", got)
			}
			test.Tap(p.doArchive)
			if got := p.cell(row, 1).Text; got != "goes into DCIM.tar" {
				t.Errorf("the row says %q", got)
			}
		}
	}
	if got := p.apply.Label; got != "Replace 1 link, archive 1 card" {
		t.Errorf("the button says %q", got)
	}
	p.table.Choose(0)
	golden(t, "screen-fix-makings", r.win.Canvas())
	test.Tap(p.apply)
	r.until("the question", func() bool { return r.sheet != nil })
	if q := r.question(); !strings.Contains(q, "takes is replaced with a copy of what it points to: 2 files, 31 B") ||
		!strings.Contains(q, "DCIM goes into one file beside it, DCIM.tar: 2 files") {
		t.Errorf("the question is %q", q)
	}
	test.Tap(r.sheet.Yes)
	r.until("the new check", func() bool { return r.running != "" })
	r.began().end <- ending{rep: clean()}
	r.until("its end", func() bool { return r.running == "" })
	if got := filesIn(t, dir); !slices.Equal(got, []string{"DCIM/100ABCDE/a:b.jpg", "DCIM/100ABCDE/c.jpg", "DCIM.tar", "takes/one/take.mov", "takes/two.wav"}) {
		t.Errorf("after: %q", got)
	}
	if err := os.Remove(filepath.Join(outside, "two.wav")); err != nil {
		t.Fatal(err)
	}
	r.showFix()
	r.until("the plan", func() bool { return r.fix.plan != nil })
	p = r.fix
	test.Tap(p.undo)
	test.Tap(r.sheet.Yes)
	r.until("the end", func() bool { return !p.busy && p.plan != nil && p.past == nil })
	if !strings.Contains(r.message, "takes is left in its place, because its original has changed since") {
		t.Errorf("said %q", r.message)
	}
	if got := filesIn(t, dir); slices.Contains(got, "DCIM.tar") || !slices.Contains(got, "takes/two.wav") || len(got) != len(before)+1 {
		t.Errorf("after undo: %q", got)
	}
}

// Escape stops the copying, and nothing is left of it.
func TestFixStopped(t *testing.T) {
	dir := tree(t, "real/take.mov")
	if err := errors.Join(os.Symlink("real", filepath.Join(dir, "takes")), os.Truncate(filepath.Join(dir, "real/take.mov"), 1<<32)); err != nil {
		t.Fatal(err)
	}
	before := filesIn(t, dir)
	r := fixRig(t, dir)
	p := r.fix
	test.Tap(p.tabLeft)
	p.table.Choose(0)
	test.Tap(p.doLink)
	test.Tap(p.apply)
	r.until("the question", func() bool { return r.sheet != nil })
	test.Tap(r.sheet.Yes)
	r.until("the copying", func() bool {
		return strings.Contains(p.doing.Text, "of 4.3 GB") || strings.Contains(p.doing.Text, "of 4.0 GiB")
	})
	if !p.stop.Visible() || p.stop.Disabled() {
		t.Error("there is no way to stop")
	}
	r.key(fyne.KeyEscape)
	r.until("the end", func() bool { return !p.busy })
	if r.message != "Stopped. Nothing was changed." || p.past != nil || r.at != pageFix {
		t.Errorf("said %q, journal %v, page %q", r.message, p.past, r.at)
	}
	if got := filesIn(t, dir); !slices.Equal(got, before) {
		t.Errorf("after: %q", got)
	}
}

// A wish to skip outlasts the page, and follows a folder to its new name.
func TestFixSkipLasts(t *testing.T) {
	dir := tree(t, "day 1?/.DS_Store", "day 1?/a.mov")
	r := fixRig(t, dir)
	p := r.fix
	test.Tap(p.tabLeft)
	p.table.Choose(0)
	test.Tap(p.doSkip)
	r.key(fyne.KeyEscape)
	r.showFix()
	r.until("the plan", func() bool { return r.fix.plan != nil })
	p = r.fix
	if !p.skip["day 1?/.DS_Store"] {
		t.Errorf("skips %v", p.skip)
	}
	test.Tap(p.apply)
	test.Tap(r.sheet.Yes)
	r.until("the new check", func() bool { return r.running != "" })
	r.began().end <- ending{rep: clean()}
	r.until("its end", func() bool { return r.running == "" })
	r.showFix()
	r.until("the plan", func() bool { return r.fix.plan != nil })
	if p = r.fix; !p.skip["day 1_/.DS_Store"] || len(p.skip) != 1 {
		t.Errorf("skips %v", p.skip)
	}
}

// The lists hold every file once: what would arrive, and what would not.
func TestFixLists(t *testing.T) {
	dir := tree(t, "good.mov", "sub/also good.wav")
	if err := os.Symlink("good.mov", filepath.Join(dir, "link.mov")); err != nil {
		t.Fatal(err)
	}
	r := fixRig(t, dir)
	out := filepath.Join(t.TempDir(), "copy.txt")
	test.Tap(r.fix.lists)
	r.sheet.Field.SetText(out)
	r.key(fyne.KeyReturn)
	r.until("the lists", func() bool { return r.saved == out })
	copyList, err := os.ReadFile(out)
	if err != nil || string(copyList) != "good.mov\nsub/also good.wav\n" {
		t.Errorf("the copy list holds %q (%v)", copyList, err)
	}
	skip, err := os.ReadFile(skipListBeside(out))
	if err != nil || string(skip) != "link.mov\n" {
		t.Errorf("the skip list holds %q (%v)", skip, err)
	}
	// The checks before and after copying follow the list: two of the files, not the link.
	list := r.views[checks.Before].setup.options.list
	r.until("the list to be named", func() bool { return input.Path(list.Text) == out })
	for _, stage := range []checks.Stage{checks.Before, checks.After} {
		req, err := r.request(r.views[stage])
		if err != nil || req.CopyListFile != out {
			t.Errorf("%s follows the list %q (%v)", stage, req.CopyListFile, err)
		}
	}
	got, err := checks.OpenCopyList(out)
	if err != nil || got.Len() != 2 {
		t.Errorf("%+v, %v", got, err)
	}
}

// A copy list that cannot be read is told where it is named, and after renames it is named no more.
func TestCopyListIsTold(t *testing.T) {
	dir := tree(t, "what?.mov")
	r := newRig(t, 1280, 800, kit.Light)
	r.Open(dir, "")
	o := r.view().setup.options
	o.list.SetText(filepath.Join(dir, "none.txt"))
	_, err := runReal(t.Context(), Request{Job: checks.Job{Stage: checks.Before, Source: dir}, CopyListFile: filepath.Join(dir, "none.txt")}, func(checks.Event) {})
	if err == nil {
		t.Fatal("a list that is not there was taken")
	}
	r.ended(r.view(), nil, err)
	if !o.problem.Visible() || !strings.Contains(o.problem.Text, "The copy list cannot be opened") || r.view().head.title.Text != "The check could not start" {
		t.Errorf("said %q and %q", o.problem.Text, r.view().head.title.Text)
	}
	if !r.dropList() || o.list.Text != "" || r.dropList() {
		t.Errorf("still names %q", o.list.Text)
	}
}
