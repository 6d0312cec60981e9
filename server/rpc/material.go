package rpc

import (
	"context"

	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/app"
)

type materialService struct {
	saggarv1.UnimplementedMaterialServiceServer
	app *app.App
}

// GetMaterial returns a version of a material.
func (s *materialService) GetMaterial(ctx context.Context, req *saggarv1.GetMaterialRequest) (*saggarv1.Material, error) {
	name, err := parseName("name", req.GetName())
	if err != nil {
		return nil, err
	}
	material, err := s.app.GetMaterial(ctx, name.studio, name.id, name.version)
	if err != nil {
		return nil, err
	}
	return convert.MaterialToProto(name.studio, material), nil
}

// ListMaterials lists the newest version of each material by name.
func (s *materialService) ListMaterials(ctx context.Context, req *saggarv1.ListMaterialsRequest) (*saggarv1.ListMaterialsResponse, error) {
	after, err := pagePosition(ctx, req)
	if err != nil {
		return nil, err
	}
	found, err := s.app.ListMaterials(ctx, studioOf(req.GetParent()), app.Page{After: after, Limit: pageSize(req) + 1})
	if err != nil {
		return nil, err
	}
	page, next := cutVersions(ctx, req, found, convert.MaterialToProto)
	return &saggarv1.ListMaterialsResponse{Materials: page, NextPageToken: next}, nil
}

// CreateMaterialVersion stores a new version.
func (s *materialService) CreateMaterialVersion(ctx context.Context, req *saggarv1.CreateMaterialVersionRequest) (*saggarv1.Material, error) {
	const field = "material"
	name, err := parseName(field+".name", req.GetMaterial().GetName())
	if err != nil {
		return nil, err
	}
	stored, err := s.app.CreateMaterialVersion(ctx, callOf(ctx, req), name.studio, convert.MaterialFromProto(req.GetMaterial()))
	if err != nil {
		return nil, underField(field, name.id, err)
	}
	return convert.MaterialToProto(name.studio, stored), nil
}
