package media

import (
	"bytes"
	"encoding/binary"
	"strings"
	"testing"
)

// Builders of structures, as the standards named in the readers have them.

func cat(parts ...[]byte) []byte { return bytes.Join(parts, nil) }

func box(kind string, content ...[]byte) []byte {
	c := cat(content...)
	return cat(binary.BigEndian.AppendUint32(nil, uint32(8+len(c))), []byte(kind), c)
}

func bigBox(kind string, size uint64, content ...[]byte) []byte {
	return cat([]byte{0, 0, 0, 1}, []byte(kind), binary.BigEndian.AppendUint64(nil, size), cat(content...))
}

func sized(size uint32, kind string, content ...[]byte) []byte {
	return cat(binary.BigEndian.AppendUint32(nil, size), []byte(kind), cat(content...))
}

// sub is a RIFF chunk, padded to an even length.
func sub(id string, content ...[]byte) []byte {
	c := cat(content...)
	return pad(cat([]byte(id), binary.LittleEndian.AppendUint32(nil, uint32(len(c))), c))
}

// claim is a RIFF chunk that says to be of size bytes, whatever its content is.
func claim(id string, size uint32, content ...[]byte) []byte {
	return cat([]byte(id), binary.LittleEndian.AppendUint32(nil, size), cat(content...))
}

func formChunk(id string, content ...[]byte) []byte {
	c := cat(content...)
	return pad(cat([]byte(id), binary.BigEndian.AppendUint32(nil, uint32(len(c))), c))
}

func pad(b []byte) []byte {
	if len(b)%2 == 1 {
		b = append(b, 0)
	}
	return b
}

func text(s string) []byte { return []byte(s) }

// noise has no zeros and looks like no header.
func noise(n int) []byte { return bytes.Repeat([]byte{0x93, 0xE1, 0xB7, 0x85}, n/4+1)[:n] }

func zeros(n int) []byte { return make([]byte, n) }

func partition(kind, status byte, footer uint64) []byte {
	v := make([]byte, 88)
	binary.BigEndian.PutUint64(v[24:], footer)
	return key(append(bytes.Clone(partitionKey), kind, status, 0), v)
}

func key(k, value []byte) []byte {
	return cat(k, []byte{0x83, byte(len(value) >> 16), byte(len(value) >> 8), byte(len(value))}, value)
}

func essence(n int) []byte {
	return key([]byte{6, 0xE, 0x2B, 0x34, 1, 2, 1, 1, 0xD, 1, 3, 1, 0x15, 1, 5, 1}, noise(n))
}

// indexPackOf is a random index pack with one entry.
func indexPackOf(offset uint64) []byte {
	v := cat(zeros(4), binary.BigEndian.AppendUint64(nil, offset), zeros(4))
	k := key(append(bytes.Clone(partitionKey), indexPack, 1, 0), v)
	binary.BigEndian.PutUint32(k[len(k)-4:], uint32(len(k)))
	return k
}

// el is an EBML element with a size of 8 bytes.
func el(id uint32, content ...[]byte) []byte {
	c := cat(content...)
	return elSized(id, 1<<56|uint64(len(c)), c)
}

// live is an EBML element of unknown size.
func live(id uint32, content ...[]byte) []byte { return elSized(id, 1<<57-1, content...) }

func elSized(id uint32, size uint64, content ...[]byte) []byte {
	b := bytes.TrimLeft(binary.BigEndian.AppendUint32(nil, id), "\x00")
	return cat(b, binary.BigEndian.AppendUint64(nil, size), cat(content...))
}

func packets(n, before, after int) []byte {
	var b []byte
	for i := range n {
		b = append(b, cat(zeros(before), []byte{syncByte, 0x40, byte(i), 0x10}, noise(184), zeros(after))...)
	}
	return b
}

var (
	ftyp = box("ftyp", text("isom\x00\x00\x02\x00isomiso2"))
	moov = box("moov", box("mvhd", zeros(100)), box("trak", zeros(40)))
	mdat = box("mdat", noise(500))
	moof = box("moof", box("mfhd", zeros(8)))
	frag = cat(moof, mdat)
	mfra = box("mfra", box("tfra", zeros(16)), box("mfro", []byte{0, 0, 0, 0, 0, 0, 0, 48}))

	format = sub("fmt ", []byte{1, 0, 1, 0, 0x80, 0x3E, 0, 0, 0, 0x7D, 0, 0, 2, 0, 16, 0})
	wav    = sub("RIFF", text("WAVE"), format, sub("data", noise(200)))

	hdrl = sub("LIST", text("hdrl"), sub("avih", zeros(56)))
	movi = sub("LIST", text("movi"), sub("00dc", noise(300)))
	avi  = sub("RIFF", text("AVI "), hdrl, movi, sub("idx1", zeros(16)))
	more = sub("RIFF", text("AVIX"), movi)

	comm = formChunk("COMM", []byte{0, 1, 0, 0, 0, 100, 0, 16}, zeros(10))
	aiff = formChunk("FORM", text("AIFF"), comm, formChunk("SSND", zeros(8), noise(200)))

	ebml    = el(idEBML, el(idDocType, text("matroska")))
	tracks  = el(0x1654AE6B, zeros(30))
	cluster = el(idCluster, el(0xE7, []byte{0}), el(0xA3, noise(100)))
	mkv     = cat(ebml, el(idSegment, tracks, cluster, cluster))

	jfif  = []byte("\xFF\xD8\xFF\xE0\x00\x10JFIF\x00\x01\x01\x00\x00\x01\x00\x01\x00\x00")
	scan1 = []byte("\xFF\xDA\x00\x08\x01\x01\x00\x00\x3F\x00")
	jpeg  = cat(jfif, scan1, noise(100), []byte{0xFF, 0, 0xFF, 0xD0}, noise(100), endOfImage)

	ihdr = cat(sized(13, "IHDR", zeros(13)), zeros(4))
	idat = cat(sized(50, "IDAT", zeros(50)), zeros(4))
	png  = cat(text(pngSignature), ihdr, idat, pngEnd)
)

func closedMXF(status byte, pointer bool, after ...[]byte) []byte {
	body := essence(2000)
	var at uint64
	if pointer {
		at = uint64(len(partition(2, status, 0)) + len(body))
	}
	return cat(partition(2, status, at), body, partition(footerPack, complete, at), cat(after...))
}

// TestJudge: whole files of every kind with what may follow them, and files that are not whole.
func TestJudge(t *testing.T) {
	id3 := cat(text("TAG"), text("SONG OF THE TIDE"), noise(109))
	ape := cat(text("APETAGEX"), []byte{0xD0, 7, 0, 0, 40, 0, 0, 0, 1, 0, 0, 0}, noise(52))
	cut := func(b []byte, n int) []byte { return b[:len(b)-n] }
	for _, c := range []struct {
		name    string
		file    []byte
		kind    Kind
		problem Problem
		says    string // part of the detail
	}{
		{"mp4", cat(ftyp, mdat, moov), ISO, "", ""},
		{"mp4, index first", cat(ftyp, moov, box("free", zeros(40)), mdat), ISO, "", ""},
		{"mov without ftyp", cat(sized(8, "wide"), mdat, moov), ISO, "", ""},
		{"mov, media data first", cat(mdat[:8], zeros(len(mdat)-8), moov), ISO, "", ""},
		{"mov, 64-bit media data", cat(ftyp, bigBox("mdat", 516, noise(500)), moov), ISO, "", ""},
		{"mov that refers to others", cat(ftyp, moov), ISO, "", ""},
		{"media data to the end", cat(ftyp, moov, sized(0, "mdat", noise(999))), ISO, "", ""},
		{"heif", cat(box("ftyp", text("heic\x00\x00\x00\x00mif1heic")), box("meta", zeros(60)), mdat), ISO, "", ""},
		{"fragments", cat(ftyp, moov, frag, frag, frag), ISO, "", ""},
		{"fragments with mfra", cat(ftyp, moov, frag, frag, frag, mfra), ISO, "", ""},
		{"media segment", cat(box("styp", text("msdh\x00\x00\x00\x00")), box("sidx", zeros(32)), frag), ISO, "", ""},
		{"unknown boxes", cat(ftyp, box("MKRX", noise(70)), mdat, box("\xA9xyz", noise(9)), moov, box("uuid", noise(80))), ISO, "", ""},
		{"XMP in uuid", cat(ftyp, moov, mdat, box("uuid", text("\xBE\x7A\xCF\xCB\x97\xA9\x42\xE8\x9C\x71\x99\x94\x91\xE3\xAF\xAC<?xpacket"))), ISO, "", ""},
		{"zeros behind", cat(ftyp, mdat, moov, zeros(5000)), ISO, "", ""},
		{"three zeros behind", cat(ftyp, mdat, moov, zeros(3)), ISO, "", ""},
		{"noise behind", cat(ftyp, mdat, moov, noise(5000)), ISO, "", ""},
		{"ID3v1 behind", cat(ftyp, mdat, moov, id3), ISO, "", ""},
		{"APE tag behind", cat(ftyp, mdat, moov, ape), ISO, "", ""},
		{"free box that runs on", cat(ftyp, mdat, moov, sized(9000, "free", zeros(20))), ISO, "", ""},
		{"cut in the media data", cut(cat(ftyp, moov, mdat), 1), ISO, CutShort, "ends 1 B before its own structure says"},
		{"cut in the media data, no index yet", cut(cat(ftyp, mdat), 100), ISO, CutShort, "ends 100 B before its own structure says, and without the index"},
		{"cut in the index", cut(cat(ftyp, mdat, moov), 20), ISO, CutShort, "ends 20 B before its own structure says"},
		{"cut in a fragment", cut(cat(ftyp, moov, frag, frag), 9), ISO, CutShort, "ends 9 B before"},
		{"cut in mfra", cut(cat(ftyp, moov, frag, frag, mfra), 9), ISO, CutShort, "ends 9 B before"},
		{"cut in a header", cut(cat(ftyp, moov, mdat), len(mdat)-6), ISO, CutShort, "in the middle of the header of a box"},
		{"cut in a 64-bit header", cat(ftyp, bigBox("mdat", 516)[:12]), ISO, CutShort, "in the middle of the header of a box"},
		{"cut in ftyp", ftyp[:14], ISO, CutShort, "ends 10 B before"},
		{"cut heif", cut(cat(ftyp, box("meta", zeros(60)), mdat), 5), ISO, CutShort, "ends 5 B before"},
		{"no index", cat(ftyp, mdat), ISO, NoIndex, neverWritten},
		{"no index, media data to the end", cat(ftyp, sized(0, "mdat", noise(999))), ISO, NoIndex, neverWritten},
		{"no index, length never written", cat(ftyp, sized(8, "mdat"), noise(999)), ISO, NoIndex, neverWritten},
		{"no index, length is a mark", cat(ftyp, bigBox("mdat", 1<<64-1, noise(999))), ISO, NoIndex, neverWritten},
		{"no index, the place for it is blank", cat(ftyp, mdat, zeros(4000)), ISO, NoIndex, neverWritten},
		{"only ftyp", ftyp, ISO, NoIndex, neverWritten},

		{"wav", wav, Wave, "", ""},
		{"wav, list behind the sound", sub("RIFF", text("WAVE"), format, sub("data", noise(201)), sub("LIST", text("INFO"))), Wave, "", ""},
		{"wav, odd sound without pad", claim("RIFF", 4+24+8+201+12, text("WAVE"), format, claim("data", 201, noise(201)), sub("LIST", text("INFO"))), Wave, "", ""},
		{"wav, odd chunk without pad before the sound", claim("RIFF", 4+24+11+208, text("WAVE"), format, claim("note", 3, noise(3)), sub("data", noise(200))), Wave, "", ""},
		{"wav, odd chunk with a pad that is not zero", claim("RIFF", 4+24+12+208, text("WAVE"), format, claim("note", 3, text("seax")), sub("data", noise(200))), Wave, "", ""},
		{"wav, last pad byte missing", claim("RIFF", 4+24+8+201+1, text("WAVE"), format, claim("data", 201, noise(201))), Wave, "", ""},
		{"wav whose size counts its header", claim("RIFF", uint32(len(wav)), wav[8:]), Wave, "", ""},
		{"wav from a pipe, ones", claim("RIFF", 1<<32-1, text("WAVE"), format, claim("data", 1<<32-1, noise(300))), Wave, "", ""},
		{"wav from a pipe, zeros", claim("RIFF", 0, text("WAVE"), format, claim("data", 0, noise(300))), Wave, "", ""},
		{"wav from a pipe, whole blocks", claim("RIFF", 0x7FFFF024, text("WAVE"), format, claim("data", 0x7FFFF000, noise(300))), Wave, "", ""},
		{"big-endian wav", cat(sized(0, "RIFX")[:0], text("RIFX\x00\x00\x00\xE8WAVEfmt \x00\x00\x00\x10"), zeros(16), text("data\x00\x00\x00\xC4"), noise(196)), Wave, "", ""},
		{"RF64", cat(claim("RF64", 1<<32-1, text("WAVE"), sub("ds64", u64(4+36+24+8+200), u64(200), u64(100), zeros(4)), format, claim("data", 1<<32-1, noise(200)))), Wave, "", ""},
		{"BW64 with axml behind", cat(claim("BW64", 1<<32-1, text("WAVE"), sub("ds64", u64(4+36+24+8+200+18), u64(200), u64(100), zeros(4)), format, claim("data", 1<<32-1, noise(200)), sub("axml", noise(10)))), Wave, "", ""},
		{"ID3v1 behind wav", cat(wav, id3), Wave, "", ""},
		{"zeros behind wav", cat(wav, zeros(999)), Wave, "", ""},
		{"cut wav", cut(wav, 10), Wave, CutShort, "ends 10 B before"},
		{"cut RF64", cut(cat(claim("RF64", 1<<32-1, text("WAVE"), sub("ds64", u64(4+36+24+8+200), u64(200), u64(100), zeros(4)), format, claim("data", 1<<32-1, noise(200)))), 7), Wave, CutShort, "ends 7 B before"},
		{"wav cut in its list", cut(sub("RIFF", text("WAVE"), format, sub("data", noise(200)), sub("LIST", noise(30))), 5), Wave, CutShort, "ends 5 B before"},
		{"wav cut before its list", cut(sub("RIFF", text("WAVE"), format, sub("data", noise(200)), sub("LIST", noise(30))), 38), Wave, CutShort, "ends 38 B before"},
		{"wav cut in its format", wav[:30], Wave, CutShort, "before"},
		{"wav without sound", sub("RIFF", text("WAVE"), format, sub("LIST", text("INFO"))), Wave, NoIndex, "(data)"},
		{"wav without format", sub("RIFF", text("WAVE"), sub("data", noise(20))), Wave, NoIndex, "(fmt)"},

		{"avi", avi, AVI, "", ""},
		{"avi in three RIFFs", cat(avi, more, more), AVI, "", ""},
		{"avi, zeros behind", cat(avi, more, zeros(600)), AVI, "", ""},
		{"avi, noise behind", cat(avi, noise(600)), AVI, "", ""},
		{"avi whose size counts its header", claim("RIFF", uint32(len(avi)), avi[8:]), AVI, "", ""},
		{"avi with padding", sub("RIFF", text("AVI "), hdrl, sub("JUNK", zeros(2000)), movi), AVI, "", ""},
		{"cut avi", cut(avi, 100), AVI, CutShort, "ends 100 B before"},
		{"avi cut in its second RIFF", cut(cat(avi, more), 40), AVI, CutShort, "ends 40 B before"},
		{"avi cut in a header", cat(avi, more[:6]), AVI, CutShort, "header of a chunk"},
		{"avi never finished", claim("RIFF", 0, text("AVI "), hdrl, claim("LIST", 0, text("movi"), noise(900))), AVI, NoIndex, "not finished"},
		{"avi without pictures", sub("RIFF", text("AVI "), hdrl), AVI, NoIndex, "(movi)"},
		{"avi without header", sub("RIFF", text("AVI "), movi), AVI, NoIndex, "(hdrl)"},

		{"aiff", aiff, AIFF, "", ""},
		{"aifc with ID3", formChunk("FORM", text("AIFC"), formChunk("FVER", zeros(4)), comm, formChunk("SSND", noise(101)), formChunk("ID3 ", noise(33))), AIFF, "", ""},
		{"aiff, no pad at the end", cut(formChunk("FORM", text("AIFF"), comm, formChunk("SSND", noise(101))), 1), AIFF, "", ""},
		{"aiff from a pipe", cat(sized(0, "FORM")[4:8], zeros(4), text("AIFF"), comm, text("SSND"), zeros(4), noise(400)), AIFF, "", ""},
		{"aiff of no samples", formChunk("FORM", text("AIFF"), formChunk("COMM", zeros(18))), AIFF, "", ""},
		{"aiff, noise behind", cat(aiff, noise(300)), AIFF, "", ""},
		{"cut aiff", cut(aiff, 30), AIFF, CutShort, "ends 30 B before"},
		{"aiff without sound", formChunk("FORM", text("AIFF"), comm), AIFF, NoIndex, "(SSND)"},
		{"aiff without format", formChunk("FORM", text("AIFF"), formChunk("SSND", noise(100))), AIFF, NoIndex, "(COMM)"},

		{"mxf", closedMXF(complete, true), MXF, "", ""},
		{"mxf with random index", closedMXF(complete, true, indexPackOf(2128)), MXF, "", ""},
		{"mxf, open header, footer found with the random index", closedMXF(1, false, indexPackOf(2128)), MXF, "", ""},
		{"mxf, open header, footer found at the end", closedMXF(1, false), MXF, "", ""},
		{"mxf, closed without footer", cat(partition(2, complete, 0), essence(900)), MXF, "", ""},
		{"mxf after a run-in", cat(noise(700), closedMXF(complete, true)), MXF, "", ""},
		{"mxf, zeros behind", closedMXF(complete, true, zeros(800)), MXF, "", ""},
		{"cut mxf", cut(closedMXF(complete, true), 500), MXF, CutShort, "without its footer"},
		{"mxf cut in its footer", cut(closedMXF(complete, true), 50), MXF, CutShort, "ends 50 B before"},
		{"mxf cut in its random index", cut(closedMXF(complete, true, indexPackOf(2128)), 5), MXF, CutShort, "ends 5 B before"},
		{"mxf cut in its header", closedMXF(complete, true)[:60], MXF, CutShort, "before"},
		{"mxf, closed without footer, cut", cut(cat(partition(2, complete, 0), essence(900)), 8), MXF, CutShort, "ends 8 B before"},
		{"mxf never finished", cat(partition(2, 1, 0), essence(900), essence(900)), MXF, NoIndex, "not finished"},
		{"mxf never finished, closed and incomplete", cat(partition(2, 2, 0), essence(900)), MXF, NoIndex, "not finished"},
		{"mxf, the place of the footer is blank", cat(partition(2, complete, 1500), essence(900), zeros(1000)), MXF, NoIndex, "not finished"},

		{"mkv", mkv, Matroska, "", ""},
		{"webm, live", cat(el(idEBML, el(idDocType, text("webm"))), live(idSegment, tracks, live(idCluster, el(0xE7, []byte{0}), el(0xA3, noise(50))), cluster)), Matroska, "", ""},
		{"mkv, live, zeros behind", cat(ebml, live(idSegment, tracks, cluster, zeros(400))), Matroska, "", ""},
		{"mkv, live, noise behind", cat(ebml, live(idSegment, tracks, cluster, noise(400))), Matroska, "", ""},
		{"mkv, noise behind", cat(mkv, noise(400)), Matroska, "", ""},
		{"mkv, unknown element", cat(ebml, live(idSegment, tracks, el(0x4DBB, noise(9)), cluster)), Matroska, "", ""},
		{"cut mkv", cut(mkv, 33), Matroska, CutShort, "ends 33 B before"},
		{"mkv, live, cut in a block", cut(cat(ebml, live(idSegment, tracks, live(idCluster, el(0xA3, noise(50))))), 11), Matroska, CutShort, "ends 11 B before"},
		{"mkv, live, cut in a header", cut(cat(ebml, live(idSegment, tracks, cluster, cluster)), len(cluster)-3), Matroska, CutShort, "header of an element"},
		{"mkv cut in its first header", ebml[:12], Matroska, CutShort, "before"},
		{"mkv without clusters", cat(ebml, el(idSegment, tracks)), Matroska, NoIndex, "not finished"},
		{"mkv, live, without clusters", cat(ebml, live(idSegment, tracks)), Matroska, NoIndex, "not finished"},

		{"ts", packets(40, 0, 0), Transport, "", ""},
		{"ts of 192", packets(40, 4, 0), Transport, "", ""},
		{"ts of 204", packets(40, 0, 16), Transport, "", ""},
		{"ts that begins in a packet", packets(40, 0, 0)[50:], Transport, "", ""},
		{"ts joined from two", cat(packets(40, 0, 0)[:7000], packets(40, 0, 0)), Transport, "", ""},
		{"ts, zeros behind", cat(packets(40, 0, 0), zeros(100)), Transport, "", ""},
		{"ts, many zeros behind", cat(packets(40, 0, 0), zeros(9000)), Transport, "", ""},
		{"cut ts", cut(packets(40, 0, 0), 100), Transport, CutShort, "in the middle of a packet"},
		{"cut ts of 192", cut(packets(40, 4, 0), 100), Transport, CutShort, "in the middle of a packet"},
		{"cut ts of 204", cut(packets(40, 0, 16), 100), Transport, CutShort, "in the middle of a packet"},
		{"cut ts, joined from two", cut(cat(packets(40, 0, 0)[:7000], packets(40, 0, 0)), 1), Transport, CutShort, "in the middle of a packet"},
		{"short cut ts", cut(packets(6, 0, 0), 10), Transport, CutShort, "in the middle of a packet"},

		{"jpeg", jpeg, JPEG, "", ""},
		{"jpeg with a thumbnail", cat(jfif, cat([]byte{0xFF, 0xE1, 1, 0}, noise(200), endOfImage, noise(52)), jpeg[len(jfif):]), JPEG, "", ""},
		{"jpeg, zeros behind", cat(jpeg, zeros(9000)), JPEG, "", ""},
		{"jpeg with a film behind", cat(jpeg, ftyp, moov, box("mdat", noise(9000))), JPEG, "", ""},
		{"two pictures", cat(jpeg, jpeg), JPEG, "", ""},
		{"jpeg, fill before a marker", cat(jfif, []byte{0xFF, 0xFF}, scan1[1:], noise(80), endOfImage), JPEG, "", ""},
		{"cut jpeg", cut(jpeg, 2), JPEG, CutShort, "end marker"},
		{"jpeg cut behind its thumbnail", cat(jfif, []byte{0xFF, 0xE1, 1, 0}, noise(200), endOfImage), JPEG, CutShort, "ends 52 B before"},
		{"jpeg cut in its scan, thumbnail whole", cut(cat(jfif, cat([]byte{0xFF, 0xE1, 1, 0}, noise(200), endOfImage, noise(52)), jpeg[len(jfif):]), 40), JPEG, CutShort, "end marker"},

		{"png", png, PNG, "", ""},
		{"png, noise behind", cat(png, noise(9000)), PNG, "", ""},
		{"png, zeros behind", cat(png, zeros(9000)), PNG, "", ""},
		{"cut png", cut(png, 30), PNG, CutShort, "ends 18 B before"},
		{"png cut between chunks", cut(png, 12), PNG, CutShort, "IEND"},

		{"text", text(strings.Repeat("Its free and wide, and you may skip it.\n", 50)), Other, "", ""},
		{"text that begins like a box", text("The free and the wide"), Other, "", ""},
		{"another RIFF", sub("RIFF", text("ACON"), noise(40)), Other, "", ""},
		{"another EBML", cat(el(idEBML, el(idDocType, text("tides"))), zeros(300)), Other, "", ""},
		{"nothing but G", bytes.Repeat([]byte{syncByte}, 9000), Other, "", ""},
		{"zeros", zeros(9000), Other, "", ""},
		{"noise", noise(9000), Other, "", ""},
		{"too small", ftyp[:11], Other, "", ""},
		{"empty", nil, Other, "", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := &counter{b: c.file}
			v, err := Judge(r, int64(len(c.file)), "clip.mxf")
			if err != nil || v.Kind != c.kind || v.Problem != c.problem || !strings.Contains(v.Detail, c.says) || v.Partly {
				t.Errorf("%+v, %v; want %v %q %q", v, err, c.kind, c.problem, c.says)
			}
			if (v.Problem == "") != (v.Detail == "") || v.Problem == "" && v.Missing != 0 || v.Missing < 0 {
				t.Errorf("%+v does not agree with itself", v)
			}
			if r.reads > 8 {
				t.Errorf("%d reads", r.reads)
			}
			if len(c.file) < Smallest && r.reads > 0 {
				t.Error("a file that cannot be a clip was read")
			}
		})
	}
}

func u64(n uint64) []byte { return binary.LittleEndian.AppendUint64(nil, n) }
