package rpc

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/app"
	"saggar/server/domain"
)

func (s *served) watch(ctx context.Context, t *testing.T, request *saggarv1.WatchStudioRequest) saggarv1.WatchService_WatchStudioClient {
	t.Helper()
	request.Name = north
	stream, err := saggarv1.NewWatchServiceClient(s.connection).WatchStudio(ctx, request)
	require.NoError(t, err)
	return stream
}

func TestAStudioIsWatched(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, pigmentStudio())
	bound := s.server.gate.timeout
	s.server.gate.timeout = 200 * time.Millisecond // which bounds calls, and no watch
	stream := s.watch(s.as(t, domain.RoleViewer), t, &saggarv1.WatchStudioRequest{Furnace: "pot", Kinds: []string{"closures"}})
	begun, err := stream.Recv()
	require.NoError(t, err)
	assert.Empty(t, begun.GetNotices())
	s.server.gate.timeout = bound
	time.Sleep(300 * time.Millisecond)
	equipment := saggarv1.NewEquipmentServiceClient(s.connection)
	for _, subject := range []string{"furnaces/muffle", "furnaces/pot"} {
		_, err := equipment.UpdateClosure(s.as(t, domain.RoleTechnician), &saggarv1.UpdateClosureRequest{AllowMissing: true, Closure: &saggarv1.Closure{
			Name: north + "/closures/relining", Subject: subject, StartTime: at(2027), EndTime: at(2028), Reason: "relining",
		}})
		require.NoError(t, err)
	}
	answer, err := stream.Recv()
	require.NoError(t, err)
	assert.EqualValues(t, begun.GetRevision()+2, answer.GetRevision())
	require.Len(t, answer.GetNotices(), 1)
	n := answer.GetNotices()[0]
	n.ChangeTime = nil
	assert.True(t, proto.Equal(&saggarv1.Notice{
		Revision: begun.GetRevision() + 2, Caller: "tess", Method: "UpdateClosure", Subject: "closures/relining",
		Action: saggarv1.ChangeAction_CHANGE_ACTION_CHANGED, Closure: &saggarv1.NoticedClosure{
			Subject: "furnaces/pot", StartTime: at(2027), EndTime: at(2028), Reason: "relining",
		},
	}, n), n)
	beyond := s.watch(s.as(t, domain.RoleViewer), t, &saggarv1.WatchStudioRequest{AfterRevision: proto.Int64(1 << 40)})
	_, err = beyond.Recv()
	assert.Equal(t, codes.OutOfRange, status.Code(err))
}

func TestAWatchEndsWhenItsKeyIsRevoked(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, smallStudio())
	s.people(t)
	access := saggarv1.NewAccessServiceClient(s.connection)
	key, err := access.CreateAccessKey(s.steward(t), &saggarv1.CreateAccessKeyRequest{
		Parent: north, AccessKey: &saggarv1.AccessKey{Caller: "vic", Role: saggarv1.Role_ROLE_VIEWER},
	})
	require.NoError(t, err)
	stream := s.watch(withKey(t, key.GetSecret()), t, &saggarv1.WatchStudioRequest{})
	_, err = stream.Recv()
	require.NoError(t, err)
	_, err = access.RevokeAccessKey(s.steward(t), &saggarv1.RevokeAccessKeyRequest{Name: key.GetName()})
	require.NoError(t, err)
	_, err = stream.Recv()
	assert.Equal(t, codes.Unauthenticated, status.Code(err), "not even the change that revoked it is told")
}

func TestAStoppingServerSendsWatchersElsewhere(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, smallStudio())
	operations := s.server.options.App
	server, err := New(Options{App: operations, Stopping: operations.EndWatches})
	require.NoError(t, err)
	connection, stop := overMemory(t, server)
	defer connection.Close()
	stream, err := saggarv1.NewWatchServiceClient(connection).WatchStudio(s.steward(t), &saggarv1.WatchStudioRequest{Name: north})
	require.NoError(t, err)
	_, err = stream.Recv()
	require.NoError(t, err)
	stopped := make(chan error, 1)
	go func() { stopped <- stop() }()
	_, err = stream.Recv()
	assert.Equal(t, codes.Unavailable, status.Code(err))
	select {
	case err := <-stopped:
		assert.NoError(t, err)
	case <-time.After(5 * time.Second):
		assert.Fail(t, "a watch holds the stop up")
	}
}

// TestASlowWatcherMissesNothing reads nothing while far more happens than the server keeps in memory.
func TestASlowWatcherMissesNothing(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, smallStudio())
	stream := s.watch(s.as(t, domain.RoleViewer), t, &saggarv1.WatchStudioRequest{})
	begun, err := stream.Recv()
	require.NoError(t, err)
	const changes = 1500
	steward := app.Call{Caller: domain.Caller{ID: "sue", Role: domain.RoleSteward}, Method: "UpdateDepartment"}
	for i := range changes {
		d := domain.Department{ID: "d", Title: fmt.Sprint(i, strings.Repeat("x", 100))}
		_, err := s.server.options.App.UpdateDepartment(t.Context(), steward, "north", d, app.Expectation{AllowMissing: true})
		require.NoError(t, err)
	}
	last := begun.GetRevision()
	for last < begun.GetRevision()+changes {
		answer, err := stream.Recv()
		require.NoError(t, err)
		for _, n := range answer.GetNotices() {
			require.Equal(t, last+1, n.GetRevision())
			last = n.GetRevision()
		}
	}
}

func TestWatchesOfOneCallerAreBounded(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, smallStudio())
	const most = 16
	for i := range most + 1 {
		_, err := s.watch(s.as(t, domain.RoleViewer), t, &saggarv1.WatchStudioRequest{}).Recv()
		if i < most {
			require.NoError(t, err)
		} else {
			assert.Equal(t, codes.ResourceExhausted, status.Code(err))
		}
	}
	_, err := s.watch(s.as(t, domain.RoleMaker), t, &saggarv1.WatchStudioRequest{}).Recv()
	assert.NoError(t, err, "others still may")
}
