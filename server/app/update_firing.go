package app

import (
	"context"
	"fmt"
	"slices"
	"time"

	"saggar/chem"
	"saggar/chem/air"
	"saggar/chem/assess"
	"saggar/chem/finding"
	"saggar/chem/heat"
	"saggar/server/domain"
	"saggar/server/store"
)

// Codes of the findings about what is offered.
const codeOfferTooHeavy = "OFFER_TOO_HEAVY"

// UpdateFiringInput says what of a firing shall be otherwise.
type UpdateFiringInput struct {
	StudioID, FiringID string
	ExpectRevision     int64 // the etag; 0: any
	// SetOffer puts Offer in the place of what is offered; nil: nothing any more.
	SetOffer bool
	Offer    *OfferInput
	// AttendedBy is who answers for it from now on; empty: whoever does.
	AttendedBy   string
	Acknowledged []string
}

// UpdateFiring shares the firing of a run with others, takes the offer back while nobody has joined, changes what is offered, or has
// somebody else attend it. A firing keeps its window, and is charged and drawn when it was to be: no more mass can be offered than is
// fired and cold by then, which may take from the time that it waits cold. What others will bring may need somebody to watch the fire
// for longer, which is held against the staffed hours like a booking.
// Errors as BookRun; domain.ErrForbidden for who is neither the run's maker, nor attends it, nor is a technician; domain.ErrWrongState
// when it has begun, waits for a clearance or carries no run of its own, and for taking back what others have joined.
func (a *App) UpdateFiring(ctx context.Context, call Call, in UpdateFiringInput) (FiringResult, error) {
	return a.bookFiring(ctx, call, in.StudioID, in.Acknowledged, func(ctx context.Context, tx *store.Tx, p *preparedFiring) error {
		stands, err := tx.Firing(ctx, p.site.Studio.Key, in.FiringID)
		if err != nil {
			return err
		}
		u := firingUpdate{preparedFiring: p, in: in, now: a.now(), assessor: assessSite(p.site, a.now())}
		if err := u.read(ctx, tx, call, stands); err != nil {
			return err
		}
		if in.AttendedBy != "" {
			unknown, err := unknownPerson(ctx, tx, p.site.Studio.Key, call, in.AttendedBy)
			if err != nil || len(unknown) > 0 {
				return underPathOr(err, "firing", unknown)
			}
			p.firing.AttendedBy = in.AttendedBy
		}
		if in.SetOffer {
			if err := u.offer(ctx, tx); err != nil {
				return err
			}
		}
		p.movedFrom[stands.Key] = true // it stands in its own place
		if err := p.held(ctx, tx, a.now()); err != nil {
			return err
		}
		p.findings = inFiring(p.findings)
		return nil
	})
}

// underPathOr returns an error, or else faults under a path.
func underPathOr(err error, path string, faults finding.Faults) error {
	if err != nil {
		return err
	}
	return underPath(path, faults.Err())
}

// inFiring puts findings that name no field of the request under the firing.
func inFiring(findings []finding.Finding) []finding.Finding {
	list := slices.Clone(findings)
	for i := range list {
		if list[i].Field == "start_time" {
			list[i].Field = ""
		}
		list[i].Field = "firing" + dotted(list[i].Field)
	}
	return list
}

func dotted(path string) string {
	if path == "" {
		return ""
	}
	return "." + path
}

// firingUpdate is a change to a firing that is worked out.
type firingUpdate struct {
	*preparedFiring
	in       UpdateFiringInput
	now      time.Time
	assessor assess.Site
	stage    int // index of the run's load in it
}

// read reads the firing and its run, and says whether the caller may change it.
func (u *firingUpdate) read(ctx context.Context, tx *store.Tx, call Call, stands domain.Firing) error {
	u.before, u.firing = &stands, stands
	u.firing.Phases = slices.Clone(stands.Phases)
	switch {
	case !call.mayTouch(stands.Maker) && !call.mayTouch(stands.AttendedBy):
		return &domain.Error{
			Kind: domain.ErrForbidden, Subject: "firings/" + stands.ID, Message: "this firing is somebody else's",
			Cure: "ask its maker, whoever attends it, or a technician",
		}
	case u.in.ExpectRevision != 0 && u.in.ExpectRevision != stands.Revision:
		return stale("firings/" + stands.ID)
	case stands.State != domain.LoadConfirmed:
		return wrongFiring(stands, fmt.Sprintf("it is %s", stands.State), "only one that is CONFIRMED and to come is shared or handed over")
	case !stands.Window.Start.After(u.now):
		return wrongFiring(stands, "it has begun", "it stays as it is until it is drawn")
	}
	if stands.RunID == "" {
		return nil
	}
	run, err := tx.Run(ctx, u.site.Studio.Key, stands.RunID)
	if err != nil {
		return err
	}
	u.run, u.draws = &run, run.Draws
	u.stage = slices.IndexFunc(run.Loads, func(l domain.Load) bool { return l.Firing != nil && l.Firing.Key == stands.Key })
	return nil
}

// offer puts what is offered in the place of what was.
func (u *firingUpdate) offer(ctx context.Context, tx *store.Tx) error {
	joined := slices.ContainsFunc(u.firing.Riders, func(r domain.Rider) bool { return r.Joined })
	switch {
	case u.in.Offer == nil && u.firing.Offer == nil:
		return nil
	case u.in.Offer == nil && joined:
		return wrongFiring(u.firing, "others have joined it", "ask them to leave, or leave it to them: cancel or move your run")
	case u.in.Offer == nil && u.run == nil:
		return wrongFiring(u.firing, "it was opened for others", "cancel the firing")
	case u.in.Offer == nil:
		u.takeBack()
		return nil
	case u.run == nil:
		return u.reoffer(ctx, tx)
	case u.firing.Offer != nil && joined:
		return wrongFiring(u.firing, "others have joined it, and what is offered holds for them", "share another firing as well")
	default:
		return u.share(ctx, tx)
	}
}

// takeBack makes the firing its run's own again. What comes off is what its load gives off; it stays watched as it was.
func (u *firingUpdate) takeBack() {
	load := &u.run.Loads[u.stage]
	u.firing.Releases = slices.Concat(u.firing.Offer.Flame, load.Ride.Releases)
	u.firing.Offer, u.firing.Riders, load.Ride = nil, nil, nil
}

// reoffer changes until when and by whom a firing that was opened for others can be joined; room and mass stay.
func (u *firingUpdate) reoffer(ctx context.Context, tx *store.Tx) error {
	offer := *u.firing.Offer
	if u.in.Offer.Liters != offer.Liters || u.in.Offer.Grams != offer.Grams {
		return wrongFiring(u.firing, "it was worked out for what is offered", "give the room and mass as they stand, or open another firing")
	}
	return u.setTerms(ctx, tx, &offer, 0)
}

// setTerms checks what is asked and writes it into an offer.
func (u *firingUpdate) setTerms(ctx context.Context, tx *store.Tx, offer *domain.Offer, usedLiters float64) error {
	asked := *u.in.Offer
	check := offerCheck{furnace: u.site.Furnaces[u.firing.Furnace], start: u.firing.Window.Start, now: u.now, usedLiters: usedLiters}
	faults := check.faults(asked)
	unknown, err := unknownDepartments(ctx, tx, u.site.Studio.Key, asked.Departments)
	if err != nil {
		return err
	}
	if faults = append(faults, unknown...); len(faults) > 0 {
		return underPath("firing.offer", faults.Err())
	}
	offer.Liters, offer.Grams, offer.Departments, offer.Until = asked.Liters, asked.Grams, asked.Departments, asked.Until
	if offer.Until.IsZero() {
		offer.Until = u.firing.Window.Start
	}
	u.firing.Offer = offer
	return nil
}

// share works the run's stage out with what is offered on board, and offers it as far as the firing's window holds it.
func (u *firingUpdate) share(ctx context.Context, tx *store.Tx) error {
	charge, err := u.charge(ctx, tx)
	if err != nil {
		return err
	}
	stage := charge.charge.Recipe.Stages[u.stage]
	own, err := u.assessor.Ride(charge.charge, u.stage, charge.scale)
	if err != nil {
		return err
	}
	offer := domain.Offer{Program: *stage.Program, OpenBelowCelsius: stage.OpenBelowCelsius, ChargeGrams: own.Grams + u.in.Offer.Grams}
	if err := u.setTerms(ctx, tx, &offer, own.Liters); err != nil {
		return err
	}
	if asked := u.assessor.Asked(charge.charge, u.stage); asked.FeedMinutes > 0 || asked.ChargeAtCelsius > heat.ColdChargeCelsius {
		u.refuse(heat.CodeJoinHot, "it is charged or fed while the furnace is hot, which opens it over what others have in it", "fire it alone")
		return nil
	}
	s := sharing{firingUpdate: u, charge: charge.charge}
	treatment, fits, err := s.with(u.in.Offer.Grams)
	if err != nil {
		return underPath("firing", err)
	}
	u.findings = append(u.findings, inRequestOf(treatment.Findings)...)
	if !fits {
		return s.tooHeavy()
	}
	ware, err := s.ware(own.Grams)
	if err != nil {
		return err
	}
	offer.EnergyKilowattHours = suppliedKilowattHours(treatment)
	offer.Flame, offer.Ware = mattering(treatment.Flame), mattering(ware.OfCharge())
	u.firing.Offer = &offer
	u.firing.Phases = watchedUntil(relaid(u.firing.Phases, treatment.Phases), max(lengthsOf(treatment.Phases).watched, lengthsOf(ware.Phases).watched))
	u.staffed(charge.recipe)
	u.board(own, mattering(treatment.OfCharge()))
	u.assumptions = slices.Concat(treatment.Assumptions, []string{sharedAssumption})
	return nil
}

// board puts the run's own load among those that ride.
func (u *firingUpdate) board(own assess.Ride, releases []air.Release) {
	load := &u.run.Loads[u.stage]
	liters := own.Liters
	if chamber := u.site.Furnaces[u.firing.Furnace].ChamberLiters; liters == 0 && chamber > 0 {
		liters = chamber - u.in.Offer.Liters // whoever offers the rest says so
	}
	load.Ride = &domain.Ride{Liters: liters, Grams: own.Grams, Ware: own.Ware, Contents: own.Contents, Releases: releases}
	u.firing = u.firing.Filled([]domain.Rider{{
		Ride: *load.Ride, RunID: u.run.ID, RunTitle: u.run.Title, Stage: load.Stage, Department: u.run.Department, Maker: u.run.Maker, State: load.State,
	}})
}

// charge works the run's charge out as it was booked.
func (u *firingUpdate) charge(ctx context.Context, tx *store.Tx) (runCharge, error) {
	in := standingIn{site: u.site, now: u.now, onDate: u.assessor.OnDate}
	u.assessor = in.assessor(*u.run)
	inputs, err := readRun(ctx, tx, u.site.Studio.Key, u.assessor.Practice, runAt{field: "firing", request: requestOf(*u.run), standing: u.run})
	if err != nil {
		return runCharge{}, err
	}
	if err := asBooked(ctx, tx, u.site.Studio.Key, *u.run, inputs.materials); err != nil {
		return runCharge{}, err
	}
	return inputs.workOut(u.assessor)
}

func (u *firingUpdate) refuse(code, message, cure string, figures ...finding.Figure) {
	u.findings = append(u.findings, finding.Finding{
		Severity: finding.Block, Code: code, Field: "offer", About: u.firing.ID, Message: message, Cure: cure, Figures: figures,
	})
}

// inRequestOf puts findings about the stage's treatment under what is offered.
func inRequestOf(findings []finding.Finding) []finding.Finding {
	list := slices.Clone(findings)
	for i := range list {
		list[i].Field = "offer"
	}
	return list
}

// staffed holds the phases against the staffed hours, since what others bring may need somebody for longer.
func (u *firingUpdate) staffed(recipe chem.Recipe) {
	window := domain.StageWindow{Stage: u.firing.Stage, Furnace: u.firing.Furnace, Phases: u.firing.PhaseWindows()}
	check := windowCheck{
		site: u.site, recipe: recipe, field: "firing", windows: []domain.StageWindow{window}, phases: [][]heat.Phase{phasesOf(u.firing)},
	}
	for _, f := range check.staffed(0) {
		f.Field = "offer"
		u.findings = append(u.findings, f)
	}
}

// sharing looks for what a firing can take on board besides its run's own charge.
type sharing struct {
	*firingUpdate
	charge assess.Charge
}

// with treats the stage beside so much ordinary ware, and says whether it is fired and cold when it is to be drawn.
func (s sharing) with(grams float64) (assess.Treatment, bool, error) {
	t, err := s.assessor.TreatBeside(s.charge, s.stage, s.firing.Furnace, grams)
	if err != nil || finding.Blocks(t.Findings) {
		return t, false, err
	}
	return t, relaid(s.before.Phases, t.Phases) != nil, nil
}

// relaid lays what a firing needs out between its charge and its draw as booked; what is left is its wait. Nil when that is not long
// enough, or what follows the draw is not the same.
func relaid(booked []domain.FiringPhase, needed []heat.Phase) []domain.FiringPhase {
	isDraw := func(kind heat.PhaseKind) bool { return kind == heat.Draw }
	drawn := slices.IndexFunc(booked, func(p domain.FiringPhase) bool { return isDraw(p.Kind) })
	draws := slices.IndexFunc(needed, func(p heat.Phase) bool { return isDraw(p.Kind) })
	if drawn < 0 || draws < 0 || len(booked)-drawn != len(needed)-draws {
		return nil
	}
	for i := range booked[drawn:] {
		if b, n := booked[drawn+i], needed[draws+i]; b.Kind != n.Kind || b.Window.Minutes() != n.Minutes {
			return nil
		}
	}
	var laid []domain.FiringPhase
	at := booked[0].Window.Start
	for _, n := range needed[:draws] {
		end := at.Add(time.Duration(n.Minutes) * time.Minute)
		if n.Kind == heat.Wait {
			end = later(end, booked[drawn].Window.Start)
		}
		laid = append(laid, domain.FiringPhase{
			Kind: n.Kind, Window: domain.Window{Start: at, End: end}, Watch: n.Watch, PeopleCount: n.PeopleCount, Kilowatts: n.Kilowatts,
		})
		at = end
	}
	if !at.Equal(booked[drawn].Window.Start) {
		return nil
	}
	return append(laid, booked[drawn:]...)
}

// ware is ordinary ware of all that is offered in the same firing.
func (s sharing) ware(besideGrams float64) (assess.Treatment, error) {
	stage := s.charge.Recipe.Stages[s.stage]
	recipe := wareStage(*stage.Program, stage.Atmosphere, s.in.Offer.Grams)
	recipe.Stages[0].OpenBelowCelsius, recipe.Stages[0].ChargeMinutes, recipe.Stages[0].DrawMinutes =
		stage.OpenBelowCelsius, stage.ChargeMinutes, stage.DrawMinutes
	charge, err := s.assessor.NewCharge(recipe, chem.Materials{}, chem.Scale{})
	if err != nil {
		return assess.Treatment{}, err
	}
	return s.assessor.TreatBeside(charge, 0, s.firing.Furnace, besideGrams)
}

// tooHeavy refuses more than leaves the firing as long as it is, and says how much does, in whole grams.
func (s sharing) tooHeavy() error {
	low, high := 0, int(s.in.Offer.Grams)+1
	for high-low > 1 {
		middle := (low + high) / 2
		_, fits, err := s.with(float64(middle))
		if err != nil {
			return err
		}
		if fits {
			low = middle
		} else {
			high = middle
		}
	}
	cure := fmt.Sprintf("offer at most %d g", low)
	if low == 0 {
		cure = "book a firing that is open for others instead, which is as long as all of it needs"
	}
	s.refuse(codeOfferTooHeavy, fmt.Sprintf("with %.6g g more on board the firing is not cold when it is to be drawn, or its furnace does not take it; with %d g it is",
		s.in.Offer.Grams, low), cure,
		finding.Figure{Name: "offered", Value: s.in.Offer.Grams, Unit: "g"}, finding.Figure{Name: "most", Value: float64(low), Unit: "g"})
	return nil
}

// watchedUntil has somebody in reach of the fire until a minute from the firing's start, and leaves the phases as long as they are.
func watchedUntil(phases []domain.FiringPhase, minute int) []domain.FiringPhase {
	if len(phases) == 0 {
		return phases
	}
	until := phases[0].Window.Start.Add(time.Duration(minute) * time.Minute)
	var list []domain.FiringPhase
	for _, p := range phases {
		last := len(list) - 1
		if p.Kind != heat.Fire || p.Watch != heat.WatchNone || !p.Window.Start.Before(until) {
			list = append(list, p)
			continue
		}
		watched, rest := p, p
		watched.Watch, watched.PeopleCount = heat.InReach, 1
		if until.Before(p.Window.End) {
			watched.Window.End, rest.Window.Start = until, until
		} else {
			rest.Window.Start = rest.Window.End
		}
		if last >= 0 && list[last].Kind == heat.Fire && list[last].Watch == heat.InReach {
			list[last].Window.End = watched.Window.End
		} else {
			list = append(list, watched)
		}
		if rest.Window.Start.Before(rest.Window.End) {
			list = append(list, rest)
		}
	}
	return list
}
