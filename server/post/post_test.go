package post

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"io"
	"math/big"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/emersion/go-message/mail"
	"github.com/emersion/go-sasl"
	"github.com/emersion/go-smtp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/server/domain"
)

// office is an SMTP server of another library that takes letters, or refuses them with what refuse says.
type office struct {
	address string
	roots   *tls.Config
	refuse  error // at RCPT
	mu      sync.Mutex
	taken   []string
	to      []string
	signed  string
}

func (o *office) NewSession(*smtp.Conn) (smtp.Session, error) { return &counter{office: o}, nil }

// counter is one talk with the office.
type counter struct{ office *office }

func (c *counter) Reset()        {}
func (c *counter) Logout() error { return nil }

func (c *counter) AuthMechanisms() []string { return []string{sasl.Plain} }

func (c *counter) Auth(string) (sasl.Server, error) {
	return sasl.NewPlainServer(func(_, user, password string) error {
		if user != "kilns" || password != "secret" {
			return &smtp.SMTPError{Code: 535, Message: "no such user"}
		}
		c.office.signed = user
		return nil
	}), nil
}

func (c *counter) Mail(string, *smtp.MailOptions) error { return nil }

func (c *counter) Rcpt(to string, _ *smtp.RcptOptions) error {
	c.office.to = append(c.office.to, to)
	return c.office.refuse
}

func (c *counter) Data(r io.Reader) error {
	text, err := io.ReadAll(r)
	c.office.mu.Lock()
	defer c.office.mu.Unlock()
	c.office.taken = append(c.office.taken, string(text))
	return err
}

// open starts an office that speaks TLS from the start, or after STARTTLS.
func open(t *testing.T, security Security) *office {
	t.Helper()
	certificate, roots := selfSigned(t)
	o := &office{roots: &tls.Config{RootCAs: roots}}
	server := smtp.NewServer(o)
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	o.address = listener.Addr().String()
	server.Domain = "localhost"
	settings := &tls.Config{Certificates: []tls.Certificate{certificate}}
	switch security {
	case StartTLS:
		server.TLSConfig = settings
	case TLS:
		listener = tls.NewListener(listener, settings)
	case Clear:
		server.AllowInsecureAuth = true
	}
	go func() { _ = server.Serve(listener) }()
	t.Cleanup(func() { _ = server.Close() })
	return o
}

func selfSigned(t *testing.T) (tls.Certificate, *x509.CertPool) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	template := &x509.Certificate{
		SerialNumber: big.NewInt(1), NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour), IsCA: true,
		BasicConstraintsValid: true, IPAddresses: []net.IP{net.ParseIP("127.0.0.1")}, KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign,
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, key.Public(), key)
	require.NoError(t, err)
	parsed, err := x509.ParseCertificate(der)
	require.NoError(t, err)
	roots := x509.NewCertPool()
	roots.AddCert(parsed)
	return tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key}, roots
}

func (o *office) sender(t *testing.T, change func(*Options)) *Sender {
	t.Helper()
	options := Options{Server: o.address, Security: StartTLS, From: "kilns@example.edu", TLS: o.roots, Patience: 2 * time.Second}
	if change != nil {
		change(&options)
	}
	s, err := New(options)
	require.NoError(t, err)
	return s
}

func letter() domain.Letter {
	return domain.Letter{
		ID: strings.Repeat("0f", 16), To: "ada@example.org", Subject: "Marl Lane: 2 changes, größer", Time: time.Date(2027, 3, 1, 8, 0, 0, 0, time.UTC),
		Body: "tom moved your run blue-7.\n  calcine in Töpfer's crucible 🔥\n.\n.. dots\n" + strings.Repeat("long ", 300) + "\n",
	}
}

func TestLettersArriveWhole(t *testing.T) {
	for _, security := range []Security{StartTLS, TLS, Clear} {
		o := open(t, security)
		s := o.sender(t, func(options *Options) {
			options.Security = security
			if security != Clear { // where nobody signs in
				options.User, options.Password = "kilns", "secret"
			}
		})
		require.NoError(t, s.Send(t.Context(), letter()), security)
		assert.Equal(t, security != Clear, o.signed == "kilns")
		assert.Equal(t, []string{"ada@example.org"}, o.to)
		require.Len(t, o.taken, 1)
		read, err := mail.CreateReader(strings.NewReader(o.taken[0]))
		require.NoError(t, err, "another library reads it")
		subject, err := read.Header.Subject()
		require.NoError(t, err)
		assert.Equal(t, letter().Subject, subject)
		id, err := read.Header.MessageID()
		require.NoError(t, err)
		assert.Equal(t, letter().ID+"@example.edu", id)
		date, err := read.Header.Date()
		require.NoError(t, err)
		assert.True(t, letter().Time.Equal(date))
		from, err := read.Header.AddressList("From")
		require.NoError(t, err)
		assert.Equal(t, "kilns@example.edu", from[0].Address)
		assert.Equal(t, "auto-generated", read.Header.Get("Auto-Submitted"))
		part, err := read.NextPart()
		require.NoError(t, err)
		body, err := io.ReadAll(part.Body)
		require.NoError(t, err)
		assert.Equal(t, letter().Body, strings.ReplaceAll(string(body), "\r\n", "\n"))
		for _, line := range strings.Split(o.taken[0], "\r\n") {
			assert.LessOrEqual(t, len(line), 998, "RFC 5322, section 2.1.1")
		}
	}
}

func TestNothingIsSentInClearNorToAStranger(t *testing.T) {
	clear := open(t, Clear)
	err := clear.sender(t, nil).Send(t.Context(), letter())
	require.Error(t, err, "a server that offers no STARTTLS")
	assert.Empty(t, clear.taken)
	for _, security := range []Security{StartTLS, TLS} {
		stranger := open(t, security)
		err = stranger.sender(t, func(o *Options) { o.TLS, o.Security = nil, security }).Send(t.Context(), letter())
		assert.ErrorContains(t, err, "certificate", security)
		assert.Empty(t, stranger.taken)
	}
}

func isRefused(err error) bool {
	_, refused := errors.AsType[domain.LetterRefused](err)
	return refused
}

func TestWhatIsRefusedForGoodIsToldFromWhatMayPass(t *testing.T) {
	o := open(t, StartTLS)
	for code, forGood := range map[int]bool{550: true, 552: true, 450: false, 421: false} {
		o.refuse = &smtp.SMTPError{Code: code, EnhancedCode: smtp.EnhancedCodeNotSet, Message: "no"}
		err := o.sender(t, nil).Send(t.Context(), letter())
		require.Error(t, err, code)
		assert.Equal(t, forGood, isRefused(err), "%d: %v", code, err)
	}
	o.refuse = nil
	wrong := o.sender(t, func(options *Options) { options.User, options.Password = "kilns", "wrong" })
	err := wrong.Send(t.Context(), letter())
	require.Error(t, err)
	assert.False(t, isRefused(err), "a password that is wrong can be mended: %v", err)
	broken := letter()
	broken.To = "nobody"
	assert.True(t, isRefused(o.sender(t, nil).Send(t.Context(), broken)), "an address that is none")
	assert.Empty(t, o.taken)
}

// TestAServerThatHangsIsLeft talks to servers that take the connection and then say nothing, or begin and stop.
func TestAServerThatHangsIsLeft(t *testing.T) {
	for _, says := range []string{"", "220 here\r\n", "220 here\r\n250-here\r\n"} {
		listener, err := net.Listen("tcp", "127.0.0.1:0")
		require.NoError(t, err)
		t.Cleanup(func() { _ = listener.Close() })
		go func() {
			connection, err := listener.Accept()
			if err == nil {
				_, _ = io.WriteString(connection, says)
				_, _ = io.Copy(io.Discard, connection)
			}
		}()
		s, err := New(Options{Server: listener.Addr().String(), From: "kilns@example.edu", Patience: 200 * time.Millisecond})
		require.NoError(t, err)
		ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
		err = s.Send(ctx, letter())
		require.Error(t, err)
		assert.False(t, isRefused(err))
		assert.NoError(t, ctx.Err(), "left in time")
		cancel()
	}
	nobody, err := New(Options{Server: "127.0.0.1:1", From: "kilns@example.edu"})
	require.NoError(t, err)
	assert.Error(t, nobody.Send(t.Context(), letter()))
}

// TestAServerThatHangsIsCutWithTheContext: whatever its patience, on every way there; nothing waits for it when a server stops.
func TestAServerThatHangsIsCutWithTheContext(t *testing.T) {
	certificate, roots := selfSigned(t)
	for security, says := range map[Security]string{StartTLS: "220 here\r\n", Clear: "", TLS: "220 here\r\n"} {
		listener, err := net.Listen("tcp", "127.0.0.1:0")
		require.NoError(t, err)
		if security == TLS {
			listener = tls.NewListener(listener, &tls.Config{Certificates: []tls.Certificate{certificate}})
		}
		t.Cleanup(func() { _ = listener.Close() })
		ctx, cancel := context.WithCancel(t.Context())
		go func() {
			connection, err := listener.Accept()
			if err == nil {
				_, _ = io.WriteString(connection, says)
				cancel()
				_, _ = io.Copy(io.Discard, connection)
			}
		}()
		s, err := New(Options{
			Server: listener.Addr().String(), Security: security, From: "kilns@example.edu", Patience: time.Hour, TLS: &tls.Config{RootCAs: roots},
		})
		require.NoError(t, err)
		done := make(chan error, 1)
		go func() { done <- s.Send(ctx, letter()) }()
		select {
		case err := <-done:
			require.Error(t, err, security)
			assert.False(t, isRefused(err), "it may pass")
		case <-time.After(time.Minute):
			require.Fail(t, "it waits for the server", security)
		}
	}
}
