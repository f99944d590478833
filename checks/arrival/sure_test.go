package arrival

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"loadline/checks"
	"loadline/checks/internal/fixture"
	"loadline/checks/manifest"
)

// arrivedWhole judges a table of keys, sizes and SHA-256 a second time, in the plainest way: every file has a row
// of its key, size and checksum, and no row of its key says otherwise. The reader is that of the standard
// library.
func arrivedWhole(text string, files []*manifest.File) bool {
	r := csv.NewReader(strings.NewReader(text))
	rows, err := r.ReadAll()
	if err != nil || len(rows) == 0 {
		return false
	}
	for _, f := range files {
		proven := false
		for _, row := range rows[1:] {
			if len(row) != 3 || row[0] != "archive/"+string(f.Path) {
				continue
			}
			if strings.TrimSpace(row[1]) != fmt.Sprint(f.Size) {
				return false
			}
			sum := strings.Trim(strings.TrimSpace(row[2]), `"`)
			switch {
			case strings.EqualFold(sum, fmt.Sprintf("%x", f.Sums.SHA256)):
				proven = true
			case len(sum) == 64:
				return false
			}
		}
		if !proven {
			return false
		}
	}
	return true
}

// The sentence that lets a disk be erased is never said of a listing that was damaged, cut, mixed up or
// edited, unless what is left of it proves everything.
func TestArrivalNeverTooSure(t *testing.T) {
	files := filesOf(append([]string{"a%20b", "a b", "x/100%", "n"}, arrived...)...)
	m := reseal(bytes.Replace(manifestOf(t, "archive", files), []byte("links=1 others=2"), []byte("links=0 others=0"), 1))
	good := csvOf("Key,Size,SHA-256", "archive/", files, sha)
	dir := t.TempDir()
	manifest, listing := filepath.Join(dir, "m"), filepath.Join(dir, "l")
	fixture.WriteFile(t, manifest, string(m))
	judge := func(text string) bool {
		fixture.Must(t, os.WriteFile(listing, []byte(text), 0o600))
		rep, err := Run(t.Context(), manifest, []string{listing}, Options{}, nil)
		return err == nil && rep.Verdict == checks.Passed
	}
	if !judge(good) || !arrivedWhole(good, files) {
		t.Fatal("the good listing does not pass")
	}
	r := rand.New(rand.NewPCG(7, 11))
	mutations := map[string]func(rows []string) string{
		"a bit": func(rows []string) string {
			b := []byte(strings.Join(rows, ""))
			b[r.IntN(len(b))] ^= 1 << r.IntN(8)
			return string(b)
		},
		"a byte": func(rows []string) string {
			b := []byte(strings.Join(rows, ""))
			b[r.IntN(len(b))] = byte(r.IntN(256))
			return string(b)
		},
		"a digit": func(rows []string) string {
			b := []byte(strings.Join(rows, ""))
			b[r.IntN(len(b))] = "0123456789abcdef,\n\"%"[r.IntN(20)]
			return string(b)
		},
		"cut": func(rows []string) string { s := strings.Join(rows, ""); return s[:r.IntN(len(s))] },
		"cut out": func(rows []string) string {
			s := strings.Join(rows, "")
			i := r.IntN(len(s))
			return s[:i] + s[min(i+1+r.IntN(90), len(s)):]
		},
		"row gone": func(rows []string) string {
			i := 1 + r.IntN(len(rows)-1)
			return strings.Join(append(append([]string{}, rows[:i]...), rows[i+1:]...), "")
		},
		"row twice": func(rows []string) string { return strings.Join(rows, "") + rows[1+r.IntN(len(rows)-1)] },
		"columns mixed": func(rows []string) string {
			i, j := 1+r.IntN(len(rows)-1), 1+r.IntN(len(rows)-1)
			a, b := strings.LastIndexByte(rows[i], ','), strings.LastIndexByte(rows[j], ',')
			rows[i], rows[j] = rows[i][:a]+rows[j][b:], rows[j][:b]+rows[i][a:]
			return strings.Join(rows, "")
		},
		"row, and one like it": func(rows []string) string {
			b := []byte(rows[1+r.IntN(len(rows)-1)])
			b[r.IntN(len(b)-1)] = "0123456789abcdef"[r.IntN(16)]
			return strings.Join(rows, "") + string(b)
		},
	}
	passes := 0
	for name, mutate := range mutations {
		for range 40 {
			rows := strings.SplitAfter(good, "\n")
			text := mutate(rows[:len(rows)-1])
			if judge(text) {
				passes++
				if !arrivedWhole(text, files) {
					t.Errorf("%s: passes\n%s", name, text)
				}
			}
		}
	}
	if passes == 0 {
		t.Error("nothing passed: the test proves nothing")
	}
}
