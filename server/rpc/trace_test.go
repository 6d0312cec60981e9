package rpc

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/domain"
)

func TestTheTraceSaysWhoFromWhereAndWhat(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, smallStudio())
	keys := s.people(t)
	ctx := metadata.AppendToOutgoingContext(withKey(t, keys[domain.RoleSteward]), RequestIDKey, "call-seven")
	_, err := saggarv1.NewEquipmentServiceClient(s.connection).UpdateSupply(ctx, &saggarv1.UpdateSupplyRequest{
		Supply: &saggarv1.Supply{Name: north + "/supplies/panel", LimitKilowatts: 30},
	})
	require.NoError(t, err)
	trace := saggarv1.NewTraceServiceClient(s.connection)
	var all []*saggarv1.Change
	request := &saggarv1.ListChangesRequest{Parent: north, PageSize: 3}
	for {
		page, err := trace.ListChanges(ctx, request)
		require.NoError(t, err)
		all = append(all, page.GetChanges()...)
		if request.PageToken = page.GetNextPageToken(); request.PageToken == "" {
			break
		}
	}
	last := all[len(all)-1]
	assert.EqualValues(t, len(all), last.GetRevision())
	assert.Equal(t, "sue", last.GetCaller())
	assert.Equal(t, "bufconn", last.GetAddress())
	assert.Equal(t, "call-seven", last.GetCallId())
	assert.Equal(t, "UpdateSupply", last.GetMethod())
	assert.Equal(t, "supplies/panel", last.GetSubject())
	assert.JSONEq(t, `{"id":"panel","title":"Panel","limit_kilowatts":20}`, last.GetBefore())
	assert.JSONEq(t, `{"id":"panel","title":"Panel","limit_kilowatts":30}`, last.GetAfter())
	own, err := saggarv1.NewAccessServiceClient(s.connection).ListAccessKeys(ctx, &saggarv1.ListAccessKeysRequest{Parent: north})
	require.NoError(t, err)
	assert.Contains(t, own.String(), "accessKeys/"+last.GetKeyId())
	for _, c := range all {
		for _, secret := range keys {
			assert.NotContains(t, c.String(), secret)
		}
	}
	report, err := trace.VerifyTrace(ctx, &saggarv1.VerifyTraceRequest{Name: north, Heads: []*saggarv1.TraceHead{
		{Revision: last.GetRevision(), ChainSha256: last.GetChainSha256()},
	}})
	require.NoError(t, err)
	assert.Empty(t, report.GetFaults())
	assert.EqualValues(t, 1, report.GetHeadCount())
	report, err = trace.VerifyTrace(ctx, &saggarv1.VerifyTraceRequest{Name: north, Heads: []*saggarv1.TraceHead{
		{Revision: last.GetRevision() + 1, ChainSha256: last.GetChainSha256()},
	}})
	require.NoError(t, err)
	assert.Len(t, report.GetFaults(), 1)
	_, err = trace.VerifyTrace(ctx, &saggarv1.VerifyTraceRequest{Name: north, Heads: []*saggarv1.TraceHead{{ChainSha256: "ab"}}})
	assert.Equal(t, codes.InvalidArgument, status.Code(err))
	_, err = trace.ListChanges(withKey(t, keys[domain.RoleTechnician]), &saggarv1.ListChangesRequest{Parent: north})
	assert.Equal(t, codes.PermissionDenied, status.Code(err))
}
