package rpc

import (
	"fmt"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"saggar/chem/finding"
	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/domain"
)

func studioToProto(s domain.Studio) *saggarv1.Studio {
	return &saggarv1.Studio{
		Name: studioName(s.ID), Title: s.Title, TimeZone: s.TimeZone, StepMinutes: int32(s.StepMinutes),
		ChargeMinutes: int32(s.ChargeMinutes), DrawMinutes: int32(s.DrawMinutes), CleanMinutes: int32(s.CleanMinutes), AcidMistFraction: s.AcidMistFraction,
		Revision: int32(s.Revision), Etag: etagOf(s.OwnRevision), CreateTime: instant(s.CreateTime),
		OwnLimits: convert.OwnLimitsToProto(s.OwnLimits), OfferMinutes: int32(s.OfferMinutes),
		InterlockTestMonths: int32(s.InterlockTestMonths),
	}
}

func studioFromProto(m *saggarv1.Studio) domain.Studio {
	return domain.Studio{
		ID: studioOf(m.GetName()), Title: m.GetTitle(), TimeZone: m.GetTimeZone(), StepMinutes: int(m.GetStepMinutes()),
		ChargeMinutes: int(m.GetChargeMinutes()), DrawMinutes: int(m.GetDrawMinutes()), CleanMinutes: int(m.GetCleanMinutes()),
		AcidMistFraction: m.GetAcidMistFraction(), OwnLimits: convert.OwnLimitsFromProto(m.GetOwnLimits()),
		OfferMinutes: int(m.GetOfferMinutes()), InterlockTestMonths: int(m.GetInterlockTestMonths()),
	}
}

func supplyToProto(s domain.Supply) *saggarv1.Supply {
	return &saggarv1.Supply{Title: s.Title, LimitKilowatts: s.LimitKilowatts, PricePerKilowattHour: s.PricePerKilowattHour}
}

func supplyFromProto(m *saggarv1.Supply) domain.Supply {
	return domain.Supply{
		ID: convert.ID(m.GetName()), Title: m.GetTitle(), LimitKilowatts: m.GetLimitKilowatts(),
		PricePerKilowattHour: m.GetPricePerKilowattHour(),
	}
}

func hoursToProto(h domain.StaffedHours) *saggarv1.StaffedHours {
	m := &saggarv1.StaffedHours{}
	for _, w := range h.Weekly {
		weekly := &saggarv1.WeeklyHours{Opens: clockText(w.OpensMinute), Closes: clockText(w.ClosesMinute)}
		for _, day := range w.Days {
			weekly.Days = append(weekly.Days, weekdays.toProto(day))
		}
		m.Weekly = append(m.Weekly, weekly)
	}
	for _, e := range h.Exceptions {
		exception := &saggarv1.DateHours{Date: e.Date}
		if e.ClosesMinute > 0 {
			exception.Opens, exception.Closes = clockText(e.OpensMinute), clockText(e.ClosesMinute)
		}
		m.Exceptions = append(m.Exceptions, exception)
	}
	return m
}

func hoursFromProto(m *saggarv1.StaffedHours) (domain.StaffedHours, finding.Faults) {
	h := domain.StaffedHours{ID: convert.ID(m.GetName())}
	var faults finding.Faults
	h.Weekly = weeklyFromProto(m.GetWeekly())
	for i, e := range m.GetExceptions() {
		exception, fault := dateHoursFromProto(e)
		faults.AddUnder(listPath("exceptions", i), fault)
		h.Exceptions = append(h.Exceptions, exception)
	}
	return h, faults
}

func weeklyFromProto(messages []*saggarv1.WeeklyHours) []domain.WeeklyHours {
	var all []domain.WeeklyHours
	for _, w := range messages {
		// The field rules let only HH:MM pass here.
		opens, _ := clockMinute(w.GetOpens())
		closes, _ := clockMinute(w.GetCloses())
		weekly := domain.WeeklyHours{OpensMinute: opens, ClosesMinute: closes}
		for _, day := range w.GetDays() {
			weekly.Days = append(weekly.Days, weekdays.fromProto(day))
		}
		all = append(all, weekly)
	}
	return all
}

func dateHoursFromProto(m *saggarv1.DateHours) (domain.DateHours, finding.Faults) {
	hours := domain.DateHours{Date: m.GetDate()}
	if m.GetOpens() == "" && m.GetCloses() == "" {
		return hours, nil
	}
	var faults finding.Faults
	const cure = "give HH:MM from 00:00 to 24:00, or leave both empty for a day that is closed"
	var ok bool
	if hours.OpensMinute, ok = clockMinute(m.GetOpens()); !ok {
		faults.Add("opens", fmt.Sprintf("%q is no time of day", m.GetOpens()), cure)
	}
	if hours.ClosesMinute, ok = clockMinute(m.GetCloses()); !ok {
		faults.Add("closes", fmt.Sprintf("%q is no time of day", m.GetCloses()), cure)
	}
	// Both at midnight would be read as closed all day, which is written otherwise.
	if faults == nil && hours.ClosesMinute <= hours.OpensMinute {
		faults.Add("closes", fmt.Sprintf("%s is not after %s", m.GetCloses(), m.GetOpens()), cure)
	}
	return hours, faults
}

const minutesInDay = 24 * 60

func clockText(minute int) string { return fmt.Sprintf("%02d:%02d", minute/60, minute%60) }

// clockMinute reads HH:MM, where 24:00 is the end of the day.
func clockMinute(text string) (int, bool) {
	if text == clockText(minutesInDay) {
		return minutesInDay, true
	}
	t, err := time.Parse("15:04", text)
	return t.Hour()*60 + t.Minute(), err == nil && len(text) == len("15:04")
}

func closureToProto(c domain.Closure) *saggarv1.Closure {
	return &saggarv1.Closure{
		Subject:   string(c.SubjectKind) + "/" + c.SubjectID,
		StartTime: instant(c.Start), EndTime: instant(c.End), Reason: c.Reason, Unoccupied: c.Unoccupied,
	}
}

// closureFromProto widens the closure to whole minutes, so that it never lasts shorter than it was meant; one that says that nobody
// is inside is narrowed, so that it never lasts longer.
func closureFromProto(m *saggarv1.Closure) (domain.Closure, finding.Faults) {
	kind, id, _ := strings.Cut(m.GetSubject(), "/")
	c := domain.Closure{
		ID: convert.ID(m.GetName()), SubjectKind: domain.EquipmentKind(kind), SubjectID: id,
		Start: m.GetStartTime().AsTime().Truncate(time.Minute), End: ceilMinute(m.GetEndTime().AsTime()), Reason: m.GetReason(),
		Unoccupied: m.GetUnoccupied(),
	}
	if c.Unoccupied {
		c.Start, c.End = ceilMinute(m.GetStartTime().AsTime()), m.GetEndTime().AsTime().Truncate(time.Minute)
	}
	if !m.GetStartTime().AsTime().Before(m.GetEndTime().AsTime()) {
		return c, finding.Faults{{
			Field: "end_time", Message: "is not after start_time", Cure: "give an end after the start",
		}}
	}
	return c, nil
}

func ceilMinute(t time.Time) time.Time {
	if floor := t.Truncate(time.Minute); !floor.Equal(t) {
		return floor.Add(time.Minute)
	}
	return t
}

// instant is unset for the zero time.
func instant(t time.Time) *timestamppb.Timestamp {
	if t.IsZero() {
		return nil
	}
	return timestamppb.New(t)
}
