package terminal

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"

	"milepost/bot"
)

// openFile opens what a path names, once: a regular file and no link, device or
// pipe, no larger than max bytes. The path goes no further than this; only its
// last part is kept. fault says in a sentence why it can't be taken.
func openFile(path string, max int64) (_ *bot.Attachment, fault string) {
	name := clip(strings.ReplaceAll(bot.Printable(filepath.Base(path)), "\n", " "), 80)
	refuse := func(why string) (*bot.Attachment, string) {
		return nil, fmt.Sprintf("%q can't be taken: %s.", name, why)
	}
	// Asked before it is opened: opening a device or a pipe can do things.
	before, err := os.Lstat(path)
	if err != nil {
		return refuse(whyNot(err))
	}
	if why := notTaken(before, max); why != "" {
		return refuse(why)
	}
	f, err := openOnce(path)
	if err != nil {
		return refuse(whyNot(err))
	}
	now, err := f.Stat()
	switch {
	case err != nil:
		f.Close()
		return refuse(whyNot(err))
	case !os.SameFile(before, now):
		f.Close()
		return refuse("it was exchanged while it was opened")
	}
	if why := notTaken(now, max); why != "" {
		f.Close()
		return refuse(why)
	}
	o := &opened{f: f}
	return &bot.Attachment{Name: name, Open: func() (io.ReadCloser, error) { return o, nil }}, ""
}

// notTaken says why a file can't be taken, "" if it can.
func notTaken(fi fs.FileInfo, max int64) string {
	switch m := fi.Mode(); {
	case m.IsDir():
		return "it is a directory"
	case m&fs.ModeSymlink != 0:
		return "it is a link; name the file itself"
	case m&fs.ModeNamedPipe != 0:
		return "it is a pipe"
	case m&fs.ModeSocket != 0:
		return "it is a socket"
	case m&fs.ModeDevice != 0:
		return "it is a device"
	case !m.IsRegular():
		return "it is no regular file"
	case fi.Size() > max:
		return fmt.Sprintf("it has %d bytes, at most %d are taken", fi.Size(), max)
	}
	return ""
}

func whyNot(err error) string {
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return "there is no such file"
	case errors.Is(err, fs.ErrPermission):
		return "it may not be read"
	}
	var p *fs.PathError
	if errors.As(err, &p) {
		err = p.Err // without the path
	}
	return err.Error()
}

// opened is an open file that may be closed twice: by its reader, and by us
// where nobody read it.
type opened struct {
	f    *os.File
	once sync.Once
	err  error
}

func (o *opened) Read(p []byte) (int, error) { return o.f.Read(p) }

func (o *opened) Close() error {
	o.once.Do(func() { o.err = o.f.Close() })
	return o.err
}

// closeFile lets go of a file that nobody may have read.
func closeFile(a *bot.Attachment) {
	if a == nil || a.Open == nil {
		return
	}
	if r, err := a.Open(); err == nil {
		r.Close()
	}
}

// filePath finds the path in a line that a person typed: behind the word file,
// or alone, as terminals put it there when a file is dropped on them. Words
// that only begin so are a text.
func filePath(line string) (string, bool) {
	line = strings.TrimSpace(line)
	word, rest, _ := strings.Cut(line, " ")
	if rest = strings.TrimSpace(rest); strings.EqualFold(word, "file") && rest != "" {
		path := unquote(rest)
		_, err := os.Lstat(path)
		if err != nil && strings.Contains(rest, " ") && !strings.ContainsAny(rest, `/\`) {
			return "", false // "file kept on the laptop"
		}
		return path, true
	}
	path := unquote(line)
	if !filepath.IsAbs(path) {
		return "", false
	}
	if fi, err := os.Lstat(path); err != nil || !fi.Mode().IsRegular() {
		return "", false
	}
	return path, true
}

// unquote reads a path as shells and terminals write it: in quotes, with
// backslashes before spaces, as file:// address, with ~ for the home directory.
func unquote(s string) string {
	if n := len(s); n >= 2 && (s[0] == '"' || s[0] == '\'') && s[n-1] == s[0] {
		s = s[1 : n-1]
	} else if u, err := url.Parse(s); err == nil && u.Scheme == "file" && (u.Host == "" || u.Host == "localhost") {
		s = filepath.FromSlash(u.Path)
	} else if filepath.Separator == '/' {
		s = unescape(s)
	}
	if s == "~" || strings.HasPrefix(s, "~/") {
		if home, err := os.UserHomeDir(); err == nil {
			s = filepath.Join(home, s[1:])
		}
	}
	return s
}

// unescape takes the backslashes before other signs away.
func unescape(s string) string {
	var b strings.Builder
	for i := 0; i < len(s); i++ {
		if s[i] == '\\' && i+1 < len(s) {
			i++
		}
		b.WriteByte(s[i])
	}
	return b.String()
}
