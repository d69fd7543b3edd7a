package bot

import (
	"context"
	"slices"
	"strings"
	"time"

	"milepost/flow"
	"milepost/flow/words"
)

// Bounds of what a network is asked about who is where.
const (
	hereWait    = 5 * time.Second // a call does not wait longer to find out whom it reaches
	maxThreads  = 8               // of a job
	maxCallable = 200             // people of a shop on one network
)

// callsFor says whether a turn leads to something that is for people who may not
// have spoken in the job yet: a call, a question to a role, a hand-over to a name.
func callsFor(entries []flow.Entry) bool {
	return slices.ContainsFunc(entries, func(e flow.Entry) bool {
		switch f := e.Fact.(type) {
		case *flow.AlertFact:
			return true
		case *flow.AskedFact:
			return f.To != ""
		case *flow.HandOverFact:
			return f.To == ""
		}
		return false
	})
}

// here gives those of the shop's people who read a thread of the job and are not
// in it yet. What a network can't tell, or not in time, is nobody: whoever calls
// learns that nobody was reached.
func (b *Bot) here(ctx context.Context, v *visit, l *lane, st standing) []flow.Person {
	threads := l.threads
	if j := v.in; !v.wake {
		if t := joining(v, l, st); t != nil {
			threads = append(threads[:len(threads):len(threads)], JobThread{Network: j.Network, Thread: j.Thread, For: t.For})
		}
	}
	ctx, cancel := context.WithTimeout(ctx, hereWait)
	defer cancel()
	var ps []flow.Person
	seen := map[Identity]bool{v.in.From: true}
	for _, p := range l.state.People {
		seen[Identity(p.Identity)] = true
	}
	for _, t := range threads[:min(len(threads), maxThreads)] {
		n, ok := b.out.networks[t.Network].(Roster)
		if !ok {
			continue
		}
		of := v.shop.peopleOn(t.Network, func(id Identity, r flow.Role) bool { return !seen[id] && (t.For == "" || t.For == r) })
		if len(of) == 0 {
			continue
		}
		names, err := n.Present(ctx, t.Thread, of)
		if err != nil {
			b.cfg.Log.Warn("who is in a thread can't be told; they can't be called", "job", v.job, "network", t.Network, "err", err)
			continue
		}
		for _, id := range of {
			name, is := names[id]
			if !is {
				continue
			}
			who, err := b.newWho(l.state)
			if err != nil || slices.ContainsFunc(ps, func(p flow.Person) bool { return p.Who == who }) {
				continue
			}
			seen[id] = true
			ps = append(ps, flow.Person{Who: who, Role: known(v.shop.cfg.People[id]), Identity: string(id),
				Name: callName(&Inbound{From: id, Name: name})})
		}
	}
	return ps
}

// peopleOn gives a shop's people on a network, in one order.
func (s *shop) peopleOn(network string, is func(Identity, flow.Role) bool) []Identity {
	var of []Identity
	for id, r := range s.cfg.People {
		if strings.HasPrefix(string(id), network+":") && is(id, r) {
			of = append(of, id)
		}
	}
	slices.Sort(of)
	return of[:min(len(of), maxCallable)]
}

// alertsFor says for which roles the shop has a room of alerts.
func (s *shop) alertsFor() map[flow.Role]bool {
	m := map[flow.Role]bool{}
	for _, t := range s.cfg.Alerts {
		m[t.For] = true
	}
	return m
}

// inAlertRoom words a message for a room of alerts, where no thread tells which
// job it is of, and calls there those of the role whom the shop has named.
func (s *shop) inAlertRoom(o *Outbound, st *flow.State) {
	o.Reply.Text = say("bot.alert", o.Reply.Role, words.Args{"Job": o.Job, "Vehicle": st.Vehicle, "Text": o.Reply.Text})
	o.Names, o.Users = map[flow.Who]string{}, map[flow.Who]Identity{}
	for _, id := range s.peopleOn(o.Network, func(_ Identity, r flow.Role) bool { return known(r) == o.Reply.Role }) {
		if len(o.Reply.To) == maxAlerted {
			break
		}
		who := flow.Who("alert-" + string(id)) // nobody in the job: only to name him here
		o.Reply.To = append(o.Reply.To, who)
		o.Users[who] = id
	}
}

// maxAlerted bounds who is called by name in a room of alerts.
const maxAlerted = 5
