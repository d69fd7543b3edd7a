package main

import (
	"context"

	"milepost/bot"
	"milepost/flow"
)

// standing gives what a job answers to "where are we", without asking: a step
// changes nothing.
func standing(s *flow.State, id bot.Identity, role flow.Role) ([]flow.Reply, map[flow.Who]string, error) {
	m := flow.Message{Who: s.Owner, Role: role, Text: "where are we"}
	names := map[flow.Who]string{}
	for w, p := range s.People {
		names[w] = p.Name
		if p.Identity == string(id) {
			m.Who, m.Role = w, p.Role
		}
	}
	out, err := flow.Step(s, m, flow.Env{Now: s.Last})
	return out.Replies, names, err
}

// seen knows the last entry of each job without reading its log again and again.
// It is for one goroutine.
type seen struct {
	house *house
	at    map[string]int64
}

// last is the sequence of the last entry of a job, "" being the one somebody is in.
func (s *seen) last(ctx context.Context, from bot.Identity, job string) int64 {
	if job == "" {
		var err error
		if job, err = s.house.store.Current(ctx, bot.DefaultShop, from); err != nil || job == "" {
			return 0
		}
	}
	if s.at == nil {
		s.at = map[string]int64{}
	}
	stored, err := s.house.store.Entries(ctx, bot.DefaultShop, job, s.at[job])
	if n := len(stored); err == nil && n > 0 {
		s.at[job] = stored[n-1].Seq
	}
	return s.at[job]
}
