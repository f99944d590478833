package gui

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"sync/atomic"
	"time"

	"loadline/checks"
	"loadline/checks/names"
	"loadline/checks/repair"
)

// canFix reports whether there is a source whose names could be looked at.
func (w *Window) canFix() bool {
	return w.stage == checks.Before && w.view().route.from.get() != ""
}

// showFix opens the page of repairs on the source.
func (w *Window) showFix() {
	if w.running != "" || !w.canFix() || w.at == pageFix {
		return
	}
	v := w.view()
	if w.files != nil {
		w.files.leave()
	}
	w.fix = newFixPage(w, v.route.from.get(), w.limits(v))
	w.show(pageFix)
	w.win.Canvas().Focus(w.fix.table)
}

// limits are what new names must keep: what the last report measured, else the usual.
func (w *Window) limits(v *view) repair.Limits {
	l := repair.Limits{Share: v.route.to.get(), Prefix: typedPath(v.route.options.prefix.Text)}
	if v.report == nil || v.report.Source.Path != v.route.from.get() {
		return l
	}
	for i := range v.report.Checks {
		r := &v.report.Checks[i]
		if n, ok := whole(r, "name_limit"); ok {
			l.Name = int(n)
		}
		if n, ok := whole(r, "limit_bytes"); ok && r.ID == "name-length" {
			l.Name = int(n)
		}
		for _, f := range r.Facts {
			if on, ok := f.Value.(bool); ok {
				switch f.Key {
				case "folds_case":
					l.FoldsCase = on
				case "folds_normal_form":
					l.FoldsForms = on
				}
			}
		}
	}
	return l
}

// ask shows what would be done and asks.
func (p *fixPage) ask() {
	if p.plan == nil || p.busy {
		return
	}
	n := 0
	for i := range p.plan.Steps {
		if p.plan.Steps[i].Changes() {
			n++
		}
	}
	text := "On " + names.Quote(p.source) + ", " + many(int64(n), "name is", "names are") + " changed as the list shows."
	if len(p.links) > 0 {
		text += " " + capital(many(int64(len(p.links)), "link is", "links are")) + " replaced by a copy of what it points to."
	}
	text += " The content of files is not touched. If you have catalogues or projects that know these files by name, they will ask for them: undo gives every name back."
	p.w.ask("rename", "Rename now?", text, "Rename", "Not yet", func() {
		p.run("Renaming", func(ctx context.Context, o repair.Options) (*repair.Outcome, error) { return p.plan.Apply(ctx, o) }, p.renamed)
	})
}

func (p *fixPage) askUndo() {
	if p.past == nil || p.busy {
		return
	}
	j := p.past
	p.w.ask("undo", "Undo the renames?", many(int64(j.Renames), "name", "names")+" changed on "+j.Started.Local().Format("2 January 2006, 15:04")+" get the old names back, and folders their dates.",
		"Undo", "Leave them", func() {
			p.run("Undoing", func(ctx context.Context, o repair.Options) (*repair.Outcome, error) {
				return repair.Undo(ctx, j.Path, o)
			}, func(o *repair.Outcome) {
				p.w.tell(checks.Pass, many(int64(o.Done), "name is", "names are")+" as before.")
				p.look()
			})
		})
}

func (p *fixPage) goOn() {
	if p.past == nil || p.busy {
		return
	}
	j := p.past
	p.run("Renaming", func(ctx context.Context, o repair.Options) (*repair.Outcome, error) {
		return repair.Resume(ctx, j.Path, o)
	}, p.renamed)
}

// step is how far a rename is.
type step struct {
	done, total int
	path        string
}

// run works beside the window with a bar, and shows how it went.
func (p *fixPage) run(doing string, work func(context.Context, repair.Options) (*repair.Outcome, error), done func(*repair.Outcome)) {
	if p.cancel != nil {
		p.cancel()
	}
	ctx, cancel := context.WithCancel(context.Background())
	p.cancel, p.busy = cancel, true
	p.w.fixing = true
	p.show(doing)
	p.meterPlace.Show()
	p.meter.set(0)
	p.doing.set(doing, "")
	p.relay()
	var at atomic.Pointer[step]
	o := repair.Options{Progress: func(done, total int, path string) { at.Store(&step{done, total, path}) }}
	ended := make(chan struct{})
	var out *repair.Outcome
	var err error
	go func() {
		defer close(ended)
		out, err = work(ctx, o)
	}()
	go func() {
		tick := time.NewTicker(pumpEvery)
		defer tick.Stop()
		for over := false; !over; {
			select {
			case <-ended:
				over = true
			case <-tick.C:
			}
			s := at.Load()
			p.w.desk.PostWait(func() {
				if s != nil && s.total > 0 {
					p.meter.set(float64(s.done) / float64(s.total))
					p.doing.set(checks.Count(int64(s.done))+" of "+checks.Count(int64(s.total))+"  ·  "+names.Quote(s.path), "")
				}
				if over {
					p.over(out, err, done)
				}
			})
		}
	}()
}

// over shows how the work ended.
func (p *fixPage) over(out *repair.Outcome, err error, done func(*repair.Outcome)) {
	p.busy = false
	p.w.fixing = false
	p.meterPlace.Hide()
	p.past = lastJournal(p.source)
	p.w.listed = nil // its paths may be gone
	if err != nil {
		p.show("")
		p.why.set(capital(err.Error())+".", colFail)
		p.w.message = err.Error()
		p.relay()
	} else {
		p.links = map[string]bool{}
		done(out)
	}
	if p.w.closing {
		p.w.leave()
	}
}

// renamed checks again what has changed.
func (p *fixPage) renamed(o *repair.Outcome) {
	w := p.w
	text := many(int64(o.Done), "name is", "names are") + " changed. The disk is checked again; “Fix names” can undo."
	s := checks.Pass
	if len(o.Gone) > 0 {
		text = many(int64(len(o.Gone)), "file was", "files were") + " gone meanwhile. " + text
		s = checks.Warned
	}
	if w.at == pageFix && w.fix == p {
		w.show(pageChecks)
	}
	w.Check()
	w.tell(s, text)
}

// saveLists writes the copy list and the skip list beside each other.
func (p *fixPage) saveLists() {
	if p.plan == nil || p.busy {
		return
	}
	w := p.w
	stamp := w.desk.Now().Format("2006-01-02 15.04")
	w.saveSheet("Save the copy list", "One relative path a line: what would arrive as it is named now. What would not goes into a skip list beside it. In the source folder, pax -rw -d /mnt/share < LIST copies exactly these. The next check counts space and time for this list.",
		"Loadline copy list "+stamp+".txt",
		func(path string, out io.Writer) error { return p.writeLists(path, out) })
}

func (p *fixPage) writeLists(path string, out io.Writer) error {
	skip := skipListBeside(path)
	if _, err := os.Lstat(skip); err == nil {
		return errors.New("the skip list " + names.Quote(skip) + " is there already: choose another name")
	}
	var kept bytes.Buffer
	err := writeFile(skip, false, func(f *os.File) error {
		b := bufio.NewWriterSize(f, 1<<16)
		_, err := p.plan.WriteLists(context.Background(), io.MultiWriter(out, &kept), b, false)
		return errors.Join(err, b.Flush())
	})
	if err != nil {
		return err
	}
	// A list without a single file says nothing of space and time.
	if list, err := checks.ReadCopyList(&kept); err == nil {
		p.w.desk.Post(func() { p.w.listed, p.w.listOf = list, p.source })
	}
	return nil
}

// skipListBeside is the name of the skip list that belongs to a copy list.
func skipListBeside(path string) string {
	ext := filepath.Ext(path)
	return path[:len(path)-len(ext)] + " (skipped)" + ext
}
