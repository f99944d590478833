package fix

import (
	"cmp"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"loadline/checks"
	"loadline/checks/internal/disk"
	"loadline/checks/names"
	"loadline/checks/share"
	"loadline/checks/walk"
)

// A survey is what a plan must know of the tree beside the report. It is made in a walk, by several workers
// at a time.
type survey struct {
	keep    func(*walk.Dir) bool // whether the entries of a folder will probably be wanted
	mu      sync.Mutex
	folders map[string]*folder
}

// visit notes one folder.
func (s *survey) visit(d *walk.Dir) {
	f := &folder{path: strings.Clone(d.Path), device: d.Device}
	keep := s.keep(d)
	for i := range d.Entries {
		e := &d.Entries[i]
		f.marks.See(e.Name, e.Kind == walk.Folder)
		if hasPath(e.Kind) {
			f.longest = max(f.longest, len(e.Name))
		}
		if !keep || d.Path == "" && Ours(e.Name) {
			continue
		}
		f.entries = append(f.entries, &entry{
			name: e.Name, to: e.Name, kind: e.Kind, size: e.Size, mount: e.MountRoot,
			id: identity{Kind: e.Kind, Device: d.Device, Inode: e.Inode, Size: e.Size, Sec: e.Sec, Nsec: e.Nsec},
		})
	}
	f.order()
	s.mu.Lock()
	defer s.mu.Unlock()
	s.folders[f.path] = f
}

// A census counts what is on the source, as the checks did, but for what Loadline itself keeps: a list may
// be on its way there.
type census struct {
	totals  checks.Totals
	flagged int64 // entries that the report flags
}

// readSource walks over the source, and makes sure that it is as the report says.
func (p *Plan) readSource(ctx context.Context, progress *walk.Progress) error {
	o := walk.Options{Progress: progress}
	counts := make([]census, o.Resolve(p.Source))
	s := &survey{folders: p.folders, keep: func(d *walk.Dir) bool { return p.found.folders[d.Path] }}
	o.Visit = func(d *walk.Dir) {
		counts[d.Worker].count(d, p.found)
		s.visit(d)
	}
	if err := walk.Walk(ctx, p.Source, o); err != nil {
		return fmt.Errorf("cannot read the source: %w", err)
	}
	return p.fresh(counts)
}

// takeFlags gives the entries of all folders what the report says of their names. Entries that no name
// needs are forgotten; those that are needed and were not kept are read.
func (p *Plan) takeFlags(ctx context.Context) error {
	for path, f := range p.folders {
		f.clutter = path != "" && slices.ContainsFunc(p.found.flagsOf(path), func(g flag) bool { return g.Rule.ID == ruleClutter })
		if !p.found.folders[path] {
			f.entries = nil
			continue
		}
		if err := ctx.Err(); err != nil {
			return err
		}
		if err := p.load(f); err != nil {
			return fmt.Errorf("cannot read the source: %w", disk.WithoutPath(err))
		}
		for _, e := range f.entries {
			e.flags = p.found.names(names.Join(path, e.name))
		}
	}
	return nil
}

// count adds the entries of a folder.
func (c *census) count(d *walk.Dir, found *findings) {
	_, flagged := found.folders[d.Path]
	for i := range d.Entries {
		e := &d.Entries[i]
		if flagged && found.seen(d.Join(e.Name)) {
			c.flagged++
		}
		switch e.Kind {
		case walk.File:
			if !names.Own(e.Name) {
				c.totals.Files++
			}
		case walk.Folder:
			c.totals.Folders++
		case walk.Link:
			c.totals.Links++
		case walk.Other:
			c.totals.Others++
		}
	}
}

// fresh reports by ErrStale if what is on the source is not what the report counted and flagged.
func (p *Plan) fresh(counts []census) error {
	var now census
	for i := range counts {
		c := &counts[i]
		now.flagged += c.flagged
		now.totals.Files += c.totals.Files
		now.totals.Folders += c.totals.Folders
		now.totals.Links += c.totals.Links
		now.totals.Others += c.totals.Others
	}
	then := p.report.Totals
	then.Files, then.Bytes = then.Files-p.found.own, 0
	if now.totals != then || now.flagged != p.found.here {
		return ErrStale
	}
	return nil
}

// hasPath reports whether the length of its path matters of a kind: a folder's is covered by what is
// in it, and special files are not copied.
func hasPath(k walk.Kind) bool { return k == walk.File || k == walk.Link }

func (f *folder) order() {
	slices.SortFunc(f.entries, func(a, b *entry) int { return cmp.Compare(a.name, b.name) })
}

// leave lists what the report flags and no rename cures. What is in clutter is covered by the clutter itself.
func (p *Plan) leave(ctx context.Context) error {
	for i := 0; i < len(p.found.all); {
		here := p.found.flagsOf(p.found.all[i].Path)
		i += len(here)
		if err := ctx.Err(); err != nil {
			return err
		}
		l := Left{Path: here[0].Path}
		copied := true
		for _, f := range here {
			switch f.treat {
			case treatLeave:
				copied = false
			case treatRespelled:
				copied = false
				f.Finding = &checks.Finding{Rule: f.Rule, Detail: whyRespelled, Remedy: fixRespelled, Size: f.Size}
			case treatAdvise:
			default:
				continue
			}
			l.Rules = append(l.Rules, f.Rule.ID)
			l.Why, l.Size = joined(l.Why, leads[f.Rule.ID]+f.Detail), f.Size
			l.Fix = cmp.Or(l.Fix, f.Fix())
		}
		dir, _ := names.Split(l.Path)
		if len(l.Rules) == 0 || p.belowClutter(dir) {
			continue
		}
		if !copied {
			l.Offers = []Offer{OfferSkip}
		}
		card := p.folders[dir].cardOf(p.folders[l.Path])
		if slices.ContainsFunc(l.Rules, func(r string) bool { return strings.HasPrefix(r, "link-") }) {
			p.leaveLink(ctx, &l, card)
		}
		if card != nil && card.Bundle && !copied {
			l.Why = joined(card.why(), l.Why)
			l.belongTo(card)
		}
		p.Left = append(p.Left, l)
	}
	return nil
}

// leads make a sentence of details that are the system's words only.
var leads = map[string]string{ruleUnlisted: "the folder can't be listed: ", "read-error": "the disk reports an error: "}

func (p *Plan) belowClutter(dir string) bool {
	f := p.folders[dir]
	return f != nil && f.clutter
}

// leaveLink completes what is said of a link: whether a copy of what it points to could take its place.
// Nothing takes its place in a bundle.
func (p *Plan) leaveLink(ctx context.Context, l *Left, card *Card) {
	target, err := p.root.Readlink(l.Path)
	if err != nil || card != nil && card.Bundle {
		return
	}
	l.Target = target
	switch endOf(ctx, p.Source, l.Path) {
	case endsInFile:
		l.Offers = append(l.Offers, OfferReplace)
		l.Why += ", a file"
	case endsInFolder:
		l.Offers = append(l.Offers, OfferReplace)
		l.Why += ", a folder"
	case endsAbove:
		l.Why += ", a folder that the link itself is in: a copy would have to contain itself"
	}
}

// What a link leads to.
const (
	endsNowhere = iota // or in something that cannot be copied
	endsInFile
	endsInFolder
	endsAbove // in a folder above the link
)

// endOf follows a link wherever it leads, which may be a share whose server is gone.
func endOf(ctx context.Context, source, link string) int {
	end, err := share.Guard(ctx, 0, func() (int, error) {
		path := source + "/" + link
		info, err := os.Stat(path)
		switch {
		case err != nil:
			return endsNowhere, err
		case info.Mode().IsRegular():
			return endsInFile, nil
		case !info.IsDir():
			return endsNowhere, nil
		}
		for dir := filepath.Dir(path); ; dir = filepath.Dir(dir) {
			if above, err := os.Stat(dir); err == nil && os.SameFile(above, info) {
				return endsAbove, nil
			}
			if dir == filepath.Dir(dir) {
				return endsInFolder, nil
			}
		}
	})
	if err != nil {
		return endsNowhere
	}
	return end
}

// load reads the names of a folder once more, where the walk did not keep them.
func (p *Plan) load(f *folder) error {
	if f.entries != nil {
		return nil
	}
	list, err := namesIn(openIn(p.root, cmp.Or(f.path, ".")))
	if err != nil {
		return err
	}
	for _, name := range list {
		if f.path == "" && Ours(name) {
			continue
		}
		info, err := p.root.Lstat(names.Join(f.path, name))
		if err != nil {
			return err
		}
		e := &entry{name: name, to: name, id: identify(info)}
		e.kind, e.size = e.id.Kind, e.id.Size
		e.mount = e.kind == walk.Folder && e.id.Device != 0 && f.device != 0 && e.id.Device != f.device
		f.entries = append(f.entries, e)
	}
	f.order()
	return nil
}
