package rpc

import (
	"context"
	"strconv"

	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/app"
	"saggar/server/domain"
)

type feedService struct {
	saggarv1.UnimplementedFeedServiceServer
	app *app.App
}

// CreateFeed makes a feed and shows its address this once.
func (s *feedService) CreateFeed(ctx context.Context, req *saggarv1.CreateFeedRequest) (*saggarv1.Feed, error) {
	given := domain.Feed{Subject: req.GetFeed().GetSubject(), Label: req.GetFeed().GetLabel()}
	address, made, err := s.app.CreateFeed(ctx, callOf(ctx, req), studioOf(req.GetParent()), given)
	if err != nil {
		return nil, err
	}
	m := feedToProto(studioOf(req.GetParent()), made)
	m.Address = address
	return m, nil
}

// ListFeeds lists the feeds that the caller may see.
func (s *feedService) ListFeeds(ctx context.Context, req *saggarv1.ListFeedsRequest) (*saggarv1.ListFeedsResponse, error) {
	before, err := keyPosition(ctx, req)
	if err != nil {
		return nil, err
	}
	studio := studioOf(req.GetParent())
	found, err := s.app.ListFeeds(ctx, callOf(ctx, req), app.FeedsQuery{
		StudioID: studio, BeforeOrdinal: before, ShowEnded: req.GetShowEnded(), Limit: pageSize(req) + 1,
	})
	if err != nil {
		return nil, err
	}
	page, next := cutPage(ctx, req, found, func(f domain.Feed) *saggarv1.Feed { return feedToProto(studio, f) },
		func(f domain.Feed) string { return strconv.FormatInt(f.Ordinal, 36) })
	return &saggarv1.ListFeedsResponse{Feeds: page, NextPageToken: next}, nil
}

// RevokeFeed ends a feed for good.
func (s *feedService) RevokeFeed(ctx context.Context, req *saggarv1.RevokeFeedRequest) (*saggarv1.Feed, error) {
	studio := studioIn(req.GetName())
	revoked, err := s.app.RevokeFeed(ctx, callOf(ctx, req), studio, convert.ID(req.GetName()))
	if err != nil {
		return nil, err
	}
	return feedToProto(studio, revoked), nil
}

func feedToProto(studio string, f domain.Feed) *saggarv1.Feed {
	return &saggarv1.Feed{
		Name: convert.Name(studio, "feeds", f.ID), Subject: f.Subject, Label: f.Label, Owner: f.Owner, CreateTime: instant(f.CreateTime),
		LastReadTime: instant(f.LastReadTime), RevokeTime: instant(f.RevokeTime),
	}
}
