package pack

import (
	"archive/tar"
	"archive/zip"
	"bytes"
	"compress/gzip"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

// Archives depend on nothing but what is in them and the date.
func TestArchives(t *testing.T) {
	dir := t.TempDir()
	big := filepath.Join(dir, "big")
	if err := os.WriteFile(big, []byte("program"), 0o600); err != nil {
		t.Fatal(err)
	}
	one := tree{{path: "b/c", mode: 0o755, from: big}, {path: "a", mode: 0o644, content: []byte("text")}}
	two := tree{one[1], one[0]}
	for i, in := range []tree{one, two} {
		if err := writeTarGz(filepath.Join(dir, fmt.Sprint(i, ".tar.gz")), in, when); err != nil {
			t.Fatal(err)
		}
		if err := writeZip(filepath.Join(dir, fmt.Sprint(i, ".zip")), in, when); err != nil {
			t.Fatal(err)
		}
		if err := os.Chtimes(big, when, when.Add(time.Hour)); err != nil {
			t.Fatal(err)
		}
	}
	read := func(name string) []byte {
		b, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	for _, kind := range []string{".tar.gz", ".zip"} {
		if !bytes.Equal(read("0"+kind), read("1"+kind)) {
			t.Errorf("the order of files counts in %s", kind)
		}
	}
	z, err := gzip.NewReader(bytes.NewReader(read("0.tar.gz")))
	if err != nil {
		t.Fatal(err)
	}
	if z.Name != "" || !z.ModTime.IsZero() {
		t.Errorf("the head of gzip holds %q and %s", z.Name, z.ModTime)
	}
	var got []string
	for r := tar.NewReader(z); ; {
		h, err := r.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		b, err := io.ReadAll(r)
		if err != nil {
			t.Fatal(err)
		}
		got = append(got, fmt.Sprintf("%s %o %s %d:%d%s %s", h.Name, h.Mode, h.ModTime.UTC().Format(time.RFC3339), h.Uid, h.Gid, h.Uname+h.Gname, b))
	}
	const date = "2026-11-25T07:08:10Z"
	if d := cmp.Diff([]string{"b/ 755 " + date + " 0:0 ", "a 644 " + date + " 0:0 text", "b/c 755 " + date + " 0:0 program"}, got); d != "" {
		t.Error(d)
	}
	archive, err := zip.NewReader(bytes.NewReader(read("0.zip")), int64(len(read("0.zip"))))
	if err != nil {
		t.Fatal(err)
	}
	got = nil
	for _, f := range archive.File {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		b, err := io.ReadAll(r)
		if err != nil {
			t.Fatal(err)
		}
		got = append(got, fmt.Sprintf("%s %o %s %s", f.Name, f.Mode(), f.Modified.UTC().Format(time.RFC3339), b))
	}
	if d := cmp.Diff([]string{"a 644 " + date + " text", "b/c 755 " + date + " program"}, got); d != "" {
		t.Error(d)
	}
	out := filepath.Join(dir, "out")
	if err := one.unpack(out, when); err != nil {
		t.Fatal(err)
	}
	again, err := readTree(out)
	if err != nil {
		t.Fatal(err)
	}
	if again = again.sorted(); len(again) != 2 || again[0].path != "a" || again[0].mode != 0o644 || again[1].path != "b/c" || again[1].mode != 0o755 {
		t.Errorf("unpacked and read again: %+v", again)
	}
	if err := writeZip(filepath.Join(dir, "0.zip"), one, when); err == nil {
		t.Error("an archive was overwritten")
	}
}

// The checksums are those that sha256sum verifies (GNU coreutils).
func TestSums(t *testing.T) {
	dir := t.TempDir()
	for name, content := range map[string]string{"b": "two", "a": "one", "sub/c": "three"} {
		if err := (tree{{path: name, mode: 0o644, content: []byte(content)}}).unpack(dir, when); err != nil {
			t.Fatal(err)
		}
	}
	if err := writeSums(dir); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command("sha256sum", "--strict", "-c", sumsFile)
	cmd.Dir = dir
	out, err := cmd.CombinedOutput()
	if err != nil || string(out) != "a: OK\nb: OK\nsub/c: OK\n" {
		t.Errorf("%v: %s", err, out)
	}
}

func TestGzipped(t *testing.T) {
	b, err := gzipped([]byte("page"))
	if err != nil {
		t.Fatal(err)
	}
	z, err := gzip.NewReader(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	text, err := io.ReadAll(z)
	if err != nil || string(text) != "page" || !z.ModTime.IsZero() {
		t.Errorf("%q, %v, dated %s", text, err, z.ModTime)
	}
	if b[8] != 2 { // RFC 1952, 2.3.1: XFL 2, slowest and best
		t.Errorf("XFL is %d", b[8])
	}
}

func TestSameAnywhere(t *testing.T) {
	got, err := sameAnywhere([]byte(`{"metadata":{"tools":[{"name":"x","hashes":[1]}]},"components":[{"hashes":[2]}]}`))
	if err != nil {
		t.Fatal(err)
	}
	want := "{\n  \"components\": [\n    {\n      \"hashes\": [\n        2\n      ]\n    }\n  ],\n  \"metadata\": {\n    \"tools\": [\n      {\n        \"name\": \"x\"\n      }\n    ]\n  }\n}"
	if string(got) != want {
		t.Errorf("got %s", got)
	}
	for _, bad := range []string{"", "{}", `{"metadata":{"tools":[]}}`} {
		if _, err := sameAnywhere([]byte(bad)); err == nil {
			t.Errorf("%q was taken", bad)
		}
	}
}
