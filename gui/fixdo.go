package gui

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"time"

	"loadline/checks"
	"loadline/checks/before"
	"loadline/checks/fix"
	"loadline/checks/names"
	"loadline/checks/walk"
	"loadline/gui/input"
	"loadline/gui/kit"
)

// oneDisk reports whether there is one source, and no other, whose names could be fixed or that could be divided.
func (w *Window) oneDisk() bool {
	return w.stage == checks.Before && w.view().setup.from.get() != "" && !w.several()
}

// showFix opens the page of repairs on the source.
func (w *Window) showFix() {
	if w.stage == checks.Before && w.several() {
		w.tellWhile(w.several, checks.Waiting, oneDiskFix)
		return
	}
	if w.running != "" || !w.oneDisk() || w.at == pageFix {
		return
	}
	v := w.view()
	if w.files != nil {
		w.files.leave()
	}
	w.fix = newFixPage(w, w.fixJob(v), v.report)
	w.show(pageFix)
	w.win.Canvas().Focus(w.fix.table)
}

// fixJob is what the checks are asked where there is no report that a plan could be made from. A share
// is written to only if it was checked before.
func (w *Window) fixJob(v *view) checks.Job {
	req, err := w.request(v)
	if err != nil {
		req.Job = checks.Job{Source: v.setup.from.get(), Share: v.setup.to.get()}
	}
	req.Job.NamesOnly = true
	req.Job.NoTrial = v.report == nil || v.report.Trial == nil
	return req.Job
}

// planNames makes a plan from a report, and from a new one where that does not do.
func planNames(ctx context.Context, job checks.Job, rep *checks.Report, wishes fix.Wishes, read *walk.Progress) (*fix.Plan, *checks.Report, error) {
	if rep != nil {
		plan, err := fix.NewPlan(ctx, rep, wishes, read)
		if !errors.Is(err, fix.ErrReport) && !errors.Is(err, fix.ErrStale) {
			return plan, rep, err
		}
	}
	return fix.Run(ctx, job, before.List(), wishes, func(e checks.Event) { read.Entries.Store(e.Entries) })
}

// ask shows what would be done and asks. What is to be copied is counted first.
func (p *fixPage) ask() {
	if p.plan == nil || p.busy {
		return
	}
	plan := p.plan
	if len(plan.Copies()) == 0 {
		p.askWith(nil)
		return
	}
	var weight *fix.Estimate
	p.run("Counting what is to be copied", func(ctx context.Context, _ fix.Options) (*fix.Outcome, error) {
		var err error
		weight, err = plan.Estimate(ctx)
		return nil, err
	}, func(*fix.Outcome) {
		p.show("")
		p.askWith(weight)
	})
}

func (p *fixPage) askWith(weight *fix.Estimate) {
	plan, n := p.plan, p.renames()
	var text []string
	if n > 0 {
		text = append(text, "On "+names.Quote(plan.Source)+", "+checks.Many(int64(n), "name is", "names are")+" changed as the list shows. The content of files is not touched.")
	}
	if weight != nil {
		for _, m := range weight.Copies {
			what := checks.Plural(m.Files, "file") + ", " + checks.Bytes(m.Bytes)
			if m.Archive {
				text = append(text, "The card "+names.Quote(m.Path)+" goes into one file beside it, "+names.Quote(m.To)+": "+what+". The card stays as it is.")
			} else {
				text = append(text, "The link "+names.Quote(m.Path)+" is replaced with a copy of what it points to: "+what+".")
			}
			if len(text) > mostNamed {
				text = append(text, "And so on, as the list shows.")
				break
			}
		}
		text = append(text, "All this takes about "+checks.Bytes(weight.Bytes)+" of the "+checks.Bytes(weight.Free)+" that the disk has free, and is read back and compared.")
	}
	if n > 0 {
		text = append(text, "Catalogues and projects that refer to these files by name will ask where they are.")
	}
	text = append(text, "Undo takes everything back.")
	if weight != nil && p.w.sleepy {
		text = append(text, maySleep)
	}
	yes, title := "Rename", "Rename now?"
	if weight != nil {
		yes, title = "Do it", p.task(n)+"?"
	}
	p.w.ask("rename", title, strings.Join(text, "\n"), yes, "Not yet", func() {
		p.run("At work", func(ctx context.Context, o fix.Options) (*fix.Outcome, error) { return plan.Apply(ctx, o) }, func(o *fix.Outcome) {
			// What is to be skipped has other names now.
			wishes := map[string]bool{}
			for path := range p.skip {
				wishes[plan.Final(path)] = true
			}
			p.skip, p.w.skip = wishes, wishes
			p.done(o)
		})
	})
}

// mostNamed is how many copies a question names one by one.
const mostNamed = 6

func (p *fixPage) askUndo() {
	if p.past == nil || p.busy {
		return
	}
	j := p.past
	text := capitalize(work(j.Renames, j.Copies)) + " of " + j.Started.Local().Format("2 January 2006, 15:04") + " are taken back: files get their old names back, and folders their dates."
	if j.Copies > 0 {
		text += " A copy or an archive goes only if what it was made from still holds every byte of it, which takes as long as reading both."
	}
	p.w.ask("undo", "Undo?", text,
		"Undo", "Leave them", func() {
			p.run("Undoing", func(ctx context.Context, o fix.Options) (*fix.Outcome, error) {
				return fix.Undo(ctx, j.Path, o)
			}, p.undone)
		})
}

func (p *fixPage) goOn() {
	if p.past == nil || p.busy {
		return
	}
	j := p.past
	p.run("At work", func(ctx context.Context, o fix.Options) (*fix.Outcome, error) {
		return fix.Resume(ctx, j.Path, o)
	}, p.done)
}

// halt stops the work between two steps; a copy that is half made is removed.
func (p *fixPage) halt() {
	if p.busy && p.cancel != nil {
		p.stop.Disable()
		p.doing.Set("Stopping", "")
		p.cancel()
	}
}

// run works beside the window with a bar, and shows how it went.
func (p *fixPage) run(doing string, work func(context.Context, fix.Options) (*fix.Outcome, error), done func(*fix.Outcome)) {
	if p.cancel != nil {
		p.cancel()
	}
	ctx, cancel := context.WithCancel(context.Background())
	p.cancel, p.busy = cancel, true
	p.w.fixing = true
	p.show(doing)
	p.edit.Hide()
	p.offers.Hide()
	p.meterPlace.Show()
	p.meter.Set(0)
	p.doing.Set(doing, "")
	p.stop.Enable()
	kit.Relayout(p.root)
	var at atomic.Pointer[fix.Progress]
	o := fix.Options{Progress: func(now fix.Progress) { at.Store(&now) }}
	ended := make(chan struct{})
	var out *fix.Outcome
	var past *fix.Journal
	var err error
	began := p.w.desktop.Now()
	go func() {
		defer close(ended)
		out, err = work(ctx, o)
		past = lastJournal(p.source)
	}()
	go pump(p.w.desktop.PostWait, pumpEvery, ended, nil, func(over bool) {
		if s := at.Load(); s != nil && ctx.Err() == nil {
			p.meter.Set(s.Part())
			p.doing.Set(fixWords(*s), "")
			if p.w.desktop.Now().Sub(began) >= titleAfter {
				p.w.setTitle(fmt.Sprintf("%.0f %%", 100*s.Part()), s.Part())
			}
		}
		if over {
			p.past = past
			p.over(out, err, done)
		}
	})
}

// fixWords writes how far the work is: steps, bytes, rate and time left, as far as they are known.
func fixWords(s fix.Progress) string {
	parts := []string{checks.Count(int64(s.Done)) + " of " + checks.Count(int64(s.Total))}
	if s.AllBytes > 0 {
		parts = append(parts, checks.Bytes(s.Bytes)+" of "+checks.Bytes(s.AllBytes))
		if t := s.Elapsed.Seconds(); t >= 1 {
			parts = append(parts, checks.Bytes(int64(float64(s.Bytes)/t))+" a second")
		}
	}
	if left := s.Left(); left > 0 {
		parts = append(parts, "about "+checks.Span(left.Round(time.Second))+" left")
	}
	return strings.Join(append(parts, names.Quote(s.Path)), "  ·  ")
}

func (p *fixPage) over(out *fix.Outcome, err error, done func(*fix.Outcome)) {
	p.busy = false
	p.w.fixing = false
	p.w.setTitle("", -1)
	p.meterPlace.Hide()
	var stopped *fix.StoppedError
	if err != nil {
		text := capitalize(err.Error()) + "."
		if errors.Is(err, context.Canceled) && !errors.As(err, &stopped) {
			text = "Stopped. Nothing was changed."
		}
		p.show("")
		p.why.Set(text, kit.ColFail)
		p.w.message = text
		kit.Relayout(p.root)
	} else {
		done(out)
	}
	if p.w.closing {
		p.w.leave()
	}
}

// done checks again what has changed.
func (p *fixPage) done(o *fix.Outcome) {
	archives := p.plan != nil && slices.ContainsFunc(p.plan.Copies(), func(m fix.Copy) bool { return m.Archive })
	p.makes = map[string]bool{}
	w := p.w
	listed := w.dropList()
	text := capitalize(work(o.Done, o.Made)) + " done. “Fix names” can take everything back."
	s := checks.Passed
	switch {
	case archives:
		text += " Save the lists there, so that the archive travels in place of the card."
	case listed:
		text += " The copy list is out of date: save the lists again."
	}
	if o.Cached {
		text += " " + onlyCached
		s = checks.Warned
	}
	if len(o.Gone) > 0 {
		text = checks.Many(int64(len(o.Gone)), "file was", "files were") + " no longer there. " + text
		s = checks.Warned
	}
	if w.at == pageFix && w.fix == p {
		w.show(pageChecks)
	}
	w.Check()
	w.tell(s, text)
}

// onlyCached is what a person should know where a copy could not be read back past the cache.
const onlyCached = "The copies could only be read back from this computer’s memory, not from the disk: unplug the disk, plug it in again and check once more."

// undone says what is as before, and what is not.
func (p *fixPage) undone(o *fix.Outcome) {
	p.makes = map[string]bool{}
	listed := p.w.dropList()
	text, s := capitalize(work(o.Done, o.Made))+" taken back.", checks.Passed
	for i, stay := range o.Stayed {
		s = checks.Warned
		if i == mostNamed {
			text += " And " + checks.Plural(int64(len(o.Stayed)-i), "other") + "."
			break
		}
		text += " " + names.Quote(stay.Path) + " is left in its place, because " + oneLine(stay.Why) + "."
	}
	if listed {
		text += " The copy list is out of date: save the lists again."
	}
	p.w.tell(s, text)
	p.report = nil // it is of the other names
	p.makePlan()
}

// skips are the paths of a source that the person wants on the skip list, as long as the program runs.
func (w *Window) skips(source string) map[string]bool {
	if w.skip == nil || w.links.settle(w.skipOf) != w.links.settle(source) {
		w.skip, w.skipOf = map[string]bool{}, source
	}
	return w.skip
}

// dropList forgets the copy list, whose paths may be gone, and tells whether there was one.
func (w *Window) dropList() bool {
	w.forgetSplit()
	list := w.views[checks.Before].setup.options.list
	was := list.Text != ""
	list.SetText("")
	return was
}

// saveLists writes the copy list and the skip list beside each other.
func (p *fixPage) saveLists() {
	if p.plan == nil || p.busy {
		return
	}
	w := p.w
	stamp := w.desktop.Now().Format("2006-01-02 15.04")
	w.askFile("Save the copy list", "One relative path per line: what would arrive as it is named now. Everything else goes into a skip list beside it. In the source folder, pax -rw -d /mnt/share < LIST copies exactly these. The checks before and after copying follow this list.",
		"Loadline copy list "+stamp+".txt",
		func(path string, out io.Writer) error { return p.writeLists(path, out) })
}

func (p *fixPage) writeLists(path string, out io.Writer) error {
	skip := skipListBeside(path)
	err := checks.WriteNew(skip, func(skipped io.Writer) error {
		_, err := p.plan.WriteLists(context.Background(), out, skipped, false)
		return err
	})
	if errors.Is(err, fs.ErrExist) {
		return errors.New("the skip list " + names.Quote(skip) + " already exists: choose another name")
	}
	if err == nil {
		p.w.desktop.Post(func() { p.w.views[checks.Before].setup.options.list.SetText(input.ShowPath(path)) })
	}
	return err
}

// skipListBeside is the name of the skip list that belongs to a copy list.
func skipListBeside(path string) string {
	ext := filepath.Ext(path)
	return path[:len(path)-len(ext)] + " (skipped)" + ext
}
