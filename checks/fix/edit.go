package fix

import (
	"errors"
	"fmt"
	"strings"

	"loadline/checks/names"
	"loadline/checks/walk"
)

// ErrName wraps the reason why a name cannot be given.
var ErrName = errors.New("this name can't be used")

// Edit gives a step another name, and the files of its family the new stem. Other members of the
// family that kept their names so far become steps at the end of Steps; indexes stay. If the name
// does not hold nothing changes; the error wraps ErrName.
func (p *Plan) Edit(step int, name string) error {
	to, err := p.familyNames(step, name)
	if err != nil {
		return err
	}
	p.setNames(&p.Steps[step], to)
	return nil
}

// Leave takes a step and its family out of the plan: they keep their names. Refused where another
// step was given the old name.
func (p *Plan) Leave(step int) error {
	s := &p.Steps[step]
	to := s.entry.family.names()
	if err := p.checkFree(s, to); err != nil {
		return err
	}
	p.setNames(s, to)
	return nil
}

// familyNames judges a new name for a step and returns the names of the whole family.
func (p *Plan) familyNames(step int, name string) ([]string, error) {
	s := &p.Steps[step]
	u := s.entry.family
	to := make([]string, len(u.members))
	at := 0
	for i, e := range u.members {
		if e == s.entry {
			at = i
		}
		to[i] = e.to
	}
	if name == "" || name == "." || name == ".." || strings.ContainsAny(name, "/\x00") {
		return nil, fmt.Errorf("%w: a name can't be empty, . or .., or contain a slash", ErrName)
	}
	old := stemOf(u, at, s.entry.to)
	if stem := stemOf(u, at, name); stem != old && !u.whole {
		for i, e := range u.members {
			if rest, ok := strings.CutPrefix(strings.TrimPrefix(e.to, u.parts[i].prefix), old); ok {
				to[i] = u.parts[i].prefix + stem + rest
			}
		}
	}
	to[at] = name
	for i, e := range u.members {
		if to[i] == e.to && i != at {
			continue
		}
		if err := p.checkName(s.folder, e, to[i]); err != nil {
			return nil, err
		}
	}
	return to, p.checkFree(s, to)
}

// checkName judges one name by itself and by its path.
func (p *Plan) checkName(f *folder, e *entry, name string) error {
	if fault := p.limits.fault(name); fault != "" {
		return fmt.Errorf("%w: %s", ErrName, fault)
	}
	n := len(name)
	if f.parent != nil {
		n += f.base() + 1
	}
	if e.kind == walk.Folder {
		for _, k := range f.kids {
			if k.name == e.name {
				n += min(1, k.tail) + k.tail
			}
		}
	}
	if room, _ := p.limits.pathRoom(); n > room && len(name) >= len(e.to) {
		return fmt.Errorf("%w: the longest path would be %d bytes, %d fit: make the name %d bytes shorter", ErrName, n, room, n-room)
	}
	return nil
}

// checkFree judges names against all others of the folder.
func (p *Plan) checkFree(s *Step, to []string) error {
	f := s.folder
	if f.used == nil {
		f.used = map[string]int{}
		for _, e := range f.entries {
			f.used[names.Fold(e.to)]++
		}
	}
	u := s.entry.family
	mine := map[string]int{}
	for _, e := range u.members {
		mine[names.Fold(e.to)]++
	}
	fresh := map[string]bool{}
	for _, name := range to {
		key := names.Fold(name)
		if fresh[key] || f.used[key]-mine[key] > 0 {
			return fmt.Errorf("%w: %s is already taken in this folder (upper and lower case count as the same)", ErrName, names.Quote(name))
		}
		fresh[key] = true
	}
	return nil
}

// setNames sets the names of a step and its family.
func (p *Plan) setNames(s *Step, to []string) {
	f, u := s.folder, s.entry.family
	for i, e := range u.members {
		if f.used[names.Fold(e.to)]--; f.used[names.Fold(e.to)] == 0 {
			delete(f.used, names.Fold(e.to))
		}
		e.to = to[i]
		f.used[names.Fold(e.to)]++
	}
	f.finalLengths()
	for g := f; g != nil; g = g.parent {
		g.remeasure()
	}
	for _, e := range u.members {
		if e.to != e.name && !e.step {
			p.addStep(f, e)
			p.Steps[len(p.Steps)-1].Family = names.Join(f.path, u.members[0].name)
		}
	}
	p.retarget()
}
