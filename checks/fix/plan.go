// Package fix plans renames that cure the names that a report flags, applies a plan so that it can
// always be taken back, and writes the lists of what to copy and what to skip. What is wrong with a
// source, the report says; a plan judges nothing but the names that it proposes. It only reads;
// nothing on the source changes before Apply.
package fix

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"

	"loadline/checks"
	"loadline/checks/internal/disk"
	"loadline/checks/names"
	"loadline/checks/walk"
)

// Wishes are what a person may want of a plan beyond what the report demands.
type Wishes struct {
	Portable bool // cure names outside the POSIX portable filename character set too
}

// A Step is one name that is to change.
type Step struct {
	// From is the path as it is now, To as it will be when the whole plan is applied, folders
	// above included. Relative to the source, "/" between parts, raw bytes.
	From, To string
	Rules    []string // what the report flags the old name for; empty if it only follows its family
	Why      string   // for people: what the report says, or that it stays with its family
	// Family is the From of the first step of the files that are renamed together; empty if
	// this one is alone.
	Family string
	// Choices are other ways to read a name that is not UTF-8, the likeliest first; give the
	// Name of one to Edit.
	Choices []Choice

	folder *folder
	entry  *entry
}

// Name returns the last part of To.
func (s *Step) Name() string { return s.entry.to }

// Changes reports whether the step still renames anything: not after Leave.
func (s *Step) Changes() bool { return s.entry.to != s.entry.name }

// Offer is what can be done instead of a rename.
type Offer uint8

// The offers.
const (
	OfferSkip    Offer = iota // put it on the skip list
	OfferArchive              // put the whole card into one file: see Plan.Archive
	OfferReplace              // replace the link by a copy of what it points to: see Plan.Replace
)

// A Left is something flagged that no rename cures, or that must not be renamed.
type Left struct {
	Path   string // relative to the source
	Rules  []string
	Why    string // for people: what the report says, and why it keeps its name
	Fix    string // what the person can do about it; empty where the offers are all
	Offers []Offer
	Card   *Card  // the card or bundle that it belongs to, if that is the reason
	Target string // of a link: what it points to, raw
	Size   int64  // bytes of a file
}

// A Plan is what would be renamed and what is left. It is not safe for concurrent use.
type Plan struct {
	Source string  // absolute, links resolved
	Steps  []Step  // by From; Edit may add steps of the same family at the end
	Left   []Left  // by Path
	Cards  []*Card // found on the source, whether or not anything in them is flagged
	// Unsure says why it is not known which names the share refuses; empty where it was tried, or
	// where there is none.
	Unsure string

	report  *checks.Report
	limits  limits
	found   *findings
	folders map[string]*folder
	top     *folder
	byFrom  map[string]int // steps by From, as far as Find has come
	skipped map[string]bool
	copies  map[string]*Copy // by the path of the link or the card
	root    *os.Root         // only while the plan is made
}

// A folder of the source.
type folder struct {
	path    string // as it is now
	name    string
	to      string // as it will be
	parent  *folder
	kids    []*folder
	device  uint64
	longest int // bytes of the longest final name of what is not a folder in it; 0 if none
	tail    int // bytes of the longest final path below it, relative to it; 0 if none
	marks   names.Marks
	card    *Card            // it is in this card or bundle: nothing in it is renamed
	fixed   map[string]*Card // folders in it whose names a card structure fixes
	clutter bool             // it is system clutter, or is in some: nothing in it is renamed

	// entries are sorted by name. They are kept only where something in the folder changes.
	entries []*entry
	used    map[string]int // folded final names, how often; made by the first Edit
}

type entry struct {
	name, to string
	kind     walk.Kind
	size     int64
	id       identity
	mount    bool // another file system is mounted on it
	pinned   bool // a new name would make a path too long
	flags    []flag
	long     []string // rules on paths that made it shorter
	most     int      // longest name that its path leaves room for; 0 any
	family   *family
	step     bool
}

// frozen reports why an entry must keep its name.
func (f *folder) frozen(e *entry) (why string) {
	switch {
	case f.card != nil:
		return f.card.why()
	case f.clutter:
		return "it is in system clutter, which need not be copied"
	case e.mount:
		return "another disk is mounted on it: unmount that first"
	case e.pinned:
		return "a better name would make a path too long: move it to a folder further up first"
	}
	if c := f.fixed[e.name]; c != nil {
		return c.why()
	}
	return ""
}

// base returns how many bytes the final path of the folder has.
func (f *folder) base() int {
	n := 0
	for ; f.parent != nil; f = f.parent {
		n += len(f.to)
		if f.parent.parent != nil {
			n++
		}
	}
	return n
}

// finalPath returns the path as it will be.
func (f *folder) finalPath() string {
	if f.parent == nil {
		return ""
	}
	return names.Join(f.parent.finalPath(), f.to)
}

func (f *folder) find(name string) *entry {
	i, ok := slices.BinarySearchFunc(f.entries, name, func(e *entry, s string) int { return cmp.Compare(e.name, s) })
	if !ok {
		return nil
	}
	return f.entries[i]
}

// NewPlan proposes a name for everything that the report flags and a rename can cure. The report is
// one of before copying, from a run of at least Checks. Its findings and states decide; the source is
// walked over once, for the names beside those that are flagged. Nothing changes. The same report and
// tree give the same plan. Progress may be nil. Memory grows with folders, with findings and with
// the names in folders where something changes, not with files.
func NewPlan(ctx context.Context, rep *checks.Report, w Wishes, progress *walk.Progress) (*Plan, error) {
	return newPlan(ctx, rep, w, func(p *Plan) error { return p.readSource(ctx, progress) })
}

// Run runs those of a list of checks that a plan asks for, and makes the plan from their report. The
// source is walked over once for both. Where the plan cannot be made the report is there all the same,
// as far as the checks came.
func Run(ctx context.Context, job checks.Job, list []*checks.Check, w Wishes, watch func(checks.Event)) (*Plan, *checks.Report, error) {
	list = Checks(list)
	s := &survey{folders: map[string]*folder{}, keep: w.mayCure}
	at := len(list) - 1
	for at >= 0 && list[at].Visit == nil {
		at--
	}
	if at < 0 {
		return nil, nil, fmt.Errorf("%w: no check looks at the source", ErrReport)
	}
	last := list[at] // it sees each folder after the others; what it needs, and who needs it, stays as it is
	with := *last
	with.Visit = func(pass *checks.Pass, d *walk.Dir) {
		last.Visit(pass, d)
		s.visit(d)
	}
	list[at] = &with
	rep, err := checks.Run(ctx, job, list, watch)
	if rep != nil && at < len(rep.Checks) {
		rep.Checks[at].Check = last
	}
	if err != nil {
		return nil, rep, err
	}
	p, err := newPlan(ctx, rep, w, func(p *Plan) error {
		p.folders = s.folders
		return nil
	})
	return p, rep, err
}

// mayCure guesses whether a folder has names that a plan will change: then its entries are worth keeping
// while it is at hand. What it misses is read once more.
func (w Wishes) mayCure(d *walk.Dir) bool {
	traits := names.Traits(curable)
	if w.Portable {
		traits |= names.NotPortable
	}
	return slices.ContainsFunc(d.Entries, func(e walk.Entry) bool { return names.Look(e.Name).Any(traits) })
}

// newPlan makes a plan; readFolders finds out which folders there are.
func newPlan(ctx context.Context, rep *checks.Report, w Wishes, readFolders func(*Plan) error) (*Plan, error) {
	p := &Plan{
		Source: rep.Job.Source, Unsure: unsure(rep), report: rep, limits: newLimits(rep, w), folders: map[string]*folder{},
		skipped: map[string]bool{}, copies: map[string]*Copy{},
	}
	if err := usable(rep); err != nil {
		return nil, err
	}
	if err := p.limits.check(); err != nil {
		return nil, err
	}
	root, err := os.OpenRoot(p.Source)
	if err != nil {
		return nil, fmt.Errorf("cannot open the folder %s: %w", names.Quote(p.Source), disk.WithoutPath(err))
	}
	defer root.Close()
	p.root = root
	defer func() { p.root = nil }()
	p.limits.respells = respells(root)
	p.found = newFindings(rep, &p.limits)
	if err := readFolders(p); err != nil {
		return nil, err
	}
	if p.folders[""] == nil {
		return nil, fmt.Errorf("cannot read the source: %w", os.ErrNotExist)
	}
	if err := p.takeFlags(ctx); err != nil {
		return nil, err
	}
	p.linkFolders()
	p.findCards()
	if err := p.findArchives(ctx); err != nil {
		return nil, err
	}
	if err := p.leave(ctx); err != nil {
		return nil, err
	}
	for _, f := range p.sorted() {
		if f.entries != nil {
			p.resolve(f)
		}
	}
	if err := p.fitPaths(ctx); err != nil {
		return nil, err
	}
	p.conclude()
	return p, nil
}

// unsure says why it is not known which names the share of a report refuses.
func unsure(rep *checks.Report) string {
	if rep.Job.Share == "" {
		return ""
	}
	first := ""
	for i := range rep.Checks {
		r := &rep.Checks[i]
		if r.Check == nil || !r.Check.NeedsShare || r.Reason == "" {
			continue
		}
		first = cmp.Or(first, r.Reason)
		if acts(r.Check) {
			return "It is not known which names the share refuses. " + first
		}
	}
	return ""
}

// linkFolders links folders to those above them.
func (p *Plan) linkFolders() {
	for path, f := range p.folders {
		if path == "" {
			p.top = f
			continue
		}
		dir, name := names.Split(path)
		f.name, f.to = name, name
		f.parent = p.folders[dir]
	}
	for _, f := range p.sorted() {
		if f.parent != nil {
			f.parent.kids = append(f.parent.kids, f)
			f.clutter = f.clutter || f.parent.clutter
		}
	}
	p.measure(p.top)
}

// sorted returns all folders by path, so that a folder stands before what is in it.
func (p *Plan) sorted() []*folder {
	return slices.SortedFunc(maps.Values(p.folders), func(a, b *folder) int { return cmp.Compare(a.path, b.path) })
}

// measure sets the tails of a folder and all below.
func (p *Plan) measure(f *folder) {
	for _, k := range f.kids {
		p.measure(k)
	}
	f.remeasure()
}

func (f *folder) remeasure() {
	f.tail = f.longest
	for _, k := range f.kids {
		if k.tail > 0 {
			f.tail = max(f.tail, len(k.to)+1+k.tail)
		}
	}
}

// conclude makes the steps and what is left, and forgets what is needed no more.
func (p *Plan) conclude() {
	for _, f := range p.sorted() {
		changes := false
		for _, e := range f.entries {
			if why := f.frozen(e); why != "" && len(e.rules()) > 0 && !f.clutter {
				p.Left = append(p.Left, p.leftFrozen(f, e, why))
			}
			if e.to != e.name {
				changes = true
				p.addStep(f, e)
			}
		}
		if !changes {
			f.entries = nil
		}
	}
	p.retarget()
	slices.SortFunc(p.Steps, func(a, b Step) int { return cmp.Compare(a.From, b.From) })
	p.nameFamilies()
	slices.SortFunc(p.Left, func(a, b Left) int {
		return cmp.Or(cmp.Compare(a.Path, b.Path), slices.Compare(a.Rules, b.Rules))
	})
}

func (p *Plan) leftFrozen(f *folder, e *entry, why string) Left {
	left := Left{Path: names.Join(f.path, e.name), Rules: e.rules(), Why: joined(why, e.says()), Offers: []Offer{OfferSkip}}
	if e.kind == walk.File {
		left.Size = e.size
	}
	if card := cmp.Or(f.card, f.fixed[e.name]); card != nil {
		left.belongTo(card)
	}
	return left
}

// rules returns what a name is flagged for, or made shorter for.
func (e *entry) rules() []string {
	var out []string
	for _, f := range e.flags {
		out = append(out, f.Rule.ID)
	}
	return append(out, e.long...)
}

// says tells for people what the report says of a name.
func (e *entry) says() string {
	var all []string
	for _, f := range e.flags {
		all = append(all, f.Detail)
	}
	return strings.Join(all, "; ")
}

func joined(a, b string) string {
	if a == "" || b == "" {
		return a + b
	}
	return a + "; " + b
}

// belongTo says that something left belongs to a card, and what follows from that.
func (l *Left) belongTo(c *Card) {
	l.Card = c
	switch {
	case c.Archived:
		dir, _ := names.Split(c.Path)
		l.Why += "; the whole is in the archive " + names.Quote(names.Join(dir, c.File)) + ", which is copied in its place"
	case c.File != "":
		l.Offers = append(l.Offers, OfferArchive)
	}
}

// Skip puts a path, and all below it, on the skip list; on says whether to, or no longer to.
func (p *Plan) Skip(path string, on bool) {
	if on {
		p.skipped[path] = true
	} else {
		delete(p.skipped, path)
	}
}

func (p *Plan) addStep(f *folder, e *entry) {
	e.step = true
	p.Steps = append(p.Steps, Step{
		From: names.Join(f.path, e.name), Rules: e.rules(),
		Why: p.why(f, e), Choices: p.limits.choices(e.name), folder: f, entry: e,
	})
}

// why says for people what a step is good for.
func (p *Plan) why(f *folder, e *entry) string {
	why := e.says()
	if len(e.long) > 0 {
		path := "paths in it are too long"
		for _, g := range p.found.flagsOf(names.Join(f.path, e.name)) {
			if g.treat == treatShorten {
				path = g.Detail
			}
		}
		why = joined(why, path)
	}
	if why == "" {
		return "stays with the files of the same name"
	}
	return why
}

// retarget computes where every step leads.
func (p *Plan) retarget() {
	finals := map[*folder]string{}
	for i := range p.Steps {
		s := &p.Steps[i]
		dir, ok := finals[s.folder]
		if !ok {
			dir = s.folder.finalPath()
			finals[s.folder] = dir
		}
		s.To = names.Join(dir, s.entry.to)
	}
}

// nameFamilies marks the steps that belong together.
func (p *Plan) nameFamilies() {
	first := map[*family]int{}
	for i := range p.Steps {
		s := &p.Steps[i]
		if len(s.entry.family.members) < 2 {
			continue
		}
		if j, ok := first[s.entry.family]; ok {
			p.Steps[j].Family, s.Family = p.Steps[j].From, p.Steps[j].From
		} else {
			first[s.entry.family] = i
		}
	}
}

// Final returns what a path of the source is called when the plan is applied.
func (p *Plan) Final(path string) string {
	from, to := "", ""
	for name := range strings.SplitSeq(path, "/") {
		from = names.Join(from, name)
		if s, ok := p.find(from); ok && p.Steps[s].From == from {
			name = p.Steps[s].Name()
		}
		to = names.Join(to, name)
	}
	return to
}

// find returns the step that cures a path: its own, else that of the nearest folder above it.
// False if there is none.
func (p *Plan) find(path string) (step int, ok bool) {
	if p.byFrom == nil {
		p.byFrom = map[string]int{}
	}
	for i := len(p.byFrom); i < len(p.Steps); i++ {
		p.byFrom[p.Steps[i].From] = i
	}
	for path != "" {
		if i, ok := p.byFrom[path]; ok && p.Steps[i].Changes() {
			return i, true
		}
		path, _ = names.Split(path)
	}
	return 0, false
}
