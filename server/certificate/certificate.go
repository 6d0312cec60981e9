// Package certificate keeps what the server shows of itself on a network: a certificate that was given, or one of a small
// authority of the studio's own, made at the first start. It makes the settings of TLS as well, after Mozilla's "Modern"
// configuration (Server Side TLS guidelines 5.7): TLS 1.3 only, its three cipher suites, the curves X25519, P-256 and
// P-384, certificates of ECDSA P-256 that last 90 days; the hybrid X25519MLKEM768 is offered besides, which the guidelines
// of that version do not know yet.
//
// What clients pin is the fingerprint of the authority, which stays while certificates are renewed below it.
package certificate

import (
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"strings"
	"sync"
	"time"
)

// lookEvery is how often a new handshake looks whether the certificate is to be renewed or was replaced.
const lookEvery = time.Minute

// Options says where the certificate comes from.
type Options struct {
	// Dir is the folder of the studio's own authority; it is made when it is missing. Not used when a certificate is given.
	Dir string
	// Names are the host names and addresses in a certificate of the own authority.
	Names []string
	// CertificateFile and KeyFile are a given certificate, with its chain, and its key, in PEM. Replaced files are taken up
	// within a minute.
	CertificateFile, KeyFile string
	// ClientAuthorityFile holds the authorities, in PEM, of which clients must show a certificate; empty: they need none.
	ClientAuthorityFile string
	// Now is the machine's clock, by which the rest of the world judges certificates; nil means time.Now.
	Now func() time.Time
}

// Keeper has the present certificate. Safe for concurrent use.
type Keeper struct {
	options Options
	clients *x509.CertPool
	current func() (*tls.Certificate, error) // loads or renews

	mu     sync.Mutex
	held   *tls.Certificate
	looked time.Time
}

// Open loads the certificate, or makes the authority and a certificate when none is given and none is there yet.
// Errors: what the file system says, files that do not fit together, a key that others may read.
func Open(options Options) (*Keeper, error) {
	if options.Now == nil {
		options.Now = time.Now
	}
	k := &Keeper{options: options}
	k.current = k.given
	if options.CertificateFile == "" {
		own, err := openAuthority(options.Dir, options.Now)
		if err != nil {
			return nil, fmt.Errorf("the studio's own authority in %s: %w", options.Dir, err)
		}
		k.current = func() (*tls.Certificate, error) { return own.certificate(options.Names) }
	}
	if options.ClientAuthorityFile != "" {
		text, err := os.ReadFile(options.ClientAuthorityFile)
		if err != nil {
			return nil, err
		}
		k.clients = x509.NewCertPool()
		if !k.clients.AppendCertsFromPEM(text) {
			return nil, fmt.Errorf("%s holds no certificate in PEM", options.ClientAuthorityFile)
		}
	}
	var err error
	k.held, err = k.current()
	k.looked = options.Now()
	return k, err
}

// given loads the certificate that was given.
func (k *Keeper) given() (*tls.Certificate, error) {
	if err := checkPrivate(k.options.KeyFile); err != nil {
		return nil, err
	}
	pair, err := tls.LoadX509KeyPair(k.options.CertificateFile, k.options.KeyFile)
	if err != nil {
		return nil, fmt.Errorf("%s and %s: %w", k.options.CertificateFile, k.options.KeyFile, err)
	}
	return &pair, nil
}

func checkPrivate(path string) error {
	info, err := os.Stat(path)
	if err != nil {
		return err
	}
	if info.Mode().Perm()&0o077 != 0 {
		return fmt.Errorf("key file %s can be read by others (mode %04o): chmod 600 it", path, info.Mode().Perm())
	}
	return nil
}

// Certificate is the present one. When it cannot be renewed the one that is held goes on.
func (k *Keeper) Certificate() *tls.Certificate {
	k.mu.Lock()
	defer k.mu.Unlock()
	if now := k.options.Now(); now.Sub(k.looked) >= lookEvery {
		k.looked = now
		if renewed, err := k.current(); err == nil {
			k.held = renewed
		}
	}
	return k.held
}

// Fingerprint is the SHA-256 of the last certificate that the server shows, its authority's, as clients pin it and as
// `openssl x509 -noout -fingerprint -sha256` prints it.
func (k *Keeper) Fingerprint() string {
	chain := k.Certificate().Certificate
	return Fingerprint(chain[len(chain)-1])
}

// Fingerprint writes the SHA-256 of a certificate in DER as pairs of digits.
func Fingerprint(der []byte) string {
	sum := sha256.Sum256(der)
	digits := strings.ToUpper(hex.EncodeToString(sum[:]))
	pairs := make([]string, len(sum))
	for i := range pairs {
		pairs[i] = digits[2*i : 2*i+2]
	}
	return strings.Join(pairs, ":")
}

// Config is how the server speaks TLS.
func (k *Keeper) Config() *tls.Config {
	config := &tls.Config{
		MinVersion:       tls.VersionTLS13,
		CurvePreferences: []tls.CurveID{tls.X25519MLKEM768, tls.X25519, tls.CurveP256, tls.CurveP384},
		NextProtos:       []string{"h2"},
		GetCertificate:   func(*tls.ClientHelloInfo) (*tls.Certificate, error) { return k.Certificate(), nil },
	}
	if k.clients != nil {
		config.ClientAuth, config.ClientCAs = tls.RequireAndVerifyClientCert, k.clients
	}
	return config
}

// errNoDir says that there is nowhere to keep an authority.
var errNoDir = errors.New("no folder given")
