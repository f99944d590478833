package names

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os/exec"
	"strings"
	"testing"
	"unicode/utf16"
)

// generated makes names that lie close to the limits of POSIX, none empty, none with NUL or "/".
func generated(n int) []string {
	random := rand.New(rand.NewPCG(3, 4))
	const portable = "ABCXYZabcxyz0189._-"
	names := make([]string, n)
	for i := range names {
		var b []byte
		for range 1 + random.IntN(18) {
			b = append(b, portable[random.IntN(len(portable))])
		}
		for random.IntN(3) == 0 { // a byte of any value somewhere
			b[random.IntN(len(b))] = byte(1 + random.IntN(255))
		}
		if random.IntN(50) == 0 { // around NAME_MAX
			b = append(b, bytes.Repeat([]byte("x"), 240+random.IntN(20)-len(b))...)
		}
		if random.IntN(40) == 0 {
			b[0] = '-'
		}
		names[i] = strings.ReplaceAll(string(b), "/", "~")
	}
	return names
}

// pathchk asks pathchk of GNU coreutils about many paths at once and returns what it says against
// each, "" for those that it accepts. Between any two stands an empty name, which always has its
// own line. Its working folder is empty, so that no name is found.
func pathchk(t *testing.T, option string, paths []string) []string {
	t.Helper()
	const mark = "pathchk: empty file name"
	var answers []string
	folder := t.TempDir()
	for len(paths) > 0 {
		batch := paths[:min(2000, len(paths))]
		paths = paths[len(batch):]
		args := []string{option, "--"}
		for _, p := range batch {
			args = append(args, p, "")
		}
		cmd := exec.Command("pathchk", args...)
		cmd.Dir = folder
		cmd.Env = []string{"LC_ALL=C", "PATH=/usr/bin:/bin"}
		var out bytes.Buffer
		cmd.Stderr = &out
		if err := cmd.Run(); cmd.ProcessState == nil || cmd.ProcessState.ExitCode() != 1 {
			t.Fatalf("pathchk %s: %v\n%s", option, err, out.String())
		}
		said := ""
		for line := range strings.Lines(out.String()) {
			line = strings.TrimSuffix(line, "\n")
			if line == mark {
				answers = append(answers, said)
				said = ""
				continue
			}
			if said != "" {
				t.Fatalf("pathchk %s says two things of one path: %s, %s", option, said, line)
			}
			said = line
		}
	}
	return answers
}

// Check value 5 and more: `pathchk` (coreutils) over 10,000 generated names, and the reason it gives.
// -p knows the portable characters and 14 bytes, -P a leading hyphen and the limit of this file
// system, which is NAME_MAX.
func TestPathchk(t *testing.T) {
	names := append(generated(10_000),
		strings.Repeat("a", 14), strings.Repeat("a", 15), "a b", "-x", "-", "x-", "é", "\xff",
		strings.Repeat("a", 255), strings.Repeat("a", 256), strings.Repeat("字", 85), strings.Repeat("字", 86))
	for b := 1; b < 256; b++ {
		if b != '/' {
			names = append(names, string([]byte{byte(b)}), string([]byte{'a', byte(b)}))
		}
	}
	for _, option := range []string{"-p", "-P", "-pP"} {
		basic, extra := strings.Contains(option, "p"), strings.Contains(option, "P")
		refused := map[string]int{}
		answers := pathchk(t, option, names)
		if len(answers) != len(names) {
			t.Fatalf("pathchk %s: %d answers to %d names", option, len(answers), len(names))
		}
		for i, name := range names {
			traits := Look(name)
			want := ""
			switch {
			case extra && traits.Any(LeadingHyphen):
				want = "leading '-'"
			case basic && traits.Any(NotPortable):
				want = "nonportable character"
			case basic && len(name) > PosixPathMax: // a name is a path too
				want = fmt.Sprintf("limit %d exceeded by length %d", PosixPathMax, len(name))
			case basic && len(name) > PosixNameMax:
				want = fmt.Sprintf("limit %d exceeded by length %d", PosixNameMax, len(name))
			case !basic && len(name) > NameMax:
				want = "File name too long" // ENAMETOOLONG of this file system
			}
			reason, _, _ := strings.Cut(want, " exceeded")
			refused[reason]++
			if (want == "") != (answers[i] == "") || !strings.Contains(answers[i], want) {
				t.Errorf("pathchk %s %.40q says %.80q, want %q", option, name, answers[i], want)
			}
			if option == "-pP" && portable(name) != (answers[i] == "") {
				t.Errorf("portable(%q) = %v, pathchk says %q", name, portable(name), answers[i])
			}
		}
		if len(refused) < 3 || refused[""] < 100 {
			t.Errorf("pathchk %s: the generated names try too little: %v", option, refused)
		}
	}
	if err := exec.Command("pathchk", "-pP", "--", "").Run(); err == nil || portable("") {
		t.Errorf("the empty name is portable: pathchk %v, Portable %v", err, portable(""))
	}
}

// Paths around _POSIX_PATH_MAX and of many parts, against `pathchk -pP` (coreutils).
func TestPathchkPaths(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 6))
	var paths []string
	for range 2000 {
		var parts []string
		for range 1 + random.IntN(20) {
			part := strings.Repeat("ab", 1+random.IntN(7))
			switch random.IntN(60) {
			case 0:
				part = "-" + part[1:]
			case 1:
				part += "c"
			case 2:
				part = "é"
			}
			parts = append(parts, part)
		}
		paths = append(paths, strings.Join(parts, "/"))
	}
	for n := 250; n <= 260; n++ {
		paths = append(paths, strings.Repeat("a/", 122)+strings.Repeat("b", n-244))
	}
	accepted := 0
	for i, said := range pathchk(t, "-pP", paths) {
		want := len(paths[i]) <= PosixPathMax
		for part := range strings.SplitSeq(paths[i], "/") {
			want = want && portable(part)
		}
		if want {
			accepted++
		}
		if want != (said == "") {
			t.Errorf("pathchk of %.40q (%d bytes) says %.80q, want accepted %v", paths[i], len(paths[i]), said, want)
		}
	}
	if accepted < 100 || accepted > len(paths)-100 {
		t.Errorf("%d of %d paths accepted: they try too little", accepted, len(paths))
	}
}

// Validity of UTF-8, against iconv of the C library. It goes to UTF-16, since glibc's conversion to
// UTF-8 lets F4 90 80 80 and more pass; with -c it leaves out what is not valid, so that a valid
// line is one that comes back whole.
func TestIconv(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 8))
	interesting := []byte{
		0x41, 0x7F, 0x80, 0x8F, 0x90, 0x9F, 0xA0, 0xBF, 0xC0, 0xC1, 0xC2, 0xDF, 0xE0, 0xE1, 0xED, 0xEF,
		0xF0, 0xF1, 0xF3, 0xF4, 0xF5, 0xF8, 0xFC, 0xFE, 0xFF, 0x82, 0xE2,
	}
	names := []string{
		"\xFF", "\xED\xA0\x80", "\xC0\x80", "\xF4\x90\x80\x80", "\xE2\x82", "\xF4\x8F\xBF\xBF", // check value 4
	}
	for len(names) < 20_000 {
		b := make([]byte, 1+random.IntN(5))
		for i := range b {
			b[i] = interesting[random.IntN(len(interesting))]
		}
		if random.IntN(3) == 0 {
			b = append(b[:0], string(rune(0x80+random.IntN(0x10FF80)))...)
			if random.IntN(2) == 0 {
				b[random.IntN(len(b))] ^= 1 << random.IntN(8)
			}
		}
		if !bytes.ContainsAny(b, "\n|") {
			names = append(names, string(b))
		}
	}
	cmd := exec.Command("iconv", "-c", "-f", "UTF-8", "-t", "UTF-16LE")
	cmd.Stdin = strings.NewReader(strings.Join(names, "|\n|") + "|\n")
	out, err := cmd.Output()
	if cmd.ProcessState == nil || cmd.ProcessState.ExitCode() > 1 || len(out)%2 != 0 {
		t.Fatalf("iconv: %v, %d bytes", err, len(out))
	}
	units := make([]uint16, len(out)/2)
	for i := range units {
		units[i] = uint16(out[2*i]) | uint16(out[2*i+1])<<8
	}
	lines := strings.Split(strings.TrimSuffix(string(utf16.Decode(units)), "\n"), "\n")
	if len(lines) != len(names) {
		t.Fatalf("iconv gave %d lines for %d names", len(lines), len(names))
	}
	count := map[bool]int{}
	for i, line := range lines {
		line = strings.TrimSuffix(line, "|")
		if i > 0 {
			line = strings.TrimPrefix(line, "|")
		}
		valid := line == names[i]
		count[valid]++
		if Look(names[i]).Any(Invalid) == valid || validByGrammar(names[i]) != valid {
			t.Errorf("% x: Look %v, the grammar %v, iconv %q", names[i], Look(names[i]), validByGrammar(names[i]), line)
		}
	}
	if count[true] < 1000 || count[false] < 1000 {
		t.Errorf("the generated names try too little: %v", count)
	}
}

// portable reports whether a name is as portable as POSIX can promise: not empty, at most
// PosixNameMax bytes, all of the portable filename character set, no leading hyphen. `pathchk -pP`
// accepts exactly these.
func portable(name string) bool {
	return name != "" && len(name) <= PosixNameMax && !Look(name).Any(NotPortable|LeadingHyphen)
}
