package fix

import (
	"context"
	"fmt"
	"os"
	"slices"
	"strings"
	"syscall"
	"testing"

	"pgregory.net/rapid"

	"loadline/checks"
	"loadline/checks/before"
	"loadline/checks/names"
)

// drawSource makes a random tree of names that break every rule, with cards, bundles, clutter, links and
// special files in it.
func drawSource(t *rapid.T, root string) {
	drawTree(t, root)
	for range rapid.IntRange(0, 5).Draw(t, "more") {
		name := hostile().Draw(t, "name")
		at := rapid.SampledFrom([]string{
			"", "Film.fcpbundle/", "Film.fcpbundle/Media/", "DCIM/100ABCDE/", "$RECYCLE.BIN/", "day/Song.band/", "a?/Notes.rtfd/",
		}).Draw(t, "at")
		if err := os.MkdirAll(root+"/"+at, 0o755); err != nil {
			continue // a file is in the way
		}
		path := root + "/" + at + name
		if _, err := os.Lstat(path); err == nil {
			continue
		}
		var err error
		switch rapid.SampledFrom([]string{"file", "file", "link", "loop", "pipe", "clutter", "empty"}).Draw(t, "kind") {
		case "file":
			err = os.WriteFile(path, []byte(path), 0o644)
		case "link":
			err = os.Symlink(rapid.SampledFrom([]string{".", "..", "../..", "/nowhere", "gone", "DCIM"}).Draw(t, "target"), path)
		case "loop":
			err = os.Symlink(name, path)
		case "pipe":
			err = syscall.Mkfifo(path, 0o644)
		case "clutter":
			err = os.WriteFile(root+"/"+at+".DS_Store", nil, 0o644)
		case "empty":
			err = os.WriteFile(path, nil, 0o644)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
}

// TestRulebook compares what a plan does with what the checks before copying flag, over any tree: every
// flagged name is in the plan, left with a reason (itself, or a folder above), or cured by another step
// (its twin, a folder above). Besides, only files of the same stem are renamed. And what the checks flag
// when the plan is applied is what it left.
func TestRulebook(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		root, err := os.MkdirTemp(quick(t), "")
		if err != nil {
			rt.Fatal(err)
		}
		defer os.RemoveAll(root)
		drawSource(rt, root)
		age(t, root)
		job := checks.Job{Source: root, KeyBytes: rapid.SampledFrom([]int{0, 90, 200, 400}).Draw(rt, "key")}
		wishes := Wishes{Portable: rapid.Bool().Draw(rt, "portable")}
		rep := examine(t, job)
		p := planFrom(t, rep, wishes)

		// The plan that is made in the walk of the checks is the same.
		q, _, err := Run(context.Background(), job, before.List(), wishes, nil)
		if err != nil {
			rt.Fatal(err)
		}
		same(t, "steps of Run", steps(q), steps(p))
		same(t, "left by Run", whatIsLeft(q), whatIsLeft(p))

		b := &book{Plan: p, steps: map[string]*Step{}, left: map[string]bool{}}
		for i := range p.Steps {
			b.steps[p.Steps[i].From] = &p.Steps[i]
		}
		for _, l := range p.Left {
			b.left[l.Path] = true
			if l.Why == "" || len(l.Rules) == 0 {
				rt.Fatalf("%q is left without a reason: %+v", l.Path, l)
			}
		}
		flagged := map[string]bool{}
		for _, f := range nameFindings(rep, wishes) {
			flagged[f.Path] = true
			if !b.answers(f) {
				rt.Fatalf("%s of %q is not in the plan\nsteps %q\nleft %+v", f.Rule.ID, f.Path, steps(p), p.Left)
			}
		}
		for _, s := range p.Steps {
			switch {
			case len(s.Rules) == 0 && !b.sameStem(&s):
				rt.Fatalf("%q is renamed for nothing: %q", s.From, steps(p))
			case len(s.Rules) > 0 && !flagged[s.From] && !slices.Contains(s.Rules, ruleKeyLong):
				rt.Fatalf("%q is renamed for %q, which nothing flags", s.From, s.Rules)
			}
			if inBundle(s.From) {
				rt.Fatalf("%q is renamed inside a bundle", s.From)
			}
		}

		if _, err := p.Apply(context.Background(), Options{StateDir: "/nonexistent"}); err != nil {
			rt.Fatal(err)
		}
		leftNow := map[string]bool{} // by their new paths
		for path := range b.left {
			leftNow[p.Final(path)] = true
		}
		for _, f := range nameFindings(examine(t, job), wishes) {
			if !coveredBy(leftNow, f.Path) {
				rt.Fatalf("after the plan %s flags %q: %s\nsteps %q", f.Rule.ID, f.Path, f.Detail, steps(p))
			}
		}
	})
}

func whatIsLeft(p *Plan) (all []string) {
	for _, l := range p.Left {
		all = append(all, fmt.Sprint(l.Path, l.Rules, l.Why, l.Fix, l.Offers, l.Size))
	}
	return all
}

// nameFindings are those that speak of a name or of the length of a path, as the rulebook lists them.
func nameFindings(rep *checks.Report, w Wishes) (all []checks.Finding) {
	rules := strings.Fields(`name-too-long invalid-utf8 line-break control-character bidi-control reserved-character
		trailing-dot-or-space leading-space device-name leading-hyphen not-nfc same-normal-form case-twins
		path-too-long key-too-long refuses-character`)
	if w.Portable {
		rules = append(rules, "not-portable")
	}
	for _, f := range rep.Findings() {
		if slices.Contains(rules, f.Rule.ID) && !Ours(f.Path) {
			all = append(all, *f)
		}
	}
	return all
}

type book struct {
	*Plan
	steps map[string]*Step
	left  map[string]bool
}

// coveredBy reports whether a set has a path or a folder above it.
func coveredBy(set map[string]bool, path string) bool {
	for path != "" {
		if set[path] {
			return true
		}
		path, _ = names.Split(path)
	}
	return false
}

// answers reports whether the plan does something about a finding.
func (b *book) answers(f checks.Finding) bool {
	ofPath := f.Rule.ID == rulePathLong || f.Rule.ID == ruleKeyLong
	if s := b.steps[f.Path]; s != nil && (slices.Contains(s.Rules, f.Rule.ID) || ofPath) {
		return true
	}
	if coveredBy(b.left, f.Path) {
		return true
	}
	dir, name := names.Split(f.Path)
	switch f.Rule.ID {
	case "case-twins", "same-normal-form":
		for from, s := range b.steps {
			if d, n := names.Split(from); d == dir && n != name && names.Fold(n) == names.Fold(name) && slices.Contains(s.Rules, f.Rule.ID) {
				return true
			}
		}
	}
	if ofPath {
		for ; dir != ""; dir, _ = names.Split(dir) {
			if b.steps[dir] != nil {
				return true
			}
		}
	}
	return false
}

// sameStem reports whether another step of the folder has what begins the name up to an ending, and
// rules of its own.
func (b *book) sameStem(s *Step) bool {
	dir, name := names.Split(s.From)
	for from, o := range b.steps {
		d, n := names.Split(from)
		if d != dir || len(o.Rules) == 0 {
			continue
		}
		x, y := names.Fold(strings.TrimPrefix(n, names.Companion)), names.Fold(strings.TrimPrefix(name, names.Companion))
		common := 0
		for common < min(len(x), len(y)) && x[common] == y[common] {
			common++
		}
		ends := func(rest string) bool { return rest == "" || strings.ContainsAny(rest[:1], ". ") }
		if common > 0 && ends(x[common:]) && ends(y[common:]) || common > 0 && strings.LastIndexAny(x[:common], ". ") > 0 {
			return true
		}
	}
	return false
}

func inBundle(path string) bool {
	dir, _ := names.Split(path)
	for ; dir != ""; dir, _ = names.Split(dir) {
		for _, ending := range []string{".fcpbundle", ".band", ".rtfd"} {
			if strings.HasSuffix(dir, ending) {
				return true
			}
		}
	}
	return false
}
