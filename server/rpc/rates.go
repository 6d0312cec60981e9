package rpc

import (
	"context"
	"errors"
	"net/netip"
	"time"

	"google.golang.org/grpc/peer"

	"saggar/server/domain"
	"saggar/server/limit"
)

const (
	// failuresAtOnce and failuresPerSecond are how often an address may show a key that opens nothing before its failures
	// are held back. A person mistypes a few times; a guesser of 256 bits gets nowhere in either case, but costs look-ups.
	failuresAtOnce    = 20
	failuresPerSecond = 1
	// holdFailure is how long an answer is held back from an address that goes on.
	holdFailure = time.Second
	// mostHeld bounds how many answers are held back at once; more are given at once.
	mostHeld = 512
)

// rates holds callers to a number of calls, and addresses to a number of failures. Time is the machine's: a clock that
// stands still would never let anybody in again.
type rates struct {
	calls    *limit.Buckets
	failures *limit.Buckets
	held     chan struct{}
	now      func() time.Time
	hold     time.Duration
}

func newRates(callsPerSecond float64, burst int) *rates {
	return &rates{
		calls: limit.New(callsPerSecond, burst), failures: limit.New(failuresPerSecond, failuresAtOnce),
		held: make(chan struct{}, mostHeld), now: time.Now, hold: holdFailure,
	}
}

// admit counts a call of somebody who is known.
func (r *rates) admit(who domain.Identity) error {
	// No id of a key begins with a zero, whatever an issuer takes for a subject.
	if r.calls.Take(who.KeyID+"\x00"+who.Subject, r.now()) {
		return nil
	}
	return &domain.Error{
		Kind: domain.ErrTooMany, Subject: who.ID, Message: "too many calls at once",
		Cure: "wait a second, and leave some time between calls",
	}
}

// failed counts a call with a key that opens nothing. Once an address has had its failures, each further one is answered
// late. Keys that open something are never looked at here, so that nobody who has one is locked out by a neighbour.
func (r *rates) failed(ctx context.Context, err error) error {
	if !errors.Is(err, domain.ErrUnauthenticated) || r.failures.Take(addressOf(ctx), r.now()) {
		return err
	}
	select {
	case r.held <- struct{}{}:
		defer func() { <-r.held }()
		patience := time.NewTimer(r.hold)
		defer patience.Stop()
		select {
		case <-patience.C:
		case <-ctx.Done():
		}
	default:
	}
	return &domain.Error{
		Kind: domain.ErrTooMany, Message: "too many calls without a valid key from this address",
		Cure: "name the file that holds your key with --key-file or SAGGAR_KEY_FILE; a valid one is let in at once",
	}
}

// addressOf is the network address of the caller: of version 6 the half that a site is given. Callers on one Unix socket
// share one, which is the machine.
func addressOf(ctx context.Context) string {
	from, ok := peer.FromContext(ctx)
	if !ok {
		return ""
	}
	return limit.Site(from.Addr)
}

// hostOf is the address itself, for the trace.
func hostOf(ctx context.Context) string {
	from, ok := peer.FromContext(ctx)
	if !ok {
		return ""
	}
	port, err := netip.ParseAddrPort(from.Addr.String())
	if err != nil {
		return from.Addr.Network()
	}
	return port.Addr().Unmap().String()
}
