package rpc

import (
	"context"
	"strconv"

	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/app"
	"saggar/server/domain"
)

type accessService struct {
	saggarv1.UnimplementedAccessServiceServer
	app *app.App
}

// GetCaller returns who the caller is.
func (s *accessService) GetCaller(ctx context.Context, _ *saggarv1.GetCallerRequest) (*saggarv1.Caller, error) {
	who := requestOf(ctx).who
	caller := &saggarv1.Caller{Id: who.ID, Role: roles.toProto(who.ServerRole), MustExchange: who.MustExchange}
	for _, m := range who.Memberships {
		caller.Memberships = append(caller.Memberships, &saggarv1.Membership{
			Studio: studioName(m.StudioID), Person: m.PersonID, Role: roles.toProto(m.Role),
		})
	}
	return caller, nil
}

// CreateAccessKey makes a key and shows its secret this once.
func (s *accessService) CreateAccessKey(ctx context.Context, req *saggarv1.CreateAccessKeyRequest) (*saggarv1.AccessKey, error) {
	wanted := req.GetAccessKey()
	made := app.NewKey{
		StudioID: studioIn(req.GetParent()), Label: wanted.GetLabel(),
		Caller: domain.Caller{ID: wanted.GetCaller(), Role: roles.fromProto(wanted.GetRole())},
	}
	if wanted.GetExpireTime() != nil {
		made.Expire = wanted.GetExpireTime().AsTime()
	}
	secret, key, err := s.app.CreateAccessKey(ctx, callOf(ctx, req), made)
	if err != nil {
		return nil, err
	}
	return shownOnce(secret, key), nil
}

// ListAccessKeys lists the keys that the caller may see.
func (s *accessService) ListAccessKeys(ctx context.Context, req *saggarv1.ListAccessKeysRequest) (*saggarv1.ListAccessKeysResponse, error) {
	before, err := keyPosition(ctx, req)
	if err != nil {
		return nil, err
	}
	found, err := s.app.ListAccessKeys(ctx, callOf(ctx, req), app.AccessKeysQuery{
		StudioID: studioIn(req.GetParent()), BeforeOrdinal: before, ShowEnded: req.GetShowEnded(), Limit: pageSize(req) + 1,
	})
	if err != nil {
		return nil, err
	}
	page, next := cutPage(ctx, req, found, accessKeyToProto, func(k domain.AccessKey) string { return strconv.FormatInt(k.Ordinal, 36) })
	return &saggarv1.ListAccessKeysResponse{AccessKeys: page, NextPageToken: next}, nil
}

// RevokeAccessKey ends a key for good.
func (s *accessService) RevokeAccessKey(ctx context.Context, req *saggarv1.RevokeAccessKeyRequest) (*saggarv1.AccessKey, error) {
	key, err := s.app.RevokeAccessKey(ctx, callOf(ctx, req), studioIn(req.GetName()), convert.ID(req.GetName()))
	if err != nil {
		return nil, err
	}
	return accessKeyToProto(key), nil
}

// ExchangeAccessKey makes a key in place of the one that the call is made with.
func (s *accessService) ExchangeAccessKey(ctx context.Context, req *saggarv1.ExchangeAccessKeyRequest) (*saggarv1.AccessKey, error) {
	secret, key, err := s.app.ExchangeAccessKey(ctx, callOf(ctx, req), requestOf(ctx).who, req.GetLabel())
	if err != nil {
		return nil, err
	}
	return shownOnce(secret, key), nil
}

func shownOnce(secret string, key domain.AccessKey) *saggarv1.AccessKey {
	m := accessKeyToProto(key)
	m.Secret = secret
	return m
}

func accessKeyToProto(k domain.AccessKey) *saggarv1.AccessKey {
	return &saggarv1.AccessKey{
		Name: k.Name(), Caller: k.Caller.ID, Role: roles.toProto(k.Caller.Role), Label: k.Label, SingleUse: k.OneTime,
		CreateTime: instant(k.CreateTime), ExpireTime: instant(k.ExpireTime), RevokeTime: instant(k.RevokeTime),
		LastUseTime: instant(k.LastUseTime),
	}
}
