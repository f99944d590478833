package locale

import "testing"

func TestNeed(t *testing.T) {
	for _, c := range []struct {
		language, all, messages, lang string
		want                          bool
	}{
		{lang: "C.UTF-8", want: true},
		{all: "C.UTF-8", lang: "de_DE.UTF-8", want: true},
		{lang: "POSIX.UTF-8", want: true},
		{lang: "C"},
		{lang: ""},
		{lang: "ja_JP.UTF-8"},
		{messages: "fr_FR.UTF-8", lang: "C.UTF-8"},
		{language: "de:en", lang: "C.UTF-8"},
	} {
		got := need(func(k string) string {
			return map[string]string{"LANGUAGE": c.language, "LC_ALL": c.all, "LC_MESSAGES": c.messages, "LANG": c.lang}[k]
		})
		if got != c.want {
			t.Errorf("%+v: %v", c, got)
		}
	}
}
