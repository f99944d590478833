package arrival

import (
	"errors"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/sys/unix"

	"loadline/checks"
	"loadline/checks/internal/fixture"
	"loadline/checks/manifest"
)

// A pipe in place of a file, as a shell's <(…) makes one, would wait for ever or be empty when it is read
// again; a folder has no content. Both are told before anything is opened.
func TestArrivalOfNoFile(t *testing.T) {
	dir := t.TempDir()
	files := filesOf(arrived...)
	m, l, pipe := filepath.Join(dir, "m"), filepath.Join(dir, "l"), filepath.Join(dir, "pipe")
	fixture.WriteFile(t, m, string(manifestOf(t, "archive", files)))
	fixture.WriteFile(t, l, csvOf("Key,Size,SHA-256", "archive/", files, sha))
	fixture.Must(t, unix.Mkfifo(pipe, 0o600))
	for _, tc := range []struct {
		manifest, listing string
		kind              error
		want              string
	}{
		{m, pipe, ErrListing, "save it as a file first"},
		{pipe, l, manifest.ErrUnusable, "save it as a file first"},
		{m, dir, ErrListing, "is a folder"},
		{dir, l, manifest.ErrUnusable, "is a folder"},
		{"/dev/zero", l, manifest.ErrUnusable, "a device"},
		{m, filepath.Join(dir, "none"), ErrListing, "no such file"},
	} {
		_, err := Run(t.Context(), tc.manifest, []string{tc.listing}, Options{}, nil)
		if !errors.Is(err, tc.kind) || !errors.Is(err, checks.ErrBadJob) || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%s, %s: %v, want %q", tc.manifest, tc.listing, err, tc.want)
		}
	}
}
