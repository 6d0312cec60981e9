package rpc

import (
	"fmt"
	"maps"
	"slices"
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

func TestTheTraceOfTheServerIsForItsOwnStewards(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, smallStudio())
	keys := s.people(t)
	made, err := saggarv1.NewAccessServiceClient(s.connection).CreateAccessKey(s.steward(t), &saggarv1.CreateAccessKeyRequest{
		AccessKey: &saggarv1.AccessKey{Caller: "robot", Role: saggarv1.Role_ROLE_VIEWER, Label: "board"},
	})
	require.NoError(t, err)
	trace := saggarv1.NewTraceServiceClient(s.connection)
	page, err := trace.ListChanges(s.steward(t), &saggarv1.ListChangesRequest{})
	require.NoError(t, err)
	last := page.GetChanges()[len(page.GetChanges())-1]
	assert.Equal(t, fmt.Sprintf("changes/%d", len(page.GetChanges())), last.GetName())
	assert.Equal(t, made.GetName(), last.GetSubject())
	assert.Equal(t, "bufconn", last.GetAddress())
	assert.Contains(t, last.GetAfter(), `"label":"board"`)
	assert.NotContains(t, page.String(), made.GetSecret())
	report, err := trace.VerifyTrace(s.steward(t), &saggarv1.VerifyTraceRequest{Heads: []*saggarv1.TraceHead{
		{Revision: last.GetRevision(), ChainSha256: last.GetChainSha256()},
	}})
	require.NoError(t, err)
	assert.Empty(t, report.GetFaults())
	assert.EqualValues(t, last.GetRevision(), report.GetHead().GetRevision())
	for _, secret := range append(slices.Collect(maps.Values(keys)), made.GetSecret()) {
		_, err = trace.ListChanges(withKey(t, secret), &saggarv1.ListChangesRequest{})
		assert.Equal(t, codes.PermissionDenied, status.Code(err))
		_, err = trace.VerifyTrace(withKey(t, secret), &saggarv1.VerifyTraceRequest{})
		assert.Equal(t, codes.PermissionDenied, status.Code(err))
	}
}

// serverWide are the methods that answer without the name of a studio; ExchangeAccessKey would end the key in use.
var serverWide = []string{"ListStudios", "GetCaller", "ListAccessKeys", "ListChanges", "VerifyTrace", "ExchangeAccessKey"}

// TestNoNameReachesTheServersOwnRow asks for what the row that ends the server's trace could be taken for: a studio without a name.
func TestNoNameReachesTheServersOwnRow(t *testing.T) {
	t.Parallel()
	s := serve(t)
	for _, method := range contractMethods(t) {
		if slices.Contains(serverWide, string(method.Name())) {
			continue
		}
		for _, name := range []string{"", "studios/", "studios//rooms/hall", "studios//runs/r1"} {
			request := newMessage(t, method.Input())
			nameIt(t, request, name)
			_, err := s.invoke(s.steward(t), t, method, request)
			assert.Equal(t, codes.InvalidArgument, status.Code(err), "%s of %q: %v", method.Name(), name, err)
		}
	}
}
