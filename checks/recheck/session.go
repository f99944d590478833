package recheck

import (
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"time"

	"loadline/checks/internal/disk"
)

// A session is one recheck from its beginning to its end, over as many runs as it takes. Only what was read within
// it counts: a disk may have gone bad since it was read for something else.
type session struct {
	Began time.Time `json:"began"`
	Seed  uint64    `json:"seed"`

	name string // "": it is not kept
}

// sessionAge is how long a recheck that was stopped can be gone on with (common practice, no source).
const sessionAge = 7 * 24 * time.Hour

// session returns the one that was stopped, or a new one.
func (r *recheck) session(id, root string) *session {
	now := r.o.Now()
	s := &session{Began: now, Seed: r.o.Seed}
	if !r.o.HasSeed {
		s.Seed = uint64(rand.Uint32())
	}
	if r.o.State == "" {
		return s
	}
	sum := sha256.Sum256(fmt.Appendf(nil, "%s\x00%s\x00%s\x00%g\x00%v\x00%d", r.x.Seal, id, root, r.o.Sample, r.o.HasSeed, r.o.Seed))
	s.name = filepath.Join(r.o.State, "rechecking", fmt.Sprintf("%x.json", sum[:8]))
	if text, err := os.ReadFile(s.name); err == nil {
		var old session
		if json.Unmarshal(text, &old) == nil && now.Sub(old.Began) < sessionAge && !old.Began.After(now) {
			old.name = s.name
			return &old
		}
	}
	if err := os.MkdirAll(filepath.Dir(s.name), 0o700); err == nil {
		err = disk.Replace(s.name, func(w io.Writer) error { return json.NewEncoder(w).Encode(s) })
		if err != nil {
			s.name = "" // it cannot be gone on with
		}
	}
	return s
}

// end closes a session: the next run begins anew.
func (s *session) end() {
	if s.name != "" {
		_ = os.Remove(s.name) // what stays is too old soon
	}
}
