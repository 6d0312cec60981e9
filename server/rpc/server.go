// Package rpc is the edge of the service: it says who may call, holds requests against the contract, converts between
// messages and the values of the domain, and turns errors into statuses. It decides nothing else. Every method has a
// handler in the file of its service; interceptors.go shows what happens before a handler runs, policy.go who may call
// what, and errors.go what a caller gets when it does not work.
package rpc

import (
	"cmp"
	"context"
	"crypto/tls"
	"fmt"
	"io"
	"log/slog"
	"math"
	"net"
	"time"

	"github.com/google/uuid"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/health"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/keepalive"
	"google.golang.org/grpc/reflection"

	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/app"
)

const (
	defaultMessageBytes = 4 << 20
	defaultStopTimeout  = 10 * time.Second
	mostHeaderBytes     = 32 << 10
	mostStreams         = 64 // at once on one connection, answers that were not taken yet included
	pingEvery           = time.Second

	// DefaultCallsPerSecond is what a caller may go on at; a burst is five times that.
	DefaultCallsPerSecond = 100
	burstSeconds          = 5

	// A connection that is slow to begin is closed, and so is every one after a while: a caller that takes no answers holds
	// them no longer. Callers reconnect by themselves.
	defaultConnectPatience = 10 * time.Second
	defaultConnectionAge   = 15 * time.Minute
	connectionGrace        = time.Minute
)

// Options are what a server needs. App is required, the rest has defaults.
type Options struct {
	App *app.App
	// TLS is how the server speaks TLS; nil: clear text, for loopback addresses and Unix sockets only.
	TLS *tls.Config
	// Logger gets one line a request; nil discards them.
	Logger *slog.Logger
	// RequestTimeout bounds a unary request, and a stream whose caller sent no deadline; 0 means not at all.
	RequestTimeout time.Duration
	// MaxMessageBytes bounds one received message; 0 means 4 MiB. A larger one gets RESOURCE_EXHAUSTED.
	MaxMessageBytes int
	// CallsPerSecond is how many calls one caller may go on at; 0 means DefaultCallsPerSecond, below 0 no limit.
	CallsPerSecond float64
	// ConnectPatience is how long a connection may take to begin; 0 means 10 s.
	ConnectPatience time.Duration
	// ConnectionAge is how long a connection lasts, and Grace how long its running calls then still may; 0 means 15 min and
	// one minute.
	ConnectionAge, Grace time.Duration
	// StopTimeout is how long running requests may take to end on a stop before they are cut; 0 means 10 s.
	StopTimeout time.Duration
	// Stopping is called when a stop begins, before running requests are waited for; nil: nothing is.
	Stopping func()
	// Ping asks whether the database answers; nil counts as yes. Health follows it.
	Ping func(context.Context) error
	// Now is the clock; nil means time.Now.
	Now func() time.Time
	// NewRequestID makes ids for the log; nil means random UUIDs.
	NewRequestID func() string
}

func (o Options) withDefaults() Options {
	if o.Logger == nil {
		o.Logger = slog.New(slog.NewTextHandler(io.Discard, nil))
	}
	if o.MaxMessageBytes == 0 {
		o.MaxMessageBytes = defaultMessageBytes
	}
	o.StopTimeout = cmp.Or(o.StopTimeout, defaultStopTimeout)
	o.CallsPerSecond = max(cmp.Or(o.CallsPerSecond, DefaultCallsPerSecond), 0)
	o.ConnectPatience = cmp.Or(o.ConnectPatience, defaultConnectPatience)
	o.ConnectionAge, o.Grace = cmp.Or(o.ConnectionAge, defaultConnectionAge), cmp.Or(o.Grace, connectionGrace)
	if o.Stopping == nil {
		o.Stopping = func() {}
	}
	if o.Ping == nil {
		o.Ping = func(context.Context) error { return nil }
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.NewRequestID == nil {
		o.NewRequestID = uuid.NewString
	}
	return o
}

// Server serves every service of the contract, health and reflection.
type Server struct {
	grpc    *grpc.Server
	health  *health.Server
	options Options
	gate    *gate
}

// New makes a server. The error is a bug in the contract's field rules.
func New(options Options) (*Server, error) {
	options = options.withDefaults()
	rules, err := newFieldRules()
	if err != nil {
		return nil, err
	}
	g := &gate{
		logger: options.Logger, now: options.Now, newRequestID: options.NewRequestID, timeout: options.RequestTimeout,
		authenticate: options.App.Authenticate, rules: rules,
		rates: newRates(options.CallsPerSecond, int(math.Ceil(burstSeconds*options.CallsPerSecond))),
	}
	transport := insecure.NewCredentials()
	if options.TLS != nil {
		transport = credentials.NewTLS(options.TLS)
	}
	s := &Server{
		grpc: grpc.NewServer(
			grpc.Creds(transport),
			grpc.UnaryInterceptor(g.unary), grpc.StreamInterceptor(g.stream),
			grpc.MaxRecvMsgSize(options.MaxMessageBytes), grpc.MaxHeaderListSize(mostHeaderBytes),
			grpc.MaxConcurrentStreams(mostStreams), grpc.ConnectionTimeout(options.ConnectPatience),
			// A caller that pings more often than this is cut off; one that is gone is noticed within half a minute more.
			grpc.KeepaliveEnforcementPolicy(keepalive.EnforcementPolicy{MinTime: 10 * time.Second, PermitWithoutStream: true}),
			grpc.KeepaliveParams(keepalive.ServerParameters{
				Time: 2 * time.Minute, Timeout: 30 * time.Second, MaxConnectionAge: options.ConnectionAge, MaxConnectionAgeGrace: options.Grace,
			}),
		),
		health: health.NewServer(), options: options, gate: g,
	}
	s.register(rules)
	return s, nil
}

func (s *Server) register(rules *fieldRules) {
	a := s.options.App
	saggarv1.RegisterStudioServiceServer(s.grpc, &studioService{app: a, rules: rules})
	saggarv1.RegisterEquipmentServiceServer(s.grpc, &equipmentService{app: a, rules: rules})
	saggarv1.RegisterMaterialServiceServer(s.grpc, &materialService{app: a})
	saggarv1.RegisterLotServiceServer(s.grpc, &lotService{app: a, rules: rules})
	saggarv1.RegisterRecipeServiceServer(s.grpc, &recipeService{app: a})
	saggarv1.RegisterRunServiceServer(s.grpc, &runService{app: a, now: s.options.Now})
	saggarv1.RegisterFiringServiceServer(s.grpc, &firingService{app: a})
	saggarv1.RegisterReportServiceServer(s.grpc, &reportService{app: a})
	saggarv1.RegisterPeopleServiceServer(s.grpc, &peopleService{app: a, rules: rules})
	saggarv1.RegisterAllotmentServiceServer(s.grpc, &allotmentService{ruleService: ruleService{app: a, rules: rules}})
	saggarv1.RegisterClearanceServiceServer(s.grpc, &clearanceService{ruleService: ruleService{app: a, rules: rules}})
	saggarv1.RegisterTimeRequestServiceServer(s.grpc, &timeRequestService{app: a})
	saggarv1.RegisterReadingServiceServer(s.grpc, &readingService{app: a})
	saggarv1.RegisterTraceServiceServer(s.grpc, &traceService{app: a})
	saggarv1.RegisterWatchServiceServer(s.grpc, &watchService{app: a})
	saggarv1.RegisterMailServiceServer(s.grpc, &mailService{app: a, people: &peopleService{app: a, rules: rules}})
	saggarv1.RegisterFeedServiceServer(s.grpc, &feedService{app: a})
	saggarv1.RegisterAccessServiceServer(s.grpc, &accessService{app: a})
	healthpb.RegisterHealthServer(s.grpc, s.health)
	reflection.Register(s.grpc)
	s.setHealth(healthpb.HealthCheckResponse_NOT_SERVING)
}

// setHealth sets the status of the server as a whole and of each service, which all need the database.
func (s *Server) setHealth(status healthpb.HealthCheckResponse_ServingStatus) {
	s.health.SetServingStatus("", status)
	for service := range s.grpc.GetServiceInfo() {
		s.health.SetServingStatus(service, status)
	}
}

// Serve serves until the context ends, then lets running requests end within the stop timeout and cuts the rest. It takes
// the listener over. The error is the listener's.
func (s *Server) Serve(ctx context.Context, listener net.Listener) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	s.look(ctx)
	go s.watch(ctx)
	failed := make(chan error, 1)
	go func() { failed <- s.grpc.Serve(bounded(listener)) }()
	select {
	case err := <-failed:
		return fmt.Errorf("serve on %s: %w", listener.Addr(), err)
	case <-ctx.Done():
		s.stop()
		return nil
	}
}

// stop says so first to whoever watches the health, and to whoever follows changes, who then goes on with another server.
func (s *Server) stop() {
	s.health.Shutdown()
	s.options.Stopping()
	done := make(chan struct{})
	go func() {
		s.grpc.GracefulStop()
		close(done)
	}()
	patience := time.NewTimer(s.options.StopTimeout)
	defer patience.Stop()
	select {
	case <-done:
	case <-patience.C:
		s.grpc.Stop()
		<-done
	}
}

// watch lets health follow the database.
func (s *Server) watch(ctx context.Context) {
	every := time.NewTicker(pingEvery)
	defer every.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-every.C:
			s.look(ctx)
		}
	}
}

func (s *Server) look(ctx context.Context) {
	ctx, cancel := context.WithTimeout(ctx, pingEvery)
	defer cancel()
	serving := healthpb.HealthCheckResponse_SERVING
	if s.options.Ping(ctx) != nil {
		serving = healthpb.HealthCheckResponse_NOT_SERVING
	}
	s.setHealth(serving)
}
