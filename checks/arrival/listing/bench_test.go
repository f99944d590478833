package listing

import (
	"bytes"
	"fmt"
	"strings"
	"testing"

	"github.com/klauspost/compress/gzip"
	"github.com/klauspost/compress/zstd"
)

// What reading costs on one core, rows a second: the ground for taking tables and XML apart here, and JSON
// with jsontext.
func BenchmarkRead(b *testing.B) {
	const rows = 100_000
	many := func(head, end, format string) string {
		var s strings.Builder
		s.WriteString(head)
		for i := range rows {
			fmt.Fprintf(&s, format, i%50, i, i*1000)
		}
		return strings.TrimSuffix(s.String(), ",") + end
	}
	const tag = "0123456789abcdef0123456789abcdef"
	csv := many("Bucket,Key,Size,LastModified,ETag,StorageClass\n", "",
		`"bucket","archive/day%d/cam A/clip%07d.mov","%d","2031-05-04T03:02:01.000Z","`+tag+`","STANDARD"`+"\n")
	record := `{"Key":"archive/day%d/cam A/clip%07d.mov","LastModified":"2031-05-04T03:02:01.000Z","ETag":"\"` + tag + `\"","Size":%d,"StorageClass":"STANDARD","ChecksumAlgorithm":["CRC32C"]}`
	lines := many("", "", record+"\n")
	for _, c := range []struct{ name, text string }{
		{"table", csv},
		{"table-bare", csv[strings.IndexByte(csv, '\n')+1:]},
		{"table-utf16", "\xff\xfe" + strings.ReplaceAll(strings.Join(strings.Split(csv, ""), "\x00"), "", "") + "\x00"},
		{"table-gzip", packed(csv)},
		{"table-zstd", zpacked(csv)},
		{"find", many("", "", "%[3]d\tarchive/day%[1]d/cam A/clip%07[2]d.mov\n")},
		{"JSON-lines", lines},
		{"JSON", many(`{"IsTruncated":false,"Contents":[`, "]}", record+",")},
		{"XML", many(`<R xmlns="http://example.org/"><IsTruncated>false</IsTruncated>`, "</R>",
			"<Contents><Key>archive/day%d/cam A/clip%07d.mov</Key><LastModified>2031-05-04T03:02:01.000Z</LastModified><ETag>&quot;"+tag+"&quot;</ETag><Size>%d</Size><StorageClass>STANDARD</StorageClass></Contents>")},
		{"sums", many("", "", tag+tag+"  archive/day%d/cam A/clip%07d-%d.mov\n")},
		{"aligned", many("", "", "2031-05-04 03:02:01 %10[3]d archive/day%[1]d/cam A/clip%07[2]d.mov\n")},
	} {
		b.Run(c.name, func(b *testing.B) {
			b.SetBytes(int64(len(c.text)))
			b.ReportAllocs()
			for b.Loop() {
				n := 0
				if _, err := read(b.Context(), strings.NewReader(c.text), Options{}, func(*Row) error { n++; return nil }); err != nil || n != rows {
					b.Fatal(n, err)
				}
			}
			b.ReportMetric(rows*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
		})
	}
}

func packed(s string) string {
	var b bytes.Buffer
	w := gzip.NewWriter(&b)
	_, _ = w.Write([]byte(s)) // into memory
	_ = w.Close()
	return b.String()
}

func zpacked(s string) string {
	w, err := zstd.NewWriter(nil)
	if err != nil {
		panic(err)
	}
	return string(w.EncodeAll([]byte(s), nil))
}
