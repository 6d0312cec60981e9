package app

import (
	"context"
	"maps"
	"slices"
	"time"

	"saggar/server/domain"
	"saggar/server/store"
)

// ReportQuery asks how furnaces and stations were used over a window of whole minutes.
type ReportQuery struct {
	StudioID string
	Window   domain.Window
	GroupBy  []domain.ReportDimension
}

// Report is how they were used.
type Report struct {
	Zone        *time.Location
	Rows        []domain.ReportRow
	Total       domain.ReportRow
	Assumptions []string
}

// GetReport adds up what stands booked over a window, and what was missed or called off. Stores nothing.
// Errors: domain.ErrNotFound.
func (a *App) GetReport(ctx context.Context, q ReportQuery) (Report, error) {
	report := Report{Assumptions: []string{
		"what lies in the future counts as it is planned; so does what was not recorded otherwise",
		"energy is what was planned at booking on a furnace that starts cold, spread evenly over the time with the heat on",
		"closures take no hours away",
	}}
	err := a.read(ctx, q.StudioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) error {
		site, err := readSite(ctx, tx, studio)
		if err != nil {
			return err
		}
		in := domain.ReportInput{Window: q.Window, Zone: site.Zone, GroupBy: q.GroupBy, Furnaces: reportFurnaces(site, q.Window)}
		if in.Uses, err = reportUses(ctx, tx, studio.Key, q.Window); err != nil {
			return err
		}
		report.Zone = site.Zone
		report.Rows, report.Total = domain.Report(in)
		return nil
	})
	return report, err
}

func reportFurnaces(site *domain.Site, window domain.Window) []domain.ReportFurnace {
	staffed := map[string][]domain.Window{}
	for id, hours := range site.Hours {
		staffed[id] = hours.Windows(window, site.Zone)
	}
	var furnaces []domain.ReportFurnace
	for _, id := range slices.Sorted(maps.Keys(site.Furnaces)) {
		f := site.Furnaces[id]
		furnaces = append(furnaces, domain.ReportFurnace{
			ID: id, Staffed: staffed[f.Room], PricePerHour: f.PricePerHour,
			PricePerKilowattHour: site.Supplies[f.Supply].PricePerKilowattHour,
		})
	}
	return furnaces
}

// reportUses are all firings and bench work over a window. A firing that was left for another by a move has no run any more
// and does not count, unless it is shared. The energy of a shared one is split by the room that its loads take.
func reportUses(ctx context.Context, tx *store.Tx, studioKey int64, window domain.Window) ([]domain.ReportUse, error) {
	firings, err := tx.FiringsOver(ctx, studioKey, store.FiringsQuery{Window: window, ShowEnded: true})
	if err != nil {
		return nil, err
	}
	keys := make([]int64, 0, len(firings))
	for _, f := range firings {
		keys = append(keys, f.Key)
	}
	energy, err := tx.EnergyOfFirings(ctx, studioKey, keys)
	if err != nil {
		return nil, err
	}
	bench, err := tx.BenchWorkOver(ctx, studioKey, window)
	if err != nil {
		return nil, err
	}
	uses := make([]domain.ReportUse, 0, len(firings)+len(bench))
	for _, f := range firings {
		if f.RunID == "" && f.Offer == nil {
			continue
		}
		use := domain.ReportUse{
			Department: f.Department, Maker: f.Maker, Furnace: f.Furnace, State: f.State, Window: f.Window, Phases: f.Phases, EnergyKilowattHours: -1,
		}
		if known, ok := energy[f.Key]; ok {
			use.EnergyKilowattHours = known
		}
		if f.Offer != nil {
			use.EnergyKilowattHours = f.Offer.EnergyKilowattHours
			use.Department, use.Shares = f.Shares()
		}
		uses = append(uses, use)
	}
	for _, work := range bench {
		job := domain.DayJob{Load: domain.Load{Window: work.Window}}
		uses = append(uses, domain.ReportUse{
			Department: work.Department, Maker: work.Maker, State: work.State, Window: work.Window, Phases: job.Phases(),
		})
	}
	return uses, nil
}
