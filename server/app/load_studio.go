package app

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"time"

	"saggar/chem"
	"saggar/chem/finding"
	"saggar/server/domain"
	"saggar/server/store"
)

// LoadStudio creates or replaces everything in the input in one transaction, all or nothing. Resources that it does not
// name stay as they are. Materials and recipes get a new version only when they differ from the newest.
// Errors: finding.Faults for what is wrong in the input; domain.ErrNotFound when the studio does not stand and none is
// given.
func (a *App) LoadStudio(ctx context.Context, call Call, in LoadStudioInput) (LoadStudioResult, error) {
	if err := in.check(a.now()); err != nil {
		return LoadStudioResult{}, err
	}
	var result LoadStudioResult
	do := func(ctx context.Context, tx *store.Tx, studio domain.Studio) ([]string, error) {
		load := &studioLoad{app: a, call: call, tx: tx, studio: studio}
		if err := load.run(ctx, in); err != nil {
			return nil, err
		}
		result = load.result
		result.Studio = load.studio
		return []string{in.StudioID}, nil
	}
	again := func(_ context.Context, _ *store.Tx, studio domain.Studio, _ []string) error {
		result = LoadStudioResult{Studio: studio}
		return nil
	}
	err := a.change(ctx, scope{call: call, studioID: in.StudioID, create: in.Studio}, do, again)
	return result, err
}

// check returns what is wrong with the input by itself at an instant.
func (in LoadStudioInput) check(now time.Time) error {
	var faults finding.Faults
	if in.Studio != nil {
		faults.AddUnder("studio", checkStudio(*in.Studio))
	}
	seen := map[string]bool{}
	once := func(field, kind, id string) {
		if seen[kind+"/"+id] {
			faults.Add(field, fmt.Sprintf("%s %q stands twice", kind, id), "leave one of the two out")
		}
		seen[kind+"/"+id] = true
	}
	for _, e := range in.Equipment {
		path := fmt.Sprintf("%s[%s]", fieldOf(e.Kind), e.ID)
		once(path, string(e.Kind), e.ID)
		faults.AddUnder(path, checkEquipment(e, now))
	}
	for _, m := range in.Materials {
		path := fmt.Sprintf("materials[%s]", m.ID)
		once(path, "material", m.ID)
		faults.AddUnder(path, m.Validate())
	}
	for _, r := range in.Recipes {
		once(fmt.Sprintf("recipes[%s]", r.ID), "recipe", r.ID)
	}
	for _, r := range in.Rules {
		once(ruleField(r), string(r.Kind), r.ID)
		faults.AddUnder(ruleField(r), r.Check())
	}
	return faults.Err()
}

// studioLoad is one load under way inside its transaction.
type studioLoad struct {
	app    *App
	call   Call
	tx     *store.Tx
	studio domain.Studio
	result LoadStudioResult
}

func (l *studioLoad) run(ctx context.Context, in LoadStudioInput) error {
	if err := l.ownFields(ctx, in.Studio); err != nil {
		return err
	}
	if err := l.equipment(ctx, in.Equipment); err != nil {
		return err
	}
	for _, m := range in.Materials {
		if err := l.material(ctx, m); err != nil {
			return err
		}
	}
	if slices.ContainsFunc(in.Materials, chem.Material.IsMixture) {
		if err := l.mixturesStand(ctx); err != nil {
			return err
		}
	}
	for _, r := range in.Recipes {
		if err := l.recipe(ctx, r); err != nil {
			return err
		}
	}
	if err := l.rules(ctx, in.Rules); err != nil {
		return err
	}
	return l.tx.UpdateStudio(ctx, l.studio)
}

// advance counts one change and logs it.
func (l *studioLoad) advance(ctx context.Context, subject string, before, after any) error {
	l.studio.Revision++
	if before == nil {
		l.result.CreatedCount++
	} else {
		l.result.UpdatedCount++
	}
	return l.tx.AppendChange(ctx, &l.studio, l.app.logged(l.call, l.studio.Revision, subject, before, after))
}

func (l *studioLoad) ownFields(ctx context.Context, given *domain.Studio) error {
	if given == nil {
		return nil
	}
	stands := l.studio
	changed := stands.Described(*given)
	if stands.Revision > 0 && same(changed, stands) {
		l.result.UnchangedCount++
		return nil
	}
	var before any
	if stands.Revision > 0 {
		before = stands
	}
	l.studio = changed
	if err := l.advance(ctx, "studios/"+l.studio.ID, before, changed); err != nil {
		return err
	}
	l.studio.OwnRevision, l.studio.EquipmentRevision = l.studio.Revision, l.studio.Revision
	return nil
}

func (l *studioLoad) equipment(ctx context.Context, given []domain.Equipment) error {
	stands, err := l.tx.Equipment(ctx, l.studio.Key)
	if err != nil {
		return err
	}
	byName := map[string]domain.Equipment{}
	var signed []signOff
	for _, e := range stands {
		byName[e.Name()] = e
	}
	for _, e := range given {
		old, exists := byName[e.Name()]
		if exists && same(old.Body(), e.Body()) {
			l.result.UnchangedCount++
			continue
		}
		var before any
		if exists {
			before = old.Body()
		}
		if err := l.advance(ctx, e.Name(), before, e.Body()); err != nil {
			return err
		}
		e.Revision = l.studio.Revision
		l.studio.EquipmentRevision = l.studio.Revision
		if byName[e.Name()], err = l.tx.PutEquipment(ctx, l.studio.Key, e); err != nil {
			return err
		}
		if e.Kind == domain.KindClosure {
			signed = append(signed, signOff{old.Closure, e.Closure})
		}
	}
	if err := checkSite(l.studio, byName); err != nil {
		return err
	}
	return l.checkSignOffs(ctx, byName, signed)
}

// signOff is a closure as it stood, nil for none, and as it shall be.
type signOff struct{ before, after *domain.Closure }

func (l *studioLoad) checkSignOffs(ctx context.Context, byName map[string]domain.Equipment, signed []signOff) error {
	if len(signed) == 0 {
		return nil
	}
	site, err := domain.NewSite(l.studio, slices.Collect(maps.Values(byName)))
	if err != nil {
		return err
	}
	for _, s := range signed {
		if err := checkSignOff(ctx, l.tx, site, s.before, s.after); err != nil {
			return err
		}
	}
	return nil
}

func (l *studioLoad) material(ctx context.Context, m chem.Material) error {
	newest, err := l.tx.Material(ctx, l.studio.Key, m.ID, 0)
	if err != nil && !errors.Is(err, domain.ErrNotFound) {
		return err
	}
	m.Version = newest.Version
	if same(m, newest) {
		l.result.UnchangedCount++
		return nil
	}
	var before any
	if newest.Version > 0 {
		before = newest
	}
	m.Version++
	if err := l.advance(ctx, "materials/"+m.ID, before, m); err != nil {
		return err
	}
	return l.tx.InsertMaterial(ctx, l.studio.Key, m, l.app.now())
}

func (l *studioLoad) recipe(ctx context.Context, r chem.Recipe) error {
	if err := l.app.checkStoredRecipe(ctx, l.tx, l.studio.Key, r); err != nil {
		return underPath(fmt.Sprintf("recipes[%s]", r.ID), err)
	}
	newest, err := l.tx.Recipe(ctx, l.studio.Key, r.ID, 0)
	if err != nil && !errors.Is(err, domain.ErrNotFound) {
		return err
	}
	r.Version = newest.Version
	if same(r, newest) {
		l.result.UnchangedCount++
		return nil
	}
	var before any
	if newest.Version > 0 {
		before = newest
	}
	r.Version++
	if err := l.advance(ctx, "recipes/"+r.ID, before, r); err != nil {
		return err
	}
	return l.tx.InsertRecipe(ctx, l.studio.Key, r, l.app.now())
}
