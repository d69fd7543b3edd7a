package demo

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"strconv"
	"strings"
	"time"

	"milepost/adapters/terminal"
	"milepost/bot"
	"milepost/flow"
)

// maxLines bounds what people say in one job. maxSame is how often a question
// may come back word for word, from one drive to the next.
const (
	maxLines = 160
	maxSame  = 8
)

// person is one of those who play.
type person struct {
	name string
	role flow.Role
}

// line is what somebody does next: words, a tap, or a file; or what happens
// before anything is said.
type line struct {
	who  *person
	text string
	tap  flow.Choice
	file *sheaf
	note string        // shown before it
	took time.Duration // how long it took in the play's time
}

// sheaf is a file that is uploaded.
type sheaf struct {
	name  string
	bytes []byte
}

// player is all of the people of a job.
type player struct {
	*scenario
	stage *stage
	bot   *bot.Bot
	rand  *rand.Rand
	clock clock

	queue    []line         // what is done next without being asked
	hearing  map[string]int // how often each question was put
	open     *bot.Outbound  // the question that waits for an answer
	job      string
	closed   bool
	whyed    bool
	driving  bool
	mistakes map[string]string // a pair read wrong, and as it was
	missed   bool              // it has been read wrong already
	notes    string            // readings kept for when the vehicle is parked

	target  float64 // what the person was asked to write
	writing *module
	meant   string // that value as it was said

	facts    facts
	lines    int
	drives   int
	writes   int
	prompts  int
	endedHow string
}

// play is the loop: say a line, hear what is answered, until the job is closed.
func (p *player) play(ctx context.Context) error {
	p.queue = p.opening()
	for p.lines < maxLines {
		if err := ctx.Err(); err != nil {
			return context.Cause(ctx)
		}
		if p.closed && len(p.queue) == 0 {
			return nil
		}
		if len(p.queue) == 0 {
			next, err := p.answer()
			if err != nil {
				return err
			}
			p.queue = next
		}
		l := p.queue[0]
		p.queue = p.queue[1:]
		if err := p.say(ctx, l); err != nil {
			return err
		}
	}
	return fmt.Errorf("no end after %d lines", maxLines)
}

// answer finds who answers the open question, and how.
func (p *player) answer() ([]line, error) {
	q := p.open
	if q == nil {
		return nil, errors.New("nobody is asked anything, and the job is not closed")
	}
	asked := string(q.Reply.Phase) + " " + q.Reply.Text
	if p.hearing[asked]++; p.hearing[asked] > maxSame {
		return nil, fmt.Errorf("asked again and again in %s: %s", q.Reply.Phase, q.Reply.Text)
	}
	p.prompts++
	if p.prompts == p.curious && !p.whyed {
		p.whyed = true
		return []line{{who: p.worker, text: "why"}}, nil
	}
	for _, k := range known {
		if k.fits(&q.Reply) {
			if ls := k.answer(p, &q.Reply); len(ls) > 0 {
				p.open = nil
				return ls, nil
			}
		}
	}
	return nil, fmt.Errorf("no answer is known in %s to %q with %v", q.Reply.Phase, q.Reply.Text, choiceIDs(&q.Reply))
}

// say does a line: shows it, hands it over, and shows what is answered.
func (p *player) say(ctx context.Context, l line) error {
	p.lines++
	if strings.HasPrefix(l.text, "parked") {
		p.driving = false
	}
	if l.took == 0 {
		l.took = 20 * time.Second
	}
	p.clock.pass(l.took)
	if l.note != "" {
		if err := p.stage.happens(ctx, l.note); err != nil {
			return err
		}
	}
	in := bot.Inbound{Network: terminal.NetworkName, From: terminal.Identity(l.who.name), Name: l.who.name, Stated: l.who.role,
		Text: l.text, Delivery: strconv.Itoa(p.lines)}
	if l.who != p.worker {
		in.Job = p.job // the one whose thread it is
	}
	shown := l.text
	switch {
	case l.tap.Send != "":
		in.Tap, in.Text, shown = l.tap.Send, "", "["+l.tap.Label+"]"
	case l.file != nil:
		in.File = &bot.Attachment{Name: l.file.name, Open: func() (io.ReadCloser, error) {
			return io.NopCloser(bytes.NewReader(l.file.bytes)), nil
		}}
		shown = fmt.Sprintf("(file %s, %d bytes)", l.file.name, len(l.file.bytes))
	}
	if err := p.stage.spoken(ctx, l.who.name, shown); err != nil {
		return err
	}
	if err := p.bot.Handle(ctx, in); err != nil {
		return fmt.Errorf("%s: %s: %w", l.who.name, shown, err)
	}
	if err := p.bot.Flush(ctx); err != nil {
		return err
	}
	said, err := p.stage.show(ctx)
	if err != nil {
		return err
	}
	return p.read(said)
}

// read takes in what was said.
func (p *player) read(said []bot.Outbound) error {
	for i := range said {
		o := &said[i]
		if strings.Contains(o.Reply.Text, "‹") || strings.Contains(o.Reply.Text, "<no value>") {
			return fmt.Errorf("a sentence is missing: %q", o.Reply.Text)
		}
		if o.Job != "" && p.job == "" {
			p.job = o.Job
		}
		if o.Reply.Kind == flow.Prompt {
			if p.driving {
				return fmt.Errorf("asked while somebody drives: %q", o.Reply.Text)
			}
			p.open = o
		}
		if o.Reply.Phase == flow.PhaseClosed {
			p.closed = true
			if o.Reply.Kind == flow.Notice && p.endedHow == "" {
				p.endedHow = o.Reply.Text
			}
		}
		if err := p.facts.add(o.Reply.Facts); err != nil {
			return err
		}
	}
	return nil
}
