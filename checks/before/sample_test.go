//go:build linux

package before

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"loadline/checks"
)

// TestAttributesOfALargeDisk: over 20,000 entries are asked by sample, but a folder where one of the
// sample has attributes is asked whole, whichever worker comes first. The oracle is what setxattr(2)
// was told.
func TestAttributesOfALargeDisk(t *testing.T) {
	const folders, files = 50, 500
	root := realTemp(t)
	want := map[spot]bool{}
	for i := range folders {
		dir := fmt.Sprintf("reel-%02d", i)
		if err := os.Mkdir(filepath.Join(root, dir), 0o755); err != nil {
			t.Fatal(err)
		}
		for j := range files {
			rel := fmt.Sprintf("%s/clip-%04d.mov", dir, j)
			p := filepath.Join(root, rel)
			if err := os.WriteFile(p, []byte("x"), 0o644); err != nil {
				t.Fatal(err)
			}
			// Nearly all of one folder, as a program would tag them.
			if i == 17 && j%20 != 3 {
				if err := unix.Setxattr(p, "user.tag", []byte("x"), 0); err != nil {
					t.Fatal(err)
				}
				want[spot{extendedAttributes.ID, rel}] = true
			}
		}
	}
	for _, all := range []bool{false, true} {
		for _, workers := range []int{1, 4} {
			rep := examine(t, checks.Job{
				Source: root, Workers: workers, AllAttributes: all,
				Now: func() time.Time { return time.Now().AddDate(1, 0, 0) }, // so that no file is young
			})
			compare(t, "setxattr", spots(rep, extendedAttributes), want)
			noted := spots(rep, attributesSampled)
			if _, ok := noted[spot{attributesSampled.ID, ""}]; ok == all || len(noted) > 1 {
				t.Errorf("all=%v: the note on the sample is %v", all, noted)
			}
		}
	}
}
