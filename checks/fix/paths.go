package fix

import (
	"cmp"
	"context"
	"fmt"
	"slices"

	"loadline/checks/internal/disk"
	"loadline/checks/names"
	"loadline/checks/walk"
)

// long is a file whose final path is too long.
type long struct {
	folder *folder
	entry  *entry
}

const rounds = 6 // of shortening; a number or a hash can add some bytes again, then one more helps

// fitPaths shortens the longest parts of paths that are too long, the tree seen as a whole: one
// shorter folder helps all that is in it.
func (p *Plan) fitPaths(ctx context.Context) error {
	room, rule := p.limits.pathRoom()
	var over []long
	for round := range rounds {
		if err := ctx.Err(); err != nil {
			return err
		}
		over = over[:0]
		p.measure(p.top)
		if err := p.collect(p.top, room, &over); err != nil {
			return fmt.Errorf("cannot read the source: %w", disk.WithoutPath(err))
		}
		if len(over) == 0 || round == rounds-1 {
			break
		}
		touched := map[*folder]bool{}
		for _, l := range over {
			if err := p.shorten(l, room, rule, touched); err != nil {
				return fmt.Errorf("cannot read the source: %w", disk.WithoutPath(err))
			}
		}
		if len(touched) == 0 {
			break
		}
		for f := range touched {
			p.resolve(f)
		}
	}
	for _, l := range over {
		if p.found.tooLong(names.Join(l.folder.path, l.entry.name)) {
			p.Left = append(p.Left, p.leftLong(l, room, rule))
		} else {
			p.pin(l)
		}
	}
	return nil
}

// pin takes back the longer names on the way of a path that was short enough before.
func (p *Plan) pin(l long) {
	hold := func(f *folder, e *entry) {
		if e == nil || len(e.to) <= len(e.name) || f.frozen(e) != "" {
			return
		}
		for _, m := range e.family.members {
			m.pinned = true
		}
		p.resolve(f)
	}
	hold(l.folder, l.entry)
	for f := l.folder; f.parent != nil; f = f.parent {
		hold(f.parent, f.parent.find(f.name))
	}
}

func (p *Plan) leftLong(l long, room int, rule string) Left {
	left := Left{
		Path: names.Join(l.folder.path, l.entry.name), Rules: []string{rule}, Offers: []Offer{OfferSkip},
		Why: fmt.Sprintf("its path is %d bytes, %d fit, and its parts can't be made short enough", pathLen(l), room),
		Fix: "Move it to a folder further up.",
	}
	if l.entry.kind == walk.File {
		left.Size = l.entry.size
	}
	if c := l.folder.card; c != nil {
		left.belongTo(c)
	}
	return left
}

func pathLen(l long) int {
	if l.folder.parent == nil {
		return len(l.entry.to)
	}
	return l.folder.base() + 1 + len(l.entry.to)
}

// collect finds what is too long in a folder and below, by path.
func (p *Plan) collect(f *folder, room int, over *[]long) error {
	base := 0
	if f.parent != nil {
		base = f.base() + 1
	}
	if f.tail > 0 && base+f.tail <= room {
		return nil
	}
	if f.longest > 0 && base+f.longest > room {
		if err := p.load(f); err != nil {
			return err
		}
		for _, e := range f.entries {
			path := names.Join(f.path, e.name)
			if hasPath(e.kind) && base+len(e.to) > room && (base+len(e.to) > len(path) || p.found.tooLong(path)) {
				*over = append(*over, long{f, e})
			}
		}
	}
	for _, k := range f.kids {
		if err := p.collect(k, room, over); err != nil {
			return err
		}
	}
	return nil
}

// part is one name of a path that may be made shorter.
type part struct {
	folder *folder // the one that the name stands in
	entry  *entry
	len    int
	least  int
}

// shorten sets how long the parts of a path may be at most, so that it fits. The longest parts
// give way first, all down to one level. If that cannot be enough, nothing changes.
func (p *Plan) shorten(l long, room int, rule string, touched map[*folder]bool) error {
	parts, err := p.parts(l)
	if err != nil {
		return err
	}
	excess := pathLen(l) - room
	for i := range parts {
		// Parts that another path has made shorter in this round already.
		if most := parts[i].entry.most; most > 0 && most < parts[i].len {
			excess -= parts[i].len - most
			parts[i].len = most
		}
	}
	give := 0
	for _, q := range parts {
		give += max(0, q.len-q.least)
	}
	if excess <= 0 || give < excess {
		return nil
	}
	level := 0
	for _, q := range parts {
		level = max(level, q.len)
	}
	saved := func(level int) (n int) {
		for _, q := range parts {
			n += max(0, q.len-max(level, min(q.least, q.len)))
		}
		return n
	}
	low, high := 1, level // saved(low) ≥ excess
	for low < high {
		mid := (low + high + 1) / 2
		if saved(mid) >= excess {
			low = mid
		} else {
			high = mid - 1
		}
	}
	for _, q := range parts {
		most := max(low, min(q.least, q.len))
		if q.len <= most {
			continue
		}
		q.entry.most = most
		if !slices.Contains(q.entry.long, rule) {
			q.entry.long = append(q.entry.long, rule)
		}
		touched[q.folder] = true
	}
	return nil
}

// parts returns the names of a path that may change, top first.
func (p *Plan) parts(l long) ([]part, error) {
	var out []part
	add := func(f *folder, e *entry) {
		if e == nil || f.frozen(e) != "" {
			return
		}
		_, suffix := split(e.name)
		out = append(out, part{f, e, len(e.to), leastName + leastStart + min(len(suffix), suffixMost+1)})
	}
	add(l.folder, l.entry)
	for f := l.folder; f.parent != nil; f = f.parent {
		if f.parent.card != nil {
			continue
		}
		if err := p.load(f.parent); err != nil {
			return nil, err
		}
		add(f.parent, f.parent.find(f.name))
	}
	slices.Reverse(out)
	slices.SortStableFunc(out, func(a, b part) int { return cmp.Compare(b.len, a.len) })
	return out, nil
}
