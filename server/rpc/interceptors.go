package rpc

import (
	"cmp"
	"context"
	"fmt"
	"log/slog"
	"runtime/debug"
	"strings"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/protobuf/proto"

	"saggar/server/domain"
)

// RequestIDKey is the metadata by which a request is found again in the log. It is echoed, or made when it is absent.
// It has nothing to do with a request's field request_id.
const RequestIDKey = "x-request-id"

const (
	mostRequestIDBytes = 128
	mostSecretBytes    = 8 << 10 // tokens are longer than keys
)

// request is what the interceptors learn of one request on its way in.
type request struct {
	method    string // full
	id        string
	streaming bool
	who       domain.Identity
	caller    domain.Caller // who they are where they ask
	ownOnly   bool          // the method is limited to what is theirs
	studio    string        // id of the one that the message names
	look      func(ctx context.Context) (domain.Identity, error)
	cause     error  // of an Internal answer, for the log only
	stack     []byte // of a panic
}

type requestKey struct{}

// requestOf returns the request that a context belongs to. Every handler's context has one.
func requestOf(ctx context.Context) *request {
	r, _ := ctx.Value(requestKey{}).(*request)
	if r == nil {
		return &request{}
	}
	return r
}

// step is one interceptor for unary calls and streams alike. next runs the rest.
type step func(ctx context.Context, r *request, next func(context.Context) error) error

// gate holds what the interceptors need.
type gate struct {
	logger       *slog.Logger
	now          func() time.Time
	newRequestID func() string
	timeout      time.Duration
	authenticate func(ctx context.Context, secret string) (domain.Identity, error)
	rules        *fieldRules
	rates        *rates
}

// steps are the interceptors, outermost first. The request id stands before them, rights and field rules after them, once
// the message is there. Whoever may not call learns nothing of whether the request was well-formed or its resource stands.
func (g *gate) steps() []step {
	return []step{g.log, mapErrors, recoverPanic, g.deadline, g.identify}
}

// unary runs the steps around one request.
func (g *gate) unary(ctx context.Context, message any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	ctx, r := g.begin(ctx, info.FullMethod, false)
	var answer any
	err := run(ctx, r, g.steps(), func(ctx context.Context) error {
		if err := g.admit(r, message); err != nil {
			return err
		}
		var err error
		answer, err = handler(ctx, message)
		return err
	})
	if err != nil {
		return nil, err
	}
	return answer, nil
}

// stream runs the steps around a whole stream; rights and field rules are held against each message that it receives.
func (g *gate) stream(srv any, ss grpc.ServerStream, info *grpc.StreamServerInfo, handler grpc.StreamHandler) error {
	ctx, r := g.begin(ss.Context(), info.FullMethod, true)
	return run(ctx, r, g.steps(), func(ctx context.Context) error {
		return handler(srv, &checkedStream{ServerStream: ss, ctx: ctx, check: func(message any) error {
			return g.admit(r, message)
		}})
	})
}

func run(ctx context.Context, r *request, steps []step, last func(context.Context) error) error {
	if len(steps) == 0 {
		return last(ctx)
	}
	return steps[0](ctx, r, func(ctx context.Context) error { return run(ctx, r, steps[1:], last) })
}

// checkedStream carries the steps' context and admits what comes in.
type checkedStream struct {
	grpc.ServerStream
	ctx   context.Context
	check func(message any) error
}

// Context returns the context as the steps made it.
func (s *checkedStream) Context() context.Context { return s.ctx }

// RecvMsg receives one message and holds it against rights and field rules.
func (s *checkedStream) RecvMsg(message any) error {
	if err := s.ServerStream.RecvMsg(message); err != nil {
		return err
	}
	return s.check(message)
}

// begin gives the request its id: the caller's own when it is short and printable, so that it cannot forge log lines.
func (g *gate) begin(ctx context.Context, method string, streaming bool) (context.Context, *request) {
	r := &request{method: method, streaming: streaming}
	if given := metadata.ValueFromIncomingContext(ctx, RequestIDKey); len(given) == 1 && isPlain(given[0], mostRequestIDBytes) {
		r.id = given[0]
	} else {
		r.id = g.newRequestID()
	}
	// Setting a header fails only when it was sent already, which cannot be here.
	_ = grpc.SetHeader(ctx, metadata.Pairs(RequestIDKey, r.id))
	return context.WithValue(ctx, requestKey{}, r), r
}

func isPlain(text string, mostBytes int) bool {
	notPlain := func(c rune) bool { return c <= ' ' || c > '~' }
	return text != "" && len(text) <= mostBytes && !strings.ContainsFunc(text, notPlain)
}

// log writes one line a request. Messages and metadata stay out of it: they hold keys. Whoever calls is named so that no
// studio can have a hand in it: by the id of the key, or by the issuer's name for the bearer of a token, since a studio may call
// anybody what it likes.
func (g *gate) log(ctx context.Context, r *request, next func(context.Context) error) error {
	start := g.now()
	err := next(ctx)
	code := codeOf(err)
	attrs := []slog.Attr{
		slog.String("method", strings.TrimPrefix(r.method, "/")), slog.String("code", code.String()),
		slog.Duration("duration", g.now().Sub(start)), slog.String("caller", cmp.Or(r.who.Subject, r.who.ID)),
		slog.String("key", r.who.KeyID), slog.String("address", hostOf(ctx)), slog.String("request_id", r.id),
	}
	if r.cause != nil {
		attrs = append(attrs, slog.Any("cause", r.cause))
	}
	if r.stack != nil {
		attrs = append(attrs, slog.String("stack", string(r.stack)))
	}
	g.logger.LogAttrs(ctx, levelOf(r.method, code), "request", attrs...)
	return err
}

func levelOf(method string, code codes.Code) slog.Level {
	switch code {
	case codes.Internal, codes.Unknown, codes.DataLoss:
		return slog.LevelError
	case codes.Unavailable, codes.DeadlineExceeded:
		return slog.LevelWarn
	}
	if isPublic(method) {
		return slog.LevelDebug
	}
	return slog.LevelInfo
}

// mapErrors is the one place where an error becomes a status.
func mapErrors(ctx context.Context, r *request, next func(context.Context) error) error {
	err := next(ctx)
	if err == nil {
		return nil
	}
	answer, known := statusOf(err)
	if !known || answer.Code() == codes.Unavailable {
		r.cause = err
	}
	return answer.Err()
}

// recoverPanic turns a panic into an error, so that one request's bug ends that request only.
func recoverPanic(ctx context.Context, r *request, next func(context.Context) error) (err error) {
	defer func() {
		if p := recover(); p != nil {
			r.stack = debug.Stack()
			err = fmt.Errorf("panic: %v", p)
		}
	}()
	return next(ctx)
}

// deadline bounds every unary request; a caller's earlier one wins. A stream gets one when its caller sent none; what lasts,
// and health and reflection, are followed for as long as their caller likes.
func (g *gate) deadline(ctx context.Context, r *request, next func(context.Context) error) error {
	_, given := ctx.Deadline()
	if g.timeout <= 0 || isPublic(r.method) || policy[r.method].lasting || (r.streaming && given) {
		return next(ctx)
	}
	ctx, cancel := context.WithTimeout(ctx, g.timeout)
	defer cancel()
	return next(ctx)
}

// identify finds out who calls, and whether they call too often.
func (g *gate) identify(ctx context.Context, r *request, next func(context.Context) error) error {
	if isPublic(r.method) {
		return next(ctx)
	}
	secret, err := bearer(ctx)
	if err != nil {
		return g.rates.failed(ctx, err)
	}
	r.look = func(ctx context.Context) (domain.Identity, error) { return g.authenticate(ctx, secret) }
	if r.who, err = r.look(ctx); err != nil {
		return g.rates.failed(ctx, err)
	}
	if err := g.rates.admit(r.who); err != nil {
		return err
	}
	return next(ctx)
}

// bearer takes the key or token from `authorization: Bearer KEY`; the scheme's case does not matter (RFC 9110, section 11.1).
func bearer(ctx context.Context) (string, error) {
	given := metadata.ValueFromIncomingContext(ctx, "authorization")
	if len(given) != 1 {
		return "", noKey()
	}
	scheme, secret, _ := strings.Cut(given[0], " ")
	if !strings.EqualFold(scheme, "bearer") || !isPlain(secret, mostSecretBytes) {
		return "", noKey()
	}
	return secret, nil
}

func noKey() error {
	return &domain.Error{
		Kind: domain.ErrUnauthenticated, Message: "the request carries no key", Cure: "send metadata `authorization: Bearer KEY`",
	}
}

// admit says who the caller is in the studio that a message names, refuses who may not, and holds the message against the
// field rules. Health and reflection look after their own.
func (g *gate) admit(r *request, message any) (err error) {
	m, ok := message.(proto.Message)
	if !ok || isPublic(r.method) {
		return nil
	}
	r.studio = studioAsked(m)
	if r.caller, r.ownOnly, err = authorise(r.method, r.who, r.studio); err != nil {
		return err
	}
	return g.rules.check(m).Err()
}

// recheck finds out anew who calls a stream that lasts, and refuses who may no longer: keys are revoked and roles change.
func (r *request) recheck(ctx context.Context) (err error) {
	if r.who, err = r.look(ctx); err != nil {
		return err
	}
	r.caller, r.ownOnly, err = authorise(r.method, r.who, r.studio)
	return err
}
