package listing

import (
	"bytes"
	"net/url"
)

// Reading is how the keys of a whole listing are read.
type Reading uint8

// The readings, in the order in which they count where they tie.
const (
	Raw     Reading = iota // as they stand
	Percent                // percent-decoded (RFC 3986 §2.1)
	Plus                   // the same, and "+" is a space (application/x-www-form-urlencoded, WHATWG URL)
)

// Readings are all of them.
var Readings = [...]Reading{Raw, Percent, Plus}

// String says it for people.
func (r Reading) String() string {
	return [...]string{"as they stand", "percent-decoded", "percent-decoded, with + as a space"}[r]
}

// Decode returns the key that a text stands for: the text itself where nothing in it is coded, or where a
// percent sign begins no code.
func (r Reading) Decode(key []byte) []byte {
	if r == Raw || bytes.IndexByte(key, '%') < 0 && (r == Percent || bytes.IndexByte(key, '+') < 0) {
		return key
	}
	decode := url.PathUnescape
	if r == Plus {
		decode = url.QueryUnescape
	}
	decoded, err := decode(string(key))
	if err != nil {
		return key
	}
	return []byte(decoded)
}

// A Chooser finds how the keys of a whole listing are read: as most of them are known. Look at every key, then
// ask for Best.
type Chooser struct {
	Known func(r Reading, key []byte) bool // whether a key is known when it is read so
	found [len(Readings)]int64
}

// Look counts a key.
func (c *Chooser) Look(key []byte) {
	for _, r := range Readings {
		if c.Known(r, r.Decode(key)) {
			c.found[r]++
		}
	}
}

// Best returns the reading under which most keys are known; of equals the first.
func (c *Chooser) Best() Reading {
	best := Raw
	for _, r := range Readings {
		if c.found[r] > c.found[best] {
			best = r
		}
	}
	return best
}
