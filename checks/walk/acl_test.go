package walk

import (
	"encoding/hex"
	"strings"
	"testing"
)

// Bytes after getattrlist(2) and struct kauth_filesec of bsd/sys/kauth.h, laid out by hand.
func TestHasACL(t *testing.T) {
	ids := strings.Repeat("00", 32)
	for answer, want := range map[string]bool{
		"38000000" + "08000000" + "44000000" + "6dc12c01" + ids + "01000000" + "00000000": true,  // one entry
		"38000000" + "08000000" + "2c000000" + "6dc12c01" + ids + "ffffffff" + "00000000": false, // none
		"38000000" + "08000000" + "2c000000" + "6dc12c01" + ids + "00000000" + "00000000": false, // an empty list
		"0c000000" + "08000000" + "00000000":                                              false, // nothing
		"38000000" + "08000000" + "44000000" + "00000000" + ids + "01000000" + "00000000": false, // another magic number
		"38000000" + "00000080" + "44000000" + "6dc12c01" + ids + "01000000" + "00000000": false,
		"38000000" + "ffffff7f" + "44000000":                                              false,
		"":                                                                                false,
	} {
		b, err := hex.DecodeString(answer)
		if err != nil {
			t.Fatal(err)
		}
		if got := hasACL(b); got != want {
			t.Errorf("%s: %v", answer, got)
		}
	}
	if r := aclRequest(); hex.EncodeToString(r[:8]) != "0500000000004000" {
		t.Errorf("request %x", r)
	}
}

func FuzzHasACL(f *testing.F) {
	f.Add(make([]byte, aclAnswer))
	f.Fuzz(func(_ *testing.T, b []byte) { hasACL(b) })
}
