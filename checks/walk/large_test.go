//go:build linux && !race

package walk

import (
	"context"
	"fmt"
	"os"
	"slices"
	"testing"

	"golang.org/x/sys/unix"
)

// TestHugeFolder has 200,000 names in one folder.
func TestHugeFolder(t *testing.T) {
	const count = 200_000
	root, err := os.MkdirTemp("", "huge")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { remove(t, root) })
	fd, err := unix.Open(root, unix.O_DIRECTORY|unix.O_PATH, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer unix.Close(fd)
	// Links to a few files, as making a file takes ten times as long; ext4 allows 65,000 each.
	var first string
	for i := range count {
		name := fmt.Sprintf("clip_%06d", i)
		if i%50_000 == 0 {
			first = name
			err = unix.Mknodat(fd, name, unix.S_IFREG|0o644, 0)
		} else {
			err = unix.Linkat(fd, first, fd, name, 0)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	for _, name := range []string{"default", "portable"} {
		var d Dir
		ok := make([]bool, count)
		err := run(context.Background(), Options{Workers: 2, Visit: func(v *Dir) {
			d = *v
			for _, e := range v.Entries {
				var i int
				if n, err := fmt.Sscanf(e.Name, "clip_%06d", &i); n == 1 && err == nil && !e.Failed && e.Kind == File {
					ok[i] = true
				}
			}
		}}, systems()[name](root))
		if err != nil || d.Err != nil || slices.Contains(ok, false) {
			t.Errorf("%s: %v, %v, a name is missing: %v", name, err, d.Err, slices.Contains(ok, false))
		}
	}
}

func TestHostile(t *testing.T) {
	const deep = 2500 // two bytes each: more than PATH_MAX holds
	root := hostile(t, deep)
	var first *seen
	// Package os opens what is too long from the root on, part by part, every time: TestPortable
	// has a tree that is less deep.
	ways := systems()
	delete(ways, "portable")
	for name, sys := range ways {
		t.Run(name, func(t *testing.T) {
			s := walkAll(t, root, sys)
			agree(t, s, root)
			if len(s.entries) < deep+256*3 {
				t.Errorf("only %d entries", len(s.entries))
			}
			if os.Geteuid() == 0 {
				for p, d := range s.folders {
					if d.Err != nil {
						t.Errorf("%.200q: %v", p, d.Err)
					}
				}
			}
			if first == nil {
				first = s
			}
			same(t, first, s)
		})
	}
}
