package fix

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"loadline/checks/names"
)

// A Copy is something that a plan makes besides changing names: a copy in the place of a link, or
// the archive of a card beside it.
type Copy struct {
	Path    string // of the link, or of the card
	To      string // of what is made, before any rename
	Archive bool
	Files   int64 // what goes in, known after Estimate
	Bytes   int64

	target string // of a link
}

// Replace plans to put a copy of what a link points to in the place of the link; on says whether
// to, or no longer to. Only links whose Left has OfferReplace can be replaced. Links inside of what
// is copied are followed too.
func (p *Plan) Replace(path string, on bool) error {
	if !on {
		delete(p.copies, path)
		return nil
	}
	for i := range p.Left {
		if l := &p.Left[i]; l.Path == path && slices.Contains(l.Offers, OfferReplace) {
			if p.renames(path) {
				return errors.New("this plan renames the link: apply that first, then replace it")
			}
			for _, m := range p.copies {
				if m.Archive && below(path, m.Path) {
					return fmt.Errorf("the link is in %s, which this plan archives: replace the link first, then archive", names.Quote(m.Path))
				}
			}
			p.copies[path] = &Copy{Path: path, To: path, target: l.Target}
			return nil
		}
	}
	return fmt.Errorf("%s is not a link to a file or folder that could be copied", names.Quote(path))
}

// Archive plans to put a card into one file beside it; on says whether to, or no longer to. The
// card stays as it is. Once the archive is there, lists have it in place of the card.
func (p *Plan) Archive(path string, on bool) error {
	if !on {
		delete(p.copies, path)
		return nil
	}
	for _, c := range p.Cards {
		if c.Path != path {
			continue
		}
		if c.File == "" {
			return fmt.Errorf("%s is the source itself: there is no place beside it for an archive", names.Quote(path))
		}
		if c.Archived {
			return fmt.Errorf("%s is already in the archive %s", names.Quote(path), names.Quote(c.File))
		}
		dir, _ := names.Split(c.Path)
		if room, _ := p.limits.pathRoom(); len(names.Join(dir, c.File)) > room {
			return fmt.Errorf("the path of the archive would be %d bytes, %d fit: move %s to a folder further up first", len(names.Join(dir, c.File)), room, names.Quote(path))
		}
		// Its archive is found by the name of the card, and lists have it for what the card holds now.
		if p.renames(path) {
			return fmt.Errorf("this plan renames %s: apply that first, then archive it", names.Quote(path))
		}
		for _, m := range p.copies {
			if below(m.Path, path) {
				return fmt.Errorf("this plan replaces the link %s in it: apply that first, then archive", names.Quote(m.Path))
			}
		}
		for i := range p.Steps {
			if s := &p.Steps[i]; s.Changes() && s.folder.path == dir && names.Fold(s.entry.to) == names.Fold(c.File) {
				return fmt.Errorf("this plan gives %s the name of the archive: apply that first, then archive", names.Quote(s.From))
			}
		}
		p.copies[path] = &Copy{Path: path, To: names.Join(dir, c.File), Archive: true}
		return nil
	}
	return fmt.Errorf("%s is not a camera card, bundle or package that could be archived", names.Quote(path))
}

// renames reports whether the plan gives a path another last part.
func (p *Plan) renames(path string) bool {
	s, ok := p.find(path)
	return ok && p.Steps[s].From == path
}

func below(path, folder string) bool { return strings.HasPrefix(path, folder+"/") }

// Copies tells what Replace and Archive were asked for, copies first, each by path. They are made in
// that order: an archive that came to be in what a link points to would change what is copied.
func (p *Plan) Copies() []Copy {
	all := make([]Copy, 0, len(p.copies))
	for _, m := range p.copies {
		all = append(all, *m)
	}
	slices.SortFunc(all, func(a, b Copy) int {
		switch {
		case a.Archive == b.Archive:
			return strings.Compare(a.Path, b.Path)
		case a.Archive:
			return 1
		}
		return -1
	})
	return all
}

// An Estimate is what the copies of a plan need.
type Estimate struct {
	Copies []Copy
	Bytes  int64 // that they take on the disk, about
	Free   int64 // that the disk has
}

// Estimate looks through what would be copied, and counts. The error tells what cannot be copied, or
// that the disk has no room.
func (p *Plan) Estimate(ctx context.Context) (*Estimate, error) {
	e, err := open(p.Source, Options{})
	if err != nil {
		return nil, err
	}
	defer e.close()
	e.j = p.newJournal()
	e.index()
	for _, m := range e.j.moves {
		m.place = atOld
		if m.made == nil {
			continue
		}
		if err := e.measure(ctx, m); err != nil {
			return nil, err
		}
		key := names.Join(m.dir, m.from)
		p.copies[key].Files, p.copies[key].Bytes = m.made.Of.Files, m.made.Of.Bytes
	}
	w, err := e.estimate()
	w.Copies = p.Copies()
	return w, err
}
