package walk

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestChanging walks while files and folders come, go, move and grow beneath it. What does not
// change must be seen, once; what does may be missed or fail, but only because it is gone.
func TestChanging(t *testing.T) {
	tr := tree{}
	for i := range 100 {
		tr[fmt.Sprintf("still/%d/%d/f", i%5, i)] = ""
		tr[fmt.Sprintf("busy/%d/%d/f", i%5, i)] = ""
	}
	for name, sys := range systems() {
		t.Run(name, func(t *testing.T) {
			root := tr.make(t)
			busy := filepath.Join(root, "busy")
			stop := make(chan struct{})
			ended := make(chan struct{}, 2)
			// Errors are no matter here: two of these work against each other.
			stir := func(seed int) {
				defer func() { ended <- struct{}{} }()
				for i := seed; ; i += 7 {
					select {
					case <-stop:
						return
					default:
					}
					a := filepath.Join(busy, fmt.Sprint(i%5), fmt.Sprint(i%100))
					switch i % 6 {
					case 0:
						_ = os.RemoveAll(a)
					case 1:
						_ = os.MkdirAll(filepath.Join(a, "new", "newer"), 0o755)
					case 2:
						_ = os.Rename(a, filepath.Join(busy, fmt.Sprint((i+1)%5), "moved"+fmt.Sprint(i%50)))
					case 3:
						_ = os.WriteFile(filepath.Join(a, fmt.Sprint(i%9)), make([]byte, i%5000), 0o644)
					case 4:
						// A folder turns into a link that leads out.
						_ = os.RemoveAll(a)
						_ = os.Symlink(root, a)
					case 5:
						_ = os.Remove(a)
					}
				}
			}
			go stir(0)
			go stir(3)
			for range 15 {
				s := newSeen()
				o := Options{Workers: 8, Visit: func(d *Dir) {
					for i := range d.Entries {
						_, _ = d.Xattrs(d.Entries[i].Name)
					}
					s.visit(d)
				}}
				if err := run(context.Background(), o, sys(root)); err != nil {
					t.Fatal(err)
				}
				still := 0
				for p, d := range s.folders {
					if strings.HasPrefix(p, "still") {
						still++
						if d.Err != nil {
							t.Errorf("%s: %v", p, d.Err)
						}
					} else if d.Err != nil && !gone(d.Err) {
						t.Errorf("%s: %v", p, d.Err)
					}
					if d.Depth > 8 {
						t.Errorf("%s: a link was followed", p)
					}
				}
				if still != 1+5+100 {
					t.Errorf("%d folders stood still, want 106", still)
				}
				for p, err := range s.why {
					if !gone(err) {
						t.Errorf("%s: %v", p, err)
					}
				}
				for p, e := range s.entries {
					if e.Kind == Folder && !e.Failed && s.folders[p] == nil {
						t.Errorf("%s is not visited", p)
					}
				}
			}
			close(stop)
			<-ended
			<-ended
		})
	}
}

// gone says whether an error may come of an entry that is no longer there, or no longer a folder.
func gone(err error) bool {
	return errors.Is(err, fs.ErrNotExist) || isReplaced(err)
}
