// Package post sends letters to one SMTP server: plain text, over TLS, each in a connection of its own, with a time for every
// step. What stands in a letter, and when it is tried again, is decided elsewhere.
package post

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"strconv"
	"strings"
	"time"

	"github.com/wneessen/go-mail"

	"saggar/server/domain"
)

// Security is how the way to the server is kept from others.
type Security string

// The ways. Clear is for servers on the same machine only, and nobody signs in there.
const (
	StartTLS Security = "starttls"
	TLS      Security = "tls"
	Clear    Security = "clear"
)

// stepPatience bounds connecting and the whole talk after it each.
const stepPatience = 30 * time.Second

// Options say which server, and as whom.
type Options struct {
	// Server is host:port.
	Server   string
	Security Security
	// User and Password sign in; both empty: nobody does.
	User, Password string
	// From is the address that letters come from.
	From string
	// TLS holds the authorities to be trusted; nil means the machine's.
	TLS *tls.Config
	// Patience bounds connecting and the whole talk after it each; 0: 30 s.
	Patience time.Duration
}

// Sender sends letters. Safe for concurrent use.
type Sender struct {
	options Options
	host    string
	port    int
	domain  string // of the address that letters come from
}

// New makes a sender; nothing is sent yet. Errors: an address that is none.
func New(o Options) (*Sender, error) {
	host, port, err := net.SplitHostPort(o.Server)
	if err != nil {
		return nil, fmt.Errorf("mail server: %w", err)
	}
	number, err := strconv.Atoi(port)
	if err != nil {
		return nil, fmt.Errorf("mail server: %w", err)
	}
	if o.Patience == 0 {
		o.Patience = stepPatience
	}
	_, at, _ := strings.Cut(o.From, "@")
	return &Sender{options: o, host: host, port: number, domain: at}, nil
}

// Send sends one letter. Errors: domain.LetterRefused when the server will never take it (RFC 5321, section 4.2.1: a code that
// begins with 5); everything else may pass.
func (s *Sender) Send(ctx context.Context, letter domain.Letter) error {
	message, err := s.message(letter)
	if err != nil {
		return domain.LetterRefused{Cause: err}
	}
	cut := cutter{ctx: ctx}
	defer cut.end()
	client, err := s.client(&cut)
	if err != nil {
		return err
	}
	err = client.DialAndSendWithContext(ctx, message)
	if message.IsDelivered() {
		return nil // what went wrong came after the server had taken it
	}
	// What the server says of this letter, and not of who signs in, or of the way there.
	if said, ok := errors.AsType[*mail.SendError](err); ok && !said.IsTemp() && said.ErrorCode() >= 500 {
		return domain.LetterRefused{Cause: err}
	}
	return err
}

// message puts a letter into the form of RFC 5322. Its Message-ID is the letter's, so that one that was sent twice is known for
// one; Auto-Submitted keeps programs from answering (RFC 3834).
func (s *Sender) message(letter domain.Letter) (*mail.Msg, error) {
	m := mail.NewMsg(mail.WithNoDefaultUserAgent())
	if err := errors.Join(m.From(s.options.From), m.To(letter.To)); err != nil {
		return nil, err
	}
	m.Subject(letter.Subject)
	m.SetDateWithValue(letter.Time)
	m.SetMessageIDWithValue(letter.ID + "@" + s.domain)
	m.SetGenHeader("Auto-Submitted", "auto-generated")
	m.SetBodyString(mail.TypeTextPlain, letter.Body)
	return m, nil
}

// cutter dials, and closes the connection as soon as a context ends: the library looks at one only while it dials.
type cutter struct {
	ctx  context.Context
	tls  *tls.Config // nil: clear text at first
	stop []func() bool
}

func (c *cutter) dial(ctx context.Context, network, address string) (connection net.Conn, err error) {
	if c.tls != nil {
		connection, err = (&tls.Dialer{Config: c.tls}).DialContext(ctx, network, address)
	} else {
		connection, err = (&net.Dialer{}).DialContext(ctx, network, address)
	}
	if err == nil {
		c.stop = append(c.stop, context.AfterFunc(c.ctx, func() { _ = connection.Close() }))
	}
	return connection, err
}

func (c *cutter) end() {
	for _, stop := range c.stop {
		stop()
	}
}

func (s *Sender) client(cut *cutter) (*mail.Client, error) {
	settings := &tls.Config{}
	if s.options.TLS != nil {
		settings = s.options.TLS.Clone()
	}
	settings.ServerName, settings.MinVersion = s.host, tls.VersionTLS12
	options := []mail.Option{
		mail.WithPort(s.port), mail.WithTimeout(s.options.Patience), mail.WithTLSConfig(settings), mail.WithTLSPolicy(mail.TLSMandatory),
		mail.WithDialContextFunc(cut.dial),
	}
	switch s.options.Security {
	case TLS:
		cut.tls = settings
		options = append(options, mail.WithTLSPolicy(mail.TLSOpportunistic)) // it is encrypted before the library looks
	case Clear:
		options = append(options, mail.WithTLSPolicy(mail.NoTLS))
	}
	if s.options.User != "" {
		options = append(options, mail.WithSMTPAuth(mail.SMTPAuthAutoDiscover), mail.WithUsername(s.options.User), mail.WithPassword(s.options.Password))
	}
	return mail.NewClient(s.host, options...)
}
