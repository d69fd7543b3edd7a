package bottest

import (
	"bytes"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"

	"github.com/rogpeppe/go-internal/txtar"

	"milepost/flow"
)

// ParseScript reads a script.
func ParseScript(b []byte) (*Script, error) {
	s := &Script{arch: txtar.Parse(b), Files: map[string][]byte{}, Ways: []string{WayFlow, WayBot, WayProgram},
		Start: time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)}
	for _, f := range s.arch.Files {
		s.Files[f.Name] = f.Data
	}
	text := string(bytes.TrimRight(s.arch.Comment, "\n"))
	for i, l := range strings.Split(text, "\n") {
		if err := s.line(l); err != nil {
			return nil, fmt.Errorf("line %d: %w", i+1, err)
		}
	}
	if len(s.Inputs) == 0 {
		return nil, fmt.Errorf("nobody says anything")
	}
	return s, nil
}

func (s *Script) line(l string) error {
	var in *ScriptInput
	if n := len(s.Inputs); n > 0 {
		in = s.Inputs[n-1]
	}
	switch {
	case strings.HasPrefix(l, ">  ") && in != nil:
		in.raw = append(in.raw, l)
		in.Text += "\n" + l[3:]
		return nil
	case strings.HasPrefix(l, "> "):
		return s.input(l)
	case strings.HasPrefix(l, "<  ") && in != nil && len(in.Said) > 0:
		in.Said[len(in.Said)-1] += "\n" + l[3:]
		return nil
	case strings.HasPrefix(l, "< ") && in != nil:
		in.Said = append(in.Said, l[2:])
		return nil
	case strings.HasPrefix(l, "= ") && in != nil:
		in.Want = append(in.Want, l[2:])
		return nil
	case l == "" || strings.HasPrefix(l, "#"):
		if in != nil {
			in.tail = append(in.tail, l)
		} else {
			s.head = append(s.head, l)
		}
		return nil
	}
	if name, value, ok := strings.Cut(l, ": "); ok && in == nil {
		s.head = append(s.head, l)
		return s.setting(name, strings.TrimSpace(value))
	}
	return fmt.Errorf("%q is no line of a script", l)
}

func (s *Script) setting(name, value string) (err error) {
	items := strings.Split(value, ", ")
	switch name {
	case "policy":
		for _, it := range items {
			if err := scriptPolicy(&s.Policy, it); err != nil {
				return err
			}
		}
	case "people":
		for _, it := range items {
			n, r, ok := strings.Cut(it, " ")
			if !ok {
				return fmt.Errorf("people: %q wants a role", it)
			}
			s.People = append(s.People, ScriptPerson{n, flow.Role(r)})
		}
	case "clock":
		s.Start, err = time.Parse("2006-01-02 15:04", value)
	case "ways":
		s.Ways = strings.Fields(value)
	case "count":
		for _, it := range items {
			what, n, ok := strings.Cut(it, "<=")
			most, err := strconv.Atoi(n)
			if !ok || err != nil || what != "target" && what != "done" {
				return fmt.Errorf("count: %q", it)
			}
			s.Counts = append(s.Counts, ScriptCount{what, most})
		}
	default:
		return fmt.Errorf("no setting %q", name)
	}
	return err
}

// scriptPolicy decides one thing of a policy.
func scriptPolicy(p *flow.Policy, it string) error {
	word, value, _ := strings.Cut(it, " ")
	switch word {
	case "mph", "km/h":
		p.Speed = word
	case "inch", "mm":
		p.Length = word
	case "rule":
		p.Rule = value
	case "aim":
		p.Calib = value
	case "cap":
		v, err := strconv.ParseFloat(value, 64)
		if err != nil {
			return fmt.Errorf("policy cap: %w", err)
		}
		p.WorkSpeed = v
	case "hold":
		p.Holds = append(p.Holds, flow.HoldPoint{What: value})
	case "sign-off":
		p.SignOff = true
	case "self":
		p.Self = true
	case "quiet":
		p.Quiet = true
	default:
		return fmt.Errorf("no policy %q", it)
	}
	return nil
}

var numbered = regexp.MustCompile(`^\((edit|delete) (\d+)\) ?`)

// input reads "> name: what".
func (s *Script) input(l string) error {
	in := &ScriptInput{N: len(s.Inputs) + 1, raw: []string{l}}
	s.Inputs = append(s.Inputs, in)
	rest := l[2:]
	if w, ok := strings.CutPrefix(rest, "(wait "); ok {
		d, err := time.ParseDuration(strings.TrimSuffix(w, ")"))
		in.Wait = d
		return err
	}
	name, text, ok := strings.Cut(rest, ": ")
	if !ok {
		return fmt.Errorf("%q: who says it", l)
	}
	for _, p := range s.People {
		if strings.EqualFold(p.Name, name) {
			in.Who = p
		}
	}
	if in.Who.Name == "" {
		return fmt.Errorf("%q is not among the people", name)
	}
	switch m := numbered.FindStringSubmatch(text); {
	case m != nil:
		n, err := strconv.Atoi(m[2])
		if err != nil || n < 1 || n >= in.N {
			return fmt.Errorf("%q: no earlier input", l)
		}
		if m[1] == "edit" {
			in.Edit, in.Text = n, text[len(m[0]):]
		} else {
			in.Delete = n
		}
	case strings.HasPrefix(text, "(file) "):
		in.File = text[7:]
		if _, ok := s.Files[in.File]; !ok {
			return fmt.Errorf("%s: no such file below", in.File)
		}
	case strings.HasPrefix(text, "(tap) "):
		in.Tap = text[6:]
	case strings.HasPrefix(text, "(sent "):
		d, said, ok := strings.Cut(text[6:], ") ")
		ago, err := time.ParseDuration(d)
		if err != nil || !ok {
			return fmt.Errorf("%q: how long ago", l)
		}
		in.Ago, in.Text = ago, said
	case text == "(unread)":
		in.Unread = true
	case text == "(again)":
		in.Again = true
	default:
		in.Text = text
	}
	return nil
}
