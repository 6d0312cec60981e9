package app

import (
	"context"
	"fmt"
	"slices"

	"saggar/chem/finding"
	"saggar/server/domain"
)

// LotMass asks for a change of a lot's mass.
type LotMass struct {
	StudioID, LotID string
	Grams           float64
	Reason          string
	ExpectRevision  int64 // the etag; 0: any
}

// TakeLot takes some of a lot: with a run and stage for that load, which then reserves of it no longer, whatever was taken.
// Errors: finding.Faults, domain.ErrNotFound, domain.ErrChangedMeanwhile, domain.ErrForbidden; domain.ErrWrongState when less
// is free.
func (a *App) TakeLot(ctx context.Context, call Call, in LotMass, runID, stage string) (SeenLot, error) {
	return a.moveLot(ctx, call, in, func(ctx context.Context, c *lotChange, lot *domain.Lot) (domain.LotMove, error) {
		move := domain.LotMove{Kind: domain.LotTaken, MassChange: -domain.MicrogramsOf(in.Grams), RunID: runID}
		if err := c.mayTake(ctx, *lot); err != nil {
			return move, err
		}
		if runID != "" {
			settled, err := c.settle(ctx, *lot, move, stage)
			if err != nil {
				return move, err
			}
			move.ReservedChange = -settled
		}
		if free := lot.Free() - move.ReservedChange; free+move.MassChange < 0 {
			return move, lotHolds(*lot, fmt.Sprintf("%.6g g of lot %s are free: %.6g g are there, of which runs have reserved %.6g g",
				free.Grams(), lot.ID, lot.OnHand.Grams(), (lot.Reserved+move.ReservedChange).Grams()),
				"take less, or cancel a run that reserved it")
		}
		return move, nil
	})
}

// settle marks what a load has reserved of a lot as taken, and returns how much that was.
func (c *lotChange) settle(ctx context.Context, lot domain.Lot, move domain.LotMove, stage string) (domain.Micrograms, error) {
	run, err := c.tx.Run(ctx, c.studio.Key, move.RunID)
	if err != nil {
		return 0, err
	}
	i := slices.IndexFunc(run.Draws, func(d domain.LotDraw) bool {
		return d.Lot == lot.ID && d.Stage == stage && d.State == domain.DrawReserved
	})
	if i < 0 {
		return 0, lotHolds(lot, fmt.Sprintf("run %s reserves nothing of lot %s for stage %q", run.ID, lot.ID, stage),
			"name a load that does, as 'run show' lists them, or none")
	}
	if err := mayChange(c.call, run, 0); err != nil {
		return 0, err
	}
	settled := run.Draws[i].Mass
	run.Draws[i].Mass, run.Draws[i].State = -move.MassChange, domain.DrawTaken
	run.Revision = c.studio.Revision
	return settled, c.tx.SetRunDraws(ctx, c.studio.Key, run)
}

// ReturnLot puts some back into a lot. Errors: as TakeLot, but for what is free.
func (a *App) ReturnLot(ctx context.Context, call Call, in LotMass) (SeenLot, error) {
	return a.moveLot(ctx, call, in, func(ctx context.Context, c *lotChange, lot *domain.Lot) (domain.LotMove, error) {
		move := domain.LotMove{Kind: domain.LotReturned, MassChange: domain.MicrogramsOf(in.Grams)}
		if lot.OnHand+move.MassChange > mostLotMass {
			return move, finding.Faults{{
				Field: "mass_grams", Message: fmt.Sprintf("the lot would weigh more than %g g", mostLotMass.Grams()), Cure: "give what really came back",
			}}
		}
		if err := c.mayTake(ctx, *lot); err != nil {
			return move, err
		}
		out, err := c.tx.LotTaken(ctx, c.studio.Key, lot.ID)
		if err != nil || move.MassChange <= out {
			return move, err
		}
		return move, finding.Faults{{
			Field: "mass_grams", Message: fmt.Sprintf("%.6g g are more than the %.6g g that were taken of lot %s and have not come back", in.Grams, out.Grams(), lot.ID),
			Cure: "give what really came back, or note with 'lot weigh' what is there",
		}}
	})
}

// mostLotMass is the contract's bound on a mass.
const mostLotMass domain.Micrograms = 1e13

// Weighing is what a lot was found to be.
type Weighing struct {
	MoistureFraction *float64 // nil: as it was
	DriedOn          string   // ISO date from which its age counts; empty: as it was
}

// WeighLot notes what is at hand after weighing. Errors: as TakeLot; domain.ErrWrongState when runs have reserved more.
func (a *App) WeighLot(ctx context.Context, call Call, in LotMass, found Weighing) (SeenLot, error) {
	return a.moveLot(ctx, call, in, func(ctx context.Context, c *lotChange, lot *domain.Lot) (domain.LotMove, error) {
		mass := domain.MicrogramsOf(in.Grams)
		move := domain.LotMove{Kind: domain.LotWeighed, MassChange: mass - lot.OnHand}
		if err := c.mayDescribe(ctx, *lot); err != nil {
			return move, err
		}
		if mass < lot.Reserved {
			return move, lotHolds(*lot, fmt.Sprintf("runs have reserved %.6g g of lot %s, more than %.6g g", lot.Reserved.Grams(), lot.ID, in.Grams),
				"cancel or scale down a run that reserved it, then weigh it again")
		}
		if found == (Weighing{}) {
			return move, nil
		}
		today, err := a.today(c.studio)
		if err != nil {
			return move, err
		}
		if found.DriedOn > today {
			return move, finding.Faults{{Field: "dried_on", Message: found.DriedOn + " has not come yet", Cure: "give today or a day before"}}
		}
		if found.DriedOn != "" {
			lot.MadeOn = found.DriedOn
		}
		if found.MoistureFraction != nil {
			lot.MoistureFraction = found.MoistureFraction
		}
		if err := lot.Check().Err(); err != nil {
			return move, err
		}
		lot.Revision = c.studio.Revision
		return move, c.tx.DescribeLot(ctx, c.studio.Key, *lot)
	})
}

// moveLot changes a lot's mass as decide says, which may describe the lot anew, with the entries of its history and of the trace.
func (a *App) moveLot(ctx context.Context, call Call, in LotMass,
	decide func(ctx context.Context, c *lotChange, lot *domain.Lot) (domain.LotMove, error),
) (SeenLot, error) {
	return a.changeLot(ctx, call, in.StudioID, func(ctx context.Context, c *lotChange) (string, error) {
		lot, err := c.present(ctx, in.LotID, in.ExpectRevision)
		if err != nil {
			return "", err
		}
		before := lot
		move, err := decide(ctx, c, &lot)
		if err != nil {
			return "", err
		}
		move.LotID, move.Revision, move.Reason = lot.ID, c.studio.Revision, in.Reason
		after := logLot(lot)
		after.OnHandGrams, after.ReservedGrams = (lot.OnHand + move.MassChange).Grams(), (lot.Reserved + move.ReservedChange).Grams()
		after.For, after.Reason = move.RunID, in.Reason
		if after.Holders, err = c.holders(ctx, before, lot); err != nil {
			return "", err
		}
		entry, err := c.log(ctx, lot.ID, logLot(before), after)
		if err != nil {
			return "", err
		}
		return lot.ID, c.tx.MoveLots(ctx, c.studio.Key, entry, move)
	})
}

func lotHolds(lot domain.Lot, message, cure string) error {
	return &domain.Error{Kind: domain.ErrWrongState, Subject: "lots/" + lot.ID, Message: message, Cure: cure}
}
