package bot

import "sync"

// memo is a small map that remembers what the store said, and starts over when
// it is full. Empty values are not kept.
type memo struct {
	mu  sync.Mutex
	m   map[string]string
	max int
}

func newMemo(max int) *memo { return &memo{m: map[string]string{}, max: max} }

func (m *memo) get(k string) string {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.m[k]
}

// ask gives what is remembered, else what f says, and remembers that.
func (m *memo) ask(k string, f func() (string, error)) (string, error) {
	if v := m.get(k); v != "" {
		return v, nil
	}
	v, err := f()
	if err == nil {
		m.set(k, v)
	}
	return v, err
}

func (m *memo) set(k, v string) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if len(m.m) >= m.max {
		clear(m.m)
	}
	if delete(m.m, k); v != "" {
		m.m[k] = v
	}
}
