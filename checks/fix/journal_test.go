package fix

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"loadline/checks/walk"
)

func sample() *journalFile {
	return &journalFile{
		head:    head{State: string(StateApplying), Loadline: journalMagic, Version: journalVersion, ID: "0123abcd", Source: "/media/disk", Started: time.Date(2026, 1, 2, 3, 4, 5, 0, time.UTC)},
		folders: []dated{{"", identity{Kind: walk.Folder, Sec: 1}}, {"d\xff", identity{Kind: walk.Folder, Sec: 2}}},
		moves: []*move{
			{dir: "d\xff", from: "a\n\xfe", to: "a_", temp: tempPrefix + "0123abcd-0", at: oldToTemp, id: identity{Inode: 7, Size: 9}},
			{dir: "", from: "l", to: "l", temp: tempPrefix + "0123abcd-1", at: copying, id: identity{Kind: walk.Link}, made: &made{Target: "x\xff", Folder: true, Of: inventory{Files: 2, Bytes: 5, Listing: raw32{1, 2, 3, 1 << 63}}}},
			{dir: "d\xff", from: "DCIM", to: "DCIM.tar", temp: tempPrefix + "0123abcd-2", at: packing, id: identity{Kind: walk.Folder}, made: &made{Size: 10240, Of: inventory{Files: 1}}},
		},
	}
}

func TestJournalRoundTrip(t *testing.T) {
	j := sample()
	data, err := j.encode()
	if err != nil {
		t.Fatal(err)
	}
	got, err := decode(data)
	if err != nil {
		t.Fatal(err)
	}
	again, err := got.encode()
	if err != nil || !bytes.Equal(again, data) {
		t.Errorf("second writing, %v:\n%s\nfirst:\n%s", err, again, data)
	}
	for i, m := range got.moves {
		if m.offset != j.moves[i].offset || string(data[m.offset:m.offset+wordLen]) != word(m.at) {
			t.Errorf("word of move %d at %d holds %q", i, m.offset, data[m.offset:m.offset+wordLen])
		}
	}
}

// TestJournalCut: a journal that breaks off anywhere never renames anything.
func TestJournalCut(t *testing.T) {
	data, err := sample().encode()
	if err != nil {
		t.Fatal(err)
	}
	for n := range len(data) {
		if _, err := decode(data[:n]); !errors.Is(err, errHalf) && !errors.Is(err, ErrJournal) {
			t.Fatalf("the first %d of %d bytes: %v", n, len(data), err)
		}
	}
}

func TestJournalRefused(t *testing.T) {
	data, err := sample().encode()
	if err != nil {
		t.Fatal(err)
	}
	for name, change := range map[string][2]string{
		"name with a slash": {`"to":"a_"`, `"to":"/x"`},
		"name up":           {`"to":"a_"`, `"to":".."`},
		"folder up":         {`"folder":""`, `"folder":".."`},
		"temp of others":    {`"temp":".loadline-moving-`, `"temp":".loadline_moving-`},
		"temp of another":   {`abcd-1"`, `abcd-0"`},
		"temp of a plan":    {`moving-0123abcd`, `moving-0123abce`},
		"copy elsewhere":    {`"to":"l"`, `"to":"m"`},
		"word out of place": {`{"state":"copying`, `{"state": "copying`},
		"other version":     {`"version":2`, `"version":1`},
		"other lines":       {`"lines":5`, `"lines":3`},
		"bad id":            {`"id":"0123abcd"`, `"id":"../../.."`},
	} {
		changed := bytes.Replace(slices.Clone(data), []byte(change[0]), []byte(change[1]), 1)
		if bytes.Equal(changed, data) {
			t.Fatalf("%s: nothing changed in\n%s", name, data)
		}
		if _, err := decode(resealed(changed)); !errors.Is(err, ErrJournal) || strings.Contains(err.Error(), "other lines") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// resealed gives a journal the checksum of what it holds, as one would who forges it.
func resealed(data []byte) []byte {
	foot := bytes.LastIndexByte(data[:len(data)-1], '\n') + 1
	sum := sha256.New()
	for text := range bytes.Lines(data[:foot]) {
		sum.Write(fixed(text))
	}
	at := bytes.Index(data[foot:], []byte(`"sha256":"`)) + foot + len(`"sha256":"`)
	return slices.Concat(data[:at], []byte(hex.EncodeToString(sum.Sum(nil))), data[at+2*sha256.Size:])
}

// TestJournalBits: whichever bit of a journal turns, it is refused, or tells of the very names, places
// and dates that were written; only a word, which the disk must bear out, may be lost.
func TestJournalBits(t *testing.T) {
	data, err := sample().encode()
	if err != nil {
		t.Fatal(err)
	}
	want := blank(t, data)
	for bit := range len(data) * 8 {
		turned := slices.Clone(data)
		turned[bit/8] ^= 1 << (bit % 8)
		if _, err := decode(turned); err == nil {
			same(t, fmt.Sprintf("bit %d", bit), blank(t, turned), want)
		} else if !errors.Is(err, ErrJournal) && !errors.Is(err, errHalf) {
			t.Fatalf("bit %d: %v", bit, err)
		}
	}
}

// blank renders what a journal tells but its words.
func blank(t *testing.T, data []byte) string {
	t.Helper()
	j, err := decode(data)
	if err != nil {
		t.Fatal(err)
	}
	j.head.State = ""
	for _, m := range j.moves {
		m.at = ""
	}
	out, err := j.encode()
	if err != nil {
		t.Fatal(err)
	}
	return string(out)
}

// TestJournalEndLost: of a plan that was applied, what is left of the journal is kept, and nothing is taken
// for undone.
func TestJournalEndLost(t *testing.T) {
	root := t.TempDir()
	plant(t, root, "a:b", "c:d")
	journal := mustApply(t, mustPlan(t, root, limits{})).Journal
	info, err := os.Stat(journal)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(journal, info.Size()-3); err != nil {
		t.Fatal(err)
	}
	for name, do := range map[string]func(context.Context, string, Options) (*Outcome, error){"resume": Resume, "undo": Undo} {
		if _, err := do(context.Background(), journal, Options{}); !errors.Is(err, ErrJournal) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := os.Stat(journal); err != nil {
		t.Error(err)
	}
}

// TestJournalBarelyBegun: what a kill leaves of a journal in its first moment is removed by undo.
func TestJournalBarelyBegun(t *testing.T) {
	data, err := sample().encode()
	if err != nil {
		t.Fatal(err)
	}
	data = bytes.Replace(data, []byte("applying"), []byte(word("planned")), 1)
	for _, n := range []int{0, 1, wordAt, wordAt + 3, wordAt + wordLen, 60} {
		root := t.TempDir()
		plant(t, root, "a.mov")
		journal := root + "/" + journalPrefix + "x" + journalSuffix
		if err := os.WriteFile(journal, data[:n], 0o600); err != nil {
			t.Fatal(err)
		}
		if out, err := Undo(context.Background(), journal, Options{}); err != nil || out.Done > 0 {
			t.Errorf("%d bytes: %+v, %v", n, out, err)
		}
		if _, err := os.Stat(journal); err == nil {
			t.Errorf("%d bytes: it is still there", n)
		}
	}
}

// TestTornWord: a word that was half written counts for nothing; the disk tells.
func TestTornWord(t *testing.T) {
	root := t.TempDir()
	plant(t, root, "a:b")
	before := snapshot(t, root)
	out := mustApply(t, mustPlan(t, root, limits{}))
	data, err := os.ReadFile(out.Journal)
	if err != nil {
		t.Fatal(err)
	}
	torn := strings.Replace(string(data), `"state":"new     "`, `"state":"ol>temp "`, 1)
	if torn == string(data) {
		t.Fatalf("no word in %s", data)
	}
	if err := os.WriteFile(out.Journal, []byte(torn), 0o600); err != nil {
		t.Fatal(err)
	}
	mustUndo(t, out.Journal)
	same(t, "after undo", snapshot(t, root), before)
}

func FuzzJournal(f *testing.F) {
	data, err := sample().encode()
	if err != nil {
		f.Fatal(err)
	}
	f.Add(data)
	f.Add(data[:len(data)/2])
	f.Fuzz(func(t *testing.T, data []byte) {
		j, err := decode(data)
		if err != nil {
			return
		}
		for _, m := range j.moves {
			for _, name := range []string{m.from, m.to, m.temp} {
				if name == "" || name == "." || name == ".." || strings.ContainsAny(name, "/\x00") {
					t.Fatalf("name %q was let in", name)
				}
			}
			for part := range strings.SplitSeq(m.dir, "/") {
				if part == ".." || part == "." {
					t.Fatalf("folder %q was let in", m.dir)
				}
			}
			if m.offset < int64(wordAt) || m.offset+wordLen > int64(len(data)) || bytes.ContainsAny(data[m.offset:m.offset+wordLen], "\n\"") {
				t.Fatalf("a word at %d of %d bytes", m.offset, len(data))
			}
		}
	})
}
