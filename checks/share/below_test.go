package share

import (
	"os"
	"slices"
	"strings"
	"testing"
)

// Rows in the form of proc(5) mountinfo. A server's own file systems below its export come as rows of the
// network file system (nfs(5), exports(5) crossmnt); what this computer mounts there does not travel.
func TestLocalBelow(t *testing.T) {
	const table = `21 1 8:1 / / rw - ext4 /dev/root rw
30 21 0:40 / /mnt/share rw - nfs4 box:/export rw
31 30 0:41 / /mnt/share/copy/inner rw - nfs4 box:/export/inner rw
32 30 0:42 / /mnt/share/copy/day\0401 rw - tmpfs memory rw
33 30 8:2 / /mnt/share/copy/day2 rw - ext4 /dev/sdb1 rw
34 33 0:43 / /mnt/share/copy/day2 rw - nfs4 box:/export/day2 rw
35 30 8:3 / /mnt/share/other rw - ext4 /dev/sdc1 rw
36 21 8:4 / /mnt/share2 rw - ext4 /dev/sdd1 rw
`
	rows, err := ParseMountInfo(strings.NewReader(table))
	if err != nil {
		t.Fatal(err)
	}
	for folder, want := range map[string][]string{
		"/mnt/share/copy":        {"/mnt/share/copy/day 1"}, // day2 is covered by the server's
		"/mnt/share":             {"/mnt/share/copy/day 1", "/mnt/share/other"},
		"/mnt/share/copy/day 1":  nil, // itself: another check looks at that
		"/mnt/share/copy/nobody": nil,
	} {
		if got := LocalBelow(rows, folder); !slices.Equal(got, want) {
			t.Errorf("LocalBelow(%s) = %q, want %q", folder, got, want)
		}
	}
}

func TestInside(t *testing.T) {
	base := t.TempDir()
	for _, d := range []string{"a/b/c", "ab"} {
		if err := os.MkdirAll(base+"/"+d, 0o755); err != nil {
			t.Fatal(err)
		}
	}
	for _, tc := range []struct {
		folder, path string
		want         bool
	}{{"a", "a", true}, {"a", "a/b/c", true}, {"a/b", "a", false}, {"a", "ab", false}, {"a", "a/../ab", false}} {
		if in, err := Inside(base+"/"+tc.folder, base+"/"+tc.path); in != tc.want || err != nil {
			t.Errorf("Inside(%s, %s) = %v, %v", tc.folder, tc.path, in, err)
		}
	}
	if _, err := Inside(base, base+"/none"); err == nil {
		t.Error("a path that is not there lies somewhere")
	}
}
