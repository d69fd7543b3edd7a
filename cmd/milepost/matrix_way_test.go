package main

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"

	"milepost/adapters/matrix/person"
	"milepost/adapters/sqlite"
	"milepost/bot"
	"milepost/bot/bottest"
	"milepost/bot/journal"
	"milepost/flow"
)

// What the assistant marks its events with, for tests and for itself.
const (
	keyMark  = "org.milepost.key"
	rootMark = "org.milepost.root"
)

// crewWay takes a script into the program over Matrix: people write, and read
// what is answered.
type crewWay struct {
	*crew
	s       *bottest.Script
	disturb func(n int, write func()) // lets input n be written, and whatever else happens then
	ids     map[string]person.EventID
	begun   person.EventID // message that began the job
	shown   int            // messages read so far
	after   map[string]int64
}

// newCrewWay gathers the people of a script and starts the program, once what is
// to be prepared is.
func newCrewWay(t testing.TB, s *bottest.Script, encrypted bool, prepare ...func(*crew)) *crewWay {
	t.Helper()
	names := []string{}
	for _, p := range s.People {
		names = append(names, strings.ToLower(p.Name))
	}
	// One who only reads.
	people, names := append(slices.Clone(s.People), bottest.ScriptPerson{Name: "Onlooker", Role: flow.Supervisor}), append(names, "onlooker")
	w := &crewWay{crew: newCrew(t, encrypted, s.Policy, people...), s: s, ids: map[string]person.EventID{},
		disturb: func(_ int, write func()) { write() }}
	for _, p := range prepare {
		p(w.crew)
	}
	w.start().ready()
	w.gather(names...)
	return w
}

// script is one of the golden conversations.
func script(t testing.TB, name string) *bottest.Script {
	t.Helper()
	for _, s := range bottest.ReadScripts(t, "../../testdata/conversations") {
		if s.Name == name {
			return s
		}
	}
	t.Fatalf("there is no conversation %q", name)
	return nil
}

// Give lets somebody write and waits for all that is to be answered. The same
// again is nothing: it is the network that delivers again, when it is killed.
func (w *crewWay) Give(m bottest.ScriptMessage) ([]bottest.ScriptSaid, map[string]int64, error) {
	if w.ids[m.ID] != "" {
		return nil, w.after, nil
	}
	var n int
	if _, err := fmt.Sscanf(m.ID, "m%d", &n); err != nil {
		return nil, nil, err
	}
	w.disturb(n, func() { w.ids[m.ID] = w.says(m) })
	reader, want := w.people[strings.ToLower(m.Who.Name)], w.shown+len(w.s.Inputs[n-1].Said)
	var seen []person.Event
	reader.Wait(w.room, fmt.Sprintf("%d answers to input %d", len(w.s.Inputs[n-1].Said), n), func(all []person.Event) bool {
		seen = w.said(all)
		return len(seen) >= want && !slices.ContainsFunc(seen, unread)
	})
	if err := w.look(w.ids[m.ID]); err != nil {
		return nil, nil, err
	}
	var said []bottest.ScriptSaid
	for _, e := range seen[w.shown:] {
		text := e.Body
		for job := range w.after {
			text = strings.ReplaceAll(text, job, "JOB")
		}
		said = append(said, bottest.ScriptSaid{Text: text})
	}
	w.shown = len(seen)
	return said, w.after, nil
}

// says lets somebody write: what begins a job in the room, the rest in the job's
// thread.
func (w *crewWay) says(m bottest.ScriptMessage) person.EventID {
	q := w.people[strings.ToLower(m.Who.Name)]
	if w.begun == "" {
		w.begun = q.Mention(w.room, m.Text, assistant)
		return w.begun
	}
	root := w.root(q)
	switch {
	case m.Edit != "":
		return q.Edit(w.room, w.ids[m.Edit], m.Text)
	case m.Delete != "":
		return q.Redact(w.room, w.ids[m.Delete])
	case m.File != "":
		return q.SendFile(w.room, root, m.File, m.Bytes, "application/octet-stream")
	}
	return q.SayInThread(w.room, root, m.Text)
}

// root waits for the card on which the thread hangs.
func (w *crewWay) root(q *person.Person) (root person.EventID) {
	q.Wait(w.room, "the job's card", func(all []person.Event) bool {
		for _, e := range all {
			if e.Sender == assistant && e.Root == "" && e.ReplyTo == w.begun {
				root = e.ID
			}
		}
		return root != ""
	})
	return root
}

// look reads in the store that a message was taken in once, and how far the logs
// go.
func (w *crewWay) look(id person.EventID) error {
	heard, ends, err := heardOnce(w.data)
	if w.after = ends; err == nil && heard[inLog(id)] != 1 {
		err = fmt.Errorf("answered, but %d times in the store", heard[inLog(id)])
	}
	return err
}

// inLog is how a log names a message: by a hash.
func inLog(id person.EventID) string {
	sum := sha256.Sum256([]byte("matrix\x00" + id))
	return hex.EncodeToString(sum[:12])
}

// heardOnce counts how often each message of the network is in a store's logs,
// and gives the number of entries of each job.
func heardOnce(dir string) (heard map[string]int, ends map[string]int64, err error) {
	ctx := context.Background()
	store, err := sqlite.Open(ctx, sqlite.Config{Dir: dir, ReadOnly: true})
	if err != nil {
		return nil, nil, err
	}
	defer store.Close()
	jobs, err := store.Jobs(ctx, bot.DefaultShop)
	if err != nil {
		return nil, nil, err
	}
	heard, ends = map[string]int{}, map[string]int64{}
	for _, job := range jobs {
		if job == journal.ShopJob {
			continue
		}
		entries, err := store.Entries(ctx, bot.DefaultShop, job, 0)
		if err != nil {
			return nil, nil, err
		}
		ends[job] = int64(len(entries))
		for _, e := range entries {
			l, err := journal.Parse(e.Bytes)
			if err != nil {
				return nil, nil, err
			}
			var f flow.HeardFact
			if l.Kind == string(flow.KindHeard) {
				if err := json.Unmarshal(l.Data, &f); err != nil {
					return nil, nil, err
				}
				heard[f.ID]++
			}
		}
	}
	return heard, ends, nil
}

// said picks what the assistant said, but for the card and for log heads, which
// come when they come.
func (c *crew) said(all []person.Event) []person.Event {
	return slices.DeleteFunc(slices.Clone(all), func(e person.Event) bool { return e.Sender != assistant || isCard(e) || isHead(e) })
}

func unread(e person.Event) bool { return e.Err != "" }

func isCard(e person.Event) bool { return e.Sender == assistant && e.Content[rootMark] != nil }

func isHead(e person.Event) bool {
	return e.Sender == assistant && strings.HasPrefix(e.Body, "Log head ")
}
