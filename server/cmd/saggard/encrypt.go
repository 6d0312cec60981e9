package main

import (
	"crypto/tls"
	"fmt"
	"io"
	"net"
	"net/url"
	"os"
	"slices"

	"saggar/server/certificate"
	"saggar/server/config"
)

// encryption is how the server speaks TLS at each address: nil where clear text never leaves the machine, or nothing is served.
type encryption struct{ calls, feeds *tls.Config }

// encrypt opens the certificate where one is needed, and says by which fingerprint people know the server at first contact.
func encrypt(settings config.Config, say io.Writer) (encryption, error) {
	if !settings.ServesTLS() && settings.FeedListen == "" {
		return encryption{}, nil
	}
	keeper, err := certificate.Open(certificate.Options{
		Dir: settings.CertificateDir(), Names: namesOf(settings), CertificateFile: settings.TLSCertificate, KeyFile: settings.TLSKey,
		ClientAuthorityFile: settings.TLSClientAuthority,
	})
	if err != nil {
		return encryption{}, fmt.Errorf("certificate: %w", err)
	}
	made := encryption{feeds: keeper.Config()}
	if settings.ServesTLS() {
		made.calls = keeper.Config()
	}
	_, err = fmt.Fprintln(say, "saggard: fingerprint", keeper.Fingerprint())
	return made, err
}

// namesOf are the names in a certificate that the server makes: the machine's, those asked for, and the address served.
func namesOf(settings config.Config) []string {
	names := []string{"localhost", "127.0.0.1", "::1"}
	add := func(name string) {
		ip := net.ParseIP(name)
		if name != "" && (ip == nil || !ip.IsUnspecified()) && !slices.Contains(names, name) {
			names = append(names, name)
		}
	}
	host, err := os.Hostname()
	if err == nil {
		add(host)
	}
	_, address := settings.Address()
	if host, _, err := net.SplitHostPort(address); err == nil {
		add(host)
	}
	if reached, err := url.Parse(settings.FeedURL); err == nil {
		add(reached.Hostname())
	}
	for _, name := range settings.TLSNames {
		add(name)
	}
	return names
}
