package matrix

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"testing"
	"time"

	"maunium.net/go/mautrix/event"

	"milepost/bot"
)

// fill puts messages into the inbox as a sync does, and gives a running
// assistant that has no server.
func fill(t *testing.T, m *stint, lanes map[string]string, order []string) {
	t.Helper()
	var events []*event.Event
	for i, words := range order {
		rel := ""
		if root := lanes[words[:1]]; root != "" {
			rel = `,"m.relates_to":{"rel_type":"m.thread","event_id":"` + root + `"}`
		}
		e := parse(t, strings.Replace(text(words, rel), `"$e"`, fmt.Sprintf(`"$e%d"`, i), 1))
		e.RoomID = "!work:shop.example"
		events = append(events, e)
	}
	tx, err := m.state.db.Begin()
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range events {
		if err := m.putEvent(context.Background(), tx, e, false, time.Now().UnixMilli()); err != nil {
			t.Fatal(err)
		}
	}
	if err := tx.Commit(); err != nil {
		t.Fatal(err)
	}
}

// answering runs the workers until it is stopped.
func answering(t testing.TB, m *stint, e *ear, most int) (stop func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	m.in.hear, m.in.lanes = e, newLanes(most)
	if err := m.load(ctx); err != nil {
		t.Fatal(err)
	}
	done := make(chan struct{}, workers+1)
	for range workers {
		go func() { m.answer(ctx); done <- struct{}{} }()
	}
	go func() { m.sweep(ctx); done <- struct{}{} }()
	return func() {
		cancel()
		m.in.lanes.close()
		for range workers + 1 {
			<-done
		}
		if err := m.dropHandled(context.Background()); err != nil {
			t.Error(err)
		}
	}
}

func (m *stint) rows(t *testing.T) (waits []int) {
	t.Helper()
	rows, err := m.state.db.Query("SELECT waits FROM inbox ORDER BY n")
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	for rows.Next() {
		var w int
		if err := rows.Scan(&w); err != nil {
			t.Fatal(err)
		}
		waits = append(waits, w)
	}
	return waits
}

func of(list []bot.Inbound, prefix string) (all []string) {
	for _, in := range list {
		if strings.HasPrefix(in.Text, prefix) {
			all = append(all, in.Text)
		}
	}
	return all
}

// A store that is away holds up its own lane only, and nothing overtakes.
func TestOrderWhileStoreIsAway(t *testing.T) {
	m := quiet(t)
	fill(t, m, map[string]string{"a": "$card"}, []string{"a1", "b1", "a2", "b2", "a3", "b3"})
	e := newEar()
	tries := 0
	e.refuse = func(in bot.Inbound) error {
		if in.Text == "a1" && tries < 2 {
			tries++
			return &bot.Error{Kind: bot.Unavailable, Err: errors.New("disk is full")}
		}
		return nil
	}
	stop := answering(t, m, e, lanesMost)
	e.wait(t, 6, nil)
	stop()
	list := e.all()
	if a, b := of(list, "a"), of(list, "b"); !slices.Equal(a, []string{"a1", "a2", "a3"}) || !slices.Equal(b, []string{"b1", "b2", "b3"}) {
		t.Errorf("order %q %q", a, b)
	}
	if !slices.Equal(texts(list)[:3], []string{"b1", "b2", "b3"}) {
		t.Errorf("the other lane waited: %q", texts(list))
	}
	if left := m.rows(t); len(left) != 0 {
		t.Errorf("rows left: %v", left)
	}
}

// What can't be handled by a fault of the program is put aside after some tries,
// a panic among them; its lane goes on.
func TestPoison(t *testing.T) {
	if testing.Short() {
		t.Skip("waits for real")
	}
	for _, c := range []struct {
		name string
		fail func() error
	}{
		{"internal", func() error { return &bot.Error{Kind: bot.Internal, Err: errors.New("broken")} }},
		{"panic", func() error { panic("words of a person") }},
		{"unknown", func() error { return errors.New("odd") }},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			m := quiet(t)
			log := &lines{}
			m.cfg.Log = slog.New(slog.NewTextHandler(log, nil))
			fill(t, m, nil, []string{"bad", "good"})
			// Nearly all tries are over: a test need not wait for them.
			if _, err := m.state.db.Exec("UPDATE inbox SET tries = ? WHERE event = '$e0'", poisonAfter-2); err != nil {
				t.Fatal(err)
			}
			e := newEar()
			e.refuse = func(in bot.Inbound) error {
				if in.Text == "bad" {
					return c.fail()
				}
				return nil
			}
			stop := answering(t, m, e, lanesMost)
			e.text(t, "good")
			stop()
			if left := m.rows(t); !slices.Equal(left, []int{waitsPoisoned}) {
				t.Errorf("rows left: %v", left)
			}
			if n := log.count(`msg="matrix: panic in a message"`); c.name == "panic" && n != 2 || log.count("words of a person") != 0 {
				t.Errorf("%d panics logged", n)
			}
		})
	}
}

func TestRefusedIsDone(t *testing.T) {
	m := quiet(t)
	fill(t, m, nil, []string{"bad", "good"})
	e := newEar()
	e.refuse = func(in bot.Inbound) error {
		if in.Text == "bad" {
			return &bot.Error{Kind: bot.Invalid, Err: errors.New("no such shop")}
		}
		return nil
	}
	stop := answering(t, m, e, lanesMost)
	e.text(t, "good")
	stop()
	if left := m.rows(t); len(left) != 0 {
		t.Errorf("rows left: %v", left)
	}
}

// What was not handled when it stopped is handled after the next start, and the
// same events again are no new rows.
func TestRowsStay(t *testing.T) {
	m := quiet(t)
	fill(t, m, nil, []string{"one", "two"})
	fill(t, m, nil, []string{"one", "two"})
	e := newEar()
	block := true
	e.refuse = func(in bot.Inbound) error {
		if block {
			return &bot.Error{Kind: bot.Unavailable, Err: errors.New("away")}
		}
		return nil
	}
	stop := answering(t, m, e, lanesMost)
	time.Sleep(50 * time.Millisecond)
	stop()
	if left := m.rows(t); !slices.Equal(left, []int{0, 0}) {
		t.Fatalf("rows left: %v", left)
	}
	block = false
	stop = answering(t, m, e, lanesMost)
	e.wait(t, 2, nil)
	stop()
	if got := texts(e.all()); !slices.Equal(got, []string{"one", "two"}) {
		t.Errorf("heard %q", got)
	}
}

// More rows than are held in memory are taken in as there is room.
func TestMoreThanFits(t *testing.T) {
	m := quiet(t)
	tx, err := m.state.db.Begin()
	if err != nil {
		t.Fatal(err)
	}
	const most, n = 100, 1500
	for i := range n {
		raw, _ := json.Marshal(map[string]any{"event_id": fmt.Sprintf("$m%d", i), "sender": "@ann:shop.example", "type": "m.room.message",
			"content": map[string]any{"msgtype": "m.text", "body": fmt.Sprint(i)}})
		if _, err := tx.Exec("INSERT INTO inbox (event, room, lane, sender, raw, came) VALUES (?, '!work:shop.example', ?, '@ann:shop.example', ?, 0)", fmt.Sprintf("$m%d", i), fmt.Sprint(i%7), raw); err != nil {
			t.Fatal(err)
		}
	}
	if err := tx.Commit(); err != nil {
		t.Fatal(err)
	}
	e := newEar()
	begin := time.Now()
	stop := answering(t, m, e, most)
	if free, _ := m.in.lanes.room(); free < 0 {
		t.Errorf("%d rows more than fit", -free)
	}
	got := e.wait(t, n, nil)
	stop()
	t.Logf("%d messages in %v", n, time.Since(begin).Round(time.Millisecond))
	last := map[int]int{}
	for _, in := range got {
		var i int
		fmt.Sscan(in.Text, &i)
		if i < last[i%7] {
			t.Fatalf("%d after %d", i, last[i%7])
		}
		last[i%7] = i
	}
	if left := m.rows(t); len(left) != 0 {
		t.Errorf("%d rows left", len(left))
	}
}

// A tombstone, a redacted message and another's state are no words.
func TestHeardKinds(t *testing.T) {
	for raw, want := range map[string]bool{
		text("x", ""):    true,
		react("$x", "1"): true,
		`{"event_id":"$e","type":"m.room.encrypted","content":{}}`:                                            true,
		`{"event_id":"$e","type":"m.room.encrypted","content":{},"unsigned":{"redacted_because":{}}}`:         false,
		`{"event_id":"$e","type":"m.room.message","content":{},"unsigned":{"redacted_because":{"type":"x"}}}`: false,
		`{"event_id":"$e","type":"m.room.message","state_key":"","content":{}}`:                               false,
		`{"event_id":"$e","type":"m.room.tombstone","state_key":"","content":{}}`:                             true,
		`{"event_id":"$e","type":"m.room.tombstone","content":{}}`:                                            false,
		`{"event_id":"$e","type":"m.room.member","state_key":"@a:b","content":{}}`:                            false,
		`{"event_id":"$e","type":"invitation","content":{}}`:                                                  false,
	} {
		if got := heard(parse(t, raw)); got != want {
			t.Errorf("%s: %t", raw, got)
		}
	}
}

// From a message stored to it being handed over, deleted rows included.
func BenchmarkInbox(b *testing.B) {
	m := quiet(b)
	tx, err := m.state.db.Begin()
	if err != nil {
		b.Fatal(err)
	}
	for i := range b.N {
		e := parse(b, strings.Replace(text("225/45 R17", `,"m.relates_to":{"rel_type":"m.thread","event_id":"$card"}`), `"$e"`, fmt.Sprintf(`"$e%d"`, i), 1))
		e.RoomID = "!work:shop.example"
		if err := m.putEvent(context.Background(), tx, e, false, 1); err != nil {
			b.Fatal(err)
		}
	}
	if err := tx.Commit(); err != nil {
		b.Fatal(err)
	}
	e := newEar()
	b.ResetTimer()
	stop := answering(b, m, e, lanesMost)
	e.wait(b, b.N, nil)
	stop()
}
