package calendar

import (
	"fmt"
	"time"

	ical "github.com/arran4/golang-ical"
)

// isUTC reports whether a zone is UTC, which calendars write without a zone.
func isUTC(zone *time.Location) bool {
	return zone == time.UTC || zone.String() == "UTC" || zone.String() == "Etc/UTC"
}

// isTwice reports whether a local time is one that the clock shows twice, since it is put back meanwhile.
func isTwice(local time.Time) bool {
	start, end := local.ZoneBounds()
	_, now := local.Zone()
	if !start.IsZero() {
		_, before := start.Add(-time.Second).Zone()
		if local.Sub(start) < time.Duration(before-now)*time.Second {
			return true
		}
	}
	if !end.IsZero() {
		_, after := end.Zone()
		return end.Sub(local) <= time.Duration(now-after)*time.Second
	}
	return false
}

// zone is the studio's time zone as the tz database has it over the time of all appointments; nil when none needs it.
func (c Calendar) zone() *ical.VTimezone {
	if isUTC(c.Zone) || len(c.Appointments) == 0 {
		return nil
	}
	first, last := c.Appointments[0].Window.Start, c.Appointments[0].Window.End
	for _, a := range c.Appointments {
		if a.Window.Start.Before(first) {
			first = a.Window.Start
		}
		if a.Window.End.After(last) {
			last = a.Window.End
		}
	}
	zone := ical.NewTimezone(c.Zone.String())
	for _, o := range observances(c.Zone, first, last.AddDate(1, 0, 0)) {
		o.addTo(zone)
	}
	return zone
}

// observance is a stretch of time with one offset from UTC.
type observance struct {
	onset    time.Time // in the zone, as its clock shows after the change
	from, to int       // seconds east of UTC, before and after
	name     string
	daylight bool
}

// observances are those in force from first to last, and the clock changes between, so that both changes of a year stand in
// it. The tz database is asked for each change; what is written holds for this time and no rule is guessed.
func observances(zone *time.Location, first, last time.Time) (found []observance) {
	at := first.In(zone)
	for {
		start, end := at.ZoneBounds()
		name, to := at.Zone()
		o := observance{onset: start, from: to, to: to, name: name, daylight: at.IsDST()}
		if start.IsZero() {
			// It has always been so. An onset must be given: the beginning of RFC 5545's own examples.
			o.onset = time.Date(1970, 1, 1, 0, 0, 0, 0, zone)
		} else {
			_, o.from = start.Add(-time.Second).Zone()
		}
		found = append(found, o)
		if end.IsZero() || end.After(last) {
			return found
		}
		at = end.In(zone)
	}
}

// addTo writes it, with its onset in the local time before the change (RFC 5545, section 3.6.5).
func (o observance) addTo(zone *ical.VTimezone) {
	base := ical.ComponentBase{}
	base.SetProperty(ical.ComponentPropertyDtStart, o.onset.UTC().Add(time.Duration(o.from)*time.Second).Format(localForm))
	base.SetProperty(ical.ComponentProperty(ical.PropertyTzoffsetfrom), offset(o.from))
	base.SetProperty(ical.ComponentProperty(ical.PropertyTzoffsetto), offset(o.to))
	base.SetProperty(ical.ComponentProperty(ical.PropertyTzname), o.name)
	if o.daylight {
		zone.Components = append(zone.Components, &ical.Daylight{ComponentBase: base})
	} else {
		zone.Components = append(zone.Components, &ical.Standard{ComponentBase: base})
	}
}

// offset writes seconds east of UTC as +hhmm, with seconds where there are some (RFC 5545, section 3.3.14).
func offset(seconds int) string {
	sign := '+'
	if seconds < 0 {
		sign, seconds = '-', -seconds
	}
	text := fmt.Sprintf("%c%02d%02d", sign, seconds/3600, seconds/60%60)
	if seconds%60 != 0 {
		text += fmt.Sprintf("%02d", seconds%60)
	}
	return text
}
