// Package config gathers what the server is told: defaults, then SAGGARD_* in the environment, then flags; the later
// wins. It reads no file and opens nothing. Load reports every fault at once.
package config

import (
	"errors"
	"fmt"
	"log/slog"
	"net"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/pflag"
)

// DefaultListen is the address served when none is given.
const DefaultListen = "127.0.0.1:7817"

// Config is everything that the server is told. Load fills and validates it.
type Config struct {
	// DataDir holds the key file and the private database; absolute.
	DataDir string
	// Database is a PostgreSQL connection string; empty means a private one below DataDir. It may hold a password.
	Database string
	// OwnerDatabase is a connection string of the schema's owner, who brings it up to date and lets the role in Database serve;
	// empty: Database does both, and could alter the trace.
	OwnerDatabase string
	// TraceFile is where the trace's heads are kept outside the database, every TraceEvery; absolute.
	TraceFile  string
	TraceEvery time.Duration
	// Listen is host:port or unix:/path. Other than loopback addresses are served with TLS.
	Listen string
	// TLS serves loopback addresses with TLS too.
	TLS bool
	// TLSCertificate and TLSKey are files in PEM, absolute; empty: the server makes a certificate under an authority of its
	// own, in the data folder.
	TLSCertificate, TLSKey string
	// TLSNames are host names and addresses in a certificate that the server makes.
	TLSNames []string
	// TLSClientAuthority is a file with the authorities of which callers must show a certificate, in PEM, absolute; empty:
	// they need none.
	TLSClientAuthority string
	// OpenIDIssuer is the URL of the issuer whose tokens are taken, and OpenIDAudience how it names this service; empty: only
	// keys are taken.
	OpenIDIssuer, OpenIDAudience string
	// FeedListen is host:port on which calendars are served over HTTPS; empty: none are. FeedURL is how the world reaches it,
	// without a slash at its end.
	FeedListen, FeedURL string
	// MailServer is host:port of the server that takes letters; empty: none are sent. MailSecurity is starttls, tls or clear,
	// MailUser and MailPasswordFile, absolute, how to sign in, MailFrom the address that letters come from.
	MailServer, MailSecurity, MailUser, MailPasswordFile, MailFrom string
	// KeyFile holds the first caller's key, mode 0600; absolute.
	KeyFile string
	// FirstKey asks for a first steward's key although keys stand, for when all were lost.
	FirstKey bool
	// RequestTimeout bounds one unary request, above 0 and up to an hour; a caller's shorter deadline wins.
	RequestTimeout time.Duration
	// LogLevel is the least severe level that is logged.
	LogLevel slog.Level
	// ClockStart is what the server's clock shows when it starts, for demonstrations and tests; zero: the machine's clock.
	ClockStart time.Time
	// CallsPerSecond is how many calls one caller may go on at, above 0; a burst is five times that.
	CallsPerSecond float64
	// MaxMessageBytes bounds one received message, 64 KiB to 256 MiB.
	MaxMessageBytes int
}

// Surroundings is what the process runs in, passed so that tests can choose it.
type Surroundings struct {
	// LookupEnv works like os.LookupEnv.
	LookupEnv func(name string) (string, bool)
	// UserID is the effective user id; 0, root, keeps its data under /var/lib.
	UserID int
}

// Load reads environment and flags. The error joins one error per fault, each naming the option, its value and what
// would be right; it is pflag.ErrHelp when help was asked for, which Usage answers.
func Load(args []string, around Surroundings) (Config, error) {
	var c Config
	flags := c.flags(around)
	faults := readEnvironment(flags, around.LookupEnv)
	if err := flags.Parse(args); err != nil {
		if errors.Is(err, pflag.ErrHelp) {
			return Config{}, err
		}
		faults = append(faults, err)
	}
	if extra := flags.Args(); len(extra) > 0 {
		faults = append(faults, fmt.Errorf("unexpected argument %q: options begin with --", extra[0]))
	}
	for flag, value := range map[string]string{"database": c.Database, "owner-database": c.OwnerDatabase} {
		if flags.Changed(flag) && holdsPassword(value) {
			faults = append(faults, fault(flag, "the process list shows its password to everybody on this machine; set %s instead, "+
				"or keep the password in a file of libpq's (passfile=...)", environmentName(flag)))
		}
	}
	if len(faults) > 0 {
		return Config{}, errors.Join(faults...)
	}
	if err := c.complete(); err != nil {
		return Config{}, err
	}
	return c, c.Validate()
}

// Usage lists the options, one or two lines each, with their defaults.
func Usage(around Surroundings) string {
	var c Config
	return c.flags(around).FlagUsagesWrapped(100)
}

func (c *Config) flags(around Surroundings) *pflag.FlagSet {
	flags := pflag.NewFlagSet("saggard", pflag.ContinueOnError)
	flags.SortFlags = false
	flags.Usage = func() {}
	flags.StringVar(&c.DataDir, "data-dir", defaultDataDir(around), "folder for the key file and the private database")
	flags.StringVar(&c.Database, "database", "", "PostgreSQL connection string (default: a private database in the data folder)")
	flags.StringVar(&c.OwnerDatabase, "owner-database", "", "connection string of the schema's owner, when another role serves")
	flags.StringVar(&c.TraceFile, "trace-file", "", "file in which the trace's heads are kept (default: trace-heads.jsonl in the data folder)")
	flags.DurationVar(&c.TraceEvery, "trace-every", 10*time.Minute, "how often the trace's heads are kept")
	flags.StringVar(&c.Listen, "listen", DefaultListen, "host:port or unix:/path to serve on; other than loopback addresses get TLS")
	flags.BoolVar(&c.TLS, "tls", false, "serve loopback addresses with TLS too")
	flags.StringVar(&c.TLSCertificate, "tls-certificate", "", "certificate with its chain, PEM (default: one is made, under an authority of the server's own)")
	flags.StringVar(&c.TLSKey, "tls-key", "", "the certificate's key, PEM, mode 0600")
	flags.StringSliceVar(&c.TLSNames, "tls-name", nil, "host name or address in a certificate that is made, besides the machine's own")
	flags.StringVar(&c.TLSClientAuthority, "tls-client-authority", "", "authorities of which callers must show a certificate, PEM (default: they need none)")
	flags.StringVar(&c.OpenIDIssuer, "openid-issuer", "", "URL of the OpenID Connect issuer whose tokens are taken (default: only keys are)")
	flags.StringVar(&c.OpenIDAudience, "openid-audience", "", "how the issuer names this service")
	flags.StringVar(&c.FeedListen, "feed-listen", "", "host:port to serve calendars on, over HTTPS (default: none are served)")
	flags.StringVar(&c.FeedURL, "feed-url", "", "how calendar programs reach it (default: https:// and the address of --feed-listen)")
	flags.StringVar(&c.MailServer, "mail-server", "", "host:port of the SMTP server that takes letters (default: none are sent)")
	flags.StringVar(&c.MailSecurity, "mail-security", "starttls", "starttls, tls, or clear for a server on a loopback address")
	flags.StringVar(&c.MailUser, "mail-user", "", "who signs in there (default: nobody does)")
	flags.StringVar(&c.MailPasswordFile, "mail-password-file", "", "file with the password, mode 0600")
	flags.StringVar(&c.MailFrom, "mail-from", "", "address that letters come from")
	flags.StringVar(&c.KeyFile, "key-file", "", "file for the first steward's one-time key (default: first.key in the data folder)")
	flags.BoolVar(&c.FirstKey, "first-key", false, "make a first key although others stand, for when all were lost")
	flags.DurationVar(&c.RequestTimeout, "request-timeout", 30*time.Second, "longest time for one request")
	flags.Var((*logLevel)(&c.LogLevel), "log-level", "least severe level to log: debug, info, warn or error")
	flags.IntVar(&c.MaxMessageBytes, "max-message-bytes", 4<<20, "largest message accepted, in bytes")
	flags.Float64Var(&c.CallsPerSecond, "calls-per-second", 100, "calls that one caller may go on at; a burst is five times that")
	flags.TimeVar(&c.ClockStart, "clock-start", time.Time{}, []string{time.RFC3339},
		"for demonstrations: what the server's clock shows when it starts, RFC 3339")
	flags.VisitAll(func(f *pflag.Flag) { f.Usage += " [" + environmentName(f.Name) + "]" })
	return flags
}

// environmentName is SAGGARD_DATA_DIR for data-dir.
func environmentName(flag string) string {
	return "SAGGARD_" + strings.ToUpper(strings.ReplaceAll(flag, "-", "_"))
}

func readEnvironment(flags *pflag.FlagSet, lookup func(string) (string, bool)) (faults []error) {
	flags.VisitAll(func(f *pflag.Flag) {
		value, given := lookup(environmentName(f.Name))
		if !given {
			return
		}
		if err := f.Value.Set(value); err != nil {
			faults = append(faults, fmt.Errorf("%s is %q: %w", environmentName(f.Name), value, err))
		}
	})
	return faults
}

// defaultDataDir follows the XDG base directory specification, which says to ignore a relative path. Empty when
// nothing is known of the user's home.
func defaultDataDir(around Surroundings) string {
	if around.UserID == 0 {
		return "/var/lib/saggar"
	}
	if dir, _ := around.LookupEnv("XDG_DATA_HOME"); filepath.IsAbs(dir) {
		return filepath.Join(dir, "saggar")
	}
	if home, _ := around.LookupEnv("HOME"); filepath.IsAbs(home) {
		return filepath.Join(home, ".local", "share", "saggar")
	}
	return ""
}

// complete makes the paths absolute and fills in those that follow from others.
func (c *Config) complete() (err error) {
	if c.DataDir != "" {
		if c.DataDir, err = filepath.Abs(c.DataDir); err != nil {
			return err
		}
	}
	if c.KeyFile == "" {
		c.KeyFile = filepath.Join(c.DataDir, "first.key")
	}
	if c.TraceFile == "" {
		c.TraceFile = filepath.Join(c.DataDir, "trace-heads.jsonl")
	}
	if c.FeedListen != "" && c.FeedURL == "" {
		c.FeedURL = "https://" + c.FeedListen
	}
	for _, path := range []*string{&c.KeyFile, &c.TraceFile, &c.TLSCertificate, &c.TLSKey, &c.TLSClientAuthority, &c.MailPasswordFile} {
		if *path == "" {
			continue
		}
		if *path, err = filepath.Abs(*path); err != nil {
			return err
		}
	}
	return nil
}

// Clock is the server's clock: the machine's, or one that shows ClockStart now and goes on from there.
func (c Config) Clock() func() time.Time {
	if c.ClockStart.IsZero() {
		return time.Now
	}
	begin := time.Now()
	return func() time.Time { return c.ClockStart.Add(time.Since(begin)) }
}

// ClusterDir is the private database's folder.
func (c Config) ClusterDir() string { return filepath.Join(c.DataDir, "postgres") }

// CertificateDir is the folder of the server's own authority.
func (c Config) CertificateDir() string { return filepath.Join(c.DataDir, "tls") }

// ServesTLS reports whether the address is served with TLS: always, except on loopback addresses, where it must be asked
// for, and on Unix sockets, which never leave the machine.
func (c Config) ServesTLS() bool {
	network, address := c.Address()
	if network == "unix" {
		return false
	}
	host, _, _ := net.SplitHostPort(address) // Validate has seen it
	return c.TLS || c.TLSCertificate != "" || c.TLSClientAuthority != "" || !isLoopback(host)
}

// Address splits Listen into what net.Listen takes: "tcp" or "unix", and the address.
func (c Config) Address() (network, address string) {
	if path, isSocket := strings.CutPrefix(c.Listen, unixListenPrefix); isSocket {
		return "unix", path
	}
	return "tcp", c.Listen
}

// logLevel is a level as a flag.
type logLevel slog.Level

// String is the level's name in lower case.
func (l *logLevel) String() string { return strings.ToLower(slog.Level(*l).String()) }

// Type is shown in the usage.
func (l *logLevel) Type() string { return "level" }

// Set takes one of the four names in either case.
func (l *logLevel) Set(text string) error {
	for _, level := range []slog.Level{slog.LevelDebug, slog.LevelInfo, slog.LevelWarn, slog.LevelError} {
		if strings.EqualFold(text, level.String()) {
			*l = logLevel(level)
			return nil
		}
	}
	return errors.New("must be debug, info, warn or error")
}
