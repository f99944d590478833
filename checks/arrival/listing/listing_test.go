package listing

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"loadline/checks/internal/fixture"
)

const (
	hexSHA = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad" // FIPS 180-4, "abc"
	b64SHA = "ungWv48Bz+pBQUDeXa4iI7ADYaOWF3qctBD/YfIAFa0="                     // the same, by base64(1)
	hexMD5 = "900150983cd24fb0d6963f7d28e17f72"                                 // RFC 1321 A.5, "abc"
	b64MD5 = "kAFQmDzST7DWlj99KOF/cg=="
	hexOne = "a9993e364706816aba3e25717850c26c9cd0d89d" // FIPS 180-4, SHA-1 of "abc"
	hexCRC = "364b3fb7"                                 // CRC-32C of "abc"
	b64CRC = "Nks/tw=="
	decCRC = "910901175"
)

// rowsOf reads a listing and shows its rows: key, size and checksums.
func rowsOf(t testing.TB, text string, o Options) ([]string, *Format, error) {
	t.Helper()
	var rows []string
	f, err := read(t.Context(), strings.NewReader(text), o, func(r *Row) error {
		s := fmt.Sprintf("%s %d", r.Key, r.Size)
		if r.Deleted {
			s += " deleted"
		}
		for i := range r.Sums {
			d := &r.Sums[i]
			s += " " + d.Kind.String()
			if d.Tag {
				s += " tag"
			}
			if d.Parts != 0 {
				s += fmt.Sprintf(" of %d", d.Parts)
			}
		}
		rows = append(rows, s)
		return nil
	})
	return rows, f, err
}

func TestReadDigest(t *testing.T) {
	for _, tc := range []struct {
		text  string
		want  Kind
		kind  Kind
		parts int
	}{
		{hexSHA, NoSum, SHA256, 0},
		{strings.ToUpper(hexSHA), NoSum, SHA256, 0},
		{b64SHA, NoSum, SHA256, 0},
		{`"` + hexSHA + `"`, NoSum, SHA256, 0},
		{"sha256:" + hexSHA, NoSum, SHA256, 0},
		{"SHA-256:" + b64SHA, NoSum, SHA256, 0},
		{" " + hexSHA + " ", SHA256, SHA256, 0},
		{hexOne, NoSum, SHA1, 0},
		{"sha1:" + hexOne, NoSum, SHA1, 0},
		{hexMD5, NoSum, MD5, 0},
		{b64MD5, NoSum, MD5, 0},
		{"md5:" + hexMD5, NoSum, MD5, 0},
		{hexMD5, MD5, MD5, 0},
		{hexCRC, CRC32C, CRC32C, 0},
		{b64CRC, CRC32C, CRC32C, 0},
		{decCRC, CRC32C, CRC32C, 0},
		{"crc32c:" + b64CRC, NoSum, CRC32C, 0},
		{hexCRC, NoSum, OtherSum, 0},
		{b64CRC, NoSum, OtherSum, 0}, // of which CRC they are, nobody says
		{"ae8b14860a799888", CRC64NVME, CRC64NVME, 0},
		{"rosUhgp5mIg=", CRC64NVME, CRC64NVME, 0},
		{"12577168950296156296", CRC64NVME, CRC64NVME, 0},
		{hexMD5 + "-3", NoSum, MD5, 3},
		{hexMD5 + "-10000", MD5, MD5, 10000},
		{b64SHA + "-2", NoSum, SHA256, 2},
		{b64CRC + "-2", CRC32C, CRC32C, 2},
		{b64CRC + "-2", NoSum, OtherSum, 2},
		{hexMD5 + "-0", NoSum, OtherSum, 0},
		{hexMD5 + "-10001", NoSum, OtherSum, 0},
		{"", NoSum, NoSum, 0},
		{`""`, MD5, NoSum, 0},
		{"  ", NoSum, NoSum, 0},
		{"-", MD5, NoSum, 0},
		{"null", NoSum, NoSum, 0},
		{hexMD5, SHA256, OtherSum, 0},
		{hexSHA[1:], NoSum, OtherSum, 0},
		{"sha1:" + hexMD5, NoSum, OtherSum, 0},
		{"md5:" + hexMD5, SHA256, OtherSum, 0},
		{"unavailable", NoSum, OtherSum, 0},
		{hexMD5 + "-", NoSum, OtherSum, 0},
		{"-5", NoSum, OtherSum, 0},
		{"z" + hexMD5[1:], NoSum, OtherSum, 0},
		{"4294967296", CRC32C, OtherSum, 0},
		{"+910901175", CRC32C, OtherSum, 0},
	} {
		if d := readDigest([]byte(tc.text), tc.want); d.Kind != tc.kind || d.Parts != tc.parts {
			t.Errorf("ReadDigest(%q, %v) is %v of %d, want %v of %d", tc.text, tc.want, d.Kind, d.Parts, tc.kind, tc.parts)
		}
	}
	// Eight digits may be hexadecimal or a number: both are tried, and nothing else.
	d := readDigest([]byte("12345678"), CRC32)
	for sum, want := range map[string]bool{"\x12\x34\x56\x78": true, "\x00\xbc\x61\x4e": true, "\x00\xbc\x61\x4f": false} {
		if d.Equal([]byte(sum)) != want {
			t.Errorf("12345678 is %x: %v", sum, !want)
		}
	}
	// The check values of the CRCs of "123456789" in their three forms (NVM Command Set Specification,
	// RFC 3720; the decimal forms by bc(1)).
	for _, text := range []string{"ae8b14860a799888", "rosUhgp5mIg=", "12577168950296156296"} {
		if d := readDigest([]byte(text), CRC64NVME); !d.Equal([]byte("\xae\x8b\x14\x86\x0a\x79\x98\x88")) {
			t.Errorf("%s is %s", text, &d)
		}
	}
	for _, text := range []string{hexCRC, b64CRC, decCRC} {
		if d := readDigest([]byte(text), CRC32C); !d.Equal([]byte("\x36\x4b\x3f\xb7")) {
			t.Errorf("%s is %s", text, &d)
		}
	}
}

func TestListings(t *testing.T) {
	for name, tc := range map[string]struct {
		text    string
		columns string
		want    []string
		is      string // what the description holds
		skipped string
	}{
		"no LF at the end": {"Key,Size\na,1", "", []string{"a 1"}, "key from Key, size from Size, no checksum", ""},
		"CRLF":             {"Key,Size\r\na,1\r\n\"b\",2\r\n", "", []string{"a 1", "b 2"}, "", ""},
		"CR belongs to the key where lines end with LF": {"1\ta\r\n2\tb\n", "", []string{"a\r 1", "b 2"}, "no header", ""},
		"quotes are none with tabs":                     {"key\tsize\n\"a\"\t1\n b \t2\n", "", []string{`"a" 1`, " b  2"}, "tabs", ""},
		"name before path":                              {"name,size,key\nx,1,y\n", "", []string{"y 1"}, "key from key", ""},
		"folders and a marker":                          {"Key,Size\na/,0\nb/,\nc/,-\nd,4\n", "", []string{"d 4"}, "", "map[folder:3]"},
		"an object whose key ends with a slash":         {"Key,Size\na/,5\n", "", []string{"a/ 5"}, "", ""},
		"unknown header":                                {"What,HowMuch\na,1\nb,2\n", "", []string{"a 1", "b 2"}, "key from What, size from HowMuch", ""},
		"chosen by name":                                {"Wo,Wieviel,Was\na,1," + hexSHA + "\n", "key=wo, size=Wieviel,sha256=Was", []string{"a 1 SHA-256"}, "", ""},
		"chosen by number": {"x,a,1,u," + hexMD5 + "\nx,b,2,u," + hexMD5 + "-4\n", "key=2,size=3,tag=5", []string{
			"a 1 MD5 tag", "b 2 MD5 tag of 4",
		}, "no header: key from column 2, size from column 3, tag from column 5", ""},
		"chosen against the header":     {"Key,Size,RealSize\na,1,2\n", "size=RealSize", []string{"a 2"}, "size from RealSize", ""},
		"bare, with times":              {"a.mov,5,1935630181\nb.mov,7,1935630190\n", "", []string{"a.mov 5", "b.mov 7"}, "", ""},
		"bare, sent in parts or not":    {"b,a/1," + hexMD5 + ",5,false\nb,a/2," + hexMD5 + "-2,7,true\n", "", []string{"a/1 5 MD5 tag", "a/2 7 MD5 tag of 2"}, "", ""},
		"bare, all of them latest":      {"a/1,5,true,false\na/2,7,true,false\n", "", []string{"a/1 5", "a/2 7"}, "", ""},
		"bare, latest named":            {"a/1,5,true\na/1,6,false\n", "latest=3", []string{"a/1 5"}, "", "map[old version:1]"},
		"bare, ignored":                 {"a/1,5,true\na/2,6,false\n", "ignore=3", []string{"a/1 5", "a/2 6"}, "", ""},
		"old versions":                  {"Key,Size,IsLatest\na,1,true\na,2,false\n", "", []string{"a 1"}, "latest from IsLatest", "map[old version:1]"},
		"a deletion":                    {"Key,Size,IsDeleteMarker\na,,true\nb,1,false\n", "", []string{"a -1 deleted", "b 1"}, "", ""},
		"a deletion that was replaced":  {"Key,Size,IsLatest,IsDeleteMarker\na,,false,true\nb,1,true,false\n", "", []string{"b 1"}, "", "map[old version:1]"},
		"time of deletion":              {"Key,Size,time_deleted\na,1,2031-05-05T00:00:00Z\nb,1,\n", "", []string{"b 1"}, "", "map[old version:1]"},
		"a snapshot":                    {"Name,Content-Length,Snapshot\na,1,2031-05-05T00:00:00.1Z\na,2,\n", "", []string{"a 2"}, "", "map[old version:1]"},
		"composite checksum":            {"key,size,checksum_crc32c,checksum_type\na,1," + b64CRC + ",COMPOSITE\nb,1," + b64CRC + ",FULL_OBJECT\n", "", []string{"a 1 CRC-32C of -1", "b 1 CRC-32C"}, "", ""},
		"algorithm beside the checksum": {"key,size,hash,hash_algorithm\na,1," + b64CRC + ",CRC32C\nb,1," + hexMD5 + ",md5\n", "", []string{"a 1 CRC-32C", "b 1 MD5"}, "", ""},
		"a dump of pages": {`{"Contents":[{"Key":"a","Size":1}],"IsTruncated":true,"NextMarker":"a"}{"Marker":"a","Contents":[{"Key":"b","Size":2}],"IsTruncated":false}`, "", []string{
			"a 1", "b 2",
		}, "JSON: key from Key", ""},
		"JSON lines, in one line":     {`{"key":"a","size":1} {"key":"b","size":"2"}`, "", []string{"a 1", "b 2"}, "JSON lines", ""},
		"JSON, names chosen":          {`[{"wo":"a","stat":{"n":5},"key":"x"}]`, "key=wo,size=stat.n", []string{"a 5"}, "key from wo", ""},
		"JSON, marks of deletion":     {`{"Versions":[{"Key":"a","Size":1,"IsLatest":false}],"DeleteMarkers":[{"Key":"a","IsLatest":true}]}`, "", []string{"a -1 deleted"}, "", "map[old version:1]"},
		"JSON, parts of an upload":    {`[{"Key":"a","Size":1},{"Key":"b","UploadId":"u","PartNumber":3,"Size":5}]`, "", []string{"a 1"}, "", "map[part of unfinished upload:1]"},
		"JSON, uploads beside":        {`{"Contents":[{"Key":"a","Size":1}],"Uploads":[{"Key":"b","UploadId":"u"}]}`, "", []string{"a 1"}, "", "map[part of unfinished upload:1]"},
		"JSON, half a surrogate pair": {`[{"key":"a","size":1},{"key":"\ud800x","size":2}]`, "", []string{"a 1"}, "", "map[key that is no text:1]"},
		"JSON, null in place of text": {`[{"key":"a","size":1,"etag":null,"is_latest":null}]`, "", []string{"a 1"}, "", ""},
		"JSON, a folder by type":      {`[{"path":"d","size":0,"type":"directory"},{"path":"d/a","size":1,"type":"file"}]`, "", []string{"d/a 1"}, "", "map[folder:1]"},
		"XML, marks of deletion": {`<L><Version><Key>a</Key><IsLatest>true</IsLatest><Size>1</Size></Version><DeleteMarker><Key>b</Key><IsLatest>true</IsLatest></DeleteMarker></L>`, "", []string{
			"a 1", "b -1 deleted",
		}, "XML", ""},
		"XML, parts of an upload":  {`<R><Key>a</Key><UploadId>u</UploadId><Part><PartNumber>1</PartNumber><Size>5</Size></Part></R><R><o><key>b</key><size>1</size></o></R>`, "", []string{"b 1"}, "", "map[part of unfinished upload:1]"},
		"XML, line ends":           {"<r><o><key>a\r\nb\rc&#13;</key><size> 1\n</size></o></r>", "", []string{"a\nb\nc\r 1"}, "", ""},
		"checksum list of SHA-512": {strings.Repeat("a", 128) + "  x\n", "", []string{"x -1 unknown checksum"}, "", ""},
		"BSD and plain, mixed":     {"MD5 (a (1) = b) = " + hexMD5 + "\n" + hexSHA + " *b\n# remark\n\\" + hexSHA + "  c\\nd\\\\\n", "", []string{"a (1) = b -1 MD5", "b -1 SHA-256", "c\nd\\ -1 SHA-256"}, "checksum lines", ""},
		"aligned, keys with spaces": {"2031-05-04 03:02:01          5  lead\n2031-05-04 03:02:01       1234 a  b \n\nTotal Objects: 2\n   Total Size: 1239\n", "", []string{
			" lead 5", "a  b  1234",
		}, "columns of text", ""},
		"aligned, two spaces before the key": {"     5  2031-05-04T03:02:01Z  x://b/a b\n     0  2031-05-04T03:02:01Z  x://b/d/\nTOTAL: 2 objects, 5 bytes (5 B)\n", "", []string{"x://b/a b 5"}, "", "map[folder:1]"},
	} {
		t.Run(name, func(t *testing.T) {
			columns, err := ParseColumns(tc.columns)
			if err != nil {
				t.Fatal(err)
			}
			rows, f, err := rowsOf(t, tc.text, Options{Columns: columns})
			if err != nil || !slices.Equal(rows, tc.want) {
				t.Fatalf("%q, %v\nwant %q", rows, err, tc.want)
			}
			if !strings.Contains(f.String(), tc.is) {
				t.Errorf("read as %q, want %q", f, tc.is)
			}
			if got := fmt.Sprint(f.Skipped); tc.skipped != "" && got != tc.skipped || tc.skipped == "" && len(f.Skipped) > 0 {
				t.Errorf("skipped %s, want %s", got, tc.skipped)
			}
		})
	}
}

// Nothing that cannot be trusted is ever a listing.
func TestRefused(t *testing.T) {
	const two = "line 2"
	for name, tc := range map[string]struct {
		text, columns, want string
		is                  What
	}{
		"empty":                        {"", "", "empty", Empty},
		"blank":                        {"\n\n", "", "empty", Empty},
		"header only":                  {"Key,Size\n", "", "lists no object", Empty},
		"folders only":                 {"Key,Size\na/,0\n", "", "lists no object", Empty},
		"old versions only":            {"Key,Size,IsLatest\na,1,false\n", "", "old versions only", Empty},
		"cut in a row":                 {"Key,Size\na,1\nb", "", "line 3", ""},
		"cut in quotes":                {"Key,Size\n\"archive/no", "", two, ""},
		"two delimiters":               {"Key,Size\narchive/a;1\n", "", two, ""},
		"size with a unit":             {"Key,Size\narchive/notes.txt,20 kB\n", "", two, ""},
		"size with commas":             {"Key,Size\nnotes.txt,\"1,234\"\n", "", two, ""},
		"size with a fraction":         {"Key,Size\nnotes.txt,1.5\n", "", two, ""},
		"negative size":                {"Key,Size\nnotes.txt,-1\n", "", two, ""},
		"no size":                      {"Key,Size\nnotes.txt,\n", "", two, ""},
		"size of 20 digits":            {"Key,Size\nnotes.txt,99999999999999999999\n", "", two, ""},
		"size of 2^63":                 {"Key,Size\nnotes.txt,9223372036854775808\n", "", two, ""},
		"nothing but keys":             {"Key,Owner\na,me\n", "", "nothing but names", NamesOnly},
		"a list of names":              {"archive/a\narchive/b\n", "", "it begins with archive/a", NamesOnly},
		"a list of names, NUL":         {"archive/a\x00archive/b\x00", "", "NUL bytes", NamesOnly},
		"empty key":                    {"Key,Size\n,1\n", "", two, ""},
		"NUL in a key":                 {"Key,Size\n" + strings.Repeat("a,1\n", 200) + "b\x00,1\n", "", "line 202: the key holds a NUL", ""},
		"a manifest":                   {"# Loadline manifest 1. To verify:\n", "", "it is a manifest", Manifest},
		"a manifest, its head cut off": {hexSHA + "  a\n# size=3 crc32c=364b3fb7\n" + hexSHA + "  b\n", "", "manifest", Manifest},
		"a report":                     {`{"tool":"loadline","stage":"after","checks":[]}`, "", "report by Loadline", LoadlineJSON},
		"a plan":                       {`{"schema":1,"plan":[{"from":"a","to":"b","rules":[]}],"left":[]}`, "", "plan by Loadline", LoadlineJSON},
		"a schema file":                {`{"fileSchema":"Bucket, Key, Size","files":[{"key":"data/1.csv.gz","size":5,"MD5checksum":"` + hexMD5 + `"}]}`, "", "names the columns", Schema},
		"CRLF, then LF":                {strings.Repeat("a", 64) + "  x\r\n" + strings.Repeat("a", 64) + "  notes.txt\n", "", two, ""},
		"JSON cut":                     {"{\"key\":\"notes.txt\",\"size\":1}\n{\"key\":\"no", "", "record 2: the file is cut off", ""},
		"JSON, a record without size":  {"{\"key\":\"a\",\"size\":1}\n{\"key\":\"b\"}\n", "", "record 2: it holds a key, b, but no size", ""},
		"JSON, a record without key":   {`{"l":[{"key":"a","size":1},{"size":2}]}`, "", "record 2: it holds no key", ""},
		"JSON, empty key":              {`[{"key":"","size":1}]`, "", "record 1: the key is empty", ""},
		"JSON, no size at all":         {"{\"key\":\"a\"}\n", "", "nothing in it has a key", ""},
		"JSON, text for a size":        {"{\"key\":\"a\",\"size\":\"many\"}\n", "", "record 1", ""},
		"JSON, two sizes":              {`[{"key":"a","size":1,"size":2}]`, "", "size is here twice", ""},
		"JSON, two keys":               {`[{"key":"a","key":"b","size":2}]`, "", "key is here twice", ""},
		"JSON, damaged":                {`[{"key":"a","size":1},{"key":"b" "size":2}]`, "", "record 2: the JSON is damaged at byte", ""},
		"JSON, not closed":             {`[{"key":"a","size":1}`, "", "cut off", ""},
		"JSON, something after":        {`[{"key":"a","size":1}] what`, "", "record 2", ""},
		"JSON, too deep":               {strings.Repeat("[", 200), "", "deep", ""},
		"JSON, objects too deep":       {strings.Repeat(`{"a":`, 200), "", "deep", ""},
		"JSON, a text without end":     {`{"key":"` + strings.Repeat("x", 4<<20), "", "longer than", ""},
		"JSON, a name that is not":     {`[{"key":"a","size":1}]`, "size=bytes", "there is no field bytes", ""},
		"XML cut":                      {"<r><o><key>a</key><size>1</size></o>", "", "cut off", ""},
		"XML, wrong end":               {"<r><o><key>a</key><size>1</size></r></o>", "", "damaged", ""},
		"XML, unknown entity":          {"<r><o><key>a&nbsp;</key><size>1</size></o></r>", "", "entity", ""},
		"XML, declarations":            {`<!DOCTYPE r [<!ENTITY a "b">]><r><o><key>&a;</key><size>1</size></o></r>`, "", "declarations", ""},
		"XML, two keys":                {"<r><o><key>a</key><key>b</key><size>1</size></o></r>", "", "twice", ""},
		"XML, a record without size":   {"<r><o><key>a</key><size>1</size></o><o><key>b</key></o></r>", "", "record 2", ""},
		"XML in other letters":         {`<?xml version="1.0" encoding="ISO-8859-1"?><r/>`, "", "ISO-8859-1", ""},
		"XML, an element without end":  {"<r " + strings.Repeat("x", 2<<20), "", "longer than", ""},
		"XML, no listing":              {"<Error><Code>denied</Code></Error>", "", "nothing in it", ""},
		"a web page":                   {"<!DOCTYPE html><html></html>", "", "web page", WebPage},
		"UTF-32":                       {"\xff\xfe\x00\x00K\x00\x00\x00", "", "UTF-32", ""},
		"UTF-16 without mark":          {"K\x00e\x00y\x00,\x00S\x00", "", "UTF-16", ""},
		"a picture":                    {"\x89PNG\r\n\x1a\n\x00\x00", "", "NUL", NamesOnly},
		"a ZIP archive":                {"PK\x03\x04xxxxxxxxx", "", "ZIP", Binary},
		"a binary table":               {"PAR1xxxx", "", "binary table", Binary},
		"gzip head only":               {"\x1f\x8b\x08", "", "gzip", ""},
		"checksum list, then prose":    {strings.Repeat("a", 64) + "  notes.txt\nand so on\n", "", two, ""},
		"quote in a plain field":       {"Key,Size\na\"b,1\n", "", two, ""},
		"after a quote":                {"Key,Size\n\"a\"b,1\n", "", two, ""},
		"endless line":                 {"Key,Size\n" + strings.Repeat("x", longest+1) + ",1\n", "", two, ""},
		"endless quotes":               {"Key,Size\n\"" + strings.Repeat("x\n", longest), "", "never closed", ""},
		"neither true nor false":       {"Key,Size,IsLatest\na,1,perhaps\n", "", "line 2: IsLatest: perhaps is neither true nor false", ""},
		"bare, true and false":         {"a/1,5,true\na/2,6,false\n", "", "column 3 holds true and false", ""},
		"bare, two sizes":              {"a/1,5,9\na/2,6,8\n", "", "more than one column could hold the size: 2, 3", ""},
		"bare, two keys":               {"a/1,b/1,9\na/2,b/2,8\n", "", "more than one column could hold the key: 1, 2", ""},
		"a column that is not there":   {"Key,Size\na,1\n", "key=nowhere", "there is no column nowhere; the columns are: Key, Size", ""},
		"a number that is not there":   {"a,1\n", "key=1,size=9", "there is no column 9", ""},
		"aligned, then prose":          {"2031-05-04 03:02:01 5 a\nand so on\n", "", "it begins with", ""},
		"aligned, fewer than it says":  {"2031-05-04 03:02:01 5 a\nTotal Objects: 2\n", "", "lists 2 objects, but it holds 1", ""},
		"aligned, sizes with units":    {"2031-05-04 03:02:01 5.1 MiB a\n", "", "it begins with", ""},
		"17 checksums":                 {`[{"key":"a","size":1` + strings.Repeat(`,"md5":"x"`, 17) + `}]`, "", "more than 16", ""},
	} {
		columns, err := ParseColumns(tc.columns)
		if err != nil {
			t.Fatal(err)
		}
		_, _, err = rowsOf(t, tc.text, Options{Columns: columns})
		var e *Error
		if !errors.Is(err, ErrListing) || !errors.As(err, &e) || !strings.Contains(err.Error(), tc.want) || e.Is != tc.is {
			t.Errorf("%s: %v, want an error with %q that is %q", name, err, tc.want, tc.is)
			continue
		}
		if len(err.Error()) > 600 {
			t.Errorf("%s: an error of %d bytes", name, len(err.Error()))
		}
	}
}

// A page that says that more follows is no whole listing; all pages together are.
func TestPartial(t *testing.T) {
	page := func(key, start, next string, more bool) string {
		return fmt.Sprintf(`{"Prefix":"p/","Marker":%q,"NextMarker":%q,"IsTruncated":%v,"Contents":[{"Key":%q,"Size":1}]}`, start, next, more, key)
	}
	xml := func(key, start string, more bool) string {
		return fmt.Sprintf(`<L><Marker>%s</Marker><IsTruncated>%v</IsTruncated><Contents><Key>%s</Key><Size>1</Size></Contents></L>`, start, more, key)
	}
	for name, tc := range map[string]struct {
		texts []string
		head  string
		want  string // "" for whole
	}{
		"no pages":                        {[]string{"Key,Size\na,1\n"}, "", ""},
		"one whole page":                  {[]string{page("a", "", "", false)}, "", ""},
		"truncated":                       {[]string{page("a", "", "", true)}, "", "more follows"},
		"a token, not truncated":          {[]string{page("a", "", "t", false)}, "", "more follows"},
		"truncated as text":               {[]string{`[{"key":"a","size":1},{"isTruncated":"true"}]`}, "", "more follows"},
		"token without more":              {[]string{`{"items":[{"name":"a","size":"1"}],"nextPageToken":"x"}`}, "", "more follows"},
		"null token":                      {[]string{`{"items":[{"name":"a","size":"1"}],"next":null,"has_more":false}`}, "", ""},
		"false for no token":              {[]string{`{"items":[{"name":"a","size":"1"}],"next":false}`}, "", ""},
		"token beside":                    {[]string{`{"data":{"items":[{"name":"a","size":1}]},"paging":{"next":"x"}}`}, "", "more follows"},
		"token above":                     {[]string{`{"r":{"l":{"items":[{"name":"a","size":1}]}},"next_token":"x"}`}, "", "more follows"},
		"token in a line of its own":      {[]string{"{\"key\":\"a\",\"size\":1}\n{\"NextToken\":\"x\"}\n"}, "", "more follows"},
		"both pages":                      {[]string{page("a", "", "t", true), page("b", "t", "", false)}, "", ""},
		"both pages, last first":          {[]string{page("b", "t", "", false), page("a", "", "t", true)}, "", ""},
		"three pages, middle missing":     {[]string{page("a", "", "t", true), page("c", "u", "", false)}, "", "from t"},
		"first page missing":              {[]string{page("b", "t", "", false)}, "", "in the middle"},
		"last page missing":               {[]string{page("a", "", "t", true), page("b", "t", "u", true)}, "", "from u"},
		"no start told, both pages":       {[]string{`{"l":[{"key":"a","size":1}],"next":"x"}`, `{"l":[{"key":"b","size":1}]}`}, "", ""},
		"no start told, in one array":     {[]string{`[{"l":[{"key":"a","size":1}],"next":"x"},{"l":[{"key":"b","size":1}]}]`}, "", ""},
		"no start told, last missing":     {[]string{`[{"l":[{"key":"a","size":1}],"next":"x"},{"l":[{"key":"b","size":1}],"next":"y"}]`}, "", "2 pages say that more follows"},
		"another prefix ends, not this":   {[]string{`{"prefix":"p","l":[{"key":"a","size":1}],"next":"x"}`, `{"prefix":"q","l":[{"key":"b","size":1}],"next":""}`}, "", "a page says of p that more follows"},
		"outer page says no, inner yes":   {[]string{`{"IsTruncated":false,"pages":[{"l":[{"key":"a","size":1}],"IsTruncated":true}]}`}, "", ""},
		"XML truncated":                   {[]string{xml("a", "", true)}, "", "more follows"},
		"XML, both, by the last key":      {[]string{xml("a", "", true), xml("b", "a", false)}, "", ""},
		"XML, the list in an element":     {[]string{`<R><Entries><Entry><Name>a</Name><Properties><Content-Length>1</Content-Length></Properties></Entry></Entries><NextMarker>x</NextMarker></R>`}, "", "more follows"},
		"an empty last page":              {[]string{page("a", "", "t", true), `{"Marker":"t","Contents":[],"IsTruncated":false,"Prefix":"p/"}`}, "", ""},
		"folders not opened":              {[]string{`{"Contents":[{"Key":"a","Size":1}],"CommonPrefixes":[{"Prefix":"day1/"}]}`}, "", "1 folder is named but not opened, day1/ first"},
		"folders not opened, elsewhere":   {[]string{`{"Contents":[{"Key":"archive/a","Size":1}],"CommonPrefixes":[{"Prefix":"other/"}]}`}, "archive/", ""},
		"folders not opened, as texts":    {[]string{`{"items":[{"name":"a","size":1}],"prefixes":["archive/x/"]}`}, "archive/", "archive/x/"},
		"folders opened by another":       {[]string{`<L><Contents><Key>a</Key><Size>1</Size></Contents><CommonPrefixes><Prefix>d/</Prefix></CommonPrefixes></L>`, `<L><Prefix>d/</Prefix><Contents><Key>d/a</Key><Size>1</Size></Contents></L>`}, "", ""},
		"folders not opened, aligned":     {[]string{"                           PRE day1/\n2031-05-04 03:02:01       1234 a\n"}, "archive/", "1 folder is named but not opened"},
		"folders only":                    {[]string{`<L><CommonPrefixes><Prefix>d/</Prefix></CommonPrefixes></L>`}, "d/", "not opened"},
		"a later part of one key's pages": {[]string{`{"KeyMarker":"k","Versions":[{"Key":"a","Size":1,"IsLatest":true}]}`}, "", "in the middle"},
	} {
		var all []*Format
		for _, text := range tc.texts {
			_, f, err := rowsOf(t, text, Options{})
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			all = append(all, f)
		}
		why := Partial(all, tc.head)
		if tc.want == "" && len(why) > 0 || tc.want != "" && !strings.Contains(strings.Join(why, "\n"), tc.want) {
			t.Errorf("%s: %q, want %q", name, why, tc.want)
		}
	}
}

func TestReading(t *testing.T) {
	for name, tc := range map[string]struct {
		keys, files []string
		want        Reading
	}{
		"raw":                          {[]string{"a b", "100%.mov", "c+d"}, []string{"a b", "100%.mov", "c+d"}, Raw},
		"percent":                      {[]string{"a%20b", "c+d", "e"}, []string{"a b", "c+d", "e"}, Percent},
		"plus":                         {[]string{"a+b", "c%2Bd", "e"}, []string{"a b", "c+d", "e"}, Plus},
		"nothing is coded":             {[]string{"a", "b"}, []string{"a", "b"}, Raw},
		"two tie, raw counts":          {[]string{"a%20b", "a b"}, []string{"a%20b"}, Raw},
		"percent and plus tie":         {[]string{"a%20b"}, []string{"a b"}, Percent},
		"names that look coded":        {[]string{"x%41", "y%42", "z"}, []string{"x%41", "y%42", "z"}, Raw},
		"most are coded, one is not":   {[]string{"a%20b", "c%20d", "50%.mov"}, []string{"a b", "c d", "50%.mov"}, Percent},
		"every byte, percent":          {[]string{"%01%7F%C3%A9%F0%9F%8E%AC%2f"}, []string{"\x01\x7f\u00e9\U0001f3ac/"}, Percent},
		"coded twice is read once":     {[]string{"a%2520b", "c%20d"}, []string{"a%20b", "c d"}, Percent},
		"nothing known, as they stand": {[]string{"a+b", "c%20"}, nil, Raw},
	} {
		c := Chooser{Known: func(_ Reading, key []byte) bool { return slices.Contains(tc.files, string(key)) }}
		for _, k := range tc.keys {
			c.Look([]byte(k))
		}
		if got := c.Best(); got != tc.want {
			t.Errorf("%s: %s (%v), want %s", name, got, c.found, tc.want)
		}
	}
}

func TestContradiction(t *testing.T) {
	row := func(text string) *Row {
		var row Row
		if _, err := read(t.Context(), strings.NewReader(text), Options{}, func(r *Row) error { row = r.Clone(); return nil }); err != nil {
			t.Fatal(err)
		}
		return &row
	}
	other := strings.Repeat("0", 32)
	for _, tc := range []struct{ a, b, want string }{
		{"Key,Size\na,1\n", "Key,Size\na,1\n", ""},
		{"Key,Size\na,1\n", "Key,Size\na,2\n", "1 bytes and 2 bytes"},
		{"Key,Size\na,1\n", `{"key":"a","md5":"` + hexMD5 + `"}`, ""},
		{"Key,md5\na," + hexMD5 + "\n", "Key,md5\na," + b64MD5 + "\n", ""},
		{"Key,md5\na," + hexMD5 + "\n", "Key,md5\na," + other + "\n", "MD5"},
		{"Key,md5\na," + hexMD5 + "\n", "Key,sha256\na," + hexSHA + "\n", ""},
		{"Key,etag\na," + hexMD5 + "-2\n", "Key,etag\na," + other + "-3\n", ""},
		{"Key,etag\na," + hexMD5 + "-2\n", "Key,etag\na," + other + "-2\n", "MD5"},
		{"Key,Size,deleted\na,1,\n", "Key,Size,deleted\na,,true\n", "deleted"},
	} {
		a, b := row(tc.a), row(tc.b)
		for _, got := range []string{Contradiction(a, b), Contradiction(b, a)} {
			if (got == "") != (tc.want == "") || got != "" && tc.want != "1 bytes and 2 bytes" && !strings.Contains(got, tc.want) {
				t.Errorf("%q and %q: %q, want %q", tc.a, tc.b, got, tc.want)
			}
		}
	}
}

// A row stands at the line in which it begins.
func TestLines(t *testing.T) {
	var at []int64
	_, err := read(t.Context(), strings.NewReader("\nKey,Size\n\"a\nb\",1\n\nc,2\n"), Options{}, func(r *Row) error { at = append(at, r.At); return nil })
	if err != nil || !slices.Equal(at, []int64{3, 6}) {
		t.Errorf("rows at %v, %v", at, err)
	}
	if _, _, err := rowsOf(t, "Key,Size\n\"a\nb\",1\nc\n", Options{}); err == nil || !strings.Contains(err.Error(), "line 4: 1 field where the first line has 2") {
		t.Errorf("a short row: %v", err)
	}
}

func TestFacts(t *testing.T) {
	_, f, err := rowsOf(t, "Key,Size,LastModified\narchive/b,2,2031-05-04T03:02:01.5Z\narchive/a,3,2031-05-04 05:02:00+02:30\narchive/,0,2035-01-01T00:00:00Z\n", Options{})
	if err != nil {
		t.Fatal(err)
	}
	if f.Objects != 2 || f.Bytes != 5 || f.CommonPrefix != "archive/" || len(f.First) != 4 ||
		!f.Oldest.Equal(time.Date(2031, 5, 4, 2, 32, 0, 0, time.UTC)) || !f.Newest.Equal(time.Date(2031, 5, 4, 3, 2, 1, 0, time.UTC)) {
		t.Errorf("%+v", f)
	}
}

// The oracle is time.Parse of the standard library.
func TestParseTime(t *testing.T) {
	for _, layout := range []string{time.RFC3339, time.RFC3339Nano, "2006-01-02 15:04:05", "2006-01-02T15:04", "2006-01-02", "2006-01-02 15:04:05 -0700", "2006-01-02T15:04:05.000-07:00", time.RFC1123, "2006-01-02 15:04:05 UTC"} {
		for _, zone := range []int{0, 9000, -12600} {
			at := time.Date(2031, 12, 31, 23, 59, 58, 0, time.FixedZone("", zone))
			if !strings.Contains(layout, "07") {
				at = at.UTC()
			}
			text := at.Format(layout)
			want, err := time.Parse(layout, text)
			if err != nil {
				t.Fatal(err)
			}
			if got := parseTime([]byte(text)); !got.Equal(want) {
				t.Errorf("%s is %v, want %v", text, got, want)
			}
		}
	}
	for _, bad := range []string{"", "soon", "2031-13-01", "2031-05-04T25:00:00Z", "1234", "----------", "2031-05-xx"} {
		if got := parseTime([]byte(bad)); !got.IsZero() {
			t.Errorf("%q is %v", bad, got)
		}
	}
}

func TestParseColumns(t *testing.T) {
	c, err := ParseColumns(" key=2, size=Bytes ,tag=5,ignore=6,ignore=7")
	if err != nil || len(c) != 5 || c.String() != "key=2,size=Bytes,tag=5,ignore=6,ignore=7" {
		t.Errorf("%v, %v", c, err)
	}
	for _, bad := range []string{"key", "key=", "colour=red", "=x", ",,", "key=1,key=2", "key=1,size=1", "key=a,size=A"} {
		if c, err := ParseColumns(bad); err == nil {
			t.Errorf("ParseColumns(%q) = %v", bad, c)
		}
	}
}

func TestInspect(t *testing.T) {
	path := filepath.Join(t.TempDir(), "l.csv")
	fixture.WriteFile(t, path, "Key,Size\na,1\nb,2\nthis line is not read\n")
	f, rows, err := inspect(t.Context(), path, Options{}, 2)
	if err != nil || f.String() != "table with commas: key from Key, size from Size, no checksum" || len(rows) != 2 || string(rows[1].Key) != "b" || rows[1].At != 3 {
		t.Errorf("Inspect = %v, %+v, %v", f, rows, err)
	}
	if _, _, err := inspect(t.Context(), path, Options{}, 3); !errors.Is(err, ErrListing) || !strings.Contains(err.Error(), "l.csv") {
		t.Errorf("the bad line: %v", err)
	}
	if _, _, err := inspect(t.Context(), filepath.Dir(path), Options{}, 1); err == nil || !strings.Contains(err.Error(), "folder") {
		t.Errorf("a folder: %v", err)
	}
	if _, _, err := inspect(t.Context(), path+"x", Options{}, 1); err == nil || strings.Count(err.Error(), "l.csvx") != 1 {
		t.Errorf("no file: %v", err)
	}
}

func TestStops(t *testing.T) {
	path := filepath.Join(t.TempDir(), "l.csv")
	fixture.WriteFile(t, path, "Key,Size\n"+strings.Repeat("a,1\n", 1<<20))
	ctx, cancel := context.WithCancel(t.Context())
	n := 0
	_, err := readFile(ctx, path, Options{}, func(*Row) error {
		if n++; n == 100 {
			cancel()
		}
		return nil
	})
	if !errors.Is(err, context.Canceled) || n >= 1<<20 {
		t.Errorf("stopped after %d rows: %v", n, err)
	}
	mine := errors.New("mine")
	if _, err := readFile(t.Context(), path, Options{}, func(*Row) error { return mine }); err != mine { //nolint:errorlint // as it is
		t.Errorf("an error of yield: %v", err)
	}
}

func TestSet(t *testing.T) {
	dir := t.TempDir()
	at := func(name string) string { return filepath.Join(dir, filepath.FromSlash(name)) }
	const schemaFile = `{"fileSchema":"Bucket, Key, VersionId, IsLatest, IsDeleteMarker, Size","files":[{"key":"x/data/1.csv.gz","size":1,"MD5checksum":"x"},{"key":"x/data/2.csv","size":1}]}`
	fixture.WriteFile(t, at("inv/date/manifest.json"), schemaFile)
	fixture.WriteFile(t, at("inv/data/1.csv.gz"), packed("b,a,v,true,false,5\nb,a,w,false,false,6\n"))
	fixture.WriteFile(t, at("inv/data/2.csv"), "b,c,v,true,false,7\nb,d,v,true,true,\n")
	fixture.WriteFile(t, at("cols/columns.json"), `{"columns":[{"name":"n"},{"name":"key"},{"name":"size"}]}`)
	fixture.WriteFile(t, at("cols/part.tsv"), "9\ta\t5\n8\tb\t6\n")
	fixture.WriteFile(t, at("cut/1.csv"), "Owner,Key,Size\nx,a,1\n")
	fixture.WriteFile(t, at("cut/2.csv"), "x,b,2\n")
	fixture.WriteFile(t, at("gone/schema.json"), schemaFile)
	fixture.WriteFile(t, at("gone/1.csv.gz"), packed("b,a,v,true,false,5\n"))
	fixture.WriteFile(t, at("two/a.json"), `{"columns":"key,size"}`)
	fixture.WriteFile(t, at("two/b.json"), `{"columns":"size,key"}`)
	fixture.WriteFile(t, at("two/part.csv"), "1,2\n3,4\n")
	fixture.WriteFile(t, at("pages/1.json"), `{"items":[{"name":"a","size":1}],"next":"x"}`)
	fixture.WriteFile(t, at("pages/2.json"), `{"items":[],"next":null}`)
	fixture.WriteFile(t, at("empty.csv"), "")
	fixture.WriteFile(t, at("plain.json"), `[{"key":"z","size":9}]`)
	for _, tc := range []struct {
		name    string
		paths   []string
		want    string // keys and sizes
		partial string
	}{
		{"a schema file stands for its parts", []string{"inv/date/manifest.json"}, "a 5,c 7,d deleted", ""},
		{"a schema file with its parts", []string{"inv/date/manifest.json", "inv/data/2.csv", "inv/data/1.csv.gz"}, "c 7,d deleted,a 5", ""},
		{"a schema file beside", []string{"cols/part.tsv"}, "a 5,b 6", ""},
		{"a header in the first part only", []string{"cut/1.csv", "cut/2.csv"}, "a 1,b 2", ""},
		{"given twice", []string{"plain.json", "plain.json"}, "z 9", ""},
		{"a mixture", []string{"plain.json", "cols/part.tsv", "cut/1.csv"}, "z 9,a 5,b 6,a 1", ""},
		{"an empty last page", []string{"pages/1.json", "pages/2.json"}, "a 1", ""},
		{"only the first page", []string{"pages/1.json"}, "a 1", "more follows"},
		{"a part is not there", []string{"gone/schema.json"}, "a 5", "1 part that the schema file names is not there, x/data/2.csv first"},
		{"a part was not given", []string{"gone/1.csv.gz"}, "a 5", "x/data/2.csv"},
	} {
		var paths []string
		for _, p := range tc.paths {
			paths = append(paths, at(p))
		}
		set, err := Gather(paths)
		if err != nil {
			t.Errorf("%s: %v", tc.name, err)
			continue
		}
		var got []string
		var told int64
		formats, err := set.Read(t.Context(), Options{Progress: func(n int64) { told = n }}, func(_ int, r *Row) error {
			s := fmt.Sprintf("%s %d", r.Key, r.Size)
			if r.Deleted {
				s = fmt.Sprintf("%s deleted", r.Key)
			}
			got = append(got, s)
			return nil
		})
		if err != nil || strings.Join(got, ",") != tc.want {
			t.Errorf("%s: %q, %v, want %s", tc.name, got, err, tc.want)
			continue
		}
		if told != set.Bytes() {
			t.Errorf("%s: progress ended at %d of %d bytes", tc.name, told, set.Bytes())
		}
		why := strings.Join(set.Partial(formats, ""), "\n")
		if (why == "") != (tc.partial == "") || !strings.Contains(why, tc.partial) {
			t.Errorf("%s: partial %q, want %q", tc.name, why, tc.partial)
		}
		for i := range set.Parts {
			f, rows, err := set.Inspect(t.Context(), Options{}, i, 1)
			if err != nil || len(rows) != int(min(1, formats[i].Objects+formats[i].Deleted)) || f.String() != formats[i].String() {
				t.Errorf("%s: part %d is inspected as %v, read as %v: %v", tc.name, i, f, formats[i], err)
			}
		}
	}
	empty, err := Gather([]string{at("empty.csv"), at("pages/2.json")})
	if err == nil {
		_, err = empty.Read(t.Context(), Options{}, func(int, *Row) error { return nil })
	}
	if !errors.Is(err, ErrListing) {
		t.Errorf("nothing in any part: %v", err)
	}
	for name, want := range map[string]string{"two/a.json": "names the columns", "nowhere": "no such file", "two": "folder"} {
		if set, err := Gather([]string{at(name)}); err == nil || !strings.Contains(err.Error(), want) || !errors.Is(err, ErrListing) {
			t.Errorf("%s: %+v, %v", name, set, err)
		}
	}
	if _, err := Gather(nil); !errors.Is(err, ErrListing) {
		t.Errorf("nothing: %v", err)
	}
	// A column of true and false that nobody has named changes from part to part.
	fixture.WriteFile(t, at("v/1.csv"), "a/1,5,true\n")
	fixture.WriteFile(t, at("v/2.csv"), "a/2,6,false\n")
	for columns, want := range map[string]string{"": "column 3 holds true and false", "latest=3": ""} {
		parts, err := Gather([]string{at("v/1.csv"), at("v/2.csv")})
		if err != nil {
			t.Fatal(err)
		}
		choice, err := ParseColumns(columns)
		if err != nil {
			t.Fatal(err)
		}
		_, err = parts.Read(t.Context(), Options{Columns: choice}, func(int, *Row) error { return nil })
		if want == "" && err != nil || want != "" && (err == nil || !strings.Contains(err.Error(), want)) {
			t.Errorf("%s: %v", columns, err)
		}
	}
	// Two schema files that differ: neither is followed, and the columns cannot be told.
	set, err := Gather([]string{at("two/part.csv")})
	if err == nil {
		_, err = set.Read(t.Context(), Options{}, func(int, *Row) error { return nil })
	}
	if !errors.Is(err, ErrListing) {
		t.Errorf("two schema files: %v", err)
	}
}
