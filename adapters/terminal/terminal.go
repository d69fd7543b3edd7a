package terminal

import (
	"bytes"
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"strings"
	"sync"

	"milepost/bot"
	"milepost/flow"
)

// NetworkName begins the identities of all who write in a terminal.
const NetworkName = "terminal"

// Identity is the full identity of a name, as erase and the log know it.
func Identity(name string) bot.Identity { return bot.Identity(NetworkName + ":" + name) }

// Config is what a Terminal is made of. Out is needed.
type Config struct {
	Out  io.Writer // one Write a message; an error ends Run
	JSON bool      // the contract's lines in place of text for people

	Name string    // who speaks where a line names nobody; "" is DefaultName
	Role flow.Role // stated for who has stated none; "" is technician

	Width  func() int // columns of the terminal; nil, or below 20: lines are not wrapped
	Colour bool       // for people only

	// Path tells where a file that goes out with a message lies, by its hash; nil: nowhere.
	Path func(sha256 string) string
	// Log gives the sequence of the last entry of the job somebody is in, for
	// the idle line; nil: that of the last message.
	Log func(ctx context.Context, from bot.Identity, job string) int64
	// MaxFile bounds a file, in bytes; 0 is the policy's default.
	MaxFile int64
}

// DefaultName is who speaks where nobody is named. It is not the name of the
// account: what is not told need not be erased.
const DefaultName = "tech"

// Ear is what a terminal hands over to. A *bot.Bot is one.
type Ear interface {
	Handle(ctx context.Context, in bot.Inbound) error
	Flush(ctx context.Context) error
}

// Lines gives the lines that are typed, one at a time; io.EOF ends them. Long
// says that a line was over the bound and is not given.
type Lines interface {
	Next() (line string, long bool, err error)
}

// Terminal is a bot.Network. Safe for concurrent use.
type Terminal struct {
	cfg     Config
	session string // begins the identifiers of messages that are in no log

	mu      sync.Mutex // everything below; held while a message is written
	recent  ring
	place   bot.Outbound // job, phase and entry of the last message
	said    int          // messages that are in no log
	waiting bool         // at an edited line: a message comes between
	failed  error
	fails   chan struct{} // closed with failed
}

var _ bot.Network = (*Terminal)(nil)

// New makes a terminal. Nothing is written or read yet.
func New(c Config) (*Terminal, error) {
	var faults []error
	if c.Out == nil {
		faults = append(faults, errors.New("no output"))
	}
	if c.Name == "" {
		c.Name = DefaultName
	}
	if name := personName(c.Name); name == "" || name != c.Name {
		faults = append(faults, fmt.Errorf("name %.120q: want 1 to %d bytes of letters, figures and spaces", c.Name, maxName))
	}
	if c.Role == "" {
		c.Role = flow.Technician
	}
	if !isRole(c.Role) {
		faults = append(faults, fmt.Errorf("role %.80q: want %s", c.Role, roleNames))
	}
	if c.MaxFile == 0 {
		c.MaxFile = flow.Policy{}.Sound().MaxFile
	}
	if len(faults) > 0 {
		return nil, fmt.Errorf("terminal: %w", errors.Join(faults...))
	}
	var b [4]byte
	if _, err := rand.Read(b[:]); err != nil {
		return nil, fmt.Errorf("terminal: %w", err)
	}
	return &Terminal{cfg: c, session: NetworkName + "/" + hex.EncodeToString(b[:]), fails: make(chan struct{})}, nil
}

// Name is the network's name.
func (t *Terminal) Name() string { return NetworkName }

// Send writes a message. The same key again is the same message and is not
// written twice by one program; after a restart it is, under the same id.
func (t *Terminal) Send(ctx context.Context, out bot.Outbound) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.recent.has(out.Key) {
		return nil
	}
	t.place.Job, t.place.Log, t.place.Reply.Phase = out.Job, out.Log, out.Reply.Phase
	if !t.cfg.JSON && out.Reply.Kind == flow.Card && len(out.Reply.To) == 0 {
		return nil // a card is to be changed in place, which a terminal can't: "where are we" shows it
	}
	if err := t.write(t.render(&out)); err != nil {
		return err
	}
	t.recent.add(out.Key)
	return nil
}

// render gives a message in this terminal's manner. Called with mu held.
func (t *Terminal) render(out *bot.Outbound) []byte {
	if t.cfg.JSON {
		return t.jsonMessage(out)
	}
	return t.humanMessage(out)
}

// write passes on one message, whole. What can't be written ends Run: the
// message stays unsent and comes at the next start. Called with mu held.
func (t *Terminal) write(b []byte) error {
	if t.failed != nil {
		return t.failed
	}
	if t.waiting {
		b = append([]byte("\r\x1b[K"), append(b, promptMark...)...)
	}
	if _, err := t.cfg.Out.Write(b); err != nil {
		t.failed = fmt.Errorf("write to terminal: %w", err)
		close(t.fails)
		return t.failed
	}
	return nil
}

// Show writes a message that is in no log: what is repeated at a start, and
// what is wrong with a line.
func (t *Terminal) Show(out bot.Outbound) error {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.said++
	out.Key = fmt.Sprintf("%s/%d", t.session, t.said)
	return t.write(t.render(&out))
}

// refuse answers a line that is no message, at the place of the last one.
func (t *Terminal) refuse(in bot.Inbound, text string) error {
	t.mu.Lock()
	out := t.place
	t.mu.Unlock()
	out.Names = map[flow.Who]string{"": in.Name}
	out.Reply = flow.Reply{Kind: flow.Refusal, Role: in.Stated, Phase: out.Reply.Phase, Text: text}
	return t.Show(out)
}

// Run hears lines and hands them over one after the other, each answered before
// the next is read, until they end, ctx is done or nothing can be written any
// more, which is an error. A line that is being waited for when ctx is done
// can't be called off: its reader ends with the program.
func (t *Terminal) Run(ctx context.Context, lines Lines, ear Ear) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	go func() { // ends with ctx
		select {
		case <-t.fails:
			cancel()
		case <-ctx.Done():
		}
	}()
	asks, got := make(chan struct{}), make(chan typed, 1)
	defer close(asks)
	go func() {
		for range asks {
			var l typed
			l.text, l.long, l.err = lines.Next()
			got <- l
		}
	}()
	_, edited := lines.(*Editor)
	for {
		t.setWaiting(edited)
		asks <- struct{}{}
		var l typed
		select {
		case l = <-got:
		case <-ctx.Done():
			return t.failure()
		}
		t.setWaiting(false)
		if l.text != "" || l.long || l.err == nil {
			if err := t.hear(ctx, l, ear); err != nil {
				if ctx.Err() != nil {
					return t.failure()
				}
				return err
			}
		}
		switch {
		case errors.Is(l.err, io.EOF):
			return t.failure()
		case l.err != nil:
			return fmt.Errorf("read from terminal: %w", l.err)
		}
	}
}

// typed is a line that came in.
type typed struct {
	text string
	long bool
	err  error
}

func (t *Terminal) setWaiting(w bool) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.waiting = w
}

func (t *Terminal) failure() error {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.failed
}

// hear takes one line through: handed over, answered, and in JSON the word that
// no more comes of it.
func (t *Terminal) hear(ctx context.Context, l typed, ear Ear) error {
	in, fault := t.speaker(), ""
	switch {
	case l.long:
		fault = fmt.Sprintf("That line is longer than %d bytes and was left out.", MaxLine)
	case t.cfg.JSON:
		in, fault = t.parse(l.text)
	case strings.TrimSpace(l.text) == "":
		return nil
	default:
		in, fault = t.spoken(l.text)
	}
	if fault != "" {
		if err := t.refuse(in, fault); err != nil {
			return err
		}
		return t.idle(ctx, in)
	}
	in.Network = NetworkName
	err := ear.Handle(ctx, in)
	closeFile(in.File)
	if ctx.Err() != nil {
		return ctx.Err()
	}
	if err != nil {
		if err := t.refuse(in, bot.Sentence(err)); err != nil {
			return err
		}
	}
	if err := ear.Flush(ctx); err != nil {
		return err
	}
	return t.idle(ctx, in)
}

// idle says that the last line is answered.
func (t *Terminal) idle(ctx context.Context, in bot.Inbound) error {
	if !t.cfg.JSON {
		return nil
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	log := t.place.Log
	if t.cfg.Log != nil {
		log = t.cfg.Log(ctx, in.From, in.Job)
	}
	return t.write(jsonLine(idleLine{true, log}))
}

// ring remembers the keys written last.
type ring struct {
	seen map[string]bool
	keys []string
	next int
}

const ringSize = 4096

func (r *ring) has(k string) bool { return r.seen[k] }

func (r *ring) add(k string) {
	if r.seen == nil {
		r.seen = map[string]bool{}
	}
	if len(r.keys) < ringSize {
		r.keys = append(r.keys, k)
	} else {
		delete(r.seen, r.keys[r.next])
		r.keys[r.next] = k
		r.next = (r.next + 1) % ringSize
	}
	r.seen[k] = true
}

// nl is a message's end.
var nl = []byte("\n")

func endLine(b []byte) []byte {
	if !bytes.HasSuffix(b, nl) {
		b = append(b, '\n')
	}
	return b
}
