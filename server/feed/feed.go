// Package feed serves calendars to the programs that subscribe to them: GET and HEAD of /feeds/SECRET.ics over HTTPS, and
// nothing else. An address that was guessed or revoked answers as one that never was. Readers are held to a rate by their site,
// connections to a number, and every step to a time.
package feed

import (
	"bytes"
	"context"
	"crypto/sha256"
	"crypto/tls"
	"encoding/hex"
	"errors"
	"log/slog"
	"net"
	"net/http"
	"strings"
	"time"

	"golang.org/x/net/netutil"

	"saggar/server/app"
	"saggar/server/calendar"
	"saggar/server/domain"
	"saggar/server/limit"
)

const (
	readPatience    = 10 * time.Second
	answerPatience  = 30 * time.Second
	idlePatience    = time.Minute
	stopPatience    = 10 * time.Second
	mostHeaderBytes = 8 << 10
	mostConnections = 512
	// readsAtOnce and readsPerSecond bound one site. A college may sit behind one address.
	readsAtOnce    = 120
	readsPerSecond = 4
	// mostWriting calendars are put together at one time; others wait.
	mostWriting = 4
	// keepFor is how long a program may show what it has before it asks again.
	keepFor = "private, max-age=300"
)

// Options are what serving needs. All are required but Logger.
type Options struct {
	App    *app.App
	TLS    *tls.Config
	Logger *slog.Logger
}

// Server serves calendars.
type Server struct {
	app     *app.App
	logger  *slog.Logger
	tls     *tls.Config
	reads   *limit.Buckets
	writing chan struct{}
}

// New makes a server.
func New(o Options) *Server {
	if o.Logger == nil {
		o.Logger = slog.New(slog.DiscardHandler)
	}
	return &Server{
		app: o.App, logger: o.Logger, tls: o.TLS, reads: limit.New(readsPerSecond, readsAtOnce), writing: make(chan struct{}, mostWriting),
	}
}

// Serve serves until the context ends, then lets running answers end. It takes the listener over. The error is the listener's.
func (s *Server) Serve(ctx context.Context, listener net.Listener) error {
	config := s.tls.Clone()
	config.NextProtos = []string{"h2", "http/1.1"}
	// A program that subscribes shows the secret in its address, and no certificate.
	config.ClientAuth, config.ClientCAs = tls.NoClientCert, nil
	server := &http.Server{
		Handler: s, TLSConfig: config, MaxHeaderBytes: mostHeaderBytes, ReadHeaderTimeout: readPatience, ReadTimeout: readPatience,
		WriteTimeout: answerPatience, IdleTimeout: idlePatience, ErrorLog: slog.NewLogLogger(s.logger.Handler(), slog.LevelDebug),
	}
	failed := make(chan error, 1)
	go func() { failed <- server.ServeTLS(netutil.LimitListener(listener, mostConnections), "", "") }()
	select {
	case err := <-failed:
		return err
	case <-ctx.Done():
		ending, cancel := context.WithTimeout(context.WithoutCancel(ctx), stopPatience)
		defer cancel()
		if server.Shutdown(ending) != nil {
			return server.Close()
		}
		return nil
	}
}

// ServeHTTP answers one request. Addresses stay out of the log: they hold secrets.
func (s *Server) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	code, id := s.answer(w, r)
	s.logger.LogAttrs(r.Context(), slog.LevelInfo, "feed", slog.String("feed", id), slog.Int("code", code), slog.String("address", siteOf(r)))
}

func (s *Server) answer(w http.ResponseWriter, r *http.Request) (code int, id string) {
	w.Header().Set("X-Content-Type-Options", "nosniff")
	w.Header().Set("Referrer-Policy", "no-referrer")
	if r.Method != http.MethodGet && r.Method != http.MethodHead {
		w.Header().Set("Allow", "GET, HEAD")
		return s.bare(w, http.StatusMethodNotAllowed), ""
	}
	if !s.reads.Take(siteOf(r), time.Now()) {
		w.Header().Set("Retry-After", "60")
		return s.bare(w, http.StatusTooManyRequests), ""
	}
	select {
	case s.writing <- struct{}{}:
		defer func() { <-s.writing }()
	case <-r.Context().Done():
		return s.bare(w, http.StatusServiceUnavailable), ""
	}
	contents, err := s.app.ReadFeed(r.Context(), secretIn(r.URL.Path))
	if errors.Is(err, domain.ErrNotFound) {
		return s.bare(w, http.StatusNotFound), ""
	}
	text := &bytes.Buffer{}
	if err == nil {
		err = calendarOf(contents).Write(text)
	}
	if err != nil {
		s.logger.Error("a feed could not be written", "feed", contents.Feed.ID, "cause", err)
		w.Header().Set("Retry-After", "60")
		return s.bare(w, http.StatusServiceUnavailable), contents.Feed.ID
	}
	return s.calendar(w, r, text.Bytes()), contents.Feed.ID
}

// calendar sends a calendar, or that it is the one that the program has.
func (s *Server) calendar(w http.ResponseWriter, r *http.Request, text []byte) int {
	sum := sha256.Sum256(text)
	w.Header().Set("ETag", `"`+hex.EncodeToString(sum[:16])+`"`)
	w.Header().Set("Cache-Control", keepFor)
	w.Header().Set("Content-Type", "text/calendar; charset=utf-8")
	w.Header().Set("Content-Disposition", `inline; filename="studio.ics"`)
	sent := &seen{ResponseWriter: w, code: http.StatusOK}
	// It holds the request's conditions and ranges against the ETag (RFC 9110, section 13).
	http.ServeContent(sent, r, "", time.Time{}, bytes.NewReader(text))
	return sent.code
}

// seen remembers the code that was sent.
type seen struct {
	http.ResponseWriter
	code int
}

// WriteHeader sends the code.
func (s *seen) WriteHeader(code int) {
	s.code = code
	s.ResponseWriter.WriteHeader(code)
}

// bare answers with a code and nothing else.
func (s *Server) bare(w http.ResponseWriter, code int) int {
	w.Header().Set("Content-Length", "0")
	w.WriteHeader(code)
	return code
}

func calendarOf(c app.FeedContents) calendar.Calendar {
	return calendar.Calendar{
		Title: c.Title, StudioID: c.Feed.StudioID, Zone: c.Zone, Furnaces: c.Furnaces, Appointments: c.Appointments,
	}
}

// secretIn is what stands in a path for the secret; empty when the path has not the form of one.
func secretIn(path string) string {
	rest, below := strings.CutPrefix(path, "/feeds/")
	secret, named := strings.CutSuffix(rest, ".ics")
	if !below || !named {
		return ""
	}
	return secret
}

func siteOf(r *http.Request) string {
	address, err := net.ResolveTCPAddr("tcp", r.RemoteAddr)
	if err != nil {
		return r.RemoteAddr
	}
	return limit.Site(address)
}
