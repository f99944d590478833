package main

import (
	"bytes"
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/dustin/go-humanize"

	"loadline/checks"
	"loadline/checks/fix"
	"loadline/checks/names"
	"loadline/checks/walk"
)

// fixer is what the flags of fix say.
type fixer struct {
	out        output
	limits     fix.Limits
	options    fix.Options
	apply      bool
	undo       string
	resume     string
	copyList   string
	skipList   string
	nul        bool
	skip       []string
	links      []string
	cards      []string
	plan       *fix.Plan
	weight     *fix.Weight // of copies and archives; nil without
	outcome    *fix.Outcome
	lists      *fix.Lists
	stdout     io.Writer
	stderr     io.Writer
	afterwards string // one line for people on what was done
}

// runFix proposes names, applies them, takes them back, and writes lists of what to copy.
func runFix(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	f := fixer{stdout: stdout, stderr: stderr}
	fs := f.flags()
	rest, err := parse(fs, args)
	if err != nil {
		return parsed(err)
	}
	if err := f.check(rest); err != nil {
		return fault(stderr, err)
	}
	if f.undo != "" || f.resume != "" {
		if len(rest) > 1 {
			fs.Usage()
			return exitError
		}
		if len(rest) == 1 {
			f.options.Source = rest[0]
		}
		return f.goOn(ctx)
	}
	if len(rest) != 1 {
		fs.Usage()
		return exitError
	}
	return f.run(ctx, rest[0])
}

func (f *fixer) flags() *flag.FlagSet {
	fs := newFlags("fix", "SOURCE", f.stderr)
	f.out.register(fs)
	fs.BoolVar(&f.apply, "apply", false, "do as planned; a journal on the disk lets you go back")
	fs.StringVar(&f.undo, "undo", "", "take back what the plan of this `JOURNAL` changed")
	fs.StringVar(&f.resume, "resume", "", "go on with the plan of this `JOURNAL`, which stopped midway")
	fs.StringVar(&f.limits.Prefix, "prefix", "", "`FOLDER` on the share that will hold the copy, and so the head of every key")
	fs.StringVar(&f.limits.Share, "share", "", "`FOLDER` of the share; it counts in the length of paths")
	fs.IntVar(&f.limits.Key, "key-bytes", fix.DefaultKey, "longest key of the object store, `N` bytes")
	fs.IntVar(&f.limits.Name, "name-bytes", names.NameMax, "longest name that the share takes, `N` bytes")
	fs.BoolVar(&f.limits.Portable, "portable", false, "also cure names outside the portable set of POSIX")
	fs.BoolVar(&f.options.InState, "state", false, "put the journal into the state folder, not on the disk")
	fs.Func("skip", "put this `PATH` of the source on the skip list; may be repeated", func(s string) error {
		f.skip = append(f.skip, strings.TrimSuffix(filepath.ToSlash(s), "/"))
		return nil
	})
	fs.Func("replace-link", "put a copy in the place of the link at this `PATH` of the source, whether to a file or a folder; may be repeated", func(s string) error {
		f.links = append(f.links, strings.TrimSuffix(filepath.ToSlash(s), "/"))
		return nil
	})
	fs.Func("archive", "put the camera card at this `PATH` of the source into one file beside it; may be repeated", func(s string) error {
		f.cards = append(f.cards, strings.TrimSuffix(filepath.ToSlash(s), "/"))
		return nil
	})
	fs.StringVar(&f.copyList, "copy-list", "", "write the paths that would arrive as they are named now to `FILE`, one a line")
	fs.StringVar(&f.skipList, "skip-list", "", "write the other paths to `FILE`, one a line")
	fs.BoolVar(&f.nul, "0", false, "end the paths in lists with NUL, so that names with line breaks fit")
	return fs
}

func (f *fixer) check(rest []string) error {
	switch {
	case f.limits.Key < 1, f.limits.Name < 1:
		return errors.New("-key-bytes and -name-bytes must be at least 1")
	case f.undo != "" && f.resume != "", (f.undo != "" || f.resume != "") && f.apply:
		return errors.New("choose one of -apply, -resume and -undo")
	}
	for _, file := range []string{f.copyList, f.skipList} {
		o := output{file: file}
		if err := o.check(); err != nil {
			return err
		}
	}
	return f.out.check(rest[:min(len(rest), 1)]...)
}

// goOn takes a plan back, or on.
func (f *fixer) goOn(ctx context.Context) int {
	do, journal, did := fix.Undo, f.undo, "taken back"
	if f.resume != "" {
		do, journal, did = fix.Resume, f.resume, "done"
	}
	out, err := f.work(func() (*fix.Outcome, error) { return do(ctx, journal, f.options) })
	if err != nil {
		return f.fault(err)
	}
	f.outcome, f.afterwards = out, changes(out.Done, out.Made)+" "+did+"."
	return f.report()
}

func (f *fixer) run(ctx context.Context, source string) int {
	plan, err := f.look(ctx, source)
	if err != nil {
		return fault(f.stderr, err)
	}
	f.plan = plan
	if err := unfinished(plan.Source); err != nil {
		if f.copyList != "" || f.skipList != "" {
			return fault(f.stderr, fmt.Errorf("no lists are written: %w", err)) // names on their way are no names to copy
		}
		fmt.Fprintf(f.stderr, "loadline-cli: %s\n", checks.Plain(err.Error()))
	}
	for _, path := range f.skip {
		plan.Skip(path, true)
	}
	for _, path := range f.links {
		if err := plan.Replace(path, true); err != nil {
			return fault(f.stderr, err)
		}
	}
	for _, path := range f.cards {
		if err := plan.Archive(path, true); err != nil {
			return fault(f.stderr, err)
		}
	}
	if len(plan.Makings()) > 0 {
		err := f.watched("Looking through what is to be copied", nil, func() (err error) {
			f.weight, err = plan.Weigh(ctx)
			return err
		})
		if err != nil {
			return fault(f.stderr, err)
		}
	}
	if f.apply {
		out, err := f.work(func() (*fix.Outcome, error) { return plan.Apply(ctx, f.options) })
		if err != nil {
			return f.fault(err)
		}
		f.outcome, f.afterwards = out, changes(out.Done, out.Made)+" done."
	}
	if f.copyList != "" || f.skipList != "" {
		if err := f.writeLists(ctx); err != nil {
			if f.outcome != nil {
				f.report() // what was done, and how to go back
				err = fmt.Errorf("the plan is applied, but the lists are not written: %s", why(err))
			}
			return fault(f.stderr, err)
		}
	}
	return f.report()
}

// unfinished tells of a plan that stopped midway.
func unfinished(source string) error {
	all, err := fix.Journals(source, "")
	for _, j := range all {
		if j.Unfinished() {
			return fmt.Errorf("%w: fix -resume or fix -undo %s", fix.ErrUnfinished, names.Quote(j.Path))
		}
	}
	return err
}

// why is the text of an error, where "nothing was changed" would not be true.
func why(err error) string {
	if errors.Is(err, context.Canceled) {
		return "interrupted"
	}
	return err.Error()
}

// look makes the plan.
func (f *fixer) look(ctx context.Context, source string) (plan *fix.Plan, err error) {
	var read walk.Progress
	err = f.watched("Reading names", &read, func() (err error) {
		plan, err = fix.NewPlan(ctx, source, f.limits, &read)
		return err
	})
	return plan, err
}

// watched shows that something goes on, and how much was read, ten times a second.
func (f *fixer) watched(phase string, read *walk.Progress, do func() error) error {
	watch, done := progressLine(f.stderr)
	defer done()
	if watch == nil {
		return do()
	}
	began, ended := time.Now(), make(chan error)
	go func() { ended <- do() }()
	tick := time.NewTicker(100 * time.Millisecond)
	defer tick.Stop()
	for {
		select {
		case err := <-ended:
			return err
		case <-tick.C:
			e := checks.Event{Progress: checks.Progress{Phase: phase, Elapsed: time.Since(began), Done: -1, Left: -1}}
			if read != nil {
				e.Entries, e.Bytes = read.Entries.Load(), read.Bytes.Load()
			}
			watch(e)
		}
	}
}

// work shows progress while content is copied or names are changed.
func (f *fixer) work(do func() (*fix.Outcome, error)) (*fix.Outcome, error) {
	watch, done := progressLine(f.stderr)
	defer done()
	if watch != nil {
		var last time.Time
		f.options.Progress = func(p fix.Progress) {
			if time.Since(last) < 100*time.Millisecond {
				return
			}
			last = time.Now()
			e := checks.Event{Progress: checks.Progress{Phase: "Changing names", Elapsed: p.Elapsed, Done: p.Part(), Left: p.Left()}}
			switch {
			case f.undo != "" && p.AllBytes > 0:
				e.Phase, e.Bytes = "Going back", p.Bytes
			case p.Bytes < p.AllBytes:
				e.Phase, e.Bytes = "Copying", p.Bytes
			case p.AllBytes > 0: // the names come after the content
				e.Done, e.Left = float64(p.Done)/float64(max(1, p.Total)), -1
			}
			watch(e)
		}
	}
	return do()
}

// changes tells how many names were changed, and how many copies and archives made.
func changes(renames, makings int) string {
	if makings == 0 {
		return count(renames, "rename is", "renames are")
	}
	made := count(makings, "copy or archive is", "copies and archives are")
	if renames == 0 {
		return made
	}
	return count(renames, "rename", "renames") + " and " + count(makings, "copy or archive", "copies and archives") + " are"
}

// fault is the common one, but for what stopped midway: there something was changed.
func (f *fixer) fault(err error) int {
	var stopped *fix.StoppedError
	if errors.As(err, &stopped) {
		err = errors.New(stopped.Error())
	}
	return fault(f.stderr, err)
}

// writeLists makes the lists elsewhere first: they might be meant to lie in the source.
func (f *fixer) writeLists(ctx context.Context) error {
	dir, err := os.MkdirTemp("", "loadline-lists-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	plan := f.plan
	if f.outcome != nil {
		// A new look: what was made belongs on the lists, and what was renamed has its new name there.
		if plan, err = f.look(ctx, plan.Source); err != nil {
			return err
		}
		for _, path := range f.skip {
			plan.Skip(f.plan.Final(path), true)
		}
	}
	files := map[string]*os.File{}
	for _, name := range []string{"copy", "skip"} {
		if files[name], err = os.Create(filepath.Join(dir, name)); err != nil {
			return err
		}
		defer files[name].Close()
	}
	if f.lists, err = plan.WriteLists(ctx, files["copy"], files["skip"], f.nul); err != nil {
		return err
	}
	for name, to := range map[string]string{"copy": f.copyList, "skip": f.skipList} {
		if to == "" {
			continue
		}
		o := output{file: to}
		if err := o.write(nil, func(w io.Writer) error {
			if _, err := files[name].Seek(0, io.SeekStart); err != nil {
				return err
			}
			_, err := io.Copy(w, files[name])
			return err
		}); err != nil {
			return fmt.Errorf("the %s list could not be written: %w", name, err)
		}
	}
	return nil
}

// report prints what is planned or was done.
func (f *fixer) report() int {
	write := f.text
	if f.out.json {
		write = f.json
	}
	if err := f.out.write(f.stdout, write); err != nil {
		return fault(f.stderr, fmt.Errorf("the plan could not be written: %w", err))
	}
	if f.outcome != nil && len(f.outcome.Gone)+len(f.outcome.Kept)+len(f.outcome.Stayed) > 0 {
		return exitFail
	}
	return exitGood
}

func (f *fixer) text(w io.Writer) error {
	var b bytes.Buffer
	say := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	if f.plan != nil {
		f.planText(say)
	}
	if f.afterwards != "" {
		say("%s", f.afterwards)
	}
	if o := f.outcome; o != nil {
		if o.Journal != "" {
			say("To go back: loadline-cli fix -undo %s", names.Quote(o.Journal))
		}
		for _, path := range o.Gone {
			say("Not there any more: %s", names.Quote(path))
		}
		for _, path := range o.Kept {
			say("The disk spells letters with marks in this name in a way of its own, whatever it is told: %s", names.Quote(path))
		}
		for _, s := range o.Stayed {
			say("Left in its place: %s, because %s", names.Quote(s.Path), checks.Plain(s.Why))
		}
		for _, path := range o.Dates {
			say("The date could not be put back: %s", names.Quote(path))
		}
	}
	if l := f.lists; l != nil {
		say("Copy list: %s. Skip list: %s.", sum(l.Copy), sum(l.Skip))
		if f.copyList != "" && !f.nul {
			say("To copy exactly these with the POSIX utility pax: cd SOURCE && pax -rw -d FOLDER-ON-SHARE < COPY-LIST")
		}
	}
	_, err := w.Write(b.Bytes())
	return err
}

func sum(s fix.Sum) string {
	return count(int(s.Files), "path", "paths") + ", " + checks.Bytes(s.Bytes)
}

func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return humanize.Comma(int64(n)) + " " + many
}

func (f *fixer) planText(say func(string, ...any)) {
	p := f.plan
	if len(p.Steps) == 0 {
		say("No name needs to change.")
	} else {
		say("%s to change:", count(len(p.Steps), "name is", "names are"))
	}
	for i := range p.Steps {
		s := &p.Steps[i]
		say("  %s", names.Quote(s.From))
		say("    becomes %s", names.Quote(s.To))
		say("    because %s", s.Why)
		for j, c := range s.Choices {
			if j > 0 && c.Name != s.Name() {
				say("    or, read as %s: %s", c.Encoding, names.Quote(c.Name))
			}
		}
	}
	if w := f.weight; w != nil {
		say("")
		say("%s to make:", count(len(w.Makings), "copy or archive is", "copies and archives are"))
		for _, m := range w.Makings {
			if m.Archive {
				say("  %s", names.Quote(m.To))
				say("    the card %s in one file: %s", names.Quote(m.Path), sum(fix.Sum{Files: m.Files, Bytes: m.Bytes}))
			} else {
				say("  %s", names.Quote(m.Path))
				say("    a copy in the place of the link: %s", sum(fix.Sum{Files: m.Files, Bytes: m.Bytes}))
			}
		}
		say("  They take about %s of the %s that the disk has free.", checks.Bytes(w.Bytes), checks.Bytes(w.Free))
	}
	copies := map[string]bool{} // in the place of links, which are left no more
	for _, m := range p.Makings() {
		copies[m.Path] = !m.Archive
	}
	left := slices.DeleteFunc(slices.Clone(p.Left), func(l fix.Left) bool { return copies[l.Path] })
	if len(left) > 0 {
		say("")
		say("%s left as they are:", count(len(left), "path is", "paths are"))
	}
	for i := range left {
		l := &left[i]
		say("  %s", names.Quote(l.Path))
		say("    %s", l.Why)
		for _, o := range l.Offers {
			switch o {
			case fix.OfferArchive:
				say("    to keep the whole card as one file beside it: -apply -archive %s", names.Quote(l.Card.Path))
				say("    or, for that file elsewhere, in the source folder: %s", names.Quote(l.Card.Command()))
			case fix.OfferReplace:
				say("    to put a copy in its place: -apply -replace-link %s", names.Quote(l.Path))
			}
		}
	}
	if len(p.Steps)+len(p.Makings()) > 0 && f.outcome == nil {
		say("")
		say("Nothing was changed. -apply does it and tells how to go back.")
	}
	if len(left) > 0 && f.lists == nil {
		say("What should not be copied can go on a skip list: -skip-list FILE, with -copy-list FILE for the rest.")
	}
}
