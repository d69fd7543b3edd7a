package homeserver

import (
	"errors"
	"io"
	"log"
	"net"
	"net/http"
	"net/http/httputil"
	"net/url"
	"sync"
)

// gate is an address that can be closed, with all connections through it, and
// opened again.
type gate struct {
	addr      string
	handler   http.Handler
	transport *http.Transport
	running   sync.WaitGroup // open connections, and the loop that accepts them

	mu   sync.Mutex
	http *http.Server // nil while closed
}

func (g *gate) open() error {
	l, err := net.Listen("tcp", g.addr)
	if err != nil {
		return err
	}
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.http != nil {
		return errors.Join(errors.New("it is open already"), l.Close())
	}
	server := &http.Server{Handler: g.handler, ConnState: func(_ net.Conn, s http.ConnState) {
		switch s {
		case http.StateNew: // in the accepting loop
			g.running.Add(1)
		case http.StateClosed:
			g.running.Done()
		}
	}}
	g.http = server
	g.running.Go(func() { _ = server.Serve(l) })
	return nil
}

// close refuses and cuts connections, and waits until nothing runs for them.
func (g *gate) close() {
	g.mu.Lock()
	server := g.http
	g.http = nil
	g.mu.Unlock()
	if server == nil {
		return
	}
	server.Close()
	g.running.Wait()
	g.transport.CloseIdleConnections()
}

// newGate passes everything on as it is. Where there is no answer, the
// connection is closed, as the server itself would.
func newGate(addr string, target *url.URL) *gate {
	transport := &http.Transport{DisableCompression: true}
	return &gate{addr: addr, transport: transport, handler: &httputil.ReverseProxy{
		Rewrite:       func(r *httputil.ProxyRequest) { r.SetURL(target) },
		Transport:     transport,
		FlushInterval: -1,
		ErrorLog:      log.New(io.Discard, "", 0),
		ErrorHandler:  func(http.ResponseWriter, *http.Request, error) { panic(http.ErrAbortHandler) },
	}}
}
