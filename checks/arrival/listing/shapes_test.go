package listing

import (
	"encoding/hex"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/klauspost/compress/zstd"
)

// wanted is what a file of testdata/shapes.py lists: key (hexadecimal), size, kind and value of a digest.
type wanted struct {
	Objects [][4]any
}

// shapes writes one archive's listing in every shape with the csv, json, xml and gzip modules of Python.
func shapes(t testing.TB) (dir string, want map[string]wanted) {
	t.Helper()
	dir = t.TempDir()
	if text, err := exec.Command("python3", "testdata/shapes.py", dir).CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	text, err := os.ReadFile(filepath.Join(dir, "expect.json"))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(text, &want); err != nil {
		t.Fatal(err)
	}
	_ = os.Remove(filepath.Join(dir, "expect.json")) // it is no listing
	return dir, want
}

// The archive is the same in every shape, whoever encoded it: every key, size and digest.
func TestShapes(t *testing.T) {
	dir, want := shapes(t)
	if len(want) < 60 {
		t.Fatalf("%d shapes", len(want))
	}
	for file, w := range want {
		path := filepath.Join(dir, file)
		t.Run(file, func(t *testing.T) { checkShape(t, path, w) })
	}
}

func checkShape(t *testing.T, path string, w wanted) {
	keys := map[string][4]any{}
	for _, o := range w.Objects {
		raw, err := hex.DecodeString(o[0].(string))
		if err != nil {
			t.Fatal(err)
		}
		keys[string(raw)] = o
	}
	chooser := Chooser{Known: func(_ Reading, key []byte) bool { _, ok := keys[string(key)]; return ok }}
	var rows []Row
	f, err := readFile(t.Context(), path, Options{}, func(r *Row) error {
		chooser.Look(r.Key)
		rows = append(rows, r.Clone())
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) != len(keys) {
		t.Errorf("%d rows, want %d: %s", len(rows), len(keys), f)
	}
	reading := chooser.Best()
	bad := 0
	for _, r := range rows {
		key := reading.Decode(r.Key)
		o, ok := keys[string(key)]
		if !ok {
			if bad++; bad < 5 {
				t.Errorf("%s (at %d): unknown key %q (%q), read %s", f, r.At, key, r.Key, reading)
			}
			continue
		}
		delete(keys, string(key))
		if float64(r.Size) != o[1].(float64) {
			t.Errorf("%q has %d bytes, want %v", key, r.Size, o[1])
		}
		if err := checkSum(r.Sums, o[2].(string), o[3].(string)); err != nil {
			t.Errorf("%q: %v", key, err)
		}
	}
	if why := Partial([]*Format{f}, "archive/"); len(why) > 0 {
		t.Errorf("partial: %q", why)
	}
	t.Logf("%s; keys %s; %d rows", f, reading, len(rows))
}

func checkSum(sums []Digest, kind, value string) error {
	if kind == "none" {
		if len(sums) > 0 {
			return fmt.Errorf("holds %v", sums)
		}
		return nil
	}
	if len(sums) != 1 {
		return fmt.Errorf("holds %d checksums", len(sums))
	}
	want, err := hex.DecodeString(value)
	if err != nil {
		return err
	}
	got := &sums[0]
	if strings.ReplaceAll(strings.ToLower(got.Kind.String()), "-", "") != kind || !got.Equal(want) {
		return fmt.Errorf("holds %s %s, want %s %s", got.Kind, got, kind, value)
	}
	if got.Parts != 0 && got.Parts != 12 {
		return fmt.Errorf("%d parts", got.Parts)
	}
	return nil
}

// What Python wrote plain is read alike with zstd around it, in one frame or several (zstd of klauspost, the
// encoder; the zstd command of Debian agrees with it by RFC 8878).
func TestZstd(t *testing.T) {
	dir, want := shapes(t)
	for _, file := range []string{"header-comma.csv", "array-utf8.json", "plain.xml", "sums.bsd", "aligned.txt", "utf16le.csv"} {
		text, err := os.ReadFile(filepath.Join(dir, file))
		if err != nil {
			t.Fatal(err)
		}
		w, err := zstd.NewWriter(nil)
		if err != nil {
			t.Fatal(err)
		}
		packed := append(w.EncodeAll(text[:100], nil), w.EncodeAll(text[100:], nil)...)
		path := filepath.Join(dir, file+".zst")
		if err := os.WriteFile(path, packed, 0o600); err != nil {
			t.Fatal(err)
		}
		t.Run(file, func(t *testing.T) { checkShape(t, path, want[file]) })
		if err := os.WriteFile(path, packed[:len(packed)-20], 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := readFile(t.Context(), path, Options{}, func(*Row) error { return nil }); err == nil {
			t.Errorf("%s: a cut zstd stream is taken", file)
		}
	}
}
