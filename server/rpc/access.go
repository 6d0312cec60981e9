package rpc

import (
	"context"

	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/app"
)

type accessService struct {
	saggarv1.UnimplementedAccessServiceServer
	app *app.App
}

// GetCaller returns who the caller is.
func (s *accessService) GetCaller(ctx context.Context, _ *saggarv1.GetCallerRequest) (*saggarv1.Caller, error) {
	caller := requestOf(ctx).caller
	return &saggarv1.Caller{Id: caller.ID, Role: roles.toProto(caller.Role)}, nil
}

// CreateAccessKey makes a key and shows its secret this once.
func (s *accessService) CreateAccessKey(ctx context.Context, req *saggarv1.CreateAccessKeyRequest) (*saggarv1.AccessKey, error) {
	wanted := req.GetAccessKey()
	secret, key, err := s.app.CreateAccessKey(ctx, callOf(ctx, req), wanted.GetCaller(), roles.fromProto(wanted.GetRole()))
	if err != nil {
		return nil, err
	}
	return &saggarv1.AccessKey{
		Caller: key.Caller.ID, Role: roles.toProto(key.Caller.Role), Secret: secret, CreateTime: instant(key.CreateTime),
	}, nil
}
