package checks

import (
	"bufio"
	"os/exec"
	"strings"
	"testing"
)

// The system is named as uname(1) and a shell that reads os-release(5) name it.
func TestMachine(t *testing.T) {
	out, err := exec.Command("sh", "-c", `. /etc/os-release; echo "$(uname -n), $ID $VERSION_ID, kernel $(uname -r), "`).Output()
	if err != nil {
		t.Fatal(err)
	}
	if want := strings.TrimSuffix(string(out), "\n"); !strings.HasPrefix(machine(), want) {
		t.Errorf("%q does not begin with %q", machine(), want)
	}
}

func TestDistribution(t *testing.T) {
	// Quoted or not, with comments, and with lines that may be missing (os-release(5)).
	for text, want := range map[string]string{
		"NAME=Other\nVERSION=\"32 (on the desk)\"\nID=\"other\"\nVERSION_ID=32\n": "other 32",
		"# a comment\nID=debian\nVERSION_ID='12'\n\n":                             "debian 12",
		"ID=rolling\nBUILD_ID=7":                                                  "rolling",
		"":                                                                        "linux",
		"no key\n=\n":                                                             "linux",
	} {
		if got := distribution(bufio.NewScanner(strings.NewReader(text))); got != want {
			t.Errorf("%q: %q, want %q", text, got, want)
		}
	}
}
