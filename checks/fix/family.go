package fix

import (
	"cmp"
	"slices"
	"strconv"
	"strings"

	"loadline/checks/names"
	"loadline/checks/walk"
)

// A family is what is renamed together: a folder, or the files of one folder that are tied by their
// stem (clip, sidecar, thumbnail, sound).
type family struct {
	members []*entry
	parts   []parts // of each member
	whole   bool    // a folder: it has no ending
	hash    string
	enc     Encoding
}

// parts of a name: the prefix of a companion file, the stem that ties, the ending.
type parts struct{ prefix, stem, suffix string }

// families groups the entries of a folder, in order of their first names.
func families(entries []*entry) []*family {
	files := map[string]bool{}
	for _, e := range entries {
		if e.kind != walk.Folder {
			files[e.name] = true
		}
	}
	groups := map[string][]member{}
	var all []*family
	for _, e := range entries {
		if e.kind == walk.Folder {
			all = append(all, newFamily([]member{{e, parts{stem: e.name}}}))
			continue
		}
		m := member{e, tieOf(e.name, files)}
		key := names.Fold(m.stem)
		groups[key] = append(groups[key], m)
	}
	for _, g := range groups {
		for _, part := range separate(g) {
			all = append(all, newFamily(part))
		}
	}
	slices.SortFunc(all, func(a, b *family) int { return cmp.Compare(a.members[0].name, b.members[0].name) })
	return all
}

type member struct {
	*entry
	parts
}

// tieOf finds the stem that ties a file to others: that of "clip.mov.xmp" is "clip" where a file
// "clip.mov" is there.
func tieOf(name string, files map[string]bool) parts {
	var p parts
	if rest, ok := strings.CutPrefix(name, names.Companion); ok && files[rest] {
		p.prefix, name = names.Companion, rest
	}
	stem, _ := split(name)
	for depth := 0; files[stem] && stem != name && depth < 4; depth++ {
		shorter, suffix := split(stem)
		if suffix == "" {
			break
		}
		stem = shorter
	}
	p.stem, p.suffix = stem, name[len(stem):]
	return p
}

// separate parts a group whose stems are equal after folding until no two members of a part end
// alike: those could not keep one stem. First by stem as it is spelled, then one by one.
func separate(g []member) [][]member {
	if !endAlike(g) {
		return [][]member{g}
	}
	slices.SortStableFunc(g, func(a, b member) int { return cmp.Compare(a.stem, b.stem) })
	var out [][]member
	for len(g) > 0 {
		n := 1
		for n < len(g) && g[n].stem == g[0].stem {
			n++
		}
		seen := map[string]bool{}
		var together []member
		for _, m := range g[:n] {
			key := m.prefix + names.Fold(m.suffix)
			if seen[key] {
				out = append(out, []member{m})
				continue
			}
			seen[key] = true
			together = append(together, m)
		}
		out = append(out, together)
		g = g[n:]
	}
	return out
}

func endAlike(g []member) bool {
	seen := map[string]bool{}
	for _, m := range g {
		key := m.prefix + names.Fold(m.suffix)
		if seen[key] {
			return true
		}
		seen[key] = true
	}
	return false
}

func newFamily(ms []member) *family {
	slices.SortFunc(ms, func(a, b member) int { return cmp.Compare(a.name, b.name) })
	u := &family{}
	for _, m := range ms {
		m.family = u
		u.members = append(u.members, m.entry)
		u.parts = append(u.parts, m.parts)
	}
	u.whole = ms[0].kind == walk.Folder
	if u.whole {
		// A folder's name has no ending, but its last part is kept where it looks like one
		// ("project.cache"): programs know packages by it.
		u.parts[0].stem, u.parts[0].suffix = split(ms[0].name)
	}
	stem := u.parts[0].stem
	u.hash = hashOf(stem)
	u.enc = likeliest(stem + u.parts[0].suffix)
	return u
}

// proposeFamily returns new names for all members, kept apart from others by a number if it is over 1.
func (l *limits) proposeFamily(u *family, number int) []string {
	mark := ""
	if number > 1 {
		mark = "-" + strconv.Itoa(number)
	}
	stems, suffixes := make([]string, len(u.members)), make([]string, len(u.members))
	room := l.name
	for i, p := range u.parts {
		stems[i], suffixes[i] = l.cureStem(p.stem, u.enc), l.cureSuffix(p.suffix, u.enc)
		most := l.name
		if u.members[i].most > 0 {
			most = min(most, u.members[i].most)
		}
		room = min(room, most-len(p.prefix)-len(suffixes[i]))
	}
	out := make([]string, len(u.members))
	for i, p := range u.parts {
		if room < leastName+leastStart {
			most := cmp.Or(u.members[i].most, l.name)
			out[i] = p.prefix + l.build(stems[i], mark, suffixes[i], u.hash, min(most, l.name)-len(p.prefix))
			continue
		}
		// All members take the same room, so that their stems stay equal.
		out[i] = p.prefix + l.build(stems[i], mark, suffixes[i], u.hash, room+len(suffixes[i]))
	}
	return out
}

// resolve gives every entry of a folder its final name. What need not change keeps its name; of
// twins the larger family does, then the first in byte order.
func (p *Plan) resolve(f *folder) {
	for _, e := range f.entries {
		e.to = e.name
	}
	c := claims{used: map[string]bool{}, stems: map[string]bool{}, next: map[string]int{}}
	var change []*family
	all := families(f.entries)
	for _, u := range all {
		if f.keeps(u) {
			c.claim(u, u.names())
		}
	}
	// Of twins the larger family keeps its names: that is the smaller change.
	slices.SortStableFunc(all, func(a, b *family) int { return cmp.Compare(len(b.members), len(a.members)) })
	for _, u := range all {
		switch {
		case f.keeps(u):
		case !mustChange(u) && c.free(u.names(), nil):
			c.claim(u, u.names())
		default:
			change = append(change, u)
		}
	}
	for _, u := range change {
		p.assignNames(u, &c)
	}
	f.finalLengths()
}

// keeps reports whether a member of the family must keep its name, and with it the others.
func (f *folder) keeps(u *family) bool {
	return slices.ContainsFunc(u.members, func(e *entry) bool { return f.frozen(e) != "" })
}

func (f *folder) finalLengths() {
	f.longest = 0
	for _, e := range f.entries {
		if hasPath(e.kind) {
			f.longest = max(f.longest, len(e.to))
		}
	}
	for _, k := range f.kids {
		if e := f.find(k.name); e != nil {
			k.to = e.to
		}
	}
}

func (u *family) names() []string {
	out := make([]string, len(u.members))
	for i, e := range u.members {
		out[i] = e.name
	}
	return out
}

// mustChange reports whether a family cannot keep its names even where it is alone in its folder.
func mustChange(u *family) bool {
	return slices.ContainsFunc(u.members, func(e *entry) bool {
		return e.most > 0 && len(e.name) > e.most || len(e.flags) > 0 && e.flags[0].treat == treatRename
	})
}

// claims are the names of a folder that are given away.
type claims struct {
	used  map[string]bool // folded names
	stems map[string]bool // folded stems: a new name must not tie itself to strangers
	next  map[string]int  // next number to try, by first proposal
}

func (c *claims) free(given, stems []string) bool {
	mine := map[string]bool{}
	for _, n := range given {
		key := names.Fold(n)
		if c.used[key] || mine[key] {
			return false
		}
		mine[key] = true
	}
	return !slices.ContainsFunc(stems, func(s string) bool { return c.stems[names.Fold(s)] })
}

func (c *claims) claim(u *family, given []string) {
	for i, n := range given {
		c.used[names.Fold(n)] = true
		c.stems[names.Fold(stemOf(u, i, n))] = true
	}
}

// stemOf returns the stem of a member under a new name.
func stemOf(u *family, i int, name string) string {
	name = strings.TrimPrefix(name, u.parts[i].prefix)
	if s, ok := strings.CutSuffix(name, u.parts[i].suffix); ok && s != "" {
		return s
	}
	s, _ := split(name)
	return s
}

// stemTries is how many numbers are tried to keep the stem of a new name from those of strangers. Where the
// cured name has an ending that the old one did not have, the number comes to stand in that, and no number
// helps: then the name counts alone.
const stemTries = 100

// assignNames finds free names for a family.
func (p *Plan) assignNames(u *family, c *claims) {
	first := p.limits.proposeFamily(u, 1)
	if len(first) > 1 && !new(claims).free(first, nil) {
		// Endings that differed are alike when cured ("a.mov" and "a.mov."): no number keeps
		// such names apart, so each goes its own way.
		for i, e := range u.members {
			p.assignNames(newFamily([]member{{e, u.parts[i]}}), c)
		}
		return
	}
	key := first[0]
	start := max(1, c.next[key])
	var tied []string // the first names that are free but for their stems
	tiedAt := 0
	for n := start; ; n++ {
		proposed := first
		if n > 1 {
			proposed = p.limits.proposeFamily(u, n)
		}
		var stems []string
		for i, s := range proposed {
			if s != u.members[i].name && !u.whole {
				if stem := stemOf(u, i, s); stem != u.parts[i].stem {
					stems = append(stems, stem)
				}
			}
		}
		switch {
		case c.free(proposed, stems):
		case !c.free(proposed, nil):
			continue
		case tied == nil:
			tied, tiedAt = proposed, n
			continue
		case n-start < stemTries:
			continue
		default:
			proposed, n = tied, tiedAt
		}
		c.next[key] = n + 1
		c.claim(u, proposed)
		for i, e := range u.members {
			e.to = proposed[i]
		}
		return
	}
}
