package bot

import (
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"time"

	"milepost/flow"
)

// send is one message on its way out: its row in the store and what the row
// says.
type send struct {
	row OutRow
	out Outbound
	at  time.Time // since when this process has had it in a line

	erased bool // its row is gone from the store
}

// outgoing addresses the replies of a turn: to the threads meant for the role
// they are worded for, else to those meant for everyone, else to where the
// message came from.
func (b *Bot) outgoing(v *visit, l *lane, joined *JobThread, out flow.Outcome) ([]send, error) {
	threads := l.threads
	if joined != nil {
		threads = append(threads[:len(threads):len(threads)], *joined)
	}
	log, by := out.State.Seq, author(v, out.State)
	sends, err := b.cards(v, l, threads, joined, &out)
	if err != nil {
		return nil, err
	}
	for i := range out.Replies {
		r := &out.Replies[i]
		for n, t := range b.targets(v, threads, joined, r, out.State) {
			o := Outbound{Key: outKey(v.job, r.Seq, n), Shop: v.shop.name, Network: t.Network, Thread: t.Thread,
				Job: v.job, Log: log, Reply: *r, Names: names(out.State, r.To), Users: users(out.State, r.To), By: by,
				After: v.in.Delivery, Took: out.Took, Asked: asked(out.State, v.shop.policyNow())}
			if slices.Contains(v.shop.cfg.Alerts, t) {
				v.shop.inAlertRoom(&o, out.State)
			}
			s, err := newSend(o)
			if err != nil {
				return nil, err
			}
			sends = append(sends, s)
		}
	}
	return sends, nil
}

// cards gives each thread the job's card as it stands now: where the network can
// change it in place whenever a word of it changes, else when the phase does. A
// thread begins with one. It is no entry: it says nothing that is not one.
func (b *Bot) cards(v *visit, l *lane, threads []JobThread, joined *JobThread, out *flow.Outcome) ([]send, error) {
	s := out.State
	policy, now := v.shop.policyNow(), b.now()
	moved := l.state.Phase != s.Phase
	var sends []send
	for n, t := range threads {
		edits := b.out.edits(t.Network)
		begins := joined != nil && n == len(threads)-1
		if !moved && !begins && !edits {
			continue
		}
		role := t.For
		if role == "" {
			role = s.People[s.Owner].Role
		}
		plain := flow.RegisterOf(role) == flow.Plain
		text := flow.CardText(s, policy, now, plain)
		if !begins && edits && text == flow.CardText(l.state, policy, now, plain) {
			continue
		}
		o, err := newSend(Outbound{Key: outKey(v.job, s.Seq, n) + "/card", Shop: v.shop.name, Network: t.Network, Thread: t.Thread, Job: v.job, Log: s.Seq,
			After: v.in.Delivery, Took: out.Took, Asked: asked(s, policy),
			Reply: flow.Reply{Seq: s.Seq, Kind: flow.Card, Role: role, Phase: s.Phase, Text: text}})
		if err != nil {
			return nil, err
		}
		sends = append(sends, o)
	}
	return sends, nil
}

// asked is the question that a job has open.
func asked(s *flow.State, p flow.Policy) Asked {
	if s.Asked == nil {
		return Asked{}
	}
	return Asked{Ask: s.Asked.Ask, Question: s.Asked.Question, To: s.Asked.To, Speed: flow.SpeedUnit(s, p)}
}

// outKey is a message's identity for good: sending it again is the same
// message. A reply that goes to several threads is a message in each.
func outKey(job string, seq int64, n int) string {
	key := job + "/" + strconv.FormatInt(seq, 10)
	if n > 0 {
		key += "/" + strconv.Itoa(n+1)
	}
	return key
}

func newSend(o Outbound) (send, error) {
	payload, err := json.Marshal(o)
	if err != nil {
		return send{}, fmt.Errorf("message %s: %w", o.Key, err)
	}
	return send{out: o, row: OutRow{Key: o.Key, Shop: o.Shop, Job: o.Job, Network: o.Network, Thread: o.Thread, Payload: payload}}, nil
}

// targets gives the threads a reply goes to.
func (b *Bot) targets(v *visit, threads []JobThread, joined *JobThread, r *flow.Reply, s *flow.State) []JobThread {
	here := JobThread{Network: v.in.Network, Thread: v.in.Thread}
	loose := v.in.Loose && joined == nil && len(threads) > 0 // written beside the job's threads: answered in them
	if !v.wake && !loose && r.Kind != flow.Prompt && len(r.To) == 1 && s.People[r.To[0]].Identity == string(v.in.From) {
		return []JobThread{here} // said to the one who asked, where he asked
	}
	if r.Role == flow.Helper || r.Role == flow.Supervisor {
		if ts := forRole(v.shop.cfg.Alerts, r.Role); len(ts) > 0 && len(r.To) == 0 {
			return ts // for nobody who is in the job
		}
	}
	if ts := forRole(threads, r.Role); len(ts) > 0 {
		if slices.ContainsFunc(r.To, func(w flow.Who) bool { return s.People[w].Called }) {
			ts = append(ts, forRole(threads, "")...) // there he reads it who has not spoken
		}
		return ts
	}
	if ts := forRole(threads, ""); len(ts) > 0 {
		return ts
	}
	if v.wake || loose {
		return threads
	}
	return []JobThread{here}
}

func forRole(threads []JobThread, r flow.Role) []JobThread {
	var ts []JobThread
	for _, t := range threads {
		if t.For == r {
			ts = append(ts, t)
		}
	}
	return ts
}

// names gives what those are called for whom a reply is; none named: whoever
// does the work.
func names(s *flow.State, to []flow.Who) map[flow.Who]string {
	if len(to) == 0 && s.Owner != "" {
		to = []flow.Who{s.Owner}
	}
	m := make(map[flow.Who]string, len(to))
	for _, w := range to {
		if n := s.People[w].Name; n != "" {
			m[w] = n
		}
	}
	return m
}

// users gives the identities of those a reply is for: a network that can call
// someone needs them.
func users(s *flow.State, to []flow.Who) map[flow.Who]Identity {
	m := make(map[flow.Who]Identity, len(to))
	for _, w := range to {
		if id := s.People[w].Identity; id != "" {
			m[w] = Identity(id)
		}
	}
	return m
}

// author gives who in a job wrote the message of a turn, "" if it was the clock.
func author(v *visit, s *flow.State) flow.Who {
	if v.wake {
		return ""
	}
	p, _ := personOf(s, v.in.From)
	return p.Who
}
