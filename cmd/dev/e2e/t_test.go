package e2e

import (
	"os"
	"strings"
	"testing"
)

// A session ends where it is told to, returns what went wrong and leaves nothing.
func TestRun(t *testing.T) {
	var dir string
	var order []string
	err := Run("try", func(t T) {
		dir = t.TempDir()
		t.Cleanup(func() { order = append(order, "first") })
		t.Cleanup(func() { order = append(order, "last") })
		t.Errorf("one %s", "thing")
		if !t.Failed() {
			order = append(order, "not failed")
		}
		t.Fatal("another", "thing")
		order = append(order, "went on")
	})
	if err == nil || err.Error() != "one thing\nanother thing" {
		t.Errorf("got %v", err)
	}
	if got := strings.Join(order, " "); got != "last first" {
		t.Errorf("it ran %s", got)
	}
	if _, err := os.Stat(dir); !os.IsNotExist(err) {
		t.Errorf("%s is still there", dir)
	}
	if err := Run("good", func(T) {}); err != nil {
		t.Error(err)
	}
}
