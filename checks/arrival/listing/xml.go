package listing

import (
	"bufio"
	"bytes"
	"errors"
	"io"
	"strconv"
	"strings"
	"unicode/utf8"
)

// readXML reads XML of any nesting, one document or several after each other. Namespaces are ignored, and
// attributes are read as elements are.
//
// encoding/xml takes such a listing at 160,000 records a second on one core, half of what is needed, so the
// tokens are taken apart here; a fuzz test compares both. Only the entities that XML itself defines are
// read, and no declarations: what a document says of itself cannot make it grow.
func (rd *reader) readXML() error {
	x := &xmlReader{rd: rd, tree: newTree(rd)}
	rd.format.Shape = XML
	start := strings.ToLower(string(bytes.TrimLeft(rd.in.sample[:min(len(rd.in.sample), 512)], " \t\r\n")))
	if strings.HasPrefix(start, "<!doctype html") || strings.HasPrefix(start, "<html") {
		return refuse(WebPage, "Ask the store for the listing as CSV, JSON or XML.", "it is a web page")
	}
	if err := x.read(); err != nil {
		return err
	}
	return x.tree.end()
}

type xmlReader struct {
	rd    *reader
	tree  *tree
	nodes []*node // those in use, and spare ones
	depth int
	held  []byte
}

// A node is one element that is open.
type node struct {
	name   []byte // with its prefix
	field  *field
	text   []byte
	framed bool // it is open in the tree: it holds elements or attributes
	parent bool // it holds elements
}

func (x *xmlReader) top() *node { return x.nodes[x.depth-1] }

// until reads to and including a byte.
func (x *xmlReader) until(c byte) ([]byte, error) {
	s, err := x.rd.in.ReadSlice(c)
	switch {
	case err == nil:
		return s, nil
	case errors.Is(err, bufio.ErrBufferFull):
		return nil, x.fail(errTooLong)
	case errors.Is(err, io.EOF):
		return s, io.EOF
	}
	return nil, x.fail(err)
}

// through reads on to and including an end, which ends with ">", and returns everything with it.
func (x *xmlReader) through(end string) ([]byte, error) {
	x.held = x.held[:0]
	for !bytes.HasSuffix(x.held, []byte(end)) {
		s, err := x.until('>')
		if errors.Is(err, io.EOF) {
			return nil, x.fail(io.ErrUnexpectedEOF)
		}
		if err != nil {
			return nil, err
		}
		x.held = append(x.held, s...)
		if len(x.held) > longest {
			return nil, x.fail(errTooLong)
		}
	}
	return x.held, nil
}

func (x *xmlReader) fail(err error) error {
	x.rd.at = x.tree.count + 1
	return x.rd.broken(err)
}

func (x *xmlReader) read() error {
	for {
		text, err := x.until('<')
		ended := errors.Is(err, io.EOF)
		if err != nil && !ended {
			return err
		}
		if !ended {
			text = text[:len(text)-1]
		}
		if x.depth > 0 {
			if ended {
				return x.fail(io.ErrUnexpectedEOF)
			}
			if err := x.characters(text, false); err != nil {
				return err
			}
		} else if len(bytes.Trim(bytes.TrimPrefix(text, []byte("\ufeff")), " \t\r\n")) > 0 {
			return x.tree.bad("there is text outside the XML document: %s", quote(string(text)))
		}
		if ended {
			return nil
		}
		if err := x.markup(); err != nil {
			return err
		}
	}
}

// markup reads what follows "<".
func (x *xmlReader) markup() error {
	head, err := x.rd.in.Peek(1)
	if err != nil {
		if errors.Is(err, io.EOF) {
			err = io.ErrUnexpectedEOF
		}
		return x.fail(err)
	}
	switch head[0] {
	case '!':
		return x.declaration()
	case '?':
		s, err := x.through("?>")
		if err == nil && bytes.HasPrefix(s, []byte("?xml")) {
			err = x.encoding(s)
		}
		return err
	}
	tag, err := x.until('>')
	if err == nil && openQuote(tag[:len(tag)-1]) { // ">" may stand in a value
		x.held = append(x.held[:0], tag...)
		for err == nil && openQuote(x.held[:len(x.held)-1]) {
			if len(x.held) > longest {
				return x.fail(errTooLong)
			}
			tag, err = x.until('>')
			x.held = append(x.held, tag...)
		}
		tag = x.held
	}
	if errors.Is(err, io.EOF) {
		return x.fail(io.ErrUnexpectedEOF)
	}
	if err != nil {
		return err
	}
	tag = tag[:len(tag)-1]
	if tag = bytes.TrimRight(tag, " \t\r\n"); len(tag) > 0 && tag[0] == '/' {
		return x.end(tag[1:])
	}
	return x.start(tag)
}

func openQuote(tag []byte) bool {
	for {
		i := bytes.IndexByte(tag, '"')
		if k := bytes.IndexByte(tag, '\''); k >= 0 && (i < 0 || k < i) {
			i = k
		}
		if i < 0 {
			return false
		}
		n := bytes.IndexByte(tag[i+1:], tag[i])
		if n < 0 {
			return true
		}
		tag = tag[i+1+n+1:]
	}
}

func (x *xmlReader) declaration() error {
	head, err := x.rd.in.Peek(8)
	switch {
	case bytes.HasPrefix(head, []byte("!--")):
		_, _ = x.rd.in.Discard(3) // they were peeked at
		_, err = x.through("-->")
		return err
	case bytes.Equal(head, []byte("![CDATA[")):
		_, _ = x.rd.in.Discard(8)
		s, err := x.through("]]>")
		if err != nil {
			return err
		}
		if x.depth == 0 {
			return x.tree.bad("there is text outside the XML document")
		}
		return x.characters(s[:len(s)-3], true)
	case err != nil:
		return x.fail(io.ErrUnexpectedEOF)
	}
	s, err := x.until('>')
	if err != nil {
		if errors.Is(err, io.EOF) {
			err = x.fail(io.ErrUnexpectedEOF)
		}
		return err
	}
	if !bytes.HasPrefix(s, []byte("!DOCTYPE")) || bytes.IndexByte(s, '[') >= 0 || x.depth > 0 {
		return x.tree.bad("the XML holds declarations of its own, which no listing needs")
	}
	return nil
}

// encoding refuses a document in letters that are not read.
func (x *xmlReader) encoding(s []byte) error {
	_, rest, ok := bytes.Cut(s, []byte("encoding"))
	if !ok {
		return nil
	}
	rest = bytes.TrimLeft(rest, " \t\r\n=")
	if len(rest) == 0 {
		return nil
	}
	name, _, _ := bytes.Cut(rest[1:], rest[:1])
	switch strings.ToLower(string(name)) {
	case "utf-8", "utf8", "us-ascii", "ascii":
		return nil
	case "utf-16", "utf-16le", "utf-16be":
		if x.rd.in.encoding != "UTF-8" {
			return nil
		}
	}
	return refuse(Unknown, "Save it as UTF-8.", "it says that it is written in %s", quote(string(name)))
}

// start reads a start tag, without its brackets.
func (x *xmlReader) start(tag []byte) error {
	empty := false
	if n := len(tag); n > 0 && tag[n-1] == '/' {
		tag, empty = tag[:n-1], true
	}
	name, attrs := tag, []byte(nil)
	for i, c := range tag {
		if c <= ' ' {
			name, attrs = tag[:i], tag[i:]
			break
		}
	}
	if !isXMLName(name) {
		return x.tree.bad("%s is not the name of an XML element", quote(string(name)))
	}
	if x.depth > 0 {
		up := x.top()
		up.parent = true
		if err := x.frame(up); err != nil {
			return err
		}
	}
	if x.depth == len(x.nodes) {
		x.nodes = append(x.nodes, &node{})
	}
	n := x.nodes[x.depth]
	*n = node{name: append(n.name[:0], name...), text: n.text[:0], field: x.tree.field(local(name))}
	x.depth++
	if len(bytes.TrimLeft(attrs, " \t\r\n")) > 0 {
		if err := x.attributes(n, attrs); err != nil {
			return err
		}
	}
	if empty {
		return x.end(n.name)
	}
	return nil
}

// frame opens an element in the tree.
func (x *xmlReader) frame(n *node) error {
	if n.framed {
		return nil
	}
	n.framed = true
	return x.tree.open(n.field, false)
}

func local(name []byte) []byte { return name[bytes.LastIndexByte(name, ':')+1:] }

func isXMLName(name []byte) bool {
	for i, c := range name {
		switch {
		case c >= 'a' && c <= 'z', c >= 'A' && c <= 'Z', c == '_', c == ':', c >= 0x80:
		case i > 0 && (c >= '0' && c <= '9' || c == '-' || c == '.'):
		default:
			return false
		}
	}
	return len(name) > 0
}

func (x *xmlReader) attributes(n *node, s []byte) error {
	for {
		if s = bytes.TrimLeft(s, " \t\r\n"); len(s) == 0 {
			return nil
		}
		name, rest, ok := bytes.Cut(s, []byte{'='})
		name, rest = bytes.TrimRight(name, " \t\r\n"), bytes.TrimLeft(rest, " \t\r\n")
		if !ok || !isXMLName(name) || len(rest) == 0 || rest[0] != '"' && rest[0] != '\'' {
			return x.tree.bad("an attribute is damaged: %s", quote(string(s)))
		}
		end := bytes.IndexByte(rest[1:], rest[0])
		if end < 0 {
			return x.tree.bad("an attribute is damaged: %s", quote(string(s)))
		}
		value := rest[1 : 1+end]
		s = rest[end+2:]
		if string(name) == "xmlns" || bytes.HasPrefix(name, []byte("xmlns:")) {
			continue
		}
		f := x.tree.field(local(name))
		// A tab or line end that stands there by itself is a space (XML 1.0 §3.3.3).
		plain := bytes.Map(func(r rune) rune {
			if r == '\t' || r == '\n' {
				return ' '
			}
			return r
		}, bytes.ReplaceAll(bytes.ReplaceAll(value, []byte("\r\n"), []byte{'\n'}), []byte{'\r'}, []byte{'\n'}))
		if !utf8.Valid(value) {
			plain = value
		}
		text, err := x.decode(nil, plain, false)
		if err != nil {
			return err
		}
		if err := x.frame(n); err != nil {
			return err
		}
		x.tree.scalar(f, text)
	}
}

// end reads an end tag: the name in it.
func (x *xmlReader) end(name []byte) error {
	if x.depth == 0 || !bytes.Equal(x.top().name, name) {
		return x.tree.bad("the XML is damaged: the end of %s is where nothing ends", quote(string(name)))
	}
	n := x.top()
	x.depth--
	if !n.parent && x.depth > 0 && x.nodes[x.depth-1].framed {
		if n.framed { // attributes: close it before its text goes to what holds it
			if err := x.tree.close(); err != nil {
				return err
			}
			if len(bytes.TrimSpace(n.text)) == 0 {
				return nil
			}
		}
		x.tree.scalar(n.field, n.text)
		return nil
	}
	if err := x.frame(n); err != nil {
		return err
	}
	return x.tree.close()
}

// characters takes text within an element, as it stands or with its entities.
func (x *xmlReader) characters(text []byte, literal bool) error {
	n := x.top()
	if n.parent || n.field.role == RoleNone {
		// Space between elements, or text that nobody asks for; it must be right all the same.
		if literal || bytes.IndexByte(text, '&') < 0 {
			return nil
		}
		_, err := x.decode(nil, text, false)
		return err
	}
	var err error
	if n.text, err = x.decode(n.text, text, literal); err != nil {
		return err
	}
	if len(n.text) > longest {
		return x.fail(errTooLong)
	}
	return nil
}

// decode appends text with its entities read, and its line ends as XML 1.0 §2.11 has them.
func (x *xmlReader) decode(dst, s []byte, literal bool) ([]byte, error) {
	if bytes.IndexByte(s, '&') < 0 && bytes.IndexByte(s, '\r') < 0 {
		return append(dst, s...), nil
	}
	for len(s) > 0 {
		i := bytes.IndexAny(s, "&\r")
		if i < 0 {
			return append(dst, s...), nil
		}
		dst = append(dst, s[:i]...)
		if s[i] == '\r' {
			dst = append(dst, '\n')
			if s = s[i+1:]; len(s) > 0 && s[0] == '\n' {
				s = s[1:]
			}
			continue
		}
		if literal {
			dst = append(dst, '&')
			s = s[i+1:]
			continue
		}
		s = s[i+1:]
		end := bytes.IndexByte(s[:min(len(s), 16)], ';')
		if end < 0 {
			return nil, x.tree.bad("the XML is damaged: %q begins no entity", "&"+string(s[:min(len(s), 16)]))
		}
		var ok bool
		if dst, ok = appendEntity(dst, s[:end]); !ok {
			return nil, x.tree.bad("the XML names an entity that XML does not define: %s", quote(string(s[:end])))
		}
		s = s[end+1:]
	}
	return dst, nil
}

// entities are those that XML itself defines (XML 1.0 §4.6).
var entities = map[string]byte{"lt": '<', "gt": '>', "amp": '&', "quot": '"', "apos": '\''}

func appendEntity(dst, name []byte) ([]byte, bool) {
	if c, ok := entities[string(name)]; ok {
		return append(dst, c), true
	}
	if len(name) < 2 || name[0] != '#' {
		return dst, false
	}
	digits, base := string(name[1:]), 10
	if digits[0] == 'x' {
		digits, base = digits[1:], 16
	}
	n, err := strconv.ParseUint(digits, base, 32)
	if err != nil || n == 0 || n > utf8.MaxRune || n >= 0xD800 && n < 0xE000 || digits[0] == '+' {
		return dst, false
	}
	return utf8.AppendRune(dst, rune(n)), true
}
