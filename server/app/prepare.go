package app

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"saggar/chem"
	"saggar/chem/air"
	"saggar/chem/assess"
	"saggar/chem/finding"
	"saggar/chem/heat"
	"saggar/server/domain"
	"saggar/server/store"
)

// prepared is everything that can be known of a booking before the studio is locked.
type prepared struct {
	site       *domain.Site
	remembered *domain.Remembered // the request did its work already; nothing else is set
	runs       []domain.Run
	findings   []finding.Finding
	joint      joint
	reach      domain.Window // within which other firings can matter
	meters     []meter       // sums that it may fill
	// movedFrom are keys of firings that end with this booking and so do not count.
	movedFrom map[int64]bool
	// leaving are the ids of runs that leave shared firings which stand on, by the firings' keys; joins are those that are joined.
	leaving     map[int64][]string
	joins       []*join
	revision    int64
	assumptions []string
	assessments []assess.Assessment // of each run
	charges     []runCharge         // of each run
	days        []PersonDay
	taken       []takenOffer
}

func newPrepared() *prepared {
	return &prepared{movedFrom: map[int64]bool{}, leaving: map[int64][]string{}}
}

// prepare reads what the runs ask for in one snapshot and works out everything but the writing.
func (a *App) prepare(ctx context.Context, call Call, in BookRunInput) (*prepared, error) {
	p := newPrepared()
	err := a.read(ctx, in.StudioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) error {
		if done, err := a.doneAlready(ctx, tx, call, studio.Key); err != nil || done != nil {
			p.remembered = done
			return err
		}
		site, err := readSite(ctx, tx, studio)
		if err != nil {
			return err
		}
		p.site, p.revision = site, studio.Revision
		faults, err := p.checkIDs(ctx, tx, call, in.Runs)
		if err != nil {
			return err
		}
		for i, request := range in.Runs {
			err := a.prepareRun(ctx, tx, p, runAt{
				field: fmt.Sprintf("runs[%d]", i), request: request, maker: call.Caller.ID, acknowledged: in.Acknowledged, ownOnly: call.OwnOnly,
			})
			if err != nil && !collect(&faults, err) {
				return err
			}
		}
		if err := faults.Err(); err != nil {
			return err
		}
		if err := errors.Join(p.meetOthers(ctx, tx, a.now()), p.meetOffers(ctx, tx, call, a.now())); err != nil {
			return err
		}
		if err := p.takeEquipment(ctx, tx); err != nil {
			return err
		}
		return p.checkRules(ctx, tx, a.now(), call.Caller, nil)
	})
	return p, err
}

// checkIDs finds ids that stand twice in the request, as faults, and ids that are taken: an error when booking, a finding when
// only checking.
func (p *prepared) checkIDs(ctx context.Context, tx *store.Tx, call Call, requests []RunRequest) (finding.Faults, error) {
	var faults finding.Faults
	seen := map[string]bool{}
	for i, request := range requests {
		field := fmt.Sprintf("runs[%d].name", i)
		if request.ID == "" {
			continue
		}
		if seen[request.ID] {
			faults.Add(field, fmt.Sprintf("run %q stands twice in the request", request.ID), "give each run an id of its own, or none")
		}
		seen[request.ID] = true
		_, err := tx.Run(ctx, p.site.Studio.Key, request.ID)
		switch {
		case errors.Is(err, domain.ErrNotFound):
		case err != nil:
			return nil, err
		case call.ValidateOnly:
			p.findings = append(p.findings, finding.Finding{
				Severity: finding.Block, Code: "RUN_ID_TAKEN", Field: field, About: request.ID,
				Message: fmt.Sprintf("there is a run %s already", request.ID), Cure: "choose another id, or leave it to the server",
			})
		default:
			return nil, &domain.Error{
				Kind: domain.ErrAlreadyExists, Subject: "runs/" + request.ID,
				Message: fmt.Sprintf("there is a run %s already", request.ID), Cure: "choose another id, or leave it to the server",
			}
		}
	}
	return faults, nil
}

// collect adds the faults that an error carries and says whether it carried any.
func collect(faults *finding.Faults, err error) bool {
	carried := finding.FaultsOf(err)
	*faults = append(*faults, carried...)
	return len(carried) > 0
}

func (a *App) doneAlready(ctx context.Context, tx *store.Tx, call Call, studioKey int64) (*domain.Remembered, error) {
	if call.RequestID == "" || call.ValidateOnly {
		return nil, nil
	}
	return tx.Remembered(ctx, studioKey, call.Caller.ID, call.RequestID)
}

// runAt is a run request with the path of its input and who makes it.
type runAt struct {
	field   string
	request RunRequest
	maker   string
	// acknowledged are the codes of warnings that the caller accepts.
	acknowledged []string
	// ownOnly limits the maker to departments of their own.
	ownOnly bool
	// standing is the run as it stands, when it is moved: loads whose window has begun are kept.
	standing *domain.Run
}

// kept is the load of a stage that has begun, or that stays in its shared firing; nil when its window may still be chosen.
func (at runAt) kept(stage int, now time.Time) *domain.Load {
	if at.standing == nil || stage >= len(at.standing.Loads) {
		return nil
	}
	load := &at.standing.Loads[stage]
	if load.Begun(now) || stage < len(at.request.Windows) && staysAboard(*load, at.request.Windows[stage]) {
		return load
	}
	return nil
}

// prepareRun resolves one run and adds it, with the findings that concern it alone.
func (a *App) prepareRun(ctx context.Context, tx *store.Tx, p *prepared, at runAt) error {
	if err := checkDepartment(ctx, tx, p.site.Studio.Key, at); err != nil {
		return err
	}
	assessor := assessSite(p.site, a.now())
	inputs, err := readRun(ctx, tx, p.site.Studio.Key, assessor.Practice, at)
	if err != nil {
		return err
	}
	if err := p.fillJoins(ctx, tx, &at); err != nil {
		return err
	}
	if err := append(at.checkWindows(inputs.recipe, a.now()), at.checkLimits(p.site)...).Err(); err != nil {
		return err
	}
	charge, err := inputs.workOut(assessor)
	if err != nil {
		return err
	}
	builder := runBuilder{p: p, at: at, runCharge: charge, assessor: assessor, now: a.now()}
	if err := checkAttendants(ctx, tx, p.site.Studio.Key, at); err != nil {
		return err
	}
	if err := builder.build(); err != nil {
		return err
	}
	return p.checkTrainings(ctx, tx, at, charge.charge.Recipe.Stages)
}

func materialIDs(recipe chem.Recipe) []string {
	ids := map[string]bool{}
	for _, stage := range recipe.Stages {
		for _, addition := range stage.Additions {
			ids[addition.Material] = true
		}
	}
	return slices.Sorted(maps.Keys(ids))
}

// assessSite is the part of the site that chem/assess needs.
func assessSite(site *domain.Site, now time.Time) assess.Site {
	practice := chem.DefaultPractice()
	practice.AcidMistFraction = site.Studio.AcidMistFraction
	s := assess.Site{
		Rooms: site.Rooms, Circuits: site.CircuitList(), Practice: practice,
		ChargeMinutes: site.Studio.ChargeMinutes, DrawMinutes: site.Studio.DrawMinutes,
		OnDate: now.In(site.Zone).Format(time.DateOnly), OwnLimits: site.Studio.OwnLimits,
		InterlockTestMonths: site.Studio.InterlockTestMonths,
	}
	for _, id := range slices.Sorted(maps.Keys(site.Furnaces)) {
		s.Furnaces = append(s.Furnaces, site.Furnaces[id])
	}
	return s
}

// runBuilder turns one request into a run with its firings.
type runBuilder struct {
	runCharge
	p        *prepared
	at       runAt
	assessor assess.Site
	now      time.Time
	phases   [][]heat.Phase
	stages   []assess.StageAssessment
}

func (b *runBuilder) build() error {
	run := domain.Run{
		ID: b.at.request.ID, Title: cmp.Or(b.at.request.Title, b.charge.Recipe.Title),
		RecipeID: b.charge.Recipe.ID, RecipeVersion: b.charge.Recipe.Version, Scale: b.scale,
		Department: b.at.request.Department, Maker: b.at.maker, StartStage: b.at.request.StartStage, FromLot: b.at.request.FromLot,
		Draws: b.draws, Acknowledged: b.at.acknowledged, Inputs: domain.RunInputs{
			Lots: b.keptLots(), Materials: map[string]int{}, Furnaces: map[string]heat.Furnace{}, Constants: map[string]heat.Constants{},
			EnergyKilowattHours: map[string]float64{}, Limits: b.at.request.Limits,
		},
	}
	if standing := b.at.standing; standing != nil {
		run.Key, run.CreateTime = standing.Key, standing.CreateTime
	}
	for id, m := range b.charge.Materials {
		if m.Version > 0 { // a lot is none of the versions
			run.Inputs.Materials[id] = m.Version
		}
	}
	b.p.findings = append(b.p.findings, b.findings...)
	for i, window := range b.at.request.Windows {
		if kept := b.at.kept(i, b.now); kept != nil {
			b.keep(*kept, &run)
			continue
		}
		load, err := b.load(i, window, &run)
		if err != nil {
			return err
		}
		run.Loads = append(run.Loads, load)
	}
	check := windowCheck{
		site: b.p.site, recipe: b.charge.Recipe, field: b.at.field, windows: b.windows(run), phases: b.phases, kept: b.at.keptCount(b.now),
	}
	b.p.findings = slices.Concat(b.p.findings, check.findings(), check.ownLimits(run.Inputs.Limits, run.Maker))
	b.p.assumptions = append(b.p.assumptions, b.charge.Balance.Assumptions...)
	b.p.runs = append(b.p.runs, run)
	b.p.assessments = append(b.p.assessments, assess.Assessment{Charge: b.charge, Stages: b.stages})
	b.p.charges = append(b.p.charges, b.runCharge)
	return nil
}

// keep takes over a load that has begun, with the figures that it was booked with.
func (b *runBuilder) keep(load domain.Load, run *domain.Run) {
	if load.Firing != nil {
		id := load.Firing.Furnace
		run.Inputs.Furnaces[id], run.Inputs.Constants[id] = b.at.standing.Inputs.Furnaces[id], b.at.standing.Inputs.Constants[id]
		if energy, known := b.at.standing.Inputs.EnergyKilowattHours[load.Stage]; known {
			run.Inputs.EnergyKilowattHours[load.Stage] = energy
		}
	}
	run.Loads = append(run.Loads, load)
	b.phases = append(b.phases, nil)
	b.stages = append(b.stages, assess.StageAssessment{Stage: load.Stage, Air: &assess.RoomAir{}})
}

// windows are those asked for, with those of loads that are kept as they stand.
func (b *runBuilder) windows(run domain.Run) []domain.StageWindow {
	windows := slices.Clone(b.at.request.Windows)
	for i := range windows {
		if b.at.kept(i, b.now) != nil {
			windows[i] = run.Loads[i].StageWindow()
		}
	}
	return windows
}

// load treats one stage on the furnace that its window names.
func (b *runBuilder) load(index int, window domain.StageWindow, run *domain.Run) (domain.Load, error) {
	field := fmt.Sprintf("%s.stage_windows[%d]", b.at.field, index)
	load := domain.Load{Stage: window.Stage, State: domain.LoadConfirmed, Window: window.Window()}
	stage := b.charge.Recipe.Stages[index]
	candidates := b.assessor.Candidates(stage)
	if !slices.Contains(candidates, window.Furnace) {
		return load, finding.Faults{{
			Field: field + ".furnace", Message: fmt.Sprintf("stage %s cannot be done in %q", stage.ID, window.Furnace),
			Cure: "choose one of: " + strings.Join(candidates, ", "),
		}}
	}
	if window.JoinFiring != "" {
		return b.ride(index, window, run)
	}
	treatment, err := b.assessor.Treat(b.charge, index, window.Furnace)
	if err != nil {
		return load, underPath(field, err)
	}
	b.p.findings = append(b.p.findings, b.placed(treatment.Findings)...)
	b.p.assumptions = append(b.p.assumptions, treatment.Assumptions...)
	b.phases = append(b.phases, treatment.Phases)
	assessed := assess.StageAssessment{Stage: stage.ID, Treatment: &treatment, Air: &assess.RoomAir{}}
	b.stages = append(b.stages, assessed)
	if window.Furnace == "" {
		return load, nil
	}
	furnace := b.p.site.Furnaces[window.Furnace]
	run.Inputs.Furnaces[furnace.ID], run.Inputs.Constants[furnace.ID] = furnace, treatment.Constants
	run.Inputs.EnergyKilowattHours[stage.ID] = suppliedKilowattHours(treatment)
	load.Firing = newFiring(run, stage, window, treatment)
	b.p.joint.planned = append(b.p.joint.planned, plannedFiring{
		Firing: *load.Firing, field: field, seen: assessed.Air, named: load.Firing.AttendedBy != b.at.maker,
	})
	return load, nil
}

// newFiring is the firing that carries one load, with what each phase takes and what comes off.
func newFiring(run *domain.Run, stage chem.Stage, window domain.StageWindow, t assess.Treatment) *domain.Firing {
	f := &domain.Firing{
		Furnace: window.Furnace, Title: cmp.Or(run.Title, run.RecipeID), RunID: run.ID, Stage: stage.ID,
		Department: run.Department, Maker: run.Maker, AttendedBy: cmp.Or(window.AttendedBy, run.Maker), State: domain.LoadConfirmed,
		Window:     window.Window(),
		TopCelsius: t.PeakCelsius(), Atmosphere: stage.Atmosphere, Releases: mattering(t.Cautious),
	}
	for k, phase := range window.Phases {
		firingPhase := domain.FiringPhase{Kind: phase.Kind, Window: phase.Window}
		if k < len(t.Phases) {
			firingPhase.Watch, firingPhase.PeopleCount = t.Phases[k].Watch, t.Phases[k].PeopleCount
			firingPhase.Kilowatts = t.Phases[k].Kilowatts
		}
		f.Phases = append(f.Phases, firingPhase)
	}
	return f
}

// mattering leaves out releases of nothing, and of steam, which has no limit and harms nobody in the room.
func mattering(releases []air.Release) []air.Release {
	return slices.DeleteFunc(slices.Clone(releases), func(r air.Release) bool {
		return r.GramsPerMinute <= 0 || r.EndMinute <= r.StartMinute || r.Species == "H2O"
	})
}

// meetOthers reads the other firings that can matter and holds the planned ones against them.
func (p *prepared) meetOthers(ctx context.Context, tx *store.Tx, now time.Time) error {
	p.joint.planned = append(p.joint.planned, p.joinedFirings()...)
	mattering := slices.Concat(p.joint.planned, p.joint.overran)
	p.reach = reachOf(mattering, airReach(p.site))
	p.joint.site = p.site
	p.joint.today = now.In(p.site.Zone).Format(time.DateOnly)
	p.findings = append(p.findings, lotFindings(p.charges)...)
	if len(mattering) == 0 {
		return nil
	}
	others, err := tx.FiringsOver(ctx, p.site.Studio.Key, store.FiringsQuery{Window: p.reach, WithReleases: true})
	if err != nil {
		return err
	}
	for _, other := range others {
		if !p.movedFrom[other.Key] && p.joining(other.Key) == nil {
			p.joint.existing = append(p.joint.existing, p.withoutLeaving(other))
		}
	}
	for _, o := range p.joint.overran {
		p.joint.existing = append(p.joint.existing, o.Firing)
	}
	found, assumptions := p.joint.findings()
	for _, j := range p.joins {
		j.shareAir()
	}
	ofDays, days, ofDay := p.joint.withoutClashes().days()
	p.days = days
	p.findings = slices.Concat(p.findings, found, p.joint.interlocks(), notSaid(ofDays, found))
	p.assumptions = slices.Concat(p.assumptions, assumptions, ofDay)
	unexplained, err := p.joint.readingsUnexplained(ctx, tx, now)
	p.findings = append(p.findings, unexplained...)
	return err
}

// reachOf is the stretch of time within which other firings can matter to the planned ones.
func reachOf(planned []plannedFiring, around time.Duration) domain.Window {
	var reach domain.Window
	for i, p := range planned {
		if i == 0 || p.Window.Start.Before(reach.Start) {
			reach.Start = p.Window.Start
		}
		if i == 0 || p.Window.End.After(reach.End) {
			reach.End = p.Window.End
		}
	}
	return domain.Window{Start: reach.Start.Add(-around), End: reach.End.Add(around)}
}

// stillHolds looks again, under the lock, at what came in since the snapshot.
func (p *prepared) stillHolds(locked store.LockedStudio, acknowledged []string) error {
	if locked.Studio.EquipmentRevision > p.site.Studio.Revision {
		return errChangedBetween
	}
	var added []domain.Firing
	for _, m := range p.meters {
		if !m.holds(locked.NewFirings) {
			return errChangedBetween
		}
	}
	for _, f := range locked.NewFirings {
		if !p.movedFrom[f.Key] && p.joining(f.Key) == nil && (len(p.meters) == 0 || f.Window.Overlaps(p.reach)) {
			added = append(added, p.withoutLeaving(f))
		}
	}
	now := p.joint
	now.existing = replaced(p.joint.existing, added)
	if slices.ContainsFunc(p.joins, func(j *join) bool { return j.changed }) {
		found, _ := now.findings()
		ofDays, _, _ := now.withoutClashes().days()
		return refuse(append(found, notSaid(ofDays, found)...), acknowledged)
	}
	if len(added) == 0 {
		return nil
	}
	rest := now.withoutClashes()
	found := slices.Concat(now.furnaces(), rest.supplies(), rest.crews(), rest.inTwoPlaces())
	risk := rest.risk(added)
	switch {
	case risk.over:
		air, _ := rest.air()
		found = append(found, air...)
	case risk.near:
		found = append(found, slices.Concat(rest.nearOwn(), rest.nearAdded(added))...)
	}
	if rest.dayRisk(added, p.days, risk) {
		ofDays, _, _ := rest.days()
		found = append(found, notSaid(ofDays, found)...)
	}
	return refuse(found, acknowledged)
}

// replaced are the firings with those that came in since, each as it stands last.
func replaced(firings, added []domain.Firing) []domain.Firing {
	kept := slices.DeleteFunc(slices.Clone(firings), func(f domain.Firing) bool {
		return slices.ContainsFunc(added, func(a domain.Firing) bool { return a.Key == f.Key })
	})
	return append(kept, added...)
}

// result is the answer with the runs as they stand after the booking.
func (p *prepared) result(runs []domain.Run) BookRunResult {
	sorted := slices.Clone(p.findings)
	finding.SortWorstFirst(sorted)
	var assumptions []string
	for _, a := range p.assumptions {
		if !slices.Contains(assumptions, a) {
			assumptions = append(assumptions, a)
		}
	}
	for _, assessment := range p.assessments {
		for i, stage := range assessment.Stages {
			if stage.Air.Room == "" {
				assessment.Stages[i].Air = nil // nothing comes off
			}
		}
	}
	return BookRunResult{
		Runs: runs, Findings: sorted, Revision: p.revision, Assumptions: assumptions, Assessments: p.assessments, Days: p.days,
	}
}

// under puts findings on a part of the input under the path of the whole.
func under(findings []finding.Finding, path string) []finding.Finding {
	placed := slices.Clone(findings)
	for i := range placed {
		placed[i].Field = strings.TrimSuffix(path+placed[i].Field, ".")
	}
	return placed
}
