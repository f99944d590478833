package disk

import (
	"context"
	"os"
	"os/exec"
	"strings"
	"time"

	"golang.org/x/sys/unix"
)

// toolPatience is how long a tool of the system may take: one that asks a disk that is asleep waits for it
// to start.
const toolPatience = 20 * time.Second

// MediumOf tells what the folder at a path is on: network file systems by statfs(2), disks by what
// diskutil(8) says. That takes some tenths of a second.
func MediumOf(path string) Medium {
	var st unix.Statfs_t
	if err := retried(func() error { return unix.Statfs(path, &st) }); err != nil {
		return Medium{}
	}
	if st.Flags&unix.MNT_LOCAL == 0 {
		return Medium{Network: Yes, Rotates: No, USB: No}
	}
	volume, ok := strings.CutPrefix(unix.ByteSliceToString(st.Mntfromname[:]), "/dev/")
	if !ok {
		return Medium{Network: No}
	}
	return macMedium(volume, func(name string) (macDisk, error) {
		out, err := tool("/usr/sbin/diskutil", "info", "-plist", name)
		if err != nil && len(out) == 0 {
			return macDisk{}, err
		}
		return parseMacDisk(out)
	})
}

// USBSpeed returns what the USB link of the disk under a path has agreed on, Mb/s, the slowest of the hubs
// between; 0 where that is not known or there is none. It takes seconds.
func USBSpeed(path string) int {
	m := MediumOf(path)
	if m.USB != Yes {
		return 0
	}
	if out, err := tool("/usr/sbin/system_profiler", "-json", "SPUSBDataType", "SPUSBHostDataType"); err == nil {
		if mbps := macUSBSpeed(out, m.Disk); mbps > 0 {
			return mbps
		}
	}
	out, err := tool("/usr/sbin/ioreg", "-a", "-r", "-l", "-w0", "-c", "IOUSBHostDevice")
	if err != nil {
		return 0
	}
	return macRegistrySpeed(out, m.Disk)
}

func tool(program string, args ...string) ([]byte, error) {
	ctx, cancel := context.WithTimeout(context.Background(), toolPatience)
	defer cancel()
	cmd := exec.CommandContext(ctx, program, args...)
	cmd.Dir = "/"
	cmd.Env = append(os.Environ(), "LC_ALL=C")
	return cmd.Output()
}
