package certificate_test

import (
	"crypto/tls"
	"crypto/x509"
	"net"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/server/certificate"
)

var names = []string{"kiln.example", "127.0.0.1", "::1"}

func open(t *testing.T, options certificate.Options) *certificate.Keeper {
	t.Helper()
	k, err := certificate.Open(options)
	require.NoError(t, err)
	return k
}

func leafOf(t *testing.T, k *certificate.Keeper) *x509.Certificate {
	t.Helper()
	leaf, err := x509.ParseCertificate(k.Certificate().Certificate[0])
	require.NoError(t, err)
	return leaf
}

func TestTheAuthorityIsMadeOnceAndKeptForItsOwner(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "tls")
	first := open(t, certificate.Options{Dir: dir, Names: names})
	for name, mode := range map[string]os.FileMode{"": 0o700, "authority.key": 0o600, "server.key": 0o600} {
		info, err := os.Stat(filepath.Join(dir, name))
		require.NoError(t, err)
		assert.Equal(t, mode, info.Mode().Perm(), name)
	}
	again := open(t, certificate.Options{Dir: dir, Names: names})
	assert.Equal(t, first.Fingerprint(), again.Fingerprint())
	assert.Equal(t, leafOf(t, first).SerialNumber, leafOf(t, again).SerialNumber, "the certificate lasts over a restart")
	other := open(t, certificate.Options{Dir: dir, Names: []string{"oven.example"}})
	assert.Equal(t, first.Fingerprint(), other.Fingerprint(), "other names need another certificate, not another authority")
	assert.Equal(t, []string{"oven.example"}, leafOf(t, other).DNSNames)

	require.NoError(t, os.Chmod(filepath.Join(dir, "authority.key"), 0o640))
	_, err := certificate.Open(certificate.Options{Dir: dir, Names: names})
	assert.ErrorContains(t, err, "can be read by others")
	_, err = certificate.Open(certificate.Options{})
	assert.Error(t, err)
}

func TestACertificateIsRenewedUnderTheSameAuthority(t *testing.T) {
	now := time.Now()
	k := open(t, certificate.Options{Dir: t.TempDir(), Names: names, Now: func() time.Time { return now }})
	first := leafOf(t, k)
	fingerprint := k.Fingerprint()
	now = first.NotAfter.Add(-30*24*time.Hour - time.Second)
	assert.Equal(t, first.SerialNumber, leafOf(t, k).SerialNumber, "more than thirty days are left")
	now = now.Add(2 * time.Minute)
	renewed := leafOf(t, k)
	assert.NotEqual(t, first.SerialNumber, renewed.SerialNumber)
	assert.True(t, renewed.NotAfter.After(first.NotAfter))
	assert.Equal(t, fingerprint, k.Fingerprint(), "clients that pinned it notice nothing")
}

func TestGivenFilesAreTakenUpWhenTheyAreReplaced(t *testing.T) {
	one, two, given := t.TempDir(), t.TempDir(), t.TempDir()
	open(t, certificate.Options{Dir: one, Names: names})
	open(t, certificate.Options{Dir: two, Names: names})
	give := func(from string) {
		for _, name := range []string{"server.pem", "server.key"} {
			text, err := os.ReadFile(filepath.Join(from, name))
			require.NoError(t, err)
			require.NoError(t, os.WriteFile(filepath.Join(given, name), text, 0o600))
		}
	}
	give(one)
	now := time.Now()
	k := open(t, certificate.Options{
		CertificateFile: filepath.Join(given, "server.pem"), KeyFile: filepath.Join(given, "server.key"), Now: func() time.Time { return now },
	})
	before := k.Fingerprint()
	give(two)
	assert.Equal(t, before, k.Fingerprint())
	now = now.Add(time.Minute)
	after := k.Fingerprint()
	assert.NotEqual(t, before, after)
	require.NoError(t, os.WriteFile(filepath.Join(given, "server.pem"), []byte("half"), 0o600))
	now = now.Add(time.Minute)
	assert.Equal(t, after, k.Fingerprint(), "files that do not fit are not taken up")
	_, err := certificate.Open(certificate.Options{CertificateFile: filepath.Join(given, "server.pem"), KeyFile: filepath.Join(given, "server.key")})
	assert.ErrorContains(t, err, "server.pem")
}

// listen speaks TLS on a loopback port: it sends what it gets back.
func listen(t *testing.T, k *certificate.Keeper) string {
	t.Helper()
	listener, err := tls.Listen("tcp", "127.0.0.1:0", k.Config())
	require.NoError(t, err)
	t.Cleanup(func() { _ = listener.Close() })
	go func() {
		for {
			connection, err := listener.Accept()
			if err != nil {
				return
			}
			go echo(connection)
		}
	}()
	return listener.Addr().String()
}

func echo(connection net.Conn) {
	defer connection.Close()
	buffer := make([]byte, 64)
	for {
		n, err := connection.Read(buffer)
		if err != nil {
			return
		}
		if _, err := connection.Write(buffer[:n]); err != nil {
			return
		}
	}
}

func TestClientsMustShowACertificateWhereThatIsAsked(t *testing.T) {
	dir := t.TempDir()
	server := open(t, certificate.Options{Dir: filepath.Join(dir, "server"), Names: names})
	makeClient(t, dir)
	k := open(t, certificate.Options{
		Dir: filepath.Join(dir, "server"), Names: names, ClientAuthorityFile: filepath.Join(dir, "clients.pem"),
	})
	address := listen(t, k)
	roots := x509.NewCertPool()
	roots.AddCert(must(x509.ParseCertificate(server.Certificate().Certificate[1])))
	talk := func(certificates ...tls.Certificate) error {
		connection, err := tls.Dial("tcp", address, &tls.Config{RootCAs: roots, Certificates: certificates})
		if err != nil {
			return err
		}
		defer connection.Close()
		if _, err = connection.Write([]byte("x")); err == nil {
			_, err = connection.Read(make([]byte, 1))
		}
		return err
	}
	pair := must(tls.LoadX509KeyPair(filepath.Join(dir, "client.pem"), filepath.Join(dir, "client.key")))
	assert.NoError(t, talk(pair))
	assert.ErrorContains(t, talk(), "certificate required")
	stranger := must(tls.LoadX509KeyPair(filepath.Join(dir, "server", "server.pem"), filepath.Join(dir, "server", "server.key")))
	assert.Error(t, talk(stranger), "the server's own authority signs for no client")

	_, err := certificate.Open(certificate.Options{Dir: dir, ClientAuthorityFile: filepath.Join(dir, "client.key")})
	assert.ErrorContains(t, err, "holds no certificate")
}

func must[T any](value T, err error) T {
	if err != nil {
		panic(err)
	}
	return value
}
