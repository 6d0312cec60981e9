package openid_test

import (
	"context"
	"crypto"
	"crypto/ecdsa"
	"crypto/ed25519"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/rsa"
	"crypto/x509"
	"encoding/base64"
	"encoding/json"
	"encoding/pem"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/go-jose/go-jose/v4"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/server/domain"
	"saggar/server/openid"
)

const audience = "saggar"

// issuer is an OpenID Connect issuer made for the test: discovery, keys, tokens.
type issuer struct {
	*httptest.Server
	t       testing.TB
	mu      sync.Mutex
	keys    []jose.JSONWebKey
	away    bool
	fetches int
}

func newIssuer(t testing.TB) *issuer {
	t.Helper()
	i := &issuer{t: t}
	mux := http.NewServeMux()
	mux.HandleFunc("/.well-known/openid-configuration", func(w http.ResponseWriter, _ *http.Request) {
		i.answer(w, map[string]any{
			"issuer": i.URL, "jwks_uri": i.URL + "/keys", "authorization_endpoint": i.URL + "/a", "token_endpoint": i.URL + "/t",
			"id_token_signing_alg_values_supported": []string{"RS256", "HS256", "none"},
		})
	})
	mux.HandleFunc("/keys", func(w http.ResponseWriter, _ *http.Request) {
		i.mu.Lock()
		i.fetches++
		i.mu.Unlock()
		i.answer(w, jose.JSONWebKeySet{Keys: i.keys})
	})
	i.Server = httptest.NewServer(mux)
	t.Cleanup(i.Close)
	return i
}

func (i *issuer) answer(w http.ResponseWriter, value any) {
	i.mu.Lock()
	defer i.mu.Unlock()
	if i.away {
		http.Error(w, "not now", http.StatusServiceUnavailable)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	assert.NoError(i.t, json.NewEncoder(w).Encode(value))
}

// publish makes the issuer's keys those.
func (i *issuer) publish(keys ...signer) {
	i.mu.Lock()
	defer i.mu.Unlock()
	i.keys = nil
	for _, k := range keys {
		i.keys = append(i.keys, jose.JSONWebKey{Key: k.key.Public(), KeyID: k.id, Algorithm: string(k.algorithm), Use: "sig"})
	}
}

func (i *issuer) setAway(away bool) {
	i.mu.Lock()
	defer i.mu.Unlock()
	i.away = away
}

type signer struct {
	id        string
	algorithm jose.SignatureAlgorithm
	key       crypto.Signer
}

var rsaKey = sync.OnceValue(func() *rsa.PrivateKey {
	key, err := rsa.GenerateKey(rand.Reader, 2048)
	if err != nil {
		panic(err)
	}
	return key
})

func newSigner(t testing.TB, id string) signer {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	return signer{id, jose.ES256, key}
}

func sign(t testing.TB, key any, algorithm jose.SignatureAlgorithm, id string, claims map[string]any) string {
	t.Helper()
	made, err := jose.NewSigner(jose.SigningKey{Algorithm: algorithm, Key: jose.JSONWebKey{Key: key, KeyID: id}}, (&jose.SignerOptions{}).WithType("JWT"))
	require.NoError(t, err)
	body, err := json.Marshal(claims)
	require.NoError(t, err)
	signed, err := made.Sign(body)
	require.NoError(t, err)
	token, err := signed.CompactSerialize()
	require.NoError(t, err)
	return token
}

func (s signer) token(t testing.TB, claims map[string]any) string {
	return sign(t, s.key, s.algorithm, s.id, claims)
}

// now is when the verifier's clock stands.
var now = time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)

// claims of a good token, with changes; a nil value leaves one out.
func (i *issuer) claims(changes map[string]any) map[string]any {
	claims := map[string]any{
		"iss": i.URL, "aud": audience, "sub": "subject-of-ada", "iat": now.Unix(), "exp": now.Add(time.Hour).Unix(),
	}
	for name, value := range changes {
		if claims[name] = value; value == nil {
			delete(claims, name)
		}
	}
	return claims
}

func (i *issuer) verifier() *openid.Verifier {
	return openid.New(openid.Options{Issuer: i.URL, Audience: audience, Now: func() time.Time { return now }})
}

func TestTokensOfEachAlgorithmAreTaken(t *testing.T) {
	i := newIssuer(t)
	_, edwards, err := ed25519.GenerateKey(rand.Reader)
	require.NoError(t, err)
	signers := []signer{newSigner(t, "e"), {"r", jose.RS256, rsaKey()}, {"p", jose.PS256, rsaKey()}, {"d", jose.EdDSA, edwards}}
	i.publish(signers...)
	v := i.verifier()
	for _, s := range signers {
		subject, expire, err := v.Verify(t.Context(), s.token(t, i.claims(nil)))
		require.NoError(t, err, s.algorithm)
		assert.Equal(t, "subject-of-ada", subject)
		assert.Equal(t, now.Add(time.Hour+time.Minute), expire.UTC())
	}
	assert.Equal(t, 1, i.fetches, "the keys are fetched once")
}

func TestClaimsThatAreNotGood(t *testing.T) {
	i := newIssuer(t)
	s := newSigner(t, "e")
	i.publish(s)
	v := i.verifier()
	at := func(d time.Duration) int64 { return now.Add(d).Unix() }
	for name, c := range map[string]struct {
		changes map[string]any
		good    bool
	}{
		"other issuer":              {map[string]any{"iss": "https://evil.example"}, false},
		"issuer with a slash":       {map[string]any{"iss": i.URL + "/"}, false},
		"other audience":            {map[string]any{"aud": "another service"}, false},
		"no audience":               {map[string]any{"aud": nil}, false},
		"one of several audiences":  {map[string]any{"aud": []string{"x", audience}}, true},
		"no subject":                {map[string]any{"sub": nil}, false},
		"no end":                    {map[string]any{"exp": nil}, false},
		"no beginning":              {map[string]any{"iat": nil}, false},
		"expired within the skew":   {map[string]any{"iat": at(-time.Hour), "exp": at(-59 * time.Second)}, true},
		"expired":                   {map[string]any{"iat": at(-time.Hour), "exp": at(-60 * time.Second)}, false},
		"issued within the skew":    {map[string]any{"iat": at(60 * time.Second)}, true},
		"issued in the future":      {map[string]any{"iat": at(61 * time.Second)}, false},
		"begins within the skew":    {map[string]any{"nbf": at(60 * time.Second)}, true},
		"does not count yet":        {map[string]any{"nbf": at(61 * time.Second)}, false},
		"counts for a day":          {map[string]any{"exp": at(24 * time.Hour)}, true},
		"counts for more than that": {map[string]any{"exp": at(24*time.Hour + time.Second)}, false},
		"times that are no numbers": {map[string]any{"exp": "soon"}, false},
	} {
		t.Run(name, func(t *testing.T) {
			_, _, err := v.Verify(t.Context(), s.token(t, i.claims(c.changes)))
			if c.good {
				assert.NoError(t, err)
				return
			}
			assert.ErrorIs(t, err, domain.ErrUnauthenticated)
		})
	}
}

func encode(value any) string {
	text, err := json.Marshal(value)
	if err != nil {
		panic(err)
	}
	return base64.RawURLEncoding.EncodeToString(text)
}

// TestForgedTokens tries what RFC 8725, sections 2.1 and 3.1, warns of, and tokens that were tampered with.
func TestForgedTokens(t *testing.T) {
	i := newIssuer(t)
	s := newSigner(t, "e")
	r := signer{"r", jose.RS256, rsaKey()}
	i.publish(s, r)
	v := i.verifier()
	good := s.token(t, i.claims(nil))
	head, rest, _ := strings.Cut(good, ".")
	body, signature, _ := strings.Cut(rest, ".")
	der, err := x509.MarshalPKIXPublicKey(rsaKey().Public())
	require.NoError(t, err)
	publicPEM := pem.EncodeToMemory(&pem.Block{Type: "PUBLIC KEY", Bytes: der})
	stranger := newSigner(t, "e")
	own := jose.JSONWebKey{Key: stranger.key.Public(), KeyID: "own"}
	ownText, err := own.MarshalJSON()
	require.NoError(t, err)
	tokens := map[string]string{
		"alg none":                        encode(map[string]string{"alg": "none", "typ": "JWT"}) + "." + body + ".",
		"alg None":                        encode(map[string]string{"alg": "None"}) + "." + body + ".",
		"alg none with a signature":       encode(map[string]string{"alg": "none", "kid": "e"}) + "." + body + "." + signature,
		"no alg":                          encode(map[string]string{"kid": "e"}) + "." + body + "." + signature,
		"public key as a shared secret":   sign(t, publicPEM, jose.HS256, "r", i.claims(nil)),
		"public DER as a shared secret":   sign(t, der, jose.HS512, "r", i.claims(nil)),
		"RSA said of an elliptic key":     encode(map[string]string{"alg": "RS256", "kid": "e"}) + "." + body + "." + signature,
		"another's key of the same id":    stranger.token(t, i.claims(nil)),
		"an id that nobody has":           signer{"none", jose.ES256, stranger.key}.token(t, i.claims(nil)),
		"no id, another's key":            signer{"", jose.ES256, stranger.key}.token(t, i.claims(nil)),
		"a key of its own in the head":    encode(map[string]any{"alg": "ES256", "jwk": json.RawMessage(ownText)}) + "." + body + "." + signature,
		"a URL of keys in the head":       encode(map[string]any{"alg": "ES256", "jku": "https://evil.example/keys", "kid": "own"}) + "." + body + "." + signature,
		"body of another":                 head + "." + encode(i.claims(map[string]any{"sub": "subject-of-eve"})) + "." + signature,
		"cut short":                       good[:len(good)-1],
		"without signature":               head + "." + body + ".",
		"empty":                           "..",
		"no base64":                       "!." + body + "." + signature,
		"critical extension":              encode(map[string]any{"alg": "ES256", "kid": "e", "crit": []string{"x"}, "x": 1}) + "." + body + "." + signature,
		"ES384, which is not among those": encode(map[string]string{"alg": "ES384", "kid": "e"}) + "." + body + "." + signature,
	}
	_, _, err = v.Verify(t.Context(), good)
	require.NoError(t, err)
	messages := map[string]bool{}
	for name, token := range tokens {
		_, _, err := v.Verify(t.Context(), token)
		if assert.ErrorIs(t, err, domain.ErrUnauthenticated, name) {
			var told *domain.Error
			require.ErrorAs(t, err, &told)
			messages[told.Error()] = true
		}
	}
	assert.Len(t, messages, 1, "no way to tell why")
}

func TestKeysRotate(t *testing.T) {
	i := newIssuer(t)
	old, next := newSigner(t, "old"), newSigner(t, "next")
	i.publish(old)
	v := i.verifier()
	_, _, err := v.Verify(t.Context(), old.token(t, i.claims(nil)))
	require.NoError(t, err)
	_, _, err = v.Verify(t.Context(), next.token(t, i.claims(nil)))
	require.ErrorIs(t, err, domain.ErrUnauthenticated, "not published yet")
	i.publish(next)
	_, _, err = v.Verify(t.Context(), next.token(t, i.claims(nil)))
	require.NoError(t, err, "a new key is fetched when a token names it")
	_, _, err = v.Verify(t.Context(), old.token(t, i.claims(nil)))
	require.ErrorIs(t, err, domain.ErrUnauthenticated, "a withdrawn key is gone with it")
}

func TestGuessersOfKeysDoNotFloodTheIssuer(t *testing.T) {
	i := newIssuer(t)
	s := newSigner(t, "e")
	i.publish(s)
	v := i.verifier()
	for range 50 {
		_, _, err := v.Verify(t.Context(), newSigner(t, "guess").token(t, i.claims(nil)))
		require.ErrorIs(t, err, domain.ErrUnauthenticated)
	}
	assert.LessOrEqual(t, i.fetches, 5)
	_, _, err := v.Verify(t.Context(), s.token(t, i.claims(nil)))
	assert.NoError(t, err, "a known key needs no fetching")
}

func TestAnIssuerThatIsAwayIsSaidToBe(t *testing.T) {
	i := newIssuer(t)
	s, next := newSigner(t, "e"), newSigner(t, "next")
	i.publish(s, next)
	i.setAway(true)
	v := i.verifier()
	_, _, err := v.Verify(t.Context(), s.token(t, i.claims(nil)))
	require.ErrorIs(t, err, domain.ErrIssuerAway)
	i.setAway(false)
	i.publish(s)
	_, _, err = v.Verify(t.Context(), s.token(t, i.claims(nil)))
	require.NoError(t, err, "it is asked again")
	i.setAway(true)
	_, _, err = v.Verify(t.Context(), next.token(t, i.claims(nil)))
	require.ErrorIs(t, err, domain.ErrIssuerAway, "nobody knows whether the key is good")
	_, _, err = v.Verify(t.Context(), s.token(t, i.claims(nil)))
	require.NoError(t, err, "what is known goes on")
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, _, err = v.Verify(ctx, next.token(t, i.claims(nil)))
	assert.Error(t, err)
}

// FuzzVerify holds that nothing but a token that the issuer signed is taken, and that nothing crashes it.
func FuzzVerify(f *testing.F) {
	f.Add("a.b.c")
	f.Add(encode(map[string]string{"alg": "none"}) + "." + encode(map[string]string{"sub": "x"}) + ".")
	f.Add(encode(map[string]string{"alg": "ES256", "kid": "e"}) + "." + encode(map[string]string{"sub": "x"}) + ".AAAA")
	i, s := newIssuer(f), newSigner(f, "e")
	i.publish(s)
	good := s.token(f, i.claims(nil))
	f.Add(good)
	v := i.verifier()
	f.Fuzz(func(t *testing.T, token string) {
		subject, _, err := v.Verify(t.Context(), token)
		if err == nil {
			assert.Equal(t, "subject-of-ada", subject, "only what the issuer signed")
		}
	})
}
