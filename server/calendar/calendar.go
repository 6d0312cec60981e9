// Package calendar writes what a studio has booked as a calendar of RFC 5545 (iCalendar), for programs that subscribe to it.
// A general library writes lines and escapes text; what stands in them is decided here.
//
// Each load of a run is one event. Its UID stays for as long as the run stands, however often it is moved, and its SEQUENCE is
// the revision of the run's last change, which rises with each. The same input gives the same text.
package calendar

import (
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	ical "github.com/arran4/golang-ical"
	"github.com/google/uuid"

	"saggar/chem/heat"
	"saggar/server/domain"
)

const (
	productID = "-//Saggar//Studio calendar//EN"
	// refreshEvery is how often a program should look again (RFC 7986, section 5.7).
	refreshEvery = "PT15M"
	utcForm      = "20060102T150405Z"
	localForm    = "20060102T150405"
)

// Calendar is what is written.
type Calendar struct {
	Title    string
	StudioID string
	// Zone is the studio's, in which times are shown.
	Zone *time.Location
	// Furnaces are their titles by id; one that is not in it goes by its id.
	Furnaces     map[string]string
	Appointments []domain.Appointment
}

// Write writes the calendar: lines end with CRLF and have at most 75 octets, without splitting a character.
func (c Calendar) Write(w io.Writer) error {
	out := &ical.Calendar{}
	set := func(name ical.Property, value string, parameters ...ical.PropertyParameter) {
		out.CalendarProperties = append(out.CalendarProperties, ical.CalendarProperty{BaseProperty: property(string(name), value, parameters...)})
	}
	set(ical.PropertyVersion, "2.0")
	set(ical.PropertyProductId, productID)
	set(ical.PropertyCalscale, "GREGORIAN")
	set("NAME", domain.OneLine(c.Title))
	set("X-WR-CALNAME", domain.OneLine(c.Title)) // what many programs read instead of NAME
	set("REFRESH-INTERVAL", refreshEvery, ical.WithValue("DURATION"))
	if zone := c.zone(); zone != nil {
		out.AddVTimezone(zone)
	}
	for _, a := range c.Appointments {
		out.AddVEvent(c.event(a))
	}
	return out.SerializeTo(w, ical.WithNewLine("\r\n"), ical.WithLineLength(75))
}

func property(name, value string, parameters ...ical.PropertyParameter) ical.BaseProperty {
	p := ical.BaseProperty{IANAToken: name, Value: value, ICalParameters: map[string][]string{}}
	for _, parameter := range parameters {
		key, values := parameter.KeyValue()
		p.ICalParameters[key] = values
	}
	return p
}

// event is one appointment.
func (c Calendar) event(a domain.Appointment) *ical.VEvent {
	e := ical.NewEvent(c.uid(a))
	e.SetProperty(ical.ComponentPropertyDtstamp, a.ChangeTime.UTC().Format(utcForm))
	e.SetProperty(ical.ComponentPropertyCreated, a.RunCreateTime.UTC().Format(utcForm))
	e.SetProperty(ical.ComponentPropertyLastModified, a.ChangeTime.UTC().Format(utcForm))
	e.SetProperty(ical.ComponentPropertySequence, strconv.FormatInt(a.Revision, 10))
	e.SetProperty(ical.ComponentPropertyStatus, status(a.State))
	c.setTime(e, ical.ComponentPropertyDtStart, a.Window.Start)
	c.setTime(e, ical.ComponentPropertyDtEnd, a.Window.End)
	e.SetProperty(ical.ComponentPropertySummary, domain.OneLine(c.summary(a)))
	e.SetProperty(ical.ComponentPropertyDescription, c.description(a))
	if a.Furnace != "" {
		e.SetProperty(ical.ComponentPropertyLocation, domain.OneLine(c.furnace(a.Furnace)))
	}
	if status(a.State) != string(ical.ObjectStatusCancelled) {
		c.alarms(e, a)
	}
	return e
}

// namespace makes UIDs of version 5 (RFC 9562): a UUID of our own, drawn once.
var namespace = uuid.MustParse("5b0b6a8e-6f0c-4f58-9a0e-0f2f6f3d1c57")

// uid is the same for a stage of a run in every calendar and after every move. The time at which the run was made is part of
// it, so that studios of the same id on two servers do not meet.
func (c Calendar) uid(a domain.Appointment) string {
	about := strings.Join([]string{c.StudioID, a.RunCreateTime.UTC().Format(time.RFC3339Nano), a.RunID, a.Stage}, "/")
	return uuid.NewSHA1(namespace, []byte(about)).String()
}

// status is one of the three of RFC 5545, section 3.8.1.11.
func status(s domain.LoadState) string {
	switch s {
	case domain.LoadTentative:
		return string(ical.ObjectStatusTentative)
	case domain.LoadCancelled, domain.LoadExpired, domain.LoadMissed, domain.LoadUnplaced:
		return string(ical.ObjectStatusCancelled)
	default:
		return string(ical.ObjectStatusConfirmed)
	}
}

// setTime writes an instant in the studio's time. One that the clock shows twice, since it is put back, is written in UTC: a
// local time means the first pass (RFC 5545, section 3.3.5), and not every program knows.
func (c Calendar) setTime(e *ical.VEvent, name ical.ComponentProperty, at time.Time) {
	local := at.In(c.Zone)
	if isUTC(c.Zone) || isTwice(local) {
		e.SetProperty(name, at.UTC().Format(utcForm))
		return
	}
	e.SetProperty(name, local.Format(localForm), ical.WithTZID(c.Zone.String()))
}

func (c Calendar) summary(a domain.Appointment) string {
	title := a.RunTitle
	if title == "" {
		title = a.RecipeID
	}
	summary := a.Stage + ": " + title
	if a.Furnace != "" {
		summary += " in " + c.furnace(a.Furnace)
	}
	return summary
}

func (c Calendar) furnace(id string) string {
	if title := c.Furnaces[id]; title != "" {
		return title
	}
	return id
}

// description says whose it is and when which phase is.
func (c Calendar) description(a domain.Appointment) string {
	lines := []string{fmt.Sprintf("Run %s by %s for %s, recipe %s", a.RunID, a.Maker, a.Department, a.RecipeID)}
	if a.SharedBy != "" {
		lines = append(lines, fmt.Sprintf("In shared firing %s, which %s answers for", a.Firing, a.SharedBy))
	} else if a.AttendedBy != a.Maker && a.AttendedBy != "" {
		lines = append(lines, "Attended by "+a.AttendedBy)
	}
	for _, p := range a.Phases {
		lines = append(lines, fmt.Sprintf("%s %s to %s", p.Kind, c.clock(p.Window.Start), c.clock(p.Window.End)))
	}
	for i := range lines {
		lines[i] = domain.OneLine(lines[i])
	}
	return strings.Join(lines, "\n")
}

func (c Calendar) clock(at time.Time) string { return at.In(c.Zone).Format("Mon 2 Jan 15:04") }

// alarms ring when the furnace is to be charged and drawn; at the bench, when the work begins.
func (c Calendar) alarms(e *ical.VEvent, a domain.Appointment) {
	rings := 0
	for _, p := range a.Phases {
		switch p.Kind {
		case heat.Charge:
			ring(e, p.Window.Start, "Charge: "+c.summary(a))
		case heat.Draw:
			ring(e, p.Window.Start, "Draw: "+c.summary(a))
		default:
			continue
		}
		rings++
	}
	if rings == 0 {
		ring(e, a.Window.Start, c.summary(a))
	}
}

func ring(e *ical.VEvent, at time.Time, text string) {
	alarm := e.AddAlarm()
	alarm.SetAction(ical.ActionDisplay)
	alarm.SetProperty(ical.ComponentPropertyDescription, domain.OneLine(text))
	alarm.SetTrigger(at.UTC().Format(utcForm), ical.WithValue("DATE-TIME"))
}
