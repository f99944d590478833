// Package locale spares the person a message. With LANG=C.UTF-8, usual in containers, the toolkit
// complains on standard error that "C" is no language, before main begins. LANGUAGE, which gettext
// reads before LANG for the language only, tells it one.
//
// The toolkit says so while its packages are initialised, so this has to happen before. Go
// initialises packages in the order of their paths as soon as what they import is ready; this one
// needs only os and strings, and the toolkit's package waits for text/template, which comes later
// in that order (Go specification, "Program initialization").
package locale

import (
	"os"
	"strings"
)

func init() {
	if need(os.Getenv) {
		// Setenv fails only on malformed names.
		_ = os.Setenv("LANGUAGE", "en")
	}
}

// need reports whether the language of messages is that of the C locale in another encoding.
func need(env func(string) string) bool {
	if env("LANGUAGE") != "" {
		return false
	}
	for _, v := range []string{"LC_ALL", "LC_MESSAGES", "LANG"} {
		if s := env(v); s != "" {
			return strings.HasPrefix(s, "C.") || strings.HasPrefix(s, "POSIX.")
		}
	}
	return false
}
