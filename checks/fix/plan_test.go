package fix

import (
	"context"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"

	"loadline/checks/names"

	"pgregory.net/rapid"
)

func TestPlan(t *testing.T) {
	long := strings.Repeat("x", 250)
	cases := []struct {
		name   string
		tree   []string
		limits limits
		want   []string
	}{
		{"clean", []string{"a/b.mov", "a/c.mov"}, limits{}, nil},
		{"folder and file", []string{"a:/b?.mov"}, limits{}, []string{
			`"a:" -> "a-" reserved-character`,
			`"a:/b?.mov" -> "a-/b_.mov" reserved-character`,
		}},
		{"taken", []string{"a-b.mov", "a:b.mov"}, limits{}, []string{
			`"a:b.mov" -> "a-b-2.mov" reserved-character`,
		}},
		{"taken after folding", []string{"A-B.MOV", "a:b.mov"}, limits{}, []string{
			`"a:b.mov" -> "a-b-2.mov" reserved-character`,
		}},
		{"case twins", []string{"Clip.mov", "clip.mov"}, limits{}, []string{
			`"clip.mov" -> "clip-2.mov" case-twins`,
		}},
		{"full folding", []string{"STRASSE.mov", "straße.mov"}, limits{}, []string{ // CaseFolding.txt: ß folds to ss
			`"straße.mov" -> "straße-2.mov" case-twins`,
		}},
		{"normal forms", []string{"e\u0301.mov", "\u00e9.mov"}, limits{}, []string{ // UAX #15
			"\"e\u0301.mov\" -> \"\u00e9-2.mov\" not-nfc same-normal-form",
		}},
		{"family", []string{"A:1.mov", "A:1.xml", "A:1.wav", "A:1.jpg", "B.mov"}, limits{}, []string{
			`"A:1.jpg" -> "A-1.jpg" reserved-character`,
			`"A:1.mov" -> "A-1.mov" reserved-character`,
			`"A:1.wav" -> "A-1.wav" reserved-character`,
			`"A:1.xml" -> "A-1.xml" reserved-character`,
		}},
		{"family follows", []string{"Clip.mov", "Clip.xml", "Clip.srt", "Clip.jpg", "Clip.aac", "clip.mov", "clip.mov.xmp", "._clip.mov", "clip.wav"}, limits{}, []string{
			`"._clip.mov" -> "._clip-2.mov" `,
			`"clip.mov" -> "clip-2.mov" case-twins`,
			`"clip.mov.xmp" -> "clip-2.mov.xmp" `,
			`"clip.wav" -> "clip-2.wav" `,
		}},
		{"endings alike when cured", []string{"a.mov", "a.mov.", "a.mov "}, limits{}, []string{
			`"a.mov " -> "a-2.mov" trailing-dot-or-space`,
			`"a.mov." -> "a-3.mov" trailing-dot-or-space`,
		}},
		{"fewest renames", []string{"Clip.mov", "clip.mov", "clip.xml"}, limits{}, []string{
			`"Clip.mov" -> "Clip-2.mov" case-twins`,
		}},
		{"no tie to strangers", []string{"a-b.xml", "a:b.mov"}, limits{}, []string{
			`"a:b.mov" -> "a-b-2.mov" reserved-character`,
		}},
		{"only the ending", []string{"a.m?v", "a.xml"}, limits{}, []string{
			`"a.m?v" -> "a.m_v" reserved-character`,
		}},
		{"family of long names", []string{long + ".mov", long + ".jpeg"}, limits{name: 254}, []string{
			fmt.Sprintf(`"%s.jpeg" -> "%s-%s.jpeg" name-too-long`, long, long[:240], hashOf(long)),
			fmt.Sprintf(`"%s.mov" -> "%s-%s.mov" `, long, long[:240], hashOf(long)),
		}},
		{"key", []string{strings.Repeat("d", 60) + "/" + strings.Repeat("e", 30) + "/" + "short.mov"}, limits{key: 90, prefix: "p"}, []string{
			fmt.Sprintf(`"%s" -> "%s-%s" key-too-long`, strings.Repeat("d", 60), strings.Repeat("d", 38), hashOf(strings.Repeat("d", 60))),
		}},
		{"clutter below is left", []string{"$RECYCLE.BIN/a:b", "lost+found/x?"}, limits{}, nil},
		{"DCF card", []string{"DCIM/100ABCDE/a:b.jpg", "dcim/x.mov"}, limits{}, []string{
			`"dcim" -> "dcim-2" case-twins`,
		}},
		{"card below a bad folder", []string{"Day?1/DCIM/100ABCDE/a.jpg"}, limits{}, []string{
			`"Day?1" -> "Day_1" reserved-character`,
		}},
		{"BDMV", []string{"PRIVATE/AVCHD/BDMV/STREAM/0:0.mts", "PRIVATE/AVCHD/BDMV/CLIPINF/0.cpi", "private/x"}, limits{}, []string{
			`"private" -> "private-2" case-twins`,
		}},
		{"bag", []string{"bag:/bagit.txt", "bag:/data/x?"}, limits{}, []string{
			`"bag:" -> "bag-" reserved-character`,
		}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			root := t.TempDir()
			plant(t, root, c.tree...)
			p := mustPlan(t, root, c.limits)
			same(t, "steps", steps(p), c.want)
			same(t, "steps of a second run", steps(mustPlan(t, root, c.limits)), c.want)
			before := snapshot(t, root)
			out := mustApply(t, p)
			same(t, "content", contents(snapshot(t, root)), contents(before))
			if out.Journal != "" {
				mustUndo(t, out.Journal)
			}
			same(t, "after undo", snapshot(t, root), before)
		})
	}
}

func TestLeft(t *testing.T) {
	root := t.TempDir()
	plant(t, root, "DCIM/100ABCDE/a:b.jpg", "in => ok.mov", "abs => /nowhere", "out => ../..", "dangling => gone",
		"loop => loop", "ok.mov", ".DS_Store", "x.part", "$RECYCLE.BIN/f", "into => DCIM",
		strings.Repeat("d/", 21)+"deep.mov")
	if err := os.WriteFile(root+"/._ok.mov", []byte("\x00\x05\x16\x07rest"), 0o644); err != nil { // RFC 1740 magic (from memory)
		t.Fatal(err)
	}
	p := mustPlan(t, root, limits{})
	var got []string
	for _, l := range p.Left {
		got = append(got, fmt.Sprint(l.Path, " ", l.Rules, " ", l.Offers))
	}
	skip, archive, replace := OfferSkip, OfferArchive, OfferReplace
	line := func(path, rule string, offers ...Offer) string {
		return fmt.Sprint(path, " ", []string{rule}, " ", offers)
	}
	same(t, "left", got, []string{
		line("$RECYCLE.BIN", "desktop-clutter", skip),
		line(".DS_Store", "desktop-clutter", skip),
		line("._ok.mov", "apple-double", skip),
		line("DCIM/100ABCDE/a:b.jpg", "reserved-character", skip, archive),
		line("abs", "link-absolute", skip),
		line(strings.TrimSuffix(strings.Repeat("d/", 21), "/"), "too-deep"),
		line("dangling", "link-dangling", skip),
		line("in", "link-inside", skip, replace),
		line("into", "link-inside", skip, replace),
		line("loop", "link-loop", skip),
		line("out", "link-outside", skip),
		line("x.part", "unfinished-file", skip),
	})
	if c := p.Left[3].Card; c == nil || c.Command() != "pax -w -x pax -f DCIM.tar DCIM" {
		t.Errorf("card of the photo: %+v", c)
	}
	if why := p.Left[3].Why; !strings.Contains(why, "JEITA CP-3461") {
		t.Errorf("the reason names no standard: %s", why)
	}
}

func TestTooLongToCure(t *testing.T) {
	root := t.TempDir()
	path := strings.Repeat("abcdefgh/", 12) + "clip.mov" // parts too short to be made shorter
	plant(t, root, path)
	p := mustPlan(t, root, limits{key: 100})
	if len(p.Steps) != 0 || len(p.Left) != 1 || p.Left[0].Path != path || p.Left[0].Rules[0] != "key-too-long" {
		t.Fatalf("steps %q, left %+v", steps(p), p.Left)
	}
}

func TestEdit(t *testing.T) {
	root := t.TempDir()
	plant(t, root, "f?/A:1.mov", "f?/A:1.xml", "f?/other.mov", "f?/OTHER2.mov", "f?/B:.mov")
	p := mustPlan(t, root, limits{})
	at := func(from string) int {
		i, ok := p.find(from)
		if !ok {
			t.Fatalf("no step for %s", from)
		}
		return i
	}
	for name, want := range map[string]string{
		"":                                "empty",
		"..":                              "empty",
		"a/b.mov":                         "slash",
		"a:b.mov":                         "refuse",
		"a.":                              "dot or a space",
		"e\u0301.mov":                     "Normalization Form C",
		"Other.mov":                       "taken",
		"other2.MOV":                      "taken",
		"B-.mov":                          "taken", // the proposal of another step
		strings.Repeat("x", 252) + ".mov": "255",
	} {
		_, err := p.familyNames(at("f?/A:1.mov"), name)
		if !errors.Is(err, ErrName) || !strings.Contains(err.Error(), want) {
			t.Errorf("familyNames(%q) = %v, want %q", name, err, want)
		}
	}
	if err := p.Edit(at("f?/A:1.mov"), "Harbour.mov"); err != nil {
		t.Fatal(err)
	}
	if err := p.Edit(at("f?"), "Day 1"); err != nil {
		t.Fatal(err)
	}
	if err := p.Leave(at("f?/B:.mov")); err != nil {
		t.Fatal(err)
	}
	same(t, "steps", steps(p), []string{
		`"f?" -> "Day 1" reserved-character`,
		`"f?/A:1.mov" -> "Day 1/Harbour.mov" reserved-character`,
		`"f?/A:1.xml" -> "Day 1/Harbour.xml" reserved-character`,
		`"f?/B:.mov" -> "Day 1/B:.mov" reserved-character`,
	})
	before := snapshot(t, root)
	out := mustApply(t, p)
	var got []string
	for path := range snapshot(t, root) {
		if path != "" && !Ours(path) {
			got = append(got, path)
		}
	}
	slices.Sort(got)
	same(t, "tree", got, []string{"Day 1", "Day 1/B:.mov", "Day 1/Harbour.mov", "Day 1/Harbour.xml", "Day 1/OTHER2.mov", "Day 1/other.mov"})
	mustUndo(t, out.Journal)
	same(t, "after undo", snapshot(t, root), before)
}

// TestEditAddsFamily: a new stem for a clip whose sidecar had nothing wrong takes the sidecar along.
func TestEditAddsFamily(t *testing.T) {
	root := t.TempDir()
	plant(t, root, "a.m?v", "a.xml")
	p := mustPlan(t, root, limits{})
	if err := p.Edit(0, "b.mov"); err != nil {
		t.Fatal(err)
	}
	same(t, "steps", steps(p), []string{`"a.m?v" -> "b.mov" reserved-character`, `"a.xml" -> "b.xml" `})
}

// TestChainsAndRings: names that pass on from file to file.
func TestChainsAndRings(t *testing.T) {
	cases := map[string][][2]string{
		"chain":          {{"a", "b"}, {"b", "c"}, {"c", "d"}},
		"swap":           {{"a", "b"}, {"b", "a"}},
		"ring":           {{"a", "b"}, {"b", "c"}, {"c", "a"}},
		"case only":      {{"a", "A"}},
		"case swap":      {{"a", "B"}, {"b", "A"}},
		"form only":      {{"e\u0301", "\u00e9"}},
		"folders":        {{"d/", "e"}, {"e/", "d"}, {"d/x", "y"}, {"e/x", "z"}},
		"folder in case": {{"d/", "D"}, {"d/d/", "D"}, {"d/d/d", "D"}},
	}
	for name, moves := range cases {
		t.Run(name, func(t *testing.T) {
			root := t.TempDir()
			p := forced(t, root, moves)
			before := snapshot(t, root)
			out := mustApply(t, p)
			after := snapshot(t, root)
			same(t, "content", contents(after), contents(before))
			for _, s := range p.Steps {
				if got, want := after[s.To], before[s.From]; got != want {
					t.Errorf("%q holds %q, want %q", s.To, got, want)
				}
			}
			mustUndo(t, out.Journal)
			same(t, "after undo", snapshot(t, root), before)
		})
	}
}

// forced makes a tree and a plan with the given renames, past what Edit would allow one at a time.
func forced(t testing.TB, root string, moves [][2]string) *Plan {
	var tree []string
	for _, m := range moves {
		tree = append(tree, m[0])
	}
	plant(t, root, tree...)
	return force(t, root, moves)
}

func force(t testing.TB, root string, moves [][2]string) *Plan {
	p := mustPlan(t, root, limits{})
	opened, err := os.OpenRoot(root)
	if err != nil {
		t.Fatal(err)
	}
	defer opened.Close()
	p.Steps, p.root = nil, opened
	for _, m := range moves {
		dir, name := names.Split(strings.TrimSuffix(m[0], "/"))
		f := p.folders[dir]
		if err := p.load(f); err != nil {
			t.Fatal(err)
		}
		e := f.find(name)
		if e == nil {
			t.Fatalf("%q is not in %q", name, dir)
		}
		if e.family == nil {
			families(f.entries)
		}
		e.to = m[1]
		f.finalLengths()
		p.addStep(f, e)
	}
	p.retarget()
	return p
}

// hostile draws names that break every rule, and some that break none.
func hostile() *rapid.Generator[string] {
	parts := rapid.SampledFrom([]string{
		"a", "A", "clip", "Clip", "é", "e\u0301", "ß", "ss", "SS", "字", "🎬", " ", ".", "-", "_", ":", "?", "\\",
		"\n", "\r", "\t", "\x01", "\x7f", "\u0085", "\u202e", "\u200f", "\xff", "\xe9", "\x8a", "\xed\xa0\x80", "K", "\u212a",
		"con", "NUL", "com1", ".mov", ".MOV", ".xml", ".mov.", "-2", "\u0300", "\u0344", "ﬁ", "fi",
		strings.Repeat("w", 60), strings.Repeat("é", 50), "100ABCDE", "DCIM", ".part", "._",
	})
	return rapid.Custom(func(t *rapid.T) string {
		s := strings.Join(rapid.SliceOfN(parts, 1, 5).Draw(t, "parts"), "")
		if len(s) > 255 {
			s = s[:255]
		}
		if s == "." || s == ".." || Ours(s) {
			return "dots"
		}
		return s
	})
}

// drawTree makes a random tree of hostile names.
func drawTree(t *rapid.T, root string) {
	dirs := []string{""}
	var files []string
	for range rapid.IntRange(1, 14).Draw(t, "entries") {
		dir := rapid.SampledFrom(dirs).Draw(t, "dir")
		path := names.Join(dir, hostile().Draw(t, "name"))
		if strings.Count(path, "/") > 5 {
			continue
		}
		if _, err := os.Lstat(root + "/" + path); err == nil {
			continue
		}
		switch kind := rapid.IntRange(0, 9).Draw(t, "kind"); {
		case kind < 3:
			if err := os.Mkdir(root+"/"+path, 0o755); err != nil {
				t.Fatal(err)
			}
			dirs = append(dirs, path)
			continue
		case kind == 3 && len(files) > 0: // a second name of one file: the two have one inode
			if err := os.Link(root+"/"+rapid.SampledFrom(files).Draw(t, "other"), root+"/"+path); err != nil {
				t.Fatal(err)
			}
			continue
		}
		files = append(files, path)
		if err := os.WriteFile(root+"/"+path, []byte(path), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// TestStemOfStrangers guards against trying numbers for ever: the ending ".\u202e" is gone when it is
// cured, "clip" becomes the ending, and the number comes to stand in that, so every number gives the stem
// of the other file.
func TestStemOfStrangers(t *testing.T) {
	root := t.TempDir()
	plant(t, root, "day 1.mov", "day 1.clip.\u202e")
	p := mustPlan(t, root, limits{})
	same(t, "steps", steps(p), []string{`"day 1.clip.\u202e" -> "day 1.clip" bidi-control`})
	mustApply(t, p)
	if err := cured(root, limits{}); err != nil {
		t.Error(err)
	}
}

// TestAnyTree: whatever the tree, after applying no rule is broken that a rename can cure, nothing
// is lost, and undo brings everything back.
func TestAnyTree(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		root, err := os.MkdirTemp(quick(t), "")
		if err != nil {
			rt.Fatal(err)
		}
		defer os.RemoveAll(root)
		drawTree(rt, root)
		age(t, root)
		before := snapshot(t, root)
		l := limits{key: rapid.SampledFrom([]int{0, 100, 200, 400}).Draw(rt, "key")}
		p := mustPlan(t, root, l)
		if again := steps(mustPlan(t, root, l)); !slices.Equal(again, steps(p)) {
			rt.Fatalf("two runs differ:\n%q\n%q", again, steps(p))
		}
		out, err := p.Apply(context.Background(), Options{StateDir: "/nonexistent"})
		if err != nil {
			rt.Fatal(err)
		}
		after := snapshot(t, root)
		same(t, "content", contents(after), contents(before))
		if err := cured(root, l); err != nil && len(p.Left) == 0 {
			rt.Fatalf("%v\nplan: %q", err, steps(p))
		}
		if len(mustPlan(t, root, l).Steps) > 0 {
			rt.Fatalf("a second plan still finds %q after %q", steps(mustPlan(t, root, l)), steps(p))
		}
		for _, s := range p.Steps {
			if after[s.To] == "" || after[s.To] != before[s.From] {
				rt.Fatalf("%q did not become %q", s.From, s.To)
			}
		}
		if out.Journal != "" {
			mustUndo(t, out.Journal)
		}
		same(t, "after undo", snapshot(t, root), before)
	})
}
