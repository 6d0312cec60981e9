package config

import (
	"errors"
	"fmt"
	"net"
	"net/mail"
	"net/netip"
	"net/url"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
)

const (
	longestTraceEvery   = 24 * time.Hour
	longestRequest      = time.Hour
	leastMessageBytes   = 64 << 10
	mostMessageBytes    = 256 << 20
	mostCallsPerSecond  = 1_000_000
	mostSocketPathBytes = 107 // sockaddr_un in Linux's unix(7): 108 bytes with the closing zero
	unixListenPrefix    = "unix:"
)

// Validate lists every fault, one joined error each, in the order of the fields.
func (c Config) Validate() error {
	return errors.Join(
		c.validateDataDir(), validateDatabase("database", c.Database), c.validateOwner(), c.validateTrace(),
		c.validateListen(), c.validateTLS(), c.validateOpenID(), c.validateFeeds(), c.validateMail(), c.validateKeyFile(),
		c.validateRequestTimeout(), c.validateCallsPerSecond(), c.validateMaxMessageBytes(),
	)
}

// fault names the option by flag and environment.
func fault(flag, format string, args ...any) error {
	return fmt.Errorf("--%s (%s): %w", flag, environmentName(flag), fmt.Errorf(format, args...))
}

func (c Config) validateDataDir() error {
	switch {
	case c.DataDir == "":
		return fault("data-dir", "there is no default because HOME is not set; name a folder")
	case strings.ContainsFunc(c.DataDir, isControl):
		return fault("data-dir", "%q holds a control character", c.DataDir)
	case !filepath.IsAbs(c.DataDir):
		return fault("data-dir", "%q is not absolute", c.DataDir)
	}
	return nil
}

// validateDatabase checks the form only and never repeats the value, which may hold a password.
func validateDatabase(flag, connection string) error {
	if connection == "" {
		return nil
	}
	scheme, _, isURL := strings.Cut(connection, "://")
	switch {
	case isURL && scheme != "postgres" && scheme != "postgresql":
		return fault(flag, "the scheme is %q; it must be postgres://user@host/name or host=... dbname=...", scheme)
	case isURL:
		if _, err := url.Parse(connection); err != nil {
			return fault(flag, "the value is no URL; escape special characters in the password with %%XX")
		}
	case !strings.Contains(connection, "="):
		return fault(flag, "the value is no connection string; it must be postgres://user@host/name or host=... dbname=...")
	}
	return nil
}

func (c Config) validateOwner() error {
	if c.OwnerDatabase != "" && c.Database == "" {
		return fault("owner-database", "a private database has its owner itself; give --database too, or neither")
	}
	return validateDatabase("owner-database", c.OwnerDatabase)
}

func (c Config) validateTrace() error {
	if c.TraceEvery < time.Second || c.TraceEvery > longestTraceEvery {
		return fault("trace-every", "%s must be 1s to %s", c.TraceEvery, longestTraceEvery)
	}
	if strings.ContainsFunc(c.TraceFile, isControl) {
		return fault("trace-file", "%q holds a control character", c.TraceFile)
	}
	return nil
}

// holdsPassword reports whether a connection string has a password in it, in either form.
func holdsPassword(connection string) bool {
	if parsed, err := url.Parse(connection); err == nil && parsed.User != nil {
		if _, given := parsed.User.Password(); given {
			return true
		}
	}
	return passwordSetting.MatchString(connection)
}

var passwordSetting = regexp.MustCompile(`(?i)(^|[\s?&])password\s*=`)

func (c Config) validateListen() error {
	network, address := c.Address()
	if network == "unix" {
		return validateSocketPath(address)
	}
	_, port, err := net.SplitHostPort(address)
	if err != nil {
		return fault("listen", "%q is neither host:port nor unix:/path", c.Listen)
	}
	if _, err := strconv.ParseUint(port, 10, 16); err != nil {
		return fault("listen", "port %q of %q must be 0 to 65535; 0 picks a free one", port, c.Listen)
	}
	return nil
}

func (c Config) validateTLS() error {
	network, _ := c.Address()
	asked := c.TLS || c.TLSCertificate != "" || c.TLSClientAuthority != ""
	switch {
	case network == "unix" && asked:
		return fault("tls", "a Unix socket carries no TLS and needs none; leave --tls and --tls-... out, or listen on host:port")
	case (c.TLSCertificate == "") != (c.TLSKey == ""):
		return fault("tls-certificate", "certificate and key go together: give --tls-certificate and --tls-key, or neither")
	case c.TLSCertificate != "" && len(c.TLSNames) > 0:
		return fault("tls-name", "a given certificate has its names in it; leave --tls-name out")
	}
	for _, name := range c.TLSNames {
		if name == "" || strings.ContainsFunc(name, func(r rune) bool { return r <= ' ' || r > '~' || r == '/' }) {
			return fault("tls-name", "%q is no host name or address; give one such as kiln.example.edu or 192.0.2.7", name)
		}
	}
	return nil
}

func (c Config) validateOpenID() error {
	if (c.OpenIDIssuer == "") != (c.OpenIDAudience == "") {
		return fault("openid-issuer", "issuer and audience go together: give --openid-issuer and --openid-audience, or neither")
	}
	if c.OpenIDIssuer == "" {
		return nil
	}
	issuer, err := url.Parse(c.OpenIDIssuer)
	if err != nil || issuer.Host == "" || issuer.RawQuery != "" || issuer.Fragment != "" {
		return fault("openid-issuer", "%q is no issuer's URL; give one such as https://login.example.edu/college", c.OpenIDIssuer)
	}
	if issuer.Scheme != "https" && !(issuer.Scheme == "http" && isLoopback(issuer.Hostname())) {
		return fault("openid-issuer", "%q must begin with https://, or anybody on the way could give the keys", c.OpenIDIssuer)
	}
	return nil
}

func (c Config) validateFeeds() error {
	if c.FeedListen == "" {
		if c.FeedURL != "" {
			return fault("feed-url", "no calendars are served; give --feed-listen too, or neither")
		}
		return nil
	}
	if _, port, err := net.SplitHostPort(c.FeedListen); err != nil || !isPort(port) {
		return fault("feed-listen", "%q is no host:port", c.FeedListen)
	}
	reached, err := url.Parse(c.FeedURL)
	switch {
	case err != nil || reached.Scheme != "https" || reached.Hostname() == "" || strings.HasSuffix(c.FeedURL, "/") ||
		reached.RawQuery != "" || reached.Fragment != "" || reached.User != nil:
		return fault("feed-url", "%q is no URL such as https://kiln.example.edu:7818", c.FeedURL)
	case isUnspecified(reached.Hostname()) || reached.Port() == "0":
		return fault("feed-url", "%q leads nowhere; give the name by which programs reach this machine, as in https://kiln.example.edu:7818",
			c.FeedURL)
	}
	return nil
}

func (c Config) validateMail() error {
	if c.MailServer == "" {
		if c.MailUser != "" || c.MailPasswordFile != "" || c.MailFrom != "" {
			return fault("mail-server", "no letters are sent without one; give it, or leave the other --mail-... out")
		}
		return nil
	}
	host, port, err := net.SplitHostPort(c.MailServer)
	switch {
	case err != nil || host == "" || !isPort(port):
		return fault("mail-server", "%q is no host:port", c.MailServer)
	case !slices.Contains([]string{"starttls", "tls", "clear"}, c.MailSecurity):
		return fault("mail-security", "%q must be starttls, tls or clear", c.MailSecurity)
	case c.MailSecurity == "clear" && !isLoopback(host):
		return fault("mail-security", "letters and password would go to %s in clear; give starttls or tls", host)
	}
	return c.validateMailSender()
}

func (c Config) validateMailSender() error {
	switch {
	case c.MailSecurity == "clear" && c.MailUser != "":
		return fault("mail-user", "no password is sent in clear; leave --mail-user out, or give --mail-security starttls or tls")
	case (c.MailUser == "") != (c.MailPasswordFile == ""):
		return fault("mail-user", "user and password go together: give --mail-user and --mail-password-file, or neither")
	}
	if from, err := mail.ParseAddress(c.MailFrom); err != nil || from.Address != c.MailFrom {
		return fault("mail-from", "%q is no address; give one such as kilns@example.edu", c.MailFrom)
	}
	return nil
}

func isPort(text string) bool {
	_, err := strconv.ParseUint(text, 10, 16)
	return err == nil
}

func isUnspecified(host string) bool {
	address, err := netip.ParseAddr(host)
	return err == nil && address.IsUnspecified()
}

func validateSocketPath(path string) error {
	switch {
	case !filepath.IsAbs(path):
		return fault("listen", "%q must name the socket by its absolute path, as in unix:/run/saggar/saggar.sock", unixListenPrefix+path)
	case len(path) > mostSocketPathBytes:
		return fault("listen", "the socket's path %q has %d bytes; the system allows %d", path, len(path), mostSocketPathBytes)
	}
	return nil
}

// isLoopback takes addresses, and of names only localhost: any other may lead anywhere tomorrow.
func isLoopback(host string) bool {
	if host == "localhost" {
		return true
	}
	address, err := netip.ParseAddr(host)
	return err == nil && address.IsLoopback()
}

func (c Config) validateKeyFile() error {
	switch {
	case strings.ContainsFunc(c.KeyFile, isControl):
		return fault("key-file", "%q holds a control character", c.KeyFile)
	case !filepath.IsAbs(c.KeyFile):
		return fault("key-file", "%q is not absolute", c.KeyFile)
	}
	return nil
}

func (c Config) validateRequestTimeout() error {
	if c.RequestTimeout <= 0 || c.RequestTimeout > longestRequest {
		return fault("request-timeout", "%s must be above 0 and at most %s", c.RequestTimeout, longestRequest)
	}
	return nil
}

func (c Config) validateCallsPerSecond() error {
	if !(c.CallsPerSecond > 0 && c.CallsPerSecond <= mostCallsPerSecond) {
		return fault("calls-per-second", "%v must be above 0 and at most %d", c.CallsPerSecond, mostCallsPerSecond)
	}
	return nil
}

func (c Config) validateMaxMessageBytes() error {
	if c.MaxMessageBytes < leastMessageBytes || c.MaxMessageBytes > mostMessageBytes {
		return fault("max-message-bytes", "%d must be %d to %d", c.MaxMessageBytes, leastMessageBytes, mostMessageBytes)
	}
	return nil
}

func isControl(r rune) bool { return r < ' ' || r == 0x7f }
