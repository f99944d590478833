package listing

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"io"

	"github.com/klauspost/compress/gzip"
	"github.com/klauspost/compress/zstd"
	"golang.org/x/text/encoding/unicode"

	"loadline/checks/internal/disk"
)

const (
	// longest bounds the memory of one line, one token or one record, bytes.
	longest = 1 << 20
	// widest bounds the memory that a zstd stream may ask for, bytes: the widest window that compressors
	// use without being told to.
	widest = 128 << 20
)

var errTooLong = errors.New("too long")

// An input is the text of a listing: decompressed, as UTF-8, without its mark.
type input struct {
	*bufio.Reader
	compression, encoding string
	sample                []byte // how it begins, peeked at; valid until the first read
	sampleErr             error  // why there is no more in the sample
	closers               []func()
}

func (in *input) close() {
	for _, c := range in.closers {
		c()
	}
}

// metered counts what is read and ends it when ctx does.
type metered struct {
	r        io.Reader
	ctx      context.Context
	n, told  int64
	progress func(int64)
}

func (m *metered) Read(p []byte) (int, error) {
	if err := m.ctx.Err(); err != nil {
		return 0, err
	}
	n, err := m.r.Read(p)
	m.n += int64(n)
	if m.progress != nil && (m.n-m.told >= 1<<18 || err != nil) {
		m.told = m.n
		m.progress(m.n)
	}
	return n, err
}

// open takes compression off.
func open(ctx context.Context, r io.Reader, progress func(int64)) (*input, error) {
	raw := bufio.NewReaderSize(&metered{r: r, ctx: ctx, progress: progress}, 1<<17)
	head, err := raw.Peek(8)
	if err != nil && !errors.Is(err, io.EOF) {
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		return nil, &Error{Err: disk.WithoutPath(err), Hint: "Get the listing again."}
	}
	in := &input{}
	var text io.Reader = raw
	switch {
	case bytes.HasPrefix(head, []byte{0x1f, 0x8b}): // RFC 1952 §2.3.1
		z, err := gzip.NewReader(raw)
		if err != nil {
			return nil, refuse(Unknown, "Get the listing again.", "its gzip head is damaged: %w", err)
		}
		in.compression, text = "gzip", z
	case bytes.HasPrefix(head, []byte{0x28, 0xb5, 0x2f, 0xfd}), // RFC 8878 §3.1.1
		len(head) >= 4 && head[0]&0xf0 == 0x50 && bytes.Equal(head[1:4], []byte{0x2a, 0x4d, 0x18}): // §3.1.2, a skippable frame
		z, err := zstd.NewReader(raw, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxWindow(widest), zstd.WithDecoderLowmem(true))
		if err != nil {
			return nil, refuse(Unknown, "Get the listing again.", "its zstd head is damaged: %w", err)
		}
		in.closers = append(in.closers, z.Close)
		in.compression, text = "zstd", z
	}
	in.Reader = bufio.NewReaderSize(text, longest)
	return in, nil
}

// binaries are formats that may be taken for a listing: by how they begin.
var binaries = []struct{ magic, is, hint string }{
	{"PK\x03\x04", "a ZIP archive", "Take the listing out of it."},
	{"\xfd7zXZ\x00", "an xz file", "Decompress it, or ask for gzip or zstd."},
	{"BZh", "a bzip2 file", "Decompress it, or ask for gzip or zstd."},
	{"PAR1", "a binary table of columns", "Ask for the listing as CSV or JSON."},
	{"ORC", "a binary table of columns", "Ask for the listing as CSV or JSON."},
	{"Obj\x01", "a binary table of rows", "Ask for the listing as CSV or JSON."},
	{"SQLite format 3\x00", "a database", "Save the table of objects as CSV."},
	{"%PDF", "a PDF document", "Ask for the listing as CSV or JSON."},
	{"\x1f\x8b", "compressed twice", "Decompress it once."},
	{"\x28\xb5\x2f\xfd", "compressed twice", "Decompress it once."},
}

// sniff settles the encoding and takes the sample.
func (in *input) sniff() error {
	head, err := in.Peek(4)
	if err != nil && !errors.Is(err, io.EOF) {
		return err
	}
	in.encoding = "UTF-8"
	switch {
	case bytes.HasPrefix(head, []byte{0xEF, 0xBB, 0xBF}): // RFC 3629 §6
		_, _ = in.Discard(3) // they were peeked at
	case bytes.Equal(head, []byte{0xFF, 0xFE, 0, 0}), bytes.Equal(head, []byte{0, 0, 0xFE, 0xFF}):
		return refuse(Unknown, "Save it as UTF-8.", "it is UTF-32 text")
	case bytes.HasPrefix(head, []byte{0xFF, 0xFE}): // RFC 2781 §3.2
		in.encoding = "UTF-16LE"
	case bytes.HasPrefix(head, []byte{0xFE, 0xFF}):
		in.encoding = "UTF-16BE"
	}
	if in.encoding != "UTF-8" {
		in.Reader = bufio.NewReaderSize(unicode.UTF16(unicode.LittleEndian, unicode.ExpectBOM).NewDecoder().Reader(in.Reader), longest)
	}
	in.sample, in.sampleErr = in.Peek(longest)
	for _, b := range binaries {
		if bytes.HasPrefix(in.sample, []byte(b.magic)) {
			return refuse(Binary, b.hint, "it is %s", b.is)
		}
	}
	if start := in.sample[:min(len(in.sample), 512)]; bytes.IndexByte(start, 0) >= 0 {
		zeros := bytes.Count(start, []byte{0})
		if 3*zeros > len(start) {
			return refuse(Unknown, "Save it as UTF-8.", "it looks like UTF-16 text without its mark")
		}
		return refuse(NamesOnly, "Ask the store for a list of its objects with key and size.", "it holds NUL bytes: it is not text, or a list of names that end with NUL")
	}
	return nil
}

// line returns the next line without its LF; io.EOF after the last one. It holds until the next call.
func (rd *reader) line() ([]byte, error) {
	line, err := rd.in.ReadSlice('\n')
	rd.at++
	switch {
	case err == nil:
		return line[:len(line)-1], nil
	case errors.Is(err, io.EOF) && len(line) > 0:
		return line, nil
	case errors.Is(err, io.EOF):
		rd.at--
		return nil, io.EOF
	case errors.Is(err, bufio.ErrBufferFull):
		return nil, rd.bad("Look at the file: this does not look like a list of objects.", "the line is longer than %d bytes", longest)
	}
	return nil, rd.broken(err)
}

// lineEnds reports whether the lines of a sample end with CR LF: all of them, as far as they are whole.
func lineEnds(sample []byte) (crlf bool) {
	for {
		line, rest, whole := bytes.Cut(sample, []byte{'\n'})
		if !whole {
			return crlf
		}
		if !bytes.HasSuffix(line, []byte{'\r'}) {
			return false
		}
		crlf, sample = true, rest
	}
}

// A guard bounds how much is read for one token. Readers that hold a token in memory read through it.
type guard struct {
	r    io.Reader
	left int
}

func (g *guard) reset() { g.left = 2 * longest }

func (g *guard) Read(p []byte) (int, error) {
	if g.left <= 0 {
		return 0, errTooLong
	}
	n, err := g.r.Read(p[:min(len(p), g.left)])
	g.left -= n
	return n, err
}
