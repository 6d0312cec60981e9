package api_test

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/protoadapt"

	"saggar/client/api"
	saggarv1 "saggar/proto/saggar/v1"
)

func TestIsAnswer(t *testing.T) {
	assert.True(t, api.IsAnswer(status.Error(codes.NotFound, "")))
	assert.True(t, api.IsAnswer(fmt.Errorf("show: %w", status.Error(codes.NotFound, ""))))
	assert.False(t, api.IsAnswer(errors.New("no status")))
	assert.False(t, api.IsAnswer(nil))
}

func TestExitCodes(t *testing.T) {
	want := map[codes.Code]int{
		codes.OK: 0, codes.InvalidArgument: 2, codes.OutOfRange: 2, codes.NotFound: 2, codes.AlreadyExists: 2, codes.Aborted: 2,
		codes.ResourceExhausted: 2, codes.Unimplemented: 2, codes.FailedPrecondition: 3, codes.Unauthenticated: 4,
		codes.PermissionDenied: 4, codes.Unavailable: 5, codes.DeadlineExceeded: 5, codes.Canceled: 5,
		codes.Internal: 1, codes.Unknown: 1, codes.DataLoss: 1,
	}
	for code := codes.OK; code <= codes.Unauthenticated; code++ {
		exit, ok := want[code]
		require.True(t, ok, "say here what %s exits with", code)
		assert.Equal(t, exit, api.ExitCode(status.Error(code, "")), code)
	}
	assert.Equal(t, 3, api.ExitCode(fmt.Errorf("book: %w", status.Error(codes.FailedPrecondition, ""))), "also when wrapped")
	assert.Equal(t, 1, api.ExitCode(errors.New("no status")))
	assert.Equal(t, 1, api.ExitCode(context.Canceled), "grpc makes its own status of a context's end")
}

// statusWith is an error as the server makes it.
func statusWith(t *testing.T, code codes.Code, message string, details ...protoadapt.MessageV1) error {
	t.Helper()
	made, err := status.New(code, message).WithDetails(details...)
	require.NoError(t, err)
	return made.Err()
}

func TestARefusalShowsEveryFindingAndWhatToDo(t *testing.T) {
	err := statusWith(t, codes.FailedPrecondition, "the booking is refused",
		&errdetails.ErrorInfo{Reason: "BOOKING_REFUSED", Metadata: map[string]string{
			"unacknowledged_finding_codes": "AIR_OLD_FLOW,HEAT_SLOW", "total_count": "5",
		}},
		&saggarv1.Finding{
			Severity: saggarv1.Severity_SEVERITY_BLOCK, Code: "FURNACE_TAKEN", Message: "muffle-one is taken", Cure: "start at 14:00",
			Source: "one firing at a time",
		},
		&saggarv1.Finding{Severity: saggarv1.Severity_SEVERITY_WARN, Code: "HEAT_SLOW", Message: "slower than asked"},
	)
	assert.Equal(t, strings.Join([]string{
		"the booking is refused",
		"  BLOCK FURNACE_TAKEN: muffle-one is taken",
		"        cure: start at 14:00",
		"        source: one firing at a time",
		"  WARN  HEAT_SLOW: slower than asked",
		"  and 3 more",
		"  once nothing blocks, these must be acknowledged: AIR_OLD_FLOW,HEAT_SLOW",
	}, "\n"), api.Describe(err))
	require.Len(t, api.Findings(err), 2)
	assert.Equal(t, "FURNACE_TAKEN", api.Findings(err)[0].GetCode(), "in the server's order")
}

func TestWarningsThatOnlyWaitToBeRead(t *testing.T) {
	err := statusWith(t, codes.FailedPrecondition, "not acknowledged",
		&errdetails.ErrorInfo{Metadata: map[string]string{"unacknowledged_finding_codes": "HEAT_SLOW", "total_count": "1"}},
		&saggarv1.Finding{Severity: saggarv1.Severity_SEVERITY_WARN, Code: "HEAT_SLOW", Message: "slower than asked"})
	assert.Equal(t, "not acknowledged\n  WARN  HEAT_SLOW: slower than asked\n  to go on all the same, acknowledge: HEAT_SLOW",
		api.Describe(err))
}

func TestEveryFieldAtFaultIsShownOnce(t *testing.T) {
	faults := &errdetails.BadRequest{FieldViolations: []*errdetails.BadRequest_FieldViolation{
		{Field: "rooms[0].volume_cubic_meters", Description: "must be at least 1"},
		{Field: "studio.time_zone", Description: "no such zone"},
	}}
	err := statusWith(t, codes.InvalidArgument, "rooms[0].volume_cubic_meters: must be at least 1; and 1 more",
		&errdetails.ErrorInfo{Reason: "INVALID_FIELD"}, faults)
	assert.Equal(t, "rooms[0].volume_cubic_meters: must be at least 1\nstudio.time_zone: no such zone", api.Describe(err))
	assert.Empty(t, api.Findings(err))

	err = statusWith(t, codes.AlreadyExists, "there is a run blue-one already", faults)
	assert.Contains(t, api.Describe(err), "there is a run blue-one already\nrooms[0]", "what another code says is kept")
	err = statusWith(t, codes.InvalidArgument, "the request id was used before", &errdetails.ErrorInfo{}, &errdetails.BadRequest{})
	assert.Equal(t, "the request id was used before", api.Describe(err))
}

func TestADeadlineSaysWhatToDo(t *testing.T) {
	assert.Contains(t, api.Describe(status.Error(codes.DeadlineExceeded, "")), "--timeout")
}

func TestAServerThatIsAwayIsNamedAsSuch(t *testing.T) {
	assert.Contains(t, api.Describe(status.Error(codes.Unavailable, "connection refused")), "the server cannot be reached")
	assert.Equal(t, "the database is away", api.Describe(statusWith(t, codes.Unavailable, "the database is away",
		&errdetails.ErrorInfo{Reason: "DATABASE_AWAY"})), "a server that answers is there")
	assert.Equal(t, "plain", api.Describe(errors.New("plain")))
}
