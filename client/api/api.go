// Package api reaches a Saggar server: the connection with the caller's key, a deadline on each call, retries when the
// server is away, ids for requests that must not be done twice, and what an error means to a person and to a script.
package api

import (
	"context"
	"fmt"
	"net"
	"os"
	"strings"
	"time"

	"github.com/google/uuid"
	"google.golang.org/grpc"
	"google.golang.org/grpc/backoff"
	"google.golang.org/grpc/metadata"

	saggarv1 "saggar/proto/saggar/v1"
)

// DefaultAddress is where a server on this machine listens.
const DefaultAddress = "127.0.0.1:7817"

// retries: only UNAVAILABLE is tried again, since mutating calls carry a request id or an etag. Making a key or a
// feed, asking for time or noting a reading, is not, as a repeat would make a second one.
const retries = `{
  "methodConfig": [
    {"name": [{"service": "saggar.v1.AccessService"}, {"service": "saggar.v1.FeedService"},
      {"service": "saggar.v1.TimeRequestService", "method": "CreateTimeRequest"},
      {"service": "saggar.v1.ReadingService", "method": "CreateReading"}]},
    {"name": [{}], "retryPolicy": {
      "maxAttempts": 4, "initialBackoff": "0.2s", "maxBackoff": "2s", "backoffMultiplier": 2,
      "retryableStatusCodes": ["UNAVAILABLE"]
    }}
  ]
}`

// reconnecting keeps the pauses between attempts at a server that is away short: the library's go up to two minutes.
var reconnecting = grpc.ConnectParams{
	Backoff:           backoff.Config{BaseDelay: firstBackoff, Multiplier: 2, Jitter: 0.2, MaxDelay: mostBackoff},
	MinConnectTimeout: 10 * time.Second,
}

// Options says which server, as whom and how long to wait.
type Options struct {
	Address string        // host:port or unix:/path
	Key     string        // the caller's secret
	Timeout time.Duration // of one call; 0: 30 s
	TLS     TLS
}

// Connection is a server with its services. Safe for concurrent use.
type Connection struct {
	conn       *grpc.ClientConn
	Studios    saggarv1.StudioServiceClient
	Equipment  saggarv1.EquipmentServiceClient
	Materials  saggarv1.MaterialServiceClient
	Lots       saggarv1.LotServiceClient
	Recipes    saggarv1.RecipeServiceClient
	Runs       saggarv1.RunServiceClient
	Firings    saggarv1.FiringServiceClient
	People     saggarv1.PeopleServiceClient
	Access     saggarv1.AccessServiceClient
	Clearances saggarv1.ClearanceServiceClient
	Allotments saggarv1.AllotmentServiceClient
	Trace      saggarv1.TraceServiceClient
	Watch      saggarv1.WatchServiceClient
	Feeds      saggarv1.FeedServiceClient
	Mail       saggarv1.MailServiceClient
	Reports    saggarv1.ReportServiceClient
	Requests   saggarv1.TimeRequestServiceClient
	Readings   saggarv1.ReadingServiceClient
}

// Dial prepares a connection; the server is reached at the first call. Clear text goes only to a loopback address or a
// Unix socket; anything else is spoken to with TLS 1.3.
func Dial(o Options) (*Connection, error) {
	if err := checkAddress(o.Address); err != nil {
		return nil, err
	}
	if o.Timeout == 0 {
		o.Timeout = 30 * time.Second
	}
	transport, err := o.credentials()
	if err != nil {
		return nil, fmt.Errorf("server %q: %w", o.Address, err)
	}
	conn, err := grpc.NewClient(target(o.Address),
		grpc.WithTransportCredentials(transport),
		grpc.WithDefaultServiceConfig(retries), grpc.WithConnectParams(reconnecting),
		grpc.WithUnaryInterceptor(o.unary()), grpc.WithStreamInterceptor(o.stream()),
	)
	if err != nil {
		return nil, fmt.Errorf("server %q: %w", o.Address, err)
	}
	return &Connection{
		conn: conn, Studios: saggarv1.NewStudioServiceClient(conn), Equipment: saggarv1.NewEquipmentServiceClient(conn),
		Materials: saggarv1.NewMaterialServiceClient(conn), Lots: saggarv1.NewLotServiceClient(conn), Recipes: saggarv1.NewRecipeServiceClient(conn),
		Runs: saggarv1.NewRunServiceClient(conn), Firings: saggarv1.NewFiringServiceClient(conn),
		People: saggarv1.NewPeopleServiceClient(conn), Access: saggarv1.NewAccessServiceClient(conn),
		Trace: saggarv1.NewTraceServiceClient(conn), Watch: saggarv1.NewWatchServiceClient(conn),
		Feeds: saggarv1.NewFeedServiceClient(conn), Mail: saggarv1.NewMailServiceClient(conn),
		Clearances: saggarv1.NewClearanceServiceClient(conn), Allotments: saggarv1.NewAllotmentServiceClient(conn),
		Reports: saggarv1.NewReportServiceClient(conn), Requests: saggarv1.NewTimeRequestServiceClient(conn),
		Readings: saggarv1.NewReadingServiceClient(conn),
	}, nil
}

// Close ends the connection.
func (c *Connection) Close() error { return c.conn.Close() }

func target(address string) string {
	if strings.HasPrefix(address, "unix:") {
		return address
	}
	return "passthrough:///" + address
}

func checkAddress(address string) error {
	path, isSocket := strings.CutPrefix(address, "unix:")
	if isSocket && path != "" {
		return nil
	}
	if host, _, err := net.SplitHostPort(address); isSocket || err != nil || host == "" {
		return fmt.Errorf("server %q: give host:port or unix:/path", address)
	}
	return nil
}

func (o Options) unary() grpc.UnaryClientInterceptor {
	return func(ctx context.Context, method string, request, reply any, conn *grpc.ClientConn,
		invoke grpc.UnaryInvoker, options ...grpc.CallOption,
	) error {
		ctx, cancel := context.WithTimeout(o.withKey(ctx), o.Timeout)
		defer cancel()
		return o.plain(invoke(ctx, method, request, reply, conn, options...))
	}
}

// stream gives a stream the deadline of its caller's context; one is long by nature.
func (o Options) stream() grpc.StreamClientInterceptor {
	return func(ctx context.Context, desc *grpc.StreamDesc, conn *grpc.ClientConn, method string,
		open grpc.Streamer, options ...grpc.CallOption,
	) (grpc.ClientStream, error) {
		stream, err := open(o.withKey(ctx), desc, conn, method, options...)
		if err != nil {
			return nil, o.plain(err)
		}
		return plainStream{stream, o}, nil
	}
}

// plainStream is a stream whose errors are told plainly.
type plainStream struct {
	grpc.ClientStream
	o Options
}

// RecvMsg receives the next message.
func (s plainStream) RecvMsg(m any) error { return s.o.plain(s.ClientStream.RecvMsg(m)) }

func (o Options) withKey(ctx context.Context) context.Context {
	if o.Key == "" {
		return ctx
	}
	return metadata.AppendToOutgoingContext(ctx, "authorization", "Bearer "+o.Key)
}

// NewRequestID is an id for one request that must be done once however often it is sent.
func NewRequestID() string { return uuid.NewString() }

// ReadKey reads a key file. One that others may read is refused.
func ReadKey(path string) (string, error) {
	info, err := os.Stat(path)
	if err != nil {
		return "", fmt.Errorf("key file: %w; name yours with --key-file or SAGGAR_KEY_FILE", err)
	}
	if info.Mode().Perm()&0o077 != 0 {
		return "", fmt.Errorf("key file %s can be read by others (mode %04o): chmod 600 it", path, info.Mode().Perm())
	}
	text, err := os.ReadFile(path)
	if err != nil {
		return "", fmt.Errorf("key file: %w", err)
	}
	key := strings.TrimSpace(string(text))
	if key == "" || strings.ContainsFunc(key, func(r rune) bool { return r <= ' ' || r > '~' }) {
		return "", fmt.Errorf("key file %s does not hold one key on one line: name yours with --key-file or SAGGAR_KEY_FILE", path)
	}
	return key, nil
}
