package gui

import (
	"runtime"
	"strings"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/driver/desktop"

	"loadline/checks"
	"loadline/gui/kit"
)

// binding is one shortcut of the window.
type binding struct {
	keys string // for people
	what string
	key  fyne.KeyName
	mod  fyne.KeyModifier
	do   func(*Window)
}

const (
	ctrl  = fyne.KeyModifierShortcutDefault
	shift = fyne.KeyModifierShift
)

var bindings []binding

func init() { // not in its declaration: what it names uses it
	bindings = []binding{
		{"Ctrl+R", "Check; so does Enter in a text field", fyne.KeyR, ctrl, (*Window).Check},
		{"Esc", "Stop a run, close a dialog, go back", "", 0, nil},
		{"Ctrl+1, 2, 3", "Before copying, after copying, after arrival", fyne.Key1, ctrl, func(w *Window) { w.setStage(checks.Before) }},
		{"", "", fyne.Key2, ctrl, func(w *Window) { w.setStage(checks.After) }},
		{"", "", fyne.Key3, ctrl, func(w *Window) { w.setStage(checks.Arrival) }},
		{"Ctrl+O", "Choose the source", fyne.KeyO, ctrl, func(w *Window) { w.view().setup.from.choose.Tapped(nil) }},
		{"Ctrl+Shift+O", "Choose the share", fyne.KeyO, ctrl | shift, func(w *Window) { w.view().setup.to.choose.Tapped(nil) }},
		{"Ctrl+F", "Flagged files: find by text", fyne.KeyF, ctrl, func(w *Window) { w.findFiles() }},
		{"Ctrl+E", "Fix names", fyne.KeyE, ctrl, func(w *Window) { w.showFix() }},
		{"Ctrl+B", "More than one box: a copy list for each", fyne.KeyB, ctrl, func(w *Window) { w.showSplit() }},
		{"Ctrl+S", "Save the report, or the list of files", fyne.KeyS, ctrl, func(w *Window) { w.save() }},
		{"Ctrl+L", "Open the last report", fyne.KeyL, ctrl, func(w *Window) { w.openLast() }},
		{"Ctrl+D", "Light or dark theme, or that of the desktop", fyne.KeyD, ctrl, func(w *Window) { w.turnTheme() }},
		{"Tab, Shift+Tab", "Next and previous", "", 0, nil},
		{"Up, Down", "Next and previous check or row", "", 0, nil},
		{"Page Up, Page Down", "Scroll", "", 0, nil},
		{"Enter, Space", "Open a check, press a button", "", 0, nil},
		{"Ctrl+C", "Flagged files: copy the path", "", 0, nil},
		{"Ctrl+Shift+C", "Flagged files: copy the whole list", fyne.KeyC, ctrl | shift, func(w *Window) { w.copyList() }},
		{"F1", "This list", "", 0, nil},
		{"Ctrl+I", "About Loadline: version, handbook, licences", fyne.KeyI, ctrl, (*Window).showAbout},
		{"Ctrl+Q", "Close the window", fyne.KeyQ, ctrl, func(w *Window) { w.Close() }},
	}
}

// bindKeys registers the shortcuts where nothing has the keyboard; fields ask shortcut themselves.
func (w *Window) bindKeys() {
	c := w.win.Canvas()
	for _, b := range bindings {
		if b.do != nil {
			c.AddShortcut(&desktop.CustomShortcut{KeyName: b.key, Modifier: b.mod}, func(fyne.Shortcut) { w.press(b) })
		}
	}
	c.AddShortcut(&fyne.ShortcutCopy{}, func(fyne.Shortcut) { w.copyPath() })
	c.SetOnTypedKey(w.typedKey)
}

func (w *Window) press(b binding) {
	if w.sheet == nil && w.foreign() == nil || b.key == fyne.KeyQ {
		b.do(w)
	}
}

// foreign is a dialog or a menu of the toolkit's own that stands in front; nil if none does.
func (w *Window) foreign() fyne.CanvasObject {
	if w.sheet != nil {
		return nil
	}
	return w.win.Canvas().Overlays().Top()
}

// shortcut carries out what a text field was given and has no use for.
func (w *Window) shortcut(s fyne.Shortcut) bool {
	cs, ok := s.(*desktop.CustomShortcut)
	if !ok {
		return false
	}
	for _, b := range bindings {
		if b.do != nil && b.key == cs.KeyName && b.mod == cs.Modifier {
			w.press(b)
			return true
		}
	}
	return false
}

// typedKey takes the keys that nothing else had a use for.
func (w *Window) typedKey(e *fyne.KeyEvent) {
	switch e.Name {
	case fyne.KeyEscape:
		w.escape()
	case fyne.KeyF1:
		if w.sheet == nil && w.foreign() == nil {
			w.showKeys()
		}
	case fyne.KeyF5:
		if w.sheet == nil && w.foreign() == nil {
			w.Check()
		}
	case fyne.KeyPageDown:
		w.scroll(1)
	case fyne.KeyPageUp:
		w.scroll(-1)
	case fyne.KeyDown:
		w.step(1)
	case fyne.KeyUp:
		w.step(-1)
	}
}

// scroll turns the sheet in front, or the cards, by most of what is seen of them.
func (w *Window) scroll(pages float32) {
	var p *kit.Page
	switch {
	case w.sheet != nil:
		p = w.sheet.Page
	case w.at == pageSplit && w.foreign() == nil:
		p = w.split.root
	case w.at == pageChecks && w.foreign() == nil:
		p = w.view().list.page
	}
	if p != nil {
		p.ScrollPages(pages)
	}
}

// escape leaves what is in front: a sheet, a page, a run of the stage that is shown.
func (w *Window) escape() {
	switch front := w.foreign(); {
	case front != nil:
		front.Hide()
	case w.sheet != nil:
		w.sheet.No.Tapped(nil)
	case w.fixing:
		w.fix.halt()
	case w.at == pageSplit && w.split.busy():
		w.split.halt()
	case w.at != pageChecks:
		w.back()
	case w.running == w.stage:
		w.Stop()
	default:
		w.notice.Hide()
	}
}

// step moves the keyboard from card to card.
func (w *Window) step(d int) {
	if w.sheet != nil || w.at != pageChecks || w.foreign() != nil {
		return
	}
	cards := w.view().list.cards
	if len(cards) == 0 {
		return
	}
	at := -1
	if d < 0 {
		at = len(cards)
	}
	for i, k := range cards {
		if k.Focused() {
			at = i
		}
	}
	if at += d; at >= 0 && at < len(cards) {
		w.win.Canvas().Focus(cards[at])
	}
}

// keyWords names keys as the keyboards of a system do.
func keyWords(keys, system string) string {
	if system == "darwin" {
		return strings.ReplaceAll(keys, "Ctrl", "Cmd")
	}
	return keys
}

func (w *Window) showKeys() {
	var lines []fyne.CanvasObject
	for _, b := range bindings {
		if b.keys != "" {
			lines = append(lines, kit.NewStretch(16, 1, kit.NewSized(166, 22, kit.NewText(keyWords(b.keys, runtime.GOOS), kit.SizeBody, kit.ColText).Mono()), kit.NewText(b.what, kit.SizeBody, kit.ColMuted).Truncated()))
		}
	}
	list := kit.NewColumn(3, lines...)
	s := &kit.Sheet{Name: "keys", Page: kit.NewBarePage(list)}
	high := min(kit.HeightOf(list, kit.SheetWidth)+4, w.win.Canvas().Size().Height-170)
	about := kit.NewButton(kit.Plain, "", "About Loadline", w.showAbout)
	w.open(s, "Shortcuts", about, kit.NewSized(0, high, s.Page))
}
