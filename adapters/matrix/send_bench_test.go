package matrix

import (
	"fmt"
	"net/http"
	"testing"
	"time"

	"milepost/adapters/matrix/homeserver"
	"milepost/flow"
)

// What a message costs from being handed over to being accepted by the
// homeserver, and how much of it is the homeserver's own time, at a proxy's
// place (which adds to both).
func BenchmarkSend(b *testing.B) {
	for name, encrypted := range map[string]bool{"plain": false, "encrypted": true} {
		b.Run(name, func(b *testing.B) {
			s := homeserver.Start(b, homeserver.Options{})
			j := newJob(b, s, s.URL(), "milepost", encrypted)
			j.send(j.out(1, flow.Card, "unit 14"))
			var theirs time.Duration
			inner := j.m.now().client.Client.Transport
			j.m.now().client.Client.Transport = roundTrip(func(r *http.Request) (*http.Response, error) {
				start := time.Now()
				res, err := inner.RoundTrip(r)
				theirs += time.Since(start)
				return res, err
			})
			b.ResetTimer()
			for i := range b.N {
				j.send(j.out(10+i, flow.Notice, fmt.Sprintf("Kept: unit%d.bin, 18,432 bytes.", i)))
			}
			b.ReportMetric(float64(b.Elapsed()-theirs)/float64(b.N)/1e6, "own-ms/op")
			b.ReportMetric(float64(theirs)/float64(b.N)/1e6, "server-ms/op")
			j.m.now().client.Client.Transport = inner
		})
	}
}

type roundTrip func(*http.Request) (*http.Response, error)

func (f roundTrip) RoundTrip(r *http.Request) (*http.Response, error) { return f(r) }

// What writing a message out costs.
func BenchmarkRender(b *testing.B) {
	out := to(said(flow.Prompt, "Before anything, all of these.\n 1 no brake, stability, steering or airbag lamp\n 2 trouble codes read: none\n 3 supply on; volts?", "all yes"), "w1")
	for b.Loop() {
		render(&out)
	}
}
