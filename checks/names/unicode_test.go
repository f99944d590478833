package names

import (
	"bufio"
	"compress/gzip"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"
)

const unicodeData = "../../testdata/unicode"

// rows reads a file of the Unicode Character Database: one list of fields a row, comments gone.
func rows(t testing.TB, file string) [][]string {
	t.Helper()
	f, err := os.Open(filepath.Join(unicodeData, file))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var r io.Reader = f
	if strings.HasSuffix(file, ".gz") {
		if r, err = gzip.NewReader(f); err != nil {
			t.Fatal(err)
		}
	}
	var all [][]string
	lines := bufio.NewScanner(r)
	for lines.Scan() {
		line, _, _ := strings.Cut(lines.Text(), "#")
		if line = strings.TrimSpace(line); line == "" {
			continue
		}
		fields := strings.Split(line, ";")
		for i := range fields {
			fields[i] = strings.TrimSpace(fields[i])
		}
		all = append(all, fields)
	}
	if err := lines.Err(); err != nil {
		t.Fatal(err)
	}
	return all
}

// text turns "0065 0301" into é.
func text(t testing.TB, points string) string {
	t.Helper()
	var s []rune
	for _, p := range strings.Fields(points) {
		s = append(s, point(t, p))
	}
	return string(s)
}

func point(t testing.TB, hex string) rune {
	t.Helper()
	n, err := strconv.ParseUint(hex, 16, 21)
	if err != nil {
		t.Fatal(err)
	}
	return rune(n)
}

// ends turns "0041" or "0041..005A" into its ends.
func ends(t testing.TB, field string) (first, last rune) {
	t.Helper()
	a, b, more := strings.Cut(field, "..")
	if !more {
		b = a
	}
	return point(t, a), point(t, b)
}

// classes are properties of characters as the Unicode Character Database lists them.
type classes struct {
	bidi, ignorable, space map[rune]bool
	rank                   map[rune]uint8 // canonical combining class, where it is not 0
}

func unicodeClasses(t testing.TB) *classes {
	t.Helper()
	c := &classes{map[rune]bool{}, map[rune]bool{}, map[rune]bool{}, map[rune]uint8{}}
	for _, row := range rows(t, "Properties.txt") {
		set := map[string]map[rune]bool{
			"Bidi_Control": c.bidi, "White_Space": c.space, "Default_Ignorable_Code_Point": c.ignorable,
		}[row[1]]
		for r, last := ends(t, row[0]); r <= last; r++ {
			set[r] = true
		}
	}
	for _, row := range rows(t, "DerivedCombiningClass.txt.gz") {
		rank, err := strconv.ParseUint(row[1], 10, 8)
		if err != nil {
			t.Fatal(err)
		}
		for r, last := ends(t, row[0]); rank != 0 && r <= last; r++ {
			c.rank[r] = uint8(rank)
		}
	}
	// As many as the files say at the end of each property.
	if len(c.bidi) != 12 || len(c.space) != 25 || len(c.ignorable) != 4174 || len(c.rank) != 922 {
		t.Fatalf("%d bidi controls, %d spaces, %d ignorable characters, %d combining classes",
			len(c.bidi), len(c.space), len(c.ignorable), len(c.rank))
	}
	return c
}

// forms are the normal forms of single characters as part 1 of NormalizationTest.txt lists them.
type forms struct {
	nfc, nfd map[rune]string
	pair     map[[2]rune]rune // primary composites
}

func unicodeForms(t testing.TB) *forms {
	t.Helper()
	f := &forms{map[rune]string{}, map[rune]string{}, map[[2]rune]rune{}}
	part := ""
	for _, row := range rows(t, "NormalizationTest.txt.gz") {
		if strings.HasPrefix(row[0], "@") {
			part = row[0]
			continue
		}
		if !strings.HasPrefix(part, "@Part1") {
			continue
		}
		r := point(t, row[0])
		f.nfc[r], f.nfd[r] = text(t, row[1]), text(t, row[2])
	}
	if len(f.nfc) < 10000 {
		t.Fatalf("part 1 of NormalizationTest.txt has only %d characters", len(f.nfc))
	}
	// A primary composite is its own NFC. It is made of the longest shorter composite of the
	// same beginning, and one character more.
	byNFD := map[string]rune{}
	for r, d := range f.nfd {
		if f.nfc[r] == string(r) && d != string(r) {
			byNFD[d] = r
		}
	}
	for d, r := range byNFD {
		s := []rune(d)
		head, tail := s[:len(s)-1], s[len(s)-1]
		first := head[0]
		if len(head) > 1 {
			first = byNFD[string(head)]
		}
		if first != 0 {
			f.pair[[2]rune{first, tail}] = r
		}
	}
	return f
}

var slowData = sync.OnceValues(func() (*forms, *classes) {
	var t fatal
	return unicodeForms(&t), unicodeClasses(&t)
})

// fatal stands in for a test while data is read that many tests share.
type fatal struct{ testing.TB }

func (*fatal) Helper()                      {}
func (*fatal) Fatal(args ...any)            { panic(args) }
func (*fatal) Fatalf(s string, args ...any) { panic([]any{s, args}) }

// slowNFD and slowNFC follow The Unicode Standard, section 3.11, on the data files alone.
func slowNFD(s string) string { return string(slowDecompose(s)) }

func slowDecompose(s string) []rune {
	form, class := slowData()
	var d []rune
	for _, r := range s {
		if r < 0x80 {
			d = append(d, r)
		} else if nfd, ok := form.nfd[r]; ok {
			d = append(d, []rune(nfd)...)
		} else {
			d = append(d, r)
		}
	}
	for moved := true; moved; { // canonical ordering, D109: exchange sort
		moved = false
		for i := 1; i < len(d); i++ {
			if a, b := class.rank[d[i-1]], class.rank[d[i]]; a > b && b > 0 {
				d[i-1], d[i], moved = d[i], d[i-1], true
			}
		}
	}
	return d
}

func slowNFC(s string) string {
	form, class := slowData()
	d := slowDecompose(s)
	for i := 1; i < len(d); i++ { // canonical composition, D117
		j := i - 1
		for j >= 0 && class.rank[d[j]] != 0 {
			j--
		}
		if j < 0 {
			continue
		}
		blocked := false
		for _, between := range d[j+1 : i] {
			blocked = blocked || class.rank[between] == 0 || class.rank[between] >= class.rank[d[i]]
		}
		if c, ok := form.pair[[2]rune{d[j], d[i]}]; ok && !blocked {
			d[j] = c
			d = slices.Delete(d, i, i+1)
			i--
		}
	}
	return string(d)
}

func checkNFC(t *testing.T, s, want string) {
	t.Helper()
	if got := NFC(s); got != want {
		t.Errorf("NFC(%+q) = %+q, want %+q", s, got, want)
	}
	if got := string(compose(decompose([]byte(s)))); got != want {
		t.Errorf("NFC(%+q) the long way = %+q, want %+q", s, got, want)
	}
	if got := slowNFC(s); got != want {
		t.Errorf("NFC(%+q) the slow way = %+q, want %+q", s, got, want)
	}
	if IsNFC(s) != (s == want) || Look(s).Any(NotNFC) != (s != want) {
		t.Errorf("IsNFC(%+q) = %v, Look %v", s, IsNFC(s), Look(s))
	}
}

func checkNFD(t *testing.T, s, want string) {
	t.Helper()
	if got := string(appendNFD(nil, []byte(s))); got != want {
		t.Errorf("NFD(%+q) = %+q, want %+q", s, got, want)
	}
	if got := string(decompose([]byte(s))); got != want {
		t.Errorf("NFD(%+q) the long way = %+q, want %+q", s, got, want)
	}
	if got := slowNFD(s); got != want {
		t.Errorf("NFD(%+q) the slow way = %+q, want %+q", s, got, want)
	}
}

// foldings are the rows C and F of CaseFolding.txt.
func foldings(t testing.TB) map[rune]string {
	t.Helper()
	m := map[rune]string{}
	kinds := map[string]int{}
	for _, row := range rows(t, "CaseFolding.txt") {
		kinds[row[1]]++
		if row[1] == "C" || row[1] == "F" {
			m[point(t, row[0])] = text(t, row[2])
		}
	}
	if kinds["C"] != 1426 || kinds["F"] != 104 || kinds["S"] != 28 || kinds["T"] != 2 {
		t.Fatalf("rows of CaseFolding.txt: %v", kinds)
	}
	return m
}

var slowFoldings = sync.OnceValue(func() map[rune]string { return foldings(new(fatal)) })

// slowFold is Fold on the data files alone.
func slowFold(s string) string {
	var out strings.Builder
	for _, r := range slowNFD(s) {
		if f, ok := slowFoldings()[r]; ok {
			out.WriteString(f)
		} else {
			out.WriteRune(r)
		}
	}
	return slowNFD(out.String())
}

// Runs of more than 30 combining marks: x/text puts U+034F between them, which is no normal form.
func TestLongRunsOfMarks(t *testing.T) {
	acute, below := "\u0301", "\u0323"
	for _, n := range []int{1, 29, 30, 31, 32, 61, 100, 126} {
		s := "e" + strings.Repeat(acute, n)
		if got, want := NFC(s), "\u00e9"+strings.Repeat(acute, n-1); got != want {
			t.Errorf("%d marks: NFC %+q", n, got)
		}
		if s := "x" + strings.Repeat(acute, n); NFC(s) != s || !IsNFC(s) || Look(s).Any(NotNFC) {
			t.Errorf("%d marks on x: NFC %+q", n, NFC(s))
		}
		mixed := "a" + strings.Repeat(acute+below, n)
		sorted := "a" + strings.Repeat(below, n) + strings.Repeat(acute, n)
		if NFC(mixed) != NFC(sorted) || Fold(mixed) != Fold(sorted) || strings.Contains(NFC(mixed), "\u034f") {
			t.Errorf("%d marks of two classes: %+q, %+q", 2*n, NFC(mixed), NFC(sorted))
		}
		checkNFC(t, mixed, slowNFC(mixed))
		withJoiner := s + "\u034f" + s
		if NFC(withJoiner) != slowNFC(withJoiner) || NFC(s) == NFC("e"+strings.Repeat(acute, 30)+"\u034f"+strings.Repeat(acute, n)) {
			t.Errorf("%d marks and a joiner: %+q", n, NFC(withJoiner))
		}
	}
}

// known reports whether the data files speak for a text: under a later version of x/text, characters
// that Unicode 15.0.0 had not assigned may have got mappings.
func known(s string) bool {
	if norm.Version == "15.0.0" {
		return true
	}
	form, class := slowData()
	for _, r := range s {
		_, folded := slowFoldings()[r]
		if form.nfd[r] == "" && class.rank[r] == 0 && !folded && (norm.NFC.PropertiesString(string(r)).CCC() != 0 ||
			norm.NFD.String(string(r)) != string(r) || Fold(string(r)) != string(r)) {
			return false
		}
	}
	return true
}

// Many workers fold at once: the race detector looks on.
func TestFoldConcurrently(t *testing.T) {
	var group sync.WaitGroup
	for range 8 {
		group.Go(func() {
			for _, s := range seeds {
				if utf8.ValidString(s) && (Fold(s) != slowFold(s) || NFC(s) != slowNFC(s)) {
					t.Errorf("%+q: Fold %+q, NFC %+q", s, Fold(s), NFC(s))
				}
			}
		})
	}
	group.Wait()
}
