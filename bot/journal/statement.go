package journal

import (
	"errors"
	"fmt"
	"strconv"
	"strings"

	"golang.org/x/mod/sumdb/tlog"
)

// A statement closes an export: how many entries the job has, which is the last,
// in which tree, and what the lines before it are. It is signed as a note:
//
//	milepost job statement
//	origin milepost/oakroad/4be1c9…a07d
//	job 7q3k9x
//	entries 212
//	last 9f3a…                             hex leaf hash of the job's last entry
//	tree 1234 qUwWlpYv…kZ0=                the head's leaves and root
//	lines 230 53ac…                        lines before this one, hex SHA-256 of their bytes
//
// Its first line is no origin, so neither a head nor a statement can stand for the
// other.
type statement struct {
	origin  Origin
	job     string
	entries int64
	last    string
	size    int64
	root    tlog.Hash
	lines   int64
	digest  string
}

const statementTitle = "milepost job statement"

func (s statement) text() string {
	return fmt.Sprintf("%s\norigin %s\njob %s\nentries %d\nlast %s\ntree %d %s\nlines %d %s\n",
		statementTitle, s.origin, s.job, s.entries, s.last, s.size, s.root, s.lines, s.digest)
}

func parseStatement(text string) (statement, error) {
	var s statement
	var err error
	value := map[string]string{}
	part := strings.Split(text, "\n")
	if len(part) != 8 || part[0] != statementTitle {
		return s, errors.New("not a job statement")
	}
	for _, l := range part[1:7] {
		key, v, _ := strings.Cut(l, " ")
		value[key] = v
	}
	if s.origin, err = ParseOrigin(value["origin"]); err != nil {
		return s, err
	}
	s.job, s.last = value["job"], value["last"]
	if s.entries, err = strconv.ParseInt(value["entries"], 10, 64); err != nil {
		return s, errors.New("number of entries is not a number")
	}
	size, root, _ := strings.Cut(value["tree"], " ")
	if s.size, s.root, err = parseTree(size, root); err != nil {
		return s, err
	}
	var lines string
	lines, s.digest, _ = strings.Cut(value["lines"], " ")
	if s.lines, err = strconv.ParseInt(lines, 10, 64); err != nil {
		return s, errors.New("number of lines is not a number")
	}
	if s.text() != text {
		return s, errors.New("job statement is not in its one form")
	}
	return s, nil
}
