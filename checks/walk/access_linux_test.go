package walk

import (
	"context"
	"encoding/binary"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"golang.org/x/sys/unix"
)

const nobody = 65534

// accessList is user:nobody:PERM beside the permission bits, in the form of the attribute
// system.posix_acl_access (Linux uapi posix_acl_xattr.h): version 2, then tag, permissions and ID.
func accessList(mode, user uint16) []byte {
	b := binary.LittleEndian.AppendUint32(nil, 2)
	for _, e := range [][3]uint32{
		{1, uint32(mode >> 6 & 7), ^uint32(0)},
		{2, uint32(user), nobody},
		{4, uint32(mode >> 3 & 7), ^uint32(0)},
		{16, 7, ^uint32(0)},
		{32, uint32(mode & 7), ^uint32(0)},
	} {
		b = binary.LittleEndian.AppendUint16(b, uint16(e[0]))
		b = binary.LittleEndian.AppendUint16(b, uint16(e[1]))
		b = binary.LittleEndian.AppendUint32(b, e[2])
	}
	return b
}

// TestAccess asks about files and folders of all modes, owners and access lists, and then tries:
// open(2) is the oracle. It does so as root and as an ordinary user.
func TestAccess(t *testing.T) {
	root := os.Getenv("WALK_TEST_ROOT")
	if root == "" {
		needRoot(t)
		var err error
		if root, err = os.MkdirTemp("", "access"); err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { remove(t, root) })
		must := func(err error) {
			t.Helper()
			if err != nil {
				t.Fatal(err)
			}
		}
		must(os.Chmod(root, 0o755))
		for _, owner := range []int{0, nobody, 1234} {
			for mode := uint32(0); mode < 8; mode++ {
				for list := -1; list < 8; list += 4 { // none, 3, 7
					for _, kind := range []string{"file", "folder"} {
						path := filepath.Join(root, fmt.Sprintf("%s %d %o %d", kind, owner, mode, list))
						if kind == "file" {
							must(os.WriteFile(path, nil, 0o644))
						} else {
							must(os.Mkdir(path, 0o755))
							must(os.WriteFile(path+"/in", nil, 0o644))
						}
						bits := mode<<6 | mode | 0o040
						must(os.Chown(path, owner, owner))
						must(unix.Chmod(path, bits))
						if list >= 0 {
							must(unix.Setxattr(path, "system.posix_acl_access", accessList(uint16(bits), uint16(list)), 0))
						}
					}
				}
			}
		}
		must(os.Symlink("nothing", filepath.Join(root, "link")))
		judgeAccess(t, root)
	}
	user := &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: nobody, Gid: nobody}}
	if again(t, user, "WALK_TEST_ROOT="+root) {
		judgeAccess(t, root)
	}
}

func judgeAccess(t *testing.T, root string) {
	t.Helper()
	for name, sys := range systems() {
		allowed, refused := 0, 0
		err := run(context.Background(), Options{Workers: 1, Visit: func(d *Dir) {
			if d.Path != "" {
				return
			}
			for _, e := range d.Entries {
				path := filepath.Join(root, e.Name)
				err := error(nil)
				switch e.Kind {
				case File:
					var f *os.File
					if f, err = os.Open(path); err == nil {
						f.Close()
					}
				case Folder:
					if _, err = os.ReadDir(path); err == nil {
						_, err = os.Lstat(filepath.Join(path, "in"))
					}
				}
				if got := d.Access(e.Name); (got == nil) != (err == nil) {
					t.Errorf("%s: %s (mode %o): %v, but trying says %v", name, e.Name, e.Perm, got, err)
				}
				if err == nil {
					allowed++
				} else {
					refused++
				}
			}
		}}, sys(root))
		if err != nil || allowed < 20 || refused < 20 && os.Geteuid() != 0 {
			t.Errorf("%s: %d allowed, %d refused, %v", name, allowed, refused, err)
		}
	}
}

func TestIsReadSearch(t *testing.T) {
	const all = "         0          0 4294967295\n"
	for _, c := range []struct {
		caps, users string
		want        bool
	}{
		{"000001ffffffffff", all, true},
		{"0000000000000004", all, true}, // bit 2: linux/capability.h
		{"fffffffffffffffb", all, false},
		{"0000000000000000", all, false},
		{"000001ffffffffff", "0 1000 1\n", false},
		{"000001ffffffffff", "0 0 4294967295\n1 2 3\n", false},
		{"x", all, false},
		{"", "", false},
	} {
		status := strings.Join([]string{"Name:\tx", "CapPrm:\t0000000000000004", "CapEff:\t" + c.caps, "CapBnd:\t0000000000000004", ""}, "\n")
		if got := isReadSearch(status, c.users); got != c.want {
			t.Errorf("%q %q: %v", c.caps, c.users, got)
		}
	}
	if isReadSearch("", all) {
		t.Error("no status")
	}
}
