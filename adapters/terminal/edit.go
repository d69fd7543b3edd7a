package terminal

import (
	"errors"
	"fmt"
	"io"
	"strings"
	"sync/atomic"

	"github.com/peterh/liner"
)

// Editor gives lines from a terminal, with editing and a history that is kept
// in memory only: what people type is theirs.
type Editor struct {
	l    *liner.State
	open atomic.Bool // a line is being typed
}

// NewEditor takes the terminal over; Close gives it back.
func NewEditor() *Editor {
	e := &Editor{l: liner.NewLiner()}
	e.l.SetMultiLineMode(true)
	e.l.SetCtrlCAborts(true)
	e.l.SetBeep(false)
	return e
}

// Next waits for a line. Ctrl-C and Ctrl-D in an empty line end the lines.
func (e *Editor) Next() (string, bool, error) {
	e.open.Store(true)
	line, err := e.l.Prompt(promptMark)
	e.open.Store(false)
	switch {
	case errors.Is(err, liner.ErrPromptAborted):
		return "", false, io.EOF
	case errors.Is(err, io.EOF):
		fmt.Println() // what comes next begins a line
		return "", false, err
	case err != nil:
		return "", false, err
	case len(line) > MaxLine:
		return "", true, nil
	}
	if strings.TrimSpace(line) != "" {
		e.l.AppendHistory(line)
	}
	return line, false, nil
}

// Close sets the terminal back as it was. Next may still be waiting.
func (e *Editor) Close() error {
	err := e.l.Close()
	if e.open.Load() {
		fmt.Println()
	}
	return err
}
