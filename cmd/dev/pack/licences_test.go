package pack

import (
	"bytes"
	"flag"
	"os"
	"testing"
)

var update = flag.Bool("update", false, "write assets/licences/licences.txt anew")

// What the program shows is what the build needs now.
func TestLicences(t *testing.T) {
	t.Chdir("../../..")
	got, err := Licences(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	const file = "assets/licences/licences.txt"
	if *update {
		if err := os.WriteFile(file, got, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want) {
		t.Errorf("%s is not what is built in now; run go test ./cmd/dev/pack -run Licences -update and look at the difference", file)
	}
}
