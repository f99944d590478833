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

// transport looks at how the file ends. Its last packets are searched for anew, because a recording that
// was joined from several may have lost the step of its beginning.
func (s *scan) transport() Verdict {
	const window = 4 << 10
	at := max(0, s.size-window)
	b := s.peek(at, window)
	if len(b) < 204 {
		return Verdict{}
	}
	for _, g := range grids {
		for tail := range g.step { // bytes after the last whole packet
			last := len(b) - tail - g.step + g.offset
			if last < 0 || b[last] != syncByte || !backwards(b, last, g.step) {
				continue
			}
			// The next packet would have begun here. Anything else is padding or was appended.
			if rest := b[len(b)-tail:]; len(rest) > g.offset && rest[g.offset] == syncByte {
				v := cutInside("a packet")
				v.Missing = int64(g.step - tail)
				return v
			}
			return Verdict{}
		}
	}
	return Verdict{} // no packets at the end: padding, or data that was appended
}

// backwards says whether packets stand at last and before it.
func backwards(b []byte, last, step int) bool {
	n := 0
	for at := last; at >= 0 && n < minPacket; at -= step {
		if b[at] != syncByte || b[at+3]&0x30 == 0 {
			return false
		}
		n++
	}
	return n >= minPacket
}
