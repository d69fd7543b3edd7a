package slack

import (
	"errors"
	"net/http"
	"path"
	"time"
)

// The library opens the next connection as soon as one has ended. That leaves no gap
// where Slack renews a connection, some times a day. Where Slack ends each as soon as it
// is open, as there are too many or Socket Mode was switched off, it would open some
// thousand a second: so after a few that brought nothing there are pauses.

// renewals is how many connections may follow one another at once.
const renewals = 4

// errOften says that Slack ends our connections as soon as they are open.
var errOften = errors.New("slack ends each connection as soon as it is open: is Socket Mode on, and does nothing else use the app's token?")

// doors paces the opening of connections. Only the library calls it, one at a time.
type doors struct {
	transport http.RoundTripper
	pace      *pace
	brought   bool // the connection there is has brought something
}

func newDoors(transport http.RoundTripper, every time.Duration) *doors {
	return &doors{transport: transport, pace: newPace(every, renewals)}
}

// RoundTrip is of http.RoundTripper.
func (d *doors) RoundTrip(r *http.Request) (*http.Response, error) {
	if path.Base(r.URL.Path) != "apps.connections.open" {
		return d.transport.RoundTrip(r)
	}
	if err := d.pace.enter(r.Context(), ""); err != nil {
		return nil, closed(r, err)
	}
	defer d.pace.leave(0)
	return d.transport.RoundTrip(r)
}

// bring notes that a connection brought something: it was worth opening, and costs
// nothing.
func (d *doors) bring() {
	if !d.brought {
		d.brought = true
		d.pace.unused()
	}
}

// failed notes that a connection did not come about: for that the library has pauses of
// its own.
func (d *doors) failed() { d.pace.unused() }

// renew notes that the next connection is to be opened, and says whether that waits.
func (d *doors) renew() (waits bool) {
	d.brought = false
	return d.pace.left() > 0
}
