package app

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"time"

	"saggar/chem"
	"saggar/chem/air"
	"saggar/chem/heat"
	"saggar/server/domain"
	"saggar/server/store"
)

// GetRiskAssessment works a run that stands out anew, with the air as it is with everyone else's firings. Stores nothing.
// Errors: domain.ErrNotFound.
func (a *App) GetRiskAssessment(ctx context.Context, studioID, runID string) (domain.RiskAssessment, error) {
	var answer domain.RiskAssessment
	err := a.read(ctx, studioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) error {
		site, err := readSite(ctx, tx, studio)
		if err != nil {
			return err
		}
		run, err := tx.Run(ctx, studio.Key, runID)
		if err != nil {
			return err
		}
		now := a.now()
		worked, err := standingIn{site: site, now: now, onDate: now.In(site.Zone).Format(time.DateOnly)}.workOut(ctx, tx, run)
		if err != nil {
			return err
		}
		answer = domain.RiskAssessment{
			StudioID: studioID, Title: studio.Title, Zone: site.Zone, AsOf: now, Revision: studio.Revision, Run: run,
			Assessment: worked.assessment, Missing: worked.missing,
		}
		addPlaces(&answer, site)
		answer.Missing = append(answer.Missing, unsaid(answer)...)
		answer.AcknowledgedBy, answer.AcknowledgedAt, err = lastChange(ctx, tx, studio.Key, run)
		return err
	})
	return answer, err
}

// addPlaces adds the furnaces that a run is booked on, their rooms and what draws from these.
func addPlaces(r *domain.RiskAssessment, site *domain.Site) {
	furnaces, rooms, span := map[string]bool{}, map[string]bool{}, domain.Window{}
	for i, load := range r.Run.Loads {
		if i == 0 || load.Window.Start.Before(span.Start) {
			span.Start = load.Window.Start
		}
		if load.Window.End.After(span.End) {
			span.End = load.Window.End
		}
		if load.Firing != nil && load.State != domain.LoadUnplaced {
			for _, beside := range load.Firing.Beside(r.Run.ID) {
				r.Beside = append(r.Beside, fmt.Sprintf("stage %s, in firing %s, which %s answers for, beside %s", load.Stage, load.Firing.ID,
					load.Firing.AttendedBy, beside))
			}
			furnaces[load.Firing.Furnace] = true
			rooms[site.Furnaces[load.Firing.Furnace].Room] = true
		}
	}
	for _, id := range slices.Sorted(maps.Keys(furnaces)) {
		r.Furnaces = append(r.Furnaces, site.Furnaces[id])
	}
	for _, id := range slices.Sorted(maps.Keys(rooms)) {
		r.Rooms = append(r.Rooms, roomOn(site, id, r.AsOf.In(site.Zone).Format(time.DateOnly), span))
	}
	for _, circuit := range site.CircuitList() {
		if slices.ContainsFunc(circuit.Branches, func(b air.Branch) bool { return rooms[b.Room] }) {
			r.Circuits = append(r.Circuits, circuit)
		}
	}
}

// unsaid says what of a run's places and recipe nobody recorded.
func unsaid(r domain.RiskAssessment) []string {
	var missing []string
	for _, room := range r.Rooms {
		missing = append(missing, room.Missing...)
	}
	for _, f := range r.Furnaces {
		missing = append(missing, furnaceUnsaid(f)...)
	}
	for _, circuit := range r.Circuits {
		for _, b := range circuit.Branches {
			if b.MeasuredOn == "" {
				missing = append(missing, "the flow of "+circuit.ID+"/"+b.ID+" was never measured")
			}
		}
	}
	for i, stage := range r.Assessment.Stages {
		heated := slices.ContainsFunc(r.Assessment.Charge.Recipe.Stages, func(s chem.Stage) bool {
			return s.ID == stage.Stage && s.Program != nil && s.BedDepthMillimeters == 0
		})
		if heated {
			missing = append(missing, "the depth of the bed in stage "+r.Assessment.Stages[i].Stage+" is not given, so nothing says that it reacts through")
		}
	}
	return append(missing, "people's health, training on the day and what they wear are not looked at")
}

// furnaceUnsaid says what of a furnace that gets hot nobody recorded.
func furnaceUnsaid(f heat.Furnace) []string {
	var missing []string
	if f.Source == heat.Bench {
		return nil
	}
	if len(f.StopSteps) == 0 {
		missing = append(missing, "no stop steps are recorded for "+f.ID)
	}
	if f.Branch == "" {
		missing = append(missing, f.ID+" has no extraction branch")
	}
	if f.Capture.MeasuredOn == "" {
		missing = append(missing, "the capture of "+f.ID+" was never measured and counts as nothing")
	}
	return missing
}

// lastChange is who booked a run or changed it last, and when, as the trace has it.
func lastChange(ctx context.Context, tx *store.Tx, studioKey int64, run domain.Run) (caller string, at time.Time, err error) {
	changes, err := tx.ListChanges(ctx, studioKey, run.Revision-1, 1)
	if err != nil || len(changes) == 0 || changes[0].Revision != run.Revision || changes[0].Subject != "runs/"+run.ID {
		return "", time.Time{}, err
	}
	return changes[0].Caller, changes[0].Time, nil
}
