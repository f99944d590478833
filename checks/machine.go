package checks

import (
	"context"
	"fmt"
	"os/user"
	"runtime"
	"strings"
	"sync"

	"loadline/checks/share"
)

// machine says where and as whom the checks run. Asking the system for it takes longer than checking a
// small folder, so it is asked once.
var machine = sync.OnceValue(func() string {
	parts := system()
	parts = append(parts, runtime.GOARCH, fmt.Sprintf("%d CPUs", runtime.NumCPU()))
	if u, err := user.Current(); err == nil {
		parts = append(parts, "as "+u.Username)
	}
	return strings.Join(parts, ", ")
})

// sourceMount returns the mount row that covers one of the sources. The mount table answers without asking
// the disk.
func (r *run) sourceMount(source int) (share.Mount, bool) {
	r.mountOnce.Do(func() {
		// Where it cannot be read it is empty, and covers nothing.
		r.mounts, _ = share.Mounts(context.Background())
	})
	return share.Covering(r.mounts, r.job.Disk(source).Source)
}
