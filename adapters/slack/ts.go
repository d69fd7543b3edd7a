package slack

import (
	"fmt"
	"strconv"
	"strings"
	"time"
)

// A message's time is its name: seconds and microseconds, as text.

// tsOf is a time in Slack's form.
func tsOf(t time.Time) string {
	us := t.UnixMicro()
	return fmt.Sprintf("%010d.%06d", us/1e6, us%1e6)
}

// isTS says whether a text is the time of a message: it is compared as text.
func isTS(s string) bool {
	sec, frac, ok := strings.Cut(s, ".")
	return ok && len(sec) == 10 && len(frac) == 6 && digits(sec) && digits(frac)
}

func digits(s string) bool { return strings.Trim(s, "0123456789") == "" }

// timeOf reads a message's time.
func timeOf(ts string) (time.Time, bool) {
	if !isTS(ts) {
		return time.Time{}, false
	}
	sec, err1 := strconv.ParseInt(ts[:10], 10, 64)
	us, err2 := strconv.ParseInt(ts[11:], 10, 64)
	return time.Unix(sec, us*1000).UTC(), err1 == nil && err2 == nil
}
