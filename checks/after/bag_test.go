package after

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"loadline/checks/internal/fixture"
)

var bagLine = regexp.MustCompile(`^[0-9a-f]+[ \t]+data/[^\r\n]+$`)

// RFC 8493: with the copy as its data folder, the bag is whole. sha256sum -c and md5sum -c verify it,
// as they verify any bag whose paths hold nothing that must be coded; the tag manifest holds every
// other tag file.
func TestBag(t *testing.T) {
	p := archive(t)
	p.copy(t)
	bag := filepath.Join(filepath.Dir(p.source), "bag")
	rep, err := p.check(t, func(o *Options) { o.Bag = bag }, nil)
	fixture.Must(t, err)
	fixture.Must(t, os.Rename(filepath.Join(p.share, "archive"), filepath.Join(bag, "data")))
	for list, tool := range map[string]string{"manifest-sha256.txt": "sha256sum", "manifest-md5.txt": "md5sum", "tagmanifest-sha256.txt": "sha256sum"} {
		fixture.Command(t, bag, tool, "-c", "--strict", "--warn", list)
	}
	read := func(name string) string {
		b, err := os.ReadFile(filepath.Join(bag, name))
		fixture.Must(t, err)
		return string(b)
	}
	// Section 2.1.1: these two lines, in this order.
	if got := read("bagit.txt"); got != "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n" {
		t.Errorf("bagit.txt: %q", got)
	}
	// Section 2.2.2: octets, a full stop, number of files.
	if want := fmt.Sprintf("Payload-Oxum: %d.%d\n", rep.Totals.Bytes, rep.Totals.Files); !strings.Contains(read("bag-info.txt"), want) {
		t.Errorf("bag-info.txt: %q lacks %q", read("bag-info.txt"), want)
	}
	for line := range strings.Lines(read("manifest-sha256.txt")) {
		if !bagLine.MatchString(strings.TrimSuffix(line, "\n")) {
			t.Errorf("no line of a bag: %q", line)
		}
	}
	if n := strings.Count(read("tagmanifest-sha256.txt"), "\n"); n != 4 {
		t.Errorf("the tag manifest holds %d files, want 4", n)
	}
}
