package slack

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log"
	"net"
	"net/http"
	"net/url"
	"strconv"
	"sync"
	"time"

	api "github.com/slack-go/slack"
)

// Paths that requests are heard at.
const (
	PathEvents       = "/slack/events"
	PathInteractions = "/slack/interactions"
	PathCommands     = "/slack/commands"
)

// answerIn is how long a request may take; Slack waits for 3 s.
const answerIn = 2500 * time.Millisecond

// listen hears requests until ctx is done. It is one process that hears them: what
// makes a repeat one, inbox and marks, is in its SQLite file, which no other may
// use. Several that share the work would need a store in common.
func (e *ears) listen(ctx context.Context, tasks *sync.WaitGroup) error {
	l, err := (&net.ListenConfig{}).Listen(ctx, "tcp", e.s.cfg.EventsAddr)
	if err != nil {
		return fmt.Errorf("listen for events: %w", err)
	}
	server := &http.Server{Handler: e.requests(), ReadHeaderTimeout: 5 * time.Second, ReadTimeout: 10 * time.Second, WriteTimeout: 10 * time.Second,
		IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 32 << 10, ErrorLog: log.New(io.Discard, "", 0),
		BaseContext: func(net.Listener) context.Context { return ctx }}
	e.s.mu.Lock()
	e.s.heardAt = l.Addr().String()
	e.s.mu.Unlock()
	e.s.log.Info("listening for events", "addr", l.Addr().String())
	tasks.Go(func() {
		if err := server.Serve(l); !errors.Is(err, http.ErrServerClosed) {
			e.ended <- fmt.Errorf("listen for events: %w", err)
		}
	})
	tasks.Go(func() {
		<-ctx.Done()
		last, stop := context.WithTimeout(context.WithoutCancel(ctx), answerIn)
		defer stop()
		if server.Shutdown(last) != nil {
			_ = server.Close()
		}
	})
	return nil
}

// requests answers Slack, and nobody else: a request that is not signed by it is
// not read any further.
func (e *ears) requests() http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("POST "+PathEvents, e.signed(func(ctx context.Context, body []byte, again cameAgain) (delivered, string, error) {
		o, err := readOuter(body)
		if err == nil && o.Type == "url_verification" {
			return delivered{}, o.Challenge, nil
		}
		return e.read(ctx, kindEvent, body, again), "", nil
	}))
	mux.HandleFunc("POST "+PathInteractions, e.signed(func(ctx context.Context, body []byte, _ cameAgain) (delivered, string, error) {
		f, err := url.ParseQuery(string(body))
		if err != nil || !f.Has("payload") {
			return e.unread(kindPressed, body, errors.New("no form with a payload")), "", nil
		}
		return e.read(ctx, kindPressed, []byte(f.Get("payload")), cameAgain{}), "", nil
	}))
	mux.HandleFunc("POST "+PathCommands, e.signed(func(ctx context.Context, body []byte, _ cameAgain) (delivered, string, error) {
		f, err := url.ParseQuery(string(body))
		if err != nil {
			return e.unread(kindCommand, body, errors.New("no form")), "", nil
		}
		if f.Get("ssl_check") == "1" { // Slack looks whether the certificate holds (from memory: Slash commands, SSL)
			return delivered{}, "", nil
		}
		raw, err := commandForm(f)
		return e.read(ctx, kindCommand, raw, cameAgain{}), "", err
	}))
	return mux
}

// signed reads the body, once and bounded, and checks its signature and its time
// before anything is made of it. What is to be stored is, then it is answered.
func (e *ears) signed(read func(ctx context.Context, body []byte, again cameAgain) (d delivered, challenge string, err error)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		body, err := io.ReadAll(http.MaxBytesReader(w, r.Body, readLimit))
		if err != nil {
			var large *http.MaxBytesError
			if errors.As(err, &large) {
				w.WriteHeader(http.StatusRequestEntityTooLarge)
				return
			}
			w.WriteHeader(http.StatusBadRequest)
			return
		}
		check, err := api.NewSecretsVerifier(r.Header, e.s.cfg.SigningSecret)
		if err == nil {
			if _, err = check.Write(body); err == nil {
				err = check.Ensure()
			}
		}
		if err != nil {
			e.sayForged(e.forged.more(time.Now()))
			w.WriteHeader(http.StatusUnauthorized)
			return
		}
		ctx, stop := context.WithTimeout(r.Context(), answerIn)
		defer stop()
		d, challenge, err := read(ctx, body, repeated(r.Header))
		if err == nil && challenge != "" {
			w.Header().Set("Content-Type", "text/plain; charset=utf-8")
			w.Header().Set("X-Content-Type-Options", "nosniff")
			_, _ = io.WriteString(w, challenge)
			return
		}
		if err == nil {
			err = e.store(ctx, d.list)
		}
		if err != nil {
			e.s.log.Error("what came can't be stored and is not acknowledged", "path", r.URL.Path, "err", plainly(err))
			w.WriteHeader(http.StatusInternalServerError)
			return
		}
		answered(w, d.answer)
		e.aside(e.ctx, d.after)
	}
}

// repeated is what Slack says of a request that it makes again.
func repeated(h http.Header) cameAgain {
	n, err := strconv.Atoi(h.Get("X-Slack-Retry-Num"))
	if err != nil || n < 1 {
		return cameAgain{}
	}
	return cameAgain{n, h.Get("X-Slack-Retry-Reason")}
}

// answered says 200: with nothing, except to a form that was sent.
func answered(w http.ResponseWriter, answer any) {
	if answer == nil {
		w.WriteHeader(http.StatusOK)
		return
	}
	b, err := json.Marshal(answer)
	if err != nil {
		w.WriteHeader(http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	_, _ = w.Write(b)
}
