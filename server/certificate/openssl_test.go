package certificate_test

import (
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/server/certificate"
)

// openssl runs the independent client; it fails the test where openssl is missing.
func openssl(t *testing.T, args ...string) (string, error) {
	t.Helper()
	path, err := exec.LookPath("openssl")
	require.NoError(t, err, "install openssl; deploy/test.sh does")
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
	defer cancel()
	command := exec.CommandContext(ctx, path, args...)
	command.Stdin = strings.NewReader("")
	output, err := command.CombinedOutput()
	return string(output), err
}

// handshake connects with openssl's client, which must verify the server's name and chain.
func handshake(t *testing.T, address, authority string, args ...string) (string, error) {
	t.Helper()
	return openssl(t, append([]string{
		"s_client", "-connect", address, "-CAfile", authority, "-verify_return_error", "-verify_hostname", "kiln.example", "-brief",
	}, args...)...)
}

// makeClient makes an authority for clients and a certificate of it with openssl, as a college would.
func makeClient(t *testing.T, dir string) {
	t.Helper()
	path := func(name string) string { return filepath.Join(dir, name) }
	for _, args := range [][]string{
		{"req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-subj", "/CN=clients", "-days", "2",
			"-keyout", path("clients.key"), "-out", path("clients.pem")},
		{"req", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-subj", "/CN=ada",
			"-keyout", path("client.key"), "-out", path("client.csr")},
		{"x509", "-req", "-in", path("client.csr"), "-CA", path("clients.pem"), "-CAkey", path("clients.key"), "-CAcreateserial",
			"-days", "1", "-out", path("client.pem")},
	} {
		output, err := openssl(t, args...)
		require.NoError(t, err, output)
	}
}

// TestPublishedModernTLSProfile holds the server against Mozilla's "Modern" configuration, Server Side TLS guidelines 5.7
// (read in the repository mozilla/server-side-tls, Server_Side_TLS.mediawiki), with openssl as the client. That its suites
// are all and its curves nearly all is shown by what else openssl can offer and is refused.
func TestPublishedModernTLSProfile(t *testing.T) {
	dir := t.TempDir()
	k := open(t, certificate.Options{Dir: dir, Names: names})
	address, authority := listen(t, k), filepath.Join(dir, "authority.pem")
	cases := map[string]struct {
		args []string
		want string // in what openssl prints; empty: refused
	}{
		"protocol TLS 1.3":     {[]string{"-tls1_3"}, "TLSv1.3"},
		"no TLS 1.2":           {[]string{"-tls1_2"}, ""},
		"no TLS 1.1":           {[]string{"-tls1_1", "-cipher", "ALL:@SECLEVEL=0"}, ""},
		"no TLS 1.0":           {[]string{"-tls1", "-cipher", "ALL:@SECLEVEL=0"}, ""},
		"AES-128-GCM":          {[]string{"-ciphersuites", "TLS_AES_128_GCM_SHA256"}, "TLS_AES_128_GCM_SHA256"},
		"AES-256-GCM":          {[]string{"-ciphersuites", "TLS_AES_256_GCM_SHA384"}, "TLS_AES_256_GCM_SHA384"},
		"ChaCha20-Poly1305":    {[]string{"-ciphersuites", "TLS_CHACHA20_POLY1305_SHA256"}, "TLS_CHACHA20_POLY1305_SHA256"},
		"no AES-128-CCM":       {[]string{"-tls1_3", "-ciphersuites", "TLS_AES_128_CCM_SHA256"}, ""},
		"no AES-128-CCM-8":     {[]string{"-tls1_3", "-ciphersuites", "TLS_AES_128_CCM_8_SHA256"}, ""},
		"curve X25519":         {[]string{"-groups", "X25519"}, "X25519"},
		"curve P-256":          {[]string{"-groups", "P-256"}, "prime256v1"},
		"curve P-384":          {[]string{"-groups", "P-384"}, "secp384r1"},
		"no curve P-521":       {[]string{"-tls1_3", "-groups", "P-521"}, ""},
		"no curve X448":        {[]string{"-tls1_3", "-groups", "X448"}, ""},
		"no ffdhe2048":         {[]string{"-tls1_3", "-groups", "ffdhe2048"}, ""},
		"certificate of ECDSA": {nil, "Signature type: ECDSA"},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			output, err := handshake(t, address, authority, c.args...)
			if c.want == "" {
				assert.Error(t, err, "%s", output)
				return
			}
			assert.NoError(t, err, "%s", output)
			assert.Contains(t, output, c.want)
			assert.Contains(t, output, "Verification: OK")
		})
	}
	t.Run("certificate on P-256", func(t *testing.T) {
		output, err := openssl(t, "x509", "-in", filepath.Join(dir, "server.pem"), "-noout", "-text")
		require.NoError(t, err, output)
		assert.Contains(t, output, "ASN1 OID: prime256v1")
		assert.Contains(t, output, "ecdsa-with-SHA256")
	})
	t.Run("certificate lasts 90 days", func(t *testing.T) {
		leaf := leafOf(t, k)
		assert.Equal(t, 90*24*time.Hour, leaf.NotAfter.Sub(leaf.NotBefore))
	})
}

func TestOpensslPrintsTheFingerprintAndRefusesAnotherAuthority(t *testing.T) {
	dir, other := t.TempDir(), t.TempDir()
	k := open(t, certificate.Options{Dir: dir, Names: names})
	open(t, certificate.Options{Dir: other, Names: names})
	output, err := openssl(t, "x509", "-in", filepath.Join(dir, "authority.pem"), "-noout", "-fingerprint", "-sha256")
	require.NoError(t, err, output)
	assert.Contains(t, output, "="+k.Fingerprint()+"\n")
	address := listen(t, k)
	output, err = handshake(t, address, filepath.Join(other, "authority.pem"))
	assert.Error(t, err, output)
	output, err = openssl(t, "s_client", "-connect", address, "-CAfile", filepath.Join(dir, "authority.pem"), "-verify_return_error",
		"-verify_hostname", "oven.example", "-brief")
	assert.Error(t, err, output)
	text, err := os.ReadFile(filepath.Join(dir, "authority.pem"))
	require.NoError(t, err)
	assert.NotContains(t, string(text), "PRIVATE")
}
