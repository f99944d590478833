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

	"loadline/checks"
	"loadline/checks/before"
	"loadline/checks/fix"
	"loadline/checks/names"
)

// fixer is what the flags of fix say, and what came of it.
type fixer struct {
	out      output
	job      checks.Job
	options  fix.Options
	demo     bool
	apply    bool
	undo     string
	resume   string
	copyList string
	skipList string
	nul      bool
	skip     []string
	links    []string
	cards    []string

	plan     *fix.Plan
	estimate *fix.Estimate // of copies and archives; nil without
	outcome  *fix.Outcome
	lists    *fix.Lists
	did      string // one line for people on what was done

	stdout, stderr io.Writer
}

// runFix proposes names, applies them, takes them back, and writes lists of what to copy.
func runFix(ctx context.Context, args []string, stdout, stderr io.Writer) error {
	f := fixer{stdout: stdout, stderr: stderr, job: checks.Job{NamesOnly: true}}
	fs := f.flags()
	rest, err := parse(fs, args)
	if err != nil {
		return err
	}
	if err := f.check(rest); err != nil {
		return err
	}
	if f.undo != "" || f.resume != "" {
		if len(rest) > 1 {
			return misused(fs)
		}
		if len(rest) == 1 {
			f.options.Source = rest[0]
		}
		return f.goOn(ctx)
	}
	switch {
	case f.demo:
		d, done, err := openDemo(stderr)
		defer done()
		if err != nil {
			return err
		}
		fromDemo(&f.job, d)
	case len(rest) == 1:
		f.job.Source = rest[0]
	case len(rest) == 2:
		f.job.Source, f.job.Share = rest[0], rest[1]
	default:
		return misused(fs)
	}
	return f.run(ctx)
}

func (f *fixer) flags() *flag.FlagSet {
	fs := newFlags("fix", "SOURCE [SHARE]", f.stderr)
	f.out.register(fs)
	registerLimits(fs, &f.job)
	fs.BoolVar(&f.demo, "demo", false, demoUsage)
	fs.BoolVar(&f.apply, "apply", false, "do what is planned; a journal on the disk lets you go back")
	fs.StringVar(&f.undo, "undo", "", "undo the plan of this `JOURNAL`")
	fs.StringVar(&f.resume, "resume", "", "resume the plan of this `JOURNAL`, which stopped midway")
	fs.BoolVar(&f.options.InState, "state", false, "keep the journal in the state folder of this computer, not on the disk")
	paths := func(list *[]string) func(string) error {
		return func(s string) error {
			*list = append(*list, strings.TrimSuffix(filepath.ToSlash(s), "/"))
			return nil
		}
	}
	fs.Func("skip", "put this `PATH` of the source on the skip list; may be repeated", paths(&f.skip))
	fs.Func("replace-link", "replace the link at this `PATH` of the source with a copy of the file or folder it points to; may be repeated", paths(&f.links))
	fs.Func("archive", "put the camera card, bundle or package at this `PATH` of the source into one file beside it; may be repeated", paths(&f.cards))
	fs.StringVar(&f.copyList, "copy-list", "", "write the paths that will arrive under their present names to `FILE`, one per line")
	fs.StringVar(&f.skipList, "skip-list", "", "write all other paths to `FILE`, one per line")
	fs.BoolVar(&f.nul, "0", false, "end each path in the lists with NUL, so that names with line breaks fit")
	return fs
}

func (f *fixer) check(rest []string) error {
	switch {
	case f.demo && (len(rest) > 0 || f.undo != "" || f.resume != ""):
		return errDemoPlaces("SOURCE, SHARE and journals")
	case f.undo != "" && f.resume != "", (f.undo != "" || f.resume != "") && f.apply:
		return errors.New("choose one of -apply, -resume and -undo")
	}
	if err := checkLimits(&f.job); err != nil {
		return err
	}
	for _, file := range []string{f.copyList, f.skipList} {
		o := output{file: file}
		if err := o.check(); err != nil {
			return err
		}
	}
	if samePath(f.copyList, f.skipList) {
		return errors.New("the copy list and the skip list cannot be one file; choose another name for one of them")
	}
	return f.out.check(rest[:min(len(rest), 1)]...)
}

// goOn undoes a plan, or goes on with one.
func (f *fixer) goOn(ctx context.Context) error {
	do, journal, did := fix.Undo, f.undo, "Undone"
	if f.resume != "" {
		do, journal, did = fix.Resume, f.resume, "Done"
	}
	out, err := f.work(func() (*fix.Outcome, error) { return do(ctx, journal, f.options) })
	if err != nil {
		return f.midway(err)
	}
	f.outcome, f.did = out, did+": "+changes(out.Done, out.Made)+"."
	return f.report()
}

func (f *fixer) run(ctx context.Context) error {
	if err := f.makePlan(ctx); err != nil {
		return err
	}
	plan := f.plan
	if err := unfinished(plan.Source); err != nil {
		if f.copyList != "" || f.skipList != "" {
			return fmt.Errorf("no lists are written: %w", err) // names on their way are no names to copy
		}
		fmt.Fprintf(f.stderr, "loadline-cli: %s\n", checks.Plain(err.Error()))
	}
	for _, path := range f.skip {
		plan.Skip(path, true)
	}
	for _, path := range f.links {
		if err := plan.Replace(path, true); err != nil {
			return err
		}
	}
	for _, path := range f.cards {
		if err := plan.Archive(path, true); err != nil {
			return err
		}
	}
	if len(plan.Copies()) > 0 {
		err := f.watched("Looking through what is to be copied", func() (err error) {
			f.estimate, err = plan.Estimate(ctx)
			return err
		})
		if err != nil {
			return err
		}
	}
	if f.apply {
		out, err := f.work(func() (*fix.Outcome, error) { return plan.Apply(ctx, f.options) })
		if err != nil {
			return f.midway(err)
		}
		f.outcome, f.did = out, "Done: "+changes(out.Done, out.Made)+"."
	}
	if f.copyList != "" || f.skipList != "" {
		if err := f.writeLists(ctx); err != nil {
			if f.outcome == nil {
				return err
			}
			status(f.stderr, f.report()) // what was done, and how to go back
			fault(f.stderr, fmt.Errorf("the plan is applied, but the lists are not written: %s", why(err)))
			return exit(exitFail)
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

// makePlan runs the checks that a plan needs, and makes it from their report.
func (f *fixer) makePlan(ctx context.Context) error {
	watch, done := progressLine(f.stderr)
	defer done()
	plan, rep, err := fix.Run(ctx, f.job, before.List(), fix.Wishes{Portable: f.job.Portable}, watch)
	if err != nil {
		return stopped(rep, err)
	}
	f.plan = plan
	return nil
}

// stopped adds to the reason why a run ended what it left behind on the share.
func stopped(rep *checks.Report, err error) error {
	if rep == nil {
		return err
	}
	for _, f := range rep.Findings() {
		if f.Rule.ID == "trial-left-behind" {
			err = fmt.Errorf("%w; on the share, a trial folder is left: %s", err, f.Detail)
		}
	}
	return err
}

// watched shows that something goes on, ten times a second.
func (f *fixer) watched(phase string, do func() error) error {
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
			watch(checks.Event{Progress: checks.Progress{Phase: phase, Elapsed: time.Since(began), Done: -1, Left: -1}})
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
				e.Phase, e.Bytes = "Undoing", p.Bytes
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
func changes(renames, copies int) string {
	if copies == 0 {
		return checks.Plural(int64(renames), "rename")
	}
	made := checks.Many(int64(copies), "copy or archive", "copies and archives")
	if renames == 0 {
		return made
	}
	return checks.Plural(int64(renames), "rename") + ", " + made
}

// midway says of work that stopped midway that something was changed; any other error is one of the common ones.
func (f *fixer) midway(err error) error {
	var stopped *fix.StoppedError
	if errors.As(err, &stopped) {
		fault(f.stderr, errors.New(stopped.Error()))
		return exit(exitFail)
	}
	return err
}

// writeLists makes the lists elsewhere first: they might be meant to be in the source.
func (f *fixer) writeLists(ctx context.Context) error {
	dir, err := os.MkdirTemp("", "loadline-lists-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	plan := f.plan
	if f.outcome != nil {
		// Check again: what was made belongs on the lists, and what was renamed has its new name there.
		defer func(planned *fix.Plan) { f.plan = planned }(plan)
		if err := f.makePlan(ctx); err != nil {
			return err
		}
		for _, path := range f.skip {
			f.plan.Skip(plan.Final(path), true)
		}
		plan = f.plan
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
func (f *fixer) report() error {
	write := f.text
	if f.out.json {
		write = f.json
	}
	if err := f.out.write(f.stdout, write); err != nil {
		return fmt.Errorf("the plan could not be written: %w", err)
	}
	if o := f.outcome; o != nil && len(o.Gone)+len(o.Kept)+len(o.Stayed)+len(o.Dates) > 0 {
		return exit(exitFail)
	}
	return nil
}

func (f *fixer) text(w io.Writer) error {
	var b bytes.Buffer
	say := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	if f.plan != nil {
		f.planText(say)
	}
	if f.did != "" {
		say("%s", f.did)
	}
	if o := f.outcome; o != nil {
		if o.Journal != "" {
			say("To go back: loadline-cli fix -undo %s", names.Quote(o.Journal))
		}
		for _, path := range o.Gone {
			say("No longer there: %s", names.Quote(path))
		}
		for _, path := range o.Kept {
			say("Not changed, since the disk stores accented letters in a form of its own: %s", names.Quote(path))
		}
		for _, s := range o.Stayed {
			say("Left in place: %s, because %s", names.Quote(s.Path), checks.Plain(s.Why))
		}
		if o.Cached {
			say("What was copied could only be read back from this computer's memory, not from the disk: compare it again after unplugging the disk.")
		}
		switch {
		case o.Awake != "":
			say("This computer was kept awake meanwhile: %s", o.Awake)
		case o.Asleep != nil:
			say("This computer could not be kept from going to sleep: %s", checks.Plain(checks.Reason(o.Asleep)))
		}
		for _, path := range o.Dates {
			say("The folder's date could not be restored: %s", names.Quote(path))
		}
	}
	if l := f.lists; l != nil {
		say("Copy list: %s. Skip list: %s.", sum(l.Copy), sum(l.Skip))
		if f.copyList != "" && !f.nul {
			say("To copy exactly what is on the copy list, with the POSIX utility pax: cd SOURCE && pax -rw -d FOLDER-ON-SHARE < COPY-LIST")
		}
	}
	_, err := w.Write(b.Bytes())
	return err
}

func sum(s fix.Sum) string {
	return checks.Many(s.Files, "path", "paths") + ", " + checks.Bytes(s.Bytes)
}

func (f *fixer) planText(say func(string, ...any)) {
	p := f.plan
	if p.Unsure != "" {
		say("%s", checks.Plain(p.Unsure))
		say("")
	}
	if len(p.Steps) == 0 {
		say("No name needs to change.")
	} else {
		say("%s:", checks.Many(int64(len(p.Steps)), "name to change", "names to change"))
	}
	for i := range p.Steps {
		s := &p.Steps[i]
		say("  %s", names.Quote(s.From))
		say("    becomes %s", names.Quote(s.To))
		say("    why: %s", s.Why)
		for j, c := range s.Choices {
			if j > 0 && c.Name != s.Name() {
				say("    or, read as %s: %s", c.Encoding, names.Quote(c.Name))
			}
		}
	}
	if f.estimate != nil {
		f.copiesText(say)
	}
	copies := map[string]bool{} // in place of links, which are left no more
	for _, c := range p.Copies() {
		copies[c.Path] = !c.Archive
	}
	left := slices.DeleteFunc(slices.Clone(p.Left), func(l fix.Left) bool { return copies[l.Path] })
	if len(left) > 0 {
		say("")
		say("%s:", checks.Many(int64(len(left)), "path stays as it is", "paths stay as they are"))
	}
	for i := range left {
		f.leftText(say, &left[i])
	}
	if len(p.Steps)+len(p.Copies()) > 0 && f.outcome == nil {
		say("")
		say("Nothing has been changed. Run again with -apply to do it; that also tells you how to go back.")
	}
	if len(left) > 0 && f.lists == nil {
		say("To leave out what should not be copied, write a skip list and a copy list: -skip-list FILE -copy-list FILE.")
	}
}

func (f *fixer) copiesText(say func(string, ...any)) {
	e := f.estimate
	say("")
	say("%s:", checks.Many(int64(len(e.Copies)), "copy or archive to make", "copies and archives to make"))
	for _, c := range e.Copies {
		holds := sum(fix.Sum{Files: c.Files, Bytes: c.Bytes})
		if c.Archive {
			say("  %s", names.Quote(c.To))
			say("    %s in one file: %s", names.Quote(c.Path), holds)
		} else {
			say("  %s", names.Quote(c.Path))
			say("    replaces the link: %s", holds)
		}
	}
	say("  They take about %s; the disk has %s free.", checks.Bytes(e.Bytes), checks.Bytes(e.Free))
}

func (f *fixer) leftText(say func(string, ...any), l *fix.Left) {
	say("  %s", names.Quote(l.Path))
	say("    why: %s", l.Why)
	if l.Fix != "" {
		say("    %s", l.Fix)
	}
	for _, o := range l.Offers {
		switch o {
		case fix.OfferArchive:
			say("    to keep it whole, in one file beside it: -apply -archive %s", names.Quote(l.Card.Path))
			say("    to put that file elsewhere, run in the source folder: %s", names.Quote(l.Card.Command()))
		case fix.OfferReplace:
			say("    to replace it with a copy: -apply -replace-link %s", names.Quote(l.Path))
		}
	}
}
