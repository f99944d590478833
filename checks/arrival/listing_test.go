package arrival

import (
	"bufio"
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"io"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"loadline/checks/internal/fixture"
	"loadline/checks/internal/sums"
)

func TestReadDigest(t *testing.T) {
	const (
		hexSHA = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad" // FIPS 180-4, "abc"
		b64SHA = "ungWv48Bz+pBQUDeXa4iI7ADYaOWF3qctBD/YfIAFa0="                     // the same, by base64(1)
		hexMD5 = "900150983cd24fb0d6963f7d28e17f72"                                 // RFC 1321 A.5, "abc"
		b64MD5 = "kAFQmDzST7DWlj99KOF/cg=="
		hexCRC = "364b3fb7" // CRC-32C of "abc"
		b64CRC = "Nks/tw=="
	)
	abc := sums.Of(sums.MD5|sums.CRCs, []byte("abc"))
	for _, tc := range []struct {
		text string
		want Kind
		kind Kind
	}{
		{hexSHA, NoSum, SHA256},
		{strings.ToUpper(hexSHA), NoSum, SHA256},
		{b64SHA, NoSum, SHA256},
		{`"` + hexSHA + `"`, NoSum, SHA256},
		{"sha256:" + hexSHA, NoSum, SHA256},
		{"SHA-256:" + b64SHA, NoSum, SHA256},
		{" " + hexSHA + " ", SHA256, SHA256},
		{hexMD5, NoSum, MD5},
		{b64MD5, NoSum, MD5},
		{"md5:" + hexMD5, NoSum, MD5},
		{hexMD5, MD5, MD5},
		{hexCRC, CRC32C, CRC32C},
		{b64CRC, CRC32C, CRC32C},
		{"crc32c:" + b64CRC, NoSum, CRC32C},
		{hexCRC, NoSum, OtherSum},
		{b64CRC, NoSum, OtherSum}, // of which CRC they are, nobody says
		{hexMD5 + "-3", NoSum, MultiPart},
		{hexMD5 + "-10000", MD5, MultiPart},
		{b64SHA + "-2", NoSum, MultiPart},
		{b64CRC + "-2", CRC32C, MultiPart},
		{"", NoSum, NoSum},
		{`""`, MD5, NoSum},
		{"  ", NoSum, NoSum},
		{hexMD5, SHA256, OtherSum},
		{hexSHA[1:], NoSum, OtherSum},
		{"sha1:" + hexMD5, NoSum, OtherSum},
		{"md5:" + hexMD5, SHA256, OtherSum},
		{"unavailable", NoSum, OtherSum},
		{hexMD5 + "-", NoSum, OtherSum},
		{"-5", NoSum, OtherSum},
		{"z" + hexMD5[1:], NoSum, OtherSum},
	} {
		d := ReadDigest(tc.text, tc.want)
		if d.Kind != tc.kind {
			t.Errorf("ReadDigest(%q, %v) is %v, want %v", tc.text, tc.want, d.Kind, tc.kind)
		}
		comparable, equal := d.agrees(&abc)
		if readable := tc.kind.size() > 0; comparable != readable || equal != readable {
			t.Errorf("%q: comparable %v, equal %v", tc.text, comparable, equal)
		}
	}
	d := ReadDigest(hexMD5, NoSum)
	if comparable, _ := d.agrees(&sums.Sums{}); comparable {
		t.Error("MD5 is compared with a manifest that holds none")
	}
}

// rowsOf reads a listing into keys and sizes.
func rowsOf(text string) (keys []string, sizes []int64, err error) {
	_, err = ReadListing(context.Background(), strings.NewReader(text), nil, func(r *Row) error {
		keys, sizes = append(keys, r.Key), append(sizes, r.Size)
		return nil
	})
	return keys, sizes, err
}

// The oracle is encoding/csv of the standard library: both read what either accepts alike, lines that
// it changes (CR LF within quotes becomes LF there) aside.
func FuzzCSV(f *testing.F) {
	for _, s := range []string{"a,1\n", "\"a\nb\",2\n", "\"a\"\"b\",3\r\n", "a,1,2\n", "\"a", "\"a\"b,1\n", ",\n", "\n\na,1"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, body string) {
		if strings.ContainsRune(body, '\r') {
			return
		}
		l := &lines{in: bufio.NewReader(strings.NewReader(body)), ctx: t.Context()}
		tab := &table{l: l, comma: ','}
		var got [][]string
		var failed error
		for {
			line, err := l.next()
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				failed = err
				break
			}
			if len(line) == 0 {
				continue
			}
			fields, err := tab.split(line)
			if err != nil {
				failed = err
				break
			}
			got = append(got, slices.Clone(fields))
		}
		r := csv.NewReader(strings.NewReader(body))
		r.FieldsPerRecord = -1
		want, err := r.ReadAll()
		if (err == nil) != (failed == nil) {
			t.Fatalf("%q: we say %v, encoding/csv %v", body, failed, err)
		}
		if err == nil && !slices.EqualFunc(got, want, slices.Equal[[]string]) {
			t.Fatalf("%q: we read %q, encoding/csv %q", body, got, want)
		}
	})
}

// Any bytes are a listing or an error, and each row has a key and a size or a checksum.
func FuzzListing(f *testing.F) {
	for _, s := range []string{
		"Key,Size\na,1\n", "Key\tSize\na\t1\n", "{\"key\":\"a\",\"size\":1}\n", strings.Repeat("0", 64) + "  a\n",
		"\x1f\x8b\x08\x00", "\xef\xbb\xbfkey;size;md5\n\"a;b\";1;x\n", "[{}]", "{\"key\":null,\"size\":[1]}",
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		rows := 0
		format, err := ReadListing(t.Context(), bytes.NewReader(text), nil, func(r *Row) error {
			rows++
			if r.Key == "" || r.Line < 1 || r.Size < -1 {
				t.Fatalf("row %+v", r)
			}
			return nil
		})
		if err == nil && (rows == 0 || format.Name == "") || err != nil && !errors.Is(err, ErrListing) {
			t.Fatalf("%d rows, %v", rows, err)
		}
	})
}

func FuzzDigest(f *testing.F) {
	f.Add("sha256:ab", uint8(0))
	f.Fuzz(func(t *testing.T, text string, want uint8) {
		d := ReadDigest(text, Kind(want%4))
		if want%4 != 0 && d.Kind != Kind(want%4) && d.Kind.size() > 0 {
			t.Fatalf("%q as %v is %v", text, Kind(want%4), d.Kind)
		}
	})
}

func TestListingBytes(t *testing.T) {
	// CSV keeps every byte within quotes, CR LF too; TSV has no quotes at all.
	keys, _, err := rowsOf("key,size\r\n\"a\r\nb\",1\r\n\"\xff,\"\"\",2\r\n")
	if err != nil || !slices.Equal(keys, []string{"a\r\nb", "\xff,\""}) {
		t.Errorf("CSV: %q, %v", keys, err)
	}
	keys, sizes, err := rowsOf("key\tsize\n\"a\"\t1\n b \t2\n")
	if err != nil || !slices.Equal(keys, []string{`"a"`, " b "}) || !slices.Equal(sizes, []int64{1, 2}) {
		t.Errorf("TSV: %q, %v, %v", keys, sizes, err)
	}
}

func TestMatchColumns(t *testing.T) {
	for header, want := range map[string]string{
		"Key,Size":                               "key from Key, size from Size, no checksum",
		"object_name,SizeBytes,ChecksumSHA256":   "key from object_name, size from SizeBytes, SHA-256 from ChecksumSHA256",
		"Bucket,Key,Size,ETag,StorageClass":      "key from Key, size from Size, tag from ETag",
		"name,hash":                              "key from name, no size, checksum from hash",
		"PATH,Content-Length,Content-MD5,crc32c": "key from PATH, size from Content-Length, MD5 from Content-MD5, CRC-32C from crc32c",
		"name,size,key":                          "key from key, size from size, no checksum",
	} {
		c, err := MatchColumns(strings.Split(header, ","), nil)
		if err != nil || c.String() != want {
			t.Errorf("%s: %v, %v, want %s", header, c, err, want)
		}
	}
}

func TestInspect(t *testing.T) {
	path := filepath.Join(t.TempDir(), "l.csv")
	fixture.WriteFile(t, path, "Key,Size\na,1\nb,2\nthis line is not read\n")
	format, rows, err := Inspect(t.Context(), path, nil, 2)
	if err != nil || format.String() != "CSV: key from Key, size from Size, no checksum" || len(rows) != 2 || rows[1].Key != "b" || rows[1].Line != 3 {
		t.Errorf("Inspect = %v, %+v, %v", format, rows, err)
	}
	if _, _, err := Inspect(t.Context(), path, nil, 3); !errors.Is(err, ErrListing) {
		t.Errorf("the bad line: %v", err)
	}
}
