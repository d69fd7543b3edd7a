package bot

import (
	"crypto/sha256"
	"encoding/hex"
	"sync"
)

// deliveryKey names a delivery for good. It is a hash: identifiers of networks
// are of any length, may hold what a person typed, and stand in entries, which
// can't be erased.
func deliveryKey(network, delivery string) string {
	if delivery == "" {
		return ""
	}
	sum := sha256.Sum256([]byte(network + "\x00" + delivery))
	return hex.EncodeToString(sum[:12])
}

// recent remembers the deliveries handled last, so that the common repeat costs
// no work. The store is what counts: it refuses a known key in the commit.
type recent struct {
	mu   sync.Mutex
	seen map[string]bool
	ring []string // oldest at next
	next int
}

func newRecent(n int) *recent {
	return &recent{seen: make(map[string]bool, n), ring: make([]string, n)}
}

func (r *recent) has(shop, key string) bool {
	if key == "" {
		return false
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.seen[shop+"/"+key]
}

func (r *recent) add(shop, key string) {
	if key == "" {
		return
	}
	key = shop + "/" + key
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.seen[key] {
		return
	}
	delete(r.seen, r.ring[r.next])
	r.ring[r.next], r.seen[key] = key, true
	r.next = (r.next + 1) % len(r.ring)
}
