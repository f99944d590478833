package digest

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"loadline/checks/internal/fixture"
	"loadline/checks/internal/sums"
)

func records() []Record {
	return []Record{
		{Side: Source, Ident: 1, Sums: sums.Of([]byte("a")), Path: "a"},
		{Side: Share, Ident: 1<<64 - 1, Sums: sums.Sums{SHA256: [32]byte{9}}, Path: "a"},
		{Side: Source, Ident: 3, Sums: sums.Of([]byte("b")), Path: "b\n\"\xff s 00\x00"},
	}
}

func journalOf(t testing.TB, name string, fresh bool) (*Journal, []Record) {
	t.Helper()
	var seen []Record
	j, err := OpenJournal(name, fresh, func(r *Record) { seen = append(seen, *r) })
	if err != nil {
		t.Fatal(err)
	}
	return j, seen
}

// Killed at any moment, a journal gives back what was whole, and goes on.
func TestJournalCutAnywhere(t *testing.T) {
	name := filepath.Join(t.TempDir(), "proven", "j.log")
	j, _ := journalOf(t, name, false)
	for _, r := range records() {
		j.Add(&r)
	}
	fixture.Must(t, j.Close())
	whole, err := os.ReadFile(name)
	fixture.Must(t, err)
	for n := range whole {
		fixture.WriteFile(t, name, string(whole[:n]))
		j, seen := journalOf(t, name, false)
		want := max(bytes.Count(whole[:n], []byte{'\n'})-1, 0)
		if len(seen) != want {
			t.Fatalf("cut at %d: %d records, want %d", n, len(seen), want)
		}
		for i, r := range seen {
			if r != records()[i] {
				t.Fatalf("cut at %d: record %d is %+v", n, i, r)
			}
		}
		j.Add(&records()[2])
		fixture.Must(t, j.Close())
		j, seen = journalOf(t, name, false)
		fixture.Must(t, j.Close())
		// A line of which only the LF was cut is whole again.
		if len(seen) < want+1 || len(seen) > want+2 || seen[len(seen)-1] != records()[2] {
			t.Fatalf("cut at %d, then added to: %+v", n, seen)
		}
	}
}

// A damaged line counts for nothing: one bit anywhere spoils one record at most, and makes none.
func TestJournalDamaged(t *testing.T) {
	var whole []byte
	whole = append(whole, journalFirst...)
	for _, r := range records() {
		whole = appendRecord(whole, &r)
	}
	for at := range whole {
		for bit := range 8 {
			bad := bytes.Clone(whole)
			bad[at] ^= 1 << bit
			if _, err := readJournal(bytes.NewReader(bad), func(r *Record) {
				for _, good := range records() {
					if *r == good {
						return
					}
				}
				t.Fatalf("bit %d of byte %d: %+v", bit, at, r)
			}); err != nil {
				t.Fatal(err)
			}
		}
	}
}

func TestJournalForgets(t *testing.T) {
	name := filepath.Join(t.TempDir(), "j.log")
	for _, content := range []string{"", "something else\n", journalFirst + "s 1 2\n"} {
		fixture.WriteFile(t, name, content)
		j, seen := journalOf(t, name, false)
		fixture.Must(t, j.Close())
		if len(seen) > 0 {
			t.Errorf("%q: %+v", content, seen)
		}
	}
	j, _ := journalOf(t, name, false)
	j.Add(&records()[0])
	j.Add(&Record{Path: "no ident", Sums: sums.Of(nil)})
	fixture.Must(t, j.Close())
	j, seen := journalOf(t, name, true)
	fixture.Must(t, j.Close())
	if len(seen) > 0 {
		t.Errorf("fresh: %+v", seen)
	}
	if a, b := JournalName("d", "a", "bc", ""), JournalName("d", "ab", "c", ""); a == b {
		t.Error("two pairs of folders share a journal")
	}
}

func FuzzRecord(f *testing.F) {
	for _, r := range records() {
		f.Add(appendRecord(nil, &r))
	}
	f.Fuzz(func(t *testing.T, line []byte) {
		r, ok := parseRecord(bytes.TrimSuffix(line, []byte{'\n'}))
		if !ok {
			return
		}
		back, ok := parseRecord(bytes.TrimSuffix(appendRecord(nil, r), []byte{'\n'}))
		if !ok || *back != *r {
			t.Fatalf("%q: %+v comes back as %+v", line, r, back)
		}
	})
}
