package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"

	"milepost/calib"
)

// maxCase bounds one case, and with --lines one line, in bytes. A longer line gives an error object and the run goes
// on behind it.
const maxCase = 4 << 20

// runTarget answers `milepost target`: cases on stdin, first targets on stdout; with lines one case a line.
func runTarget(stdin io.Reader, stdout io.Writer, lines bool) error {
	return runDesk(stdin, stdout, lines, calib.Target)
}

// runReview answers `milepost review`: cases on stdin, decisions on stdout; with lines one case a line.
func runReview(stdin io.Reader, stdout io.Writer, lines bool) error {
	return runDesk(stdin, stdout, lines, calib.Review)
}

// errUnusable is the outcome of a single case that can't be used; what is wrong stands on stdout.
var errUnusable = errors.New("the case can't be used")

func runDesk(stdin io.Reader, stdout io.Writer, lines bool, work func(calib.Case) (calib.Answer, error)) error {
	in := bufio.NewReaderSize(stdin, 64<<10)
	out := bufio.NewWriterSize(stdout, 64<<10)
	d := desk{work: work, out: out, enc: json.NewEncoder(out)}
	d.enc.SetEscapeHTML(false)
	var err error
	if lines {
		err = d.stream(in)
	} else {
		err = d.single(in)
	}
	if flushed := out.Flush(); flushed != nil && (err == nil || errors.Is(err, errUnusable)) {
		err = fmt.Errorf("write answer: %w", flushed)
	}
	return err
}

type desk struct {
	work func(calib.Case) (calib.Answer, error)
	out  *bufio.Writer
	enc  *json.Encoder
	line []byte
}

// single reads one case, which may go over several lines.
func (d *desk) single(in *bufio.Reader) error {
	data, err := io.ReadAll(io.LimitReader(in, maxCase+1))
	if err != nil {
		return fmt.Errorf("read case: %w", err)
	}
	if len(data) > maxCase {
		return errors.Join(d.refuse(nil, tooLong()), errUnusable)
	}
	ok, err := d.answer(data)
	if err == nil && !ok {
		err = errUnusable
	}
	return err
}

// stream reads a case a line. Answers are passed on whenever no further line is waiting, so that a program can
// talk to this one line by line.
func (d *desk) stream(in *bufio.Reader) error {
	for {
		line, long, err := d.next(in)
		if err != nil && err != io.EOF {
			return fmt.Errorf("read line: %w", err)
		}
		end := err == io.EOF
		switch {
		case long:
			err = d.refuse(nil, tooLong())
		case len(bytes.TrimSpace(line)) > 0:
			_, err = d.answer(line)
		default:
			err = nil
		}
		if err == nil && in.Buffered() == 0 {
			err = d.out.Flush()
		}
		if err != nil {
			return fmt.Errorf("write answer: %w", err)
		}
		if end {
			return nil
		}
	}
}

// next reads up to a line feed; of a line over the bound the rest is passed over.
func (d *desk) next(in *bufio.Reader) (line []byte, long bool, err error) {
	d.line = d.line[:0]
	for {
		part, err := in.ReadSlice('\n')
		if len(d.line)+len(part) > maxCase {
			long = true
		}
		if !long {
			d.line = append(d.line, part...)
		}
		if err != bufio.ErrBufferFull {
			return d.line, long, err
		}
	}
}

// answer works one case out; ok is false where it can't be used. The error is one of writing.
func (d *desk) answer(data []byte) (ok bool, err error) {
	c, err := calib.ParseCase(data)
	if err != nil {
		return false, d.refuse(c.ID, err)
	}
	a, err := d.work(c)
	if err != nil {
		return false, d.refuse(c.ID, err)
	}
	return true, d.enc.Encode(a.Rounded())
}

// refuse writes the error object of a case.
func (d *desk) refuse(id json.RawMessage, err error) error {
	var field *calib.FieldError
	if !errors.As(err, &field) {
		field = &calib.FieldError{Text: err.Error()}
	}
	return d.enc.Encode(struct {
		ID    json.RawMessage   `json:"id"`
		Error *calib.FieldError `json:"error"`
	}{id, field})
}

func tooLong() error {
	return &calib.FieldError{Text: fmt.Sprintf("longer than %d bytes", maxCase)}
}
