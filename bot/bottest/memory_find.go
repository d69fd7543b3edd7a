package bottest

import (
	"cmp"
	"context"
	"slices"

	"milepost/bot"
)

// Current implements bot.Store.
func (m *Memory) Current(_ context.Context, shop string, id bot.Identity) (job string, err error) {
	m.look(shop, func(s *memShop) { job = s.Current[id] })
	return job, nil
}

// Threads implements bot.Store.
func (m *Memory) Threads(_ context.Context, shop, job string) (out []bot.JobThread, err error) {
	m.look(shop, func(s *memShop) {
		for _, t := range s.Threads {
			if t.Job == job {
				out = append(out, t.JobThread)
			}
		}
	})
	return out, nil
}

// ThreadJob implements bot.Store.
func (m *Memory) ThreadJob(_ context.Context, shop, network string, t bot.Thread) (job string, err error) {
	m.look(shop, func(s *memShop) {
		for _, j := range s.Threads {
			if j.Network == network && j.Thread == t {
				job = j.Job
			}
		}
	})
	return job, nil
}

// Index implements bot.Store.
func (m *Memory) Index(_ context.Context, shop string, openOnly bool) (out []bot.IndexRow, err error) {
	m.look(shop, func(s *memShop) {
		for _, r := range s.Rows {
			if r.Open || !openOnly {
				out = append(out, cloneRow(r))
			}
		}
	})
	slices.SortFunc(out, func(a, b bot.IndexRow) int { return cmp.Or(a.Since.Compare(b.Since), cmp.Compare(a.Job, b.Job)) })
	return out, nil
}

// Known implements bot.Store.
func (m *Memory) Known(_ context.Context, shop, key string) (jobs []string, err error) {
	m.look(shop, func(s *memShop) { jobs = s.began(s.Keys[key]) })
	slices.Reverse(jobs)
	return jobs, nil
}

// began puts jobs in the order they began.
func (s *memShop) began(jobs []string) []string {
	jobs = slices.Clone(jobs)
	slices.SortFunc(jobs, func(a, b string) int { return cmp.Compare(slices.Index(s.Jobs, a), slices.Index(s.Jobs, b)) })
	return jobs
}

// Jobs implements bot.Store.
func (m *Memory) Jobs(_ context.Context, shop string) (jobs []string, err error) {
	m.look(shop, func(s *memShop) { jobs = slices.Clone(s.Jobs) })
	return jobs, nil
}

// EvidenceJobs implements bot.Store.
func (m *Memory) EvidenceJobs(_ context.Context, shop, sha256 string) (jobs []string, err error) {
	m.look(shop, func(s *memShop) { jobs = s.began(s.Evidence[sha256]) })
	return jobs, nil
}

// Reindex implements bot.Store.
func (m *Memory) Reindex(ctx context.Context, shop string, rows []bot.IndexRow) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	s := m.shop(shop)
	clear(s.Rows)
	clear(s.Keys)
	clear(s.Evidence)
	for _, r := range rows {
		s.Rows[r.Job] = cloneRow(r)
		s.find(r.Job, r.Keys, r.Evidence)
	}
	return nil
}
