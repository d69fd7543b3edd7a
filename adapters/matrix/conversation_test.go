package matrix

import (
	"context"
	"errors"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"

	"maunium.net/go/mautrix/id"

	"milepost/adapters/matrix/homeserver"
	"milepost/adapters/matrix/person"
	"milepost/bot"
	"milepost/bot/bottest"
	"milepost/bot/journal"
	"milepost/flow"
)

// The conversations of the terminal go the same through a real homeserver: the
// same words, and the same entries but for identities and times.
func TestConversationsPlain(t *testing.T) { testConversations(t, false) }

func TestConversationsEncrypted(t *testing.T) { testConversations(t, true) }

func testConversations(t *testing.T, encrypted bool) {
	if encrypted && !hasEncryption {
		t.Skip("encrypted rooms need the build tag goolm")
	}
	for i, s := range bottest.ReadScripts(t, "../../testdata/conversations") {
		if !s.Has(bottest.WayBot) || slices.ContainsFunc(s.Inputs, func(in *bottest.ScriptInput) bool { return in.Ago > 0 || in.Unread }) {
			continue // what comes late or unread is of tests of its own
		}
		if testing.Short() && i%6 != 0 {
			continue
		}
		t.Run(s.Name, func(t *testing.T) {
			t.Parallel() // they wait for the server most of the time
			want := s.Play(t, bottest.NewBotWay(t, s))
			p := newParty(t, s, encrypted)
			got := s.Play(t, p.way)
			got.Same(t, want)
			p.allSeen()
		})
	}
}

// party is the people of a script in one room with the assistant.
type party struct {
	t         testing.TB
	encrypted bool
	server    *homeserver.Server
	people    map[string]*person.Person
	room      id.RoomID
	us        id.UserID
	way       *bottest.NetWay
	begun     map[id.EventID]bool // messages that began a job
	before    map[id.EventID]bool // cards of earlier jobs
	root      id.EventID          // of the job last begun, "" before
}

func newParty(t testing.TB, s *bottest.Script, encrypted bool) *party {
	server := homeserver.Start(t, homeserver.Options{})
	p := &party{t: t, encrypted: encrypted, server: server, people: map[string]*person.Person{}, begun: map[id.EventID]bool{}, before: map[id.EventID]bool{}}
	p.us = id.UserID(server.Register(t, "milepost", "a long secret").UserID)
	net, err := New(Config{Homeserver: server.URL(), User: string(p.us), Password: "a long secret", PickleKey: "pickle", Dir: t.TempDir(),
		Encryption: encrypted, May: func(string) bool { return true }})
	if err != nil {
		t.Fatal(err)
	}
	p.way = bottest.NewNetWay(t, s, net, p)
	net.cfg.Blobs = p.way.Store()
	ctx, cancel := context.WithCancel(context.Background())
	var wg sync.WaitGroup
	wg.Go(func() {
		if err := net.Run(ctx, p.way); err != nil && !errors.Is(err, context.Canceled) {
			t.Errorf("run: %v", err)
		}
	})
	t.Cleanup(func() { cancel(); wg.Wait() })
	var all []id.UserID
	var first *person.Person
	for _, sp := range s.People {
		q := p.person(sp)
		all = append(all, q.ID)
		if first == nil {
			first = q
		}
	}
	p.room = first.CreateRoom("bay", encrypted, append(all[1:], p.us)...)
	for _, q := range p.people {
		q.WaitJoined(p.room, append(all, p.us)...)
	}
	return p
}

func (p *party) person(sp bottest.ScriptPerson) *person.Person {
	q := p.people[sp.Name]
	if q == nil {
		q = person.New(p.t, person.Config{Server: p.server, Name: strings.ToLower(sp.Name), Encrypted: p.encrypted})
		if err := q.Client.SetDisplayName(context.Background(), sp.Name); err != nil {
			p.t.Fatal(err)
		}
		p.people[sp.Name] = q
	}
	return q
}

func (p *party) Identity(sp bottest.ScriptPerson) bot.Identity {
	return Identity("@" + strings.ToLower(sp.Name) + ":localhost")
}

// Say writes in the job's thread; what begins a job, and what is written before
// there is one, in the room.
func (p *party) Say(sp bottest.ScriptPerson, text string) string {
	q := p.person(sp)
	if strings.HasPrefix(strings.ToLower(text), "new job") || !p.hasRoot(q) {
		at := q.Mention(p.room, text, p.us)
		if p.root != "" {
			p.before[p.root], p.root = true, ""
		}
		p.begun[at] = true
		return string(at)
	}
	return string(q.SayInThread(p.room, p.root, text))
}

// hasRoot finds the card of the job last begun, and waits for it where something
// has been said in that job: its key may come a moment later.
func (p *party) hasRoot(q *person.Person) bool {
	if p.root != "" {
		return true
	}
	find := func(all []person.Event) bool {
		for _, e := range all {
			if e.Sender == p.us && e.Root == "" && p.begun[e.ReplyTo] && e.Content[rootName] != nil && !p.before[e.ID] {
				p.root = e.ID
			}
		}
		return p.root != ""
	}
	jobs := map[string]bool{}
	for _, o := range p.way.Said() {
		jobs[o.Job] = o.Job != "" && o.Job != journal.ShopJob
	}
	n := 0
	for _, is := range jobs {
		if is {
			n++
		}
	}
	if n > len(p.before) {
		q.Wait(p.room, "the job's card", find)
	}
	return p.root != ""
}

func (p *party) File(sp bottest.ScriptPerson, name string, content []byte) string {
	q := p.person(sp)
	p.hasRoot(q)
	return string(q.SendFile(p.room, p.root, name, content, "application/octet-stream"))
}

func (p *party) Edit(sp bottest.ScriptPerson, delivery, text string) string {
	return string(p.person(sp).Edit(p.room, id.EventID(delivery), text))
}

func (p *party) Delete(sp bottest.ScriptPerson, delivery string) string {
	return string(p.person(sp).Redact(p.room, id.EventID(delivery)))
}

// Tap puts the sign of a choice's number to the message that offers it.
func (p *party) Tap(sp bottest.ScriptPerson, choice flow.Choice) string {
	said := p.way.Said()
	for i := len(said) - 1; i >= 0; i-- {
		n := slices.IndexFunc(said[i].Reply.Choices, func(c flow.Choice) bool { return c.Send == choice.Send })
		if n < 0 {
			continue
		}
		q := p.person(sp)
		var at id.EventID
		q.Wait(p.room, "the message that offers it", func(all []person.Event) bool {
			for _, e := range all {
				if e.Sender == p.us && e.Content[keyName] == transaction(outKey(&said[i])) {
					at = e.ID
				}
			}
			return at != ""
		})
		return string(q.React(p.room, at, strconv.Itoa(n+1)+"\ufe0f\u20e3"))
	}
	p.t.Fatalf("nothing offers %q", choice.Send)
	return ""
}

// allSeen checks that everybody reads every message once, in the order in which
// it was said, and that everything of a job but its card is in its thread.
func (p *party) allSeen() {
	said := p.way.Said()
	for name, q := range p.people {
		var got, bodies []string
		q.Wait(p.room, "all that was said", func(all []person.Event) bool {
			got, bodies = nil, nil
			for _, e := range all {
				key, _ := e.Content[keyName].(string)
				if e.Sender != p.us || e.Content[rootName] != nil {
					continue
				}
				if e.Err != "" {
					return false // its key is on its way
				}
				if e.Encrypted != p.encrypted {
					p.t.Errorf("%s reads %+v", name, e)
				}
				got, bodies = append(got, key), append(bodies, e.Body)
			}
			return len(got) >= len(said)
		})
		var want []string
		for _, o := range said {
			want = append(want, transaction(outKey(&o)))
		}
		for i := range max(len(got), len(want)) {
			if i >= len(got) || i >= len(want) || got[i] != want[i] {
				p.t.Errorf("%s sees %d messages of %d; number %d is %q", name, len(got), len(want), i+1, at(bodies, i))
				break
			}
		}
	}
}

func at(s []string, i int) string {
	if i < len(s) {
		return s[i]
	}
	return ""
}
