package journal

import (
	"encoding/hex"
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"golang.org/x/mod/sumdb/tlog"
)

// A seenHead is a head somebody kept, which an export must agree with.
type seenHead struct {
	text   string // as given, for messages
	size   int64
	prefix string // hex digits of the root, all 64 or as many as were printed
	note   []byte // the signed note, nil for the short form
	origin Origin // of the note
	met    bool   // the export proved a root of this size
	fault  string // why it does not agree
}

// shortHead is the form that Head.Short prints; people copy it with other
// separators, so any of them will do, and an 80-bit hash is the shortest.
var shortHead = regexp.MustCompile(`^(?:head\s+)?([0-9]{1,13})[\s/:,]+([0-9A-Fa-f][0-9A-Fa-f \-]{19,100})$`)

// parseSeen reads a signed head or the short form.
func parseSeen(s string) (*seenHead, error) {
	s = strings.TrimSpace(strings.ReplaceAll(s, "\r\n", "\n"))
	if m := shortHead.FindStringSubmatch(s); m != nil {
		size, err := strconv.ParseInt(m[1], 10, 64)
		prefix := strings.ToLower(strings.NewReplacer(" ", "", "-", "").Replace(m[2]))
		if err != nil || len(prefix) < 20 || len(prefix) > 64 {
			return nil, fmt.Errorf("head %.80q: want the size and at least 20 hex digits", s)
		}
		return &seenHead{text: s, size: size, prefix: prefix}, nil
	}
	text, _, signed := strings.Cut(s, "\n\n")
	if !signed {
		return nil, fmt.Errorf("head %.80q: neither a signed head nor a size and a short hash", s)
	}
	h, err := ParseHead(text + "\n")
	if err != nil {
		return nil, fmt.Errorf("head %.80q: %w", s, err)
	}
	return &seenHead{text: h.Short(), size: h.Size, prefix: hex.EncodeToString(h.Root[:]), note: []byte(s + "\n"), origin: h.Origin}, nil
}

// judge finds what can be said of a seen head before any proof: who signed it, of
// which log it is, and whether it is within reach of the export's head.
func (s *seenHead) judge(head Head, c *chain) {
	switch end, before := c.ended[s.origin.ID]; {
	case s.note == nil:
	case s.origin.Shop != head.Origin.Shop || !before && s.origin.ID != head.Origin.ID:
		s.fault = "it is of another log, " + s.origin.String()
	case before && s.size > end:
		s.fault = fmt.Sprintf("it is of the log before a restore that kept %d entries; those after are not in this log", end)
	}
	if s.fault == "" && s.note != nil {
		if _, _, err := openNote(s.note, c.keys); errors.Is(err, errForeign) {
			s.fault = "it is signed by a key that is not of this log"
		} else if err != nil {
			s.fault = "its signature does not hold"
		}
	}
	if s.fault == "" && s.size > head.Size {
		s.fault = fmt.Sprintf("this export reaches to %d entries only: it is older, or the log was cut", head.Size)
	}
}

// proven takes note that the log at that size is proven to have had that root.
func (s *seenHead) proven(size int64, root tlog.Hash) {
	if s.size != size || s.fault != "" {
		return
	}
	s.met = true
	if !strings.HasPrefix(hex.EncodeToString(root[:]), s.prefix) {
		s.fault = "the log had another root at that size: it was rewritten, or this is a head from before a restore"
	}
}

// err is nil if the export agrees with the head.
func (s *seenHead) err() error {
	if s.fault == "" && !s.met {
		s.fault = "this export has no proof for a head of that size"
	}
	if s.fault != "" {
		return &HeadError{Head: s.text, What: s.fault}
	}
	return nil
}

// A HeadError says that an export holds in itself, but does not agree with a head
// seen earlier, or cannot show that it does.
type HeadError struct {
	Head string // the head as given, a signed one in its short form
	What string
}

func (e *HeadError) Error() string {
	return "does not hold with the head " + e.Head + ": " + e.What
}
