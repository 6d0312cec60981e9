package app

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"time"

	"saggar/chem/finding"
	"saggar/chem/heat"
	"saggar/server/domain"
	"saggar/server/store"
)

// GetEquipment returns one equipment resource. Errors: domain.ErrNotFound.
func (a *App) GetEquipment(ctx context.Context, studioID string, kind domain.EquipmentKind, id string) (domain.Equipment, error) {
	var found domain.Equipment
	err := a.read(ctx, studioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) (err error) {
		if found, err = tx.EquipmentOne(ctx, studio.Key, kind, id); err != nil {
			return err
		}
		return a.heldByNow(ctx, tx, studio.Key, []domain.Equipment{found})
	})
	return found, err
}

// ListEquipment lists the resources of one kind by id.
func (a *App) ListEquipment(ctx context.Context, studioID string, kind domain.EquipmentKind, page Page) ([]domain.Equipment, error) {
	var list []domain.Equipment
	err := a.read(ctx, studioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) (err error) {
		if list, err = tx.ListEquipment(ctx, studio.Key, kind, page.After, page.Limit); err != nil {
			return err
		}
		return a.heldByNow(ctx, tx, studio.Key, list)
	})
	return list, err
}

// EquipmentUpdate is one equipment resource as it shall be.
type EquipmentUpdate struct {
	StudioID  string
	Equipment domain.Equipment
	// ExpectRevision is the revision that the caller saw; 0: any.
	ExpectRevision int64
	// AllowMissing creates it when there is none.
	AllowMissing bool
}

// UpdateEquipment changes one equipment resource. Errors: finding.Faults, also for a reference to nothing;
// domain.ErrNotFound; domain.ErrChangedMeanwhile.
func (a *App) UpdateEquipment(ctx context.Context, call Call, in EquipmentUpdate) (domain.Equipment, error) {
	if err := checkEquipment(in.Equipment, a.now()).Err(); err != nil {
		return domain.Equipment{}, err
	}
	var changed domain.Equipment
	do := func(ctx context.Context, tx *store.Tx, studio domain.Studio) ([]string, error) {
		if err := in.checkPresent(ctx, tx, studio.Key); err != nil {
			return nil, err
		}
		load := &studioLoad{app: a, call: call, tx: tx, studio: studio}
		if err := load.equipment(ctx, []domain.Equipment{in.Equipment}); err != nil {
			return nil, err
		}
		var err error
		if changed, err = tx.EquipmentOne(ctx, studio.Key, in.Equipment.Kind, in.Equipment.ID); err != nil {
			return nil, err
		}
		if err := a.heldByNow(ctx, tx, studio.Key, []domain.Equipment{changed}); err != nil {
			return nil, err
		}
		return []string{in.Equipment.Name()}, tx.UpdateStudio(ctx, load.studio)
	}
	again := func(ctx context.Context, tx *store.Tx, studio domain.Studio, _ []string) (err error) {
		changed, err = tx.EquipmentOne(ctx, studio.Key, in.Equipment.Kind, in.Equipment.ID)
		return err
	}
	err := a.change(ctx, scope{call: call, studioID: in.StudioID}, do, again)
	return changed, err
}

func (in EquipmentUpdate) checkPresent(ctx context.Context, tx *store.Tx, studioKey int64) error {
	present, err := tx.EquipmentOne(ctx, studioKey, in.Equipment.Kind, in.Equipment.ID)
	switch {
	case errors.Is(err, domain.ErrNotFound) && in.AllowMissing && in.ExpectRevision == 0:
		return nil
	case errors.Is(err, domain.ErrNotFound) && in.AllowMissing:
		return stale(in.Equipment.Name()) // it stood when the caller looked
	case err != nil:
		return err
	case in.ExpectRevision != 0 && in.ExpectRevision != present.Revision:
		return stale(in.Equipment.Name())
	}
	return nil
}

// DeleteEquipment deletes a closure, or a vessel or gear that no run ever had; other equipment stays, since firings refer to it.
// Errors: domain.ErrNotFound, domain.ErrChangedMeanwhile, domain.ErrWrongState for other kinds and what runs had.
func (a *App) DeleteEquipment(ctx context.Context, call Call, in EquipmentUpdate) error {
	name := in.Equipment.Name()
	if !slices.Contains([]domain.EquipmentKind{domain.KindClosure, domain.KindVessel, domain.KindGear}, in.Equipment.Kind) {
		return &domain.Error{
			Kind: domain.ErrWrongState, Subject: name, Message: "only closures, vessels and gear can be deleted",
			Cure: "close the equipment for good instead, so that what was fired in it stays on record",
		}
	}
	do := func(ctx context.Context, tx *store.Tx, studio domain.Studio) ([]string, error) {
		present, err := tx.EquipmentOne(ctx, studio.Key, in.Equipment.Kind, in.Equipment.ID)
		if err != nil {
			return nil, err
		}
		if in.ExpectRevision != 0 && in.ExpectRevision != present.Revision {
			return nil, stale(name)
		}
		if present.Kind == domain.KindClosure {
			if err := a.mayReopen(ctx, tx, studio, present); err != nil {
				return nil, err
			}
		}
		studio.Revision++
		studio.EquipmentRevision = studio.Revision
		if err := tx.AppendChange(ctx, &studio, a.logged(call, studio.Revision, name, present.Body(), nil)); err != nil {
			return nil, err
		}
		if err := tx.DeleteEquipment(ctx, studio.Key, in.Equipment.Kind, in.Equipment.ID); err != nil {
			return nil, err
		}
		return []string{name}, tx.UpdateStudio(ctx, studio)
	}
	again := func(context.Context, *store.Tx, domain.Studio, []string) error { return nil }
	return a.change(ctx, scope{call: call, studioID: in.StudioID}, do, again)
}

// mayReopen refuses to take away a sign-off on which firings rest.
func (a *App) mayReopen(ctx context.Context, tx *store.Tx, studio domain.Studio, closure domain.Equipment) error {
	site, err := readSite(ctx, tx, studio)
	if err != nil {
		return err
	}
	return checkSignOff(ctx, tx, site, closure.Closure, nil)
}

// checkEquipment returns what is wrong with one resource by itself at an instant, with paths relative to it.
func checkEquipment(e domain.Equipment, now time.Time) finding.Faults {
	switch e.Kind {
	case domain.KindFurnace:
		return checkFurnace(*e.Furnace)
	case domain.KindStaffedHours:
		return e.Hours.Check()
	case domain.KindClosure:
		return checkClosure(*e.Closure)
	case domain.KindVessel:
		return e.Vessel.Check(now)
	case domain.KindGear:
		return e.Gear.Check(now)
	}
	return nil
}

func checkClosure(c domain.Closure) finding.Faults {
	var faults finding.Faults
	if !c.Start.Before(c.End) {
		faults.Add("end_time", "the closure ends before it starts", "give an end after the start")
	}
	if c.Unoccupied && c.SubjectKind != domain.KindRoom {
		faults.Add("unoccupied", fmt.Sprintf("only a room can be closed to people while firings go on, not %s/%s", c.SubjectKind, c.SubjectID),
			"name a room as subject, or leave it out to close the equipment itself")
	}
	return faults
}

func checkFurnace(f heat.Furnace) finding.Faults {
	var faults finding.Faults
	if f.Source == heat.Bench {
		return nil
	}
	if f.TopCelsius <= 0 {
		faults.Add("top_celsius", "a furnace needs its highest allowed temperature", "give it in degrees Celsius")
	}
	if f.NetKilowatts > f.InputKilowatts {
		faults.Add("net_kilowatts", fmt.Sprintf("%g kW into the chamber is more than the %g kW drawn", f.NetKilowatts,
			f.InputKilowatts), "give what is drawn from the supply in input_kilowatts")
	}
	if _, err := heat.Fit(f); err != nil {
		faults = append(faults, asFaults(err)...)
	}
	return faults
}

// checkSite returns the references between resources that lead nowhere.
func checkSite(studio domain.Studio, byName map[string]domain.Equipment) error {
	site, err := domain.NewSite(studio, slices.Collect(maps.Values(byName)))
	if err != nil {
		return err
	}
	return site.Check().Err()
}

// fieldOf is the name of the list in a studio's file that holds a kind.
func fieldOf(kind domain.EquipmentKind) string {
	switch kind {
	case domain.KindCircuit:
		return "extraction_circuits"
	case domain.KindStaffedHours:
		return "staffed_hours"
	default:
		return string(kind)
	}
}
