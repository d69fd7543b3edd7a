package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"strings"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"milepost/bot"
)

// streams are where a command reads and speaks. All that the commands print
// goes through here.
type streams struct {
	in       io.Reader
	out, err io.Writer

	nets []wire // the chat networks there are; nil: those of this program
}

// say prints what was asked for.
func (s *streams) say(format string, args ...any) error {
	_, err := io.WriteString(s.out, bot.Printable(strings.TrimSuffix(fmt.Sprintf(format, args...), "\n"))+"\n")
	if err != nil {
		return fmt.Errorf("write: %w", err)
	}
	return nil
}

// object prints a value as a line of JSON.
func (s *streams) object(v any) error {
	enc := json.NewEncoder(s.out)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(v); err != nil {
		return fmt.Errorf("write: %w", err)
	}
	return nil
}

// warn prints what somebody should know beside the answer.
func (s *streams) warn(format string, args ...any) {
	fmt.Fprintf(s.err, "milepost: %s\n", bot.Printable(fmt.Sprintf(format, args...)))
}

// exit prints why a call failed and gives its exit code.
func (s *streams) exit(cmd *cobra.Command, err error) int {
	var wrong wrongCall
	switch {
	case err == nil:
		return exitDone
	case errors.As(err, &wrong):
		s.warn("%v", err)
		fmt.Fprint(s.err, cmd.UsageString())
		return exitCall
	}
	s.warn("%s", reason(err))
	return exitFailed
}

// reason is what went wrong, for the person who called: the sentence where
// there is one, and the cause.
func reason(err error) string {
	var e *bot.Error
	if errors.As(err, &e) {
		switch {
		case e.Say != "" && e.Kind == bot.Invalid, e.Err == nil:
			return e.Sentence()
		case e.Kind == bot.Invalid:
			return e.Err.Error()
		}
	}
	return err.Error()
}

// log is the operator's log, on stderr.
func (s *streams) log(level slog.Level) *slog.Logger {
	return slog.New(slog.NewTextHandler(s.err, &slog.HandlerOptions{Level: level}))
}

// isTerminal says whether a stream is a terminal.
func isTerminal(stream any) bool {
	f, ok := stream.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}

// colour says whether a stream may be coloured.
func colour(stream any) bool {
	return isTerminal(stream) && os.Getenv("NO_COLOR") == "" && os.Getenv("TERM") != "dumb"
}

// width gives the columns of a terminal, 0 where there is none.
func width(stream any) func() int {
	f, ok := stream.(*os.File)
	return func() int {
		if !ok {
			return 0
		}
		w, _, err := term.GetSize(int(f.Fd()))
		if err != nil {
			return 0
		}
		return w
	}
}
