package domain

import (
	"fmt"
	"strings"
	"time"

	"saggar/chem/data"
	"saggar/chem/finding"
)

// Department is a part of the college that books at a studio.
type Department struct {
	ID       string `json:"id"`
	Title    string `json:"title"`
	Revision int64  `json:"-"` // at which it last changed; the etag
}

// Person is somebody's part in one studio.
type Person struct {
	ID          string     `json:"id"`
	Title       string     `json:"title"`
	Role        Role       `json:"role"`
	Departments []string   `json:"departments"`
	Trainings   []Training `json:"trainings"`
	// OpenIDSubject is how the issuer of tokens knows them; empty: they come in with keys only.
	OpenIDSubject string `json:"openid_subject"`
	Revision      int64  `json:"-"` // at which it last changed; the etag
}

// Training is one training or fit test. Dates are YYYY-MM-DD in the studio's local time.
type Training struct {
	// Subject is hot-charging, respirator-fit, respirator-training or furnaces/ID.
	Subject string `json:"subject"`
	DoneOn  string `json:"done_on"`
	// ExpiresOn is the last date on which it counts.
	ExpiresOn string `json:"expires_on"`
}

// Counts reports whether the training counts on a date.
func (t Training) Counts(onDate string) bool { return t.DoneOn <= onDate && onDate <= t.ExpiresOn }

// FurnaceID is the furnace that the training is for; empty for another subject.
func (t Training) FurnaceID() string {
	id, ok := strings.CutPrefix(t.Subject, string(KindFurnace)+"/")
	if !ok {
		return ""
	}
	return id
}

// interval is how long a training of the subject usually counts.
func (t Training) interval() data.TrainingInterval {
	subject := t.Subject
	if t.FurnaceID() != "" {
		subject = string(KindFurnace)
	}
	for _, interval := range data.TrainingIntervals() {
		if interval.Subject == subject {
			return interval
		}
	}
	return data.TrainingInterval{}
}

// Complete returns the person with the usual end of each training that states none, and what is wrong with them, with paths
// relative to the person.
func (p Person) Complete() (Person, finding.Faults) {
	var faults finding.Faults
	trainings := make([]Training, len(p.Trainings))
	seen := map[string]bool{}
	for i, t := range p.Trainings {
		completed, found := t.complete()
		path := fmt.Sprintf("trainings[%d]", i)
		faults.AddUnder(path, found)
		if seen[t.Subject] {
			faults.Add(path+".subject", t.Subject+" stands twice", "keep the newest only; earlier ones stay in the trace")
		}
		seen[t.Subject] = true
		trainings[i] = completed
	}
	p.Trainings = trainings
	return p, faults
}

func (t Training) complete() (Training, finding.Faults) {
	var faults finding.Faults
	const cure = "give a date as YYYY-MM-DD"
	done, err := time.Parse(time.DateOnly, t.DoneOn)
	if err != nil {
		faults.Add("done_on", fmt.Sprintf("%q is no date", t.DoneOn), cure)
		return t, faults
	}
	interval := t.interval()
	usual := monthsLater(done, interval.Months)
	if t.ExpiresOn == "" {
		t.ExpiresOn = usual.Format(time.DateOnly)
		return t, nil
	}
	expires, err := time.Parse(time.DateOnly, t.ExpiresOn)
	switch {
	case err != nil:
		faults.Add("expires_on", fmt.Sprintf("%q is no date", t.ExpiresOn), cure)
	case expires.Before(done):
		faults.Add("expires_on", "lies before the day on which it was done", "give a later date")
	case interval.Longest && expires.After(usual):
		faults.Add("expires_on", fmt.Sprintf("is more than %d months after %s (%s)", interval.Months, t.DoneOn, interval.Source),
			"give "+usual.Format(time.DateOnly)+" or earlier")
	}
	return t, faults
}

// monthsLater is the same day so many months on, or the month's last day where it has no such day.
func monthsLater(day time.Time, months int) time.Time {
	later := day.AddDate(0, months, 0)
	if later.Day() != day.Day() {
		later = later.AddDate(0, 0, -later.Day())
	}
	return later
}
