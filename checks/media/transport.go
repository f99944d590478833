package media

// Sources: ISO/IEC 13818-1 §2.4.3 (188 bytes a packet, each beginning with 0x47); 192: a time stamp of 4
// bytes before each, as camcorders and discs have it; 204: 16 bytes of Reed-Solomon parity after each
// (ETSI EN 300 421).

const (
	syncByte  = 0x47
	minPacket = 5 // in a row, to believe in a transport stream
)

// A grid is where packets begin in a window: every step bytes from phase on, with the sync byte at
// offset in them.
type grid struct{ step, phase, offset int }

var grids = []grid{{188, 0, 0}, {192, 0, 4}, {204, 0, 0}}

// findGrid returns the grid on which all packets of the window lie.
func findGrid(b []byte) (grid, bool) {
	if len(b) < minPacket*188 {
		return grid{}, false
	}
	for _, g := range grids {
		for first := range g.step {
			if b[first] == syncByte && onGrid(b, first, g.step) {
				g.phase = (first - g.offset + g.step) % g.step
				return g, true
			}
		}
	}
	return grid{}, false
}

// onGrid says whether there is a packet at first and every step bytes after it. The two bits that say
// what a packet carries (adaptation_field_control) are never both zero.
func onGrid(b []byte, first, step int) bool {
	n := 0
	for at := first; at < len(b); at += step {
		if b[at] != syncByte || at+3 < len(b) && b[at+3]&0x30 == 0 {
			return false
		}
		n++
	}
	return n >= minPacket
}

// transport looks at how the file ends. Its last packets are on the grid of the first, or on another
// one if the recording was joined from several; then they are searched for.
func (s *scan) transport() Verdict {
	g, _ := findGrid(s.peek(0, firstRead))
	b := s.peek(max(0, s.size-firstRead), firstRead)
	if s.err != nil {
		return Verdict{}
	}
	rest := int((s.size - int64(g.phase)) % int64(g.step))
	if !g.endsAt(b, len(b)-rest, 1) {
		for rest = 0; !g.endsAt(b, len(b)-rest, minPacket); rest++ {
			if rest == g.step {
				return Verdict{} // no packets at the end: padding, or data that was appended
			}
		}
	}
	// The next packet would have begun here. Anything else is padding or was appended.
	if next := b[len(b)-rest:]; len(next) > g.offset && next[g.offset] == syncByte {
		v := cutInside("a packet")
		v.Missing = int64(g.step - rest)
		return v
	}
	return Verdict{}
}

// endsAt says whether the last bytes of b before end are packets, at least so many.
func (g grid) endsAt(b []byte, end, atLeast int) bool {
	n := 0
	for at := end - g.step + g.offset; at >= 0 && n < minPacket; at -= g.step {
		if b[at] != syncByte || b[at+3]&0x30 == 0 {
			return false
		}
		n++
	}
	return n >= atLeast
}
