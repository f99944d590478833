package gui

import (
	"bytes"
	"cmp"
	"encoding/csv"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/driver/desktop"
	"fyne.io/fyne/v2/test"
	"pgregory.net/rapid"

	"loadline/checks"
	"loadline/gui/kit"
)

// filesRig opens the page of flagged files on a report.
func filesRig(t *testing.T, rep *checks.Report) *rig {
	t.Helper()
	r := newRig(t, 1280, 800, kit.Light)
	r.desktop.StateDir = ""
	r.done(rep)
	r.findFiles()
	r.until("the rows", func() bool { return r.files.model.ready })
	return r
}

func shownPaths(p *filesPage) (paths []string) {
	for i := range p.model.rows() {
		paths = append(paths, p.model.at(i).Path)
	}
	return paths
}

// Text, rule and level narrow the list; sorting turns it; what is shown is counted.
func TestFilter(t *testing.T) {
	r := filesRig(t, sample())
	p := r.files
	step := func(what string, do func(), want ...string) {
		t.Helper()
		turn := p.model.newest.Load()
		do()
		r.fire()
		r.until(what, func() bool {
			return p.model.newest.Load() > turn && len(r.posts) == 0 && slices.Equal(shownPaths(p), want)
		})
	}
	all := []string{"", "day 01/a long name.mov", "day 01/=cmd.mov", "day 02/two\nlines.txt", "day 02/Plain note.txt"} // worst first
	if got := shownPaths(p); !slices.Equal(got, all) {
		t.Fatalf("at first: %q", got)
	}
	step("text, whatever its case", func() { p.find.SetText("PLAIN") }, "day 02/Plain note.txt")
	step("all again", func() { p.find.SetText("") }, all...)
	step("without notes", func() { test.Tap(p.levels[checks.Note]) }, all[:4]...)
	step("failures alone", func() { test.Tap(p.levels[checks.Warn]) }, "", "day 01/a long name.mov")
	step("every level", func() { test.Tap(p.levels[checks.Warn]); test.Tap(p.levels[checks.Note]) }, all...)
	step("one rule", func() { p.choice.SetSelected("name-characters-odd  (2)") }, "day 01/=cmd.mov", "day 02/two\nlines.txt")
	step("all rules", func() { p.choice.SetSelectedIndex(0) }, all...)
	step("largest first", func() { p.sortBy(3) }, "day 01/a long name.mov", "day 02/two\nlines.txt", "day 01/=cmd.mov", "", "day 02/Plain note.txt")
	step("smallest first", func() { p.sortBy(3) }, "", "day 02/Plain note.txt", "day 01/=cmd.mov", "day 02/two\nlines.txt", "day 01/a long name.mov")
	step("worst first", func() { p.sortBy(0) }, "", "day 01/a long name.mov", "day 01/=cmd.mov", "day 02/two\nlines.txt", "day 02/Plain note.txt")
	if p.count.Text != "5 findings" {
		t.Errorf("counted as %q", p.count.Text)
	}
}

// From a card one gets to the findings of that card alone, and back to it.
func TestFilesOfOneCard(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	r.done(sample())
	k := r.view().list.byID["name-characters"]
	k.setOpen(true)
	test.Tap(k.files)
	r.until("the rows", func() bool { return r.files.model.ready })
	if r.at != pageFiles || r.files.model.rows() != 3 || r.files.total() != 3 {
		t.Errorf("page %q shows %d of %d", r.at, r.files.model.rows(), r.files.total())
	}
	r.key(fyne.KeyEscape)
	if r.at != pageChecks || r.win.Canvas().Focused() != k {
		t.Error("Escape should lead back to the card")
	}
}

// The card of clips names those that are not whole, and leads to the folder of each.
func TestClipsFromTheirCard(t *testing.T) {
	source := t.TempDir()
	clip := filepath.Join(source, "day 1", "A001.mov")
	if err := os.Mkdir(filepath.Dir(clip), 0o755); err != nil {
		t.Fatal(err)
	}
	// Without moov and moof there is no presentation (ISO/IEC 14496-12 §8.2.1).
	if err := os.WriteFile(clip, []byte("\x00\x00\x00\x14ftypqt  \x00\x00\x00\x00qt  \x00\x00\x00\x10mdattides..."), 0o644); err != nil {
		t.Fatal(err)
	}
	r := newRig(t, 1280, 800, kit.Light)
	r.Window = New(test.NewTempWindow(t, nil), RealEngine(), r.desktop)
	r.Open(source, "")
	test.Tap(r.view().head.check)
	r.until("the end", func() bool { return r.view().report != nil && r.running == "" })
	k := r.view().list.byID["clips-whole"]
	if k.status != checks.Warned || !strings.Contains(k.result.Summary, "day 1/A001.mov") {
		t.Fatalf("the card is %s: %+v", k.status, k.result)
	}
	k.setOpen(true)
	test.Tap(k.files)
	r.until("the rows", func() bool { return r.files.model.ready })
	p := r.files
	p.table.Choose(0)
	if p.path.Text != "day 1/A001.mov" || !strings.Contains(p.what.Text, "the index that players need was never written") || !strings.Contains(p.todo.Text, "original card") {
		t.Errorf("%q: %q; %q", p.path.Text, p.what.Text, p.todo.Text)
	}
	test.Tap(p.reveal)
	if want := []string{filepath.Join(r.view().report.Job.Source, "day 1")}; !slices.Equal(r.revealed, want) {
		t.Errorf("opened %q, want %q", r.revealed, want)
	}
}

// Of two filters the newer wins, in whatever order they end.
func TestNewestFilterWins(t *testing.T) {
	posts := make(chan func(), 4)
	m := newFilesModel(sample(), nil, func(f func()) { posts <- f })
	got := ""
	m.work.Lock() // both wait here
	m.ask(query{levels: [3]bool{true, true, true}, text: "day 01"}, func() { got += "old" })
	m.ask(query{levels: [3]bool{true, true, true}, text: "day 02"}, func() { got += "new" })
	m.work.Unlock()
	(<-posts)()
	if got != "new" || m.rows() != 2 {
		t.Errorf("%q was shown, with %d rows", got, m.rows())
	}
	select {
	case <-posts:
		t.Error("the older filter was shown as well")
	default:
	}
}

// Keys move through the rows, Return opens the folder, Ctrl+C copies the path, raw as it is.
func TestFilesByKeyboard(t *testing.T) {
	r := filesRig(t, sample())
	p := r.files
	c := r.win.Canvas()
	if c.Focused() != p.find {
		t.Fatal("Ctrl+F should lead to the filter")
	}
	r.key(fyne.KeyDown)
	if c.Focused() != p.table || p.table.Chosen != 0 {
		t.Fatalf("down should lead to the first row, it is %d", p.table.Chosen)
	}
	p.sortBy(1)
	r.until("the order of paths", func() bool { return p.table.Chosen < 0 })
	r.key(fyne.KeyEnd)
	if p.table.Chosen != 4 || p.path.Text != `"day 02/two\nlines.txt"` {
		t.Errorf("End chose row %d, shown as %q", p.table.Chosen, p.path.Text)
	}
	r.key(fyne.KeyReturn)
	if want := []string{filepath.Join(sampleSource, "day 02")}; !slices.Equal(r.revealed, want) {
		t.Errorf("opened %q, want %q", r.revealed, want)
	}
	p.table.TypedShortcut(&fyne.ShortcutCopy{})
	if want := filepath.Join(sampleSource, "day 02/two\nlines.txt"); r.copied != want {
		t.Errorf("copied %q, want %q", r.copied, want)
	}
	r.shortcut(&desktop.CustomShortcut{KeyName: fyne.KeyC, Modifier: ctrl | shift})
	r.until("the list", func() bool {
		return strings.Contains(r.copied, "\n") && strings.Contains(r.message, "clipboard") && strings.Contains(r.message, "lines")
	})
	if n := strings.Count(r.copied, "\n"); n != 5 {
		t.Errorf("the copied list has %d lines, want 5: a name must not forge one", n)
	}
	r.key(fyne.KeyHome)
	r.key(fyne.KeyPageDown)
	r.key(fyne.KeyUp)
	if p.table.Chosen != 3 {
		t.Errorf("row %d is chosen", p.table.Chosen)
	}
	test.Tap(p.full)
	if r.sheet == nil || r.sheet.Name != "name" {
		t.Fatal("the full name should be shown")
	}
	r.key(fyne.KeyEscape)
	r.key(fyne.KeyEscape)
	if r.sheet != nil || r.at != pageChecks {
		t.Error("Escape should close the sheet, then the page")
	}
}

// A file manager that does not open is told, with the folder's path.
func TestRevealFails(t *testing.T) {
	r := filesRig(t, sample())
	r.revealed1 = errors.New("no such program")
	r.files.table.Choose(1)
	r.files.openFolder()
	if !strings.Contains(r.message, "day 01") || !r.notice.Box.Visible() {
		t.Errorf("said %q", r.message)
	}
}

// many makes a report with n findings.
func manyFindings(n int) *checks.Report {
	rep := clean()
	for i := range rep.Checks {
		if r := &rep.Checks[i]; r.ID == "name-characters" {
			r.Findings = make([]checks.Finding, n)
			for j := range r.Findings {
				r.Findings[j] = checks.Finding{Path: fmt.Sprintf("day %02d/take %07d.mov", j/50_000, j), Rule: r.Check.Rules[j%2], Level: checks.Level(j % 3), Size: int64(j)}
				r.Levels[j%3]++
				r.Rules[r.Check.Rules[j%2].ID]++
			}
			r.Status = checks.Derive(r.Levels, "")
		}
	}
	return rep
}

// Until its first wish is answered the page has no rows, and then the right ones: what it shows is what a
// plain sort of all findings gives (slices.SortStableFunc, by each key in turn), of any number of checks.
func TestOrder(t *testing.T) {
	rules := []*checks.Rule{{ID: "b"}, {ID: "c"}, {ID: "a"}}
	rapid.Check(t, func(rt *rapid.T) {
		rep := &checks.Report{}
		for i := range rapid.IntRange(0, 4).Draw(rt, "checks") {
			r := checks.Result{ID: fmt.Sprint(i), Rules: map[string]int64{}}
			for range rapid.IntRange(0, 30).Draw(rt, "findings") {
				f := checks.Finding{
					Path: rapid.StringMatching(`[aB]/[a-c=é]{0,2}`).Draw(rt, "path"), Rule: rapid.SampledFrom(rules).Draw(rt, "rule"),
					Level: checks.Level(rapid.IntRange(0, 2).Draw(rt, "level")), Size: rapid.Int64Range(0, 3).Draw(rt, "size"), Detail: fmt.Sprint(i),
				}
				r.Findings = append(r.Findings, f)
				r.Rules[f.Rule.ID]++
			}
			slices.SortStableFunc(r.Findings, func(a, b checks.Finding) int {
				return cmp.Or(strings.Compare(a.Path, b.Path), strings.Compare(a.Rule.ID, b.Rule.ID))
			})
			rep.Checks = append(rep.Checks, r)
		}
		m := newFilesModel(rep, nil, nil)
		if m.rows() != 0 || m.ready {
			rt.Fatal("there are rows before they are sorted")
		}
		q := query{
			levels: [3]bool{true, rapid.Bool().Draw(rt, "warnings"), true}, text: rapid.SampledFrom([]string{"", "A", "b/", "É"}).Draw(rt, "text"),
			key: sortKey(rapid.IntRange(0, 3).Draw(rt, "key")), descending: rapid.Bool().Draw(rt, "descending"),
		}
		view, ok := m.pick(q, func() bool { return false })
		if !ok {
			rt.Fatal("called off")
		}
		var want []*checks.Finding
		for i := range rep.Checks {
			for j := range rep.Checks[i].Findings {
				f := &rep.Checks[i].Findings[j]
				if q.levels[f.Level] && strings.Contains(strings.ToLower(f.Path), strings.ToLower(q.text)) {
					want = append(want, f)
				}
			}
		}
		slices.SortStableFunc(want, func(a, b *checks.Finding) int {
			return cmp.Or(strings.Compare(a.Path, b.Path), strings.Compare(a.Rule.ID, b.Rule.ID))
		})
		keys := map[sortKey]func(a, b *checks.Finding) int{
			byPath:  func(a, b *checks.Finding) int { return 0 },
			bySize:  func(a, b *checks.Finding) int { return cmp.Compare(a.Size, b.Size) },
			byRule:  func(a, b *checks.Finding) int { return cmp.Compare(a.Rule.ID, b.Rule.ID) },
			byLevel: func(a, b *checks.Finding) int { return cmp.Compare(b.Level, a.Level) },
		}
		switch {
		case q.key == byPath && q.descending:
			slices.Reverse(want)
		case q.descending:
			slices.SortStableFunc(want, func(a, b *checks.Finding) int { return keys[q.key](b, a) })
		default:
			slices.SortStableFunc(want, keys[q.key])
		}
		if len(view) != len(want) {
			rt.Fatalf("%d rows, want %d", len(view), len(want))
		}
		for i, row := range view {
			if m.all[row] != want[i] {
				rt.Fatalf("row %d is %+v, want %+v", i, *m.all[row], *want[i])
			}
		}
	})
}

// The list as CSV reads back whole (RFC 4180, by the standard library), and no cell is a formula.
func TestCSV(t *testing.T) {
	rule := &checks.Rule{ID: "line-break", Fix: "+1 for a better name"}
	in := []*checks.Finding{
		{Path: "=HYPERLINK(\"x\")", Rule: rule, Level: checks.Fail, Size: 3, Detail: "@sum, with a comma"},
		{Path: "a,b\"c\r\nd", Rule: rule, Level: checks.Note, Detail: "two\nlines"},
		{Path: "-rf", Rule: rule, Level: checks.Warn, Detail: "ok"},
		{Path: "+1.mov", Rule: rule, Level: checks.Warn, Detail: "=1+1"},
		{Path: "@cam/a.mov", Rule: rule, Level: checks.Warn, Detail: "-2"},
		{Path: "\ttab.mov", Rule: rule, Level: checks.Warn, Detail: "\t=1"},
		{Path: "\rreturn.mov", Rule: rule, Level: checks.Warn, Detail: "\r=1"},
		{Path: "плёнка\u202e", Rule: rule, Level: checks.Warn, Detail: "ok"},
	}
	var b bytes.Buffer
	if err := writeCSV(&b, nil, len(in), func(i int) *checks.Finding { return in[i] }); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(bytes.NewReader(b.Bytes())).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) != len(in)+1 {
		t.Fatalf("%d rows", len(rows))
	}
	for _, row := range rows[1:] {
		for _, cell := range row {
			if cell != "" && strings.ContainsAny(cell[:1], "=+-@\t\r") {
				t.Errorf("a spreadsheet would run %q", cell)
			}
			if strings.ContainsAny(cell, "\r\n\u202e") {
				t.Errorf("%q reaches the file unescaped", cell)
			}
		}
	}
	if rows[1][1] != `'=HYPERLINK("x")` || rows[1][3] != "3" || rows[2][0] != "note" {
		t.Errorf("rows: %q", rows)
	}
	if !bytes.Contains(b.Bytes(), []byte("\r\n")) {
		t.Error("lines should end in CR LF")
	}
}

// Saving never goes over a file unasked, and says what it did.
func TestSave(t *testing.T) {
	r := filesRig(t, sample())
	dir := t.TempDir()
	file := filepath.Join(dir, "list.csv")
	save := func() {
		r.shortcut(&desktop.CustomShortcut{KeyName: fyne.KeyS, Modifier: ctrl})
		if r.sheet == nil || r.sheet.Name != "save" || r.win.Canvas().Focused() != r.sheet.Field {
			t.Fatal("Ctrl+S should ask for a path, with the keyboard there")
		}
		r.sheet.Field.SetText(file)
		r.key(fyne.KeyReturn)
	}
	save()
	r.until("the list", func() bool { return r.saved == file })
	b, err := os.ReadFile(file)
	if err != nil || !bytes.HasPrefix(b, []byte("level,path,rule")) {
		t.Fatalf("%q, %v", b, err)
	}
	if err := os.WriteFile(file, []byte("precious"), 0o600); err != nil {
		t.Fatal(err)
	}
	save()
	r.until("a question", func() bool { return r.sheet != nil && r.sheet.Name == "overwrite" })
	r.key(fyne.KeyEscape)
	r.settle()
	if b, _ := os.ReadFile(file); string(b) != "precious" {
		t.Fatal("an existing file was written over after a no")
	}
	save()
	r.until("a question", func() bool { return r.sheet != nil && r.sheet.Name == "overwrite" })
	r.saved = ""
	test.Tap(r.sheet.Yes)
	r.until("the list", func() bool { return r.saved == file })
	if b, _ := os.ReadFile(file); string(b) == "precious" {
		t.Error("a yes should have replaced the file")
	}
	file = filepath.Join(dir, "no such folder", "list.txt")
	save()
	r.until("a complaint", func() bool { return strings.Contains(r.message, "There is no folder") })
	if r.sheet == nil || r.sheet.Yes.Disabled() {
		t.Error("the question should stay, so that the path can be put right")
	}
	left, _ := filepath.Glob(filepath.Join(dir, ".*"))
	if len(left) > 0 {
		t.Errorf("temporary files are left: %q", left)
	}
}

// The report is saved as the engine writes it.
func TestSaveReport(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	rep := sample()
	r.done(rep)
	for _, ext := range []string{".txt", ".json"} {
		file := filepath.Join(t.TempDir(), "report"+ext)
		r.save()
		r.sheet.Field.SetText(file)
		test.Tap(r.sheet.Yes)
		r.until("the report", func() bool { return r.saved == file })
		var want bytes.Buffer
		write := rep.WriteText
		if ext == ".json" {
			write = rep.WriteJSON
		}
		if err := write(&want); err != nil {
			t.Fatal(err)
		}
		if got, err := os.ReadFile(file); err != nil || !bytes.Equal(got, want.Bytes()) {
			t.Errorf("%s differs from what the engine writes (%v)", ext, err)
		}
	}
}

// However small the window, what is wrong with the chosen row is there to be read whole, and the list
// keeps some rows.
func TestFootFits(t *testing.T) {
	for _, s := range [][2]float32{{640, 480}, {900, 600}, {1280, 800}} {
		t.Run(fmt.Sprintf("%vx%v", s[0], s[1]), func(t *testing.T) {
			rep := sample()
			f := &rep.Checks[2].Findings[0]
			f.Path = strings.Repeat("a very long folder/", 12) + "end.mov"
			r := filesRig(t, rep)
			r.win.Resize(fyne.NewSize(s[0], s[1]))
			p := r.files
			for i := range p.model.rows() {
				p.table.Choose(i)
				p.choose(i)
				if want := kit.HeightOf(p.foot, p.foot.Size().Width); want > p.foot.Size().Height+0.5 {
					t.Errorf("of %q the foot wants %v and has %v", p.what.Text, want, p.foot.Size().Height)
				}
				if rows := p.table.VisibleRows(); rows < 2.5 {
					t.Errorf("only %.1f rows are seen", rows)
				}
			}
		})
	}
}
