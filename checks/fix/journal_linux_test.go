package fix

import (
	"errors"
	"fmt"
	"os"
	"runtime"
	"syscall"
	"testing"
)

// TestNoJournal: what only has the name of a journal keeps nobody waiting and fills no memory.
func TestNoJournal(t *testing.T) {
	root := t.TempDir()
	plant(t, root, "a:b")
	name := root + "/" + journalPrefix + "%s" + journalSuffix
	huge, err := os.Create(fmt.Sprintf(name, "huge"))
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(huge.Truncate(mostJournal), huge.Close(), os.Mkdir(fmt.Sprintf(name, "folder"), 0o755)); err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(syscall.Mkfifo(fmt.Sprintf(name, "pipe"), 0o644), os.Symlink("/dev/zero", fmt.Sprintf(name, "link"))); err != nil {
		t.Fatal(err)
	}
	var at, then runtime.MemStats
	runtime.ReadMemStats(&at)
	all, err := Journals(root, t.TempDir())
	runtime.ReadMemStats(&then)
	if err != nil || len(all) > 0 {
		t.Errorf("%d journals, %v", len(all), err)
	}
	if grown := then.TotalAlloc - at.TotalAlloc; grown > 4<<20 {
		t.Errorf("took %d bytes of memory", grown)
	}
	mustUndo(t, mustApply(t, mustPlan(t, root, limits{})).Journal)
}
