package slack

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log"
	"net/http"
	"sync"
	"time"

	api "github.com/slack-go/slack"
	"github.com/slack-go/slack/socketmode"
)

// readLimit bounds a frame, and a request over HTTP.
const readLimit = 1 << 20

// errLink says that there is no connection just now.
var errLink = errors.New("the connection to Slack is lost")

// hold keeps a socket until ctx is done, or Slack refuses us for good.
func (e *ears) hold(ctx context.Context) error {
	e.doors = newDoors(e.s.ask.Transport, e.s.times.renewal)
	client := socketmode.New(newClient(e.s.cfg, api.OptionHTTPClient(&http.Client{Timeout: callTimeout + e.s.times.renewal, Transport: e.doors})), socketmode.OptionReadLimit(readLimit), socketmode.OptionLog(log.New(io.Discard, "", 0)))
	for {
		err := e.attend(ctx, client)
		switch {
		case ctx.Err() != nil:
			return nil
		case is(err, grave):
			err = graveError(err)
			e.s.unready(err)
			return err
		}
		e.unlinked(fmt.Errorf("no connection to Slack: %s", plainly(err)))
		if !sleep(ctx, e.s.times.backoff) {
			return nil
		}
	}
}

var errTooSlow = errors.New("it does not come about")

// attend runs the library's connection and reads what it brings, until it gives
// up, or waits longer between its tries than we do.
func (e *ears) attend(ctx context.Context, client *socketmode.Client) (err error) {
	ctx, stop := context.WithCancel(ctx)
	over := make(chan error, 1)
	go func() {
		defer close(over)
		over <- client.RunContext(ctx)
	}()
	defer func() {
		stop()
		for range over { // it has ended before the next one begins
		}
	}()
	acks := make(chan ack, maxAcks)
	var sender sync.WaitGroup
	sender.Go(func() { e.acknowledge(ctx, client, acks) })
	defer sender.Wait()
	defer stop()
	var batch []delivered
	for {
		var ev socketmode.Event
		select {
		case err := <-over:
			return err
		case ev = <-client.Events:
		}
		batch = batch[:0]
		var fail error
		for more := true; more; {
			d, err := e.event(ctx, ev)
			if err != nil {
				fail = err
				break
			}
			if d != nil {
				batch = append(batch, *d)
			}
			if more = len(batch) < maxBatch; more {
				select {
				case ev = <-client.Events:
				default:
					more = false
				}
			}
		}
		e.take(ctx, acks, batch)
		if fail != nil {
			return fail
		}
	}
}

// take stores a batch and has it acknowledged.
func (e *ears) take(ctx context.Context, acks chan<- ack, batch []delivered) {
	var list []arrival
	for i := range batch {
		list = append(list, batch[i].list...)
	}
	came := time.Now()
	if err := e.store(ctx, list); err != nil {
		if ctx.Err() == nil {
			e.s.log.Error("what came can't be stored and is not acknowledged", "deliveries", len(batch), "err", err)
		}
		return
	}
	for i := range batch {
		d := &batch[i]
		select {
		case acks <- ack{d.id, d.answer, came}:
		default:
			e.s.log.Warn("too many acknowledgements wait; what one was for comes again")
		}
		e.aside(ctx, d.after)
	}
}

// ack is an acknowledgement on its way.
type ack struct {
	id     string
	answer any
	came   time.Time
}

const (
	maxAcks = 4096
	ackIn   = 3 * time.Second // Slack waits no longer
)

// acknowledge hands acknowledgements to the library, which holds only a few while
// there is no connection. The reader must not wait for that: the library tells it
// of the next connection, and would wait for the reader. What is too old is
// dropped: Slack has given it up.
func (e *ears) acknowledge(ctx context.Context, client *socketmode.Client, acks <-chan ack) {
	for {
		var a ack
		select {
		case a = <-acks:
		case <-ctx.Done():
			return
		}
		in, stop := context.WithDeadline(ctx, a.came.Add(ackIn))
		err := client.AckCtx(in, a.id, a.answer)
		stop()
		if err != nil && ctx.Err() == nil {
			e.s.log.Debug("acknowledgement not sent; what it was for comes again", "err", plainly(err))
		}
	}
}

// event looks at what the library brings: the state of the connection, or a
// delivery.
func (e *ears) event(ctx context.Context, ev socketmode.Event) (*delivered, error) {
	switch ev.Type {
	case socketmode.EventTypeConnecting:
		why := errLink
		if e.doors.renew() {
			why = errOften
		}
		e.unlinked(why)
	case socketmode.EventTypeConnectionError:
		e.doors.failed()
		err := errTooSlow
		backoff := time.Duration(0)
		if c, ok := ev.Data.(*api.ConnectionErrorEvent); ok {
			err, backoff = c.ErrorObj, c.Backoff
		}
		e.unlinked(fmt.Errorf("no connection to Slack: %s", plainly(err)))
		if backoff > e.s.times.backoff {
			return nil, err
		}
	case socketmode.EventTypeHello:
		e.link()
	case socketmode.EventTypeEventsAPI, socketmode.EventTypeInteractive, socketmode.EventTypeSlashCommand:
		if ev.Request != nil {
			e.doors.bring()
			d := e.read(ctx, string(ev.Type), ev.Request.Payload, cameAgain{ev.Request.RetryAttempt, ev.Request.RetryReason})
			d.id = ev.Request.EnvelopeID
			return &d, nil
		}
	case socketmode.EventTypeErrorBadMessage:
		if bad, ok := ev.Data.(*socketmode.ErrorBadMessage); ok {
			return e.badMessage(ctx, bad.Message), nil
		}
	case socketmode.EventTypeErrorWriteFailed:
		e.s.log.Warn("an acknowledgement was lost; what it was for comes again")
	case socketmode.EventTypeIncomingError:
		e.s.log.Debug("the connection broke off")
	}
	return nil, nil
}

// badMessage is a frame that the library gave up. It is acknowledged all the
// same, else Slack would repeat it; and read here if it can be.
func (e *ears) badMessage(ctx context.Context, raw []byte) *delivered {
	var frame struct {
		ID      string          `json:"envelope_id"`
		Type    string          `json:"type"`
		Attempt int             `json:"retry_attempt"`
		Reason  string          `json:"retry_reason"`
		Payload json.RawMessage `json:"payload"`
	}
	err := json.Unmarshal(raw, &frame)
	e.mu.Lock()
	e.strict++
	n := e.strict
	e.mu.Unlock()
	e.s.log.Warn("the library can't read a frame", "so_far", n)
	if err != nil || frame.ID == "" || frame.Payload == nil {
		d := e.unread("frame", raw, errors.New("no envelope"))
		d.id = frame.ID
		if d.id == "" {
			// There is nothing to acknowledge: kept, and that is all.
			if err := e.store(ctx, d.list); err != nil {
				e.s.log.Error("a frame that can't be read can't be stored", "err", err)
			}
			return nil
		}
		return &d
	}
	d := e.read(ctx, frame.Type, frame.Payload, cameAgain{frame.Attempt, frame.Reason})
	d.id = frame.ID
	return &d
}

// maxBreaks is how often the connection may break off, however briefly, before it
// is looked for what was missed: Slack delivers an event four times, the second at
// once, so each of three breaks may have taken its part of them.
const maxBreaks = 3

// link and unlinked note how the connection stands.
func (e *ears) link() {
	e.mu.Lock()
	gap := time.Since(e.lost)
	was := e.linked
	e.linked = true
	if !was {
		e.order.begin(e.lost)
		e.breaks++
	}
	often := e.breaks >= maxBreaks
	e.mu.Unlock()
	e.s.ready()
	if !was && (gap > e.s.times.gap || often) {
		e.s.log.Info("connected")
		e.missed()
	}
}

func (e *ears) unlinked(why error) {
	e.mu.Lock()
	was := e.linked
	if was {
		e.linked, e.lost = false, time.Now()
	}
	e.mu.Unlock()
	if why == errLink && !was {
		return // it is being tried: why it failed before stands
	}
	if e.s.unready(why) && why != errLink {
		e.s.log.Warn("not connected", "err", why.Error())
	}
}
