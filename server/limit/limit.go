// Package limit holds callers, by any key, to a rate.
package limit

import (
	"net"
	"net/netip"
	"sync"
	"time"

	"golang.org/x/time/rate"
)

const (
	// mostBuckets bounds the memory; whoever comes on top shares one bucket.
	mostBuckets = 8192
	// sweepEvery is how often room is looked for.
	sweepEvery = time.Second
)

// Buckets are token buckets by key. Safe for concurrent use.
type Buckets struct {
	perSecond rate.Limit
	burst     int
	mu        sync.Mutex
	byKey     map[string]*rate.Limiter
	overflow  *rate.Limiter
	swept     time.Time // when it was last looked which are full
}

// New makes buckets of a burst that fill again at a rate; 0 per second means no limit.
func New(perSecond float64, burst int) *Buckets {
	limit := rate.Limit(perSecond)
	if perSecond == 0 {
		limit = rate.Inf
	}
	return &Buckets{perSecond: limit, burst: burst, byKey: map[string]*rate.Limiter{}, overflow: rate.NewLimiter(limit, burst)}
}

// Take takes one token, or reports that there is none.
func (b *Buckets) Take(key string, now time.Time) bool {
	if b.perSecond == rate.Inf {
		return true
	}
	b.mu.Lock()
	limiter, known := b.byKey[key]
	if !known {
		limiter = b.add(key, now)
	}
	b.mu.Unlock()
	return limiter.AllowN(now, 1)
}

// add makes a bucket. Full ones, of whoever was silent for a while, make room, which is looked at now and then only: it
// takes a while, and everybody waits.
func (b *Buckets) add(key string, now time.Time) *rate.Limiter {
	if len(b.byKey) >= mostBuckets && now.Sub(b.swept) >= sweepEvery {
		b.swept = now
		for other, limiter := range b.byKey {
			if limiter.TokensAt(now) >= float64(b.burst) {
				delete(b.byKey, other)
			}
		}
	}
	if len(b.byKey) >= mostBuckets {
		return b.overflow
	}
	limiter := rate.NewLimiter(b.perSecond, b.burst)
	b.byKey[key] = limiter
	return limiter
}

// Site is the network address from which somebody calls: of version 6 the half that a site is given. Callers on one Unix socket
// share one, which is the machine.
func Site(address net.Addr) string {
	port, err := netip.ParseAddrPort(address.String())
	if err != nil {
		return address.Network()
	}
	ip := port.Addr().Unmap()
	if ip.Is6() {
		return netip.PrefixFrom(ip.WithZone(""), 64).Masked().String()
	}
	return ip.String()
}
