package main

import (
	"fmt"
	"runtime"
	"testing"
	"time"
)

// doomed is a test that fails, as far as the kit needs one.
type doomed struct {
	testing.TB
	said     string
	cleanups []func()
}

func (d *doomed) Helper()             {}
func (d *doomed) Logf(string, ...any) {}
func (d *doomed) Failed() bool        { return d.said != "" }
func (d *doomed) Cleanup(f func())    { d.cleanups = append(d.cleanups, f) }
func (d *doomed) Fatalf(format string, args ...any) {
	d.said += fmt.Sprintf(format, args...)
	runtime.Goexit()
}

// A program that ends by itself fails its test, which then comes to its end too.
func TestProcessEndsEarly(t *testing.T) {
	for name, c := range map[string]struct {
		wait func(*process)
		says string
	}{
		"before it is ready":  {func(p *process) { p.ready() }, "it ended before it was ready: exit status 1"},
		"before it is killed": {(*process).killed, "it ended by itself: exit status 1"},
	} {
		t.Run(name, func(t *testing.T) {
			d := &doomed{TB: t}
			done := make(chan struct{})
			go func() {
				defer close(done)
				defer func() {
					for _, f := range d.cleanups {
						f()
					}
				}()
				p := newProcess(d, "matrix")
				p.write("serve.toml", "[nothing]\n")
				c.wait(p.start())
			}()
			select {
			case <-done:
			case <-time.After(3 * time.Minute):
				t.Fatal("the test hangs")
			}
			if d.said != c.says {
				t.Errorf("it says %q", d.said)
			}
		})
	}
}
