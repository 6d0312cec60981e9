package api

import (
	"context"
	"errors"
	"io"
	"math/rand/v2"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	saggarv1 "saggar/proto/saggar/v1"
)

const (
	firstBackoff = 100 * time.Millisecond
	mostBackoff  = 5 * time.Second
)

// Follow says which changes are followed, and what is done with them.
type Follow struct {
	Request *saggarv1.WatchStudioRequest
	// Each gets every answer, in order. Its error ends the following.
	Each func(*saggarv1.WatchStudioResponse) error
	// Lost is told why the connection was lost, once a loss that the first attempt did not mend: servers close connections now and
	// then for their own reasons. Nil: nobody is told.
	Lost func(err error)
}

// Follow calls f.Each with the changes of a studio as they happen. When the server stops or is lost, it goes on from the
// last revision, on whatever server then answers at the address, so that nothing is missed and nothing comes twice. It ends
// with the context's error, that of Each, or the server's when it refuses; also when it could not be reached at the start.
func (c *Connection) Follow(ctx context.Context, f Follow) error {
	request := proto.CloneOf(f.Request)
	begun, told, backoff := false, false, firstBackoff
	for {
		heard, err := c.followOnce(ctx, request, f.Each)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		begun = begun || heard
		if !begun || !comesBack(err) {
			return err
		}
		if heard {
			told, backoff = false, firstBackoff
		} else if !told && f.Lost != nil {
			told = true
			f.Lost(err)
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(backoff/2 + rand.N(backoff)):
		}
		backoff = min(2*backoff, mostBackoff)
		c.conn.ResetConnectBackoff() // this attempt is one, whatever the library's pause
	}
}

// followOnce follows until the stream ends. The request then says where to go on.
func (c *Connection) followOnce(
	ctx context.Context, request *saggarv1.WatchStudioRequest, each func(*saggarv1.WatchStudioResponse) error,
) (heard bool, err error) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	stream, err := c.Watch.WatchStudio(ctx, request)
	if err != nil {
		return false, err
	}
	for {
		answer, err := stream.Recv()
		if err != nil {
			return heard, err
		}
		heard = true
		if err := each(answer); err != nil {
			return heard, stopped{err}
		}
		request.AfterRevision = proto.Int64(answer.GetRevision())
	}
}

// stopped is an error of the caller's own, which has no place among the server's.
type stopped struct{ error }

// Unwrap returns the caller's error.
func (s stopped) Unwrap() error { return s.error }

// comesBack reports whether a stream that ended so may go on later: the server was lost or stops, or it has not yet noticed
// that a former stream of the same caller is gone.
func comesBack(err error) bool {
	if _, own := errors.AsType[stopped](err); own {
		return false
	}
	if errors.Is(err, io.EOF) {
		return true
	}
	switch status.Code(err) {
	case codes.Unavailable, codes.ResourceExhausted, codes.Canceled:
		return true
	default:
		return false
	}
}
