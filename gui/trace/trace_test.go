package trace

import (
	"os"
	"path/filepath"
	"testing"
)

func TestRead(t *testing.T) {
	path := filepath.Join(t.TempDir(), "trace")
	for _, c := range []struct {
		name, text string
		lines      int
		last       string
		bad        bool
	}{
		{"empty", "", 0, "", false},
		{"one line", `{"state":"idle"}` + "\n", 1, "idle", false},
		{"a line that is being written does not count", `{"state":"idle"}` + "\n" + `{"state":"run`, 1, "idle", false},
		{"the newest is last", `{"state":"idle"}` + "\n" + `{"state":"running"}` + "\n", 2, "running", false},
		{"a broken line is an error", "{\n", 0, "", true},
	} {
		t.Run(c.name, func(t *testing.T) {
			if err := os.WriteFile(path, []byte(c.text), 0o600); err != nil {
				t.Fatal(err)
			}
			all, err := Read(path)
			if (err != nil) != c.bad || len(all) != c.lines {
				t.Fatalf("got %d lines and error %v, want %d lines", len(all), err, c.lines)
			}
			if c.lines > 0 && all[len(all)-1].State != c.last {
				t.Errorf("last state %q, want %q", all[len(all)-1].State, c.last)
			}
		})
	}
	if all, err := Read(path + "-not-there"); err != nil || len(all) != 0 {
		t.Errorf("a trace that does not exist yet gave %v, %v", all, err)
	}
}
