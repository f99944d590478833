package walk

import (
	"os"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"unsafe"

	"golang.org/x/sys/unix"
)

// faccessat2 came with Linux 5.8; without it only the real user can be asked about.
var noFaccessat2 atomic.Bool

func (l *linuxLister) access(e *Entry) error {
	if l.settled(e) {
		return nil
	}
	name, kind := e.Name, e.Kind
	p := l.entryName(name)
	if p == nil {
		return pathError("access", name, unix.EINVAL)
	}
	mode := uintptr(unix.R_OK)
	if kind == Folder {
		mode |= unix.X_OK
	}
	for {
		var errno syscall.Errno
		if noFaccessat2.Load() {
			if kind == Link {
				return nil // it would be followed; links themselves can always be read
			}
			_, _, errno = syscall.Syscall6(syscall.SYS_FACCESSAT, uintptr(l.at.fd), uintptr(unsafe.Pointer(p)), mode, 0, 0, 0)
		} else {
			_, _, errno = syscall.Syscall6(unix.SYS_FACCESSAT2, uintptr(l.at.fd), uintptr(unsafe.Pointer(p)),
				mode, unix.AT_EACCESS|unix.AT_SYMLINK_NOFOLLOW, 0, 0)
		}
		switch {
		case errno == 0:
			return nil
		case errno == unix.EINTR:
		case errno == unix.ENOSYS && !noFaccessat2.Load():
			noFaccessat2.Store(true)
		default:
			return pathError("access", name, errno)
		}
	}
}

// settled says whether owner and permission bits leave no doubt that the effective user may read
// e, so that there is no need to ask: over a million files asking takes half as long as the walk.
//
// This is the order of path_resolution(7), and of acl(5): the owner is judged by the owner's bits
// alone, whatever the access list says, and CAP_DAC_READ_SEARCH reads and searches everything.
// File systems that judge by themselves (network, FUSE), security modules that label files, and
// containers where root is not root are asked.
func (l *linuxLister) settled(e *Entry) bool {
	// A folder with something mounted on it may be on a file system of other rules.
	if e.Failed || e.MountRoot || !l.plainRules() {
		return false
	}
	if e.Kind == Link || readsAll() {
		return true
	}
	need := uint16(0o400)
	if e.Kind == Folder {
		need = 0o500
	}
	return e.UID == l.sys.uid && e.Perm&need == need
}

// plainRules says whether the kernel itself judges access on the file system of the open folder.
func (l *linuxLister) plainRules() bool {
	if labelled() {
		return false
	}
	if !l.rulesKnown {
		var st unix.Statfs_t
		err := unix.Fstatfs(l.at.fd, &st)
		l.rulesKnown, l.rulesPlain = true, err == nil && judgedByKernel[uint32(st.Type)]
	}
	return l.rulesPlain
}

// judgedByKernel are file systems without rules of their own, by f_type (statfs(2)).
var judgedByKernel = map[uint32]bool{
	unix.EXT4_SUPER_MAGIC:  true, // ext2, ext3, ext4
	unix.XFS_SUPER_MAGIC:   true,
	unix.BTRFS_SUPER_MAGIC: true,
	unix.F2FS_SUPER_MAGIC:  true,
	unix.EXFAT_SUPER_MAGIC: true,
	unix.MSDOS_SUPER_MAGIC: true,
	unix.ISOFS_SUPER_MAGIC: true,
	unix.TMPFS_MAGIC:       true,
}

// labelled says whether a security module may refuse what the permission bits allow, by a label on
// the file (SELinux, Smack).
var labelled = sync.OnceValue(func() bool {
	for _, dir := range []string{"/sys/fs/selinux/enforce", "/sys/fs/smackfs/load2"} {
		if _, err := os.Stat(dir); err == nil {
			return true
		}
	}
	return false
})

// readsAll says whether this process has CAP_DAC_READ_SEARCH over all users (capabilities(7),
// user_namespaces(7)).
var readsAll = sync.OnceValue(func() bool {
	status, err := os.ReadFile("/proc/self/status")
	if err != nil {
		return false
	}
	users, err := os.ReadFile("/proc/self/uid_map")
	return err == nil && isReadSearch(string(status), string(users))
})

// isReadSearch reads the effective capabilities from proc_pid_status(5) and the user namespace
// from proc_pid_uid_map(5): the first one maps all users to themselves.
func isReadSearch(status, users string) bool {
	if strings.Join(strings.Fields(users), " ") != "0 0 4294967295" {
		return false
	}
	for line := range strings.Lines(status) {
		if hex, ok := strings.CutPrefix(line, "CapEff:"); ok {
			caps, err := strconv.ParseUint(strings.TrimSpace(hex), 16, 64)
			return err == nil && caps&(1<<unix.CAP_DAC_READ_SEARCH) != 0
		}
	}
	return false
}
