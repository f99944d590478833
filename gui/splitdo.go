package gui

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strconv"

	"fyne.io/fyne/v2"

	"loadline/checks"
	"loadline/checks/names"
	"loadline/checks/share"
	"loadline/checks/split"
	"loadline/gui/input"
	"loadline/gui/kit"
)

// showSplit opens the page for more than one box. One on which lists were written comes back as it was, as
// long as it is about the same disk: its lists are used one after the other.
func (w *Window) showSplit() {
	switch {
	case w.at == pageSplit, w.fixing, w.stage != checks.Before:
		return
	case w.running != "":
		w.tellWhile(w.whileRunning(), checks.Waiting, "A check is still running. You can divide the disk among boxes when it has finished.")
		return
	case w.several():
		w.tellWhile(w.several, checks.Waiting, oneDiskSplit)
		return
	case !w.oneDisk():
		w.askForPlace(w.view())
		return
	}
	v := w.view()
	source, list := v.setup.from.get(), input.Path(v.setup.options.list.Text)
	if p := w.split; p == nil || w.links.settle(p.source) != w.links.settle(source) || p.list != list && !p.wrote(list) {
		w.forgetSplit()
		w.split = newSplitPage(w, source, list, w.sizesFor(v.report))
	}
	if rep := v.report; rep != nil {
		w.split.expect = rep.Totals.Files + rep.Totals.Folders + rep.Totals.Links + rep.Totals.Others
		if rep.Trial != nil {
			w.split.unit = rep.Trial.Unit
		}
	}
	if w.files != nil {
		w.files.leave()
	}
	w.show(pageSplit)
	if p := w.split; p.plan != nil && len(p.choices) > 0 {
		w.win.Canvas().Focus(p.choices[p.shown])
	} else {
		w.win.Canvas().Focus(p.boxes[0].size)
	}
}

// forgetSplit puts the page away but for its sizes. Its lists may name files that have other names now.
func (w *Window) forgetSplit() {
	if w.split != nil {
		w.boxes = w.split.typed()
		w.split = nil
	}
}

// sizesFor are the sizes that the page begins with: those of the last time, else two boxes like the share
// that was checked, else two that are empty.
func (w *Window) sizesFor(rep *checks.Report) boxSizes {
	if !w.boxes.empty() {
		return w.boxes
	}
	var size, each string
	if rep != nil && rep.Share != nil && rep.Share.Free > 0 {
		size = input.RoundedDown(rep.Share.Free)
		if space := rep.Result(checkSpace); space != nil {
			if n, ok := whole(space, "free_inodes"); ok && n > 0 {
				each = checks.Count(n)
			}
		}
	}
	return boxSizes{Boxes: []string{size, size}, Each: each}
}

// wrote reports whether a file is one of the lists that were written.
func (p *splitPage) wrote(list string) bool { return list != "" && slices.Contains(p.lists, list) }

// saveLists asks for a new or empty folder and writes the lists there.
func (p *splitPage) saveLists() {
	w := p.w
	if p.plan == nil || p.task != nil || w.sheet != nil {
		return
	}
	allowed := "" // a folder on the source's own disk that was asked for twice
	var s *saveSheet
	s = w.askWhere("save-lists", "Save the lists",
		"A copy list for each box: box-1.list, box-2.list and so on, one relative path a line. The folder must be new or empty, and not in the source.",
		"Path of the folder", "Type the path of a new or empty folder.", "Loadline lists "+w.desktop.Now().Format("2006-01-02 15.04"),
		func(dir string) {
			if p.task != nil {
				return
			}
			s.complain("")
			s.Yes.Disable()
			p.write(dir, dir == allowed, func(nul bool, err error) {
				s.Yes.Enable()
				switch {
				case errors.Is(err, errOnSource):
					allowed = dir
					s.complain("This folder is on the disk that is to be copied. Choose one on another disk, or press Save again to have the lists there.")
				case stoppedErr(err):
					s.complain("Stopped. No list was left behind.")
				case err != nil:
					s.complain(capitalize(oneLine(err.Error())) + ".")
				default:
					if w.sheet == s.Sheet {
						w.closeSheet()
					}
					p.saved(dir, nul)
				}
			})
		})
	s.No.OnTapped = func() {
		if p.task != nil { // what is written goes first
			p.halt()
			return
		}
		w.closeSheet()
	}
}

// errOnSource: the folder for the lists is on the disk that is to be copied.
var errOnSource = errors.New("the folder is on the disk that is to be copied")

// write writes the lists beside the window. Where a path holds a line break each path is ended by NUL.
func (p *splitPage) write(dir string, onSource bool, done func(nul bool, err error)) {
	plan, nul := p.plan, false
	p.w.writes.Add(1)
	p.run("Writing the lists", func(ctx context.Context, _ func(checks.Event)) error {
		defer p.w.writes.Done()
		_, err := share.Guard(ctx, share.DefaultDeadline, func() (struct{}, error) {
			if err := split.CheckFolder(dir, plan.Source); err != nil {
				return struct{}{}, err
			}
			if same, err := share.SameFileSystem(existing(dir), plan.Source); err == nil && same && !onSource {
				return struct{}{}, errOnSource
			}
			return struct{}{}, nil
		})
		if share.Silent(err) {
			return errors.New("the folder does not respond; choose one on this computer")
		}
		if err != nil {
			return err
		}
		err = plan.WriteLists(ctx, dir, false)
		if errors.Is(err, split.ErrLineBreak) {
			nul = true
			err = plan.WriteLists(ctx, dir, true)
		}
		return err
	}, func(err error) { done(nul, err) })
}

// existing is a folder, or the one above it where it is still to be made.
func existing(dir string) string {
	if _, err := filepath.EvalSymlinks(dir); err != nil {
		return filepath.Dir(dir)
	}
	return dir
}

// saved says where the lists are, and what comes next.
func (p *splitPage) saved(dir string, nul bool) {
	p.dir, p.nul, p.lists = dir, nul, nil
	n := int64(0)
	for i := range p.plan.Loads {
		if p.plan.Loads[i].List != "" {
			n++
		}
		p.lists = append(p.lists, p.plan.Loads[i].List)
	}
	w := p.w
	w.saved = dir
	p.show()
	text := checks.Plural(n, "copy list") + " saved in " + names.Quote(dir) + "."
	w.message = text // shown above the boxes, where it stays
	if i := p.firstList(); i >= 0 && w.at == pageSplit {
		p.pick(i)
		w.win.Canvas().Focus(p.choices[i])
	}
}

// useList makes the list of the box that is shown the copy list of the checks.
func (p *splitPage) useList() {
	if p.dir == "" || p.shown >= len(p.lists) || p.lists[p.shown] == "" {
		return
	}
	w, list, box := p.w, p.lists[p.shown], p.shown+1
	v := w.views[checks.Before]
	v.setup.options.list.SetText(input.ShowPath(list))
	w.show(pageChecks)
	v.setup.setFolded(false)
	w.win.Canvas().Focus(v.head.check)
	w.tellWhile(func() bool { return input.Path(v.setup.options.list.Text) == list }, checks.Waiting,
		fmt.Sprintf("The copy list of box %d is filled in. Choose the share of box %d and check before copying; after copying, check with the same list.", box, box))
}

// offersBoxes reports whether a report says that the disk does not fit, so that more boxes are the next
// thing to think of.
func (w *Window) offersBoxes(v *view) bool {
	if v.stage != checks.Before || v.report == nil || v.report.Interrupted || w.several() {
		return false
	}
	space := v.report.Result(checkSpace)
	return space != nil && space.Status == checks.Failed
}

// offerMore shows beside the other buttons what a report leads to: more boxes, or what a demo has in store.
func (w *Window) offerMore(v *view) {
	if w.offersBoxes(v) {
		v.head.offer("More boxes", w.showSplit)
	} else {
		w.offerDemo(v)
	}
}

// elements adds what can be seen and used, by the names of the trace.
func (p *splitPage) elements(m map[string]fyne.CanvasObject) {
	m["back"] = p.back
	for i, b := range p.boxes {
		n := strconv.Itoa(i + 1)
		m["box-"+n] = b.size
		if !b.remove.Disabled() {
			m["remove-"+n] = b.remove
		}
	}
	m["box-entries"] = p.each.size
	addUsable(m, map[string]*kit.Button{"add-box": p.add, "divide": p.divide, "stop": p.stop, "save-lists": p.save})
	if p.plan == nil {
		return
	}
	m["rows"] = p.table
	for i, c := range p.choices {
		m["choice-"+strconv.Itoa(i+1)] = c
	}
	addUsable(m, map[string]*kit.Button{"use-list": p.use, "open-folder": p.open})
}
