//go:build rig

package fix

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"golang.org/x/sys/unix"
)

// Tests on real HFS+ volumes, in the guest that TestInTheRig boots. What the disk does to names is
// as measured on its kernel, Linux 6.1: it stores them decomposed and lists them composed again, by
// a table of its own. What that table composes and Unicode does not (the Composition Exclusions of
// UAX #15, such as U+0958) is listed in a spelling that is not in Normalization Form C, whatever the
// file was named. Mounted with nodecompose a volume is listed as it is stored, which is how macOS lists
// it (from memory).
const (
	qa    = "\u0958"       // as the disk lists it
	qaNFC = "\u0915\u093c" // as it is in Normalization Form C, and as the disk stores it
)

func newHFSPlus(t *testing.T, caseSensitive bool) *testDisk {
	t.Helper()
	d := &testDisk{
		t: t, image: filepath.Join(t.TempDir(), "image"), path: t.TempDir(),
		mount: []string{"mount", "-t", "hfsplus", "-o", "loop"},
	}
	run(t, "modprobe", "-a", "loop", "hfsplus", "nls_utf8")
	makeHFSPlus(t, d.image, 24, "TRAVEL", caseSensitive)
	d.plug()
	t.Cleanup(d.unplug)
	return d
}

func eachHFSPlus(t *testing.T, test func(t *testing.T, caseSensitive bool, d *testDisk)) {
	for name, sensitive := range map[string]bool{"HFS+": false, "HFSX": true} {
		t.Run(name, func(t *testing.T) { test(t, sensitive, newHFSPlus(t, sensitive)) })
	}
}

// replug takes the disk out and plugs it in again, with further options of mount.
func (d *testDisk) replug(options ...string) {
	d.t.Helper()
	d.unplug()
	d.plug(options...)
}

func listed(t *testing.T, folder string) []string {
	t.Helper()
	entries, err := os.ReadDir(folder)
	if err != nil {
		t.Fatal(err)
	}
	var all []string
	for _, e := range entries {
		all = append(all, e.Name())
	}
	slices.Sort(all)
	return all
}

// TestGuestVolume: the volumes are what the other tests take them for.
func TestGuestVolume(t *testing.T) {
	eachHFSPlus(t, func(t *testing.T, sensitive bool, d *testDisk) {
		var st unix.Statfs_t
		if err := unix.Statfs(d.path, &st); err != nil || st.Type != 0x482b { // HFSPLUS_SUPER_MAGIC
			t.Fatalf("type %#x, %v", st.Type, err)
		}
		plant(t, d.path, "e\u0301.mov", "a.mov", qaNFC+".mov")
		d.replug()
		same(t, "listed", listed(t, d.path), []string{"a.mov", "\u00e9.mov", qa + ".mov"})
		_, err := os.Lstat(d.path + "/A.mov")
		if got := errors.Is(err, os.ErrNotExist); got != sensitive {
			t.Errorf("looking for another case: %v", err)
		}
		// A case that changes without a detour is no change at all.
		if err := os.Rename(d.path+"/a.mov", d.path+"/A.mov"); err != nil {
			t.Error(err)
		}
		if _, list := sensitive, listed(t, d.path); slices.Contains(list, "A.mov") != sensitive {
			t.Errorf("renamed to A.mov: %q", list)
		}
		d.replug("-o", "nodecompose")
		if list := listed(t, d.path); !slices.Contains(list, "e\u0301.mov") || !slices.Contains(list, qaNFC+".mov") {
			t.Errorf("stored: %+q", list)
		}
	})
}

// hfsMoves are diskMoves as far as names are what the disk makes of them, and others with marks.
var hfsMoves = append(slices.DeleteFunc(slices.Clone(diskMoves), func(m [2]string) bool {
	return strings.Contains(m[0], "e\u0301")
}), [][2]string{
	{"d/\u00c9t\u00e9.mov", "\u00e9t\u00e9.mov"}, // case only, with marks
	{"d/\u00fc1", "\u00fc2"},
	{"d/\u00fc2", "\u00fc1"},
	{"d/\uac00/", "\uac01"}, // a syllable that is stored as two and three letters
	{"d/\uac00/x", "\u00f1"},
}...)

// TestGuestMoves is TestDisks: changes of case only, chains, rings, and back, with the disk unplugged
// in between.
func TestGuestMoves(t *testing.T) {
	eachHFSPlus(t, func(t *testing.T, _ bool, d *testDisk) {
		root := filepath.Join(d.path, "archive")
		p := forced(t, root, hfsMoves)
		before := snapshot(t, root)
		out := mustApply(t, p)
		if len(out.Kept)+len(out.Dates)+len(out.Gone) > 0 || out.Done != len(hfsMoves) {
			t.Errorf("outcome %+v", out)
		}
		d.replug()
		after := snapshot(t, root)
		for _, s := range p.Steps {
			if after[s.To] != before[s.From] || after[s.To] == "" {
				t.Errorf("%q holds %q, want %q", s.To, after[s.To], before[s.From])
			}
		}
		same(t, "content", contents(after), contents(before))
		mustUndo(t, out.Journal)
		d.replug()
		same(t, "after undo", snapshot(t, root), before)
	})
}

// TestGuestKept: of names that the disk spells in its own way the outcome tells those that a rename
// did not change at all, and every one is found again on the way back.
func TestGuestKept(t *testing.T) {
	moves := [][2]string{
		{"d/" + qa + ".mov", qaNFC + ".mov"}, // normal form only
		{"d/ " + qa + ".wav", qaNFC + ".wav"},
		{"d/x " + qa + "/", "y " + qaNFC},
		{"d/x " + qa + "/1", "2"},
		{"d/plain", "still plain"},
	}
	eachHFSPlus(t, func(t *testing.T, _ bool, d *testDisk) {
		root := filepath.Join(d.path, "archive")
		p := forced(t, root, moves)
		before := snapshot(t, root)
		out := mustApply(t, p)
		same(t, "kept", out.Kept, []string{"d/" + qa + ".mov"})
		d.replug()
		same(t, "listed", listed(t, root+"/d"), []string{"still plain", "y " + qa, qa + ".mov", qa + ".wav"})
		same(t, "content", contents(snapshot(t, root)), contents(before))
		undone, err := Undo(context.Background(), out.Journal, Options{StateDir: t.TempDir()})
		if err != nil || len(undone.Gone)+len(undone.Kept)+len(undone.Dates) > 0 {
			t.Fatalf("undone: %+v, %v", undone, err)
		}
		d.replug()
		same(t, "after undo", snapshot(t, root), before)
	})
}

// TestGuestCrash stops at a few points, unplugs the disk, and goes on or back.
func TestGuestCrash(t *testing.T) {
	eachHFSPlus(t, func(t *testing.T, _ bool, d *testDisk) {
		for i, point := range []int{9, 31, 64, 90} {
			root := filepath.Join(d.path, fmt.Sprint("archive", i))
			p := forced(t, root, hfsMoves)
			before := snapshot(t, root)
			o := Options{StateDir: t.TempDir()}
			if !crashing(point, func(hook func(string)) {
				o := o
				o.test.hook = hook
				if _, err := p.Apply(context.Background(), o); err != nil {
					t.Fatal(err)
				}
			}) {
				t.Errorf("point %d was not reached", point)
			}
			d.replug()
			recoverFrom(t, p, before, o, i%2 == 0)
			d.replug()
			same(t, "after all", snapshot(t, root), before)
		}
	})
}

// TestGuestCrashKept is the same with names that the disk spells in its own way.
func TestGuestCrashKept(t *testing.T) {
	moves := [][2]string{
		{" " + qa + "1", qaNFC + "2"},
		{qa + "2", qaNFC + "3"},
		{qa + "3", qaNFC + "1"},
		{"a " + qa + "/", "A " + qaNFC},
		{"a " + qa + "/x", "X"},
	}
	d := newHFSPlus(t, false)
	points := 0
	for point := 0; ; point += 3 {
		root := filepath.Join(d.path, fmt.Sprint("archive", point))
		p := forced(t, root, moves)
		before := snapshot(t, root)
		o := Options{StateDir: t.TempDir()}
		crashed := crashing(point, func(hook func(string)) {
			o := o
			o.test.hook = hook
			if _, err := p.Apply(context.Background(), o); err != nil {
				t.Fatal(err)
			}
		})
		all, err := Journals(root, o.StateDir)
		if err != nil {
			t.Fatal(err)
		}
		if len(all) > 0 {
			journal := all[0].Path
			if point%2 == 0 {
				out, err := Resume(context.Background(), journal, o)
				if err != nil || len(out.Gone) > 0 {
					t.Fatalf("point %d: resumed: %+v, %v", point, out, err)
				}
				journal = out.Journal
			}
			if journal != "" {
				mustUndo(t, journal)
			}
		}
		after := snapshot(t, root)
		if len(all) == 0 {
			after[""] = before[""] // as in recoverFrom
		}
		same(t, fmt.Sprint("point ", point), after, before)
		if !crashed {
			break
		}
		points++
	}
	if points < 2*len(moves) {
		t.Errorf("only %d points were tried", points)
	}
}

// TestGuestPlan plans and applies what NewPlan proposes on HFS+, and says of what stays that no
// rename cures it, before and after alike.
func TestGuestPlan(t *testing.T) {
	eachHFSPlus(t, func(t *testing.T, sensitive bool, d *testDisk) {
		root := filepath.Join(d.path, "archive")
		tree := []string{
			" lead.mov", "-x.mov", "-x.xml", "con.mov", "e\u0301.mov", "a:b", "two\nlines", "dot.", "sub \u202e/-y",
			"sub \u202e/nul", "marks/" + qa + ".mov", "marks/ b" + qa + ".wav", "marks/" + qa + "/x",
		}
		if sensitive {
			tree = append(tree, "A.mov", "a.mov")
		}
		plant(t, root, tree...)
		before := snapshot(t, root)
		p := mustPlan(t, root, limits{})
		stays := []string{"marks/ b" + qa + ".wav", "marks/" + qa, "marks/" + qa + ".mov"}
		same(t, "stays", respelled(p), stays)
		for _, s := range p.Steps {
			if slices.Contains(s.Rules, ruleNotNFC) {
				t.Errorf("promises to cure %q of %v", s.From, s.Rules)
			}
		}
		out := mustApply(t, p)
		same(t, "kept", out.Kept, []string(nil)) // the plan has said so
		d.replug()
		again := mustPlan(t, root, limits{})
		same(t, "second plan", steps(again), []string(nil))
		same(t, "stays", respelled(again), []string{"marks/b" + qa + ".wav", "marks/" + qa, "marks/" + qa + ".mov"})
		same(t, "content", contents(snapshot(t, root)), contents(before))
		mustUndo(t, out.Journal)
		d.replug()
		same(t, "after undo", snapshot(t, root), before)

		// The way out that is told: names without marks.
		p = mustPlan(t, root, limits{portable: true})
		same(t, "stays under portable names", respelled(p), []string(nil))
		out = mustApply(t, p)
		if len(out.Kept) > 0 {
			t.Errorf("kept %q", out.Kept)
		}
		if err := cured(root, limits{}); err != nil {
			t.Error(err)
		}
		mustUndo(t, out.Journal)
		d.replug()
		same(t, "after the second undo", snapshot(t, root), before)
	})
}

// respelled returns the paths of which a plan says that the disk spells them in its own way.
func respelled(p *Plan) (all []string) {
	for _, l := range p.Left {
		if slices.Contains(l.Rules, ruleNotNFC) && strings.Contains(l.Why, "HFS+") {
			all = append(all, l.Path)
		}
	}
	return all
}

// TestGuestDecomposed looks at a volume whose names are listed decomposed: none is proposed for a
// rename that the disk would undo, or that the system which wrote it would not find any more.
func TestGuestDecomposed(t *testing.T) {
	d := newHFSPlus(t, false)
	root := filepath.Join(d.path, "archive")
	plant(t, root, "\u00e9te\u0301.mov", "\u00fc/n\u00e3o: 1.mov", "plain.mov")
	d.replug("-o", "nodecompose")
	before := snapshot(t, root)
	p := mustPlan(t, root, limits{})
	same(t, "stays", respelled(p), []string{"e\u0301te\u0301.mov", "u\u0308", "u\u0308/na\u0303o: 1.mov"})
	if len(p.Steps) != 1 || p.Steps[0].From != "u\u0308/na\u0303o: 1.mov" {
		t.Errorf("steps %q", steps(p))
	}
	p = mustPlan(t, root, limits{portable: true})
	same(t, "portable", steps(p), []string{
		"\"e\u0301te\u0301.mov\" -> \"ete.mov\" not-portable",
		"\"u\u0308\" -> \"u\" not-portable",
		"\"u\u0308/na\u0303o: 1.mov\" -> \"u/nao-_1.mov\" not-portable reserved-character",
	})
	out := mustApply(t, p)
	d.replug("-o", "nodecompose")
	same(t, "names", listed(t, root), []string{filepath.Base(out.Journal), "ete.mov", "plain.mov", "u"})
	mustUndo(t, out.Journal)
	d.replug("-o", "nodecompose")
	same(t, "after undo", snapshot(t, root), before)
}

// TestGuestCommand: the command itself, as a person runs it.
func TestGuestCommand(t *testing.T) {
	d := newHFSPlus(t, false)
	root := filepath.Join(d.path, "archive")
	plant(t, root, "day 1/a:b.mov", "day 1/\u00e9?.wav", qa+".mov", "x? "+qa+".wav")
	before := snapshot(t, root)
	flagged := func() string { return command(t, 0, "before", "-json", root) }
	if report := flagged(); !strings.Contains(report, `"rule":"not-nfc"`) {
		t.Errorf("not flagged: %s", report)
	}
	var plan struct {
		Plan    []struct{ From string }
		Left    []struct{ Path, Why string }
		Journal string
	}
	if err := json.Unmarshal([]byte(command(t, 0, "fix", "-apply", "-json", root)), &plan); err != nil {
		t.Fatal(err)
	}
	if len(plan.Plan) != 3 || len(plan.Left) != 2 {
		t.Errorf("plan %+v", plan)
	}
	for _, l := range plan.Left {
		if !strings.Contains(l.Path, qa) || !strings.Contains(l.Why, "HFS+") {
			t.Errorf("left %+v", l)
		}
	}
	d.replug()
	if again := command(t, 0, "fix", root); !strings.Contains(again, "No name needs to change.") || !strings.Contains(again, "HFS+") {
		t.Errorf("a second plan says:\n%s", again)
	}
	command(t, 0, "fix", "-undo", plan.Journal)
	d.replug()
	same(t, "after undo", snapshot(t, root), before)
}

// TestGuestVFAT plans for a FAT disk as a share, which folds case, drops the dot at the end of a name and
// refuses characters; by the package, and by the command itself.
func TestGuestVFAT(t *testing.T) {
	run(t, "modprobe", "-a", "loop", "vfat", "nls_utf8", "nls_cp437", "nls_iso8859-1")
	d := newDisk(t, 64, []string{"mkfs.vfat"}, []string{"mount", "-t", "vfat", "-o", "loop,utf8=1"})
	bad := []string{"a:b.mov", "what?.mov", "Wheel.tif", "wheel.tif", "dot.", "tab\there"}
	planFor(t, d.path, bad)

	source, lists := t.TempDir(), t.TempDir()
	plant(t, source, travel...)
	command(t, 0, "fix", "-0", "-copy-list", lists+"/copy", "-skip-list", lists+"/skip", source, d.path)
	copyList, err := os.ReadFile(lists + "/copy")
	must(t, err)
	skipList, err := os.ReadFile(lists + "/skip")
	must(t, err)
	for _, path := range bad {
		if slices.Contains(lines(string(copyList)), path) || !slices.Contains(lines(string(skipList)), path) {
			t.Errorf("%q is on the wrong list", path)
		}
	}
	arrives(t, source, filepath.Join(d.path, "command"), lines(string(copyList)))
}

// command runs the program itself, which must end with a status, and returns what it prints.
func command(t *testing.T, want int, args ...string) string {
	t.Helper()
	c := exec.Command(filepath.Join(filepath.Dir(os.Args[0]), "loadline-cli"), args...)
	c.Env = append(os.Environ(), "XDG_STATE_HOME="+t.TempDir())
	out, err := c.Output()
	if c.ProcessState == nil || c.ProcessState.ExitCode() != want {
		t.Fatalf("%q: %v\n%s", args, err, out)
	}
	return string(out)
}
