package bot

import (
	"fmt"
	"io"
	"strings"
)

// signs are the letters of what people read off and type: no vowels, so that
// no word comes of them, and none that looks like a figure.
const signs = "23456789bcdfghjkmnpqrstvwxyz"

// draw gives n random signs.
func draw(random io.Reader, n int) (string, error) {
	out := make([]byte, 0, n)
	var buf [32]byte
	for len(out) < n {
		if _, err := io.ReadFull(random, buf[:]); err != nil {
			return "", fmt.Errorf("draw: %w", err)
		}
		for _, c := range buf {
			// Of 256 values the last four would favour the first signs.
			if int(c) < 256/len(signs)*len(signs) && len(out) < n {
				out = append(out, signs[int(c)%len(signs)])
			}
		}
	}
	return string(out), nil
}

// jobSigns is the length of a job's number: 28 to the 7th are 13 thousand
// million. It is random, so that one shop's can't be guessed from another's.
const jobSigns = 7

// guestCode draws a code of four groups, 75 bits. Each has a figure and a letter,
// as the reader of codes wants it: words are none.
func guestCode(random io.Reader) (string, error) {
	var groups []string
	for len(groups) < 4 {
		g, err := draw(random, 4)
		if err != nil {
			return "", err
		}
		if strings.ContainsAny(g, figures) && strings.Trim(g, figures) != "" {
			groups = append(groups, strings.ToUpper(g))
		}
	}
	return strings.Join(groups, "-"), nil
}

const figures = "23456789"
