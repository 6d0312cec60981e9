package rpc

import (
	"context"
	"errors"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/emptypb"

	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/app"
	"saggar/server/domain"
)

type peopleService struct {
	saggarv1.UnimplementedPeopleServiceServer
	app   *app.App
	rules *fieldRules
}

const (
	kindDepartments = "departments"
	kindPeople      = "people"
)

// GetDepartment returns one department.
func (s *peopleService) GetDepartment(ctx context.Context, req *saggarv1.GetDepartmentRequest) (*saggarv1.Department, error) {
	name, err := parseName("name", req.GetName())
	if err != nil {
		return nil, err
	}
	found, err := s.app.GetDepartment(ctx, name.studio, name.id)
	if err != nil {
		return nil, err
	}
	return departmentToProto(name.studio, found), nil
}

// ListDepartments lists departments by name.
func (s *peopleService) ListDepartments(ctx context.Context, req *saggarv1.ListDepartmentsRequest) (*saggarv1.ListDepartmentsResponse, error) {
	after, err := pagePosition(ctx, req)
	if err != nil {
		return nil, err
	}
	studio := studioOf(req.GetParent())
	found, err := s.app.ListDepartments(ctx, studio, app.Page{After: after, Limit: pageSize(req) + 1})
	if err != nil {
		return nil, err
	}
	page, next := cutPage(ctx, req, found, func(d domain.Department) *saggarv1.Department { return departmentToProto(studio, d) },
		func(d domain.Department) string { return d.ID })
	return &saggarv1.ListDepartmentsResponse{Departments: page, NextPageToken: next}, nil
}

// UpdateDepartment changes a department, or creates it with allow_missing.
func (s *peopleService) UpdateDepartment(ctx context.Context, req *saggarv1.UpdateDepartmentRequest) (*saggarv1.Department, error) {
	const field = "department"
	name, err := parseName(field+".name", req.GetDepartment().GetName())
	if err != nil {
		return nil, err
	}
	present, err := s.GetDepartment(ctx, &saggarv1.GetDepartmentRequest{Name: req.GetDepartment().GetName()})
	merged, expect, err := mergeInto(s.rules, present, err, req, req.GetDepartment())
	if err != nil {
		return nil, underField(field, name.id, err)
	}
	wanted := domain.Department{ID: name.id, Title: merged.(*saggarv1.Department).GetTitle()}
	changed, err := s.app.UpdateDepartment(ctx, callOf(ctx, req), name.studio, wanted, expect)
	if err != nil {
		return nil, underField(field, name.id, err)
	}
	return departmentToProto(name.studio, changed), nil
}

// mergeInto returns a resource as it shall be and what must still hold when it is stored; err is what reading the present
// one gave.
func mergeInto(rules *fieldRules, present resource, err error, req updateRequest, given resource) (proto.Message, app.Expectation, error) {
	expect := app.Expectation{Revision: revisionOf(given.GetEtag()), AllowMissing: req.GetAllowMissing()}
	mask := req.GetUpdateMask()
	switch {
	case errors.Is(err, domain.ErrNotFound) && req.GetAllowMissing():
		present, mask = given.ProtoReflect().New().Interface().(resource), nil
		setName(present, given.GetName())
	case err != nil:
		return nil, expect, err
	case expect.Revision == 0:
		expect.Revision = revisionOf(present.GetEtag())
	}
	merged, err := merge(present, given, mask)
	if err != nil {
		return nil, expect, err
	}
	return merged, expect, rules.contract(merged).Err()
}

// DeleteDepartment removes a department.
func (s *peopleService) DeleteDepartment(ctx context.Context, req *saggarv1.DeleteDepartmentRequest) (*emptypb.Empty, error) {
	name, err := parseName("name", req.GetName())
	if err != nil {
		return nil, err
	}
	return &emptypb.Empty{}, s.app.DeleteDepartment(ctx, callOf(ctx, req), name.studio, name.id, revisionOf(req.GetEtag()))
}

// GetPerson returns somebody of a studio.
func (s *peopleService) GetPerson(ctx context.Context, req *saggarv1.GetPersonRequest) (*saggarv1.Person, error) {
	return s.person(ctx, req, req.GetName())
}

func (s *peopleService) person(ctx context.Context, req proto.Message, full string) (*saggarv1.Person, error) {
	name, err := parseName("name", full)
	if err != nil {
		return nil, err
	}
	found, err := s.app.GetPerson(ctx, callOf(ctx, req), name.studio, name.id)
	if err != nil {
		return nil, err
	}
	return personToProto(name.studio, found), nil
}

// ListPeople lists the people of a studio by name.
func (s *peopleService) ListPeople(ctx context.Context, req *saggarv1.ListPeopleRequest) (*saggarv1.ListPeopleResponse, error) {
	after, err := pagePosition(ctx, req)
	if err != nil {
		return nil, err
	}
	studio := studioOf(req.GetParent())
	found, err := s.app.ListPeople(ctx, callOf(ctx, req), studio, app.Page{After: after, Limit: pageSize(req) + 1})
	if err != nil {
		return nil, err
	}
	page, next := cutPage(ctx, req, found, func(p domain.Person) *saggarv1.Person { return personToProto(studio, p) },
		func(p domain.Person) string { return p.ID })
	return &saggarv1.ListPeopleResponse{People: page, NextPageToken: next}, nil
}

// UpdatePerson changes somebody's part in a studio, or creates it with allow_missing.
func (s *peopleService) UpdatePerson(ctx context.Context, req *saggarv1.UpdatePersonRequest) (*saggarv1.Person, error) {
	const field = "person"
	name, err := parseName(field+".name", req.GetPerson().GetName())
	if err != nil {
		return nil, err
	}
	present, err := s.person(ctx, req, req.GetPerson().GetName())
	merged, expect, err := mergeInto(s.rules, present, err, req, req.GetPerson())
	if err != nil {
		return nil, underField(field, name.id, err)
	}
	changed, err := s.app.UpdatePerson(ctx, callOf(ctx, req), name.studio, personFromProto(merged.(*saggarv1.Person)), expect)
	if err != nil {
		return nil, underField(field, name.id, err)
	}
	return personToProto(name.studio, changed), nil
}

// DeletePerson removes somebody from a studio.
func (s *peopleService) DeletePerson(ctx context.Context, req *saggarv1.DeletePersonRequest) (*emptypb.Empty, error) {
	name, err := parseName("name", req.GetName())
	if err != nil {
		return nil, err
	}
	return &emptypb.Empty{}, s.app.DeletePerson(ctx, callOf(ctx, req), name.studio, name.id, revisionOf(req.GetEtag()))
}

func departmentToProto(studio string, d domain.Department) *saggarv1.Department {
	return &saggarv1.Department{Name: convert.Name(studio, kindDepartments, d.ID), Title: d.Title, Etag: etagOf(d.Revision)}
}

func personToProto(studio string, p domain.Person) *saggarv1.Person {
	m := &saggarv1.Person{
		Name: convert.Name(studio, kindPeople, p.ID), Title: p.Title, Role: roles.toProto(p.Role), Departments: p.Departments,
		OpenidSubject: p.OpenIDSubject, Etag: etagOf(p.Revision),
	}
	for _, t := range p.Trainings {
		m.Trainings = append(m.Trainings, &saggarv1.Training{Subject: t.Subject, DoneOn: t.DoneOn, ExpiresOn: t.ExpiresOn})
	}
	return m
}

func personFromProto(m *saggarv1.Person) domain.Person {
	p := domain.Person{
		ID: convert.ID(m.GetName()), Title: m.GetTitle(), Role: roles.fromProto(m.GetRole()), Departments: m.GetDepartments(),
		OpenIDSubject: m.GetOpenidSubject(),
	}
	for _, t := range m.GetTrainings() {
		p.Trainings = append(p.Trainings, domain.Training{Subject: t.GetSubject(), DoneOn: t.GetDoneOn(), ExpiresOn: t.GetExpiresOn()})
	}
	return p
}
