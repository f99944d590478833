package gui

import (
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"testing"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/driver/desktop"
	"fyne.io/fyne/v2/test"

	"loadline/checks"
	"loadline/checks/fix"
	"loadline/checks/walk"
	"loadline/gui/kit"
)

// words and buttons are what a thing shows: its paragraphs, and its buttons by their labels.
func words(o fyne.CanvasObject) string {
	var all []string
	kit.Walk(o, func(o fyne.CanvasObject, _ fyne.Position) {
		if p, ok := o.(*kit.Paragraph); ok {
			all = append(all, p.Text)
		}
	})
	return strings.Join(all, "\n")
}

func buttons(o fyne.CanvasObject, label string) (all []*kit.Button) {
	kit.Walk(o, func(o fyne.CanvasObject, _ fyne.Position) {
		if b, ok := o.(*kit.Button); ok && b.Label == label {
			all = append(all, b)
		}
	})
	return all
}

// A command on a card is copied byte by byte, and both it and the words of proof come back with a report
// that was kept.
func TestCommandsAndProof(t *testing.T) {
	const command = "sudo mount -t nfs -o hard,vers=3 'box.invalid:/an export' /mnt/box"
	r := newRig(t, 1280, 800, kit.Light)
	rep := sample()
	rep.Checks[0].Facts = append(rep.Checks[0].Facts, checks.Fact{Key: "mount_again", Value: []string{command}, Text: "To mount it again:", Commands: []string{command}})
	rep.Proof = []string{"3 files are proven by their checksums.", "Nothing is known of a second copy."}
	r.done(rep)
	for _, what := range []string{"as it was made", "as it was kept"} {
		v := r.view()
		if got := v.head.proof; !got.Visible() || got.Text != strings.Join(rep.Proof, " ") {
			t.Errorf("%s: the proof reads %q", what, got.Text)
		}
		k := v.list.byID["share-mounted"]
		k.setOpen(true)
		copies := buttons(k.body, "Copy")
		if len(copies) != 1 || !strings.Contains(words(k.body), command) {
			t.Fatalf("%s: %d buttons to copy, beside\n%s", what, len(copies), words(k.body))
		}
		r.copied = ""
		test.Tap(copies[0])
		if r.copied != command {
			t.Errorf("%s: copied is %q", what, r.copied)
		}
		k.setOpen(false)
		r.openLast()
		r.until("the kept report", func() bool { return r.view().report != rep })
	}
}

// On a system on which nothing was tried yet, the window says so as it opens, whole, at the smallest size too.
func TestUnprovenSystem(t *testing.T) {
	r := newRig(t, 640, 480, kit.Light)
	if r.message != "" {
		t.Errorf("where all is proven it says %q", r.message)
	}
	d := r.desktop
	d.Unproven = checks.Unproven("darwin")
	win := test.NewWindow(nil)
	defer win.Close()
	w := New(win, r.Window.engine, d)
	win.Resize(fyne.NewSize(640, 480))
	if w.message != d.Unproven || !w.notice.Box.Visible() {
		t.Errorf("it says %q", w.message)
	}
	if want := kit.HeightOf(w.notice.Box, 640); want > w.notice.Box.Size().Height+0.5 {
		t.Errorf("the message wants %v and has %v", want, w.notice.Box.Size().Height)
	}
}

// A computer that cannot be kept awake is spoken of before each long run; one that can is not.
func TestMaySleep(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	var given atomic.Int64
	r.desktop.KeepAwake = func(string) (func(), error) { return func() { given.Add(1) }, nil }
	r.setStage(checks.After)
	r.Open(sampleSource, sampleShare)
	r.setStage(checks.After)
	r.askAwake()
	r.until("the answer", func() bool { return given.Load() == 1 })
	r.settle()
	if s := r.view().head.next.Text; strings.Contains(s, maySleep) {
		t.Errorf("it can be kept awake, but: %q", s)
	}
	r.desktop.KeepAwake = func(string) (func(), error) { return func() {}, errors.New("no such service") }
	r.askAwake()
	r.until("the answer", func() bool { return r.sleepy })
	if s := r.view().head.next.Text; !strings.Contains(s, maySleep) {
		t.Errorf("it cannot be kept awake, but: %q", s)
	}
	k := newCard(sampleCheck(checkReads, "Every file reads to its last byte", checks.GroupFiles))
	body := detail(k, cardActions{read: func() {}, sleepy: func() bool { return r.sleepy }})
	if !strings.Contains(words(body), maySleep) {
		t.Errorf("the card that offers to read the disk says\n%s", words(body))
	}
}

// About tells which build it is and where the handbook lies, and writes the licences.
func TestAbout(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	r.win.Canvas().(interface{ TypedShortcut(fyne.Shortcut) }).TypedShortcut(&desktop.CustomShortcut{KeyName: fyne.KeyI, Modifier: ctrl})
	if r.sheet == nil || r.sheet.Name != "about" {
		t.Fatal("Ctrl+I opens nothing")
	}
	o := r.win.Canvas().Overlays().Top()
	for _, want := range []string{checks.ThisBuild().String(), "checks/README.md", "BSD 2-Clause"} {
		if !strings.Contains(words(o), want) {
			t.Errorf("it does not say %q:\n%s", want, words(o))
		}
	}
	test.Tap(buttons(o, "Save the licences")[0])
	path := filepath.Join(t.TempDir(), "licences.txt")
	r.sheet.Field.SetText(path)
	test.Tap(r.sheet.Yes)
	r.until("the file", func() bool { return r.saved == path })
	text, err := os.ReadFile(path)
	if err != nil || !strings.Contains(string(text), "Redistribution and use in source and binary forms") { // the BSD 2-Clause licence
		t.Errorf("%v: %.200s", err, text)
	}
}

// The page of repairs says what the plan is not sure of, and how much was read while it is being made.
func TestPlanUnsure(t *testing.T) {
	t.Setenv("XDG_STATE_HOME", t.TempDir())
	r := newRig(t, 1280, 800, kit.Light)
	r.Open(tree(t, "what?.mov"), t.TempDir())
	r.showFix()
	var read walk.Progress
	read.Entries.Store(1234)
	stop := r.fix.tellRead(t.Context(), &read)
	plan := r.fix.plan
	r.until("how much was read", func() bool {
		r.fix.plan = nil // the plan itself may be there by then
		return strings.Contains(r.fix.count.Text, "1,234 entries")
	})
	stop()
	r.fix.plan = plan
	r.fix.makePlan()
	r.until("the plan", func() bool { return r.fix.plan != nil })
	if p := r.fix.unsure; !p.Visible() || p.Text != untried {
		t.Fatalf("it says %q; %s", p.Text, r.fix.why.Text)
	}
	if !slices.ContainsFunc(r.fix.plan.Steps, func(s fix.Step) bool { return s.From == "what?.mov" }) {
		t.Errorf("the plan is %+v", r.fix.plan.Steps)
	}
}

// A card that is opened is brought into view: whole where there is room, its head in any case.
func TestOpenCardInView(t *testing.T) {
	for _, size := range []fyne.Size{{Width: 1280, Height: 800}, {Width: 900, Height: 600}} {
		r := newRig(t, size.Width, size.Height, kit.Light)
		r.done(sample())
		page := r.view().list.page
		d := fyne.CurrentApp().Driver()
		for _, k := range r.view().list.cards {
			r.win.Canvas().Focus(k)
			r.key(fyne.KeyReturn)
			top := d.AbsolutePositionForObject(k).Y - d.AbsolutePositionForObject(page.Viewport()).Y
			low := top + k.Size().Height - page.Viewport().Size().Height
			if top < 0 || low > 0 && top > 10 {
				t.Errorf("%v: “%s” begins at %v and ends %v below what is seen", size, k.check.Title, top, low)
			}
			r.key(fyne.KeyReturn)
		}
	}
}

// A path that was put before the field had a size shows its end once it has one.
func TestPutBeforeShown(t *testing.T) {
	r := newRig(t, 900, 600, kit.Light)
	long := "/media/" + strings.Repeat("a long way down/", 20) + "archive"
	r.views[checks.After].setup.from.put(long)
	r.setStage(checks.After)
	f := r.view().setup.from.path
	if at := f.CursorColumn; at != len(long) || !f.HeadHidden() {
		t.Errorf("it stands at letter %d of %d", at, len(long))
	}
}

// Keys are named as on the keyboard in use.
func TestKeyWords(t *testing.T) {
	if got := keyWords("Ctrl+Shift+O", "darwin"); got != "Cmd+Shift+O" {
		t.Errorf("on a Mac: %q", got)
	}
	if got := keyWords("Ctrl+Shift+O", "linux"); got != "Ctrl+Shift+O" {
		t.Errorf("elsewhere: %q", got)
	}
}
