package e2e

import (
	"errors"
	"fmt"
	"os"
	"runtime"
	"strings"
)

// T is what the harness needs of a test; testing.TB has it, and Run gives it to what is no test.
type T interface {
	Helper()
	Name() string
	Logf(format string, args ...any)
	Errorf(format string, args ...any)
	Fatal(args ...any)
	Fatalf(format string, args ...any)
	Failed() bool
	Cleanup(f func())
	TempDir() string
}

// Run drives windows outside a test. It returns what was reported as wrong, and has cleaned up then.
func Run(name string, do func(T)) error {
	t := &session{name: name}
	done := make(chan struct{})
	go func() {
		defer close(done)
		defer t.clean()
		do(t)
	}()
	<-done
	return errors.Join(t.errs...)
}

type session struct {
	name     string
	errs     []error
	cleanups []func()
}

func (t *session) Helper()                         {}
func (t *session) Name() string                    { return t.name }
func (t *session) Logf(format string, args ...any) {}
func (t *session) Errorf(format string, args ...any) {
	t.errs = append(t.errs, fmt.Errorf(format, args...))
}
func (t *session) Failed() bool     { return len(t.errs) > 0 }
func (t *session) Cleanup(f func()) { t.cleanups = append(t.cleanups, f) }

func (t *session) Fatal(args ...any) {
	t.errs = append(t.errs, errors.New(strings.TrimSpace(fmt.Sprintln(args...))))
	runtime.Goexit()
}

func (t *session) Fatalf(format string, args ...any) {
	t.Errorf(format, args...)
	runtime.Goexit()
}

func (t *session) TempDir() string {
	dir, err := os.MkdirTemp("", "loadline-"+t.name+"-")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := os.RemoveAll(dir); err != nil {
			t.errs = append(t.errs, err)
		}
	})
	return dir
}

// clean runs what was left to do, the last first.
func (t *session) clean() {
	for len(t.cleanups) > 0 {
		last := t.cleanups[len(t.cleanups)-1]
		t.cleanups = t.cleanups[:len(t.cleanups)-1]
		last()
	}
}
