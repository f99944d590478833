package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// The tests here keep the house in order: who may import whom, what is where, what a test may
// not do, and that the handbook names commands that exist.

const module = "loadline"

// What most rooms of checks may import of ours: those that the checks stand on, and those that checks are.
var (
	lower = []string{"checks/walk", "checks/names", "checks/share", "checks/internal/..."}
	upper = append([]string{"checks", "checks/digest", "checks/manifest", "checks/media"}, lower...)
)

// may lists what each package of ours may import of ours, the folder below the module each; a
// pattern that ends in "/..." covers what is below it too. A package that is not named here
// has no room yet: give it one.
var may = []struct {
	pkg     string
	imports []string
}{
	{"cmd/dev/...", []string{"cmd/loadline/display", "gui/...", "checks/...", "assets/..."}},
	{"cmd/...", []string{"gui/...", "checks/...", "assets/..."}},
	{"gui/kit", []string{"assets/..."}},
	{"gui/input", []string{"checks", "checks/names"}},
	{"gui/trace", nil},
	{"gui", []string{"gui/...", "checks/...", "assets/..."}},
	{"checks/internal/...", []string{"checks/internal/..."}},
	{"checks/walk", []string{"checks/internal/..."}},
	{"checks/names", nil},
	{"checks/share", []string{"checks/internal/..."}},
	{"checks/schema", []string{"testdata/schema"}}, // for tests
	{"checks/digest", lower},
	{"checks/manifest", lower},
	{"checks/media", lower},
	{"checks", lower},
	{"checks/before", upper},
	{"checks/after", append([]string{"checks/before"}, upper...)}, // it begins with the share's check
	{"checks/arrival/...", append([]string{"checks/arrival/..."}, upper...)},
	{"checks/recheck", upper},
	{"checks/split", upper},
	{"checks/fix", upper},
	{"checks/demo", upper},
	{"checks/selftest", lower},
	{"assets/...", nil},
}

// Tests may import more: the harness of the window, and the lower rooms from above.
var testsMay = []string{"cmd/dev/e2e", "checks/..."}

// lowest are the rooms that lean on little: nothing outside the standard library but these.
var (
	lowest    = []string{"checks/walk", "checks/names", "checks/share"}
	lowestMay = []string{
		"golang.org/x/sys/...", "golang.org/x/text/...",
		"github.com/shirou/gopsutil/v3/...", "github.com/dustin/go-humanize/...",
	}
)

type goPackage struct {
	ImportPath                         string
	Standard                           bool
	Imports, TestImports, XTestImports []string
	Deps                               []string
	Error                              *struct{ Err string }
}

// list asks the go command for our packages as one system sees them.
func list(t *testing.T, env []string, args ...string) []goPackage {
	t.Helper()
	cmd := exec.Command("go", append([]string{"list", "-e", "-json=ImportPath,Standard,Imports,TestImports,XTestImports,Deps,Error"}, args...)...)
	cmd.Dir = "../.."
	cmd.Env = append(os.Environ(), env...)
	var complaints bytes.Buffer
	cmd.Stderr = &complaints
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("go list: %v\n%s", err, complaints.String())
	}
	var all []goPackage
	for d := json.NewDecoder(bytes.NewReader(out)); ; {
		var p goPackage
		if err := d.Decode(&p); errors.Is(err, io.EOF) {
			return all
		} else if err != nil {
			t.Fatal(err)
		}
		all = append(all, p)
	}
}

// covers tells whether a pattern such as "gui/..." speaks of a path.
func covers(pattern, path string) bool {
	if base, below := strings.CutSuffix(pattern, "/..."); below {
		return path == base || strings.HasPrefix(path, base+"/")
	}
	return path == pattern
}

func coveredBy(patterns []string, path string) bool {
	return slices.ContainsFunc(patterns, func(p string) bool { return covers(p, path) })
}

// faults reports what one package imports against the rules.
func faults(p goPackage) []string {
	var out []string
	own := strings.TrimPrefix(p.ImportPath, module+"/")
	i := slices.IndexFunc(may, func(m struct {
		pkg     string
		imports []string
	},
	) bool {
		return covers(m.pkg, own)
	})
	if i < 0 {
		return []string{fmt.Sprintf("%s is not one of the agreed rooms", own)}
	}
	check := func(imports []string, test bool) {
		for _, imp := range imports {
			room, ours := strings.CutPrefix(imp, module+"/")
			outside := !ours && strings.Contains(strings.Split(imp, "/")[0], ".")
			switch {
			case ours && room != own && !(covers("cmd/...", own) && covers(own+"/...", room)) && !coveredBy(may[i].imports, room) && !(test && coveredBy(testsMay, room)):
				out = append(out, fmt.Sprintf("%s imports %s: the way of imports is one way only", own, room))
			case covers(fyne+"/app", imp) && own != "cmd/loadline":
				out = append(out, fmt.Sprintf("%s imports fyne/app; only cmd/loadline may", own))
			case outside && !test && coveredBy(lowest, own) && !coveredBy(lowestMay, imp):
				out = append(out, fmt.Sprintf("%s imports %s; it may lean on %v only", own, imp, lowestMay))
			}
		}
	}
	check(p.Imports, false)
	check(p.TestImports, true)
	check(p.XTestImports, true)
	if covers("checks/...", own) || covers("cmd/loadline-cli/...", own) || own == "gui/input" {
		for _, d := range p.Deps {
			if covers(fyne+"/...", d) || covers(module+"/gui/...", d) {
				out = append(out, fmt.Sprintf("%s depends on %s: it must do without a window", own, d))
			}
		}
	}
	return out
}

func TestImportsRunOneWay(t *testing.T) {
	for _, system := range []string{"linux", "darwin", "windows"} {
		// With cgo the window's own packages are seen whole; nothing is compiled here.
		all := list(t, []string{"GOOS=" + system, "GOARCH=amd64", "CGO_ENABLED=1"}, "-tags", allTags, "./...")
		if len(all) < 5 {
			t.Fatalf("go list found only %d packages", len(all))
		}
		for _, p := range all {
			for _, f := range faults(p) {
				t.Errorf("%s: %s", system, f)
			}
		}
	}
}

// To fuzz a package is to build it with all that it imports once more, in a way of its own: the toolkit takes
// minutes for that.
func TestFuzzingNeedsNoToolkit(t *testing.T) {
	targets, err := fuzzTargets(os.DirFS("../.."))
	if err != nil {
		t.Fatal(err)
	}
	args := []string{"-deps", "-test"}
	for _, f := range targets {
		args = append(args, "./"+f.folder)
	}
	all := list(t, []string{"CGO_ENABLED=1"}, args...)
	if len(targets) < 10 || len(all) < 10 {
		t.Fatalf("only %d fuzz targets and %d packages were found", len(targets), len(all))
	}
	for _, p := range all {
		if covers(fyne+"/...", p.ImportPath) {
			t.Errorf("a package with a fuzz target imports %s: put what is fuzzed into one without the toolkit, such as gui/input", p.ImportPath)
			return
		}
	}
}

// A rule that cannot fail is none: each of these must be found.
func TestFaultsAreFound(t *testing.T) {
	for _, c := range []struct {
		pkg, imports string
		bad          bool
	}{
		{"checks/walk", "golang.org/x/sys/unix", false},
		{"checks/walk", "io/fs", false},
		{"checks/walk", "github.com/jezek/xgb", true},
		{"checks/walk", module + "/checks", true},
		{"checks/names", module + "/checks/walk", true},
		{"checks", module + "/checks/fix", true},
		{"checks", module + "/checks/names", false},
		{"checks/after", module + "/checks/digest", false},
		{"checks/after", module + "/checks/arrival", true},
		{"checks/digest", module + "/checks", true},
		{"checks/manifest", module + "/checks/digest", true},
		{"checks/fix", module + "/checks/after", true},
		{"checks/internal/sums", module + "/checks/names", true},
		{"gui", module + "/cmd/dev", true},
		{"gui", module + "/gui/kit", false},
		{"gui", module + "/gui/input", false},
		{"gui/input", module + "/checks/names", false},
		{"gui/input", module + "/gui/kit", true},
		{"gui/kit", module + "/checks", true},
		{"gui/kit", module + "/gui", true},
		{"gui/kit", module + "/assets", false},
		{"gui/kit", fyne + "/widget", false},
		{"gui", fyne + "/app", true},
		{"gui", fyne + "/widget", false},
		{"cmd/loadline", fyne + "/app", false},
		{"cmd/loadline", module + "/cmd/loadline/part", false},
		{"cmd/loadline", module + "/cmd/dev/e2e", true},
		{"cmd/loadline-cli", fyne + "/app", true},
		{"elsewhere", "fmt", true},
	} {
		got := faults(goPackage{ImportPath: module + "/" + c.pkg, Imports: []string{c.imports}})
		if (len(got) > 0) != c.bad {
			t.Errorf("%s imports %s: %q", c.pkg, c.imports, got)
		}
	}
	deep := faults(goPackage{ImportPath: module + "/cmd/loadline-cli", Deps: []string{"fmt", fyne + "/theme"}})
	if len(deep) != 1 {
		t.Errorf("a window deep below the command: %q", deep)
	}
}

// agreed are the only names at the top, beside those that begin with a dot.
var agreed = []string{"cmd", "gui", "checks", "assets", "testdata", "go.mod", "go.sum", "README.md", "DEVELOPERS.md", "LICENSE"}

func TestTopLevel(t *testing.T) {
	ignored, err := os.ReadFile("../../.gitignore")
	if err != nil {
		t.Fatal(err)
	}
	entries, err := os.ReadDir("../..")
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		n := e.Name()
		built := regexp.MustCompile(`(?m)^/` + regexp.QuoteMeta(n) + `/?$`).Match(ignored)
		if n[0] != '.' && !slices.Contains(agreed, n) && !built {
			t.Errorf("%s does not belong at the top; only %v do", n, agreed)
		}
	}
	for _, n := range agreed {
		if _, err := os.Stat(filepath.Join("../..", n)); err != nil {
			t.Errorf("%s is missing at the top", n)
		}
	}
}

// Words that leave work to somebody else; in two parts, so that this file does not hold them.
var leftOver = regexp.MustCompile(`\b(TO` + `DO|FIX` + `ME|XX` + `X|HA` + `CK)\b`)

// What the window's own code may not call: it would not end a rest of the toolkit's loop.
var pastPacer = regexp.MustCompile(`\bfyne\.Do(AndWait)?\b`)

// How the window may not write a file: it would be half written after a crash, or lie over another.
var ownWriter = regexp.MustCompile(`\bos\.(Create|CreateTemp|WriteFile|Rename|Link)\(`)

func TestGoFiles(t *testing.T) {
	n := 0
	err := fs.WalkDir(os.DirFS("../.."), ".", func(file string, e fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if e.IsDir() && (e.Name() == ".git" || file == "bin") {
			return fs.SkipDir
		}
		if e.IsDir() || path.Ext(file) != ".go" {
			return nil
		}
		n++
		text, err := os.ReadFile(filepath.Join("../..", file))
		if err != nil {
			return err
		}
		for _, f := range fileFaults(file, text) {
			t.Error(f)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if n < 10 {
		t.Errorf("only %d Go files were seen", n)
	}
}

// fileFaults reports what a Go file has that none may have.
func fileFaults(file string, text []byte) []string {
	var out []string
	for i, l := range bytes.Split(text, []byte("\n")) {
		if leftOver.Match(l) {
			out = append(out, fmt.Sprintf("%s:%d leaves work: %s", file, i+1, bytes.TrimSpace(l)))
		}
		if strings.HasPrefix(file, "gui/") && pastPacer.Match(l) {
			out = append(out, fmt.Sprintf("%s:%d goes past the pacer, which would leave it waiting; use Desktop.Post", file, i+1))
		}
	}
	if !strings.HasSuffix(file, "_test.go") {
		if strings.HasPrefix(file, "gui/") && ownWriter.Match(text) {
			out = append(out, file+" writes a file in a way of its own; use checks.WriteNew or checks.Replace")
		}
		return out
	}
	set := token.NewFileSet()
	parsed, err := parser.ParseFile(set, file, text, parser.SkipObjectResolution)
	if err != nil {
		return append(out, err.Error())
	}
	ast.Inspect(parsed, func(n ast.Node) bool {
		call, ok := n.(*ast.CallExpr)
		if !ok {
			return true
		}
		sel, ok := call.Fun.(*ast.SelectorExpr)
		if !ok {
			return true
		}
		x, _ := sel.X.(*ast.Ident)
		switch {
		case x != nil && x.Name == "time" && sel.Sel.Name == "Sleep":
			out = append(out, fmt.Sprintf("%s sleeps; use testing/synctest or a channel", set.Position(n.Pos())))
		case x != nil && slices.Contains([]string{"t", "b", "f", "tb"}, x.Name) && slices.Contains([]string{"Skip", "Skipf", "SkipNow"}, sel.Sel.Name):
			out = append(out, fmt.Sprintf("%s skips; a test that cannot run must say so and fail", set.Position(n.Pos())))
		}
		return true
	})
	return out
}

func TestFileFaultsAreFound(t *testing.T) {
	for _, c := range []struct {
		name, file, text string
		want             int
	}{
		{"clean", "a_test.go", "package a\n", 0},
		{"as long as may be", "a.go", "package a\n" + strings.Repeat("\n", 499), 0},
		{"left over", "a.go", "package a // TO" + "DO: later\n", 1},
		{"past the pacer", "gui/a.go", "package a\nfunc f() { fyne.Do(f); fyne.DoAndWait(f) }\n", 1},
		{"the pacer itself", "cmd/loadline/pace.go", "package a\nfunc f() { fyne.Do(f) }\n", 0},
		{"writes by itself", "gui/a.go", "package a\nfunc f() { os.Rename(a, b); os.CreateTemp(a, b) }\n", 1},
		{"sets up a test", "gui/a_test.go", "package a\nfunc f() { os.WriteFile(a, nil, 0) }\n", 0},
		{"sleeps", "a_test.go", "package a\nfunc f() { time.Sleep(1) }\n", 1},
		{"sleeps outside a test", "a.go", "package a\nfunc f() { time.Sleep(1) }\n", 0},
		{"skips", "a_test.go", "package a\nfunc f() { t.Skip(); t.Skipf(\"\"); t.SkipNow() }\n", 3},
	} {
		if got := fileFaults(c.file, []byte(c.text)); len(got) != c.want {
			t.Errorf("%s: %q, want %d", c.name, got, c.want)
		}
	}
}

var (
	devCommand = regexp.MustCompile(`go run \./cmd/dev(?: ([a-z]+))?(?: -only ([a-z0-9,-]+))?`)
	link       = regexp.MustCompile(`\]\(([^)#:\s]+)\)`)
)

func TestHandbooks(t *testing.T) {
	for _, name := range []string{"README.md", "DEVELOPERS.md"} {
		text, err := os.ReadFile(filepath.Join("../..", name))
		if err != nil {
			t.Errorf("%s is not written yet: %v", name, err)
			continue
		}
		seen := map[string]bool{}
		for _, m := range devCommand.FindAllStringSubmatch(string(text), -1) {
			seen[m[1]] = true
			if commands[m[1]] == nil {
				t.Errorf("%s names the command %q, which does not exist", name, m[0])
			}
			if _, err := choose(everyStep(), m[2]); err != nil {
				t.Errorf("%s: %q: %v", name, m[0], err)
			}
		}
		for _, c := range []string{"start", "test"} {
			if !seen[c] {
				t.Errorf("%s does not name go run ./cmd/dev %s", name, c)
			}
		}
		for _, m := range link.FindAllStringSubmatch(string(text), -1) {
			if _, err := os.Stat(filepath.Join("../..", filepath.FromSlash(m[1]))); err != nil {
				t.Errorf("%s links to %s, which is not there", name, m[1])
			}
		}
	}
}

// What runs on every change is what the handbook says, and nothing cleverer.
func TestRunOnEveryChange(t *testing.T) {
	text, err := os.ReadFile("../../.ci/run")
	if err != nil {
		t.Fatal(err)
	}
	var calls []string
	for l := range strings.Lines(string(text)) {
		if l = strings.TrimSpace(l); strings.Contains(l, "go ") && l[0] != '#' {
			calls = append(calls, l)
		}
	}
	if !slices.Equal(calls, []string{"go run ./cmd/dev test", "go run ./cmd/dev test -release"}) {
		t.Errorf(".ci/run calls %q, want the two test commands of the handbooks and nothing else", calls)
	}
	if info, err := os.Stat("../../.ci/run"); err == nil && info.Mode()&0o111 == 0 {
		t.Error(".ci/run cannot be executed")
	}
}

// The window and the command are built for people from a clean module: no local replacement.
func TestNoReplacements(t *testing.T) {
	text, err := os.ReadFile("../../go.mod")
	if err != nil {
		t.Fatal(err)
	}
	if regexp.MustCompile(`(?m)^\s*replace\b`).Match(text) {
		t.Error("go.mod replaces a module")
	}
}

// Every module that go.mod requires for this project itself is named in DEVELOPERS.md, where its reason stands.
func TestModulesHaveReasons(t *testing.T) {
	text, err := os.ReadFile("../../DEVELOPERS.md")
	if err != nil {
		t.Fatal(err)
	}
	_, reasons, found := strings.Cut(string(text), "What the program needs, each with its reason")
	if reasons, _, _ = strings.Cut(reasons, "\n\n"); !found {
		t.Fatal("DEVELOPERS.md does not say what the program needs")
	}
	out, err := exec.Command("go", "list", "-m", "-f", "{{if not (or .Main .Indirect)}}{{.Path}}{{end}}", "all").Output()
	if err != nil {
		t.Fatal(err)
	}
	modules := strings.Fields(string(out))
	if len(modules) < 10 {
		t.Fatalf("only %q", modules)
	}
	for _, m := range modules {
		name := regexp.MustCompile(`/v[0-9]+$`).ReplaceAllString(m, "")
		name = strings.TrimPrefix(name[strings.LastIndexByte(name, '/')+1:], "go-")
		if m == "golang.org/x/"+name {
			name = "x/" + name
		}
		if strings.Contains(reasons, name) {
			continue
		}
		t.Errorf("DEVELOPERS.md gives no reason for %s", m)
	}
}
