package selftest

import (
	"errors"
	"os/exec"
	"strings"

	"golang.org/x/sys/unix"

	"loadline/checks/walk"
)

const accessList = walk.AccessList

// setAttribute gives a file an attribute and returns its name.
func setAttribute(path string) (string, error) {
	const name = "loadline.selftest"
	return name, unix.Setxattr(path, name, []byte("1"), 0)
}

// setAccessList gives a file an access list (chmod(1) of macOS).
func setAccessList(path string) error {
	if out, err := exec.Command("/bin/chmod", "+a", "everyone allow read", path).CombinedOutput(); err != nil {
		return errors.New("chmod: " + strings.TrimSpace(string(out)))
	}
	return nil
}

func kernel() string {
	release, err := unix.Sysctl("kern.osrelease")
	if err != nil {
		return ""
	}
	product, err := unix.Sysctl("kern.osproductversion")
	if err != nil {
		product = "unknown"
	}
	return "Darwin " + release + ", macOS " + product
}
