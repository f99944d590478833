package gui

import (
	"context"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/test"

	"loadline/checks"
	"loadline/checks/split"
	"loadline/gui/input"
	"loadline/gui/kit"
)

// archive is a source that two boxes of 40 kB take: two folders of 30 kB, a link, and a file that is larger
// than a box.
func archive(t testing.TB) string {
	t.Helper()
	dir := tree(t, "day 1/a.mov", "day 1/b.mov", "day 2/a.mov", "one large.mov")
	for name, size := range map[string]int64{"day 1/a.mov": 15_000, "day 1/b.mov": 15_000, "day 2/a.mov": 15_000, "one large.mov": 400_000} {
		if err := os.Truncate(filepath.Join(dir, name), size); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Symlink("day 1", filepath.Join(dir, "a link")); err != nil {
		t.Fatal(err)
	}
	return dir
}

// dividing opens the page on a source with two sizes, and divides.
func (r *rig) dividing(source, first, second string) *splitPage {
	r.t.Helper()
	r.Open(source, "")
	r.showSplit()
	if r.at != pageSplit {
		r.t.Fatalf("on page %q it says %q", r.at, r.message)
	}
	p := r.split
	p.boxes[0].size.SetText(first)
	p.boxes[1].size.SetText(second)
	return p
}

func (r *rig) divided(source, first, second string) *splitPage {
	r.t.Helper()
	p := r.dividing(source, first, second)
	test.Tap(p.divide)
	r.until("the plan", func() bool { return p.task == nil && p.plan != nil })
	return p
}

// The whole way by the keyboard: sizes, what is in each box and what is left, and the lists, which are those
// of package split. Nothing in the source is changed.
func TestSplitByKeyboard(t *testing.T) {
	r := newRig(t, 900, 600, kit.Light)
	source := archive(t)
	r.Open(source, "")
	r.win.Canvas().Focus(r.bar.boxes)
	r.key(fyne.KeySpace)
	p, c := r.split, r.win.Canvas()
	if r.at != pageSplit || c.Focused() != p.boxes[0].size {
		t.Fatalf("on page %q the keyboard is at %T", r.at, c.Focused())
	}
	test.Type(p.boxes[0].size, "60 kB")
	for _, f := range []fyne.Focusable{p.boxes[0].remove, p.boxes[1].size, p.boxes[1].remove, p.add, p.each.size, p.divide} {
		if test.FocusNext(c); c.Focused() != f {
			t.Fatalf("Tab leads to %T, want %T", c.Focused(), f)
		}
	}
	c.Focus(p.add)
	r.key(fyne.KeyReturn)
	third := p.boxes[2]
	if c.Focused() != third.size || len(p.boxes) != 3 {
		t.Fatalf("there are %d boxes, the keyboard is at %T", len(p.boxes), c.Focused())
	}
	c.Focus(third.remove)
	r.key(fyne.KeyReturn)
	test.Type(p.boxes[1].size, "40 kB")
	c.Focus(p.boxes[1].size)
	r.key(fyne.KeyReturn)
	r.until("the plan", func() bool { return p.task == nil && p.plan != nil })
	if c.Focused() != p.choices[0] {
		t.Errorf("the keyboard is at %T", c.Focused())
	}
	want, err := split.Make(t.Context(), checks.Job{Source: source}, split.Options{Boxes: []split.Box{{Size: 60_000}, {Size: 40_000}}}, nil)
	if err != nil {
		t.Fatal(err)
	}
	if p.answer.Text != want.Summary() || p.mark.MinSize().Width == 0 {
		t.Errorf("said is %q, want %q", p.answer.Text, want.Summary())
	}
	shown := func() (rows []string) {
		for i := range p.rows() {
			rows = append(rows, p.cell(i, 0).Text+" "+p.cell(i, 2).Text+" "+p.cell(i, 3).Text)
		}
		return rows
	}
	for i, k := range []string{"day 1 2 30 kB", "day 2 1 15 kB", "a link — —; one large.mov 1 400 kB"} {
		if got := strings.Join(shown(), "; "); got != k || p.choices[i].Title == "" || !p.choices[i].Chosen() {
			t.Errorf("choice %d, %q, shows %q, want %q", i+1, p.choices[i].Title, got, k)
		}
		r.key(fyne.KeyDown)
	}
	p.table.Choose(0)
	if p.path.Text != "a link" || !strings.Contains(p.why.Text, "It is a link, and a copy list names files. Replace links with copies") {
		t.Errorf("said of it is %q: %q", p.path.Text, p.why.Text)
	}
	c.Focus(p.save)
	r.key(fyne.KeyReturn)
	dir := filepath.Join(t.TempDir(), "lists é")
	r.sheet.Field.SetText(input.ShowPath(dir))
	save(r)
	if err := want.WriteLists(t.Context(), filepath.Join(t.TempDir(), "want"), false); err != nil {
		t.Fatal(err)
	}
	for i := range want.Loads {
		a, errA := os.ReadFile(filepath.Join(dir, split.ListName(i)))
		b, errB := os.ReadFile(want.Loads[i].List)
		if errA != nil || errB != nil || string(a) != string(b) || len(a) == 0 {
			t.Errorf("list %d is %q, want %q (%v, %v)", i+1, a, b, errA, errB)
		}
	}
	if r.saved != dir || !strings.Contains(p.intro.Text, "pax -rw -d /mnt/share < box-1.list") || !strings.Contains(p.intro.Text, "Keep the source") {
		t.Errorf("saved in %q, next is %q", r.saved, p.intro.Text)
	}
	c.Focus(p.open)
	r.key(fyne.KeyReturn)
	if !slices.Equal(r.revealed, []string{dir}) {
		t.Errorf("opened is %q", r.revealed)
	}
	// The list of the second box goes to the checks, and the page comes back as it was.
	p.pick(1)
	c.Focus(p.use)
	r.key(fyne.KeyReturn)
	if got := input.Path(r.view().setup.options.list.Text); r.at != pageChecks || got != filepath.Join(dir, "box-2.list") {
		t.Errorf("on page %q the copy list is %q", r.at, got)
	}
	r.showSplit()
	if r.split != p || p.plan == nil || c.Focused() != p.choices[1] {
		t.Error("the page is not as it was")
	}
	r.key(fyne.KeyEscape)
	if r.at != pageChecks {
		t.Error("Escape should lead back")
	}
	entries, err := os.ReadDir(source)
	if err != nil || len(entries) != 4 {
		t.Errorf("the source holds %v (%v)", entries, err)
	}
}

// save presses Save until the lists are there: once more where the folder is on the disk of the source.
func save(r *rig) {
	r.t.Helper()
	for range 2 {
		if r.sheet != nil {
			test.Tap(r.sheet.Yes)
			r.until("the lists", func() bool { return r.split.task == nil })
		}
	}
	if r.sheet != nil {
		r.t.Fatalf("the lists were not saved: %q", r.message)
	}
}

// A size that cannot be read is told at its field, which gets the keyboard, and nothing runs.
func TestSplitSizes(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	p := r.dividing(archive(t), "60 kB", "8")
	test.Tap(p.divide)
	if p.task != nil || p.boxes[0].fault.Visible() || !p.boxes[1].fault.Visible() || p.boxes[1].fault.Text != "Add the unit, like 8 TB" || r.win.Canvas().Focused() != p.boxes[1].size {
		t.Errorf("said is %q and %q, the keyboard is at %T", p.boxes[0].fault.Text, p.boxes[1].fault.Text, r.win.Canvas().Focused())
	}
	test.Type(p.boxes[1].size, "TB")
	if p.boxes[1].fault.Visible() {
		t.Error("what is put right should not stand in red")
	}
}

// Another size puts the plan and what was said of it away: a plan must never stand beside other boxes.
func TestSplitGoesStale(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	p := r.divided(archive(t), "60 kB", "40 kB")
	for _, change := range []func(){
		func() { test.Type(p.boxes[0].size, "x") },
		func() { test.Tap(p.add) },
		func() { test.Tap(p.boxes[1].remove) },
	} {
		p.boxes[0].size.SetText("60 kB")
		test.Tap(p.divide)
		r.until("the plan", func() bool { return p.task == nil && p.plan != nil })
		change()
		if p.plan != nil || p.result.Visible() || p.save.Visible() || p.verdictPlace.Visible() {
			t.Error("the plan still stands")
		}
	}
	for len(p.boxes) > 1 {
		test.Tap(p.boxes[0].remove)
	}
	if !p.boxes[0].remove.Disabled() {
		t.Error("the last box should stay")
	}
}

// Dividing shows how far it is; Stop and Escape end it, and leaving the page does.
func TestSplitStops(t *testing.T) {
	for name, press := range map[string]func(*rig){
		"button": func(r *rig) { test.Tap(r.split.stop) },
		"escape": func(r *rig) { r.key(fyne.KeyEscape) },
		"back":   func(r *rig) { test.Tap(r.split.back) },
		"close":  func(r *rig) { r.Close() },
	} {
		t.Run(name, func(t *testing.T) {
			r := newRig(t, 1280, 800, kit.Light)
			p := r.dividing(archive(t), "60 kB", "40 kB")
			stopped := make(chan struct{})
			p.deal = func(ctx context.Context, _ checks.Job, _ split.Options, watch func(checks.Event)) (*split.Plan, error) {
				watch(checks.Event{Progress: checks.Progress{Phase: "Reading the source", Entries: 128_410, Elapsed: 12 * time.Second, Done: 0.31, Left: 27 * time.Second}})
				<-ctx.Done()
				close(stopped)
				return nil, ctx.Err()
			}
			test.Tap(p.divide)
			r.until("progress", func() bool { return p.meter.Value == 0.31 })
			if !strings.Contains(p.numbers.Text, "128,410 entries") || !strings.Contains(p.numbers.Text, "about 27 s left") || r.win.Canvas().Focused() != p.stop || p.divide.Visible() || !p.boxes[0].size.Disabled() {
				t.Errorf("shown is %q, the keyboard is at %T", p.numbers.Text, r.win.Canvas().Focused())
			}
			press(r)
			<-stopped
			r.until("the end", func() bool { return p.task == nil })
			if p.plan != nil || p.problem.Text != "Stopped. Nothing was divided." || !p.divide.Visible() || p.boxes[0].size.Disabled() {
				t.Errorf("after it there is a plan: %v; said is %q", p.plan != nil, p.problem.Text)
			}
			if stays := name == "button" || name == "escape"; (r.at == pageSplit) != (stays || name == "close") {
				t.Errorf("on page %q", r.at)
			}
		})
	}
}

// Where lists cannot be written it is said in place, what is there stays as it is, and what to do is said.
func TestSplitLists(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	source := archive(t)
	p := r.divided(source, "60 kB", "40 kB")
	full := tree(t, "mine.txt")
	empty := t.TempDir()
	for _, c := range []struct{ dir, want string }{
		{"", "Type the path"},
		{full, "is not empty; choose a new one"},
		{filepath.Join(source, "lists"), "is inside the source, where nothing may be changed"},
		{filepath.Join(empty, "not", "there"), "make it first"},
	} {
		test.Tap(p.save)
		r.sheet.Field.SetText(input.ShowPath(c.dir))
		test.Tap(r.sheet.Yes)
		r.until("an answer", func() bool { return p.task == nil })
		if r.sheet == nil || !strings.Contains(r.message, c.want) {
			t.Fatalf("%q: said is %q, want %q", c.dir, r.message, c.want)
		}
		r.key(fyne.KeyEscape)
	}
	if p.dir != "" || r.sheet != nil {
		t.Fatal("nothing should be saved")
	}
	if entries, err := os.ReadDir(full); err != nil || len(entries) != 1 {
		t.Errorf("the folder that was not empty holds %v (%v)", entries, err)
	}
	test.Tap(p.save)
	r.sheet.Field.SetText(input.ShowPath(empty))
	save(r)
	if entries, err := os.ReadDir(empty); err != nil || len(entries) != 2 {
		t.Errorf("the empty folder holds %v (%v)", entries, err)
	}
	// Renamed files are on no list any more.
	r.back()
	r.dropList()
	r.showSplit()
	if r.split == p || r.split.plan != nil || !reflect.DeepEqual(r.split.typed(), p.typed()) {
		t.Error("the plan is of the old names, or the sizes are gone")
	}
}

// A folder on the source's own disk is taken only when it is asked for twice.
func TestSplitOnTheSourceDisk(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	top := tree(t, "archive/day 1/a.mov")
	p := r.divided(filepath.Join(top, "archive"), "60 kB", "40 kB")
	dir := filepath.Join(top, "lists")
	test.Tap(p.save)
	r.sheet.Field.SetText(dir)
	test.Tap(r.sheet.Yes)
	r.until("an answer", func() bool { return p.task == nil })
	if _, err := os.Lstat(dir); !os.IsNotExist(err) || !strings.Contains(r.message, "on the disk that is to be copied") {
		t.Fatalf("said is %q, and the folder: %v", r.message, err)
	}
	test.Tap(r.sheet.Yes)
	r.until("the lists", func() bool { return p.dir != "" })
}

// A name with a line break makes lists whose paths are ended by NUL, and that is said.
func TestSplitLineBreak(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	p := r.divided(tree(t, "day 1/two\nlines.mov"), "60 kB", "40 kB")
	dir := t.TempDir()
	test.Tap(p.save)
	r.sheet.Field.SetText(input.ShowPath(dir))
	save(r)
	b, err := os.ReadFile(filepath.Join(dir, "box-1.list"))
	if err != nil || string(b) != "day 1/two\nlines.mov\x00" || !strings.Contains(p.intro.Text, "ends with NUL") || strings.Contains(p.intro.Text, "pax") {
		t.Errorf("the list is %q (%v), said is %q, then %q", b, err, r.message, p.intro.Text)
	}
}

// The page follows the copy list, begins with the share that was checked, keeps its sizes, and is offered
// where the copy does not fit. For several disks it is not.
func TestSplitIsOffered(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	if !r.bar.boxes.Disabled() {
		t.Error("without a source there is nothing to divide")
	}
	rep := sample()
	for i := range rep.Checks {
		if res := &rep.Checks[i]; res.ID == checkSpace {
			res.Levels[checks.Fail], res.Status = 1, checks.Failed
			res.Findings = []checks.Finding{{Rule: res.Check.Rules[0], Level: checks.Fail, Detail: "too few"}}
		}
	}
	r.done(rep)
	if more := r.view().head.more; !more.Visible() || more.Label != "More boxes" {
		t.Error("where the copy does not fit, more boxes should be on offer")
	}
	k := r.view().list.byID[checkSpace]
	k.setOpen(true)
	if !strings.Contains(textOf(k), "\nDivide among boxes\n") {
		t.Error("the card does not offer it")
	}
	test.Tap(r.view().head.more)
	p := r.split
	if got := p.typed(); r.at != pageSplit || !slices.Equal(got.Boxes, []string{"5.4 TB", "5.4 TB"}) || p.expect != 421_026 {
		t.Errorf("on page %q the sizes are %q, expected are %d", r.at, got, p.expect)
	}
	p.boxes[1].size.SetText("8 TB")
	r.back()
	if r.view().report == nil || r.view().state != stateDone {
		t.Error("the verdict is gone")
	}
	r.view().setup.options.list.SetText("/lists/some.list")
	r.showSplit()
	if r.split == p || r.split.list != "/lists/some.list" || !strings.Contains(r.split.intro.Text, "some.list") || !slices.Equal(r.split.typed().Boxes, []string{"5.4 TB", "8 TB"}) {
		t.Errorf("it follows %q with the sizes %q: %q", r.split.list, r.split.typed(), r.split.intro.Text)
	}
	test.Tap(r.split.divide)
	r.until("an answer", func() bool { return r.split.task == nil })
	if !strings.Contains(r.split.problem.Text, "The copy list cannot be opened") {
		t.Errorf("said is %q", r.split.problem.Text)
	}
	r.back()
	r.remember()
	if c, err := loadChoices(r.desktop.StateDir); err != nil || !slices.Equal(c.Boxes, []string{"5.4 TB", "8 TB"}) {
		t.Errorf("kept are %q (%v)", c.Boxes, err)
	}
	r.views[checks.Before].setup.disks.put(sampleDisks)
	r.showSplit()
	if r.at != pageChecks || r.message != oneDiskSplit || !r.bar.boxes.Disabled() {
		t.Errorf("on page %q it says %q", r.at, r.message)
	}
	r.views[checks.Before].setup.disks.put(nil)
	r.view().setup.options.list.SetText("")
	r.Open(filepath.Join(t.TempDir(), "gone"), "")
	r.showSplit()
	test.Tap(r.split.divide)
	r.until("an answer", func() bool { return r.split.task == nil })
	if !strings.HasPrefix(r.split.problem.Text, "There is no source folder") || !strings.HasSuffix(r.split.problem.Text, "spelled correctly.") {
		t.Errorf("said is %q", r.split.problem.Text)
	}
}

// Where a box holds only so many files and folders, they are counted as package split counts them; the page
// begins with what the share that was checked has room for, and keeps what is typed.
func TestSplitCountsEntries(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	source := archive(t)
	p := r.dividing(source, "60 kB", "600 kB")
	for text, want := range map[string]string{"many": "Write a number", "0": "Write a number", "-3": "Write a number", "1.5": "Write a number"} {
		p.each.size.SetText(text)
		test.Tap(p.divide)
		if p.task != nil || !strings.HasPrefix(p.each.fault.Text, want) || r.win.Canvas().Focused() != p.each.size || !strings.HasPrefix(r.message, "Files and folders per box: ") {
			t.Errorf("%q: said is %q, %q, the keyboard is at %T", text, p.each.fault.Text, r.message, r.win.Canvas().Focused())
		}
	}
	for _, c := range []struct {
		text    string
		entries int64
	}{{"", 0}, {"1,000,000", 1_000_000}, {"3", 3}, {"2", 2}, {" 1 ", 1}} {
		p.each.size.SetText(c.text)
		test.Tap(p.divide)
		r.until("the plan", func() bool { return p.task == nil && p.plan != nil })
		want, err := split.Make(t.Context(), checks.Job{Source: source}, split.Options{Boxes: []split.Box{{Size: 60_000, Inodes: c.entries}, {Size: 600_000, Inodes: c.entries}}}, nil)
		if err != nil {
			t.Fatal(err)
		}
		if p.answer.Text != want.Summary() || len(p.plan.Left) != len(want.Left) {
			t.Errorf("%q: said is %q, want %q", c.text, p.answer.Text, want.Summary())
		}
		if l := p.load(); l.Files > 0 && strings.Contains(p.why.Text, "It has room for") != (c.entries > 0) {
			t.Errorf("%q: said of the box is %q", c.text, p.why.Text)
		}
	}
	r.remember()
	if c, err := loadChoices(r.desktop.StateDir); err != nil || c.Each != "1" || !slices.Equal(c.Boxes, []string{"60 kB", "600 kB"}) {
		t.Errorf("kept are %q and %q (%v)", c.Boxes, c.Each, err)
	}

	r.forgetSplit()
	r.boxes = boxSizes{}
	rep := sample()
	for i := range rep.Checks {
		if res := &rep.Checks[i]; res.ID == checkSpace {
			res.Facts = append(res.Facts, checks.Fact{Key: "free_inodes", Value: int64(480_000)})
		}
	}
	if got := r.sizesFor(rep); got.Each != "480,000" || got.Boxes[0] != "5.4 TB" {
		t.Errorf("it begins with %+v", got)
	}
}

// One disk is one disk however it is typed: its boxes stay, and so does what is to be skipped.
func TestSplitDiskTypedOtherwise(t *testing.T) {
	dir := archive(t)
	r := newRig(t, 1280, 800, kit.Light)
	p := r.divided(dir, "60 kB", "40 kB")
	r.skips(dir)["one large.mov"] = true
	r.key(fyne.KeyEscape)
	r.view().setup.from.path.SetText(filepath.Dir(dir) + "/x/../" + filepath.Base(dir) + "/")
	r.showSplit()
	if r.split != p || p.plan == nil {
		t.Error("the boxes are gone")
	}
	if !r.skips(dir + "/")["one large.mov"] {
		t.Error("what is to be skipped is forgotten")
	}
}
