package demo

import (
	"math/rand/v2"
	"sync"
)

// chance is the randomness of job numbers, salts and the key: of the seed, so
// that a seed gives the same play. The store is thrown away, nothing in it is
// to be trusted.
type chance struct {
	mu sync.Mutex
	r  *rand.ChaCha8
}

func newChance(seed uint64) *chance {
	var b [32]byte
	for i := range 8 {
		b[i] = byte(seed >> (8 * i))
	}
	return &chance{r: rand.NewChaCha8(b)}
}

func (c *chance) Read(b []byte) (int, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.r.Read(b)
}
