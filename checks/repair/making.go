package repair

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"loadline/checks/names"
)

// A Making is something that a plan makes besides changing names: a copy in the place of a link, or
// the archive of a card beside it.
type Making struct {
	Path    string // of the link, or of the card
	To      string // of what is made, before any rename
	Archive bool
	Files   int64 // what goes in, known after Weigh
	Bytes   int64

	target string // of a link
}

// Replace plans to put a copy of what a link points to in the place of the link; on says whether
// to, or no longer to. Only links whose Left has OfferReplace can be replaced. Links inside of what
// is copied are followed too.
func (p *Plan) Replace(path string, on bool) error {
	if !on {
		delete(p.makings, path)
		return nil
	}
	for i := range p.Left {
		if l := &p.Left[i]; l.Path == path && slices.Contains(l.Offers, OfferReplace) {
			if s, ok := p.Find(path); ok && p.Steps[s].From == path {
				return errors.New("the link gets a new name in this plan: apply that first, then replace it")
			}
			p.makings[path] = &Making{Path: path, To: path, target: l.Target}
			return nil
		}
	}
	return fmt.Errorf("%s is no link to a file or folder that could be copied", names.Quote(path))
}

// Archive plans to put a card into one file beside it; on says whether to, or no longer to. The
// card stays as it is. Once the archive is there, lists have it in place of the card.
func (p *Plan) Archive(path string, on bool) error {
	if !on {
		delete(p.makings, path)
		return nil
	}
	for _, c := range p.Cards {
		if c.Path != path {
			continue
		}
		if c.File == "" {
			return fmt.Errorf("%s is the source itself: its archive would have no place on the source", names.Quote(path))
		}
		if c.Archived {
			return fmt.Errorf("%s is in the archive %s already", names.Quote(path), names.Quote(c.File))
		}
		dir, _ := parent(c.Path)
		if room, _ := p.Limits.room(); len(join(dir, c.File)) > room {
			return fmt.Errorf("the path of the archive would be %d bytes, %d fit: move %s up by hand first", len(join(dir, c.File)), room, names.Quote(path))
		}
		p.makings[path] = &Making{Path: path, To: join(dir, c.File), Archive: true}
		return nil
	}
	return fmt.Errorf("%s is no camera card or package that could be archived", names.Quote(path))
}

// Makings tells what Replace and Archive were asked for, by path.
func (p *Plan) Makings() []Making {
	all := make([]Making, 0, len(p.makings))
	for _, m := range p.makings {
		all = append(all, *m)
	}
	slices.SortFunc(all, func(a, b Making) int { return strings.Compare(a.Path, b.Path) })
	return all
}

// A Weight is what the makings of a plan need.
type Weight struct {
	Makings []Making
	Bytes   int64 // that they take on the disk, about
	Free    int64 // that the disk has
}

// Weigh looks through what would be copied, and counts. The error tells what cannot be copied, or
// that the disk has no room.
func (p *Plan) Weigh(ctx context.Context) (*Weight, error) {
	e, err := open(p.Source, Options{})
	if err != nil {
		return nil, err
	}
	defer e.close()
	e.j = p.journal()
	e.index()
	for _, m := range e.j.moves {
		m.place = atOld
		if m.made == nil {
			continue
		}
		if err := e.weigh(ctx, m); err != nil {
			return nil, err
		}
		key := join(m.dir, m.from)
		p.makings[key].Files, p.makings[key].Bytes = m.made.Of.Files, m.made.Of.Bytes
	}
	w, err := e.room()
	w.Makings = p.Makings()
	return w, err
}
