package terminal

import (
	"bufio"
	"bytes"
	"io"
)

// MaxLine bounds a line of input, in bytes.
const MaxLine = 1 << 20

// Plain gives lines from a pipe or a file. Of a line over MaxLine no more than
// that is held in memory; the rest is passed over.
type Plain struct {
	r     *bufio.Reader
	line  []byte
	begun bool
}

// NewPlain reads lines from r.
func NewPlain(r io.Reader) *Plain { return &Plain{r: bufio.NewReaderSize(r, 64<<10)} }

// Next gives the next line without its end. The last line needs none.
func (p *Plain) Next() (line string, long bool, err error) {
	p.line = p.line[:0]
	for {
		part, err := p.r.ReadSlice('\n')
		switch {
		case len(p.line)+len(part) > MaxLine+2: // the line's end is not counted
			long = true
		case !long:
			p.line = append(p.line, part...)
		}
		if err == bufio.ErrBufferFull {
			continue
		}
		b := bytes.TrimSuffix(bytes.TrimSuffix(p.line, []byte("\n")), []byte("\r"))
		if !p.begun {
			b = bytes.TrimPrefix(b, []byte("\ufeff"))
			p.begun = true
		}
		if long {
			return "", true, err
		}
		return string(b), len(b) > MaxLine, err
	}
}
