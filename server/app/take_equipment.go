package app

import (
	"context"
	"slices"

	"saggar/chem/finding"
	"saggar/server/domain"
	"saggar/server/store"
)

// takeEquipment gives the runs the vessels and the gear that their stages need, beside what other runs have of them, and finds
// what is wrong with that. Errors: finding.Faults for a vessel that does not stand.
func (p *prepared) takeEquipment(ctx context.Context, tx *store.Tx) error {
	if err := p.takeVessels(ctx, tx); err != nil {
		return err
	}
	return p.takeGear(ctx, tx)
}

// stillFree looks under the lock whether what the runs take is still free. Errors: errChangedBetween when somebody else took it.
func (p *prepared) stillFree(ctx context.Context, tx *store.Tx) error {
	vessels, gear := p.holdsOf(domain.KindVessel), p.holdsOf(domain.KindGear)
	if len(vessels) > 0 {
		others, err := p.othersHold(ctx, tx, domain.KindVessel, idsHeld(vessels))
		if err != nil {
			return err
		}
		desk := vesselDesk{site: p.site, holds: slices.Concat(others, vessels)}
		for _, h := range vessels {
			if desk.stock(p.site.Vessels[h.ID], h.RunKey, h.Window, h.Leaves).free() < h.Count {
				return errChangedBetween
			}
		}
	}
	if len(gear) > 0 {
		others, err := p.othersHold(ctx, tx, domain.KindGear, idsHeld(gear))
		if err != nil {
			return err
		}
		desk := gearDesk{site: p.site, holds: slices.Concat(others, gear)}
		for _, h := range gear {
			if !desk.still(h) {
				return errChangedBetween
			}
		}
	}
	return nil
}

// othersHold are the holds of runs that are not being booked or moved.
func (p *prepared) othersHold(ctx context.Context, tx *store.Tx, kind domain.EquipmentKind, ids []string) ([]domain.BookedHold, error) {
	holds, err := tx.Holds(ctx, p.site.Studio.Key, store.HoldsQuery{Kind: kind, IDs: ids})
	return slices.DeleteFunc(holds, func(h domain.BookedHold) bool {
		return slices.ContainsFunc(p.runs, func(r domain.Run) bool { return r.Key == h.RunKey })
	}), err
}

// holdsOf is what the prepared runs take of a kind, as if it were booked, each run under a key of its own.
func (p *prepared) holdsOf(kind domain.EquipmentKind) []domain.BookedHold {
	var holds []domain.BookedHold
	for i, run := range p.runs {
		for _, h := range run.StandingHolds() {
			if h.Kind == kind {
				holds = append(holds, domain.BookedHold{Hold: h, RunKey: ownKey(i), RunID: run.ID, Department: run.Department})
			}
		}
	}
	return holds
}

// ownKey stands for a run that is not booked, by its place in the request; no stored run has such a key.
func ownKey(run int) int64 { return -1 - int64(run) }

func idsHeld(holds []domain.BookedHold) []string {
	var ids []string
	for _, h := range holds {
		ids = append(ids, h.ID)
	}
	slices.Sort(ids)
	return slices.Compact(ids)
}

// windowOf is where and when a stage of a prepared run is done.
func (p *prepared) windowOf(run, stage int) domain.StageWindow {
	return p.runs[run].Loads[stage].StageWindow()
}

// begun reports a stage that has begun and stays as it is, so that it was not worked out again.
func (p *prepared) begun(run, stage int) bool {
	return p.assessments[run].Stages[stage].Treatment == nil
}

// keepHolds takes over what stages that have begun have already.
func (p *prepared) keepHolds(kind domain.EquipmentKind) {
	for run, charge := range p.charges {
		for stage, load := range p.runs[run].Loads {
			if !p.begun(run, stage) {
				continue
			}
			for _, h := range charge.at.standing.Inputs.Holds {
				if h.Kind == kind && h.Stage == load.Stage {
					p.runs[run].Inputs.Holds = append(p.runs[run].Inputs.Holds, h)
				}
			}
		}
	}
}

// firstBlock is the message of the first finding that refuses; empty when none does.
func firstBlock(findings []finding.Finding) string {
	for _, f := range findings {
		if f.Severity == finding.Block {
			return f.Message
		}
	}
	return ""
}
