package app

import (
	"context"
	"fmt"
	"slices"
	"time"

	"saggar/chem/air"
	"saggar/chem/finding"
	"saggar/server/domain"
	"saggar/server/store"
)

// mostLikelyRuns bounds how many runs are worked out anew for the likely case of one reading.
const mostLikelyRuns = 30

// forecastReading adds to a reading what is forecast for its moment, and what follows.
func (a *App) forecastReading(ctx context.Context, tx *store.Tx, studio domain.Studio, r *domain.Reading) error {
	site, err := readSite(ctx, tx, studio)
	if err != nil {
		return err
	}
	if err := readingPlace(site, *r).Err(); err != nil {
		return err
	}
	reach := airReach(site)
	firings, err := tx.FiringsOver(ctx, studio.Key, store.FiringsQuery{
		Window: domain.Window{Start: r.ReadTime.Add(-reach), End: r.ReadTime.Add(time.Minute)}, WithReleases: true,
	})
	if err != nil {
		return err
	}
	if r.CautiousPPM, err = forecastAt(site, firings, *r); err != nil {
		return err
	}
	date := r.ReadTime.In(site.Zone).Format(time.DateOnly)
	in := standingIn{site: site, now: a.now(), onDate: date}
	likely, known, err := in.likely(ctx, tx, firings)
	if err != nil {
		return err
	}
	r.Assumptions = []string{
		"the forecast is that of what was booked when it was noted, as if all went by the clock: what ran early or late does so here too",
		fmt.Sprintf("firings of the %.0f h before count", reach.Hours()),
		"one reading is a moment at one place: it shows no mean, and no limit to be kept",
	}
	if !known {
		r.Assumptions = append(r.Assumptions, "the likely case cannot be worked out again for all that is in the air")
	} else if ppm, err := forecastAt(site, likely, *r); err == nil {
		r.LikelyPPM = &ppm
	}
	check := air.Reading{
		Place: r.Place(), Species: r.Species, PPM: r.PPM, UncertaintyFraction: r.UncertaintyFraction, UncertaintyPPM: r.UncertaintyPPM,
		ForecastPPM: r.CautiousPPM, Own: site.Studio.OwnLimits,
	}
	if r.Findings, err = check.Findings(); err != nil {
		return err
	}
	r.Unexplained = slices.ContainsFunc(r.Findings, func(f finding.Finding) bool { return f.Code == air.CodeReadingAboveForecast })
	r.Findings = append(r.Findings, r.Calibration(date)...)
	finding.SortWorstFirst(r.Findings)
	return nil
}

// readingPlace finds a room that does not stand, and a furnace that does not stand in it.
func readingPlace(site *domain.Site, r domain.Reading) finding.Faults {
	var faults finding.Faults
	if _, stands := site.Rooms[r.Room]; !stands {
		faults.Add("room", fmt.Sprintf("there is no room %q in the studio", r.Room), "name one that stands")
	} else if f, stands := site.Furnaces[r.Furnace]; r.Furnace != "" && (!stands || f.Room != r.Room) {
		faults.Add("furnace", fmt.Sprintf("no furnace %q stands in %s", r.Furnace, r.Room), "name one that does, or none for the room")
	}
	return faults
}

// forecastAt is what firings bring a place to at a reading's moment, in ppm.
func forecastAt(site *domain.Site, firings []domain.Firing, r domain.Reading) (float64, error) {
	j := joint{site: site}
	near, count := -1, 0
	for _, f := range firings {
		if len(f.Releases) == 0 || site.Furnaces[f.Furnace].Room != r.Room {
			continue
		}
		if f.Furnace == r.Furnace && near < 0 && f.Window.Contains(domain.Window{Start: r.ReadTime, End: r.ReadTime}) {
			near = count
		}
		count++
	}
	sources := j.sources(firings, r.Room, r.ReadTime)
	if j.transfers() {
		carried, err := j.carried(firings, r.ReadTime)
		if err != nil {
			return 0, err
		}
		sources = append(sources, carried[r.Room]...)
	}
	return air.Forecast(j.roomZone(site.Rooms[r.Room], r.ReadTime), sources, near, r.Species)
}

// likely are firings with what comes off in the likely case instead; false when some of them cannot be worked out again.
func (in standingIn) likely(ctx context.Context, tx *store.Tx, firings []domain.Firing) ([]domain.Firing, bool, error) {
	likely := map[string]map[string][]air.Release{} // by run and stage
	with := slices.Clone(firings)
	for i, f := range with {
		if len(f.Releases) == 0 {
			continue
		}
		if f.RunID == "" || likely[f.RunID] == nil && len(likely) == mostLikelyRuns {
			return nil, false, nil
		}
		if likely[f.RunID] == nil {
			stages, err := in.likelyOf(ctx, tx, f.RunID)
			if err != nil {
				return nil, false, err
			}
			likely[f.RunID] = stages
		}
		releases, known := likely[f.RunID][f.Stage]
		if !known {
			return nil, false, nil
		}
		with[i].Releases = releases
	}
	return with, true, nil
}

// likelyOf is what comes off in each stage of a run that stands in the likely case; what cannot be worked out is left out.
func (in standingIn) likelyOf(ctx context.Context, tx *store.Tx, runID string) (map[string][]air.Release, error) {
	run, err := tx.Run(ctx, in.site.Studio.Key, runID)
	if err != nil {
		return nil, err
	}
	s, assessor := standing{run: run, byLoad: map[string][]finding.Finding{}}, in.assessor(run)
	if err := s.charge(ctx, tx, in.site.Studio.Key, assessor); err != nil {
		return nil, err
	}
	stages := map[string][]air.Release{}
	for i, load := range run.Loads {
		s.treat(assessor, load)
		if treatment := s.assessment.Stages[i].Treatment; treatment != nil {
			stages[load.Stage] = mattering(treatment.Likely)
		}
	}
	return stages, nil
}
