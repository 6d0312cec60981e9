package app

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"saggar/chem"
	"saggar/chem/assess"
	"saggar/chem/finding"
	"saggar/chem/heat"
	"saggar/server/domain"
	"saggar/server/store"
)

// mostDrawWait is how long a shared firing may stand cold until somebody is there to draw it.
const mostDrawWait = 4 * 24 * time.Hour

// BookFiringInput is a firing that is opened for others, without a run.
type BookFiringInput struct {
	StudioID, Furnace, Title string
	Program                  heat.Program
	Atmosphere               heat.Atmosphere
	OpenBelowCelsius         float64 // 0: as chem/heat has it
	ChargeMinutes            int     // 0: the studio's default
	DrawMinutes              int
	Start                    time.Time
	AttendedBy               string // empty: the caller
	Offer                    OfferInput
	Acknowledged             []string
}

// OfferInput is what is offered for others.
type OfferInput struct {
	Liters, Grams float64
	Until         time.Time // zero: the firing's start
	Departments   []string
}

// FiringResult is a shared firing as it stands, or would, with what was found.
type FiringResult struct {
	Firing      domain.Firing
	Findings    []finding.Finding
	Assumptions []string
	Revision    int64
}

// BookFiring books a firing for others to join. Its phases are worked out with ordinary ware of all the mass that is offered, so
// that whoever joins changes neither its window nor what it draws; it waits cold until somebody can draw it. Until loads have
// joined, all that is offered counts as ordinary ware in the room's air.
// Errors as BookRun. With ValidateOnly the findings are in the result and nothing is refused.
func (a *App) BookFiring(ctx context.Context, call Call, in BookFiringInput) (FiringResult, error) {
	return a.bookFiring(ctx, call, in.StudioID, in.Acknowledged, func(ctx context.Context, tx *store.Tx, p *preparedFiring) error {
		b := firingBuilder{preparedFiring: p, in: in, now: a.now(), assessor: assessSite(p.site, a.now())}
		in.AttendedBy = cmp.Or(in.AttendedBy, call.Caller.ID)
		b.in = in
		if err := b.check(ctx, tx, call); err != nil {
			return err
		}
		if err := b.build(ctx, tx, call.Caller.ID); err != nil {
			return err
		}
		return p.meetOffers(ctx, tx, call, a.now())
	})
}

// preparedFiring is a shared firing that is worked out and not written yet.
type preparedFiring struct {
	*prepared
	firing domain.Firing
	before *domain.Firing // as it stood; nil: it is new
	run    *domain.Run    // whose firing it is, as it shall stand; nil: nobody's
	draws  []domain.LotDraw
}

// prepareFiring works a firing out in the snapshot that the attempt reads.
type prepareFiring func(ctx context.Context, tx *store.Tx, p *preparedFiring) error

// bookFiring works a firing out and writes it, as often as others get in its way.
func (a *App) bookFiring(ctx context.Context, call Call, studioID string, acknowledged []string, prepare prepareFiring) (FiringResult, error) {
	for range bookAttempts {
		result, err := a.bookFiringOnce(ctx, call, studioID, acknowledged, prepare)
		if !errors.Is(err, errChangedBetween) {
			return result, err
		}
	}
	return FiringResult{}, stale("studios/" + studioID)
}

func (a *App) bookFiringOnce(ctx context.Context, call Call, studioID string, acknowledged []string, prepare prepareFiring) (FiringResult, error) {
	p := &preparedFiring{prepared: newPrepared()}
	err := a.read(ctx, studioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) error {
		done, err := a.doneAlready(ctx, tx, call, studio.Key)
		if err != nil || done != nil {
			p.remembered = done
			return err
		}
		if p.site, err = readSite(ctx, tx, studio); err != nil {
			return err
		}
		p.revision = studio.Revision
		return prepare(ctx, tx, p)
	})
	switch {
	case err != nil:
		return FiringResult{}, err
	case p.remembered != nil:
		return a.answerFiringAgain(ctx, call, studioID, *p.remembered)
	case call.ValidateOnly:
		return p.answer(), nil
	}
	if err := refuse(p.findings, acknowledged); err != nil {
		if swept, lost := a.ExpireRuns(ctx); lost == nil && swept > 0 {
			return FiringResult{}, errChangedBetween // what was held for somebody is free now
		}
		return FiringResult{}, err
	}
	if p.firing.Key == 0 {
		_, keys, err := a.store.NextKeys(ctx, 0, 1)
		if err != nil {
			return FiringResult{}, err
		}
		p.firing.Key, p.firing.ID = keys[0], fmt.Sprintf("f%d", keys[0])
	}
	err = a.store.InTx(ctx, func(ctx context.Context, tx *store.Tx) error {
		locked, err := tx.LockForBooking(ctx, store.BookingLock{
			StudioID: studioID, Since: p.site.Studio.Revision, Window: p.lockWindow(), Caller: call.Caller.ID, RequestID: call.RequestID,
		})
		if err != nil {
			return err
		}
		if p.remembered = locked.Remembered; p.remembered != nil {
			return nil
		}
		if err := p.unchanged(ctx, tx); err != nil {
			return err
		}
		if err := p.stillHolds(locked, acknowledged); err != nil {
			return err
		}
		booking := a.firingBooking(call, a.expire(call, locked), p)
		p.revision = booking.Studio.Revision
		return lookAgain(a.book(ctx, tx, booking))
	})
	if err == nil && p.remembered != nil {
		return a.answerFiringAgain(ctx, call, studioID, *p.remembered)
	}
	return p.answer(), err
}

// unchanged looks under the lock whether the firing still stands as it was read.
func (p *preparedFiring) unchanged(ctx context.Context, tx *store.Tx) error {
	if p.before == nil {
		return nil
	}
	now, err := tx.Firing(ctx, p.site.Studio.Key, p.before.ID)
	if err == nil && (now.Revision != p.before.Revision || now.State != p.before.State) {
		return errChangedBetween
	}
	return err
}

// firingBooking writes the firing, and its run where it has one.
func (a *App) firingBooking(call Call, booking store.Booking, p *preparedFiring) store.Booking {
	booking.Studio.Revision++
	p.firing.Revision = booking.Studio.Revision
	var before any
	if p.before != nil {
		before = p.before.Summary()
		booking.Reworked = []int64{p.firing.Key}
	}
	booking.Firings = append(booking.Firings, p.firing)
	booking.Changes = append(booking.Changes, a.logged(call, booking.Studio.Revision, "firings/"+p.firing.ID, before, p.firing.Summary()))
	if p.run != nil {
		run := *p.run
		for i := range run.Loads {
			if f := run.Loads[i].Firing; f != nil && f.Key == p.firing.Key {
				run.Loads[i].Firing = &p.firing
			}
		}
		run.Revision = booking.Studio.Revision
		booking.ChangedRuns = append(booking.ChangedRuns, run)
	}
	if call.RequestID != "" {
		remembered := call.remember([]string{p.firing.ID})
		booking.Remembered = &remembered
	}
	return booking
}

func (p *preparedFiring) answer() FiringResult {
	result := p.result(nil)
	return FiringResult{Firing: p.firing, Findings: result.Findings, Assumptions: result.Assumptions, Revision: p.revision}
}

// answerFiringAgain answers a request id that did its work already with the firing as it now stands.
func (a *App) answerFiringAgain(ctx context.Context, call Call, studioID string, done domain.Remembered) (FiringResult, error) {
	if err := call.repeats(done); err != nil {
		return FiringResult{}, err
	}
	var result FiringResult
	err := a.read(ctx, studioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) (err error) {
		result.Revision = studio.Revision
		result.Firing, err = tx.Firing(ctx, studio.Key, done.Resources[0])
		return err
	})
	return result, err
}

// firingBuilder turns a request into a firing for others.
type firingBuilder struct {
	*preparedFiring
	in       BookFiringInput
	now      time.Time
	assessor assess.Site
}

// check returns what is wrong with the request by itself.
func (b *firingBuilder) check(ctx context.Context, tx *store.Tx, call Call) error {
	var faults finding.Faults
	furnace, stands := b.site.Furnaces[b.in.Furnace]
	switch {
	case !stands:
		faults.Add("furnace", fmt.Sprintf("there is no furnace %q", b.in.Furnace), "list the studio's furnaces for their ids")
	case furnace.Source == heat.Bench:
		faults.Add("furnace", b.in.Furnace+" is a station and is not fired", "name a furnace")
	}
	if !b.in.Start.After(b.now) {
		faults.Add("start_time", b.in.Start.Format(time.RFC3339)+" is past", "choose a later start")
	}
	offered := offerCheck{furnace: furnace, start: b.in.Start, now: b.now}
	faults.AddUnder("offer", offered.faults(b.in.Offer))
	more, err := unknownDepartments(ctx, tx, b.site.Studio.Key, b.in.Offer.Departments)
	if err != nil {
		return err
	}
	faults.AddUnder("offer", more)
	unknown, err := unknownPerson(ctx, tx, b.site.Studio.Key, call, b.in.AttendedBy)
	if err != nil {
		return err
	}
	return append(faults, unknown...).Err()
}

// offerCheck holds an offer against its furnace and its firing's start.
type offerCheck struct {
	furnace    heat.Furnace
	start, now time.Time
	usedLiters float64 // by the run whose firing it is
}

func (c offerCheck) faults(offer OfferInput) finding.Faults {
	var faults finding.Faults
	if !(offer.Liters > 0) {
		faults.Add("liters", "no room is offered", "give the room for others in liters, above 0")
	}
	if !(offer.Grams > 0) {
		faults.Add("grams", "no mass is offered", "give the mass for others in g, above 0")
	}
	if free := c.furnace.ChamberLiters - c.usedLiters; c.furnace.ChamberLiters > 0 && offer.Liters > free {
		faults.Add("liters", fmt.Sprintf("%.4g l are offered, and %.4g l of the chamber of %s are free", offer.Liters, max(free, 0), c.furnace.ID),
			"offer at most that")
	}
	switch {
	case offer.Until.IsZero():
	case offer.Until.After(c.start):
		faults.Add("join_until_time", "it is after the firing begins", "give the start at the latest")
	case !offer.Until.After(c.now):
		faults.Add("join_until_time", "it is past", "give a later time")
	}
	return faults
}

func unknownDepartments(ctx context.Context, tx *store.Tx, studioKey int64, asked []string) (finding.Faults, error) {
	kept, err := tx.ListDepartments(ctx, studioKey, "", 0)
	if err != nil || len(kept) == 0 {
		return nil, err
	}
	var faults finding.Faults
	for i, id := range asked {
		if !slices.ContainsFunc(kept, func(d domain.Department) bool { return d.ID == id }) {
			faults.Add(fmt.Sprintf("departments[%d]", i), fmt.Sprintf("there is no department %q", id), "name those that stand, or none for all")
		}
	}
	return faults, nil
}

// unknownPerson is a fault unless somebody is the caller or of the studio.
func unknownPerson(ctx context.Context, tx *store.Tx, studioKey int64, call Call, id string) (finding.Faults, error) {
	if id == call.Caller.ID {
		return nil, nil
	}
	_, err := tx.Person(ctx, studioKey, id)
	if errors.Is(err, domain.ErrNotFound) {
		return finding.Faults{{
			Field: "attended_by", Message: fmt.Sprintf("there is no person %q in the studio", id), Cure: "name one of its people",
		}}, nil
	}
	return nil, err
}

// wareStage is ordinary ware fired so, as a recipe has it.
func wareStage(program heat.Program, atmosphere heat.Atmosphere, grams float64) chem.Recipe {
	return chem.Recipe{ID: "ware", Version: 1, Stages: []chem.Stage{{
		ID: "ware", Kind: chem.Bisque, Program: &program, Atmosphere: atmosphere, WareGrams: grams,
	}}}
}

func (b *firingBuilder) build(ctx context.Context, tx *store.Tx, openedBy string) error {
	recipe := wareStage(b.in.Program, b.in.Atmosphere, b.in.Offer.Grams)
	stage := &recipe.Stages[0]
	stage.OpenBelowCelsius, stage.MaxWaitMinutes = b.in.OpenBelowCelsius, int(mostDrawWait/time.Minute)
	stage.ChargeMinutes, stage.DrawMinutes = b.in.ChargeMinutes, b.in.DrawMinutes
	charge, err := b.assessor.NewCharge(recipe, chem.Materials{}, chem.Scale{})
	if err != nil {
		return inRequest(err)
	}
	treatment, err := b.assessor.Treat(charge, 0, b.in.Furnace)
	if err != nil {
		return inRequest(err)
	}
	b.findings = append(b.findings, firingPaths(slices.Concat(charge.Findings, treatment.Findings))...)
	b.assumptions = slices.Concat(charge.Balance.Assumptions, treatment.Assumptions, []string{sharedAssumption})
	if len(treatment.Phases) == 0 {
		return nil // why there are none is among the findings
	}
	window := domain.StageWindow{Stage: "ware", Furnace: b.in.Furnace, AttendedBy: b.in.AttendedBy, Phases: b.laidOut(treatment.Phases)}
	check := windowCheck{site: b.site, recipe: recipe, field: "firing", windows: []domain.StageWindow{window}, phases: [][]heat.Phase{treatment.Phases}}
	b.findings = append(b.findings, firingPaths(check.findings())...)
	made := newFiring(&domain.Run{Title: b.in.Title}, recipe.Stages[0], window, treatment)
	made.Stage = ""
	made.Offer = &domain.Offer{
		Liters: b.in.Offer.Liters, Grams: b.in.Offer.Grams, Until: b.in.Offer.Until, Departments: b.in.Offer.Departments, OpenedBy: openedBy,
		Program: b.in.Program, OpenBelowCelsius: b.in.OpenBelowCelsius, ChargeGrams: b.in.Offer.Grams,
		EnergyKilowattHours: suppliedKilowattHours(treatment), Flame: mattering(treatment.Flame), Ware: mattering(treatment.OfCharge()),
	}
	if made.Offer.Until.IsZero() {
		made.Offer.Until = b.in.Start
	}
	b.firing = made.Filled(nil)
	return b.held(ctx, tx, b.now)
}

// held holds the firing against its attendant's trainings and all that is booked.
func (p *preparedFiring) held(ctx context.Context, tx *store.Tx, now time.Time) error {
	kept, err := tx.TrainingSubjects(ctx, p.site.Studio.Key)
	if err != nil {
		return err
	}
	lacking, err := p.lackingTrainings(ctx, tx, kept, p.firing, false)
	if err != nil {
		return err
	}
	p.findings = append(p.findings, under(lacking, "attended_by")...)
	p.joint.planned = []plannedFiring{{Firing: p.firing, field: "start_time", named: true}}
	return p.meetOthers(ctx, tx, now)
}

// laidOut lays phases out from the start, the wait as long as it takes until somebody is there to draw; at least as long as
// needed when nobody is within mostDrawWait.
func (b *firingBuilder) laidOut(phases []heat.Phase) []domain.PhaseWindow {
	var laid []domain.PhaseWindow
	at := b.in.Start
	room := b.site.Furnaces[b.in.Furnace].Room
	for k, phase := range phases {
		end := at.Add(time.Duration(phase.Minutes) * time.Minute)
		if phase.Kind == heat.Wait && k+1 < len(phases) {
			end = b.drawnFrom(room, at, time.Duration(phases[k+1].Minutes)*time.Minute)
		}
		laid = append(laid, domain.PhaseWindow{Kind: phase.Kind, Window: domain.Window{Start: at, End: end}})
		at = end
	}
	return laid
}

// drawnFrom is the first instant from one on at which somebody is in a room for as long as drawing takes.
func (b *firingBuilder) drawnFrom(room string, from time.Time, takes time.Duration) time.Time {
	span := domain.Window{Start: from, End: from.Add(mostDrawWait + takes)}
	for _, open := range staffedWindows(b.site, room, heat.InRoom, span) {
		start := later(open.Start, from)
		if !start.Add(takes).After(open.End) && !start.After(from.Add(mostDrawWait)) {
			return start
		}
	}
	return from
}

// inRequest gives faults of the recipe that a firing for others is worked out by the request's own fields.
func inRequest(err error) error {
	faults := slices.Clone(finding.FaultsOf(err))
	if faults == nil {
		return err
	}
	for i := range faults {
		faults[i].Field = firingPath(faults[i].Field)
	}
	return faults
}

// firingPaths gives findings about that recipe, and about its one window, the request's own fields.
func firingPaths(findings []finding.Finding) []finding.Finding {
	list := slices.Clone(findings)
	for i := range list {
		list[i].Field = firingPath(list[i].Field)
	}
	return list
}

func firingPath(path string) string {
	if strings.HasPrefix(path, "firing.") {
		return "start_time" // of its one window
	}
	path = strings.TrimPrefix(strings.TrimPrefix(path, "recipe."), "stages[0]")
	path = strings.TrimPrefix(path, ".")
	if rest, ok := strings.CutPrefix(path, "program"); ok {
		return "heat_program" + rest
	}
	if path == "ware_grams" {
		return "offer.grams"
	}
	return path
}
