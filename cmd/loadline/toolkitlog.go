package main

import (
	"bytes"
	"io"
)

// A toolkitLog is where the toolkit's messages go. It leaves out one that means nothing: the toolkit
// watches the file of its own settings, which this program does not use, and so reads it now and then
// between the emptying and the filling that its own saving is made of.
type toolkitLog struct {
	out  io.Writer
	held [][]byte // the first lines of a message that may be that one
}

var halfSaved = [][]byte{[]byte("Preferences load error:"), []byte("Cause: EOF"), []byte("At: ")}

// Write takes one line, as package log gives them.
func (l *toolkitLog) Write(line []byte) (int, error) {
	if bytes.Contains(line, halfSaved[len(l.held)]) {
		l.held = append(l.held, bytes.Clone(line))
		if len(l.held) == len(halfSaved) {
			l.held = nil
		}
		return len(line), nil
	}
	held := l.held
	l.held = nil
	for _, h := range held {
		if _, err := l.out.Write(h); err != nil {
			return 0, err
		}
	}
	return l.out.Write(line)
}
