package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"strings"
)

// secret is where a secret is kept: in a file or in an environment variable that
// the configuration names. The zero secret is none.
type secret struct {
	at   string // the key and its line, for errors
	file string
	env  string
}

// envName is what the name of an environment variable is like. Anything else is
// not repeated: it may be the secret itself, in the wrong place.
var envName = regexp.MustCompile(`^[A-Z_][A-Z0-9_]{0,63}$`)

// secret asks for a key that ends in _file or in _env.
func (t *table) secret(key string) secret {
	var s secret
	for _, end := range []string{"_file", "_env"} {
		v, there := t.get(key + end)
		if !there {
			continue
		}
		text, is := v.(string)
		if s.set() {
			t.fault(key+end, "%s_file is named already; want one of the two", key)
			continue
		}
		s.at = fmt.Sprintf("%s:%d: %s %s", t.r.file, t.r.places.line(append(append([]string(nil), t.path...), key+end)), t.name, key+end)
		switch {
		case !is || text == "":
			t.fault(key+end, "want a text: the name of a %s", map[string]string{"_file": "file", "_env": "variable"}[end])
			s = secret{}
		case end == "_file":
			s.file = text
			if !filepath.IsAbs(text) {
				s.file = filepath.Join(filepath.Dir(t.r.file), text)
			}
		case !envName.MatchString(text):
			t.fault(key+end, "this is not the name of a variable; want capitals, digits and _, as in MILEPOST_%s", strings.ToUpper(key))
			s = secret{}
		default:
			s.env = text
		}
	}
	return s
}

// set says whether a place is named.
func (s secret) set() bool { return s.file != "" || s.env != "" }

// maxSecret bounds a secret, in bytes.
const maxSecret = 16 << 10

// read gives the secret, without the line end behind it. No error repeats it.
func (s secret) read() (string, error) {
	var text string
	switch {
	case s.env != "":
		if text = os.Getenv(s.env); text == "" {
			return "", fmt.Errorf("%s: the variable %s is not set: %w", s.at, s.env, os.ErrNotExist)
		}
	case s.file != "":
		b, err := readPrivate(s.file)
		if err != nil {
			return "", fmt.Errorf("%s: %w", s.at, err)
		}
		text = string(b)
	default:
		return "", nil
	}
	if text = strings.TrimSpace(text); text == "" {
		return "", fmt.Errorf("%s: there is nothing in it", s.at)
	}
	return text, nil
}

// readPrivate reads a small file that nobody else may read.
func readPrivate(path string) ([]byte, error) {
	fi, err := os.Stat(path)
	switch {
	case errors.Is(err, os.ErrNotExist):
		return nil, fmt.Errorf("there is no such file (the name is not shown: it could be the secret itself): %w", os.ErrNotExist)
	case err != nil:
		return nil, errors.New("the file can't be looked at")
	case !fi.Mode().IsRegular():
		return nil, fmt.Errorf("%s is not a plain file", path)
	case runtime.GOOS != "windows" && fi.Mode().Perm()&0o077 != 0:
		return nil, fmt.Errorf("%s may be read by others (mode %03o): make it 600, and think of a new secret", path, fi.Mode().Perm())
	case fi.Size() > maxSecret:
		return nil, fmt.Errorf("%s is too large for a secret", path)
	}
	return os.ReadFile(path)
}
