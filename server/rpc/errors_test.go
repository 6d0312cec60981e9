package rpc

import (
	"context"
	"errors"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	"saggar/chem/finding"
	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/domain"
)

func detailsOf(s *status.Status) (info *errdetails.ErrorInfo, fields []*errdetails.BadRequest_FieldViolation, findings []*saggarv1.Finding) {
	for _, detail := range s.Details() {
		switch d := detail.(type) {
		case *errdetails.ErrorInfo:
			info = d
		case *errdetails.BadRequest:
			fields = append(fields, d.GetFieldViolations()...)
		case *saggarv1.Finding:
			findings = append(findings, d)
		}
	}
	return info, fields, findings
}

// domainErrorNames reads the names of the error variables in package domain from its source.
func domainErrorNames(t *testing.T) []string {
	t.Helper()
	file, err := parser.ParseFile(token.NewFileSet(), "../domain/errors.go", nil, 0)
	require.NoError(t, err)
	var names []string
	for _, declaration := range file.Decls {
		general, ok := declaration.(*ast.GenDecl)
		if !ok || general.Tok != token.VAR {
			continue
		}
		for _, spec := range general.Specs {
			for _, name := range spec.(*ast.ValueSpec).Names {
				if strings.HasPrefix(name.Name, "Err") {
					names = append(names, name.Name)
				}
			}
		}
	}
	return names
}

func TestEveryDomainErrorHasACode(t *testing.T) {
	cases := map[string]struct {
		err    error
		code   codes.Code
		reason string
	}{
		"ErrNotFound":         {domain.ErrNotFound, codes.NotFound, ReasonNotFound},
		"ErrAlreadyExists":    {domain.ErrAlreadyExists, codes.AlreadyExists, ReasonAlreadyExists},
		"ErrChangedMeanwhile": {domain.ErrChangedMeanwhile, codes.Aborted, ReasonChangedMeanwhile},
		"ErrRequestReused":    {domain.ErrRequestReused, codes.InvalidArgument, ReasonRequestIDReused},
		"ErrWrongState":       {domain.ErrWrongState, codes.FailedPrecondition, ReasonWrongState},
		"ErrUnavailable":      {domain.ErrUnavailable, codes.Unavailable, ReasonDatabaseAway},
		"ErrUnauthenticated":  {domain.ErrUnauthenticated, codes.Unauthenticated, ReasonNoValidKey},
		"ErrForbidden":        {domain.ErrForbidden, codes.PermissionDenied, ReasonNotAllowed},
		"ErrIssuerAway":       {domain.ErrIssuerAway, codes.Unavailable, ReasonIssuerAway},
		"ErrTooMany":          {domain.ErrTooMany, codes.ResourceExhausted, ReasonTooMany},
		"ErrStopping":         {domain.ErrStopping, codes.Unavailable, ReasonStopping},
		"ErrOutOfRange":       {domain.ErrOutOfRange, codes.OutOfRange, ReasonOutOfRange},
		"ErrFurnaceTaken":     {domain.ErrFurnaceTaken, codes.FailedPrecondition, ReasonFurnaceTaken},
		"ErrHeld":             {domain.ErrHeld, codes.FailedPrecondition, ReasonHeld},
		"ErrLotDrawn":         {domain.ErrLotDrawn, codes.FailedPrecondition, ReasonLotDrawn},
	}
	names := domainErrorNames(t)
	require.NotEmpty(t, names)
	for _, name := range names {
		t.Run(name, func(t *testing.T) {
			want, ok := cases[name]
			require.True(t, ok, "package domain has an error without a case here")
			for _, err := range []error{want.err, fmt.Errorf("somewhere: %w", want.err)} {
				s, known := statusOf(err)
				info, _, _ := detailsOf(s)
				assert.True(t, known)
				assert.Equal(t, want.code, s.Code())
				assert.Equal(t, want.reason, info.GetReason())
				assert.Equal(t, ErrorDomain, info.GetDomain())
				assert.NotEmpty(t, s.Message())
			}
		})
	}
}

func TestContextErrorsKeepTheirCodes(t *testing.T) {
	for err, code := range map[error]codes.Code{
		context.DeadlineExceeded: codes.DeadlineExceeded, context.Canceled: codes.Canceled,
	} {
		s, known := statusOf(fmt.Errorf("query: %w", err))
		assert.True(t, known)
		assert.Equal(t, code, s.Code())
	}
}

func TestACallerReadsTheSentenceAndNoInternals(t *testing.T) {
	said := &domain.Error{Kind: domain.ErrNotFound, Subject: "runs/blue-7", Message: "there is no runs/blue-7", Cure: "list the runs"}
	s, _ := statusOf(fmt.Errorf("select from runs: %w", said))
	info, _, _ := detailsOf(s)
	assert.Equal(t, "there is no runs/blue-7: list the runs", s.Message())
	assert.Equal(t, "runs/blue-7", info.GetMetadata()[MetadataSubject])

	away := fmt.Errorf("dial /run/secret/socket: %w", domain.ErrUnavailable)
	s, _ = statusOf(away)
	assert.NotContains(t, s.Message(), "secret")

	s, known := statusOf(errors.New("password=hunter2"))
	assert.False(t, known)
	assert.Equal(t, codes.Internal, s.Code())
	assert.Equal(t, internalMessage, s.Message())
	assert.NotContains(t, s.String(), "hunter2")
}

func TestFaultsNameTheirFields(t *testing.T) {
	faults := finding.Faults{
		{Field: "runs[0].department", Message: "is unknown", Cure: "name one of: glass, clay"},
		{Field: "runs[1].scale", Message: "is negative"},
	}
	s, known := statusOf(fmt.Errorf("book: %w", faults))
	info, fields, _ := detailsOf(s)
	assert.True(t, known)
	assert.Equal(t, codes.InvalidArgument, s.Code())
	assert.Equal(t, ReasonInvalidField, info.GetReason())
	assert.Equal(t, "2", info.GetMetadata()[MetadataTotalCount])
	assert.Contains(t, s.Message(), "runs[0].department: is unknown")
	assert.Contains(t, s.Message(), "and 1 more")
	require.Len(t, fields, 2)
	assert.Equal(t, "runs[0].department", fields[0].GetField())
	assert.Equal(t, "is unknown: name one of: glass, clay", fields[0].GetDescription())
	assert.Equal(t, "is negative", fields[1].GetDescription())
}

func TestAKindDecidesTheCodeOfFaultsThatItWraps(t *testing.T) {
	faults := finding.Faults{{Field: "furnaces[0].room", Message: "there is no room x"}}
	s, _ := statusOf(fmt.Errorf("%w: %w", domain.ErrWrongState, faults))
	_, fields, _ := detailsOf(s)
	assert.Equal(t, codes.FailedPrecondition, s.Code())
	require.Len(t, fields, 1)
	assert.Equal(t, "furnaces[0].room", fields[0].GetField())
}

func TestARefusalCarriesItsFindings(t *testing.T) {
	refusal := &domain.Refusal{
		Findings: []finding.Finding{
			{Severity: finding.Block, Code: "AIR_SHORT_TERM_LIMIT", Message: "over the limit", Cure: "2 m3/s would do"},
			{Severity: finding.Warn, Code: "WATCH_AT_NIGHT", Message: "nobody is there"},
		},
		Unacknowledged: []string{"WATCH_AT_NIGHT"},
	}
	s, known := statusOf(refusal)
	info, _, findings := detailsOf(s)
	assert.True(t, known)
	assert.Equal(t, codes.FailedPrecondition, s.Code())
	assert.Equal(t, ReasonBookingRefused, info.GetReason())
	assert.Equal(t, "2", info.GetMetadata()[MetadataTotalCount])
	assert.Equal(t, "WATCH_AT_NIGHT", info.GetMetadata()[MetadataUnacknowledged])
	require.Len(t, findings, 2)
	assert.Equal(t, "AIR_SHORT_TERM_LIMIT", findings[0].GetCode())
	assert.Equal(t, saggarv1.Severity_SEVERITY_BLOCK, findings[0].GetSeverity())
	assert.Equal(t, "2 m3/s would do", findings[0].GetCure())
}

func TestDetailsStayWithinTheirBytes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		count := rapid.IntRange(1, 400).Draw(t, "count")
		text := strings.Repeat("ä", rapid.IntRange(1, 3000).Draw(t, "length"))
		var refusal domain.Refusal
		var faults finding.Faults
		for i := range count {
			refusal.Findings = append(refusal.Findings, finding.Finding{
				Severity: finding.Block, Code: "CODE_" + strconv.Itoa(i), Message: text, Cure: text,
			})
			faults.Add("field["+strconv.Itoa(i)+"]", text, text)
		}
		for _, err := range []error{&refusal, faults} {
			s, _ := statusOf(err)
			info, fields, findings := detailsOf(s)
			if size := proto.Size(s.Proto()); size > 8<<10*3/4 {
				t.Fatalf("%d bytes exceed 8 KiB in base64", size)
			}
			if !utf8.ValidString(s.Message()) {
				t.Fatal("the message is cut within a character")
			}
			if info.GetMetadata()[MetadataTotalCount] != strconv.Itoa(count) {
				t.Fatal("the total is lost")
			}
			for i, f := range findings {
				if f.GetCode() != "CODE_"+strconv.Itoa(i) {
					t.Fatal("findings are not the first ones in order")
				}
			}
			if err != error(&refusal) && len(fields) == 0 {
				t.Fatal("no field is named")
			}
		}
	})
}

func TestStatusesFromGRPCPassThrough(t *testing.T) {
	s, known := statusOf(status.Error(codes.Canceled, "stream broke"))
	assert.True(t, known)
	assert.Equal(t, codes.Canceled, s.Code())
}
