package fix

import (
	"bufio"
	"cmp"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"sync"

	"loadline/checks/names"
	"loadline/checks/walk"
)

// A Sum counts what stands on a list.
type Sum struct {
	Files int64
	Bytes int64 // of files; links and the like count none
}

func (s *Sum) add(bytes int64) { s.Files++; s.Bytes += bytes }

// Lists tells what the copy list and the skip list hold. Every file, link and other thing on the
// source stands on exactly one of them; a folder stands on the skip list only if it cannot be
// listed, and on the copy list never: folders come with their files.
type Lists struct {
	Copy, Skip Sum
	// Why sums the skip list by the rule that is the reason; "skipped" is the person's wish,
	// "archived" a card whose archive is copied in its place, "ours" what this program left, such
	// as a journal.
	Why map[string]Sum
}

// ErrLineBreak: a path holds a line break, so a list with one path a line cannot hold it.
var ErrLineBreak = errors.New("a path holds a line break: end the paths with NUL instead (-0), or apply the plan first")

// reasons in the spool, by number; 0 is the copy list.
var reasons = []string{
	"", "skipped", "archived", "ours", ruleNameLong, ruleInvalid, ruleLineBreak, ruleControl, ruleRefused, ruleSameForm,
	ruleNotNFC, ruleCaseTwins, rulePathLong, ruleKeyLong, ruleFileUnreadable, ruleFolderUnreadable, "link",
	"special-file", "desktop-clutter", "unfinished-file", "apple-double",
}

func reason(rule string) byte { return byte(max(0, slices.Index(reasons, rule))) }

// WriteLists walks over the source as it is now and writes relative paths, one a line or each
// ended by NUL, sorted folder by folder. On the copy list stand the files that would arrive as they
// are named now; everything else is on the skip list: what a rule of level fail speaks of, links,
// clutter, and what was given to Skip. Either writer may be nil. With line ends a path that holds a
// line break is left out, and the error, once the rest is written, wraps ErrLineBreak.
//
// Any command that reads a list of files copies exactly these. With the POSIX utility pax, from
// within the source folder:
//
//	pax -rw -d /mnt/share/Archive < copy.list
func (p *Plan) WriteLists(ctx context.Context, copyTo, skipTo io.Writer, nul bool) (*Lists, error) {
	s, err := newSpool()
	if err != nil {
		return nil, err
	}
	defer s.close()
	o := walk.Options{}
	o.Workers = o.Resolve(p.Source)
	twins := make([]names.Twins, o.Workers)
	o.Visit = func(d *walk.Dir) { s.put(d.Path, p.judge(d, &twins[d.Worker])) }
	if err := walk.Walk(ctx, p.Source, o); err != nil {
		return nil, fmt.Errorf("cannot read the source: %w", err)
	}
	if s.err != nil {
		return nil, fmt.Errorf("cannot keep the list for sorting: %w", s.err)
	}
	w := &lister{end: '\n', lists: Lists{Why: map[string]Sum{}}}
	if nul {
		w.end = 0
	}
	if copyTo != nil {
		w.copy = bufio.NewWriter(copyTo)
	}
	if skipTo != nil {
		w.skip = bufio.NewWriter(skipTo)
	}
	if err := s.emit(ctx, p, w); err != nil {
		return nil, err
	}
	return &w.lists, w.finish()
}

// fails returns the rule of level fail that a name breaks by itself, "" if none.
func (l *Limits) fails(name string) string {
	t := names.Look(name)
	switch {
	case len(name) > l.Name:
		return ruleNameLong
	case t.Any(names.Invalid):
		return ruleInvalid
	case t.Any(names.LineBreak):
		return ruleLineBreak
	case t.Any(names.HardControl):
		return ruleControl
	case l.refuses(name):
		return ruleRefused
	case l.FoldsForms && t.Any(names.NotNFC):
		return ruleNotNFC
	}
	return ""
}

// judge renders one folder for the spool. The first record is the folder itself.
func (p *Plan) judge(d *walk.Dir, finder *names.Twins) []byte {
	why := make([]byte, len(d.Entries))
	for i := range d.Entries {
		e := &d.Entries[i]
		if d.Path == "" && Ours(e.Name) {
			why[i] = reason("ours")
			continue
		}
		rule, _ := refuse(d, e)
		why[i] = reason(cmp.Or(rule, p.Limits.fails(e.Name)))
	}
	finder.Find(len(d.Entries), func(i int) string { return d.Entries[i].Name },
		func(i int) names.Traits { return names.Look(d.Entries[i].Name) },
		func(kind names.TwinKind, members []int) {
			rule := ruleSameForm
			if kind == names.SameCase {
				if rule = ruleCaseTwins; !p.Limits.FoldsCase {
					return
				}
			}
			for _, i := range members {
				if why[i] == 0 {
					why[i] = reason(rule)
				}
			}
		})
	order := make([]int, len(d.Entries))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int { return cmp.Compare(d.Entries[a].Name, d.Entries[b].Name) })
	var b []byte
	own := byte(0)
	if d.Err != nil {
		own = reason(ruleFolderUnreadable)
	}
	b = append(b, own)
	for _, i := range order {
		e := &d.Entries[i]
		size := int64(0)
		if e.Kind == walk.File {
			size = e.Size
		}
		b = append(b, why[i], byte(e.Kind))
		b = binary.AppendUvarint(b, uint64(size))
		b = binary.AppendUvarint(b, uint64(len(e.Name)))
		b = append(b, e.Name...)
	}
	return b
}

// archives returns the cards that are archived, by the paths of their archives.
func (p *Plan) archives() map[string]string {
	out := map[string]string{}
	for _, c := range p.Cards {
		if c.Archived {
			dir, _ := parent(c.Path)
			out[join(dir, c.File)] = c.Path
		}
	}
	return out
}

// A spool keeps the lists of folders, which come in any order, in a file until they are sorted:
// memory grows with folders only.
type spool struct {
	mu    sync.Mutex
	file  *os.File
	buf   *bufio.Writer
	at    int64
	index map[string]extent
	err   error
}

type extent struct{ at, len int64 }

func newSpool() (*spool, error) {
	f, err := os.CreateTemp("", "loadline-list-")
	if err != nil {
		return nil, fmt.Errorf("cannot keep the list for sorting: %w", err)
	}
	return &spool{file: f, buf: bufio.NewWriterSize(f, 1<<16), index: map[string]extent{}}, nil
}

func (s *spool) close() {
	s.file.Close()
	os.Remove(s.file.Name())
}

func (s *spool) put(path string, b []byte) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if _, err := s.buf.Write(b); err != nil && s.err == nil {
		s.err = err
	}
	s.index[path] = extent{s.at, int64(len(b))}
	s.at += int64(len(b))
}

// emit writes all folders in order. What holds for a folder holds for what is in it.
func (s *spool) emit(ctx context.Context, p *Plan, w *lister) error {
	if err := s.buf.Flush(); err != nil {
		return fmt.Errorf("cannot keep the list for sorting: %w", err)
	}
	paths := make([]string, 0, len(s.index))
	for path := range s.index {
		paths = append(paths, path)
	}
	slices.Sort(paths)
	inherited := map[string]byte{} // reasons of folders
	archives := p.archives()
	copied := map[string]bool{} // cards in whose place their archives are copied
	room, rule := p.Limits.room()
	for _, path := range paths {
		if err := ctx.Err(); err != nil {
			return err
		}
		x := s.index[path]
		b := make([]byte, x.len)
		if _, err := s.file.ReadAt(b, x.at); err != nil {
			return fmt.Errorf("cannot keep the list for sorting: %w", err)
		}
		why := inherited[path]
		if copied[path] {
			why = reason("archived")
		}
		if b[0] != 0 {
			w.put(path, cmp.Or(why, b[0]), 0)
		}
		for b = b[1:]; len(b) > 0; {
			own, kind := b[0], walk.Kind(b[1])
			size, n := binary.Uvarint(b[2:])
			b = b[2+n:]
			length, n := binary.Uvarint(b)
			name := string(b[n : n+int(length)])
			b = b[n+int(length):]
			full := join(path, name)
			if p.skipped[full] {
				own = reason("skipped")
			}
			all := cmp.Or(why, own)
			if kind == walk.Folder {
				if all != 0 {
					inherited[full] = all
				}
				if _, visited := s.index[full]; !visited {
					w.put(full, cmp.Or(all, reason(ruleFolderUnreadable)), 0)
				}
				continue
			}
			if all == 0 && len(full) > room {
				all = reason(rule)
			}
			w.put(full, all, int64(size))
			if card, ok := archives[full]; ok && all == 0 {
				copied[card] = true
			}
		}
	}
	return nil
}

type lister struct {
	copy, skip *bufio.Writer
	end        byte
	lists      Lists
	broken     int64
	first      string
}

func (w *lister) put(path string, why byte, size int64) {
	to := w.copy
	if why == 0 {
		w.lists.Copy.add(size)
	} else {
		to = w.skip
		w.lists.Skip.add(size)
		sum := w.lists.Why[reasons[why]]
		sum.add(size)
		w.lists.Why[reasons[why]] = sum
	}
	if to == nil {
		return
	}
	if w.end == '\n' && strings.ContainsAny(path, "\n\r") {
		if w.broken++; w.first == "" {
			w.first = path
		}
		return
	}
	to.WriteString(path) // errors stay until Flush
	to.WriteByte(w.end)
}

func (w *lister) finish() error {
	for _, b := range []*bufio.Writer{w.copy, w.skip} {
		if b != nil {
			if err := b.Flush(); err != nil {
				return fmt.Errorf("cannot write the list: %w", err)
			}
		}
	}
	if w.broken > 0 {
		return fmt.Errorf("%w (%d paths, the first is %s)", ErrLineBreak, w.broken, names.Quote(w.first))
	}
	return nil
}
