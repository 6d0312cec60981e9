package rpc

import (
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/app"
	"saggar/server/domain"
)

// firingToProto also takes a firing that is only checked: what it has no id or revision for stays empty.
func firingToProto(studio string, f domain.Firing) *saggarv1.Firing {
	m := &saggarv1.Firing{
		Furnace: f.Furnace, Title: f.Title, Stage: f.Stage, Department: f.Department, State: loadStates.toProto(f.State),
		StartTime: instant(f.Window.Start), EndTime: instant(f.Window.End),
		TopCelsius: f.TopCelsius, Atmosphere: convert.AtmosphereToProto(f.Atmosphere), AttendedBy: f.AttendedBy,
	}
	if f.ID != "" {
		m.Name = convert.Name(studio, kindFirings, f.ID)
	}
	if f.RunID != "" {
		m.Run = convert.Name(studio, kindRuns, f.RunID)
	}
	if f.Revision > 0 {
		m.Etag = etagOf(f.Revision)
	}
	for _, phase := range f.PhaseWindows() {
		m.Phases = append(m.Phases, phaseWindowToProto(phase))
	}
	if f.Offer != nil {
		m.Offer = offerToProto(f)
	}
	for _, r := range f.Riders {
		m.Loads = append(m.Loads, &saggarv1.FiringLoad{
			Run: convert.Name(studio, kindRuns, r.RunID), Stage: r.Stage, Department: r.Department, Maker: r.Maker,
			State: loadStates.toProto(r.State), Liters: r.Liters, Grams: r.Grams,
		})
	}
	return m
}

func offerToProto(f domain.Firing) *saggarv1.FiringOffer {
	return &saggarv1.FiringOffer{
		Liters: f.Offer.Liters, Grams: f.Offer.Grams, JoinUntilTime: timestamppb.New(f.Offer.Until), Departments: f.Offer.Departments,
		FreeLiters: max(f.FreeLiters(), 0), FreeGrams: max(f.FreeGrams(), 0), OpenedBy: f.Offer.OpenedBy,
		HeatProgram: convert.ProgramToProto(&f.Offer.Program), OpenBelowCelsius: f.Offer.OpenBelowCelsius,
	}
}

func offerFromProto(m *saggarv1.FiringOffer) app.OfferInput {
	offer := app.OfferInput{Liters: m.GetLiters(), Grams: m.GetGrams(), Departments: m.GetDepartments()}
	if m.GetJoinUntilTime() != nil {
		offer.Until = m.GetJoinUntilTime().AsTime().Truncate(time.Second)
	}
	return offer
}
