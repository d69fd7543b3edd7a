package homeserver

import (
	"encoding/json"
	"fmt"
	"maps"
	"net/url"
	"slices"
	"strconv"
	"time"
)

// syncs is what a proxy does with answers of /sync, by the device (its access
// token) that asks.
type syncs struct {
	repeat int               // answers still to come twice
	twice  map[string]answer // to be given again at the next request

	hold time.Duration
	held map[string][]heldEvents // oldest first
}

type heldEvents struct {
	due    time.Time
	events []json.RawMessage
}

func newSyncs() syncs {
	return syncs{twice: map[string]answer{}, held: map[string][]heldEvents{}}
}

func (s *syncs) setHold(d time.Duration) {
	s.hold = d
	if d > 0 {
		return
	}
	for _, held := range s.held {
		for i := range held {
			held[i].due = time.Time{}
		}
	}
}

// again is the answer to be given a second time, if there is one.
func (s *syncs) again(device string) (answer, bool) {
	a, ok := s.twice[device]
	delete(s.twice, device)
	return a, ok
}

// shorten gives the request's target, waiting no longer than until something
// held is due, and a second at most, as it may be released before its time.
func (s *syncs) shorten(device string, u *url.URL, now time.Time) string {
	held := s.held[device]
	if len(held) == 0 {
		return u.RequestURI()
	}
	wait := min(time.Second, max(0, held[0].due.Sub(now)))
	query := u.Query()
	if ms, err := strconv.Atoi(query.Get("timeout")); err != nil || time.Duration(ms)*time.Millisecond > wait {
		query.Set("timeout", strconv.FormatInt(wait.Milliseconds(), 10))
	}
	short := *u
	short.RawQuery = query.Encode()
	return short.RequestURI()
}

// change holds back and hands out what was held, and keeps an answer that is to
// come twice. Nothing is touched if there is nothing to do.
func (s *syncs) change(device string, a answer, now time.Time) (answer, error) {
	if s.repeat == 0 && s.hold == 0 && len(s.held[device]) == 0 {
		return a, nil
	}
	var body map[string]json.RawMessage
	if err := json.Unmarshal(a.body, &body); err != nil {
		return a, fmt.Errorf("read /sync: %w", err)
	}
	if err := s.delay(device, body, now); err != nil {
		return a, fmt.Errorf("read /sync: %w", err)
	}
	var err error
	if a.body, err = json.Marshal(body); err != nil {
		return a, err
	}
	if s.repeat > 0 && brings(body) {
		s.repeat--
		s.twice[device] = a
	}
	return a, nil
}

// delay takes the events to the device out of an answer and puts those in that
// are due.
func (s *syncs) delay(device string, body map[string]json.RawMessage, now time.Time) error {
	var part struct {
		Events []json.RawMessage `json:"events"`
	}
	if raw := body["to_device"]; raw != nil {
		if err := json.Unmarshal(raw, &part); err != nil {
			return err
		}
	}
	held := s.held[device]
	if len(part.Events) > 0 {
		held = append(held, heldEvents{now.Add(s.hold), part.Events}) // last, so that their order stays
	}
	part.Events = nil
	for len(held) > 0 && !held[0].due.After(now) {
		part.Events = append(part.Events, held[0].events...)
		held = slices.Delete(held, 0, 1)
	}
	s.held[device] = held
	if len(part.Events) == 0 {
		delete(body, "to_device")
		return nil
	}
	var err error
	body["to_device"], err = json.Marshal(part)
	return err
}

// brings says if an answer has an event in a room or to the device.
func brings(body map[string]json.RawMessage) bool {
	var rooms struct {
		Join, Invite, Leave map[string]json.RawMessage
	}
	_ = json.Unmarshal(body["rooms"], &rooms) // absent: nothing
	for _, raw := range slices.Concat(slices.Collect(maps.Values(rooms.Join)), slices.Collect(maps.Values(rooms.Leave))) {
		var room struct {
			Timeline struct{ Events []json.RawMessage }
		}
		if json.Unmarshal(raw, &room) == nil && len(room.Timeline.Events) > 0 {
			return true
		}
	}
	return len(rooms.Invite) > 0 || body["to_device"] != nil
}
