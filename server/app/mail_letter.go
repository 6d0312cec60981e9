package app

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"saggar/chem/heat"
	"saggar/server/domain"
	"saggar/server/store"
)

// mostToldLines bounds one letter; of what is more only the number is told.
const mostToldLines = 60

// reader is somebody who is written to, with what tells them which changes are theirs.
type reader struct {
	person domain.Person
	site   *domain.Site
	rooms  map[string]bool      // in which they look after furnaces
	own    []domain.Appointment // of their runs, and what they attend
}

// letterFor writes what happened to somebody in the revisions of a claim; nil when nothing did, or they are gone. The same claim
// gives the same letter as long as nothing else changes.
func (a *App) letterFor(ctx context.Context, claim domain.MailClaim) (*domain.Letter, *time.Location, error) {
	var r reader
	var notices []*domain.Notice
	err := a.read(ctx, claim.StudioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) (err error) {
		if r.site, err = readSite(ctx, tx, studio); err != nil {
			return err
		}
		if r.person, err = tx.Person(ctx, studio.Key, claim.Choice.PersonID); err != nil {
			return err
		}
		r.own, err = tx.Appointments(ctx, studio.Key, store.AppointmentsQuery{Since: a.now(), Person: r.person.ID, Limit: mostAppointments})
		if err != nil {
			return err
		}
		changes, err := tx.ListChanges(ctx, studio.Key, claim.Choice.ToldRevision, int(claim.Until-claim.Choice.ToldRevision))
		for _, c := range changes {
			notices = append(notices, domain.NoticeOf(c))
		}
		return err
	})
	if errors.Is(err, domain.ErrNotFound) {
		return nil, time.UTC, nil
	}
	if err != nil {
		return nil, nil, err
	}
	r.rooms = roomsOf(r.person, r.site, a.now())
	var told []string
	for _, n := range notices {
		told = append(told, r.told(n)...)
	}
	if len(told) == 0 {
		return nil, r.site.Zone, nil
	}
	return r.letter(claim, told, a.now()), r.site.Zone, nil
}

func (r reader) letter(claim domain.MailClaim, told []string, now time.Time) *domain.Letter {
	subject := fmt.Sprintf("%s: %d changes", r.site.Studio.Title, len(told))
	if len(told) == 1 {
		subject = r.site.Studio.Title + ": 1 change"
	}
	if more := len(told) - mostToldLines; more > 0 {
		told = append(told[:mostToldLines], fmt.Sprintf("and %d more; 'saggar trace list' and the week show all.", more))
	}
	body := strings.Join(told, "\n\n") + "\n\n-- \n" +
		"You are told of what others change about your runs and rooms. How often, or not at all, is your choice:\n" +
		"saggar mail choose --pace none|at_once|hourly|daily\n"
	return &domain.Letter{ID: claim.LetterID(), To: claim.Choice.Email, Subject: domain.OneLine(subject), Body: body, Time: now}
}

// roomsOf are the rooms that somebody looks after: from technician up, those of the furnaces for which they are trained, or all
// when they are trained for none by name.
func roomsOf(p domain.Person, site *domain.Site, now time.Time) map[string]bool {
	rooms := map[string]bool{}
	if p.Role < domain.RoleTechnician {
		return rooms
	}
	today := now.In(site.Zone).Format(time.DateOnly)
	for _, t := range p.Trainings {
		if furnace, stands := site.Furnaces[t.FurnaceID()]; stands && t.Counts(today) {
			rooms[furnace.Room] = true
		}
	}
	if len(rooms) == 0 {
		for id := range site.Rooms {
			rooms[id] = true
		}
	}
	return rooms
}

// told are the sentences about one change; none when it is nothing to the reader, or their own doing.
func (r reader) told(n *domain.Notice) []string {
	switch {
	case n.Caller == r.person.ID:
		return nil
	case n.Run() != nil:
		return r.ofRun(n)
	case n.Firing() != nil:
		return r.aboutFiring(n)
	case n.Closure != nil:
		return r.aboutClosure(n)
	case n.Reading != nil && r.rooms[n.Reading.Room] && len(n.Reading.Findings) > 0:
		return []string{r.aboutReading(n)}
	case n.TimeRequest != nil && n.Owner == r.person.ID:
		return []string{r.aboutTimeRequest(n)}
	case n.LotBefore != nil && n.LotAfter != nil:
		return r.aboutLot(n)
	}
	return nil
}

// ofRun are the sentences about a change of a run.
func (r reader) ofRun(n *domain.Notice) []string {
	switch {
	case r.mayClear(n):
		return []string{r.aboutRun(n) + "\n" + domain.OneLine("  It waits for a clearance that you may give: saggar run waiting --mine")}
	case n.Owner == r.person.ID || r.inRooms(n) || n.AttendedBy(r.person.ID):
		return []string{r.aboutRun(n)}
	}
	return r.aboutRiders(n)
}

// aboutLot tells of a lot that was found to be wetter or drier than runs of the reader were checked with.
func (r reader) aboutLot(n *domain.Notice) []string {
	lines := []string{domain.OneLine(fmt.Sprintf("%s noted that lot %s holds %s of free water, which was %s.", n.Caller,
		strings.TrimPrefix(n.Subject, "lots/"), moistureWords(n.LotAfter.MoistureFraction), moistureWords(n.LotBefore.MoistureFraction)))}
	for _, h := range n.LotAfter.Holders {
		if h.Maker == r.person.ID {
			lines = append(lines, domain.OneLine("  Your run "+h.Run+" has reserved of it and was checked with what it was: "+
				"'saggar run risk "+h.Run+"' works it out anew, and moving it checks it anew."))
		}
	}
	if len(lines) == 1 {
		return nil
	}
	return []string{strings.Join(lines, "\n")}
}

// moistureWords are a lot's own moisture, or its material's where none was weighed.
func moistureWords(fraction *float64) string {
	if fraction == nil {
		return "what its material is said to"
	}
	return fmt.Sprintf("%.3g %%", *fraction*100)
}

// inRooms reports whether a run is done, or was to be done, in one of the reader's rooms.
func (r reader) inRooms(n *domain.Notice) bool {
	for _, run := range []*domain.RunSummary{n.RunBefore, n.RunAfter} {
		if run != nil && slices.ContainsFunc(run.Loads, func(l domain.LoadSummary) bool { return r.rooms[r.site.Furnaces[l.Furnace].Room] }) {
			return true
		}
	}
	return false
}

// mayClear reports whether a run waits since this change for a clearance that the reader may give.
func (r reader) mayClear(n *domain.Notice) bool {
	as := domain.Caller{ID: r.person.ID, Role: r.person.Role}
	return n.Owner != r.person.ID && slices.ContainsFunc(n.WaitsSince(), func(c domain.Clearance) bool { return c.MayDecide(as) })
}

// verbOf says what became of a run.
func verbOf(n *domain.Notice) string {
	run := n.Run()
	decided := n.Decided()
	switch {
	case n.Action == domain.ActionCreated:
		return "booked"
	case slices.ContainsFunc(decided, func(c domain.Clearance) bool { return c.State == domain.ClearanceRefused }):
		return "refused"
	case run.State == domain.RunUnplaced:
		return "called off a firing of"
	case slices.ContainsFunc(run.Loads, func(l domain.LoadSummary) bool { return l.State == domain.LoadExpired }):
		return "let expire, since it waited too long for its clearance,"
	case run.State == domain.RunCancelled:
		return "called off"
	case len(decided) > 0:
		return "cleared"
	case n.Moved():
		return "moved"
	}
	return "changed"
}

// aboutRun tells of a run that was booked, moved, cleared or called off.
func (r reader) aboutRun(n *domain.Notice) string {
	run := n.Run()
	whose := "your run"
	if n.Owner != r.person.ID {
		whose = "the run of " + n.Owner
	}
	lines := []string{domain.OneLine(fmt.Sprintf("%s %s %s %s (%s).", n.Caller, verbOf(n), whose, strings.TrimPrefix(n.Subject, "runs/"), run.Recipe))}
	for _, c := range n.Decided() {
		if c.Note != "" {
			lines = append(lines, domain.OneLine("  "+c.Rule+": "+c.Note))
		}
	}
	for i, load := range run.Loads {
		line := fmt.Sprintf("  %s%s %s to %s", load.Stage, r.in(load.Furnace), r.clock(load.Start), r.clock(load.End))
		var before domain.LoadSummary
		if n.RunBefore != nil && i < len(n.RunBefore.Loads) {
			before = n.RunBefore.Loads[i]
			if n.Moved() && (!before.Start.Equal(load.Start) || before.Furnace != load.Furnace) {
				line += fmt.Sprintf(", was%s %s", r.in(before.Furnace), r.clock(before.Start))
			}
		}
		switch attends := load.By == r.person.ID; {
		case attends && n.Owner != r.person.ID:
			line += ", attended by you"
		case !attends && before.By == r.person.ID:
			line += ", attended by " + load.By + " instead of you"
		}
		lines = append(lines, domain.OneLine(line))
	}
	return strings.Join(lines, "\n")
}

// aboutRiders tells who joins and who leaves a shared firing that the reader's run rides in, or that the reader answers for.
func (r reader) aboutRiders(n *domain.Notice) []string {
	var told []string
	before, after := ridesOf(n.RunBefore), ridesOf(n.RunAfter)
	for _, change := range []struct {
		verb       string
		some, rest []domain.LoadSummary
	}{{"joined", after, before}, {"left", before, after}} {
		for _, load := range change.some {
			same := func(l domain.LoadSummary) bool { return l.Firing == load.Firing }
			if slices.ContainsFunc(change.rest, same) || !r.isAboard(load.Firing) && load.By != r.person.ID {
				continue
			}
			told = append(told, domain.OneLine(fmt.Sprintf("Run %s of %s %s firing %s%s from %s to %s, which %s answers for.",
				strings.TrimPrefix(n.Subject, "runs/"), n.Owner, change.verb, load.Firing, r.in(load.Furnace), r.clock(load.Start), r.clock(load.End), load.By)))
		}
	}
	return told
}

// ridesOf are the loads of a run that hold a furnace, or ride in one.
func ridesOf(run *domain.RunSummary) []domain.LoadSummary {
	if run == nil {
		return nil
	}
	return slices.DeleteFunc(slices.Clone(run.Loads), func(l domain.LoadSummary) bool { return l.Firing == "" || !l.State.Occupies() })
}

// isAboard reports whether a run of the reader's rides in a firing.
func (r reader) isAboard(firingID string) bool {
	return slices.ContainsFunc(r.own, func(a domain.Appointment) bool { return a.Firing == firingID && a.State.Occupies() })
}

// aboutFiring tells of a shared firing that was opened, changed or called off, whoever answers for it, rides in it or looks after its
// room.
func (r reader) aboutFiring(n *domain.Notice) []string {
	f := n.Firing()
	rides := func(s *domain.FiringSummary) bool {
		return s != nil && (s.By == r.person.ID || slices.ContainsFunc(s.Riders, func(rider domain.RiderSummary) bool { return rider.Maker == r.person.ID }))
	}
	if !rides(n.FiringBefore) && !rides(n.FiringAfter) && !r.rooms[r.site.Furnaces[f.Furnace].Room] {
		return nil
	}
	verb, rest := "changed what is offered in", fmt.Sprintf("; %s answers for it", f.By)
	switch {
	case n.Action == domain.ActionCreated:
		verb = "opened"
	case f.MovedTo != "":
		verb, rest = "moved", ", to firing "+f.MovedTo
	case !f.State.Occupies():
		verb, rest = "called off", ""
		if n.FiringBefore != nil && len(n.FiringBefore.Riders) > 0 {
			rest = "; 'saggar run replan' finds other windows for what rode in it"
		}
	case n.FiringBefore != nil && n.FiringBefore.By != f.By:
		verb, rest = "handed over", fmt.Sprintf(" from %s to %s, who answers for it now", n.FiringBefore.By, f.By)
	case f.Liters > 0:
		rest = fmt.Sprintf(": %.4g l and %.6g g for others%s", f.Liters, f.Grams, rest)
	}
	return []string{domain.OneLine(fmt.Sprintf("%s %s firing %s (%s)%s from %s to %s%s.", n.Caller, verb, strings.TrimPrefix(n.Subject, "firings/"),
		f.Title, r.in(f.Furnace), r.clock(f.Start), r.clock(f.End), rest))}
}

// aboutClosure tells of a closure that hits runs of the reader, or something in their rooms.
func (r reader) aboutClosure(n *domain.Notice) []string {
	c := *n.Closure
	head := fmt.Sprintf("%s closed %s/%s from %s to %s", n.Caller, c.SubjectKind, c.SubjectID, r.clock(c.Start), r.clock(c.End))
	if n.Action == domain.ActionRemoved {
		head = fmt.Sprintf("%s lifted the closure of %s/%s from %s to %s", n.Caller, c.SubjectKind, c.SubjectID, r.clock(c.Start), r.clock(c.End))
	}
	if c.Reason != "" {
		head += " (" + c.Reason + ")"
	}
	lines := []string{domain.OneLine(head + ".")}
	for _, a := range r.own {
		if !a.State.Occupies() || !a.Window.Start.Before(c.End) || !c.Start.Before(a.Window.End) || !r.needs(a.Furnace, c) {
			continue
		}
		whose := "your run " + a.RunID
		if a.Maker != r.person.ID {
			whose = fmt.Sprintf("the run %s of %s, which you attend", a.RunID, a.Maker)
		}
		line := fmt.Sprintf("  It hits %s: %s%s %s to %s.", whose, a.Stage, r.in(a.Furnace), r.clock(a.Window.Start), r.clock(a.Window.End))
		lines = append(lines, domain.OneLine(line))
	}
	if len(lines) == 1 && !r.closedInRooms(c) {
		return nil
	}
	return []string{strings.Join(lines, "\n")}
}

// aboutTimeRequest tells whoever asked for time what is held for them, or that it is no more.
func (r reader) aboutTimeRequest(n *domain.Notice) string {
	request := n.TimeRequest
	id := strings.TrimPrefix(n.Subject, "timeRequests/")
	if offer := request.Offer; offer != nil {
		return domain.OneLine(fmt.Sprintf("%s is free from %s to %s, which you asked for (%s). It is held for you until %s: book it until then, "+
			"or let the next have it: saggar request decline %s", strings.TrimPrefix(r.in(offer.Furnace), " in "), r.clock(offer.Window.Start),
			r.clock(offer.Window.End), id, r.clock(offer.ExpireTime), id))
	}
	if request.State == domain.TimeWaiting {
		return fmt.Sprintf("What was held for your request %s is held no more; you still wait for other time.", id)
	}
	return fmt.Sprintf("Your request for time %s is %s.", id, strings.ToLower(string(request.State)))
}

// aboutReading tells whoever looks after a room what was read there, and what follows.
func (r reader) aboutReading(n *domain.Notice) string {
	read := n.Reading
	head := fmt.Sprintf("%s noted %.4g ppm of %s in %s, read %s", n.Caller, read.PPM, read.Species, read.Place(), r.clock(read.ReadTime))
	if read.ClosedBy != "" {
		head = fmt.Sprintf("%s explained what was read in %s on %s: %s", n.Caller, read.Place(), r.clock(read.ReadTime), read.CloseReason)
	}
	lines := []string{domain.OneLine(head + ".")}
	for _, f := range read.Findings {
		if read.ClosedBy == "" {
			lines = append(lines, domain.OneLine("  "+f.Message+". "+f.Cure))
		}
	}
	return strings.Join(lines, "\n")
}

// needs reports whether a furnace cannot be fired while what the closure is about is out of use.
func (r reader) needs(furnaceID string, c domain.Closure) bool {
	furnace, stands := r.site.Furnaces[furnaceID]
	return stands && r.site.Needs(furnace)[c.SubjectKind] == c.SubjectID
}

// closedInRooms reports whether the closure is of one of the reader's rooms, or hits a furnace in one.
func (r reader) closedInRooms(c domain.Closure) bool {
	if c.SubjectKind == domain.KindRoom && r.rooms[c.SubjectID] {
		return true
	}
	return slices.ContainsFunc(slices.Collect(maps.Values(r.site.Furnaces)), func(f heat.Furnace) bool {
		return r.rooms[f.Room] && r.needs(f.ID, c)
	})
}

func (r reader) in(furnaceID string) string {
	if furnaceID == "" {
		return ""
	}
	if title := r.site.Furnaces[furnaceID].Title; title != "" {
		return " in " + title
	}
	return " in " + furnaceID
}

func (r reader) clock(at time.Time) string { return at.In(r.site.Zone).Format("Mon 2 Jan 2006 15:04") }
