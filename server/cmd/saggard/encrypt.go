package main

import (
	"crypto/tls"
	"fmt"
	"io"
	"net"
	"os"
	"slices"

	"saggar/server/certificate"
	"saggar/server/config"
)

// encrypt returns how the server speaks TLS, nil where clear text never leaves the machine, and says by which fingerprint
// people know the server at first contact.
func encrypt(settings config.Config, say io.Writer) (*tls.Config, error) {
	if !settings.ServesTLS() {
		return nil, nil
	}
	keeper, err := certificate.Open(certificate.Options{
		Dir: settings.CertificateDir(), Names: namesOf(settings), CertificateFile: settings.TLSCertificate, KeyFile: settings.TLSKey,
		ClientAuthorityFile: settings.TLSClientAuthority,
	})
	if err != nil {
		return nil, fmt.Errorf("certificate: %w", err)
	}
	_, err = fmt.Fprintln(say, "saggard: fingerprint", keeper.Fingerprint())
	return keeper.Config(), err
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
	for _, name := range settings.TLSNames {
		add(name)
	}
	return names
}
