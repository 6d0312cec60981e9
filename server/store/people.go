package store

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"saggar/server/domain"
	"saggar/server/store/queries"
)

// Department returns one, or domain.ErrNotFound.
func (t *Tx) Department(ctx context.Context, studioKey int64, id string) (domain.Department, error) {
	row, err := t.q.GetDepartment(ctx, queries.GetDepartmentParams{StudioKey: studioKey, DepartmentID: id})
	return toDepartment(row), named(err, "departments", id)
}

// ListDepartments returns those with ids after the given one, by id, at most limit; 0: all.
func (t *Tx) ListDepartments(ctx context.Context, studioKey int64, after string, limit int) ([]domain.Department, error) {
	rows, err := t.q.ListDepartments(ctx, queries.ListDepartmentsParams{StudioKey: studioKey, AfterID: after, MaxRows: int64(limit)})
	return collect(rows, func(row queries.ListDepartmentsRow) domain.Department {
		return toDepartment(queries.GetDepartmentRow(row))
	}), err
}

// PutDepartment stores one, new or in place of the one with its id.
func (t *Tx) PutDepartment(ctx context.Context, studioKey int64, d domain.Department) error {
	return t.q.PutDepartment(ctx, queries.PutDepartmentParams{
		StudioKey: studioKey, DepartmentID: d.ID, Title: d.Title, Revision: d.Revision,
	})
}

// DeleteDepartment removes one. Errors: domain.ErrNotFound.
func (t *Tx) DeleteDepartment(ctx context.Context, studioKey int64, id string) error {
	count, err := t.q.DeleteDepartment(ctx, queries.DeleteDepartmentParams{StudioKey: studioKey, DepartmentID: id})
	if err == nil && count == 0 {
		return domain.NotFound("departments/" + id)
	}
	return err
}

// CountPeopleOf returns how many people belong to a department.
func (t *Tx) CountPeopleOf(ctx context.Context, studioKey int64, departmentID string) (int, error) {
	count, err := t.q.CountPeopleOf(ctx, queries.CountPeopleOfParams{StudioKey: studioKey, DepartmentID: departmentID})
	return int(count), err
}

// Person returns somebody of a studio, or domain.ErrNotFound.
func (t *Tx) Person(ctx context.Context, studioKey int64, id string) (domain.Person, error) {
	row, err := t.q.GetPerson(ctx, queries.GetPersonParams{StudioKey: studioKey, PersonID: id})
	if err != nil {
		return domain.Person{}, named(err, "people", id)
	}
	return toPerson(row)
}

// ListPeople returns those with ids after the given one, by id, at most limit; 0: all.
func (t *Tx) ListPeople(ctx context.Context, studioKey int64, after string, limit int) ([]domain.Person, error) {
	rows, err := t.q.ListPeople(ctx, queries.ListPeopleParams{StudioKey: studioKey, AfterID: after, MaxRows: int64(limit)})
	if err != nil {
		return nil, err
	}
	return decodeAll(rows, func(row queries.ListPeopleRow) (domain.Person, error) { return toPerson(queries.GetPersonRow(row)) })
}

// PutPerson stores somebody, new or in place of the one with their id. Errors: domain.ErrAlreadyExists when somebody else
// of the studio has their subject.
func (t *Tx) PutPerson(ctx context.Context, studioKey int64, p domain.Person) error {
	role, known := roleNames[p.Role]
	if !known {
		return fmt.Errorf("store person %s: role %d is none that a person can have", p.ID, p.Role)
	}
	trainings := p.Trainings
	if trainings == nil {
		trainings = []domain.Training{}
	}
	body, err := encode("trainings of "+p.ID, trainings)
	if err != nil {
		return err
	}
	err = t.q.PutPerson(ctx, queries.PutPersonParams{
		StudioKey: studioKey, PersonID: p.ID, Title: p.Title, Role: role, Departments: noNull(p.Departments), Trainings: body,
		OpenidSubject: orNull(p.OpenIDSubject), Revision: p.Revision,
	})
	if errors.Is(err, domain.ErrAlreadyExists) {
		return &domain.Error{
			Kind: domain.ErrAlreadyExists, Subject: "people/" + p.ID, Message: "somebody else of the studio has this openid_subject",
			Cure: "a subject is one person",
		}
	}
	return err
}

// DeletePerson removes somebody and ends their keys and feeds of the studio. Errors: domain.ErrNotFound.
func (t *Tx) DeletePerson(ctx context.Context, studioKey int64, id string, at time.Time) error {
	count, err := t.q.DeletePerson(ctx, queries.DeletePersonParams{StudioKey: studioKey, PersonID: id})
	if err != nil {
		return err
	}
	if count == 0 {
		return domain.NotFound("people/" + id)
	}
	if err := t.q.RevokeFeedsOf(ctx, queries.RevokeFeedsOfParams{StudioKey: studioKey, Owner: id, RevokeTime: at}); err != nil {
		return err
	}
	if err := t.q.CloseTimeRequestsOf(ctx, queries.CloseTimeRequestsOfParams{StudioKey: studioKey, Asker: id}); err != nil {
		return err
	}
	return t.q.RevokeKeysOf(ctx, queries.RevokeKeysOfParams{StudioKey: studioKey, CallerID: id, RevokeTime: at})
}

// MembershipsOf returns the studios to which the subject of a token belongs, by studio.
func (t *Tx) MembershipsOf(ctx context.Context, openIDSubject string) ([]domain.Membership, error) {
	rows, err := t.q.MembershipsOf(ctx, openIDSubject)
	return collect(rows, func(row queries.MembershipsOfRow) domain.Membership {
		return domain.Membership{StudioID: row.StudioID, PersonID: row.PersonID, Role: roleOf(row.Role)}
	}), err
}

// TrainingSubjects returns the subjects for which anybody of the studio has a training.
func (t *Tx) TrainingSubjects(ctx context.Context, studioKey int64) ([]string, error) {
	return t.q.TrainingSubjects(ctx, studioKey)
}

func toDepartment(row queries.GetDepartmentRow) domain.Department {
	return domain.Department{ID: row.DepartmentID, Title: row.Title, Revision: row.Revision}
}

func toPerson(row queries.GetPersonRow) (domain.Person, error) {
	p := domain.Person{
		ID: row.PersonID, Title: row.Title, Role: roleOf(row.Role), Departments: row.Departments,
		OpenIDSubject: orZero(row.OpenidSubject), Revision: row.Revision,
	}
	if err := json.Unmarshal(row.Trainings, &p.Trainings); err != nil {
		return p, fmt.Errorf("read the stored trainings of %s: %w", p.ID, err)
	}
	return p, nil
}
