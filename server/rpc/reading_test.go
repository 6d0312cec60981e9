package rpc

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/timestamppb"

	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/domain"
)

func TestReadingsAreNotedByMakersAndExplainedByTechnicians(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, pigmentStudio())
	keys := s.people(t)
	client := saggarv1.NewReadingServiceClient(s.connection)
	read := &saggarv1.Reading{
		Room: "bay", Species: "SO2", MeasuredPpm: 6, ReadTime: timestamppb.New(monday.Add(-time.Hour)), Instrument: "pump and tube", CalibratedOn: "2026-01-11",
		UncertaintyFraction: 0.15, Note: "nothing was under fire",
	}
	request := &saggarv1.CreateReadingRequest{Parent: north, Reading: read}
	_, err := client.CreateReading(withKey(t, keys[domain.RoleViewer]), request)
	assert.Equal(t, codes.PermissionDenied, status.Code(err))
	noted, err := client.CreateReading(withKey(t, keys[domain.RoleMaker]), request)
	require.NoError(t, err)
	assert.Equal(t, "mia", noted.GetReader())
	assert.True(t, noted.GetUnexplained())
	assert.Nil(t, noted.Ratio, "nothing was forecast")
	assert.NotNil(t, noted.LikelyPpm)
	assert.NotEmpty(t, noted.GetCaution())
	require.Len(t, noted.GetFindings(), 2)
	assert.Equal(t, saggarv1.Severity_SEVERITY_BLOCK, noted.GetFindings()[0].GetSeverity())
	found, err := client.GetReading(withKey(t, keys[domain.RoleViewer]), &saggarv1.GetReadingRequest{Name: noted.GetName()})
	require.NoError(t, err)
	assert.Equal(t, noted.GetFindings()[0].GetMessage(), found.GetFindings()[0].GetMessage())
	_, err = client.CreateReading(withKey(t, keys[domain.RoleMaker]), request)
	require.NoError(t, err)
	page, err := client.ListReadings(withKey(t, keys[domain.RoleViewer]), &saggarv1.ListReadingsRequest{Parent: north, PageSize: 1, Room: "bay"})
	require.NoError(t, err)
	require.NotEmpty(t, page.GetNextPageToken())
	page, err = client.ListReadings(withKey(t, keys[domain.RoleViewer]), &saggarv1.ListReadingsRequest{
		Parent: north, PageSize: 1, Room: "bay", PageToken: page.GetNextPageToken(),
	})
	require.NoError(t, err)
	require.Len(t, page.GetReadings(), 1)
	assert.Equal(t, noted.GetName(), page.GetReadings()[0].GetName())

	end := &saggarv1.CloseReadingRequest{Name: noted.GetName(), Reason: "the tube was out of date", Etag: noted.GetEtag()}
	_, err = client.CloseReading(withKey(t, keys[domain.RoleMaker]), end)
	assert.Equal(t, codes.PermissionDenied, status.Code(err))
	closed, err := client.CloseReading(withKey(t, keys[domain.RoleTechnician]), end)
	require.NoError(t, err)
	assert.Equal(t, "tom", closed.GetClosedBy())
	_, err = client.CloseReading(withKey(t, keys[domain.RoleTechnician]), end)
	assert.Equal(t, codes.Aborted, status.Code(err), "it changed since")

	read.Room = "none"
	_, err = client.CreateReading(withKey(t, keys[domain.RoleMaker]), request)
	assert.Equal(t, []string{"reading.room"}, fieldsOf(err))
	read.MeasuredPpm = -1
	_, err = client.CreateReading(withKey(t, keys[domain.RoleMaker]), request)
	assert.Equal(t, []string{"reading.measured_ppm"}, fieldsOf(err))
}
