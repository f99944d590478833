package checks

import (
	"context"
	"fmt"
	"os/user"
	"runtime"
	"strings"
	"sync"

	"github.com/shirou/gopsutil/v3/host"

	"loadline/checks/share"
)

// Machine says where and as whom the checks run. Asking the system for it takes longer than checking a
// small folder, so it is asked once.
var Machine = sync.OnceValue(func() string {
	parts := []string{}
	if info, err := host.Info(); err == nil {
		parts = append(parts, info.Hostname, strings.TrimSpace(info.Platform+" "+info.PlatformVersion), "kernel "+info.KernelVersion)
	} else {
		parts = append(parts, runtime.GOOS)
	}
	parts = append(parts, runtime.GOARCH, fmt.Sprintf("%d CPUs", runtime.NumCPU()))
	if u, err := user.Current(); err == nil {
		parts = append(parts, "as "+u.Username)
	}
	return strings.Join(parts, ", ")
})

// sourceMount returns the mount row that covers the source. The mount table answers without asking
// the disk.
func (r *run) sourceMount() (share.Mount, bool) {
	r.mountOnce.Do(func() {
		if rows, err := share.Mounts(context.Background()); err == nil {
			r.mount, r.mountKnown = share.Covering(rows, r.job.Source)
		}
	})
	return r.mount, r.mountKnown
}
