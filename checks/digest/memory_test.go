package digest

import (
	"bytes"
	"os"
	"path/filepath"
	"runtime"
	"sync"
	"testing"
	"time"

	"loadline/checks/internal/fixture"
	"loadline/checks/internal/sums"
)

func records() []Record {
	at := time.Unix(1_900_000_000, 123)
	return []Record{
		{Ident: 1, Kin: 5, When: at, Sums: sums.Of(all, []byte("a"))},
		{Ident: 1<<64 - 1, Kin: kinBits, When: at, Sums: sums.Of(0, []byte("b"))},
		{Ident: 3, When: at, Bad: 4096, Lost: 8192},
	}
}

// Killed at any moment, a memory gives back what was whole, and goes on.
func TestMemoryCutAnywhere(t *testing.T) {
	state := t.TempDir()
	m, err := Recall(state, "disk")
	fixture.Must(t, err)
	for _, r := range records() {
		m.add(&r)
	}
	fixture.Must(t, m.Close())
	whole, err := os.ReadFile(m.name)
	fixture.Must(t, err)
	for n := range whole {
		fixture.WriteFile(t, m.name, string(whole[:n]))
		m, err := Recall(state, "disk")
		fixture.Must(t, err)
		want := max(n-len(memoryFirst), 0) / recordSize
		if m.Known() != want {
			t.Fatalf("cut at %d: %d records, want %d", n, m.Known(), want)
		}
		last := Record{Ident: 77, Sums: sums.Of(sums.MD5, []byte("new")), When: time.Unix(5, 0)}
		m.add(&last)
		fixture.Must(t, m.Close())
		m, err = Recall(state, "disk")
		fixture.Must(t, err)
		for i, r := range records()[:want] {
			if got, ok := m.Find(r.Ident); !ok || !same(got, r) {
				t.Fatalf("cut at %d: record %d is %+v", n, i, got)
			}
		}
		if got, ok := m.Find(77); !ok || !same(got, last) || m.Known() != want+1 {
			t.Fatalf("cut at %d, then added to: %+v of %d", n, got, m.Known())
		}
		fixture.Must(t, m.Close())
	}
}

func same(a, b Record) bool {
	if !a.When.Equal(b.When) {
		return false
	}
	a.When = b.When
	return a == b
}

// A damaged record counts for nothing: one bit anywhere spoils one record at most, and makes none.
func TestMemoryDamaged(t *testing.T) {
	for i, r := range records() {
		whole := encodeRecord(&r)
		for at := range whole {
			for bit := range 8 {
				bad := whole
				bad[at] ^= 1 << bit
				if got, ok := decodeRecord(&bad); ok {
					t.Fatalf("record %d, bit %d of byte %d: %+v", i, bit, at, got)
				}
			}
		}
	}
	var none [recordSize]byte
	if _, ok := decodeRecord(&none); ok {
		t.Error("nothing is a record")
	}
}

// Of several records of one state the newest counts; of one file in several states too.
func TestMemoryNewest(t *testing.T) {
	state := t.TempDir()
	m, err := Recall(state, "disk")
	fixture.Must(t, err)
	for i := range 5 {
		m.add(&Record{Ident: 9, Kin: 4, Sums: sums.Sums{CRC32: uint32(i), Has: sums.CRC32}})
	}
	m.add(&Record{Ident: 8, Kin: 4, Sums: sums.Sums{CRC32: 50, Has: sums.CRC32}})
	m.add(&Record{Sums: sums.Of(0)}) // cannot be known again
	fixture.Must(t, m.Close())
	m, err = Recall(state, "disk")
	fixture.Must(t, err)
	defer m.Close()
	if r, ok := m.Find(9); !ok || r.Sums.CRC32 != 4 || m.Known() != 6 {
		t.Errorf("%+v of %d", r, m.Known())
	}
	if r, ok := m.Earlier(4); !ok || r.Sums.CRC32 != 50 {
		t.Errorf("%+v", r)
	}
	if _, ok := m.Find(0); ok {
		t.Error("no ident is found")
	}
	other, err := Recall(state, "another disk")
	fixture.Must(t, err)
	if other.Known() != 0 || other.name == m.name {
		t.Error("two disks share a memory")
	}
}

// What another version wrote is forgotten; where nothing can be written the reading goes on, and Close tells.
func TestMemoryInTheWay(t *testing.T) {
	state := t.TempDir()
	m, err := Recall(state, "disk")
	fixture.Must(t, err)
	for _, content := range []string{"", "something else\n", "loadline read 9\n" + string(make([]byte, 300))} {
		fixture.WriteFile(t, m.name, content)
		m, err := Recall(state, "disk")
		fixture.Must(t, err)
		if m.Known() > 0 {
			t.Errorf("%q: %d records", content, m.Known())
		}
		m.add(&records()[0])
		fixture.Must(t, m.Close())
		if b, err := os.ReadFile(m.name); err != nil || !bytes.HasPrefix(b, []byte(memoryFirst)) || len(b) != len(memoryFirst)+recordSize {
			t.Errorf("%q: %d bytes, %v", content, len(b), err)
		}
	}
	blocked := filepath.Join(state, "blocked")
	fixture.WriteFile(t, filepath.Join(blocked, "read"), "a file where the folder should be")
	m, err = Recall(blocked, "disk")
	if err == nil && runtime.GOOS != "windows" { // which says of a folder in a file that it is not there
		t.Error("nothing is in the way")
	}
	m.Begin()
	if m.err == nil {
		t.Error("nothing can be remembered, and nobody tells before it is tried")
	}
	m.add(&records()[0])
	if m.err == nil || m.Close() == nil {
		t.Error("nothing could be remembered, and nobody tells")
	}
	var none *Memory
	none.add(&records()[0])
	if _, ok := none.Find(1); ok || none.Close() != nil || none.Known() != 0 {
		t.Error("none remembers")
	}
}

// Runs that begin to remember at the same moment do not take each other's records away.
func TestMemoryOfMany(t *testing.T) {
	for round := range 25 {
		state := t.TempDir()
		var runs [8]*Memory
		for i := range runs {
			m, err := Recall(state, "disk")
			fixture.Must(t, err)
			runs[i] = m
		}
		begin := make(chan struct{})
		var done sync.WaitGroup
		for i, m := range runs {
			done.Go(func() {
				<-begin
				m.add(&Record{Ident: Ident(i + 1), Sums: sums.Of(sums.MD5, []byte{byte(i)})})
				if err := m.Close(); err != nil {
					t.Error(err)
				}
			})
		}
		close(begin)
		done.Wait()
		again, err := Recall(state, "disk")
		fixture.Must(t, err)
		for i := range runs {
			if r, ok := again.Find(Ident(i + 1)); !ok || r.Sums != sums.Of(sums.MD5, []byte{byte(i)}) {
				t.Fatalf("round %d: what run %d remembered is lost", round, i)
			}
		}
		if list, err := os.ReadDir(filepath.Dir(again.name)); err != nil || len(list) != 2 { // the records and their lock
			t.Errorf("round %d: %v, %v", round, list, err)
		}
		fixture.Must(t, again.Close())
	}
}

func FuzzRecord(f *testing.F) {
	for _, r := range records() {
		b := encodeRecord(&r)
		f.Add(b[:])
	}
	f.Fuzz(func(t *testing.T, raw []byte) {
		var b [recordSize]byte
		copy(b[:], raw)
		r, ok := decodeRecord(&b)
		if !ok {
			return
		}
		again := encodeRecord(&r)
		back, ok := decodeRecord(&again)
		if !ok || !same(back, r) {
			t.Fatalf("%+v comes back as %+v", r, back)
		}
	})
}
