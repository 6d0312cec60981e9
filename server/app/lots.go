package app

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"saggar/chem"
	"saggar/chem/finding"
	"saggar/server/domain"
	"saggar/server/store"
)

// GetLot returns one. Errors: domain.ErrNotFound.
func (a *App) GetLot(ctx context.Context, studioID, id string) (found SeenLot, err error) {
	err = a.read(ctx, studioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) error {
		lot, err := tx.Lot(ctx, studio.Key, id)
		if err != nil {
			return err
		}
		found, err = a.seeLot(studio, lot)
		return err
	})
	return found, err
}

// SeenLot is a lot with its age on the day it was looked at.
type SeenLot struct {
	domain.Lot
	AgeDays int
}

// seeLot says how old a lot is today in the studio.
func (a *App) seeLot(studio domain.Studio, lot domain.Lot) (SeenLot, error) {
	today, err := a.today(studio)
	if err != nil {
		return SeenLot{}, err
	}
	age, err := lot.AgeDays(today)
	if err != nil { // the clock stands before the day on which it was made
		age = 0
	}
	return SeenLot{lot, age}, nil
}

// today is the date in the studio.
func (a *App) today(studio domain.Studio) (string, error) {
	zone, err := domain.LoadZone(studio.TimeZone)
	if err != nil {
		return "", err
	}
	return a.now().In(zone).Format(time.DateOnly), nil
}

// LotsQuery asks for a page of lots.
type LotsQuery struct {
	Department, Material, FromRun string // ids; empty: any
	LowStock, ShowEmpty           bool
	Page                          Page
}

// ListLots lists lots by id.
func (a *App) ListLots(ctx context.Context, studioID string, q LotsQuery) (list []SeenLot, err error) {
	err = a.read(ctx, studioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) error {
		lots, err := tx.ListLots(ctx, studio.Key, store.LotsQuery{
			Department: q.Department, Material: q.Material, FromRun: q.FromRun, LowStock: q.LowStock, ShowEmpty: q.ShowEmpty,
			After: q.Page.After, Limit: q.Page.Limit,
		})
		for _, lot := range lots {
			seen, seeErr := a.seeLot(studio, lot)
			err = cmp.Or(err, seeErr)
			list = append(list, seen)
		}
		return err
	})
	return list, err
}

// LotEntriesQuery asks for a page of lots' histories.
type LotEntriesQuery struct {
	Lot                       string // id; empty: of all
	BeforeRevision, BeforeKey int64  // of the last entry of the page before; 0: from the newest
	Limit                     int
}

// ListLotEntries lists what happened to a lot or to all, newest first.
func (a *App) ListLotEntries(ctx context.Context, studioID string, q LotEntriesQuery) (list []domain.LotEntry, err error) {
	err = a.read(ctx, studioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) (err error) {
		list, err = tx.ListLotEntries(ctx, studio.Key, store.LotEntriesQuery(q))
		return err
	})
	return list, err
}

// lotChange is one change to a lot under the studio's lock, at the studio's next revision.
type lotChange struct {
	app    *App
	call   Call
	tx     *store.Tx
	studio domain.Studio // with the new revision
}

// changeLot runs do, which returns the id of the lot that it changed, and answers with the lot as it then stands. A request
// that is repeated does nothing.
func (a *App) changeLot(ctx context.Context, call Call, studioID string, do func(ctx context.Context, c *lotChange) (string, error)) (SeenLot, error) {
	var changed SeenLot
	see := func(ctx context.Context, tx *store.Tx, studio domain.Studio, id string) error {
		lot, err := tx.Lot(ctx, studio.Key, id)
		if err != nil {
			return err
		}
		changed, err = a.seeLot(studio, lot)
		return err
	}
	err := a.change(ctx, scope{call: call, studioID: studioID}, func(ctx context.Context, tx *store.Tx, studio domain.Studio) ([]string, error) {
		studio.Revision++
		c := &lotChange{app: a, call: call, tx: tx, studio: studio}
		id, err := do(ctx, c)
		if err != nil {
			return nil, err
		}
		if err := tx.UpdateStudio(ctx, c.studio); err != nil {
			return nil, err
		}
		return []string{id}, see(ctx, tx, c.studio, id)
	}, func(ctx context.Context, tx *store.Tx, studio domain.Studio, resources []string) error {
		return see(ctx, tx, studio, resources[0])
	})
	return changed, err
}

// loggedLot is a lot as the log keeps it.
type loggedLot struct {
	domain.Lot
	OnHandGrams   float64 `json:"on_hand_grams"`
	ReservedGrams float64 `json:"reserved_grams"`
	For           string  `json:"for,omitempty"` // run
	Reason        string  `json:"reason,omitempty"`
	// Holders are the runs that rest on what was said of it and is said no longer.
	Holders []domain.LotHolder `json:"holders,omitempty"`
}

func logLot(lot domain.Lot) loggedLot {
	lot.MassGrams = 0
	return loggedLot{Lot: lot, OnHandGrams: lot.OnHand.Grams(), ReservedGrams: lot.Reserved.Grams()}
}

// log appends the entry for a change of a lot to the trace and returns it.
func (c *lotChange) log(ctx context.Context, id string, before, after any) (domain.Change, error) {
	entry := c.app.logged(c.call, c.studio.Revision, "lots/"+id, before, after)
	return entry, c.tx.AppendChange(ctx, &c.studio, entry)
}

// CreateLot puts a lot down. One that a load made, and that gives no analysis, is what the stage's balance says stays.
// Errors: finding.Faults, also for a material, department, run or stage that does not stand; domain.ErrAlreadyExists;
// domain.ErrForbidden for a department that the caller does not book for; domain.ErrWrongState for a load that is not fired yet.
func (a *App) CreateLot(ctx context.Context, call Call, studioID string, lot domain.Lot) (SeenLot, error) {
	var faults finding.Faults
	mass := domain.MicrogramsOf(lot.MassGrams)
	if mass <= 0 {
		faults.Add("mass_grams", "nothing of the lot is at hand", "weigh it and give grams")
		return SeenLot{}, faults
	}
	return a.changeLot(ctx, call, studioID, func(ctx context.Context, c *lotChange) (string, error) {
		if err := c.complete(ctx, &lot); err != nil {
			return "", err
		}
		if err := c.checkLot(ctx, lot); err != nil {
			return "", err
		}
		lot.Revision, lot.CreateTime, lot.OnHand = c.studio.Revision, a.now(), mass
		entry, err := c.log(ctx, lot.ID, nil, logLot(lot))
		if err != nil {
			return "", err
		}
		if err := c.tx.InsertLot(ctx, c.studio.Key, lot); err != nil {
			return "", err
		}
		return lot.ID, c.tx.MoveLots(ctx, c.studio.Key, entry, domain.LotMove{
			LotID: lot.ID, Kind: domain.LotCreated, MassChange: mass, Revision: c.studio.Revision, RunID: lot.FromRun,
		})
	})
}

// complete fills in what is left open of a new lot: id, owner, day, and what a load that made it gives.
func (c *lotChange) complete(ctx context.Context, lot *domain.Lot) error {
	today, err := c.app.today(c.studio)
	if err != nil {
		return err
	}
	if lot.ID == "" {
		base := cmp.Or(lot.Material, lot.FromRun, "lot")
		number := fmt.Sprintf("-%d", c.studio.Revision)
		lot.ID = base[:min(len(base), mostIDBytes-len(number))] + number
	}
	lot.MadeOn, lot.Owner = cmp.Or(lot.MadeOn, today), cmp.Or(lot.Owner, c.call.Caller.ID)
	if lot.MadeOn > today {
		return finding.Faults{{Field: "made_on", Message: lot.MadeOn + " has not come yet", Cure: "give today or a day before"}}
	}
	if (lot.FromRun == "") != (lot.FromStage == "") {
		return finding.Faults{{
			Field: "from_run", Message: "a run is given without its stage, or a stage without its run", Cure: "give both, or neither for a delivery",
		}}
	}
	if lot.FromRun == "" {
		return nil
	}
	run, err := c.tx.Run(ctx, c.studio.Key, lot.FromRun)
	if errors.Is(err, domain.ErrNotFound) {
		return finding.Faults{{Field: "from_run", Message: fmt.Sprintf("there is no run %q", lot.FromRun), Cure: "name one that stands"}}
	}
	if err != nil {
		return err
	}
	lot.Department = cmp.Or(lot.Department, run.Department)
	if err := c.app.firedAlready(run, lot.FromStage); err != nil {
		return err
	}
	if err := c.checkMade(ctx, run, *lot); err != nil {
		return err
	}
	if lot.Material != "" || len(lot.Phases) > 0 || len(lot.Oxides) > 0 {
		return nil
	}
	return c.calculated(ctx, run, lot)
}

const mostIDBytes = 63

// weighedOver is how much more than was reckoned with may lie on a balance (common practice, no source).
const weighedOver = 0.02

// checkMade refuses more of a load than it can have made: what stays by the balance, or all that went in where less left than
// was reckoned with. What was put down of it before counts too.
func (c *lotChange) checkMade(ctx context.Context, run domain.Run, lot domain.Lot) error {
	balance, err := c.balanceOf(ctx, run)
	if err != nil {
		if len(finding.FaultsOf(err)) > 0 {
			return nil // it cannot be worked out any more, and nothing is known against it
		}
		return err
	}
	stage := slices.IndexFunc(balance.Stages, func(s chem.StageBalance) bool { return s.Stage == lot.FromStage })
	if stage < 0 {
		return nil
	}
	before, err := c.tx.LotsMade(ctx, c.studio.Key, lot.FromRun, lot.FromStage)
	if err != nil {
		return err
	}
	ideal, in := balance.Stages[stage].MassOutGrams, balance.Stages[stage].MassInGrams
	most := max(ideal, in) * (1 + weighedOver)
	if before.Grams()+lot.MassGrams <= most {
		return nil
	}
	return finding.Faults{{
		Field: "mass_grams", Message: fmt.Sprintf("%.6g g are more than stage %s of run %s can have made: %.6g g go in, %.6g g stay by its balance, and %.6g g were put down before",
			lot.MassGrams, lot.FromStage, run.ID, in, ideal, before.Grams()),
		Cure: fmt.Sprintf("weigh it without its vessel: at most %.6g g are left of it, 2 %% above what went in", max(most-before.Grams(), 0)),
	}}
}

// firedAlready refuses a stage that the run has not, or that cannot have left anything yet.
func (a *App) firedAlready(run domain.Run, stage string) error {
	i := slices.IndexFunc(run.Loads, func(l domain.Load) bool { return l.Stage == stage })
	switch {
	case i < 0:
		return finding.Faults{{
			Field: "from_stage", Message: fmt.Sprintf("run %s has no stage %q", run.ID, stage), Cure: "name one of its stages, as 'run show' lists them",
		}}
	case !run.Loads[i].State.Occupies():
		return wrongState(run, fmt.Sprintf("stage %s was called off", stage), "name a stage that was done")
	case run.Loads[i].Window.Start.After(a.now()):
		return wrongState(run, fmt.Sprintf("stage %s begins at %s", stage, run.Loads[i].Window.Start.Format(time.RFC3339)),
			"weigh what it made when it is done")
	}
	return nil
}

// calculated describes a lot by what the balance of the run that made it leaves after the stage.
func (c *lotChange) calculated(ctx context.Context, run domain.Run, lot *domain.Lot) error {
	balance, err := c.balanceOf(ctx, run)
	if err != nil {
		return err
	}
	made, err := balance.Intermediate(lot.FromStage, lot.ID, lot.MadeOn)
	if err != nil {
		return err
	}
	lot.Phases, lot.Hazards = made.Phases, append(slices.Clone(made.Hazards), lot.Hazards...)
	if lot.MoistureFraction == nil {
		lot.MoistureFraction = made.MoistureFraction
	}
	return nil
}

// balanceOf works out a run's balance anew from what it was checked with.
func (c *lotChange) balanceOf(ctx context.Context, run domain.Run) (chem.BalanceResult, error) {
	recipe, err := c.tx.Recipe(ctx, c.studio.Key, run.RecipeID, run.RecipeVersion)
	if err != nil {
		return chem.BalanceResult{}, err
	}
	materials, err := c.tx.MaterialVersions(ctx, c.studio.Key, run.Inputs.Materials)
	if err != nil {
		return chem.BalanceResult{}, err
	}
	practice := assessSite(&domain.Site{Studio: c.studio.WithDefaults(), Zone: time.UTC}, c.app.now()).Practice
	all := chem.Materials(materials)
	if run.FromLot != "" {
		started, err := practice.StartFrom(recipe, all, chem.Start{Stage: run.StartStage, Lot: run.Inputs.Lots[run.FromLot]})
		if err != nil {
			return chem.BalanceResult{}, err
		}
		recipe, all = started.Recipe, started.Materials
	}
	var draws []chem.Draw
	for _, d := range drawRequests(run) {
		draws = append(draws, chem.Draw{Stage: d.Stage, Material: d.Material, Lot: run.Inputs.Lots[d.Lot]})
	}
	if recipe, all, err = recipe.DrawnFrom(all, draws); err != nil {
		return chem.BalanceResult{}, err
	}
	factor, err := practice.ScaleFactor(recipe, all, run.Scale)
	if err != nil {
		return chem.BalanceResult{}, err
	}
	return practice.Balance(recipe, all, factor)
}

// checkLot returns what is wrong with a lot as it shall be, by itself and with what it names.
func (c *lotChange) checkLot(ctx context.Context, lot domain.Lot) error {
	faults := lot.Check()
	if lot.Material != "" && len(faults) == 0 {
		materials, err := withParts(ctx, c.tx, c.studio.Key, []string{lot.Material})
		if err != nil {
			return err
		}
		if _, err := lot.Holding(leastHeld).Described(materials); err != nil {
			faults = append(faults, asFaults(err)...)
		}
	}
	if err := faults.Err(); err != nil {
		return err
	}
	if lot.Department == "" {
		return nil
	}
	return checkDepartment(ctx, c.tx, c.studio.Key, runAt{
		request: RunRequest{Department: lot.Department}, maker: c.call.Caller.ID, ownOnly: c.call.OwnOnly,
	})
}

// UpdateLot changes what is said of a lot; its mass, what made it and its material stay. Errors: finding.Faults,
// domain.ErrNotFound, domain.ErrChangedMeanwhile, domain.ErrForbidden.
func (a *App) UpdateLot(ctx context.Context, call Call, studioID string, lot domain.Lot, expectRevision int64) (SeenLot, error) {
	return a.changeLot(ctx, call, studioID, func(ctx context.Context, c *lotChange) (string, error) {
		present, err := c.present(ctx, lot.ID, expectRevision)
		if err != nil {
			return "", err
		}
		if err := c.mayDescribe(ctx, present); err != nil {
			return "", err
		}
		lot.Material, lot.FromRun, lot.FromStage = present.Material, present.FromRun, present.FromStage
		lot.OnHand, lot.Reserved = present.OnHand, present.Reserved
		if err := c.checkLot(ctx, lot); err != nil {
			return "", err
		}
		if present.Reserved > 0 && !lot.MadeOfTheSame(present) {
			return "", &domain.Error{
				Kind: domain.ErrWrongState, Subject: "lots/" + lot.ID,
				Message: fmt.Sprintf("runs have reserved %.6g g of lot %s, checked with what it was said to be made of", present.Reserved.Grams(), lot.ID),
				Cure:    "put what it is down as a new lot, and move or call off those runs",
			}
		}
		lot.Revision = c.studio.Revision
		after := logLot(lot)
		if after.Holders, err = c.holders(ctx, present, lot); err != nil {
			return "", err
		}
		if _, err := c.log(ctx, lot.ID, logLot(present), after); err != nil {
			return "", err
		}
		return lot.ID, c.tx.DescribeLot(ctx, c.studio.Key, lot)
	})
}

// holders are the runs that were checked with another moisture of a lot than it is said to have now.
func (c *lotChange) holders(ctx context.Context, before, after domain.Lot) ([]domain.LotHolder, error) {
	if before.Reserved == 0 || sameMoisture(before.MoistureFraction, after.MoistureFraction) {
		return nil, nil
	}
	return c.tx.RunsReserving(ctx, c.studio.Key, before.ID)
}

func sameMoisture(a, b *float64) bool {
	return a == nil && b == nil || a != nil && b != nil && *a == *b
}

// present reads a lot and holds its etag against the one that the caller saw; 0: any.
func (c *lotChange) present(ctx context.Context, id string, expectRevision int64) (domain.Lot, error) {
	lot, err := c.tx.Lot(ctx, c.studio.Key, id)
	_, err = Expectation{Revision: expectRevision}.met("lots/"+id, lot.Revision, err)
	return lot, err
}

// departmentsOf are those that the caller is limited to; none: all of them.
func (c *lotChange) departmentsOf(ctx context.Context) ([]string, error) {
	if !c.call.OwnOnly {
		return nil, nil
	}
	person, err := c.tx.Person(ctx, c.studio.Key, c.call.Caller.ID)
	if errors.Is(err, domain.ErrNotFound) {
		return nil, nil
	}
	return person.Departments, err
}

// mayDescribe refuses makers of other departments to change what is said of a lot.
func (c *lotChange) mayDescribe(ctx context.Context, lot domain.Lot) error {
	departments, err := c.departmentsOf(ctx)
	if err != nil || len(departments) == 0 || lot.Owner == c.call.Caller.ID || lot.Department == "" ||
		slices.Contains(departments, lot.Department) {
		return err
	}
	return lotOfOthers(lot, "ask them, or a technician, to change it")
}

// mayTake refuses makers of other departments to take of a lot that is not shared.
func (c *lotChange) mayTake(ctx context.Context, lot domain.Lot) error {
	departments, err := c.departmentsOf(ctx)
	if err != nil || len(departments) == 0 || lot.Owner == c.call.Caller.ID || slices.ContainsFunc(departments, lot.OpenTo) {
		return err
	}
	return lotOfOthers(lot, "ask them to share it, or a technician to take it")
}

func lotOfOthers(lot domain.Lot, cure string) error {
	return &domain.Error{
		Kind: domain.ErrForbidden, Subject: "lots/" + lot.ID, Message: fmt.Sprintf("lot %s is %s's", lot.ID, lot.Department), Cure: cure,
	}
}
