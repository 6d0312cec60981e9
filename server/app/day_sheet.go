package app

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"slices"
	"time"

	"saggar/chem"
	"saggar/chem/air"
	"saggar/chem/finding"
	"saggar/chem/heat"
	"saggar/server/domain"
	"saggar/server/store"
)

// DaySheetQuery asks what there is to do on a local day.
type DaySheetQuery struct {
	StudioID string
	Date     string // YYYY-MM-DD
	Room     string // empty: all
}

// GetDaySheet puts together what there is to do on one local day, from what stands booked. Stores nothing.
// Errors: domain.ErrNotFound for the studio; finding.Faults for a date that is none, and for a room that does not stand.
func (a *App) GetDaySheet(ctx context.Context, q DaySheetQuery) (domain.DaySheet, error) {
	var sheet domain.DaySheet
	err := a.read(ctx, q.StudioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) error {
		site, err := readSite(ctx, tx, studio)
		if err != nil {
			return err
		}
		sheet = domain.DaySheet{
			StudioID: q.StudioID, Title: studio.Title, Zone: site.Zone, Date: q.Date, Room: q.Room, AsOf: a.now(),
			Revision: studio.Revision,
		}
		if sheet.Day, err = domain.LocalDay("name", q.Date, site.Zone); err != nil {
			return err
		}
		if err := roomAsked(site, q.Room).Err(); err != nil {
			return err
		}
		d := daySheet{DaySheet: &sheet, site: site, now: a.now()}
		return d.fill(ctx, tx)
	})
	return sheet, err
}

func roomAsked(site *domain.Site, room string) finding.Faults {
	if _, stands := site.Rooms[room]; stands || room == "" {
		return nil
	}
	return finding.Faults{{
		Field: "room", Message: fmt.Sprintf("there is no room %q in the studio", room), Cure: "name one that stands, or none for all",
	}}
}

// daySheet is a sheet that is being put together.
type daySheet struct {
	*domain.DaySheet
	site *domain.Site
	now  time.Time
}

func (d *daySheet) fill(ctx context.Context, tx *store.Tx) error {
	runs, err := d.runs(ctx, tx)
	if err != nil {
		return err
	}
	in := standingIn{site: d.site, now: d.now, onDate: d.Date, over: &d.Day}
	for _, id := range runs {
		run, err := tx.Run(ctx, d.site.Studio.Key, id)
		if err != nil {
			return err
		}
		worked, err := in.workOut(ctx, tx, run)
		if err != nil {
			return err
		}
		for i := range run.Loads {
			d.add(worked, i)
		}
		d.Assumptions = append(d.Assumptions, worked.assessment.Assumptions...)
	}
	slices.SortStableFunc(d.Jobs, func(a, b domain.DayJob) int {
		return cmp.Or(a.Load.Window.Start.Compare(b.Load.Window.Start), cmp.Compare(a.Furnace.ID, b.Furnace.ID),
			cmp.Compare(a.Run.ID, b.Run.ID))
	})
	for i := range d.Jobs {
		d.Jobs[i].Mark = domain.Mark(i)
	}
	slices.Sort(d.Assumptions)
	d.Assumptions = slices.Compact(d.Assumptions)
	d.rooms()
	for _, c := range d.site.Closures {
		if d.Day.Overlaps(domain.Window{Start: c.Start, End: c.End}) {
			d.Closed = append(d.Closed, c.Sentence(d.site.Zone))
		}
	}
	return nil
}

// runs are the ids of the runs with anything on the day.
func (d *daySheet) runs(ctx context.Context, tx *store.Tx) ([]string, error) {
	firings, err := tx.FiringsOver(ctx, d.site.Studio.Key, store.FiringsQuery{Window: d.Day})
	if err != nil {
		return nil, err
	}
	bench, err := tx.BenchWorkOver(ctx, d.site.Studio.Key, d.Day)
	if err != nil {
		return nil, err
	}
	ids := map[string]bool{}
	for _, f := range firings {
		if f.RunID != "" {
			ids[f.RunID] = true
		}
		for _, r := range f.Riders {
			ids[r.RunID] = true
		}
		if f.Offer != nil && len(f.Riders) == 0 {
			d.addEmpty(f)
		}
	}
	for _, work := range bench {
		if work.State.Occupies() {
			ids[work.RunID] = true
		}
	}
	return slices.Sorted(maps.Keys(ids)), nil
}

// addEmpty adds a firing for others in which nothing rides yet.
func (d *daySheet) addEmpty(f domain.Firing) {
	job := domain.DayJob{
		Load: domain.Load{State: f.State, Window: f.Window, Firing: &f}, Furnace: d.site.Furnaces[f.Furnace],
		Run:     domain.Run{Title: f.Title, Maker: f.Offer.OpenedBy},
		Missing: []string{fmt.Sprintf("nobody has joined it yet: %.4g l and %.6g g are free", f.FreeLiters(), f.FreeGrams())},
	}
	if d.Room != "" && job.Furnace.Room != d.Room {
		return
	}
	job.Stage = firedStage(chem.Stage{}, f)
	job.DamperPosition = d.damper(job.Furnace)
	job.Unattended = domain.Unattended(job.Phases(), d.staffed(job.Furnace.Room, f.Window), d.Day)
	d.Jobs = append(d.Jobs, job)
}

// firedStage is a stage as a shared firing fires it.
func firedStage(stage chem.Stage, f domain.Firing) chem.Stage {
	stage.Program, stage.OpenBelowCelsius = &f.Offer.Program, f.Offer.OpenBelowCelsius
	return stage
}

// add adds one load of a run as a job when it lies on the day and in the room asked for.
func (d *daySheet) add(worked standing, index int) {
	load := worked.run.Loads[index]
	if !load.State.Occupies() || !load.Window.Overlaps(d.Day) {
		return
	}
	job := domain.DayJob{Run: worked.run, Load: load, Findings: worked.byLoad[load.Stage], Missing: slices.Clone(worked.missing)}
	if load.Firing != nil {
		job.Furnace = d.site.Furnaces[load.Firing.Furnace]
	}
	if d.Room != "" && job.Furnace.Room != d.Room {
		return
	}
	finding.SortWorstFirst(job.Findings)
	charge := worked.assessment.Charge
	stage := slices.IndexFunc(charge.Recipe.Stages, func(s chem.Stage) bool { return s.ID == load.Stage })
	if stage >= 0 {
		job.Stage = charge.Recipe.Stages[stage]
	}
	if load.Firing != nil && load.Firing.Offer != nil {
		job.Stage = firedStage(job.Stage, *load.Firing)
	}
	if stage >= 0 && stage < len(charge.Balance.Stages) {
		balance := charge.Balance.Stages[stage]
		job.WeighOut, job.MassInGrams, job.MassOutGrams = balance.WeighOut, balance.MassInGrams, balance.MassOutGrams
	}
	if index+1 < len(worked.run.Loads) {
		job.Next = &worked.run.Loads[index+1]
	}
	job.Air = worked.assessment.Stages[index].Air
	job.DamperPosition = d.damper(job.Furnace)
	job.Unattended = domain.Unattended(job.Phases(), d.staffed(job.Furnace.Room, load.Window), d.Day)
	job.Vessels = worked.run.VesselsOf(load.Stage, false)
	for _, id := range worked.run.GearOf(load.Stage) {
		gear, stands := d.site.Gear[id]
		if !stands {
			gear = domain.Gear{ID: id}
		}
		job.GearWorn = append(job.GearWorn, gear.Words())
	}
	job.Missing = append(job.Missing, unknown(job)...)
	d.Jobs = append(d.Jobs, job)
}

// damper is the position of the damper with which the furnace's branch was measured; empty when not recorded.
func (d *daySheet) damper(f heat.Furnace) string {
	for _, c := range d.site.Circuits {
		for _, b := range c.Branches {
			if c.ID+"/"+b.ID == f.Branch {
				return b.DamperPosition
			}
		}
	}
	return ""
}

// staffed are the staffed windows of a room that overlap a span.
func (d *daySheet) staffed(room string, span domain.Window) []domain.Window {
	return d.site.Hours[room].Windows(span, d.site.Zone)
}

// unknown says what of a job nobody recorded.
func unknown(job domain.DayJob) []string {
	if job.Load.Firing == nil || job.Furnace.Source == heat.Bench {
		return nil
	}
	var missing []string
	say := func(isUnknown bool, sentence string) {
		if isUnknown {
			missing = append(missing, sentence)
		}
	}
	say(len(job.Vessels) == 0, "which vessels, and where they stand, is not recorded: write it in")
	missing = append(missing, furnaceUnsaid(job.Furnace)...)
	say(job.Furnace.Branch != "" && job.DamperPosition == "", "the position of the damper of "+job.Furnace.Branch+" is not recorded")
	say(job.Air != nil && job.Air.ReentryMinute == nil, "no time can be given from which the room may be entered again")
	return missing
}

// rooms adds the room that was asked for, or all in which there is work.
func (d *daySheet) rooms() {
	ids := map[string]bool{}
	for _, job := range d.Jobs {
		if job.Furnace.Room != "" {
			ids[job.Furnace.Room] = true
		}
	}
	if d.Room != "" {
		ids[d.Room] = true
	}
	for _, id := range slices.Sorted(maps.Keys(ids)) {
		room := roomOn(d.site, id, d.Date, d.Day)
		room.NeededCount = d.PeopleAtOnce(id)
		if len(room.Staffed) == 0 {
			room.Missing = append(room.Missing, "nobody answers for "+id+" on this day by its staffed hours")
		}
		d.Rooms = append(d.Rooms, room)
	}
	d.Due = dueOn(d.site, d.Date, slices.Collect(maps.Keys(ids)))
}

// roomOn is a room as it is on a date, with the staffed windows that overlap a span.
func roomOn(site *domain.Site, id, date string, span domain.Window) domain.DayRoom {
	circuits := joint{site: site}.running(span.Start)
	room := domain.DayRoom{
		Room: site.Rooms[id], Staffed: site.Hours[id].Windows(span, site.Zone),
		FlowCubicMetersPerSecond: air.RoomFlow(site.Rooms[id], circuits), Detectors: domain.DetectorsOn(site.Rooms[id], date),
	}
	if room.Room.EmergencyContact == "" {
		room.Missing = append(room.Missing, "whom to call is not recorded for "+id)
	}
	if len(room.Detectors) == 0 {
		room.Missing = append(room.Missing, "no gas alarm is recorded for "+id)
	}
	return room
}
