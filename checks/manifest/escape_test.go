package manifest

import (
	"bytes"
	"errors"
	"regexp"
	"strings"
	"testing"

	"loadline/checks/internal/fixture"
	"loadline/checks/internal/sums"
	"loadline/checks/names"
)

// bagPathBack takes bagPath back. Only the three codes are known, in either case of letters;
// RFC 8493 §2.1.3 says that no other character may be coded.
func bagPathBack(path []byte) ([]byte, error) {
	if bytes.IndexByte(path, '%') < 0 {
		return path, nil
	}
	out := make([]byte, 0, len(path))
	for i := 0; i < len(path); i++ {
		if path[i] != '%' {
			out = append(out, path[i])
			continue
		}
		if i+2 >= len(path) {
			return nil, errBagPath
		}
		switch string(bytes.ToUpper(path[i+1 : i+3])) {
		case "0A":
			out = append(out, '\n')
		case "0D":
			out = append(out, '\r')
		case "25":
			out = append(out, '%')
		default:
			return nil, errBagPath
		}
		i += 2
	}
	return out, nil
}

var errBagPath = errors.New("a percent sign in a path must begin %0A, %0D or %25")

// RFC 8493 section 2.1.3: LF, CR, CR LF and the percent sign are coded, and nothing else.
func TestBagPaths(t *testing.T) {
	for raw, want := range map[string]string{
		"data/27613-h/images/q172.png": "data/27613-h/images/q172.png", // of the RFC's first example
		"a\nb":                         "a%0Ab",
		"a\rb":                         "a%0Db",
		"a\r\nb":                       "a%0D%0Ab",
		"100%":                         "100%25",
		"%0A":                          "%250A",
		"a b":                          "a b",
		`back\slash`:                   `back\slash`,
	} {
		if got := bagPath.Replace(raw); got != want {
			t.Errorf("bagPath.Replace(%q) = %q, want %q", raw, got, want)
		}
		if got, err := bagPathBack([]byte(want)); err != nil || string(got) != raw {
			t.Errorf("bagPathBack(%q) = %q, %v, want %q", want, got, err, raw)
		}
	}
	for coded, want := range map[string]string{"a%0ab": "a\nb", "a%0db": "a\rb"} {
		if got, err := bagPathBack([]byte(coded)); err != nil || string(got) != want {
			t.Errorf("bagPathBack(%q) = %q, %v, want %q", coded, got, err, want)
		}
	}
	for _, bad := range []string{"%", "%2", "%20", "a%zz", "%0"} {
		if got, err := bagPathBack([]byte(bad)); err == nil {
			t.Errorf("bagPathBack(%q) = %q, want an error", bad, got)
		}
	}
}

func TestSumLinesRefused(t *testing.T) {
	sum := strings.Repeat("ab", 32)
	for _, bad := range []string{
		"", " ", sum, sum + " ", sum + "  ", sum + " a", sum + "\ta", "xyz  a", sum[1:] + "  a",
		`\` + sum + `  a\b`, `\` + sum + `  a\`,
		"SHA256 () = " + sum, "SHA256 (a) = ", "SHA256 (a) = " + sum[1:], "SHA256 (a) = x" + sum[1:], "SHA256 (a)= " + sum, `\SHA256 (a\b) = ` + sum,
	} {
		if s, err := names.ReadSumLine([]byte(bad)); err == nil {
			t.Errorf("ReadSumLine(%q) = %q, want an error", bad, s.Name)
		}
	}
	for line, want := range map[string]string{
		sum + "  a b ":        "a b ",
		sum + " *a":           "a", // binary mark
		sum + `  a\nb`:        `a\nb`,
		`\` + sum + `  a\nb`:  "a\nb",
		`\` + sum + `  \\\r`:  "\\\r",
		sum[:32] + "   space": " space",

		"SHA256 (a) = " + sum:      "a",
		"SHA256 (a) = b) = " + sum: "a) = b",
		`\SHA256 (a\nb) = ` + sum:  "a\nb",
	} {
		if s, err := names.ReadSumLine([]byte(line)); err != nil || string(s.Name) != want {
			t.Errorf("ReadSumLine(%q) = %q, %v, want %q", line, s.Name, err, want)
		}
	}
}

// The oracle is sha256sum of coreutils: what it writes about a name with any byte is what we write and
// what we read.
func TestSumLinesOfCoreutils(t *testing.T) {
	root, paths := fixture.Hostile(t)
	for len(paths) > 0 {
		some := paths[:min(len(paths), 500)]
		paths = paths[len(some):]
		out := fixture.Command(t, root, "sha256sum", append([]string{"--"}, prefixed(some)...)...)
		lines := strings.SplitAfter(out, "\n")
		for i, p := range prefixed(some) {
			sum := sums.Of(sums.MD5|sums.CRCs, []byte("content of "+some[i]))
			if want := AppendSumLine(nil, sum.SHA256[:], []byte(p)); string(want) != lines[i] {
				t.Errorf("%q: we write %q, sha256sum %q", p, want, lines[i])
			}
			s, err := names.ReadSumLine([]byte(strings.TrimSuffix(lines[i], "\n")))
			if err != nil || string(s.Name) != p {
				t.Errorf("%q: read as %q, %v", lines[i], s.Name, err)
			}
		}
	}
}

// prefixed puts "./" before the names that would be options or standard input to sha256sum.
func prefixed(paths []string) []string {
	out := make([]string, len(paths))
	for i, p := range paths {
		if out[i] = p; p == "-" {
			out[i] = "./-"
		}
	}
	return out
}

func FuzzSumLine(f *testing.F) {
	for _, s := range []string{"a", "a\nb", `a\b`, "-", "\r", " x", "*", "\xff"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, name []byte) {
		if len(name) > 0 && !bytes.Contains(name, []byte{0}) {
			line := AppendSumLine(nil, make([]byte, 32), name)
			if bytes.Count(line, []byte{'\n'}) != 1 {
				t.Fatalf("%q makes more than one line: %q", name, line)
			}
			s, err := names.ReadSumLine(bytes.Clone(line[:len(line)-1]))
			if string(name) == "-" {
				name = []byte("./-")
			}
			if err != nil || !bytes.Equal(s.Name, name) {
				t.Fatalf("%q comes back as %q, %v", name, s.Name, err)
			}
		}
		_, _ = names.ReadSumLine(bytes.Clone(name)) // any line must be refused or read, never panic
	})
}

var bagLine = regexp.MustCompile(`^[0-9a-f]+[ \t]+data/[^\r\n]+$`)

func FuzzBagPath(f *testing.F) {
	for _, s := range []string{"a", "a\nb", "%", "%0a", "\r\n"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, name []byte) {
		coded := []byte(bagPath.Replace(string(name)))
		if len(name) > 0 && !bagLine.Match(append([]byte("00  data/"), coded...)) {
			t.Fatalf("%q is no line of a bag: %q", name, coded)
		}
		if back, err := bagPathBack(coded); err != nil || !bytes.Equal(back, name) {
			t.Fatalf("%q comes back as %q, %v", name, back, err)
		}
		_, _ = bagPathBack(name)
	})
}
