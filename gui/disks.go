package gui

import (
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"fyne.io/fyne/v2"

	"loadline/checks"
	"loadline/checks/names"
	"loadline/gui/input"
	"loadline/gui/kit"
)

// moreDisks are the further disks that go to the same share, each a row below the source: where it is, and
// the folder on the share that will hold its copy.
type moreDisks struct {
	box  *fyne.Container
	add  *kit.Button // beside the source
	rows []*diskRow

	view    *view
	offers  []Offer
	changed func() // something else is set
}

// diskRow is one further disk.
type diskRow struct {
	box     *fyne.Container
	disk    *picker
	caption *kit.Text
	prefix  *kit.Field
	remove  *kit.Button
	fault   *kit.Paragraph // what is wrong with the folder on the share
	own     string         // the folder that was proposed last
}

func newMoreDisks(v *view) *moreDisks {
	d := &moreDisks{view: v, box: kit.NewColumn(0)}
	d.box.Hide()
	d.add = kit.NewButton(kit.Plain, "", "Add a disk", func() {
		r := d.insert()
		d.told()
		v.focus(r.disk.path)
		v.list.page.Bring(r.box)
	}).Shorter("Add…")
	return d
}

// insert adds an empty row.
func (d *moreDisks) insert() *diskRow {
	r := &diskRow{
		caption: kit.NewText("", kit.SizeBody, kit.ColText).Bold(),
		prefix:  kit.NewField("like DiskB"),
		fault:   newProblem(),
	}
	w := d.view.w
	r.disk = newPicker("disk", "", "/path/to/the/next/disk", w.chooser(&r.disk, fmt.Sprintf("Choose disk %d", len(d.rows)+2), true))
	r.remove = kit.NewButton(kit.Plain, "", "Remove", func() { d.drop(r) })
	r.disk.changed = func(string) {
		r.propose()
		d.offer(d.offers)
		d.told()
	}
	r.prefix.OnChanged = func(string) {
		r.fault.Say("")
		d.told()
	}
	w.tieField(r.disk.path)
	w.tieField(r.prefix)
	folder := kit.NewSurface("", "", kit.NewColumn(5, kit.NewSized(0, 20, r.caption), kit.NewStretch(8, 0, r.prefix.Framed(), r.remove), r.fault)).Pad(12, 9)
	r.box = besideEachOther(r.disk.box, folder)
	d.rows = append(d.rows, r)
	d.number()
	d.offer(d.offers)
	return r
}

// drop takes a row away; the keyboard goes on to the next one, in the end to the source.
func (d *moreDisks) drop(r *diskRow) {
	i := slices.Index(d.rows, r)
	if i < 0 {
		return
	}
	d.rows = slices.Delete(d.rows, i, i+1)
	d.number()
	d.told()
	if n := len(d.rows); n > 0 {
		d.view.focus(d.rows[min(i, n-1)].remove)
	} else {
		d.view.focus(d.view.setup.from.path)
	}
}

// number shows the rows, numbered from 2.
func (d *moreDisks) number() {
	d.box.Objects = nil
	for i, r := range d.rows {
		r.disk.caption.Set(fmt.Sprintf("Disk %d", i+2), "")
		r.caption.Set(folderFor(i+2), "")
		d.box.Objects = append(d.box.Objects, r.box)
	}
	kit.SetVisible(d.box, len(d.rows) > 0)
	d.box.Refresh()
}

// folderFor is what the field for a disk's folder on the share is called, where there are several.
func folderFor(disk int) string { return fmt.Sprintf("Folder for disk %d", disk) }

func (d *moreDisks) told() {
	if d.changed != nil {
		d.changed()
	}
	d.view.resized()
}

// propose fills in the name of the disk as its folder, as long as nobody has typed another.
func (r *diskRow) propose() {
	if input.Path(r.prefix.Text) != r.own {
		return
	}
	r.own = ""
	if p := r.disk.get(); p != "" {
		if base := filepath.Base(p); base != "." && base != string(filepath.Separator) {
			r.own = base
		}
	}
	r.prefix.SetText(input.ShowPath(r.own))
}

// disks are the further disks as they are set.
func (d *moreDisks) disks() []checks.Disk {
	var list []checks.Disk
	for _, r := range d.rows {
		list = append(list, checks.Disk{Source: r.disk.get(), Prefix: input.Path(r.prefix.Text)})
	}
	return list
}

// put fills in further disks in place of those that are there.
func (d *moreDisks) put(list []checks.Disk) {
	if len(list) == 0 && len(d.rows) == 0 {
		return
	}
	d.rows = nil
	d.number()
	for _, x := range list {
		r := d.insert()
		r.disk.put(x.Source)
		r.prefix.SetText(input.ShowPath(x.Prefix))
	}
	d.told()
}

// key names what is set, to tell one set of disks from another. A row without a disk does not count yet.
func (d *moreDisks) key(l links) string {
	var b strings.Builder
	for _, x := range d.disks() {
		if x.Source == "" {
			continue
		}
		prefix := x.Prefix
		if clean, err := checks.CleanPrefix(prefix); err == nil {
			prefix = clean
		}
		fmt.Fprintf(&b, "%q %q\n", l.settle(x.Source), prefix)
	}
	return b.String()
}

func (d *moreDisks) fields() []*kit.Field {
	var list []*kit.Field
	for _, r := range d.rows {
		list = append(list, r.disk.path, r.prefix)
	}
	return list
}

func (d *moreDisks) lock(on bool) {
	kit.SetEnabled(d.add, !on)
	for _, r := range d.rows {
		r.disk.lock(on)
		kit.SetEnabled(r.remove, !on)
		kit.SetEnabled(r.prefix, !on)
	}
}

// offer shows the disks that are mounted and not chosen yet, and tells whether heights may have changed.
func (d *moreDisks) offer(all []Offer) bool {
	d.offers = all
	changed := false
	for _, r := range d.rows {
		used := []string{d.view.setup.from.get()}
		for _, o := range d.rows {
			if o != r {
				used = append(used, o.disk.get())
			}
		}
		changed = r.disk.offer(slices.DeleteFunc(slices.Clone(all), func(o Offer) bool { return slices.Contains(used, o.Path) })) || changed
	}
	return changed
}

// elements adds what can be used, by the names of the trace.
func (d *moreDisks) elements(m map[string]fyne.CanvasObject) {
	m["add-disk"] = d.add
	for i, r := range d.rows {
		n := fmt.Sprint(i + 2)
		m["disk-"+n], m["disk-choose-"+n], m["folder-"+n], m["remove-"+n] = r.disk.path, r.disk.choose, r.prefix, r.remove
	}
}

func (w *Window) several() bool {
	return len(w.views[checks.Before].setup.disks.rows) > 0
}

// What is said where something works on one disk at a time.
const (
	oneDiskFix   = "Names are fixed one disk at a time: take the other disks out of the set-up, check again, and open “Fix names”."
	oneDiskSplit = "Disks are divided among boxes one at a time: take the other disks out of the set-up first."
	oneDiskList  = "A copy list names files of one disk, and there are several. Leave the copy list empty, or check one disk at a time."
)

// conflict says what of the set-up does not go together; empty if all does.
func (v *view) conflict() string {
	if v.setup.disks != nil && len(v.setup.disks.rows) > 0 && input.Path(v.setup.options.list.Text) != "" {
		return oneDiskList
	}
	return ""
}

// showConflict says at the options what does not go together, or that it does again.
func (v *view) showConflict() {
	o := v.setup.options
	if o == nil || v.setup.disks == nil {
		return
	}
	if text := v.conflict(); text != "" || o.problem.Text == oneDiskList {
		o.say(text)
	}
}

// carry takes the places of a stage over to another. Of several disks the stage after copying looks at one
// at a time, and which one is for itself to say.
func (w *Window) carry(v, o *view) {
	o.setup.to.put(v.setup.to.get())
	if w.several() && (v.stage == checks.After || w.diskOf(o) > 0) {
		return
	}
	o.setup.from.put(v.setup.from.get())
	o.setup.options.prefix.SetText(v.setup.options.prefix.Text)
	o.setup.options.list.SetText(v.setup.options.list.Text)
}

// allDisks are all disks of the stage before copying, the source first.
func (w *Window) allDisks() []checks.Disk {
	s := w.views[checks.Before].setup
	return append([]checks.Disk{{Source: s.from.get(), Prefix: input.Path(s.options.prefix.Text)}}, s.disks.disks()...)
}

// diskOf is which of all disks a stage looks at; -1 if none.
func (w *Window) diskOf(v *view) int {
	here := checks.Disk{Source: v.setup.from.get(), Prefix: input.Path(v.setup.options.prefix.Text)}
	return slices.Index(w.allDisks(), here)
}

// diskChoice offers the disks of one job one at a time, for the stage after copying.
type diskChoice struct {
	box  *fyne.Container
	flow *fyne.Container
}

func newDiskChoice() *diskChoice {
	c := &diskChoice{flow: kit.NewFlow(8)}
	c.box = kit.NewInset(12, 4, c.flow)
	c.box.Hide()
	return c
}

// offerOne shows which disk the stage after copying looks at, where several were copied.
func (w *Window) offerOne(v *view) {
	c := v.setup.one
	if c == nil {
		return
	}
	all, at := w.allDisks(), w.diskOf(v)
	kit.SetVisible(c.box, len(all) > 1)
	c.flow.Objects = nil
	if len(all) < 2 {
		return
	}
	c.flow.Objects = append(c.flow.Objects, kit.NewSized(0, 30, kit.NewText("One disk at a time:", kit.SizeSmall+1, kit.ColMuted)))
	for i, x := range all {
		b := kit.NewButton(kit.Toggle, "", fmt.Sprintf("Disk %d, %s", i+1, names.QuoteShort(filepath.Base(x.Source))), func() {
			v.setup.options.prefix.SetText(input.ShowPath(x.Prefix))
			v.setup.from.put(x.Source)
			w.offerOne(v)
			w.win.Canvas().Focus(v.head.check)
		}).WithHeight(30)
		b.On = i == at
		if w.running == v.stage {
			b.Disable()
		}
		c.flow.Objects = append(c.flow.Objects, b)
	}
	c.flow.Refresh()
}

// onDisk writes a path of a report as people read it: with its disk, where there are several.
func onDisk(rep *checks.Report, source int, path string) string {
	if s := names.Quote(path); rep == nil || len(rep.Sources) < 2 {
		return s
	} else {
		return diskWord(source) + ": " + s
	}
}

func diskWord(source int) string { return fmt.Sprintf("disk %d", source+1) }

// folderOf is the folder that the path of a finding is relative to.
func folderOf(rep *checks.Report, f *checks.Finding) string {
	if f.Source > 0 && f.Source < len(rep.Sources) {
		return rep.Sources[f.Source].Source
	}
	return rep.Source.Path
}

// intoFolders says which disk goes into which folder on the share.
func intoFolders(disks []checks.Disk) string {
	var list []string
	for i, d := range disks {
		to := "the share itself"
		if d.Prefix != "" {
			to = names.Quote(d.Prefix)
		}
		list = append(list, diskWord(i)+" into "+to)
	}
	return strings.Join(list, ", ")
}

// perDisk counts the findings of a check on each disk, notes aside; nil where there is one disk.
func perDisk(rep *checks.Report, r *checks.Result) []int64 {
	if rep == nil || len(rep.Sources) < 2 || r == nil {
		return nil
	}
	n := make([]int64, len(rep.Sources))
	for i := range r.Findings {
		if f := &r.Findings[i]; f.Path != "" && f.Level > checks.Note && f.Source < len(n) {
			n[f.Source]++
		}
	}
	return n
}

// whichDisks names the disks on which a check found something: "disk 2", "disks 1 and 3".
func whichDisks(n []int64) string {
	var on []string
	for i, k := range n {
		if k > 0 {
			on = append(on, fmt.Sprint(i+1))
		}
	}
	switch len(on) {
	case 0:
		return ""
	case 1:
		return "disk " + on[0]
	}
	return "disks " + strings.Join(on[:len(on)-1], ", ") + " and " + on[len(on)-1]
}

// showDisks brings in line what the set-up says of several disks.
func (w *Window) showDisks(v *view) {
	if w.views[checks.Before] == nil {
		return // the window is being built
	}
	w.offerOne(v)
	if d := v.setup.disks; d != nil {
		caption, folder := "Source", oneFolder
		if len(d.rows) > 0 {
			caption, folder = "Source, disk 1", folderFor(1)
		}
		v.setup.from.caption.Set(caption, "")
		v.setup.options.folder.Set(folder, "")
		v.showConflict()
	}
}

// diskPickers are where further disks are chosen.
func (v *view) diskPickers() []*picker {
	var list []*picker
	if v.setup.disks != nil {
		for _, r := range v.setup.disks.rows {
			list = append(list, r.disk)
		}
	}
	return list
}

// wrongDisk reports whether something is wrong with a further disk.
func (v *view) wrongDisk() bool {
	return v.setup.disks != nil && slices.ContainsFunc(v.setup.disks.rows, func(r *diskRow) bool { return r.disk.wrong() || r.fault.Visible() })
}

// blameDisk says beside a further disk what is wrong with it; false where it is not about one.
func (v *view) blameDisk(w *Window, job *checks.JobError, text string) bool {
	d := v.setup.disks
	if d == nil || job.Disk < 1 || job.Disk > len(d.rows) {
		return false
	}
	r := d.rows[job.Disk-1]
	at := r.disk.path
	if job.Field == checks.FieldPrefix {
		at = r.prefix
		r.fault.Say(text)
	} else {
		r.disk.say("", text)
	}
	if w.view() == v && w.at == pageChecks && w.sheet == nil {
		v.relayout()
		w.win.Canvas().Focus(at)
	}
	return true
}

// learnDisks takes over where the paths of further disks lead.
func (l links) learnDisks(v *view, rep *checks.Report) {
	for i, x := range v.diskPickers() {
		if i+1 < len(rep.Sources) {
			l.learn(x.get(), rep.Sources[i+1].Source)
		}
	}
}
