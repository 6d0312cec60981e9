package rpc

import (
	"context"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"strconv"

	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/app"
	"saggar/server/domain"
)

type traceService struct {
	saggarv1.UnimplementedTraceServiceServer
	app *app.App
}

// ListChanges lists a studio's changes, oldest first.
func (s *traceService) ListChanges(ctx context.Context, req *saggarv1.ListChangesRequest) (*saggarv1.ListChangesResponse, error) {
	after, err := keyPosition(ctx, req)
	if err != nil {
		return nil, err
	}
	studio := studioOf(req.GetParent())
	found, err := s.app.ListChanges(ctx, studio, max(after, req.GetAfterRevision()), pageSize(req)+1)
	if err != nil {
		return nil, err
	}
	page, next := cutPage(ctx, req, found, func(c domain.Change) *saggarv1.Change { return changeToProto(studio, c) },
		func(c domain.Change) string { return strconv.FormatInt(c.Revision, 36) })
	return &saggarv1.ListChangesResponse{Changes: page, NextPageToken: next}, nil
}

// VerifyTrace looks through a studio's whole trace.
func (s *traceService) VerifyTrace(ctx context.Context, req *saggarv1.VerifyTraceRequest) (*saggarv1.TraceReport, error) {
	studio := studioOf(req.GetName())
	heads := make([]domain.TraceHead, len(req.GetHeads()))
	for i, head := range req.GetHeads() {
		heads[i] = domain.TraceHead{StudioID: studio, Revision: head.GetRevision()}
		// The field rules let only 64 hexadecimal digits pass.
		_, _ = hex.Decode(heads[i].ChainSHA256[:], []byte(head.GetChainSha256()))
	}
	report, err := s.app.VerifyTrace(ctx, studio, heads)
	if err != nil {
		return nil, err
	}
	return &saggarv1.TraceReport{
		ChangeCount: int64(report.ChangeCount), UnlinkedCount: int64(report.UnlinkedCount), HeadCount: int64(report.HeadCount),
		Head:   &saggarv1.TraceHead{Revision: report.Head.Revision, ChainSha256: hex.EncodeToString(report.Head.ChainSHA256[:])},
		Faults: report.Faults,
	}, nil
}

func changeToProto(studio string, c domain.Change) *saggarv1.Change {
	name := fmt.Sprintf("changes/%d", c.Revision)
	if studio != domain.WholeServer {
		name = convert.Name(studio, "changes", fmt.Sprint(c.Revision))
	}
	m := &saggarv1.Change{
		Name: name, Revision: c.Revision, ChangeTime: instant(c.Time), Caller: c.Caller,
		KeyId: c.KeyID, Address: c.Address, CallId: c.CallID, RequestId: c.RequestID, Method: c.Method, Subject: c.Subject,
		Before: storedJSON(c.Before), After: storedJSON(c.After),
	}
	if c.Linked {
		m.ChainSha256 = hex.EncodeToString(c.ChainSHA256[:])
	}
	return m
}

// storedJSON is a body as it counts in the link; what was read from the database is JSON.
func storedJSON(value any) string {
	if text, err := domain.CanonicalJSON(value); err == nil {
		return string(text)
	}
	raw, _ := value.(json.RawMessage)
	return string(raw)
}
