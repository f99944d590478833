package pack

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "write assets/licences/licences.txt anew")

// What the program shows is what the build needs now.
func TestLicences(t *testing.T) {
	t.Chdir("../../..")
	got, err := builtIn(t.Context())
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

// licenceName is what files with the terms of a module are called.
var licenceName = regexp.MustCompile(`(?i)^(licen[cs]e|copying|notice|patents|ofl)([-_.].*)?$`)

// builtIn returns the licences of Loadline and of everything that is built into one of its programs for
// any system: each text once, below the names of all that it covers.
func builtIn(ctx context.Context) ([]byte, error) {
	found := map[string]string{} // module and version: its folder
	for _, system := range []string{"linux", "darwin", "windows"} {
		cmd := exec.CommandContext(ctx, "go", "list", "-tags", WindowTags, "-deps", "-json=Module", "./cmd/"+program, "./cmd/"+command)
		cmd.Env = append(os.Environ(), "GOOS="+system, "GOARCH=amd64", "CGO_ENABLED=1")
		cmd.Stderr = os.Stderr
		out, err := cmd.Output()
		if err != nil {
			return nil, fmt.Errorf("go list for %s: %w", system, err)
		}
		for d := json.NewDecoder(bytes.NewReader(out)); ; {
			var p struct {
				Module *struct {
					Path, Version, Dir string
					Main               bool
				}
			}
			if err := d.Decode(&p); errors.Is(err, io.EOF) {
				break
			} else if err != nil {
				return nil, err
			}
			if m := p.Module; m != nil && !m.Main {
				found[m.Path+" "+m.Version] = m.Dir
			}
		}
	}
	covers := map[string][]string{} // text: names
	for name, dir := range found {
		texts, err := licencesIn(dir)
		if err != nil {
			return nil, err
		}
		if len(texts) == 0 {
			return nil, fmt.Errorf("%s has no licence: it must not be built in", name)
		}
		for where, text := range texts {
			title := name
			if d := filepath.ToSlash(filepath.Dir(where)); d != "." {
				title += " (" + d + ")"
			}
			covers[text] = append(covers[text], title)
		}
	}
	root, err := exec.CommandContext(ctx, "go", "env", "GOROOT").Output()
	if err != nil {
		return nil, err
	}
	goroot := strings.TrimSpace(string(root))
	own := map[string][]string{}
	for title, file := range map[string]string{
		"The fonts in the window": "assets/fonts/OFL.txt", "Go": filepath.Join(goroot, "LICENSE"),
	} {
		b, err := os.ReadFile(file)
		if err != nil {
			return nil, err
		}
		own[normal(b)] = []string{title}
	}
	for text, names := range own {
		covers[text] = append(names, covers[text]...)
	}
	licence, err := os.ReadFile("LICENSE")
	if err != nil {
		return nil, err
	}
	var out bytes.Buffer
	fmt.Fprintf(&out, "Loadline\n\n%s", normal(licence))
	type entry struct{ names, text string }
	var all []entry
	for text, names := range covers {
		slices.Sort(names)
		all = append(all, entry{strings.Join(names, "\n"), text})
	}
	slices.SortFunc(all, func(a, b entry) int { return strings.Compare(a.names+a.text, b.names+b.text) })
	for _, e := range all {
		fmt.Fprintf(&out, "\n%s\n\n%s\n\n%s", strings.Repeat("-", 78), e.names, e.text)
	}
	return out.Bytes(), nil
}

// licencesIn returns the texts of terms in a module, by path. What is not built in is left out: tests
// and programs of the module.
func licencesIn(dir string) (map[string]string, error) {
	found := map[string]string{}
	err := filepath.WalkDir(dir, func(name string, e fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(dir, name)
		if err != nil {
			return err
		}
		if e.IsDir() {
			if base := e.Name(); rel != "." && (base == "testdata" || base == "cmd" || base == "xgbgen" || base[0] == '.') {
				return fs.SkipDir
			}
			return nil
		}
		if !licenceName.MatchString(e.Name()) || strings.HasSuffix(e.Name(), ".go") {
			return nil
		}
		b, err := os.ReadFile(name)
		if err != nil {
			return err
		}
		found[rel] = normal(b)
		return nil
	})
	return found, err
}

// normal ends lines with LF and has no blanks at their ends, so that equal texts are equal.
func normal(b []byte) string {
	var s strings.Builder
	for l := range strings.Lines(strings.ToValidUTF8(string(b), "?")) {
		s.WriteString(strings.TrimRight(l, " \t\r\n\f"))
		s.WriteByte('\n')
	}
	return strings.Trim(s.String(), "\n") + "\n"
}
