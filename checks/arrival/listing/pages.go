package listing

import (
	"fmt"
	"maps"
	"slices"
	"strings"
)

// A Page is one answer of a store that lists its objects in several, or a document that holds records.
type Page struct {
	Truncated bool   // it says that more follows
	Next      string // where the next page begins, as the store says
	Start     string // where this page begins, as it was asked for
	Last      string // its last key, where more follows and Next is not given
	Prefix    string // what was asked for
}

func (p *Page) more() bool   { return p.Truncated || p.Next != "" }
func (p *Page) marked() bool { return p.more() || p.Start != "" }

const (
	mostPages     = 200_000
	mostPageBytes = 64 << 20
	mostUnopened  = 1000
)

// page keeps a page.
func (rd *reader) page(r *record) error {
	p := Page{Truncated: r.truncated, Next: string(r.get(r.next)), Start: string(r.get(r.start)), Prefix: string(r.get(r.prefix))}
	if p.Truncated && p.Next == "" {
		p.Last = string(rd.last)
	}
	rd.used += len(p.Next) + len(p.Start) + len(p.Last) + len(p.Prefix)
	if len(rd.format.Pages) >= mostPages || rd.used > mostPageBytes {
		return rd.bad("Give the pages in several files.", "it has too many pages for one file")
	}
	rd.format.Pages = append(rd.format.Pages, p)
	return nil
}

// unopened keeps the name of a folder that is named but not opened.
func (rd *reader) unopened(name []byte) {
	if len(name) == 0 {
		return
	}
	f := rd.format
	if f.FoldedCount++; len(f.Folded) < mostUnopened {
		f.Folded = append(f.Folded, string(name[:min(len(name), 4096)]))
	}
}

// Partial says why all listings together are not whole: a page says that more follows and the next one is
// not there, a page begins in the middle, or folders that could hold keys with head are named but not
// opened. It is empty where nothing says so; a listing that was cut between two rows does not show it.
func Partial(formats []*Format, head string) []string {
	var why []string
	var pages []*Page
	echo := false // pages say where they begin
	lists := map[string]bool{}
	for _, f := range formats {
		for i := range f.Pages {
			p := &f.Pages[i]
			pages = append(pages, p)
			echo = echo || p.Start != ""
			lists[p.Prefix] = true
		}
	}
	starts, nexts := map[string]bool{}, map[string]bool{}
	ends, more := map[string]int{}, map[string]int{}
	for _, p := range pages {
		starts[p.Start] = true
		if p.more() {
			nexts[p.Next] = true
			nexts[p.Last] = true
			more[p.Prefix]++
		} else {
			ends[p.Prefix]++
		}
	}
	open, orphans := 0, 0
	example := ""
	for _, p := range pages {
		if echo && p.more() {
			follows := p.Next != "" && starts[p.Next] || p.Last != "" && starts[p.Last]
			if !follows {
				open++
				example = p.Next
				if example == "" {
					example = p.Last
				}
			}
		}
		if p.Start != "" && !nexts[p.Start] {
			orphans++
		}
	}
	if echo {
		// A page without marks of its own may be the one that a token leads to.
		if open > 0 {
			why = append(why, fmt.Sprintf("%s that more follows, and the page that follows, from %s, was not given", says(open), quote(example)))
		}
		if orphans > 0 {
			why = append(why, fmt.Sprintf("%s in the middle of the list, and the page before was not given", begin(orphans)))
		}
	}
	for _, prefix := range slices.Sorted(maps.Keys(more)) {
		n := more[prefix]
		if ends[prefix] == 0 && open == 0 {
			of := ""
			if prefix != "" {
				of = " of " + quote(prefix)
			}
			why = append(why, fmt.Sprintf("%s%s that more follows, and the last page was not given", says(n), of))
		}
	}
	folded, first := int64(0), ""
	for _, f := range formats {
		unnamed := f.FoldedCount - int64(len(f.Folded))
		for _, name := range f.Folded {
			if !f.relative && (lists[name] || !strings.HasPrefix(name, head) && !strings.HasPrefix(head, name)) {
				continue
			}
			if folded++; first == "" {
				first = name
			}
		}
		if unnamed > 0 {
			folded += unnamed
		}
	}
	if folded > 0 {
		why = append(why, fmt.Sprintf("%s not opened, %s first: the objects in them are not listed", areNamed(folded), quote(first)))
	}
	return why
}

func says(n int) string {
	if n == 1 {
		return "a page says"
	}
	return fmt.Sprintf("%d pages say", n)
}

func begin(n int) string {
	if n == 1 {
		return "a page begins"
	}
	return fmt.Sprintf("%d pages begin", n)
}

func areNamed(n int64) string {
	if n == 1 {
		return "1 folder is named but"
	}
	return fmt.Sprintf("%d folders are named but", n)
}
