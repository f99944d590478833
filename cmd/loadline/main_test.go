//go:build linux

package main

import (
	"bytes"
	"strings"
	"testing"
)

func TestParse(t *testing.T) {
	for _, c := range []struct {
		args string
		want asked
		bad  bool
	}{
		{"", asked{}, false},
		{"/a", asked{source: "/a"}, false},
		{"/a /b", asked{source: "/a", share: "/b"}, false},
		{"-demo", asked{demo: true}, false},
		{"--demo", asked{demo: true}, false},
		{"/a /b /c", asked{}, true},
		{"-version", asked{version: true}, false},
		{"/a -version", asked{}, true},
		{"/a -demo", asked{}, true},
		{"-demo /a", asked{}, true},
		{"-what", asked{}, true},
	} {
		got, err := parse(strings.Fields(c.args), new(bytes.Buffer))
		if (err != nil) != c.bad {
			t.Errorf("%q: %v", c.args, err)
		}
		if err == nil && got != c.want {
			t.Errorf("%q: %+v, want %+v", c.args, got, c.want)
		}
	}
}

// Where no window can open, one plain sentence says so and what to use, and the status is 2.
func TestNoDisplay(t *testing.T) {
	t.Setenv("DISPLAY", "")
	t.Setenv("WAYLAND_DISPLAY", "")
	var out bytes.Buffer
	if status := run(nil, &out); status != 2 {
		t.Errorf("status %d", status)
	}
	if n := strings.Count(out.String(), "\n"); n != 1 {
		t.Errorf("said %q, want one line", out.String())
	}
}

// A display that does not answer is said too, before the toolkit could panic.
func TestDeadDisplay(t *testing.T) {
	t.Setenv("DISPLAY", ":4711")
	var out bytes.Buffer
	if status := run(nil, &out); status != 2 || !strings.Contains(out.String(), "does not respond") {
		t.Errorf("status %d, said %q", status, out.String())
	}
}
