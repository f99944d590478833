package digest

import (
	"encoding/binary"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"loadline/checks/internal/fixture"
	"loadline/checks/internal/sums"
)

// found is what a run remembers of the file of a number, in a state of a number.
func found(file, state int) *Record {
	content := binary.BigEndian.AppendUint64(binary.BigEndian.AppendUint64(nil, uint64(file)), uint64(state))
	return &Record{
		Ident: identOf(content), Kin: identOf(content[:8]) & kinBits, When: time.Unix(int64(1_900_000_000+state), 0), Sums: sums.Of(0, content),
	}
}

// remember is one run that adds the records of files from a number on, in one state.
func remember(t testing.TB, dir string, from, files, state int) {
	t.Helper()
	m, err := Recall(dir, "disk")
	fixture.Must(t, err)
	for i := range files {
		m.add(found(from+i, state))
	}
	fixture.Must(t, m.Close())
}

// holds fails the test where a memory does not hold files in a state.
func holds(t testing.TB, dir string, from, files, state int) {
	t.Helper()
	m, err := Recall(dir, "disk")
	fixture.Must(t, err)
	defer m.Close()
	for i := range files {
		want := found(from+i, state)
		if got, ok := m.Find(want.Ident); !ok || !same(got, *want) {
			t.Fatalf("of file %d in state %d: %+v", from+i, state, got)
		}
		if got, ok := m.Earlier(want.Kin); !ok || got.Ident != want.Ident {
			t.Fatalf("of file %d: %+v, want state %d", from+i, got, state)
		}
	}
}

func recordsIn(t testing.TB, dir string) int64 {
	t.Helper()
	m, err := Recall(dir, "disk")
	fixture.Must(t, err)
	defer m.Close()
	info, err := os.Stat(m.name)
	fixture.Must(t, err)
	if over := (info.Size() - int64(len(memoryFirst))) % recordSize; over != 0 {
		t.Fatalf("%d bytes are over", over)
	}
	return (info.Size() - int64(len(memoryFirst))) / recordSize
}

// Files that are read again and again, and files that change from time to time, do not make what is remembered grow
// for ever; each is remembered as it was last.
func TestMemoryStaysSmall(t *testing.T) {
	const files, runs = 2500, 10
	for name, state := range map[string]func(run int) int{
		"unchanged": func(int) int { return 0 },
		"changing":  func(run int) int { return run },
	} {
		dir := t.TempDir()
		remember(t, dir, files, 500, 7) // of files that are never read again
		most := int64(0)
		for run := range runs {
			remember(t, dir, 0, files, state(run))
			most = max(most, recordsIn(t, dir))
		}
		holds(t, dir, 0, files, state(runs-1))
		holds(t, dir, files, 500, 7)
		if limit := int64(4*(files+500) + files); most > limit || most < 2*files {
			t.Errorf("%s: up to %d records, of which %d say something; want between %d and %d", name, most, files+500, 2*files, limit)
		}
	}
}

// What a file held when it was first read in its present state is not forgotten where it holds something else since.
func TestFirstIsKept(t *testing.T) {
	dir := t.TempDir()
	const files, rotten, changed = 2500, 7, 8
	remember(t, dir, 0, files, 0)
	m, err := Recall(dir, "disk")
	fixture.Must(t, err)
	now := found(rotten, 0)
	now.Sums, now.When = sums.Of(0, []byte("rotten")), now.When.Add(time.Hour)
	m.add(now)
	m.add(&Record{Ident: now.Ident, Kin: now.Kin, When: now.When.Add(time.Hour), Bad: 4096, Lost: 4096})
	m.add(now)
	m.add(found(changed, 1))
	fixture.Must(t, m.Close())
	for range 3 {
		remember(t, dir, changed+1, files-changed-1, 0)
	}
	if n := recordsIn(t, dir); n > 3*files {
		t.Errorf("%d records: it was not written anew", n)
	}
	m, err = Recall(dir, "disk")
	fixture.Must(t, err)
	defer m.Close()
	first, ok := m.First(now.Ident)
	last, also := m.Find(now.Ident)
	if !ok || !also || !same(first, *found(rotten, 0)) || !same(last, *now) {
		t.Errorf("first %+v, last %+v", first, last)
	}
	if r, ok := m.First(found(changed, 1).Ident); !ok || !same(r, *found(changed, 1)) {
		t.Errorf("changed: %+v", r)
	}
	if _, ok := m.First(12345); ok {
		t.Error("there is a record of what was never read")
	}
}

// Many small runs add up: their records are written anew too.
func TestMemoryStaysSmallRunByRun(t *testing.T) {
	dir := t.TempDir()
	const files = 100
	for run := range 3 * compactFrom / files {
		remember(t, dir, 0, files, run)
	}
	if n := recordsIn(t, dir); n >= 2*compactFrom {
		t.Errorf("%d records of %d files", n, files)
	}
	holds(t, dir, 0, files, 3*compactFrom/files-1)
}

// A few records are left as they are, and so are those of which most say something.
func TestMemoryLeftAsItIs(t *testing.T) {
	dir := t.TempDir()
	for run := range 4 {
		remember(t, dir, 0, 1000, run)
	}
	if n := recordsIn(t, dir); n != 4000 {
		t.Errorf("%d records, want all 4,000", n)
	}
	dir = t.TempDir()
	remember(t, dir, 0, 2*compactFrom, 0)
	remember(t, dir, 0, compactFrom, 1)
	if n := recordsIn(t, dir); n != 3*compactFrom {
		t.Errorf("%d records, want all %d", n, 3*compactFrom)
	}
}

// While another run may add, nothing is written anew; the one that ends last does it.
func TestCompactLastRun(t *testing.T) {
	dir := t.TempDir()
	const files = compactFrom
	remember(t, dir, 0, files, 0)
	other, err := Recall(dir, "disk")
	fixture.Must(t, err)
	other.add(found(files, 0))
	remember(t, dir, 0, files, 1)
	remember(t, dir, 0, files, 2)
	for i := range files {
		other.add(found(files+i, 1))
	}
	if n := recordsIn(t, dir); n < 3*files {
		t.Fatalf("%d records: written anew while another run adds", n)
	}
	fixture.Must(t, other.Close())
	if n := recordsIn(t, dir); n != 2*files {
		t.Errorf("%d records, want the newest of %d files", n, 2*files)
	}
	holds(t, dir, 0, files, 2)
	holds(t, dir, files, files, 1)
}

// A run that has looked before another one wrote the records anew still finds what it saw, and what it adds is kept.
func TestCompactUnderAReader(t *testing.T) {
	dir := t.TempDir()
	const files = compactFrom
	remember(t, dir, 0, files, 0)
	reader, err := Recall(dir, "disk")
	fixture.Must(t, err)
	for state := range 3 {
		remember(t, dir, 0, files, 1+state)
	}
	for i := range files {
		if got, ok := reader.Find(found(i, 0).Ident); !ok || !same(got, *found(i, 0)) {
			t.Fatalf("file %d: %+v", i, got)
		}
	}
	reader.add(found(files, 0))
	fixture.Must(t, reader.Close())
	holds(t, dir, 0, files, 3)
	holds(t, dir, files, 1, 0)
}

// Many runs at once that add and write anew lose nothing.
func TestCompactManyRuns(t *testing.T) {
	dir := t.TempDir()
	const runs, files, rounds = 6, 800, 5
	var done sync.WaitGroup
	for run := range runs {
		done.Go(func() {
			for round := range rounds {
				remember(t, dir, run*files, files, round)
			}
		})
	}
	done.Wait()
	remember(t, dir, runs*files, 3*compactFrom, 0) // alone, and enough to have all looked at
	holds(t, dir, 0, runs*files, rounds-1)
	if n := recordsIn(t, dir); n > 2*(runs*files+3*compactFrom)+1 {
		t.Errorf("%d records", n)
	}
}

// What a run that was cut off while it wrote anew has left is removed by a later one, and counts for nothing.
func TestCompactAfterCrash(t *testing.T) {
	dir := t.TempDir()
	remember(t, dir, 0, compactFrom, 0)
	m, err := Recall(dir, "disk")
	fixture.Must(t, err)
	fixture.Must(t, m.Close())
	whole, err := os.ReadFile(m.name)
	fixture.Must(t, err)
	half := filepath.Join(filepath.Dir(m.name), "."+filepath.Base(m.name)+".4711.part")
	fixture.WriteFile(t, half, string(whole[:len(whole)/2+5]))
	old := time.Now().Add(-2 * sweepAge)
	fixture.Must(t, os.Chtimes(half, old, old))
	holds(t, dir, 0, compactFrom, 0)
	remember(t, dir, 0, compactFrom, 1)
	holds(t, dir, 0, compactFrom, 1)
	if _, err := os.Lstat(half); !os.IsNotExist(err) {
		t.Errorf("the half file: %v", err)
	}
}

// A record that was cut is filled up by a run that is alone. While another adds, what looks cut may be half of a write,
// and stays as it is.
func TestMendAlone(t *testing.T) {
	dir := t.TempDir()
	remember(t, dir, 0, 10, 0)
	m, err := Recall(dir, "disk")
	fixture.Must(t, err)
	m.Begin()
	size := func() int64 {
		info, err := os.Stat(m.name)
		fixture.Must(t, err)
		return info.Size()
	}
	b := encodeRecord(found(10, 0))
	half, err := os.OpenFile(m.name, os.O_WRONLY|os.O_APPEND, 0)
	fixture.Must(t, err)
	defer half.Close()
	_, err = half.Write(b[:48])
	fixture.Must(t, err)
	before := size()
	other, err := Recall(dir, "disk")
	fixture.Must(t, err)
	other.Begin()
	if after := size(); after != before {
		t.Errorf("beside a run that adds, %d bytes were put behind half a record", after-before)
	}
	_, err = half.Write(b[48:])
	fixture.Must(t, err)
	other.add(found(11, 0))
	fixture.Must(t, other.Close())
	fixture.Must(t, m.Close())
	holds(t, dir, 0, 12, 0)

	_, err = half.Write(b[:48]) // the run ended here
	fixture.Must(t, err)
	remember(t, dir, 12, 1, 0)
	holds(t, dir, 0, 13, 0)
}
