package disk

import (
	"errors"
	"os"
	"path/filepath"
	"testing"
)

// Many may hold a file together, or one alone; closing lets go.
func TestLock(t *testing.T) {
	path := filepath.Join(t.TempDir(), "lock")
	open := func() *os.File {
		f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600)
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { f.Close() })
		return f
	}
	one, two, three := open(), open(), open()
	if err := errors.Join(LockShared(one), LockShared(two)); err != nil {
		t.Fatalf("together: %v", err)
	}
	if err := LockAlone(three); !errors.Is(err, ErrLocked) {
		t.Errorf("alone beside two: %v", err)
	}
	one.Close()
	if err := LockAlone(three); !errors.Is(err, ErrLocked) {
		t.Errorf("alone beside one: %v", err)
	}
	two.Close()
	if err := LockAlone(three); err != nil {
		t.Errorf("alone: %v", err)
	}
	if err := LockAlone(open()); !errors.Is(err, ErrLocked) {
		t.Errorf("alone, twice: %v", err)
	}
	got := make(chan error)
	four := open()
	go func() { got <- LockShared(four) }()
	three.Close() // it may or may not be waiting by now
	if err := <-got; err != nil {
		t.Errorf("after waiting: %v", err)
	}
}

// A folder is locked once, whoever has it open and under whatever name; letting go frees it, and others are free.
func TestLockFolder(t *testing.T) {
	base := t.TempDir()
	open := func(name ...string) *os.File {
		f, err := os.Open(filepath.Join(append([]string{base}, name...)...))
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { f.Close() })
		return f
	}
	for _, name := range []string{"one", "two"} {
		if err := os.Mkdir(filepath.Join(base, name), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	first, again, other := open("one"), open("two", "..", "one"), open("two")
	if err := LockFolder(first); err != nil {
		t.Fatal(err)
	}
	if err := LockFolder(again); !errors.Is(err, ErrLocked) {
		t.Errorf("twice: %v", err)
	}
	if err := LockFolder(other); err != nil {
		t.Errorf("another: %v", err)
	}
	UnlockFolder(first)
	if err := LockFolder(again); err != nil {
		t.Errorf("after letting go: %v", err)
	}
	UnlockFolder(again)
	UnlockFolder(other)
}
