package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"loadline/cmd/dev/e2e"
)

// benchWindow measures what the window costs under a software renderer: at rest on every page, at
// work, and with very many findings.
func benchWindow(ctx context.Context, dir string, quick bool) error {
	if err := install(ctx, needWindow, needTests); err != nil {
		return err
	}
	program, err := buildWindow(ctx)
	if err != nil {
		return err
	}
	bare, clean, err := buildBare(ctx, dir)
	if err != nil {
		return err
	}
	defer clean()
	b := &windowBench{program: program, bare: bare, span: 10 * time.Second, files: 625_000} // a million findings
	if quick {
		b.span, b.files = 2*time.Second, 3_000
	}
	fmt.Printf("\n%s\n\n", machine(ctx, dir))
	fmt.Printf("The window at 1280 by 800 under Xvfb and a software renderer, its trace on; share of one core over %v.\n\n", b.span)
	fmt.Println("| the window shows | share of a core | of that, drawing |")
	fmt.Println("| --- | ---: | ---: |")
	for _, part := range []func(e2e.T){b.toolkit, b.rest, b.work} {
		if err := e2e.Run("bench-window", part); err != nil {
			return err
		}
		if ctx.Err() != nil {
			return ctx.Err()
		}
	}
	work, err := os.MkdirTemp(dir, "loadline-bench-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(work)
	trees := &forest{root: work}
	if err := trees.arrange(ctx, shapes[1], b.files, 1); err != nil {
		return err
	}
	b.tree = trees.tree()
	return errors.Join(e2e.Run("bench-findings", b.many), os.RemoveAll(work))
}

type windowBench struct {
	program, bare, tree string
	span                time.Duration
	files               int
}

// bareWindow is what ours is compared with: a window of the toolkit as it is, which looks for events sixty
// times a second whatever it shows.
const bareWindow = `package main

import (
	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/app"
	"fyne.io/fyne/v2/widget"
)

func main() {
	app.SetMetadata(fyne.AppMetadata{ID: "bare", Name: "bare", Migrations: map[string]bool{"fyneDo": true}})
	w := app.NewWithID("bare").NewWindow("bare")
	w.SetContent(widget.NewLabel("One label"))
	w.Resize(fyne.NewSize(1280, 800))
	w.ShowAndRun()
}
`

// buildBare builds that window; clean removes it.
func buildBare(ctx context.Context, dir string) (program string, clean func(), err error) {
	work, err := os.MkdirTemp(dir, "loadline-bench-")
	if err != nil {
		return "", nil, err
	}
	clean = func() { os.RemoveAll(work) }
	source := filepath.Join(work, "bare.go")
	program = filepath.Join(work, "bare")
	if err = os.WriteFile(source, []byte(bareWindow), 0o644); err == nil {
		err = run(ctx, "go", "build", "-tags", windowTags, "-o", program, source)
	}
	if err != nil {
		clean()
		return "", nil, err
	}
	return program, clean, nil
}

// toolkit measures a window that shows one label.
func (b *windowBench) toolkit(t e2e.T) {
	p := e2e.NewDisplay(t, 1280, 800).Run(b.bare)
	pause(b.span/10 + 2*time.Second) // until it is drawn
	all, drawing := b.share(t, p, b.span)
	fmt.Printf("| a bare window of the toolkit, with one label | %.1f %% | %.1f %% |\n", 100*all, 100*drawing)
}

// rest measures pages on which nothing happens.
func (b *windowBench) rest(t e2e.T) {
	w := e2e.NewDisplay(t, 1280, 800).Open(b.program, "-demo")
	w.Wait("the demo", func(s e2e.State) bool { return s.State == "idle" && s.Source != "" })
	b.still(t, w, "the demo, not checked yet")
	w.Click("source")
	w.Wait("the keyboard there", func(s e2e.State) bool { return s.Focus == "source" })
	b.still(t, w, "the same, a text field has the keyboard")
	w.Key("ctrl+r")
	w.Wait("a verdict", func(s e2e.State) bool { return s.State == "done" })
	b.still(t, w, "the verdict and the cards")
	w.Click("card:share-mounted")
	w.Wait("an open card", func(s e2e.State) bool { return s.Open == "share-mounted" })
	b.still(t, w, "the same, a card is open")
	w.Key("ctrl+f")
	w.Wait("the flagged files", func(s e2e.State) bool { return s.Page == "files" && s.Total > 0 })
	b.still(t, w, "the flagged files")
	w.Key("Escape", "Escape")
	w.Wait("the cards", func(s e2e.State) bool { return s.Page == "checks" })
	w.Key("ctrl+e")
	w.Wait("the plan", func(s e2e.State) bool { return s.Page == "fix" && s.Rows > 0 })
	b.still(t, w, "the plan of new names")
	w.Key("Escape", "Escape")
	w.Wait("the cards", func(s e2e.State) bool { return s.Page == "checks" })
	w.Key("F1")
	w.Wait("a dialog", func(s e2e.State) bool { return s.Dialog == "keys" })
	b.still(t, w, "a dialog in front")
	w.Key("Escape")
	w.Wait("no dialog", func(s e2e.State) bool { return s.Dialog == "" })
	w.Key("ctrl+d")
	b.still(t, w, "the cards in the other theme")
	w.AskClose()
	w.Ended()
}

// still measures one page once it has settled, and prints its row.
func (b *windowBench) still(t e2e.T, w *e2e.Window, what string) {
	w.Settle()
	pause(b.span / 10)
	all, drawing := b.share(t, w.Process(), b.span)
	fmt.Printf("| %s | %.1f %% | %.1f %% |\n", what, 100*all, 100*drawing)
}

// pause lets time pass: what is measured here is what goes on meanwhile.
func pause(d time.Duration) { <-time.After(d) }

// share is how much of a core a window uses in a span of time, in all, and its drawing alone: the
// thread that has the window, and those of the software renderer.
func (b *windowBench) share(t e2e.T, pid int, span time.Duration) (all, drawing float64) {
	a, ad, err := ticks(pid)
	if err != nil {
		t.Fatal(err)
	}
	began := time.Now()
	pause(span)
	z, zd, err := ticks(pid)
	if err != nil {
		t.Fatal(err)
	}
	took := time.Since(began).Seconds()
	return float64(z-a) / 100 / took, float64(zd-ad) / 100 / took // 100 ticks a second: proc(5), sysconf(_SC_CLK_TCK)
}

// ticks reads the processor time of a process so far, and that of its drawing threads, from the files
// of proc(5).
func ticks(pid int) (all, drawing int64, err error) {
	tasks, err := os.ReadDir(fmt.Sprintf("/proc/%d/task", pid))
	if err != nil {
		return 0, 0, err
	}
	if all, _, err = statTicks(fmt.Sprintf("/proc/%d/stat", pid)); err != nil {
		return 0, 0, err
	}
	for _, task := range tasks {
		n, name, err := statTicks(fmt.Sprintf("/proc/%d/task/%s/stat", pid, task.Name()))
		if os.IsNotExist(err) { // it has ended meanwhile
			continue
		}
		if err != nil {
			return 0, 0, err
		}
		if task.Name() == strconv.Itoa(pid) || strings.HasPrefix(name, "llvmpipe") {
			drawing += n
		}
	}
	return all, drawing, nil
}

// statTicks reads the 14th and 15th field, utime and stime, and the name in parentheses before them.
func statTicks(file string) (ticks int64, name string, err error) {
	text, err := os.ReadFile(file)
	if err != nil {
		return 0, "", err
	}
	open, shut := strings.IndexByte(string(text), '('), strings.LastIndexByte(string(text), ')')
	if open < 0 || shut < open {
		return 0, "", fmt.Errorf("%s: no name in parentheses", file)
	}
	fields := strings.Fields(string(text[shut+1:]))
	if len(fields) < 13 {
		return 0, "", fmt.Errorf("%s: %d fields after the name", file, len(fields))
	}
	for _, f := range fields[11:13] {
		n, err := strconv.ParseInt(f, 10, 64)
		if err != nil {
			return 0, "", fmt.Errorf("%s: %w", file, err)
		}
		ticks += n
	}
	return ticks, string(text[open+1 : shut]), nil
}

// idle waits until the window computes nothing any more: what it sorts beside the screen is not seen
// before it is done.
func (b *windowBench) idle(t e2e.T, w *e2e.Window) {
	const look = 500 * time.Millisecond
	for end := time.Now().Add(e2e.Patience); time.Now().Before(end); {
		if all, _ := b.share(t, w.Process(), look); all < 0.1 {
			return
		}
	}
}

// work measures the window while a check of the whole machine runs.
func (b *windowBench) work(t e2e.T) {
	w := e2e.NewDisplay(t, 1280, 800).Open(b.program, "/")
	w.Wait("the source", func(s e2e.State) bool { return s.Source == "/" })
	w.Key("ctrl+r")
	w.Wait("the run", func(s e2e.State) bool { return s.State == "running" })
	span := min(b.span, 5*time.Second)
	all, drawing := b.share(t, w.Process(), span)
	if s := w.State(); s.State != "running" {
		fmt.Printf("| (the check ended before %v had passed) | | |\n", span)
	}
	fmt.Printf("| a check that runs | %.1f %% | %.1f %% |\n", 100*all, 100*drawing)
}

// many opens a report with very many findings, filters and sorts it and goes to its end.
func (b *windowBench) many(t e2e.T) {
	w := e2e.NewDisplay(t, 1280, 800).Open(b.program, b.tree)
	w.Wait("the source", func(s e2e.State) bool { return s.Source == b.tree })
	w.Key("ctrl+r")
	w.Wait("a verdict", func(s e2e.State) bool { return s.State == "done" })
	w.Settle()
	step := func(what string) {
		b.idle(t, w)
		s := w.Settle()
		peak, now := memory(t, w.Process())
		fmt.Printf("| %s | %s of %s | %d ms | %d MB | %d MB |\n", what, thousands(s.Rows), thousands(s.Total), s.Lag, now>>20, peak>>20)
	}
	fmt.Printf("\n| with very many findings | rows | longest wait so far | memory | most so far |\n| --- | ---: | ---: | ---: | ---: |\n")
	step("the verdict")
	w.Key("ctrl+f")
	w.Wait("the flagged files", func(s e2e.State) bool { return s.Page == "files" && s.Total > 0 && s.Rows == s.Total })
	step("all flagged files")
	for n, what := range []string{"the worst", "paths", "reasons", "sizes"} {
		x, y := w.Where("rows")
		r := w.State().At["rows"]
		w.ClickAt(x-int(r[2]/2)+[]int{60, 300, int(r[2]) - 300, int(r[2]) - 40}[n], y-int(r[3]/2)+16)
		step("sorted by " + what)
	}
	w.Click("rows")
	w.Key("End")
	step("the last row")
	w.Click("filter")
	w.Type("99")
	w.Wait("the filter", func(s e2e.State) bool { return s.Filter == "99" && s.Rows < s.Total })
	step("filtered by a text")
	w.Key("BackSpace", "BackSpace")
	w.Wait("all of them", func(s e2e.State) bool { return s.Filter == "" && s.Rows == s.Total })
	step("all of them again")
	w.AskClose()
	w.Ended()
}

// memory reads the most that a process has used and what it uses now, in bytes, from proc(5).
func memory(t e2e.T, pid int) (most, now int64) {
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		t.Fatal(err)
	}
	for l := range strings.Lines(string(text)) {
		name, rest, _ := strings.Cut(l, ":")
		n, _ := strconv.ParseInt(strings.TrimSuffix(strings.TrimSpace(rest), " kB"), 10, 64)
		switch name {
		case "VmHWM":
			most = n << 10
		case "VmRSS":
			now = n << 10
		}
	}
	return most, now
}
