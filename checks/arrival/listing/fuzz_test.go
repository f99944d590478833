package listing

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"encoding/xml"
	"errors"
	"io"
	"net/url"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"
)

func splitAll(body string, comma byte) (rows [][]string, err error) {
	return sampled([]byte(body), true, splitter{comma: comma, quote: true}, 1<<30)
}

// The oracle is encoding/csv of the standard library: both read what either accepts alike, line ends within
// quotes aside, which it changes.
func FuzzSplit(f *testing.F) {
	for _, s := range []string{"a,1\n", "\"a\nb\",2\n", "\"a\"\"b\",3\r\n", "a,1,2\n", "\"a", "\"a\"b,1\n", ",\n", "\n\na,1", "a\tb", "\"a\tb\"\"\"\t1"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, body string) {
		if strings.ContainsRune(body, '\r') {
			return
		}
		for _, comma := range []byte{',', ';', '|', '\t'} {
			if comma == '\t' && strings.ContainsRune(body, '"') {
				continue // encoding/csv has no plain marks there
			}
			got, failed := splitAll(body, comma)
			r := csv.NewReader(strings.NewReader(body))
			r.FieldsPerRecord, r.Comma = -1, rune(comma)
			want, err := r.ReadAll()
			if (err == nil) != (failed == nil) {
				t.Fatalf("%q: we say %v, encoding/csv %v", body, failed, err)
			}
			if err == nil && !slices.EqualFunc(got, want, slices.Equal[[]string]) {
				t.Fatalf("%q: we read %q, encoding/csv %q", body, got, want)
			}
		}
	})
}

// The oracle is encoding/csv again: what it writes, with any delimiter, is read back byte for byte.
func FuzzTable(f *testing.F) {
	f.Add("a\nb", "c\"d", uint8(0))
	f.Add("a\r\nb", "\t", uint8(1))
	f.Add("0", " ", uint8(1))
	f.Add("\t\n", "0", uint8(1))
	f.Add("\x06\t\n\n", "\x7f", uint8(1))
	f.Fuzz(func(t *testing.T, a, b string, d uint8) {
		if a == "" || b == "" || strings.ContainsRune(a+b, 0) || strings.HasSuffix(a, "/") || strings.HasSuffix(b, "/") {
			return
		}
		comma := []rune{',', '\t', ';', '|'}[d%4]
		var s strings.Builder
		w := csv.NewWriter(&s)
		w.Comma = comma
		if w.WriteAll([][]string{{"key", "size"}, {a, "1"}, {b, "2"}, {a + b, "3"}}) != nil {
			return
		}
		if comma == '\t' && strings.Contains(a+b, "\t") && strings.Contains(a+b, "\n") {
			return // may be a table of two columns as well if no mark quotes, which is the registered form
		}
		var got []string
		_, err := read(t.Context(), strings.NewReader(s.String()), Options{}, func(r *Row) error {
			got = append(got, string(r.Key))
			return nil
		})
		if err != nil || !slices.Equal(got, []string{a, b, a + b}) {
			t.Fatalf("%q, %v from %q", got, err, s.String())
		}
	})
}

// The oracle is encoding/xml: every key and size that it finds is found, and nothing else, in what both
// accept.
func FuzzXML(f *testing.F) {
	for _, s := range []string{
		"<r><o><key>a</key><size>1</size></o></r>", "<r xmlns:x='y'><o k=\"a>b\"><x:key>&lt;&#65;<![CDATA[<]]></x:key><size>1</size></o><!-- - --></r>",
		"<?xml version='1.0'?><r><o><key>a\r\nb</key><size>2</size></o><o/></r>", "<r>&#x1F3AC;</r>", "<a><b></a></b>",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		var got []string
		_, err := read(t.Context(), strings.NewReader(text), Options{}, func(r *Row) error {
			got = append(got, string(r.Key))
			return nil
		})
		if err != nil || !strings.HasPrefix(text, "<") || !strings.Contains(text, "<size>") || !utf8.ValidString(text) {
			return
		}
		d := xml.NewDecoder(strings.NewReader(text))
		var keys []string
		var within []string
		held := ""
		for {
			token, err := d.Token()
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				return // it refuses more: characters that XML 1.0 does not have, reserved names
			}
			switch v := token.(type) {
			case xml.StartElement:
				if len(v.Attr) > 0 {
					return // attributes are read as elements here
				}
				within = append(within, v.Name.Local)
				held = ""
			case xml.CharData:
				held += string(v)
			case xml.EndElement:
				if within[len(within)-1] == "key" {
					keys = append(keys, held)
				}
				within = within[:len(within)-1]
			}
		}
		for _, k := range got {
			if len(keys) > 0 && strings.Contains(text, "<key>") && !slices.Contains(keys, k) && !strings.Contains(text, "<path>") && !strings.Contains(text, "<name>") {
				t.Fatalf("key %q is none of %q, in %q", k, keys, text)
			}
		}
	})
}

// What encoding/xml and encoding/json write is read back byte for byte.
func FuzzWritten(f *testing.F) {
	f.Add("a&b", int64(5))
	f.Add(" \r\n<]]>\u00e9", int64(1))
	f.Fuzz(func(t *testing.T, key string, size int64) {
		if key == "" || !utf8.ValidString(key) || strings.ContainsRune(key, 0) || strings.HasSuffix(key, "/") || size < 0 {
			return
		}
		type object struct {
			Key  string
			Size int64
		}
		check := func(text []byte) {
			t.Helper()
			n := 0
			_, err := read(t.Context(), bytes.NewReader(text), Options{}, func(r *Row) error {
				if n++; string(r.Key) != key || r.Size != size {
					t.Fatalf("%q, %d bytes from %q", r.Key, r.Size, text)
				}
				return nil
			})
			if err != nil || n != 2 {
				t.Fatalf("%d rows, %v from %q", n, err, text)
			}
		}
		both := []object{{key, size}, {key, size}}
		text, err := json.Marshal(both)
		if err != nil {
			t.Fatal(err)
		}
		check(text)
		if text, err = json.MarshalIndent(map[string]any{"x": map[string]any{"l": both}}, "", "\t"); err != nil {
			t.Fatal(err)
		}
		check(text)
		if strings.ContainsFunc(key, func(r rune) bool {
			return r < ' ' && r != '\t' && r != '\n' && r != '\r' || r == 0xFFFE || r == 0xFFFF || r == utf8.RuneError
		}) {
			return // XML 1.0 does not have them, and encoding/xml writes something else
		}
		text, err = xml.Marshal(struct {
			XMLName xml.Name `xml:"http://example.org/ list"`
			Object  []object
		}{Object: both})
		if err != nil {
			t.Fatal(err)
		}
		check(text)
	})
}

// Any bytes are a listing or an error, and each row has a key, and a size or a checksum.
func FuzzListing(f *testing.F) {
	for _, s := range []string{
		"Key,Size\na,1\n", "Key\tSize\na\t1\n", "{\"key\":\"a\",\"size\":1}\n", strings.Repeat("0", 64) + "  a\n",
		"\x1f\x8b\x08\x00", "\xef\xbb\xbfkey;size;md5\n\"a;b\";1;x\n", "[{}]", "{\"key\":null,\"size\":[1]}",
		"<r><o><key>a</key><size>1</size></o></r>", "<r><o key='a' size='1'/></r>", "2031-05-04 03:02:01 5 a b\nTotal Objects: 1\n",
		"5\ta\n6\tb\n", "MD5 (a) = " + hexMD5 + "\n", "\xff\xfeK\x00e\x00y\x00,\x00s\x00i\x00z\x00e\x00\n\x00a\x00,\x001\x00",
		`{"Contents":[{"Key":"a","Size":1}],"IsTruncated":true}`, "\x28\xb5\x2f\xfd\x04\x00", zpacked("Key,Size\na,1\n"), packed("Key,Size\na,1\n"),
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		rows := 0
		format, err := read(t.Context(), bytes.NewReader(text), Options{}, func(r *Row) error {
			rows++
			if len(r.Key) == 0 || r.At < 1 || r.Size < -1 {
				t.Fatalf("row %+v", r)
			}
			return nil
		})
		if err != nil {
			if !errors.Is(err, ErrListing) || !errors.As(err, new(*Error)) || !utf8.ValidString(err.Error()) {
				t.Fatal(err)
			}
			return
		}
		if format.Shape == "" || format.Objects+format.Deleted != int64(rows) || rows == 0 && !format.hasPages() {
			t.Fatalf("%d rows: %+v", rows, format)
		}
		_ = Partial([]*Format{format}, "a/")
	})
}

func FuzzDigest(f *testing.F) {
	f.Add("sha256:ab", uint8(0))
	f.Fuzz(func(t *testing.T, text string, want uint8) {
		k := Kind(want % uint8(OtherSum))
		d := readDigest([]byte(text), k)
		if k != NoSum && d.Kind != k && d.Kind.Size() > 0 {
			t.Fatalf("%q as %v is %v", text, k, d.Kind)
		}
		if d.Kind.Size() > 0 && !d.Equal(d.Bytes()) {
			t.Fatalf("%q is not itself", text)
		}
	})
}

// The oracle is the encoder of net/url, and a coder of every byte.
func FuzzReading(f *testing.F) {
	f.Add("a%20b%+")
	f.Fuzz(func(t *testing.T, key string) {
		var every strings.Builder
		for i := range len(key) {
			const digits = "0123456789ABCDEF"
			every.WriteString("%" + string(digits[key[i]>>4]) + string(digits[key[i]&15]))
		}
		for text, r := range map[string]Reading{url.PathEscape(key): Percent, url.QueryEscape(key): Plus, every.String(): Percent} {
			if back := r.Decode([]byte(text)); string(back) != key {
				t.Fatalf("%q comes back as %q from %q", key, back, text)
			}
		}
		for _, r := range Readings {
			_ = r.Decode([]byte(key))
		}
	})
}
