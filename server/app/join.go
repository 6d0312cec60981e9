package app

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"saggar/chem/assess"
	"saggar/chem/finding"
	"saggar/chem/heat"
	"saggar/server/domain"
	"saggar/server/store"
)

// Codes of the findings about what a load would ask of the firing that it joins.
const (
	codeJoinBench    = "JOIN_BENCH_WORK"
	codeJoinClearing = "JOIN_CLEARING_OWED"
)

// join is a shared firing that loads of a request join.
type join struct {
	stood  domain.Firing  // as it stands, without the runs of the request that leave it
	firing *domain.Firing // with the loads of the request: those point to it
	riders []joiningRider
	// changed says that others joined or left since it was looked at first.
	changed bool
}

// joiningRider is one load that joins, with the path of its window and the air that its stage shows.
type joiningRider struct {
	domain.Rider
	field string
	seen  *assess.RoomAir
}

// joining is the join of a firing by its key; nil when none of the request joins it.
func (p *prepared) joining(key int64) *join {
	for _, j := range p.joins {
		if j.stood.Key == key {
			return j
		}
	}
	return nil
}

// withoutLeaving is a firing as the runs that leave it leave it.
func (p *prepared) withoutLeaving(f domain.Firing) domain.Firing {
	for _, run := range p.leaving[f.Key] {
		f = f.Without(run, domain.LoadCancelled)
	}
	return f
}

// staysAboard reports whether a load that rides in a shared firing is asked to stay there.
func staysAboard(load domain.Load, window domain.StageWindow) bool {
	if load.Ride == nil || load.Firing == nil || !load.Firing.State.Occupies() || load.Stage != window.Stage {
		return false
	}
	if window.JoinFiring != "" {
		return window.JoinFiring == load.Firing.ID
	}
	return !load.Joined && window.Furnace == load.Firing.Furnace && slices.EqualFunc(window.Phases, load.Firing.PhaseWindows(), samePhase)
}

func samePhase(a, b domain.PhaseWindow) bool {
	return a.Kind == b.Kind && a.Window.Start.Equal(b.Window.Start) && a.Window.End.Equal(b.Window.End)
}

// leaves says of the loads of a run that is moved which leave their firings.
func (at runAt) leaves(now time.Time) func(domain.Load) bool {
	return func(load domain.Load) bool {
		stage := slices.IndexFunc(at.standing.Loads, func(l domain.Load) bool { return l.Stage == load.Stage })
		return at.kept(stage, now) == nil
	}
}

// mayLeave refuses that whoever attends a shared firing takes its own run's load out while others ride in it: those need somebody
// who answers for it. together are the runs that leave with it, by the firings' keys.
func mayLeave(run domain.Run, leaves func(domain.Load) bool, together map[int64][]string) error {
	for _, load := range run.Loads {
		f := load.Firing
		if load.Ride == nil || load.Joined || !load.State.Occupies() || !leaves(load) || f.AttendedBy != run.Maker {
			continue
		}
		others := slices.DeleteFunc(f.Others(run.ID), func(r domain.Rider) bool { return slices.Contains(together[f.Key], r.RunID) })
		if len(others) > 0 {
			return wrongState(run, fmt.Sprintf("%s attends firing %s, in which %s of %s rides too", run.Maker, f.ID, others[0].RunID, others[0].Maker),
				fmt.Sprintf("have somebody else attend it first ('saggar firing hand-over %s --to PERSON'), then leave", f.ID))
		}
	}
	return nil
}

// leave notes which firings end with the moves, and which shared ones stand on without the runs that leave them.
func (m *preparedMoves) leave(now time.Time) error {
	left := map[int64]domain.Firing{}
	for i, at := range m.moving {
		leaves := at.leaves(now)
		for _, load := range m.standing[i].Loads {
			if load.Firing == nil || !load.Firing.State.Occupies() || m.movingFiring(load.Firing.Key) || !leaves(load) {
				continue
			}
			key := load.Firing.Key
			left[key] = *load.Firing
			m.leaving[key] = append(m.leaving[key], at.standing.ID)
		}
	}
	if err := m.mayLeave(now); err != nil {
		return err
	}
	for key, firing := range left {
		if !m.withoutLeaving(firing).State.Occupies() {
			m.movedFrom[key] = true
		}
	}
	return nil
}

// mayLeave refuses moves by which a shared firing would stand without anybody who answers for it.
func (m *preparedMoves) mayLeave(now time.Time) error {
	for i, at := range m.moving {
		if err := mayLeave(m.standing[i], at.leaves(now), m.leaving); err != nil {
			return err
		}
	}
	return nil
}

// leftFirings are the firings that the runs of a booking leave, as they leave them, by key.
type leftFirings map[int64]domain.Firing

func (l leftFirings) leave(f domain.Firing, runID string, revision int64) {
	if left, known := l[f.Key]; known {
		f = left
	} else if !f.State.Occupies() {
		return
	}
	f = f.Without(runID, domain.LoadCancelled)
	f.Revision = revision
	l[f.Key] = f
}

func (l leftFirings) into(b *store.Booking) {
	for _, f := range l {
		if f.State.Occupies() {
			b.Firings = append(b.Firings, f)
		} else {
			b.EndedFirings = append(b.EndedFirings, f)
		}
	}
}

// fillJoins reads the firings that a run's windows join, and gives the windows what the firings have. Errors: finding.Faults for
// a firing that does not stand and for windows that say otherwise.
func (p *prepared) fillJoins(ctx context.Context, tx *store.Tx, at *runAt) error {
	var faults finding.Faults
	at.request.Windows = slices.Clone(at.request.Windows)
	for i := range at.request.Windows {
		window, path := &at.request.Windows[i], fmt.Sprintf("%s.stage_windows[%d]", at.field, i)
		if at.standing != nil && i < len(at.standing.Loads) && staysAboard(at.standing.Loads[i], *window) {
			faults.AddUnder(path, fillFrom(window, *at.standing.Loads[i].Firing))
			continue
		}
		if window.JoinFiring == "" {
			continue
		}
		j, err := p.readJoin(ctx, tx, window.JoinFiring)
		if errors.Is(err, domain.ErrNotFound) {
			faults.Add(path+".join_firing", fmt.Sprintf("there is no firing %q", window.JoinFiring),
				"name one that stands, as 'firing list --joinable' shows them")
			continue
		}
		if err != nil {
			return err
		}
		faults.AddUnder(path, fillFrom(window, j.stood))
	}
	return faults.Err()
}

// readJoin is the firing that is joined, read once for all of a request.
func (p *prepared) readJoin(ctx context.Context, tx *store.Tx, id string) (*join, error) {
	for _, j := range p.joins {
		if j.stood.ID == id {
			return j, nil
		}
	}
	stands, err := tx.Firing(ctx, p.site.Studio.Key, id)
	if err != nil {
		return nil, err
	}
	stood := p.withoutLeaving(stands)
	j := &join{stood: stood, firing: &domain.Firing{}}
	*j.firing = stood
	p.joins = append(p.joins, j)
	return j, nil
}

// fillFrom gives a window the furnace, phases and attendant of the firing that it joins; the faults are of what it says otherwise.
func fillFrom(window *domain.StageWindow, f domain.Firing) finding.Faults {
	var faults finding.Faults
	const cure = "leave it out, or give the firing's own"
	if window.Furnace != "" && window.Furnace != f.Furnace {
		faults.Add("furnace", fmt.Sprintf("firing %s is on %s, not on %s", f.ID, f.Furnace, window.Furnace), cure)
	}
	if window.AttendedBy != "" && window.AttendedBy != f.AttendedBy {
		faults.Add("attended_by", fmt.Sprintf("firing %s is attended by %s alone", f.ID, f.AttendedBy), cure)
	}
	phases := f.PhaseWindows()
	if len(window.Phases) > 0 && !slices.EqualFunc(window.Phases, phases, samePhase) {
		faults.Add("phases", fmt.Sprintf("they are not those of firing %s", f.ID), cure)
	}
	window.Furnace, window.AttendedBy, window.Phases = f.Furnace, f.AttendedBy, phases
	return faults
}

// ride lets a stage ride in the shared firing that its window names.
func (b *runBuilder) ride(index int, window domain.StageWindow, run *domain.Run) (domain.Load, error) {
	field := fmt.Sprintf("%s.stage_windows[%d]", b.at.field, index)
	j, err := b.p.joinNamed(window.JoinFiring)
	if err != nil {
		return domain.Load{}, err
	}
	load := domain.Load{Stage: window.Stage, State: domain.LoadConfirmed, Window: window.Window(), Firing: j.firing, Joined: true}
	r := riding{runBuilder: b, index: index, firing: *j.firing, field: field}
	rider, treatment, err := r.workOut(window.LoadLiters)
	if err != nil {
		return load, err
	}
	rider.RunID, rider.RunTitle, rider.Stage = cmp.Or(run.ID, b.at.field), run.Title, window.Stage
	rider.Department, rider.Maker, rider.State, rider.Joined = run.Department, run.Maker, domain.LoadConfirmed, true
	b.p.findings = append(b.p.findings, under(j.firing.Admission(rider, b.now, b.p.site.Zone), field)...)
	b.p.findings = append(b.p.findings, r.found...)
	furnace := b.p.site.Furnaces[window.Furnace]
	run.Inputs.Furnaces[furnace.ID], run.Inputs.Constants[furnace.ID] = furnace, treatment.Constants
	b.phases = append(b.phases, nil)
	assessed := assess.StageAssessment{Stage: window.Stage, Treatment: &treatment, Air: &assess.RoomAir{}}
	b.stages = append(b.stages, assessed)
	load.Ride = &rider.Ride
	j.riders = append(j.riders, joiningRider{rider, field, assessed.Air})
	*j.firing = j.firing.With(rider)
	return load, nil
}

// joinNamed is the join of a firing by its id.
func (p *prepared) joinNamed(id string) (*join, error) {
	for _, j := range p.joins {
		if j.stood.ID == id {
			return j, nil
		}
	}
	return nil, fmt.Errorf("bug: firing %s is joined and was not read", id)
}

// riding works a stage out in a firing of others.
type riding struct {
	*runBuilder
	index  int
	firing domain.Firing
	field  string
	found  []finding.Finding
}

func (r *riding) refuse(code, message, cure string, figures ...finding.Figure) {
	r.found = append(r.found, finding.Finding{
		Severity: finding.Block, Code: code, Field: r.field, About: r.firing.ID, Message: message, Cure: cure, Figures: figures,
	})
}

// workOut is what the stage is to the others, fired by the firing's own program beside all else that may be on board, and how.
func (r *riding) workOut(liters float64) (domain.Rider, assess.Treatment, error) {
	stage := r.charge.Recipe.Stages[r.index]
	if stage.Program == nil {
		r.refuse(codeJoinBench, fmt.Sprintf("stage %s is bench work, which rides in no firing", stage.ID), "book it by itself")
		return domain.Rider{}, assess.Treatment{}, nil
	}
	own, err := r.assessor.Ride(r.charge, r.index, r.scale)
	if err != nil {
		return domain.Rider{}, assess.Treatment{}, err
	}
	rider := domain.Rider{Ride: domain.Ride{Liters: cmp.Or(liters, own.Liters), Grams: own.Grams, Ware: own.Ware, Contents: own.Contents}}
	switch {
	case rider.Liters == 0:
		err = finding.Faults{{
			Field: r.field + ".load_liters", Message: "nothing says how much room the load takes in the firing",
			Cure: "give it in liters, with shelves and vessels",
		}}
	case rider.Liters < own.Liters:
		err = finding.Faults{{
			Field: r.field + ".load_liters", Message: fmt.Sprintf("%.4g l are less than its crucibles hold, %.4g l", liters, own.Liters),
			Cure: "give at least that, with their walls and shelves, or leave it out",
		}}
	}
	if err != nil || r.firing.Offer == nil {
		return rider, assess.Treatment{}, err
	}
	fired := firedAs(r.firing)
	apart := heat.Together(fired, r.assessor.Asked(r.charge, r.index), r.p.site.Furnaces[r.firing.Furnace].ToleranceCelsius)
	r.found = append(r.found, r.placed(under(apart, fmt.Sprintf("stages[%d].", r.index)))...)
	if finding.Blocks(r.found) {
		return rider, assess.Treatment{}, nil
	}
	treatment, err := r.treat(fired, own.Grams)
	if err != nil {
		return rider, treatment, underPath(r.field, err)
	}
	r.found = append(r.found, r.placed(treatment.Findings)...)
	r.p.assumptions = append(r.p.assumptions, treatment.Assumptions...)
	r.p.assumptions = append(r.p.assumptions, sharedAssumption)
	r.outlasts(treatment)
	rider.Releases = mattering(treatment.OfCharge())
	return rider, treatment, nil
}

// sharedAssumption goes with every shared firing.
const sharedAssumption = "in a shared firing every load that joined counts with what its own charge gives off, and what is offered and still " +
	"free as ordinary ware (0.1 % sulfur, 0.5 % carbon, 0.05 % fluorine by mass: common practice, no source)"

// firedAs is how a shared firing is done, as chem/heat asks for it.
func firedAs(f domain.Firing) heat.Treatment {
	t := heat.Treatment{
		Program: f.Offer.Program, Atmosphere: f.Atmosphere, OpenBelowCelsius: f.Offer.OpenBelowCelsius, FireWatch: heat.InRoom,
	}
	for _, p := range f.Phases {
		minutes := p.Window.Minutes()
		switch p.Kind {
		case heat.Charge:
			t.ChargeMinutes = minutes
		case heat.Draw:
			t.DrawMinutes = minutes
		case heat.Wait:
			t.MaxWaitMinutes = minutes
		case heat.Feed:
			t.FeedMinutes = minutes
		case heat.Fire:
			t.FireWatch = laxer(t.FireWatch, p.Watch)
		}
	}
	return t
}

// laxer is the watch that asks less of a person.
func laxer(a, b heat.Watch) heat.Watch {
	for _, watch := range []heat.Watch{heat.WatchNone, heat.InReach, heat.InRoom} {
		if a == watch || b == watch {
			return watch
		}
	}
	return a
}

// treat fires the stage by the firing's program, beside ordinary ware of all that may be on board with it.
func (r *riding) treat(fired heat.Treatment, grams float64) (assess.Treatment, error) {
	recipe := r.recipe
	recipe.Stages = slices.Clone(recipe.Stages)
	stage := &recipe.Stages[r.index]
	stage.Program, stage.OpenBelowCelsius, stage.MaxWaitMinutes = &fired.Program, fired.OpenBelowCelsius, fired.MaxWaitMinutes
	stage.ChargeMinutes, stage.DrawMinutes = fired.ChargeMinutes, fired.DrawMinutes
	charge, err := r.assessor.NewCharge(recipe, r.materials, r.scale)
	if err != nil {
		return assess.Treatment{}, err
	}
	return r.assessor.TreatBeside(charge, r.index, r.firing.Furnace, max(0, r.firing.Offer.ChargeGrams-grams))
}

// outlasts refuses a load that needs more of the firing than it has: longer heat, somebody for longer, or a clearing after it.
func (r *riding) outlasts(t assess.Treatment) {
	if len(t.Phases) == 0 {
		return
	}
	needed, has := lengthsOf(t.Phases), lengthsOf(phasesOf(r.firing))
	if needed.hot > has.hot {
		r.refuse(domain.CodeJoinTooHeavy, fmt.Sprintf("with it the firing takes %d min to be fired and cooled, and it was worked out for %d min",
			needed.hot, has.hot), "make less of it, or take a furnace of its own",
			finding.Figure{Name: "needed", Value: float64(needed.hot), Unit: "min"}, finding.Figure{Name: "has", Value: float64(has.hot), Unit: "min"})
	}
	if needed.watched > has.watched {
		r.refuse(heat.CodeJoinWatch, fmt.Sprintf("what it gives off needs somebody until minute %d of the firing, which is watched until minute %d",
			needed.watched, has.watched), "take a furnace of its own",
			finding.Figure{Name: "needed", Value: float64(needed.watched), Unit: "min"}, finding.Figure{Name: "has", Value: float64(has.watched), Unit: "min"})
	}
	if needed.cleared && !has.cleared {
		r.refuse(codeJoinClearing, "after what it gives off the furnace owes a clearing, and the firing has no time for one",
			"take a furnace of its own")
	}
}

// lengths are what loads of one firing must agree on, in minutes from its start.
type lengths struct {
	hot     int // to fire and to cool
	watched int // until the end of the last fire phase that is watched
	cleared bool
}

func lengthsOf(phases []heat.Phase) lengths {
	var l lengths
	minute, drawn := 0, false
	for _, p := range phases {
		minute += p.Minutes
		switch p.Kind {
		case heat.Fire, heat.Cool, heat.Open:
			if !drawn {
				l.hot += p.Minutes
			}
		case heat.Draw:
			drawn = true
		case heat.Clear:
			l.cleared = true
		}
		if p.Kind == heat.Fire && p.Watch != heat.WatchNone {
			l.watched = minute
		}
	}
	return l
}

// phasesOf are the phases of a booked firing with their lengths.
func phasesOf(f domain.Firing) []heat.Phase {
	var phases []heat.Phase
	for _, p := range f.Phases {
		phases = append(phases, heat.Phase{
			Kind: p.Kind, Minutes: p.Window.Minutes(), MaxMinutes: p.Window.Minutes(), Watch: p.Watch, PeopleCount: p.PeopleCount, Kilowatts: p.Kilowatts,
		})
	}
	return phases
}

// joinedFirings are the firings that the request joins, with its loads, to be held against all others as one each.
func (p *prepared) joinedFirings() []plannedFiring {
	var firings []plannedFiring
	for _, j := range p.joins {
		if len(j.riders) > 0 && j.firing.State.Occupies() {
			firings = append(firings, plannedFiring{Firing: *j.firing, field: j.riders[0].field, seen: j.riders[0].seen, joined: true})
		}
	}
	return firings
}

// shareAir shows the air of the firing with every load that joins it.
func (j *join) shareAir() {
	for i, r := range j.riders {
		if i > 0 {
			*r.seen = *j.riders[0].seen
		}
	}
}

// lookAgainAtJoins holds the loads that join, under the lock, against what rides in the firings by now. Errors: domain.Refusal.
func (p *prepared) lookAgainAtJoins(ctx context.Context, tx *store.Tx, now time.Time, acknowledged []string) error {
	for _, j := range p.joins {
		fresh, err := tx.Firing(ctx, p.site.Studio.Key, j.stood.ID)
		if err != nil {
			return err
		}
		if fresh.Revision == j.stood.Revision {
			continue
		}
		j.changed, j.stood = true, p.withoutLeaving(fresh)
		*j.firing = j.stood
		var found []finding.Finding
		for _, r := range j.riders {
			found = append(found, under(j.firing.Admission(r.Rider, now, p.site.Zone), r.field)...)
			*j.firing = j.firing.With(r.Rider)
		}
		if err := refuse(found, acknowledged); err != nil {
			return err
		}
		p.refresh(j)
	}
	return nil
}

// refresh puts a firing that was read anew where the request's loads and checks have it.
func (p *prepared) refresh(j *join) {
	for _, run := range p.runs {
		for _, load := range run.Loads {
			if load.Joined && load.Firing.Key == j.stood.Key {
				*load.Firing = *j.firing
			}
		}
	}
	for i := range p.joint.planned {
		if p.joint.planned[i].Key == j.stood.Key {
			p.joint.planned[i].Firing = *j.firing
		}
	}
}
