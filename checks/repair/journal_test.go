package repair

import (
	"bytes"
	"errors"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"loadline/checks/walk"
)

func sample() *journal {
	return &journal{
		head:    head{State: string(StateApplying), Loadline: journalMagic, Version: journalVersion, ID: "0123abcd", Source: "/media/disk", Started: time.Date(2026, 1, 2, 3, 4, 5, 0, time.UTC)},
		folders: []dated{{"", identity{Kind: walk.Folder, Sec: 1}}, {"d\xff", identity{Kind: walk.Folder, Sec: 2}}},
		moves: []*move{
			{dir: "d\xff", from: "a\n\xfe", to: "a_", temp: tempPrefix + "0123abcd-0", at: oldToTemp, id: identity{Inode: 7, Size: 9}},
			{dir: "", from: "l", to: "l", temp: tempPrefix + "0123abcd-1", at: copying, id: identity{Kind: walk.Link}, made: &made{Target: "x\xff", Folder: true, Of: tally{Files: 2, Bytes: 5, Listing: raw32{1, 2, 3, 1 << 63}}}},
			{dir: "d\xff", from: "DCIM", to: "DCIM.tar", temp: tempPrefix + "0123abcd-2", at: packing, id: identity{Kind: walk.Folder}, made: &made{Size: 10240, Of: tally{Files: 1}}},
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
		"word out of place": {`{"state":"copying`, `{"state": "copying`},
		"other version":     {`"version":1`, `"version":2`},
		"other lines":       {`"lines":5`, `"lines":3`},
		"bad id":            {`"id":"0123abcd"`, `"id":"../../.."`},
	} {
		changed := bytes.Replace(slices.Clone(data), []byte(change[0]), []byte(change[1]), 1)
		if bytes.Equal(changed, data) {
			t.Fatalf("%s: nothing changed in\n%s", name, data)
		}
		if _, err := decode(changed); !errors.Is(err, ErrJournal) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// TestTornWord: a word that was half written counts for nothing; the disk tells.
func TestTornWord(t *testing.T) {
	root := t.TempDir()
	plant(t, root, "a:b")
	before := snapshot(t, root)
	out := mustApply(t, mustPlan(t, root, Limits{}))
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
