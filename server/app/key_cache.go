package app

import (
	"sync"
	"time"

	"saggar/server/domain"
)

const (
	// keyFreshness bounds how long a key is taken for what it was: a revocation reaches every server within a second.
	keyFreshness = 800 * time.Millisecond
	// mostCachedKeys bounds the memory: some hundred bytes each.
	mostCachedKeys = 4096
)

// keyCache remembers whom keys and tokens stand for, for a moment, so that not every call reads the database. It holds only
// those that stood, by the hash of the secret. Safe for concurrent use.
type keyCache struct {
	mu   sync.Mutex
	keys map[[32]byte]cachedKey
	// now is the machine's clock and not the application's, which stands still in tests and may start anywhere.
	now func() time.Time
}

type cachedKey struct {
	who    domain.Identity
	expire time.Time // zero: never
	read   time.Time // when its reading began
}

// stands reports whether the key or token has not expired meanwhile.
func (k cachedKey) stands(at time.Time) bool { return k.expire.IsZero() || at.Before(k.expire) }

func newKeyCache() *keyCache {
	return &keyCache{keys: map[[32]byte]cachedKey{}, now: time.Now}
}

func (c *keyCache) get(sha256 [32]byte) (cachedKey, bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	cached, known := c.keys[sha256]
	if !known || c.now().Sub(cached.read) >= keyFreshness {
		return cachedKey{}, false
	}
	return cached, true
}

func (c *keyCache) put(sha256 [32]byte, cached cachedKey) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if len(c.keys) >= mostCachedKeys {
		clear(c.keys)
	}
	c.keys[sha256] = cached
}

// forget drops a key that this server itself has ended.
func (c *keyCache) forget(sha256 [32]byte) {
	c.mu.Lock()
	defer c.mu.Unlock()
	delete(c.keys, sha256)
}
