package walk

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

func TestXattrs(t *testing.T) {
	root := tree{"with": "", "without": "", "many": "", "link => with": ""}.make(t)
	set := func(path, name string) {
		t.Helper()
		if err := unix.Setxattr(path, name, []byte("v"), 0); err != nil {
			t.Fatalf("setxattr: %v", err)
		}
	}
	want := map[string][]string{"with": {"user.colour", "user.tag"}}
	set(root+"/with", "user.colour")
	set(root+"/with", "user.tag")
	for i := range 15 {
		name := fmt.Sprintf("user.%d%s", i, strings.Repeat("m", 200))
		set(root+"/many", name)
		want["many"] = append(want["many"], name)
	}
	for name, sys := range systems() {
		t.Run(name, func(t *testing.T) {
			err := run(context.Background(), Options{Workers: 1, Visit: func(d *Dir) {
				for _, e := range d.Entries {
					got, err := d.Xattrs(e.Name)
					got = slices.DeleteFunc(got, func(s string) bool { return !strings.HasPrefix(s, "user.") })
					slices.Sort(got)
					slices.Sort(want[e.Name])
					if err != nil || !slices.Equal(got, want[e.Name]) {
						t.Errorf("%s: %q, %v", e.Name, got, err)
					}
				}
				if _, err := d.Xattrs("nothing"); !errors.Is(err, fs.ErrNotExist) {
					t.Errorf("nothing: %v", err)
				}
			}}, sys(root))
			if err != nil {
				t.Fatal(err)
			}
		})
	}
}

// TestUntouched looks whether listing folders and reading files changes their access times, which
// would write to the disk.
func TestUntouched(t *testing.T) {
	root := tree{"d/f": "text"}.make(t)
	old := time.Unix(1e9, 0)
	paths := []string{root + "/d/f", root + "/d"}
	for _, p := range paths {
		if err := os.Chtimes(p, old, old); err != nil {
			t.Fatal(err)
		}
	}
	err := Walk(context.Background(), root, Options{Visit: func(d *Dir) {
		if d.Path == "d" {
			if _, err := d.Head("f", make([]byte, 4)); err != nil {
				t.Error(err)
			}
		}
	}})
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range paths {
		var st unix.Stat_t
		if err := unix.Stat(p, &st); err != nil || int64(st.Atim.Sec) != old.Unix() {
			t.Errorf("%s: access time %d, %v", p, st.Atim.Sec, err)
		}
	}
}
