// Package openid verifies tokens of one OpenID Connect issuer: signature by the issuer's published keys, issuer, audience,
// and times with some allowance for clocks. It says whose a token is and until when; what they may do is not its business.
//
// Only signatures with a pair of keys are taken (RS256, PS256, ES256, EdDSA), so that neither an unsigned token nor one
// signed with a public key as if it were a shared secret passes. Keys are fetched when a token names one that is not
// known, at most every few seconds, and anew every quarter of an hour, so that one that the issuer withdrew ends.
package openid

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"sync"
	"time"

	"github.com/coreos/go-oidc/v3/oidc"
	"golang.org/x/time/rate"

	"saggar/server/domain"
)

const (
	// skew is how far the issuer's clock and this one may be apart.
	skew = time.Minute
	// longestLife bounds how long a token may count from its issue: one cannot be revoked.
	longestLife = 24 * time.Hour
	// keysLife is how long fetched keys are taken for the issuer's.
	keysLife = 15 * time.Minute
	// Fetches are limited, since anybody can name a key that nobody has.
	fetchEvery  = 10 * time.Second
	fetchBurst  = 5
	fetchTime   = 5 * time.Second
	mostFetched = 1 << 20 // bytes of one answer of the issuer
)

// algorithms are those with a pair of keys.
var algorithms = []string{oidc.RS256, oidc.PS256, oidc.ES256, oidc.EdDSA}

var (
	errAway     = errors.New("the issuer does not answer")
	errTooOften = errors.New("the issuer was asked just now")
)

// Options says whose tokens are taken.
type Options struct {
	// Issuer is the issuer's URL, to the letter as in its tokens.
	Issuer string
	// Audience is how the issuer names this service.
	Audience string
	// Transport reaches the issuer; nil means the usual one.
	Transport http.RoundTripper
	// Now is the clock; nil means time.Now.
	Now func() time.Time
}

// Verifier verifies tokens. Safe for concurrent use.
type Verifier struct {
	options Options
	client  *http.Client

	mu      sync.Mutex
	keys    *oidc.IDTokenVerifier
	fetched time.Time // by the machine's clock
}

// New makes a verifier. The issuer is first asked when a token comes.
func New(options Options) *Verifier {
	if options.Transport == nil {
		options.Transport = http.DefaultTransport
	}
	if options.Now == nil {
		options.Now = time.Now
	}
	limited := &limitedTransport{next: options.Transport, limit: rate.NewLimiter(rate.Every(fetchEvery), fetchBurst)}
	return &Verifier{options: options, client: &http.Client{Transport: limited, Timeout: fetchTime}}
}

// Verify returns whose a token is and the last instant at which it counts. Errors: domain.ErrUnauthenticated for every
// token that is not good, alike; domain.ErrIssuerAway when its keys cannot be had.
func (v *Verifier) Verify(ctx context.Context, raw string) (subject string, expire time.Time, err error) {
	keys, err := v.verifier(ctx)
	if err != nil {
		return "", time.Time{}, fmt.Errorf("%w: %w", domain.ErrIssuerAway, err)
	}
	seen := &fetchFault{}
	token, err := keys.Verify(context.WithValue(ctx, fetchFaultKey{}, seen), raw)
	if seen.away != nil {
		return "", time.Time{}, fmt.Errorf("%w: %w", domain.ErrIssuerAway, seen.away)
	}
	if err != nil {
		return "", time.Time{}, refused(err)
	}
	if err := v.checkTimes(token); err != nil {
		return "", time.Time{}, refused(err)
	}
	if token.Subject == "" {
		return "", time.Time{}, refused(errors.New("the token names no subject"))
	}
	return token.Subject, token.Expiry.Add(skew), nil
}

// refused says the same of every token that is not good; why is for the log.
func refused(err error) error {
	return fmt.Errorf("%w: %w", &domain.Error{
		Kind: domain.ErrUnauthenticated, Message: "the token opens nothing on this server", Cure: "get a new one from the issuer",
	}, err)
}

func (v *Verifier) checkTimes(token *oidc.IDToken) error {
	var more struct {
		NotBefore *float64 `json:"nbf"`
	}
	if err := token.Claims(&more); err != nil {
		return err
	}
	now := v.options.Now()
	switch {
	case token.Expiry.IsZero() || token.IssuedAt.IsZero() || token.Expiry.Unix() == 0 || token.IssuedAt.Unix() == 0:
		return errors.New("the token does not say from when to when it counts")
	case !now.Before(token.Expiry.Add(skew)):
		return errors.New("the token has expired")
	case token.IssuedAt.After(now.Add(skew)):
		return errors.New("the token was issued in the future")
	case more.NotBefore != nil && time.Unix(int64(*more.NotBefore), 0).After(now.Add(skew)):
		return errors.New("the token does not count yet")
	case token.Expiry.Sub(token.IssuedAt) > longestLife:
		return fmt.Errorf("the token counts for longer than %s", longestLife)
	}
	return nil
}

// verifier returns one with keys that are not too old. Whoever comes while they are fetched waits.
func (v *Verifier) verifier(ctx context.Context) (*oidc.IDTokenVerifier, error) {
	v.mu.Lock()
	defer v.mu.Unlock()
	if v.keys != nil && time.Since(v.fetched) < keysLife {
		return v.keys, nil
	}
	// The keys outlast the call that first asks for them.
	ctx = oidc.ClientContext(context.WithoutCancel(ctx), v.client)
	provider, err := oidc.NewProvider(ctx, v.options.Issuer)
	if err != nil {
		return nil, err
	}
	var found struct {
		KeysURL string `json:"jwks_uri"`
	}
	if err := provider.Claims(&found); err != nil {
		return nil, err
	}
	v.keys = oidc.NewVerifier(v.options.Issuer, noticingKeys{oidc.NewRemoteKeySet(ctx, found.KeysURL)}, &oidc.Config{
		ClientID: v.options.Audience, SupportedSigningAlgs: algorithms, SkipExpiryCheck: true, // checkTimes does it
	})
	v.fetched = time.Now()
	return v.keys, nil
}

// fetchFault is why keys could not be had, which the library's own error does not keep apart from a bad signature.
type fetchFault struct{ away error }

type fetchFaultKey struct{}

// noticingKeys notes when keys could not be had.
type noticingKeys struct{ oidc.KeySet }

// VerifySignature returns the token's content if one of the issuer's keys signed it.
func (k noticingKeys) VerifySignature(ctx context.Context, raw string) ([]byte, error) {
	content, err := k.KeySet.VerifySignature(ctx, raw)
	if fault, ok := ctx.Value(fetchFaultKey{}).(*fetchFault); ok && (errors.Is(err, errAway) || ctx.Err() != nil) {
		fault.away = err
	}
	return content, err
}

// limitedTransport asks the issuer not too often, and takes only whole answers of a bounded size.
type limitedTransport struct {
	next  http.RoundTripper
	limit *rate.Limiter
}

// RoundTrip asks, unless the issuer was asked just now.
func (t *limitedTransport) RoundTrip(request *http.Request) (*http.Response, error) {
	if !t.limit.Allow() {
		return nil, errTooOften
	}
	response, err := t.next.RoundTrip(request)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", errAway, err)
	}
	if response.StatusCode != http.StatusOK {
		_ = response.Body.Close() // its content is not wanted
		return nil, fmt.Errorf("%w: it says %s", errAway, response.Status)
	}
	response.Body = struct {
		io.Reader
		io.Closer
	}{io.LimitReader(response.Body, mostFetched), response.Body}
	return response, nil
}
