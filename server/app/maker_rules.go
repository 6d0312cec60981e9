package app

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"saggar/chem"
	"saggar/chem/finding"
	"saggar/server/domain"
	"saggar/server/store"
)

// hotCelsius is from where on a furnace is charged hot: what is below burns nobody who wears gloves (common practice, no
// source).
const hotCelsius = 100

// Codes of the findings about trainings.
const (
	codeTrainingMissing = "TRAINING_MISSING"
	codeTrainingLapsed  = "TRAINING_LAPSED"
)

// checkDepartment holds a run's department against those that the studio keeps, and a maker against their own. A studio
// that keeps none takes any.
func checkDepartment(ctx context.Context, tx *store.Tx, studioKey int64, at runAt) error {
	departments, err := tx.ListDepartments(ctx, studioKey, "", 0)
	if err != nil || len(departments) == 0 {
		return err
	}
	var ids []string
	for _, d := range departments {
		ids = append(ids, d.ID)
	}
	wanted := at.request.Department
	if !slices.Contains(ids, wanted) {
		return finding.Faults{{
			Field: strings.TrimPrefix(at.field+".department", "."), Message: fmt.Sprintf("there is no department %q", wanted), Cure: "give one of " + strings.Join(ids, ", "),
		}}
	}
	if !at.ownOnly {
		return nil
	}
	maker, err := tx.Person(ctx, studioKey, at.maker)
	if errors.Is(err, domain.ErrNotFound) || err == nil && (len(maker.Departments) == 0 || slices.Contains(maker.Departments, wanted)) {
		return nil
	}
	if err != nil {
		return err
	}
	return &domain.Error{
		Kind: domain.ErrForbidden, Subject: "departments/" + wanted,
		Message: fmt.Sprintf("%s books for %s, not for %s", maker.ID, strings.Join(maker.Departments, " and "), wanted),
		Cure:    "book for a department of your own, or ask a technician",
	}
}

// checkAttendants returns the people named to attend who do not belong to the studio, as faults.
func checkAttendants(ctx context.Context, tx *store.Tx, studioKey int64, at runAt) error {
	var faults finding.Faults
	for i, window := range at.request.Windows {
		if window.AttendedBy == "" || window.JoinFiring != "" || window.AttendedBy == at.maker || at.standing != nil && at.attended(i, window.AttendedBy) {
			continue
		}
		field := fmt.Sprintf("%s.stage_windows[%d].attended_by", at.field, i)
		person, err := tx.Person(ctx, studioKey, window.AttendedBy)
		switch {
		case errors.Is(err, domain.ErrNotFound):
			faults.Add(field, fmt.Sprintf("there is no person %q in the studio", window.AttendedBy),
				"name one of its people, or nobody for the run's maker")
		case err != nil:
			return err
		case person.Role < domain.RoleMaker:
			faults.Add(field, fmt.Sprintf("%s is a viewer, and may not attend a firing", person.ID), "name a maker or above")
		}
	}
	return faults.Err()
}

// attended reports whether somebody was to attend a stage of the standing run already; they may have left the studio since.
func (at runAt) attended(stage int, person string) bool {
	return stage < len(at.standing.Loads) && at.standing.Loads[stage].Firing != nil && at.standing.Loads[stage].Firing.AttendedBy == person
}

// checkTrainings warns of what whoever attends a firing of the newest run does without a training that counts on that day: on
// each furnace, and when it is charged hot. Only subjects are looked at for which the studio keeps trainings, and only those
// who are among its people.
func (p *prepared) checkTrainings(ctx context.Context, tx *store.Tx, at runAt, stages []chem.Stage) error {
	studioKey := p.site.Studio.Key
	kept, err := tx.TrainingSubjects(ctx, studioKey)
	if err != nil || len(kept) == 0 {
		return err
	}
	for i, load := range p.runs[len(p.runs)-1].Loads {
		if load.Firing == nil || load.Joined {
			continue // whoever attends a shared firing was looked at when it was booked
		}
		lacking, err := p.lackingTrainings(ctx, tx, kept, *load.Firing, stages[i].ChargeAtCelsius >= hotCelsius)
		if err != nil {
			return err
		}
		p.findings = append(p.findings, under(lacking, fmt.Sprintf("%s.stage_windows[%d]", at.field, i))...)
	}
	return nil
}

// lackingTrainings are what whoever attends a firing does in it without a training that counts on that day, of the subjects that
// are kept; none for who is not among the studio's people.
func (p *prepared) lackingTrainings(
	ctx context.Context, tx *store.Tx, kept []string, firing domain.Firing, chargedHot bool,
) ([]finding.Finding, error) {
	person, err := tx.Person(ctx, p.site.Studio.Key, firing.AttendedBy)
	if errors.Is(err, domain.ErrNotFound) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	subjects := []string{string(domain.KindFurnace) + "/" + firing.Furnace}
	if chargedHot {
		subjects = append(subjects, "hot-charging")
	}
	var lacking []finding.Finding
	onDate := firing.Window.Start.In(p.site.Zone).Format("2006-01-02")
	for _, subject := range subjects {
		if f, wanting := trainingFinding(person, subject, onDate); wanting && slices.Contains(kept, subject) {
			lacking = append(lacking, f)
		}
	}
	return lacking, nil
}

// trainingFinding is what is to be said of somebody's training for a subject on a date, if anything.
func trainingFinding(person domain.Person, subject, onDate string) (finding.Finding, bool) {
	i := slices.IndexFunc(person.Trainings, func(t domain.Training) bool { return t.Subject == subject })
	f := finding.Finding{
		Severity: finding.Warn, Code: codeTrainingMissing, About: person.ID,
		Message: fmt.Sprintf("%s has no training for %s on record", person.ID, subject),
		Cure:    "be trained before, or have somebody at it who is", Source: "common practice, no source",
	}
	if i < 0 {
		return f, true
	}
	training := person.Trainings[i]
	f.Code = codeTrainingLapsed
	f.Message = fmt.Sprintf("%s was trained for %s on %s, which counts until %s and not on %s",
		person.ID, subject, training.DoneOn, training.ExpiresOn, onDate)
	return f, !training.Counts(onDate)
}
