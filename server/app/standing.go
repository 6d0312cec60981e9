package app

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"saggar/chem"
	"saggar/chem/assess"
	"saggar/chem/finding"
	"saggar/server/domain"
	"saggar/server/store"
)

// standing is a run that stands, worked out anew with what it was checked with and held against everything else that stands.
// Nothing of it is decided again: it is for reading.
type standing struct {
	run        domain.Run
	assessment assess.Assessment // its stages are those of the run's loads, in their order
	// byLoad are the findings that concern one load alone, by its stage.
	byLoad  map[string][]finding.Finding
	missing []string // what could not be worked out, a sentence each
}

// standingIn says what of a run is wanted, and on which date measurements and detectors are looked at.
type standingIn struct {
	site   *domain.Site
	now    time.Time
	onDate string
	// over limits the air to loads that overlap it; nil: all.
	over *domain.Window
}

// workOut works a run that stands out anew. The error is the database's: what chemistry cannot work out is said as missing.
func (in standingIn) workOut(ctx context.Context, tx *store.Tx, run domain.Run) (standing, error) {
	s := standing{run: run, byLoad: map[string][]finding.Finding{}}
	s.assessment.Caution = chem.Caution
	assessor := in.assessor(run)
	err := s.charge(ctx, tx, in.site.Studio.Key, assessor)
	if err != nil {
		return s, err
	}
	for _, load := range run.Loads {
		s.treat(assessor, load)
	}
	err = s.breathe(ctx, tx, in)
	finding.SortWorstFirst(s.assessment.Findings)
	slices.Sort(s.assessment.Assumptions)
	s.assessment.Assumptions = slices.Compact(s.assessment.Assumptions)
	return s, err
}

// charge reads what the run rests on, its lots as they are now, and works its charge out.
func (s *standing) charge(ctx context.Context, tx *store.Tx, studioKey int64, assessor assess.Site) error {
	recipe, err := tx.Recipe(ctx, studioKey, s.run.RecipeID, s.run.RecipeVersion)
	if err != nil {
		return err
	}
	s.assessment.Charge = assess.Charge{Recipe: recipe}
	inputs, err := readRun(ctx, tx, studioKey, assessor.Practice, runAt{request: requestOf(s.run), standing: &s.run})
	if err == nil {
		err = asBooked(ctx, tx, studioKey, s.run, inputs.materials)
	}
	var worked runCharge
	if err == nil {
		worked, err = inputs.workOut(assessor)
	}
	switch {
	case len(finding.FaultsOf(err)) > 0:
		s.missing = append(s.missing, fmt.Sprintf("the charge cannot be worked out again: %v", err))
		return nil
	case err != nil:
		return err
	}
	s.assessment.Charge = worked.charge
	s.assessment.Findings = append(slices.Clone(worked.charge.Findings), inputs.changedLots()...)
	s.assessment.Assumptions = slices.Clone(worked.charge.Balance.Assumptions)
	return nil
}

// assessor is the site with the furnaces as the run was booked with.
func (in standingIn) assessor(run domain.Run) assess.Site {
	assessor := assessSite(in.site, in.now)
	assessor.OnDate = in.onDate
	for i, f := range assessor.Furnaces {
		if booked, ok := run.Inputs.Furnaces[f.ID]; ok {
			assessor.Furnaces[i] = booked
		}
	}
	return assessor
}

// asBooked puts materials back to the versions that a run was checked with; what is in none of them, such as the parts of
// mixtures, stays the newest.
func asBooked(ctx context.Context, tx *store.Tx, studioKey int64, run domain.Run, materials chem.Materials) error {
	for _, id := range slices.Sorted(maps.Keys(run.Inputs.Materials)) {
		version := run.Inputs.Materials[id]
		if newest, ok := materials[id]; !ok || newest.Version == version {
			continue
		}
		material, err := tx.Material(ctx, studioKey, id, version)
		if errors.Is(err, domain.ErrNotFound) {
			continue
		}
		if err != nil {
			return err
		}
		materials[id] = material
	}
	return nil
}

// treat works one load out on its furnace.
func (s *standing) treat(assessor assess.Site, load domain.Load) {
	stage := assess.StageAssessment{Stage: load.Stage}
	if load.State == domain.LoadUnplaced {
		s.missing = append(s.missing, fmt.Sprintf("stage %s has no firing: the shared one was called off, and what it does elsewhere is not known yet", load.Stage))
		s.assessment.Stages = append(s.assessment.Stages, stage)
		return
	}
	index := slices.IndexFunc(s.assessment.Charge.Recipe.Stages, func(r chem.Stage) bool { return r.ID == load.Stage })
	if index >= 0 && index < len(s.assessment.Charge.Balance.Stages) {
		furnace := ""
		if load.Firing != nil {
			furnace = load.Firing.Furnace
		}
		treatment, err := assessor.Treat(s.assessment.Charge, index, furnace)
		if err != nil {
			s.missing = append(s.missing, fmt.Sprintf("stage %s cannot be worked out again: %v", load.Stage, err))
		} else {
			stage.Treatment = &treatment
			s.assessment.Findings = append(s.assessment.Findings, treatment.Findings...)
			s.assessment.Assumptions = append(s.assessment.Assumptions, treatment.Assumptions...)
			s.byLoad[load.Stage] = append(s.byLoad[load.Stage], treatment.Findings...)
		}
		path := fmt.Sprintf("stages[%d]", index)
		for _, f := range s.assessment.Charge.Findings {
			if f.Field == path || strings.HasPrefix(f.Field, path+".") {
				s.byLoad[load.Stage] = append(s.byLoad[load.Stage], f)
			}
		}
	}
	s.assessment.Stages = append(s.assessment.Stages, stage)
}

// loadField is the path of a load in its run.
func loadField(stage string) string { return "loads[" + stage + "]" }

// breathe holds the run's firings, as they are stored, against all others: what they share, and the air.
func (s *standing) breathe(ctx context.Context, tx *store.Tx, in standingIn) error {
	j := joint{site: in.site, today: in.onDate}
	seen := make([]assess.RoomAir, len(s.run.Loads))
	own := map[int64]bool{}
	var places []int // in the loads, of each planned firing
	for i, load := range s.run.Loads {
		if load.Firing == nil || load.State == domain.LoadUnplaced || in.over != nil && !load.Window.Overlaps(*in.over) {
			continue
		}
		own[load.Firing.Key] = true
		j.planned = append(j.planned, plannedFiring{Firing: *load.Firing, field: loadField(load.Stage), seen: &seen[i]})
		places = append(places, i)
	}
	if len(j.planned) == 0 {
		return nil
	}
	others, err := tx.FiringsOver(ctx, in.site.Studio.Key, store.FiringsQuery{
		Window: reachOf(j.planned, airReach(in.site)), WithReleases: true,
	})
	if err != nil {
		return err
	}
	j.existing = slices.DeleteFunc(others, func(f domain.Firing) bool { return own[f.Key] })
	found, assumptions := j.findings()
	unexplained, err := j.readingsUnexplained(ctx, tx, in.now)
	if err != nil {
		return err
	}
	found = slices.Concat(found, j.interlocks(), j.stopSteps(), unexplained)
	s.assessment.Findings = append(s.assessment.Findings, found...)
	s.assessment.Assumptions = append(s.assessment.Assumptions, assumptions...)
	for _, f := range found {
		for _, load := range s.run.Loads {
			if f.Field == loadField(load.Stage) {
				s.byLoad[load.Stage] = append(s.byLoad[load.Stage], f)
			}
		}
	}
	for at, i := range places {
		if seen[i].Room == "" {
			continue // nothing comes off
		}
		s.assessment.Stages[i].Air = &seen[i]
		s.fail(j, j.planned[at], &seen[i])
	}
	return nil
}

// fail adds what follows when the extraction stops at the worst moment of a firing, with everything else in the room.
func (s *standing) fail(j joint, p plannedFiring, seen *assess.RoomAir) {
	var err error
	if seen.Failure, err = j.failing(p, seen.Room); err == nil {
		j.interlock(p, &seen.Failure).Say()
		s.assessment.Assumptions = append(s.assessment.Assumptions, seen.Failure.Assumptions...)
	} else {
		s.missing = append(s.missing, fmt.Sprintf("what a stopped fan leads to cannot be worked out for stage %s: %v", p.Stage, err))
	}
}
