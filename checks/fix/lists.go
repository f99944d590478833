package fix

import (
	"bufio"
	"cmp"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"slices"
	"strings"
	"sync"

	"loadline/checks"
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
	// "archived" a card whose archive is copied in its place.
	Why map[string]Sum
}

// ErrLineBreak: a path contains a line break, so a list with one path per line cannot hold it.
var ErrLineBreak = errors.New("a path contains a line break: end the paths with NUL instead (-0), or apply the plan first")

// reasons are numbered for the spool; 0 is the copy list.
type reasons struct {
	all     []string
	numbers map[string]uint8
	paths   map[string]uint8 // what the report says of what would not arrive
}

func newReasons(f *findings) *reasons {
	r := &reasons{all: []string{""}, numbers: map[string]uint8{}, paths: map[string]uint8{}}
	for _, g := range f.all {
		if g.skipped() && r.paths[g.Path] == 0 {
			r.paths[g.Path] = r.number(g.Rule.ID)
		}
	}
	return r
}

// number returns the number of a reason.
func (r *reasons) number(reason string) uint8 {
	n, ok := r.numbers[reason]
	if !ok {
		n = uint8(len(r.all)) // the rules of treatments are far fewer
		r.numbers[reason] = n
		r.all = append(r.all, reason)
	}
	return n
}

// skipped reports whether what a finding speaks of would not arrive as it is named, or should not.
func (f flag) skipped() bool {
	switch f.treat {
	case treatLeave, treatOwn:
		return true
	case treatAdvise:
		return false
	}
	return f.harm() == checks.Fail
}

// WriteLists walks over the source and writes relative paths, one per line or each ended by NUL,
// sorted folder by folder. On the copy list stand the files that by the report would arrive as they
// are named now; everything else is on the skip list: what the report fails, links, clutter, and
// what was given to Skip. Either writer may be nil. With line ends a path that holds a line break is
// left out, and the error, once the rest is written, wraps ErrLineBreak. Where the source has more
// or less on it than the report counted, the error is ErrStale.
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
	why := newReasons(p.found)
	unlisted, unread := why.number(ruleUnlisted), why.number(ruleUnread)
	counts := make([]census, o.Workers)
	o.Visit = func(d *walk.Dir) {
		counts[d.Worker].count(d, p.found)
		s.put(d.Path, record(d, why, unlisted, unread))
	}
	if err := walk.Walk(ctx, p.Source, o); err != nil {
		return nil, fmt.Errorf("cannot read the source: %w", err)
	}
	if s.err != nil {
		return nil, fmt.Errorf("cannot keep the list for sorting: %w", s.err)
	}
	if err := p.fresh(counts); err != nil {
		return nil, err
	}
	w := &lister{end: '\n', lists: Lists{Why: map[string]Sum{}}, why: why}
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

// record renders one folder for the spool. Its first byte is why the folder itself cannot be copied.
func record(d *walk.Dir, why *reasons, unlisted, unread uint8) []byte {
	order := make([]int, len(d.Entries))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int { return cmp.Compare(d.Entries[a].Name, d.Entries[b].Name) })
	b := []byte{0}
	if d.Err != nil {
		b[0] = unlisted
	}
	for _, i := range order {
		e := &d.Entries[i]
		size := int64(0)
		if e.Kind == walk.File {
			size = e.Size
		}
		reason := why.paths[d.Join(e.Name)]
		if reason == 0 && e.Failed {
			reason = unread
		}
		b = append(b, reason, byte(e.Kind))
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
			dir, _ := names.Split(c.Path)
			out[names.Join(dir, c.File)] = c.Path
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
	unlisted, skipped, archived := w.why.number(ruleUnlisted), w.why.number(reasonSkipped), w.why.number(reasonArchived)
	inherited := map[string]uint8{} // reasons of folders
	archives := p.archives()
	copied := map[string]bool{} // cards in whose place their archives are copied
	for _, path := range slices.Sorted(maps.Keys(s.index)) {
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
			why = archived
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
			full := names.Join(path, name)
			if p.skipped[full] {
				own = skipped
			}
			all := cmp.Or(why, own)
			if kind == walk.Folder {
				if all != 0 {
					inherited[full] = all
				}
				if _, visited := s.index[full]; !visited {
					w.put(full, cmp.Or(all, unlisted), 0)
				}
				continue
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
	why        *reasons
	broken     int64
	first      string
}

func (w *lister) put(path string, why uint8, size int64) {
	to := w.copy
	if why == 0 {
		w.lists.Copy.add(size)
	} else {
		to = w.skip
		w.lists.Skip.add(size)
		sum := w.lists.Why[w.why.all[why]]
		sum.add(size)
		w.lists.Why[w.why.all[why]] = sum
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
