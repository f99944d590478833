package main

import (
	"bytes"
	"log"
	"testing"
)

func TestToolkitLog(t *testing.T) {
	half := []string{"Fyne error:  Preferences load error:", "  Cause: EOF", "  At: app/preferences.go:103"}
	for _, c := range []struct {
		name      string
		say, want []string
	}{
		{"the one", half, nil},
		{"twice", append(half[:3:3], half...), nil},
		{"another", []string{"Fyne error:  no font", "  Cause: EOF", "  At: x"}, []string{"Fyne error:  no font", "  Cause: EOF", "  At: x"}},
		{"another cause", []string{half[0], "  Cause: permission denied", half[2]}, []string{half[0], "  Cause: permission denied", half[2]}},
		{"and then", append(half[:3:3], "more"), []string{"more"}},
	} {
		var got, want bytes.Buffer
		to := log.New(&toolkitLog{out: &got}, "", 0)
		for _, s := range c.say {
			to.Println(s)
		}
		for _, s := range c.want {
			want.WriteString(s + "\n")
		}
		if got.String() != want.String() {
			t.Errorf("%s: %q, want %q", c.name, got.String(), want.String())
		}
	}
}
