package app

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"slices"
	"time"

	"saggar/chem"
	"saggar/chem/heat"
	"saggar/server/domain"
	"saggar/server/store"
)

// RunHit is a run that cannot go on as booked.
type RunHit struct {
	Run      domain.Run
	Stages   []string // ids of those that are hit
	Causes   []string // what stands in their way, a sentence each
	NotMoved string   // why it is not moved, and what to do instead; empty when it is
}

// begunWords say what to do about a firing under way that something stands in the way of. One that gives gas off, or burns it, is
// never told to go on where its extraction is out of use.
func (f *hitFinder) begunWords(run domain.Run, stage string) string {
	at := slices.IndexFunc(run.Loads, func(l domain.Load) bool { return l.Stage == stage })
	if firing := run.Loads[at].Firing; firing != nil {
		furnace := f.site.Furnaces[firing.Furnace]
		for _, c := range f.site.ClosuresOver(furnace, later(firing.Window.Start, f.now), firing.Window.End) {
			if c.SubjectKind == domain.KindCircuit && (furnace.Source == heat.Gas || len(firing.Releases) > 0) {
				return fmt.Sprintf("DANGER: stage %s is under way without its extraction. Keep everybody out of %s, shut the fire off by the "+
					"furnace's stop steps from outside if that can be done, do not let it go on; then call the run off", stage, furnace.Room)
			}
		}
	}
	return fmt.Sprintf("stage %s has begun: stop it, or let it end where that is safe and say until when it overran, or call the run off", stage)
}

// hitFinder looks for what stands in the way of firings to come.
type hitFinder struct {
	site    *domain.Site
	now     time.Time
	today   string
	firings []domain.Firing // as booked, or as overruns leave them, by start
	longest time.Duration   // of the firings
	reach   time.Duration   // how far apart firings may meet in the air
	overran []*overran
	lags    map[string][]chem.Lag          // of the runs that overran
	causes  map[string]map[string][]string // by run and stage
}

// runsHit reads the runs that closures, overruns or changed hours stand in the way of, by their first stage that is hit.
func (a *App) runsHit(ctx context.Context, call Call, in ReplanInput) (hits []RunHit, revision int64, err error) {
	err = a.read(ctx, in.StudioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) error {
		revision = studio.Revision
		f := &hitFinder{now: a.now(), lags: map[string][]chem.Lag{}, causes: map[string]map[string][]string{}}
		var err error
		if f.site, err = readSite(ctx, tx, studio); err != nil {
			return err
		}
		f.today = f.now.In(f.site.Zone).Format(time.DateOnly)
		if f.overran, err = a.readOverruns(ctx, tx, call, studio.Key, in.Overruns); err != nil {
			return err
		}
		for _, o := range f.overran {
			recipe, err := tx.Recipe(ctx, studio.Key, o.run.RecipeID, o.run.RecipeVersion)
			if err != nil {
				return err
			}
			f.lags[o.run.ID] = allLags(recipe)
		}
		span := domain.Window{Start: f.now, End: f.now.AddDate(0, 0, replanDays)}
		booked, err := tx.FiringsOver(ctx, studio.Key, store.FiringsQuery{Window: span, WithReleases: true})
		if err != nil {
			return err
		}
		f.take(booked)
		f.find()
		unplaced, err := tx.UnplacedLoads(ctx, studio.Key)
		if err != nil {
			return err
		}
		for _, load := range unplaced {
			f.add(load.RunID, load.Stage, fmt.Sprintf("shared firing %s, in which it was to ride, was called off", load.FiringID))
		}
		for _, id := range slices.Sorted(maps.Keys(f.causes)) {
			run, err := tx.Run(ctx, studio.Key, id)
			if err != nil {
				return err
			}
			hits = append(hits, f.hit(run, call))
		}
		return nil
	})
	slices.SortStableFunc(hits, func(a, b RunHit) int { return a.first().Compare(b.first()) })
	return hits, revision, err
}

// first is when the first stage that is hit was to begin.
func (h RunHit) first() time.Time {
	for _, load := range h.Run.Loads {
		if slices.Contains(h.Stages, load.Stage) {
			return load.Window.Start
		}
	}
	return time.Time{}
}

// take replaces the firings that overran.
func (f *hitFinder) take(booked []domain.Firing) {
	for _, o := range f.overran {
		id := o.run.Loads[o.stage].Firing.ID
		booked = slices.DeleteFunc(booked, func(b domain.Firing) bool { return b.ID == id })
		booked = append(booked, *o.firing)
	}
	f.firings = booked
}

// sort puts the firings in the order in which within looks for them.
func (f *hitFinder) sort() {
	slices.SortStableFunc(f.firings, func(a, b domain.Firing) int { return a.Window.Start.Compare(b.Window.Start) })
	for _, firing := range f.firings {
		f.longest = max(f.longest, firing.Window.End.Sub(firing.Window.Start))
	}
}

// within are all firings but one that overlap a window: of thousands only those near it are looked at.
func (f *hitFinder) within(w domain.Window, but int64) []domain.Firing {
	from, _ := slices.BinarySearchFunc(f.firings, w.Start.Add(-f.longest), func(o domain.Firing, at time.Time) int { return o.Window.Start.Compare(at) })
	var found []domain.Firing
	for i := from; i < len(f.firings) && f.firings[i].Window.Start.Before(w.End); i++ {
		if f.firings[i].Key != but && f.firings[i].Window.Overlaps(w) {
			found = append(found, f.firings[i])
		}
	}
	return found
}

func (f *hitFinder) find() {
	f.sort()
	f.reach = airReach(f.site)
	for _, firing := range f.firings {
		if !carries(firing) || !firing.State.Occupies() {
			continue
		}
		f.byClosures(firing)
		f.byOverruns(firing)
		f.byHours(firing)
		f.byFurnace(firing)
		f.byAir(firing)
		f.byShares(firing)
	}
	for _, o := range f.overran {
		f.byLags(o)
	}
}

func (f *hitFinder) add(run, stage, cause string) {
	if f.causes[run] == nil {
		f.causes[run] = map[string][]string{}
	}
	if !slices.Contains(f.causes[run][stage], cause) {
		f.causes[run][stage] = append(f.causes[run][stage], cause)
	}
}

// carries reports whether anything rides in a firing, so that somebody is hit with it.
func carries(firing domain.Firing) bool { return firing.RunID != "" || len(firing.Riders) > 0 }

// addTo adds a cause to all that rides in a firing.
func (f *hitFinder) addTo(firing domain.Firing, cause string) {
	if firing.Offer == nil {
		f.add(firing.RunID, firing.Stage, cause)
	}
	for _, rider := range firing.Riders {
		f.add(rider.RunID, rider.Stage, cause)
	}
}

func (f *hitFinder) clock(t time.Time) string { return t.In(f.site.Zone).Format("Mon 2 Jan 15:04") }

func (f *hitFinder) byClosures(firing domain.Firing) {
	for _, c := range f.site.ClosuresOver(f.site.Furnaces[firing.Furnace], later(firing.Window.Start, f.now), firing.Window.End) {
		f.addTo(firing, fmt.Sprintf("%s is out of use from %s to %s%s", c.SubjectID, f.clock(c.Start), f.clock(c.End),
			because(c.Reason)))
	}
}

func because(reason string) string {
	if reason == "" {
		return ""
	}
	return ": " + reason
}

func (f *hitFinder) byOverruns(firing domain.Firing) {
	for _, o := range f.overran {
		if o.run.ID == firing.RunID && o.firing.Stage == firing.Stage {
			continue
		}
		if o.firing.Furnace == firing.Furnace && o.firing.Window.Overlaps(firing.Window) {
			f.addTo(firing, fmt.Sprintf("%s is taken until %s: %s overran", firing.Furnace, f.clock(o.end), describe(*o.firing)))
		}
	}
}

// byLags finds the stages after one that overran that were to begin too soon after.
func (f *hitFinder) byLags(o *overran) {
	run := o.applied(o.run)
	from := run.Loads[o.stage]
	drawn := from.StageWindow().Drawn()
	for _, lag := range f.lags[run.ID] {
		to := slices.IndexFunc(run.Loads, func(l domain.Load) bool { return l.Stage == lag.ToStage })
		soonest := drawn.Add(time.Duration(lag.MinMinutes) * time.Minute)
		if lag.FromStage == from.Stage && run.Loads[to].StageWindow().Charged().Before(soonest) {
			f.add(run.ID, lag.ToStage, fmt.Sprintf("stage %s is drawn only at %s", from.Stage, f.clock(drawn)))
		}
	}
}

// byHours finds phases to come in which somebody must be there and nobody is any more.
func (f *hitFinder) byHours(firing domain.Firing) {
	room := f.site.Furnaces[firing.Furnace].Room
	for _, phase := range firing.Phases {
		if phase.Window.Start.Before(f.now) || phase.Watch == heat.WatchNone || phase.Watch == "" || phase.Window.Minutes() == 0 {
			continue
		}
		open := staffedWindows(f.site, room, phase.Watch, phase.Window)
		if !slices.ContainsFunc(open, func(w domain.Window) bool { return w.Contains(phase.Window) }) {
			f.addTo(firing, fmt.Sprintf("nobody is %s of %s from %s to %s, to %s", watchWords(phase.Watch), room,
				f.clock(phase.Window.Start), f.clock(phase.Window.End), phase.Kind))
		}
	}
}

// byAir finds firings to come that the air does not carry any more.
func (f *hitFinder) byAir(firing domain.Firing) {
	if len(firing.Releases) == 0 || firing.Window.Start.Before(f.now) {
		return
	}
	around, room := f.reach, f.site.Furnaces[firing.Furnace].Room
	reach := reachOf([]plannedFiring{{Firing: firing}}, around)
	check := joint{site: f.site, existing: f.within(reach, firing.Key), planned: []plannedFiring{{Firing: firing}}, today: f.today}
	if !check.refusesAir() {
		return
	}
	cause := fmt.Sprintf("the air of %s does not carry it any more", room)
	for _, c := range f.site.Closures {
		if c.SubjectKind == domain.KindCircuit && reach.Overlaps(domain.Window{Start: c.Start, End: c.End}) {
			cause = fmt.Sprintf("the air of %s does not carry it while %s is out of use", room, c.SubjectID)
		}
	}
	f.addTo(firing, cause)
}

// byFurnace finds firings to come that are hotter than their furnace takes by now, or in an atmosphere that it no longer takes.
func (f *hitFinder) byFurnace(firing domain.Firing) {
	furnace := f.site.Furnaces[firing.Furnace]
	if firing.Window.Start.Before(f.now) || furnace.Source == heat.Bench {
		return
	}
	if firing.TopCelsius > furnace.TopCelsius {
		f.addTo(firing, fmt.Sprintf("%s takes %g C at most, and it is fired to %g C", furnace.ID, furnace.TopCelsius, firing.TopCelsius))
	}
	if firing.Atmosphere == heat.Reducing && !slices.Contains(furnace.Atmospheres, firing.Atmosphere) {
		f.addTo(firing, fmt.Sprintf("%s may no longer be fired in a %s atmosphere", furnace.ID, firing.Atmosphere))
	}
}

// byShares finds firings to come that with others take more than a supply gives, or more people than a room has.
func (f *hitFinder) byShares(firing domain.Firing) {
	if firing.Window.Start.Before(f.now) {
		return
	}
	others := slices.DeleteFunc(f.within(firing.Window, firing.Key), func(o domain.Firing) bool { return !o.State.Occupies() })
	check := joint{site: f.site, existing: others, planned: []plannedFiring{{Firing: firing}}, today: f.today}
	for _, found := range append(check.supplies(), check.crews()...) {
		f.addTo(firing, found.Message)
	}
}

// hit is a run with what stands in its way.
func (f *hitFinder) hit(run domain.Run, call Call) RunHit {
	hit := RunHit{Run: run}
	begun := ""
	for _, load := range run.Loads {
		causes := f.causes[run.ID][load.Stage]
		if len(causes) == 0 {
			continue
		}
		hit.Stages = append(hit.Stages, load.Stage)
		hit.Causes = once(append(hit.Causes, causes...))
		if load.Begun(f.now) {
			begun = cmp.Or(begun, load.Stage)
		}
	}
	switch {
	case begun != "":
		hit.NotMoved = f.begunWords(run, begun)
	case call.OwnOnly && mayLeave(run, func(l domain.Load) bool { return slices.Contains(hit.Stages, l.Stage) }, nil) != nil:
		hit.NotMoved = "others ride in its shared firing: a technician moves all of them"
	case !call.mayTouch(run.Maker):
		hit.NotMoved = "it was booked by somebody else: ask its maker or a technician"
	}
	return hit
}
