package app

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"saggar/chem/finding"
	"saggar/server/domain"
	"saggar/server/store"
)

// GetDepartment returns one. Errors: domain.ErrNotFound.
func (a *App) GetDepartment(ctx context.Context, studioID, id string) (found domain.Department, err error) {
	err = a.read(ctx, studioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) (err error) {
		found, err = tx.Department(ctx, studio.Key, id)
		return err
	})
	return found, err
}

// ListDepartments lists those of a studio by id.
func (a *App) ListDepartments(ctx context.Context, studioID string, page Page) (list []domain.Department, err error) {
	err = a.read(ctx, studioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) (err error) {
		list, err = tx.ListDepartments(ctx, studio.Key, page.After, page.Limit)
		return err
	})
	return list, err
}

// GetPerson returns somebody of a studio, as far as the caller may see them. Errors: domain.ErrNotFound.
func (a *App) GetPerson(ctx context.Context, call Call, studioID, id string) (found domain.Person, err error) {
	err = a.read(ctx, studioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) (err error) {
		found, err = tx.Person(ctx, studio.Key, id)
		return err
	})
	return call.seen(found), err
}

// ListPeople lists those of a studio by id, as far as the caller may see them.
func (a *App) ListPeople(ctx context.Context, call Call, studioID string, page Page) (list []domain.Person, err error) {
	err = a.read(ctx, studioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) (err error) {
		list, err = tx.ListPeople(ctx, studio.Key, page.After, page.Limit)
		return err
	})
	for i := range list {
		list[i] = call.seen(list[i])
	}
	return list, err
}

// Expectation is under which circumstances a resource may be changed.
type Expectation struct {
	// Revision is the one that the caller saw; 0: any.
	Revision int64
	// AllowMissing creates it when there is none.
	AllowMissing bool
}

// met says whether what stands is what was expected; err is what reading it gave.
func (e Expectation) met(name string, revision int64, err error) (exists bool, _ error) {
	switch {
	case errors.Is(err, domain.ErrNotFound) && e.AllowMissing && e.Revision == 0:
		return false, nil
	case err != nil:
		return false, err
	case e.Revision != 0 && e.Revision != revision:
		return true, stale(name)
	}
	return true, nil
}

// UpdateDepartment changes one. Errors: domain.ErrNotFound, domain.ErrChangedMeanwhile.
func (a *App) UpdateDepartment(
	ctx context.Context, call Call, studioID string, given domain.Department, expect Expectation,
) (domain.Department, error) {
	name := "departments/" + given.ID
	err := a.rosterChange(ctx, call, studioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) (domain.Change, error) {
		present, err := tx.Department(ctx, studio.Key, given.ID)
		exists, err := expect.met(name, present.Revision, err)
		if err != nil {
			return domain.Change{}, err
		}
		given.Revision = studio.Revision
		return a.logged(call, studio.Revision, name, orNothing(exists, present), given), tx.PutDepartment(ctx, studio.Key, given)
	})
	return given, err
}

// DeleteDepartment removes one to which nobody belongs any more. Errors: domain.ErrNotFound, domain.ErrChangedMeanwhile,
// domain.ErrWrongState.
func (a *App) DeleteDepartment(ctx context.Context, call Call, studioID, id string, expectRevision int64) error {
	name := "departments/" + id
	return a.rosterChange(ctx, call, studioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) (domain.Change, error) {
		present, err := tx.Department(ctx, studio.Key, id)
		if _, err := (Expectation{Revision: expectRevision}).met(name, present.Revision, err); err != nil {
			return domain.Change{}, err
		}
		people, err := tx.CountPeopleOf(ctx, studio.Key, id)
		if err != nil {
			return domain.Change{}, err
		}
		if people > 0 {
			return domain.Change{}, &domain.Error{
				Kind: domain.ErrWrongState, Subject: name, Message: fmt.Sprintf("%d people belong to it", people),
				Cure: "take it off them first",
			}
		}
		return a.logged(call, studio.Revision, name, present, nil), tx.DeleteDepartment(ctx, studio.Key, id)
	})
}

// UpdatePerson changes somebody's part in a studio. Errors: finding.Faults, also for a department or furnace that does not
// stand; domain.ErrNotFound, domain.ErrChangedMeanwhile, domain.ErrAlreadyExists for the subject of somebody else.
func (a *App) UpdatePerson(
	ctx context.Context, call Call, studioID string, given domain.Person, expect Expectation,
) (domain.Person, error) {
	given, faults := given.Complete()
	if err := faults.Err(); err != nil {
		return domain.Person{}, err
	}
	name := "people/" + given.ID
	err := a.rosterChange(ctx, call, studioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) (domain.Change, error) {
		present, err := tx.Person(ctx, studio.Key, given.ID)
		exists, err := expect.met(name, present.Revision, err)
		if err != nil {
			return domain.Change{}, err
		}
		if err := checkReferences(ctx, tx, studio.Key, given); err != nil {
			return domain.Change{}, err
		}
		if given.Role < domain.RoleMaker {
			if err := a.checkAttendsNothing(ctx, tx, studio.Key, given.ID, "a viewer may not"); err != nil {
				return domain.Change{}, err
			}
		}
		given.Revision = studio.Revision
		return a.logged(call, studio.Revision, name, orNothing(exists, present), given), tx.PutPerson(ctx, studio.Key, given)
	})
	return given, err
}

// checkReferences returns the departments and furnaces of a person that do not stand.
func checkReferences(ctx context.Context, tx *store.Tx, studioKey int64, p domain.Person) error {
	var faults finding.Faults
	for i, id := range p.Departments {
		_, err := tx.Department(ctx, studioKey, id)
		if errors.Is(err, domain.ErrNotFound) {
			faults.Add(fmt.Sprintf("departments[%d]", i), "there is no department "+id, "add it first")
		} else if err != nil {
			return err
		}
	}
	for i, t := range p.Trainings {
		if t.FurnaceID() == "" {
			continue
		}
		_, err := tx.EquipmentOne(ctx, studioKey, domain.KindFurnace, t.FurnaceID())
		if errors.Is(err, domain.ErrNotFound) {
			faults.Add(fmt.Sprintf("trainings[%d].subject", i), "there is no furnace "+t.FurnaceID(), "name one of the studio's")
		} else if err != nil {
			return err
		}
	}
	return faults.Err()
}

// DeletePerson removes somebody from a studio and ends their keys and feeds there. Errors: domain.ErrNotFound,
// domain.ErrChangedMeanwhile, domain.ErrWrongState while a rule lets them clear runs or they attend firings to come.
func (a *App) DeletePerson(ctx context.Context, call Call, studioID, id string, expectRevision int64) error {
	name := "people/" + id
	return a.rosterChange(ctx, call, studioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) (domain.Change, error) {
		present, err := tx.Person(ctx, studio.Key, id)
		if _, err := (Expectation{Revision: expectRevision}).met(name, present.Revision, err); err != nil {
			return domain.Change{}, err
		}
		if err := checkNotNamed(ctx, tx, studio.Key, id); err != nil {
			return domain.Change{}, err
		}
		if err := a.checkAttendsNothing(ctx, tx, studio.Key, id, "who is removed cannot"); err != nil {
			return domain.Change{}, err
		}
		keys, err := tx.ListAccessKeys(ctx, store.AccessKeysQuery{StudioKey: studio.Key, CallerID: id, At: a.now()})
		if err != nil {
			return domain.Change{}, err
		}
		left := leaver{Person: present}
		for _, key := range keys {
			left.EndedKeys = append(left.EndedKeys, key.ID)
		}
		feeds, err := tx.ListFeeds(ctx, store.FeedsQuery{StudioKey: studio.Key, Owner: id})
		if err != nil {
			return domain.Change{}, err
		}
		for _, feed := range feeds {
			left.EndedFeeds = append(left.EndedFeeds, feed.ID)
		}
		return a.logged(call, studio.Revision, name, left, nil), tx.DeletePerson(ctx, studio.Key, id, a.now())
	})
}

// mostAttendedTold bounds how many stages a refusal names.
const mostAttendedTold = 5

// checkAttendsNothing refuses while somebody attends firings that are not over, who cannot any more.
func (a *App) checkAttendsNothing(ctx context.Context, tx *store.Tx, studioKey int64, person, why string) error {
	now := a.now()
	all, err := tx.Appointments(ctx, studioKey, store.AppointmentsQuery{Since: now, Person: person, Limit: mostAppointments})
	if err != nil {
		return err
	}
	var attended []string
	for _, one := range all {
		if one.Furnace != "" && one.AttendedBy == person && one.State.Occupies() && one.Window.End.After(now) {
			attended = append(attended, one.RunID+"/"+one.Stage)
		}
	}
	if len(attended) == 0 {
		return nil
	}
	told := strings.Join(attended[:min(len(attended), mostAttendedTold)], ", ")
	if more := len(attended) - mostAttendedTold; more > 0 {
		told += fmt.Sprintf(" and %d more", more)
	}
	return &domain.Error{
		Kind: domain.ErrWrongState, Subject: "people/" + person, Message: fmt.Sprintf("%s attend firings, and is to attend %s", why, told),
		Cure: "name somebody else for each ('run move RUN --attended-by STAGE=PERSON'), or call them off",
	}
}

// leaver is what the log keeps of somebody who was removed, with the ids of the keys and feeds that ended with it.
type leaver struct {
	domain.Person
	EndedKeys  []string `json:"ended_keys"`
	EndedFeeds []string `json:"ended_feeds,omitempty"`
}

// rosterDo makes a change at the studio's revision, which is already the new one, and returns the log's entry.
type rosterDo func(ctx context.Context, tx *store.Tx, studio domain.Studio) (domain.Change, error)

// rosterChange runs a change to departments or people under the studio's lock. Equipment stands as it was, so that no
// booking is worked out anew because of it.
func (a *App) rosterChange(ctx context.Context, call Call, studioID string, do rosterDo) error {
	return a.oneChange(ctx, studioID, do, func(*domain.Studio) {})
}

// oneChange runs one change under the studio's lock, at its next revision, which touch may note in the studio besides.
func (a *App) oneChange(ctx context.Context, studioID string, do rosterDo, touch func(studio *domain.Studio)) error {
	return a.store.InTx(ctx, func(ctx context.Context, tx *store.Tx) error {
		studio, err := tx.LockStudio(ctx, studioID)
		if err != nil {
			return err
		}
		studio.Revision++
		touch(&studio)
		entry, err := do(ctx, tx, studio)
		if err != nil {
			return err
		}
		if err := tx.AppendChange(ctx, &studio, entry); err != nil {
			return err
		}
		return tx.UpdateStudio(ctx, studio)
	})
}

// orNothing is a value that stood before a change, or nil.
func orNothing(exists bool, value any) any {
	if !exists {
		return nil
	}
	return value
}
