package before

import (
	"context"
	"errors"
	"path/filepath"
	"sync"
	"time"

	"loadline/checks/share"
)

// quietFor is how long a place that did not answer is left alone (common practice, no source). A server may
// come back.
const quietFor = time.Minute

// A quiet remembers what did not answer. Every call that hangs takes one of the few that may (see
// share.Guard), for as long as the server is gone: a thousand links to one dead mount must take one, or
// nothing would be left for the share.
type quiet struct {
	mu    sync.Mutex
	until map[string]time.Time
}

// elsewhere is for what links outside of sources lead to.
var elsewhere quiet

// ask makes a call about a real path and gives up after the deadline with share.ErrSilent; at once where its
// mount was silent a while ago. One call is made at a time.
func ask[T any](q *quiet, p string, deadline time.Duration, f func() (T, error)) (T, error) {
	q.mu.Lock()
	defer q.mu.Unlock()
	now := time.Now()
	for place, until := range q.until {
		switch {
		case now.After(until):
			delete(q.until, place)
		case share.Within(place, p):
			var none T
			return none, share.ErrSilent
		}
	}
	v, err := share.Guard(context.Background(), deadline, f)
	if errors.Is(err, share.ErrSilent) {
		if q.until == nil {
			q.until = map[string]time.Time{}
		}
		q.until[mountOf(p)] = time.Now().Add(quietFor)
	}
	return v, err
}

// mountOf returns where the mount that covers a path is, or the path itself where that is not known or all
// there is.
func mountOf(p string) string {
	rows, err := share.Mounts(context.Background())
	if err != nil {
		return p
	}
	if m, ok := share.Covering(rows, p); ok && m.Point != string(filepath.Separator) {
		return m.Point
	}
	return p
}
