package manifest

import (
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"time"

	"loadline/checks/internal/disk"
)

// A Rechecked says that a folder was compared with a manifest and was good.
type Rechecked struct {
	Folder string    `json:"folder"`
	Disk   string    `json:"disk,omitempty"` // what the file system is known by on every mount; may be unknown
	When   time.Time `json:"when"`
	Files  int64     `json:"files"` // that were read
	Of     int64     `json:"of"`    // that the manifest holds
}

// Whole reports whether every file was read.
func (r *Rechecked) Whole() bool { return r.Files == r.Of }

// mostRechecked is how many folders are remembered of one manifest.
const mostRechecked = 20

func recheckedFile(state, seal string) (string, error) {
	if b, err := hex.DecodeString(seal); state == "" || err != nil || len(b) < 8 {
		return "", fmt.Errorf("a manifest has no seal %q", seal)
	}
	return filepath.Join(state, "rechecked", seal[:16]+".json"), nil
}

// Remember keeps, in the state folder, that a folder was good; the newest of each
// folder counts, but a sample never takes the place of the whole.
func Remember(state, seal string, r *Rechecked) error {
	name, err := recheckedFile(state, seal)
	if err != nil {
		return err
	}
	list := slices.DeleteFunc(Recalled(state, seal), func(o Rechecked) bool {
		return o.Folder == r.Folder && o.Disk == r.Disk && (r.Whole() || !o.Whole())
	})
	list = append(list, *r)
	list = list[max(0, len(list)-mostRechecked):]
	if err := os.MkdirAll(filepath.Dir(name), 0o700); err != nil {
		return err
	}
	return disk.Replace(name, func(w io.Writer) error { return json.NewEncoder(w).Encode(list) })
}

// Forget takes back that a folder was good, where it is no longer.
func Forget(state, seal, folder string) error {
	name, err := recheckedFile(state, seal)
	if err != nil {
		return err
	}
	list := Recalled(state, seal)
	left := slices.DeleteFunc(slices.Clone(list), func(o Rechecked) bool { return o.Folder == folder })
	if len(left) == len(list) {
		return nil
	}
	return disk.Replace(name, func(w io.Writer) error { return json.NewEncoder(w).Encode(left) })
}

// Recalled returns the folders that were good, the newest last. What cannot be read is forgotten.
func Recalled(state, seal string) []Rechecked {
	name, err := recheckedFile(state, seal)
	if err != nil {
		return nil
	}
	text, err := os.ReadFile(name)
	if err != nil {
		return nil
	}
	var list []Rechecked
	if json.Unmarshal(text, &list) != nil {
		return nil
	}
	slices.SortStableFunc(list, func(x, y Rechecked) int { return x.When.Compare(y.When) })
	return list
}
