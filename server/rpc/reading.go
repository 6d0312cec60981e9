package rpc

import (
	"context"
	"strconv"

	"google.golang.org/protobuf/proto"

	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/app"
	"saggar/server/domain"
)

type readingService struct {
	saggarv1.UnimplementedReadingServiceServer
	app *app.App
}

// CreateReading notes a reading.
func (s *readingService) CreateReading(ctx context.Context, req *saggarv1.CreateReadingRequest) (*saggarv1.Reading, error) {
	m, studio := req.GetReading(), studioOf(req.GetParent())
	noted, err := s.app.CreateReading(ctx, callOf(ctx, req), studio, domain.Reading{
		Room: m.GetRoom(), Furnace: m.GetFurnace(), Species: m.GetSpecies(), PPM: m.GetMeasuredPpm(), ReadTime: m.GetReadTime().AsTime(),
		Instrument: m.GetInstrument(), CalibratedOn: m.GetCalibratedOn(), UncertaintyFraction: m.GetUncertaintyFraction(),
		UncertaintyPPM: m.GetUncertaintyPpm(), Note: m.GetNote(),
	})
	if err != nil {
		return nil, underField("reading", "", err)
	}
	return readingToProto(studio, noted), nil
}

// GetReading returns one.
func (s *readingService) GetReading(ctx context.Context, req *saggarv1.GetReadingRequest) (*saggarv1.Reading, error) {
	studio := studioIn(req.GetName())
	found, err := s.app.GetReading(ctx, studio, convert.ID(req.GetName()))
	if err != nil {
		return nil, err
	}
	return readingToProto(studio, found), nil
}

// ListReadings lists readings, the last noted first.
func (s *readingService) ListReadings(ctx context.Context, req *saggarv1.ListReadingsRequest) (*saggarv1.ListReadingsResponse, error) {
	before, err := keyPosition(ctx, req)
	if err != nil {
		return nil, err
	}
	studio := studioOf(req.GetParent())
	found, err := s.app.ListReadings(ctx, app.ReadingsQuery{
		StudioID: studio, Room: req.GetRoom(), BeforeRevision: before, Limit: pageSize(req) + 1,
	})
	if err != nil {
		return nil, err
	}
	page, next := cutPage(ctx, req, found, func(r domain.Reading) *saggarv1.Reading { return readingToProto(studio, r) },
		func(r domain.Reading) string { return strconv.FormatInt(r.NotedRevision, 36) })
	return &saggarv1.ListReadingsResponse{Readings: page, NextPageToken: next}, nil
}

// CloseReading explains one that was above its forecast.
func (s *readingService) CloseReading(ctx context.Context, req *saggarv1.CloseReadingRequest) (*saggarv1.Reading, error) {
	studio := studioIn(req.GetName())
	closed, err := s.app.CloseReading(ctx, callOf(ctx, req), app.ReadingEnd{
		StudioID: studio, ID: convert.ID(req.GetName()), Reason: req.GetReason(), ExpectRevision: revisionOf(req.GetEtag()),
	})
	if err != nil {
		return nil, err
	}
	return readingToProto(studio, closed), nil
}

func readingToProto(studio string, r domain.Reading) *saggarv1.Reading {
	m := &saggarv1.Reading{
		Name: convert.Name(studio, "readings", r.ID()), Room: r.Room, Furnace: r.Furnace, Species: r.Species, MeasuredPpm: r.PPM,
		ReadTime: instant(r.ReadTime), Instrument: r.Instrument, CalibratedOn: r.CalibratedOn, UncertaintyFraction: r.UncertaintyFraction,
		UncertaintyPpm: r.UncertaintyPPM, Note: r.Note, Reader: r.Reader, CautiousPpm: r.CautiousPPM, LikelyPpm: r.LikelyPPM,
		Findings: convert.FindingsToProto(r.Findings), Assumptions: r.Assumptions, Caution: convert.Caution, Unexplained: r.Unexplained,
		ClosedBy: r.ClosedBy, CloseReason: r.CloseReason, CloseTime: instant(r.CloseTime), CreateTime: instant(r.CreateTime),
		Etag: etagOf(r.Revision),
	}
	if r.CautiousPPM > 0 {
		m.Ratio = proto.Float64(r.PPM / r.CautiousPPM)
	}
	return m
}
