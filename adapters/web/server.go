package web

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"runtime/debug"
	"strings"
	"time"

	"github.com/prometheus/client_golang/prometheus/promhttp"

	"milepost/bot"
)

// Config is what a Server is made of. Addr is needed.
type Config struct {
	Addr     string   // host:port to listen at; port 0 is any
	Networks []string // names of the chat networks: the values of the label network

	// Parts are what must be ready, in the order shown. Ready is called for each
	// request, and has Patience for it.
	Parts  []Part
	Depths func() bot.Depths // the queues; nil: empty

	// Inbox gives what of a network has come in and is not dealt with; an error
	// that is errors.ErrUnsupported where nothing is known of it. nil: of none.
	Inbox func(ctx context.Context, network string) (bot.Inbox, error)

	Log *slog.Logger // nil: nothing is logged
}

// Part is one thing that readiness hangs on.
type Part struct {
	Name  string
	Ready func(context.Context) error // nil if it can be used, else why not, in words an operator may read
}

// Bounds of a request. Nobody sends a body here, and nobody waits long.
const (
	Patience   = 3 * time.Second
	readFor    = 5 * time.Second
	writeFor   = 20 * time.Second
	idleFor    = time.Minute
	maxHeaders = 16 << 10
	scrapes    = 4 // at the same time
	stopFor    = 2 * time.Second
)

// Server serves health and figures. It is a bot.Measure. Safe for concurrent use.
type Server struct {
	cfg      Config
	listener net.Listener
	metrics  *metrics
	http     *http.Server
}

var _ bot.Measure = (*Server)(nil)

// Listen makes a server and takes its address, so that one that is taken is told
// at the start. Nothing is answered before Run.
func Listen(ctx context.Context, c Config) (*Server, error) {
	if c.Log == nil {
		c.Log = slog.New(slog.DiscardHandler)
	}
	if c.Depths == nil {
		c.Depths = func() bot.Depths { return bot.Depths{} }
	}
	l, err := (&net.ListenConfig{}).Listen(ctx, "tcp", c.Addr)
	if err != nil {
		return nil, fmt.Errorf("health and metrics: %w", err)
	}
	s := &Server{cfg: c, listener: l, metrics: newMetrics(c)}
	s.http = &http.Server{
		Handler: s.handler(), ReadHeaderTimeout: readFor, ReadTimeout: readFor, WriteTimeout: writeFor, IdleTimeout: idleFor,
		MaxHeaderBytes: maxHeaders, ErrorLog: slog.NewLogLogger(c.Log.Handler(), slog.LevelDebug),
	}
	return s, nil
}

// Addr is where it listens.
func (s *Server) Addr() string { return s.listener.Addr().String() }

// Run answers until ctx is done. It gives an error only if it can't go on.
func (s *Server) Run(ctx context.Context) error {
	ended := make(chan error, 1)
	go func() { ended <- s.http.Serve(s.listener) }()
	select {
	case err := <-ended:
		return fmt.Errorf("health and metrics: %w", err)
	case <-ctx.Done():
	}
	late, cancel := context.WithTimeout(context.WithoutCancel(ctx), stopFor)
	defer cancel()
	if err := s.http.Shutdown(late); err != nil {
		_ = s.http.Close() // who still reads is cut off
	}
	<-ended
	return nil
}

// Close gives up the address, where Run is never called.
func (s *Server) Close() error {
	if err := s.listener.Close(); !errors.Is(err, net.ErrClosed) {
		return err
	}
	return nil
}

// Turn counts a message taken through.
func (s *Server) Turn(network, outcome string, took time.Duration) {
	s.metrics.turn(network, outcome, took)
}

// Refused counts a message that was refused to a person.
func (s *Server) Refused(network string, first bool) { s.metrics.refuse(network, first) }

// Sent counts a try to send.
func (s *Server) Sent(network, outcome string, took time.Duration) {
	s.metrics.sent(network, outcome, took)
}

func (s *Server) handler() http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /healthz", func(w http.ResponseWriter, _ *http.Request) { plain(w, http.StatusOK, "alive\n") })
	mux.HandleFunc("GET /readyz", s.ready)
	mux.Handle("GET /metrics", promhttp.HandlerFor(s.metrics.registry, promhttp.HandlerOpts{
		Registry: s.metrics.registry, MaxRequestsInFlight: scrapes, Timeout: writeFor / 2, EnableOpenMetrics: true,
	}))
	return s.guard(mux)
}

// guard bounds what comes in and keeps a panic to its request.
func (s *Server) guard(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		defer func() {
			if p := recover(); p != nil {
				if p == http.ErrAbortHandler {
					panic(p)
				}
				s.cfg.Log.Error("panic in a request", "path", r.URL.Path, "panic", fmt.Sprint(p), "stack", string(debug.Stack()))
				plain(w, http.StatusInternalServerError, "fault\n")
			}
		}()
		r.Body = http.MaxBytesReader(w, r.Body, 0)
		w.Header().Set("X-Content-Type-Options", "nosniff")
		w.Header().Set("Cache-Control", "no-store")
		next.ServeHTTP(w, r)
	})
}

// ready answers 200 where every part can be used, else 503; a line for each.
func (s *Server) ready(w http.ResponseWriter, r *http.Request) {
	ctx, cancel := context.WithTimeout(r.Context(), Patience)
	defer cancel()
	status, lines := http.StatusOK, ""
	for _, p := range s.cfg.Parts {
		text := "ready"
		if err := p.Ready(ctx); err != nil {
			status, text = http.StatusServiceUnavailable, "not ready: "+strings.Join(strings.Fields(err.Error()), " ")
		}
		lines += p.Name + ": " + text + "\n"
	}
	plain(w, status, lines)
}

func plain(w http.ResponseWriter, status int, text string) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.WriteHeader(status)
	_, _ = io.WriteString(w, text) // who asked has gone: nobody to tell
}
