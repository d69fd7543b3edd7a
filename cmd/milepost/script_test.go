package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"
)

// TestMain lets the test binary be the program, so that scripts and kills run a
// process of its own.
func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"milepost": main, "milepost-line": mainWith(wireLine), "milepost-unpaced": mainWith(wireUnpaced)})
}

// mainWith is the program with a chat network of the tests' own.
func mainWith(net wire) func() {
	return func() {
		os.Exit(execute(os.Args[1:], &streams{in: os.Stdin, out: os.Stdout, err: os.Stderr, nets: []wire{net}}))
	}
}

// TestScripts runs the program as scripts do: one file of testdata a behaviour.
// Beside testscript's own commands they have
//
//	fails CODE PROG…  run a program, which must end with that exit code
//	begin DIR         start `chat --json` in DIR and leave it running
//	tell LINE         write a line to it; what it answers is the new stdout
//	end               close its input; it must end with 0
//	keep NAME REGEXP  set $NAME to what the group matches in the last stdout
//	flip FILE WORD    change one byte behind the first WORD in a file
//	cut FILE LINES    leave out the last lines of a file
//	sparse FILE SIZE  make a file of that size with nothing in it
//	fifo FILE         make a pipe
//	nowhere DIR WORD  no byte of any file under DIR is part of WORD, in UTF-8 or 16
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir: "testdata",
		Setup: func(e *testscript.Env) error {
			e.Values[slotKey{}] = &slot{}
			e.Setenv("HOME", e.WorkDir)
			e.Setenv("XDG_DATA_HOME", filepath.Join(e.WorkDir, "xdg"))
			return nil
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"fails": cmdFails, "begin": cmdBegin, "tell": cmdTell, "end": cmdEnd, "keep": cmdKeep, "flip": cmdFlip, "cut": cmdCut,
			"sparse": cmdSparse, "fifo": cmdFifo, "nowhere": cmdNowhere,
		},
	})
}

// running is a chat that a script has left running.
type running struct {
	cmd *exec.Cmd
	in  io.WriteCloser
	out *bufio.Scanner
	err strings.Builder
}

// startChat runs `milepost chat --json` in a directory.
func startChat(dir, work string) (*running, error) {
	path, err := exec.LookPath("milepost")
	if err != nil {
		return nil, err
	}
	r := &running{cmd: exec.Command(path, "chat", "--json", "--data", dir)}
	r.cmd.Dir, r.cmd.Stderr = work, &r.err
	if r.in, err = r.cmd.StdinPipe(); err != nil {
		return nil, err
	}
	out, err := r.cmd.StdoutPipe()
	if err != nil {
		return nil, err
	}
	r.out = bufio.NewScanner(out)
	r.out.Buffer(nil, 8<<20)
	return r, r.cmd.Start()
}

// tell writes a line and gives the answers to it, without the idle line.
func (r *running) tell(line string) (answers []string, err error) {
	if _, err := io.WriteString(r.in, line+"\n"); err != nil {
		return nil, err
	}
	return r.answers()
}

// answers reads up to the next idle line.
func (r *running) answers() (answers []string, err error) {
	for r.out.Scan() {
		if strings.HasPrefix(r.out.Text(), `{"idle":true,`) {
			return answers, nil
		}
		answers = append(answers, r.out.Text())
	}
	return answers, fmt.Errorf("the output ended: %w, %s", r.out.Err(), r.err.String())
}

// end closes the input and waits.
func (r *running) end() error {
	r.in.Close()
	for r.out.Scan() { // what still comes
	}
	if err := r.cmd.Wait(); err != nil {
		return fmt.Errorf("%w: %s", err, r.err.String())
	}
	return nil
}

// slot holds the chat that a script has running; scripts run side by side.
type slot struct{ *running }

type slotKey struct{}

func chatOf(ts *testscript.TestScript) *slot { return ts.Value(slotKey{}).(*slot) }

func cmdBegin(ts *testscript.TestScript, neg bool, args []string) {
	dir := ts.MkAbs(args[0])
	r, err := startChat(dir, ts.MkAbs("."))
	ts.Check(err)
	ts.Defer(func() {
		if chatOf(ts).running == r {
			_ = r.cmd.Process.Kill()
			_ = r.cmd.Wait()
		}
	})
	chatOf(ts).running = r
	for end := time.Now().Add(time.Minute); ; time.Sleep(5 * time.Millisecond) {
		if _, err := os.Stat(filepath.Join(dir, socketName)); err == nil {
			return
		}
		if time.Now().After(end) {
			ts.Fatalf("chat has not started: %s", r.err.String())
		}
	}
}

func cmdFails(ts *testscript.TestScript, neg bool, args []string) {
	err := ts.Exec(args[1], args[2:]...)
	var exit *exec.ExitError
	if !errors.As(err, &exit) || strconv.Itoa(exit.ExitCode()) != args[0] {
		ts.Fatalf("ended with %v, want exit code %s", err, args[0])
	}
}

func cmdTell(ts *testscript.TestScript, neg bool, args []string) {
	answers, err := chatOf(ts).tell(strings.Join(args, " "))
	ts.Check(err)
	_, err = io.WriteString(ts.Stdout(), strings.Join(answers, "\n")+"\n")
	ts.Check(err)
}

func cmdEnd(ts *testscript.TestScript, neg bool, args []string) {
	r := chatOf(ts).running
	chatOf(ts).running = nil
	ts.Check(r.end())
}

func cmdKeep(ts *testscript.TestScript, neg bool, args []string) {
	m := regexp.MustCompile(args[1]).FindStringSubmatch(ts.ReadFile("stdout"))
	if len(m) != 2 {
		ts.Fatalf("no match for %s", args[1])
	}
	ts.Setenv(args[0], m[1])
}

func cmdFlip(ts *testscript.TestScript, neg bool, args []string) {
	path := ts.MkAbs(args[0])
	b, err := os.ReadFile(path)
	ts.Check(err)
	i := strings.Index(string(b), args[1])
	if i < 0 {
		ts.Fatalf("%s: no %q", args[0], args[1])
	}
	b[i+len(args[1])] ^= 1
	ts.Check(os.WriteFile(path, b, 0o600))
}

func cmdCut(ts *testscript.TestScript, neg bool, args []string) {
	path := ts.MkAbs(args[0])
	b, err := os.ReadFile(path)
	ts.Check(err)
	n, err := strconv.Atoi(args[1])
	ts.Check(err)
	lines := strings.SplitAfter(strings.TrimSuffix(string(b), "\n"), "\n")
	ts.Check(os.WriteFile(path, []byte(strings.Join(lines[:len(lines)-n], "")), 0o600))
}

func cmdSparse(ts *testscript.TestScript, neg bool, args []string) {
	f, err := os.Create(ts.MkAbs(args[0]))
	ts.Check(err)
	n, err := strconv.ParseInt(args[1], 10, 64)
	ts.Check(err)
	ts.Check(f.Truncate(n))
	ts.Check(f.Close())
}

func cmdFifo(ts *testscript.TestScript, neg bool, args []string) {
	ts.Check(makeFifo(ts.MkAbs(args[0])))
}

func cmdNowhere(ts *testscript.TestScript, neg bool, args []string) {
	word := args[1]
	wide := ""
	for _, c := range word {
		wide += string(c) + "\x00"
	}
	files := 0
	ts.Check(filepath.WalkDir(ts.MkAbs(args[0]), func(path string, d fs.DirEntry, err error) error {
		if err != nil || !d.Type().IsRegular() {
			return err
		}
		b, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		files++
		found := strings.Contains(string(b), word) || strings.Contains(string(b), wide)
		if found && !neg {
			ts.Fatalf("%q is still in %s", word, path)
		}
		if found && neg {
			neg = false
		}
		return nil
	}))
	if files == 0 {
		ts.Fatalf("%s: there are no files", args[0])
	}
	if neg {
		ts.Fatalf("%q is in no file", word)
	}
}
