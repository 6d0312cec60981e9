package api

import (
	"context"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"encoding/hex"
	"errors"
	"fmt"
	"net"
	"strings"
	"time"

	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/credentials/insecure"
)

// TLS says how a server is known.
type TLS struct {
	// Always speaks TLS to loopback addresses too; other addresses get it anyway.
	Always bool
	// Fingerprint is the SHA-256 of the authority that the server showed at first contact, in hexadecimal with or without
	// colons. Empty: the system's authorities and the server's name decide.
	Fingerprint string
	// CertificateFile and KeyFile are the caller's own, in PEM, for servers that ask for one; empty: none.
	CertificateFile, KeyFile string
}

// speaksTLS reports whether an address is spoken to with TLS: always on a network.
func (o Options) speaksTLS() bool {
	if strings.HasPrefix(o.Address, "unix:") {
		return false
	}
	return o.TLS.Always || o.TLS.Fingerprint != "" || !isLoopback(o.Address)
}

func isLoopback(address string) bool {
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return false
	}
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

// credentials are clear text on loopback addresses and Unix sockets, TLS 1.3 elsewhere.
func (o Options) credentials() (credentials.TransportCredentials, error) {
	if !o.speaksTLS() {
		return insecure.NewCredentials(), nil
	}
	config, err := o.TLS.config()
	if err != nil {
		return nil, err
	}
	host, _, _ := net.SplitHostPort(o.Address) // checkAddress has seen it
	config.ServerName = host
	return credentials.NewTLS(config), nil
}

func (t TLS) config() (*tls.Config, error) {
	config := &tls.Config{MinVersion: tls.VersionTLS13}
	if t.CertificateFile != "" {
		pair, err := tls.LoadX509KeyPair(t.CertificateFile, t.KeyFile)
		if err != nil {
			return nil, fmt.Errorf("your certificate: %w", err)
		}
		config.Certificates = []tls.Certificate{pair}
	}
	if t.Fingerprint == "" {
		return config, nil
	}
	want, err := parseFingerprint(t.Fingerprint)
	if err != nil {
		return nil, err
	}
	// The pinned authority takes the place of the system's. It is the studio's own and signs for its server alone, so that
	// the name by which the server is reached says nothing more.
	config.InsecureSkipVerify = true
	config.VerifyConnection = func(state tls.ConnectionState) error { return verifyPinned(state.PeerCertificates, want) }
	return config, nil
}

// changedError says that a server shows another certificate than the one that was pinned.
type changedError struct{ want, got string }

// Error is a sentence for people.
func (e changedError) Error() string {
	return fmt.Sprintf("the server is not the one that was signed in to: its fingerprint is %s and was %s; somebody may be in "+
		"between. Ask whoever runs it; if they changed it, sign in again with --fingerprint and what they tell you", e.got, e.want)
}

// verifyPinned holds a chain against the pinned certificate, which must be the last in it and have signed for a server.
func verifyPinned(chain []*x509.Certificate, want [sha256.Size]byte) error {
	if len(chain) == 0 {
		return errors.New("the server shows no certificate")
	}
	last := chain[len(chain)-1]
	if got := sha256.Sum256(last.Raw); got != want {
		return changedError{want: writeFingerprint(want), got: writeFingerprint(got)}
	}
	roots, between := x509.NewCertPool(), x509.NewCertPool()
	roots.AddCert(last)
	for _, c := range chain[1:] {
		between.AddCert(c)
	}
	_, err := chain[0].Verify(x509.VerifyOptions{
		Roots: roots, Intermediates: between, KeyUsages: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth},
	})
	return err
}

// Contact is what a server shows at first contact.
type Contact struct {
	// Fingerprint is of its authority, as saggard prints it.
	Fingerprint string
	// Known says that the system's authorities vouch for the server under its name, so that nothing need be pinned.
	Known bool
}

// Meet looks at what a server shows, without sending anything. Errors: the server cannot be reached or speaks no TLS 1.3.
func Meet(ctx context.Context, o Options) (Contact, error) {
	if err := checkAddress(o.Address); err != nil {
		return Contact{}, err
	}
	host, _, _ := net.SplitHostPort(o.Address)
	ctx, cancel := context.WithTimeout(ctx, contactPatience)
	defer cancel()
	dialer := tls.Dialer{Config: &tls.Config{
		// Nothing is sent over this connection; what it shows is judged below.
		InsecureSkipVerify: true, MinVersion: tls.VersionTLS13, ServerName: host, NextProtos: []string{"h2"},
	}}
	connection, err := dialer.DialContext(ctx, "tcp", o.Address)
	if err != nil {
		return Contact{}, fmt.Errorf("%s: %w", o.Address, err)
	}
	defer connection.Close()
	chain := connection.(*tls.Conn).ConnectionState().PeerCertificates
	between := x509.NewCertPool()
	for _, c := range chain[1:] {
		between.AddCert(c)
	}
	_, err = chain[0].Verify(x509.VerifyOptions{DNSName: host, Intermediates: between})
	return Contact{Fingerprint: writeFingerprint(sha256.Sum256(chain[len(chain)-1].Raw)), Known: err == nil}, nil
}

const contactPatience = 10 * time.Second

// IsLocal reports whether an address never leaves the machine.
func IsLocal(address string) bool { return strings.HasPrefix(address, "unix:") || isLoopback(address) }

// SpeaksTLS reports whether a server is spoken to with TLS.
func SpeaksTLS(o Options) bool { return o.speaksTLS() }

func writeFingerprint(sum [sha256.Size]byte) string {
	digits := strings.ToUpper(hex.EncodeToString(sum[:]))
	pairs := make([]string, len(sum))
	for i := range pairs {
		pairs[i] = digits[2*i : 2*i+2]
	}
	return strings.Join(pairs, ":")
}

func parseFingerprint(text string) (sum [sha256.Size]byte, err error) {
	raw, err := hex.DecodeString(strings.ReplaceAll(text, ":", ""))
	if err != nil || len(raw) != len(sum) {
		return sum, fmt.Errorf("%q is no fingerprint: give the 64 hexadecimal digits that saggard prints, with or without colons", text)
	}
	return [sha256.Size]byte(raw), nil
}
