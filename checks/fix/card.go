package fix

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"loadline/checks/internal/disk"
	"loadline/checks/names"
	"loadline/checks/share"
)

// A Card is a folder whose inner names are fixed: a database in it, a standard, or the program that
// made it knows its files by their names, so a rename inside would break it.
type Card struct {
	Path     string // its topmost folder, relative to the source; empty where that is the source or above it
	Layout   string // what it is, for people
	Standard string // what fixes its names
	// File is the name of its archive, which is beside it or would; empty where the card is the
	// source itself. Archived says that it is there and holds the same names, sizes and dates.
	File     string
	Archived bool
	Bundle   bool // its desktop shows it as one file
	// ownName is set where the layout fixes the name of the topmost folder too. Where the layout
	// has several such names, one in capitals is taken for one of them.
	ownName bool
}

func (c *Card) why() string {
	if c.Standard == noSource {
		return "it belongs to " + c.Layout + ": renaming anything inside would break it"
	}
	return "it belongs to " + c.Layout + " (" + c.Standard + "): renaming anything inside would break it"
}

// fixed reports whether the layout fixes the name of one of its folders.
func (c *Card) fixed(path string) bool { return path != c.Path || c.ownName }

// Command returns a command that puts the whole structure into one file beside it, as it is, with
// the POSIX utility pax; for one who wants the file elsewhere. It is to be run in the source folder.
// A pax that does not know the format "pax" takes -x ustar in its place, which holds files up to
// 8 GiB only (POSIX pax). Empty where File is.
func (c *Card) Command() string {
	if c.File == "" {
		return ""
	}
	dir, name := names.Split(c.Path)
	command := "pax -w -x pax -f " + share.ShellQuote(c.File) + " " + share.ShellQuote(name)
	if strings.HasPrefix(c.File, "-") || strings.HasPrefix(name, "-") {
		command = "pax -w -x pax -f " + share.ShellQuote("./"+c.File) + " -- " + share.ShellQuote(name)
	}
	if dir == "" {
		return command
	}
	return "cd -- " + share.ShellQuote(dir) + " && " + command
}

// noSource is the standard of what is a habit only.
const noSource = "common practice, no source"

// bundle is the card of a folder that its desktop shows as one file.
func bundle() Card {
	return Card{Layout: "a bundle, which its desktop shows as one file", Standard: noSource, Bundle: true}
}

// cardOf returns the card that something in a folder belongs to, nil if to none. Itself is the folder that
// it is, nil if it is none.
func (f *folder) cardOf(itself *folder) *Card {
	switch {
	case f != nil && f.card != nil:
		return f.card
	case itself != nil:
		return itself.card
	}
	return nil
}

// findCards marks card structures and bundles, and everything in them. PRIVATE and AVCHD above a structure
// belong to it: players look for the whole path.
func (p *Plan) findCards() {
	found := map[*folder]Card{}
	if slices.ContainsFunc(strings.Split(filepath.ToSlash(p.Source), "/"), names.BundleName) {
		found[p.top] = bundle()
	}
	for _, f := range p.sorted() {
		if names.BundleName(f.name) {
			c := bundle()
			c.Path = f.path
			found[f] = c
			continue
		}
		layout, ok := names.LayoutOf(f.name, f.marks)
		if !ok || f.parent == nil && layout.OwnName {
			continue
		}
		c := Card{Layout: layout.Title, Standard: layout.Standard, ownName: layout.OwnName}
		top := f
		for c.ownName && top.parent != nil && top.parent.parent != nil {
			if !names.AboveCard(top.parent.name) {
				break
			}
			top = top.parent
		}
		if _, have := found[top]; !have {
			c.Path = top.path
			found[top] = c
		}
	}
	tops := slices.SortedFunc(maps.Keys(found), func(a, b *folder) int { return cmp.Compare(a.path, b.path) })
	for _, f := range tops {
		if f.card == nil {
			c := found[f]
			p.Cards = append(p.Cards, &c)
			f.protect(&c)
		}
	}
}

func (f *folder) protect(c *Card) {
	f.card = c
	if f.parent != nil && c.fixed(f.path) {
		if f.parent.fixed == nil {
			f.parent.fixed = map[string]*Card{}
		}
		f.parent.fixed[f.name] = c
	}
	for _, k := range f.kids {
		k.protect(c)
	}
}

// archivesMost is how many names are tried for the archive of one card.
const archivesMost = 100

// findArchives looks which cards have an archive beside them already, and names one for the others.
func (p *Plan) findArchives(ctx context.Context) error {
	listed := map[string]map[string]string{} // names by their folded form, by folder
	for _, c := range p.Cards {
		if c.Path == "" {
			continue
		}
		dir, name := names.Split(c.Path)
		taken := listed[dir]
		if taken == nil {
			var err error
			if taken, err = p.foldedNames(dir); err != nil {
				return err
			}
			listed[dir] = taken
		}
		for i := 1; i <= archivesMost && c.File == ""; i++ {
			number := ""
			if i > 1 {
				number = "-" + strconv.Itoa(i)
			}
			file := p.limits.single(name + number + archiveEnding)
			is, there := taken[names.Fold(file)]
			if there {
				if err := ctx.Err(); err != nil {
					return err
				}
				if c.Archived = p.isArchive(ctx, c, names.Join(dir, is)); c.Archived {
					c.File = is
				}
			} else {
				c.File = file
			}
		}
	}
	return nil
}

// foldedNames returns the names in a folder of the source by their folded form.
func (p *Plan) foldedNames(dir string) (map[string]string, error) {
	list, err := namesIn(openIn(p.root, cmp.Or(dir, ".")))
	if err != nil {
		return nil, fmt.Errorf("cannot list the folder %s: %w", names.Quote(dir), disk.WithoutPath(err))
	}
	out := map[string]string{}
	for _, n := range list {
		out[names.Fold(n)] = n
	}
	return out, nil
}

// isArchive reports whether a file is the archive of a card: by its headers it holds the same names,
// sizes and dates.
func (p *Plan) isArchive(ctx context.Context, c *Card, path string) bool {
	info, err := p.root.Lstat(path)
	if err != nil || !info.Mode().IsRegular() {
		return false
	}
	f, err := openIn(p.root, path)
	if err != nil {
		return false
	}
	defer f.Close()
	_, name := names.Split(c.Path)
	has, err := archiveInventory(ctx, newSeekBuffer(f), name)
	if err != nil {
		return false
	}
	is, err := inventoryOf(ctx, p.root.Name()+"/"+c.Path, false, nil)
	return err == nil && has == is
}

// Title says for people which structure it is.
func (c *Card) Title() string { return names.Quote(c.Path) + ": " + c.Layout }
