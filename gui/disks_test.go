package gui

import (
	"errors"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/test"

	"loadline/checks"
	"loadline/gui/kit"
)

var sampleDisks = []checks.Disk{{Source: "/media/REEL 02", Prefix: "DiskB"}, {Source: "/media/REEL 03", Prefix: "DiskC"}}

// withDisks fills in a source, a share and two further disks.
func (r *rig) withDisks() {
	r.Open(sampleSource, sampleShare)
	s := r.views[checks.Before].setup
	s.options.prefix.SetText("DiskA")
	s.disks.put(sampleDisks)
}

// sampleOfDisks is a report on three disks with findings on the first and the third.
func sampleOfDisks() *checks.Report {
	rep := sample()
	rep.Share.Prefix = "DiskA"
	rep.Sources = append([]checks.Disk{{Source: sampleSource, Prefix: "DiskA"}}, sampleDisks...)
	rep.Job.Source, rep.Job.Prefix, rep.Job.With = sampleSource, "DiskA", sampleDisks
	rep.Largest[1].Source = 2
	for i := range rep.Checks {
		for k := range rep.Checks[i].Findings {
			if f := &rep.Checks[i].Findings[k]; strings.HasPrefix(f.Path, "day 02") {
				f.Source = 2
			}
		}
	}
	return rep
}

// doneWithDisks runs a check on three disks.
func (r *rig) doneWithDisks() {
	r.t.Helper()
	r.withDisks()
	test.Tap(r.view().head.check)
	r.began().end <- ending{rep: sampleOfDisks()}
	r.until("the end of the run", func() bool { return r.running == "" })
	r.until("the kept report", func() bool { return r.hasLast(checks.Before) })
	r.settle()
}

// A disk is added, named and taken out again by the keyboard alone, and the engine is asked for what is set.
func TestAddDisk(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	r.Open(sampleSource, sampleShare)
	c, s := r.win.Canvas(), r.view().setup
	for range 2 {
		c.Focus(s.disks.add)
		r.key(fyne.KeyReturn)
	}
	if len(s.disks.rows) != 2 || c.Focused() != s.disks.rows[1].disk.path {
		t.Fatalf("there are %d rows, the keyboard is at %T", len(s.disks.rows), c.Focused())
	}
	if got := s.from.caption.Text + "; " + s.options.folder.Text; got != "Source, disk 1; Folder for disk 1" {
		t.Errorf("the first disk is called %q", got)
	}
	b := s.disks.rows[1]
	b.disk.path.SetText("/media/REEL 03")
	if b.prefix.Text != "REEL 03" {
		t.Errorf("proposed is %q", b.prefix.Text)
	}
	b.prefix.SetText("own")
	b.disk.path.SetText("/media/REEL 04")
	if b.prefix.Text != "own" {
		t.Errorf("what was typed became %q", b.prefix.Text)
	}
	for _, f := range []fyne.Focusable{b.disk.choose, b.prefix, b.remove, s.options.prefix} {
		if test.FocusNext(c); c.Focused() != f {
			t.Fatalf("Tab leads to %T, want %T", c.Focused(), f)
		}
	}
	c.Focus(s.disks.rows[0].remove)
	r.key(fyne.KeySpace)
	if len(s.disks.rows) != 1 || s.disks.rows[0] != b || c.Focused() != b.remove || b.disk.caption.Text != "Disk 2" {
		t.Fatalf("left are %d rows, the keyboard is at %T", len(s.disks.rows), c.Focused())
	}
	c.Focus(b.prefix)
	r.key(fyne.KeyReturn)
	want := []checks.Disk{{Source: "/media/REEL 04", Prefix: "own"}}
	if got := r.began().req.With; !slices.Equal(got, want) {
		t.Errorf("the engine was asked for %+v, want %+v", got, want)
	}
	if !s.disks.add.Disabled() || !b.disk.path.Disabled() || !b.prefix.Disabled() || !b.remove.Disabled() {
		t.Error("while it runs the disks should be locked")
	}
	r.halt()
}

// What makes a job impossible stands at the disk that it is about, and there at the field.
func TestDiskErrors(t *testing.T) {
	r := newRig(t, 900, 600, kit.Light)
	r.withDisks()
	rows := r.view().setup.disks.rows
	run := func(err error) {
		test.Tap(r.view().head.check)
		r.began().end <- ending{err: err}
		r.until("the end", func() bool { return r.running == "" })
	}
	run(&checks.JobError{Field: checks.FieldSource, Disk: 2, Err: errors.New("there is no source folder /media/REEL 03"), Hint: "plug it in"})
	if got := rows[1].disk.problem; !got.Visible() || got.Text != "There is no source folder /media/REEL 03. Plug it in." || r.win.Canvas().Focused() != rows[1].disk.path {
		t.Errorf("said is %q, the keyboard is at %T", got.Text, r.win.Canvas().Focused())
	}
	if r.view().setup.from.wrong() || rows[0].disk.wrong() {
		t.Error("the other disks are not at fault")
	}
	run(&checks.JobError{Field: checks.FieldPrefix, Disk: 1, Err: errors.New("the folder must be inside the share"), Hint: "leave out \"..\""})
	if !rows[0].fault.Visible() || r.win.Canvas().Focused() != rows[0].prefix {
		t.Errorf("said is %q, the keyboard is at %T", rows[0].fault.Text, r.win.Canvas().Focused())
	}
	rows[0].prefix.SetText("right")
	if rows[0].fault.Visible() {
		t.Error("what is put right should not stand in red")
	}
}

// A verdict stands for the disks that are set: with another set it goes, with its own it comes back.
func TestVerdictIsOfItsDisks(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	r.doneWithDisks()
	v := r.view()
	if v.report == nil || !strings.HasPrefix(v.setup.fold.Text(), "3 disks, harvest film first (412,906 files, 1.8 TB in all)  →  box") {
		t.Fatalf("the line says %q", v.setup.fold.Text())
	}
	row := v.setup.disks.rows[1]
	for _, f := range []*kit.Field{row.prefix, row.disk.path} {
		was := f.Text
		f.SetText(was + "x")
		if v.report != nil {
			t.Errorf("the verdict still stands with %q", f.Text)
		}
		f.SetText(was)
		if v.report == nil {
			t.Errorf("the verdict does not come back with %q", f.Text)
		}
	}
	v.setup.disks.drop(row)
	if v.report != nil {
		t.Error("the verdict still stands without a disk")
	}
}

// Disks are there again in the next start, and a report on several disks opens with them.
func TestDisksAreKept(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	r.doneWithDisks()
	r.Close()
	win := test.NewTempWindow(t, nil)
	w := New(win, Engine{List: r.engine.list, Run: r.engine.run}, r.desktop)
	r.Window = w
	s := w.views[checks.Before].setup
	if got := s.disks.disks(); !slices.Equal(got, sampleDisks) {
		t.Errorf("kept are %+v", got)
	}
	s.disks.put(nil)
	test.Tap(w.bar.last)
	r.until("the report", func() bool { return w.view().report != nil })
	if got := s.disks.disks(); !slices.Equal(got, sampleDisks) {
		t.Errorf("the report brings %+v", got)
	}
	if f := w.view().report.Checks[3].Findings[1]; f.Source != 2 {
		t.Errorf("the finding %q is on disk %d", f.Path, f.Source+1)
	}
	if v := w.view(); v.places() != v.asked {
		t.Error("the report is not of what is set")
	}
}

// A copy list and several disks do not go together: that is said at once, and nothing runs.
func TestCopyListAndDisks(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	r.withDisks()
	o := r.view().setup.options
	o.list.SetText("/lists/box-1.list")
	if !o.problem.Visible() || o.problem.Text != oneDiskList || !o.opened() || r.view().head.title.Text != "Not ready yet" {
		t.Errorf("said is %q, under %q", o.problem.Text, r.view().head.title.Text)
	}
	r.Check()
	if r.running != "" || !o.problem.Visible() {
		t.Error("it runs all the same")
	}
	o.list.SetText("")
	if o.problem.Visible() {
		t.Error("what is put right should not stand in red")
	}
	o.list.SetText("/lists/box-1.list")
	for len(r.view().setup.disks.rows) > 0 {
		test.Tap(r.view().setup.disks.rows[0].remove)
	}
	if o.problem.Visible() {
		t.Error("with one disk a copy list is fine")
	}
}

// Cards, their details and the list of files tell which disk a finding is on, and its folder is that
// disk's. What works on one disk alone is not offered, and why is said.
func TestFindingsOfDisks(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	r.doneWithDisks()
	k := r.view().list.byID["name-characters"]
	if got := k.summary(); !strings.HasPrefix(got, "Flagged on disks 1 and 3. ") {
		t.Errorf("the card says %q", got)
	}
	if got := r.view().list.byID["name-length"].summary(); !strings.HasPrefix(got, "Flagged on disk 1. The longest name") {
		t.Errorf("the card says %q", got)
	}
	k.setOpen(true)
	text := textOf(k)
	for _, want := range []string{"Disk 1: 1 finding", "Disk 2: 0 findings", "Disk 3: 1 finding", oneDiskFix} {
		if !strings.Contains(text, want) {
			t.Errorf("the open card does not say %q", want)
		}
	}
	if strings.Contains(text, "\nFix names\n") || !r.bar.fix.Disabled() {
		t.Error("to fix names is offered for several disks")
	}
	r.showFix()
	if r.at != pageChecks || r.message != oneDiskFix {
		t.Errorf("on page %q it says %q", r.at, r.message)
	}
	r.ReadAll()
	if r.running != "" || r.message != oneDiskRead {
		t.Errorf("it says %q", r.message)
	}
	r.showFiles(k.check)
	r.until("rows", func() bool { return strings.Contains(r.files.count.Text, "finding") && r.files.model.rows() == 3 })
	seen := map[string]string{}
	for row := range r.files.model.rows() {
		r.files.table.Choose(row)
		r.files.openFolder()
		r.files.copyPath()
		seen[r.files.cell(row, 1).Text] = filepath.ToSlash(r.revealed[len(r.revealed)-1] + " " + r.copied)
	}
	for path, want := range map[string]string{
		"disk 1: day 01/=cmd.mov":         sampleSource + "/day 01 " + sampleSource + "/day 01/=cmd.mov",
		"disk 3: day 02/Plain note.txt":   "/media/REEL 03/day 02 /media/REEL 03/day 02/Plain note.txt",
		`disk 3: "day 02/two\nlines.txt"`: "/media/REEL 03/day 02 /media/REEL 03/day 02/two\nlines.txt",
	} {
		if seen[path] != want {
			t.Errorf("%s opens and copies %q, want %q", path, seen[path], want)
		}
	}
	var list, csv strings.Builder
	n, at := r.files.model.shown()
	if err := errors.Join(writeList(&list, r.files.report, n, at), writeCSV(&csv, r.files.report, n, at)); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(list.String(), "\tdisk 3: day 02/Plain note.txt\t") || !strings.HasPrefix(csv.String(), "level,disk,path,") || !strings.Contains(csv.String(), "note,3,day 02/Plain note.txt,") {
		t.Errorf("the lists are\n%s\n%s", list.String(), csv.String())
	}
}

// After a good verdict each disk has a folder to go to, and another source has disks of its own.
func TestNextOfDisks(t *testing.T) {
	rep := clean()
	rep.Sources = append([]checks.Disk{{Source: sampleSource}}, sampleDisks...)
	if got := answerOf(rep).next; !strings.HasSuffix(got, "for each disk: disk 1 into the share itself, disk 2 into DiskB, disk 3 into DiskC.") {
		t.Errorf("said is %q", got)
	}
	r := newRig(t, 1280, 800, kit.Light)
	r.withDisks()
	r.Open(sampleSource, "")
	if n := len(r.view().setup.disks.rows); n != 2 {
		t.Errorf("with its own source there are %d further disks", n)
	}
	r.Open("/media/other", "")
	if r.several() {
		t.Error("another source comes with the disks of the last one")
	}
}

// A disk that is chosen already is not offered for another.
func TestOffersOfDisks(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	d := r.view().setup.disks
	all := []Offer{{Path: sampleSource}, {Path: "/media/REEL 02"}, {Path: "/media/REEL 03"}}
	r.view().offer(all)
	r.Open(sampleSource, "")
	test.Tap(d.add)
	test.Tap(d.add)
	labels := func(p *picker) (list []string) {
		for _, o := range p.offers.Objects {
			list = append(list, o.(*kit.Button).Label)
		}
		return list
	}
	if got := labels(d.rows[0].disk); !d.rows[0].disk.offers.Visible() || !slices.Equal(got, []string{"REEL 02", "REEL 03"}) {
		t.Errorf("offered are %q", got)
	}
	test.Tap(d.rows[0].disk.offers.Objects[0].(*kit.Button))
	if got := labels(d.rows[1].disk); d.rows[0].disk.get() != "/media/REEL 02" || !slices.Equal(got, []string{"REEL 03"}) {
		t.Errorf("with %q taken, offered are %q", d.rows[0].disk.get(), got)
	}
}

// After copying, one of the disks is looked at at a time, each by one press.
func TestOneDiskAfterCopying(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	r.withDisks()
	r.setStage(checks.After)
	v := r.view()
	if !v.setup.one.box.Visible() || v.setup.from.get() != sampleSource {
		t.Fatalf("the disks are offered: %v; the source is %q", v.setup.one.box.Visible(), v.setup.from.get())
	}
	third := v.setup.one.flow.Objects[3].(*kit.Button)
	test.Tap(third)
	if third = v.setup.one.flow.Objects[3].(*kit.Button); v.setup.from.get() != sampleDisks[1].Source || v.setup.options.prefix.Text != "DiskC" || !third.On {
		t.Errorf("chosen is %q in %q", v.setup.from.get(), v.setup.options.prefix.Text)
	}
	test.Tap(v.head.check)
	if c := r.began(); len(c.req.With) > 0 || c.req.Source != sampleDisks[1].Source || c.req.Prefix != "DiskC" {
		t.Errorf("the engine was asked for %+v", c.req.Job)
	}
	r.halt()
	before := r.views[checks.Before].setup
	if before.from.get() != sampleSource || before.options.prefix.Text != "DiskA" {
		t.Errorf("before copying the first disk became %q in %q", before.from.get(), before.options.prefix.Text)
	}
	before.options.uplink.SetText("5")
	if v.setup.from.get() != sampleDisks[1].Source {
		t.Error("what was chosen after copying is gone")
	}
	before.disks.put(nil)
	if v.setup.one.box.Visible() {
		t.Error("with one disk there is nothing to choose")
	}
}

// textOf is every text that a thing shows, each between line breaks.
func textOf(o fyne.CanvasObject) string {
	var b strings.Builder
	b.WriteByte('\n')
	kit.Walk(o, func(o fyne.CanvasObject, _ fyne.Position) {
		switch x := o.(type) {
		case *kit.Text:
			b.WriteString(x.Text + "\n")
		case *kit.Paragraph:
			b.WriteString(x.Text + "\n")
		case *kit.Button:
			b.WriteString(x.Label + "\n")
		}
	})
	return b.String()
}
