package rpc

import (
	"google.golang.org/protobuf/types/known/timestamppb"

	"saggar/chem/finding"
	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/app"
	"saggar/server/domain"
)

// lotFromProto converts what is said of a lot. Its id is that of its name.
func lotFromProto(m *saggarv1.Lot) domain.Lot {
	lot := domain.Lot{
		Lot: convert.LotFromProto(m), Title: m.GetTitle(), Department: m.GetDepartment(), Shared: m.GetShared(), Place: m.GetPlace(),
		SafetySheet: m.GetSafetySheet(), LowStockGrams: m.GetLowStockGrams(),
	}
	lot.ID = convert.ID(m.GetName())
	return lot
}

func lotToProto(studio string, l app.SeenLot) *saggarv1.Lot {
	m := convert.LotToProto(l.Lot.Lot)
	m.Name, m.Title, m.Department, m.Shared = convert.Name(studio, kindLots, l.ID), l.Title, l.Department, l.Shared
	m.Place, m.SafetySheet, m.LowStockGrams = l.Place, l.SafetySheet, l.LowStockGrams
	m.MassGrams, m.ReservedGrams, m.LowStock = l.OnHand.Grams(), l.Reserved.Grams(), l.IsLow()
	m.AgeDays, m.Etag, m.CreateTime = int32(l.AgeDays), etagOf(l.Revision), instant(l.CreateTime)
	return m
}

func lotEntryToProto(studio string, e domain.LotEntry) *saggarv1.LotEntry {
	m := &saggarv1.LotEntry{
		Lot: e.LotID, EntryTime: timestamppb.New(e.Time), Caller: e.Caller, Kind: lotEntryKinds.toProto(e.Kind),
		ChangeGrams: e.MassChange.Grams(), ReservedChangeGrams: e.ReservedChange.Grams(), MassGrams: e.OnHand.Grams(),
		ReservedGrams: e.Reserved.Grams(), Reason: e.Reason,
	}
	if e.RunID != "" {
		m.Run = convert.Name(studio, kindRuns, e.RunID)
	}
	return m
}

// lotDraws converts which lots a run names for its additions. Faults carry paths below the run.
func lotDraws(studio string, messages []*saggarv1.LotDraw, startsFrom string) ([]app.DrawRequest, finding.Faults) {
	var faults finding.Faults
	var draws []app.DrawRequest
	for i, m := range messages {
		name, fault := within(studio, listPath("lot_draws", i)+".lot", m.GetLot())
		faults = append(faults, fault...)
		// A run as it was given out lists the lot that it starts from too.
		if isStart := m.GetMaterial() == "" && m.GetMassGrams() > 0 && m.GetLot() == startsFrom; !isStart {
			draws = append(draws, app.DrawRequest{Lot: name.id, Material: m.GetMaterial(), Stage: m.GetStage()})
		}
	}
	return draws, faults
}

func lotDrawsToProto(studio string, draws []domain.LotDraw) []*saggarv1.LotDraw {
	var messages []*saggarv1.LotDraw
	for _, d := range draws {
		messages = append(messages, &saggarv1.LotDraw{
			Lot: convert.Name(studio, kindLots, d.Lot), Material: d.Material, Stage: d.Stage, MassGrams: d.Mass.Grams(),
			State: lotDrawStates.toProto(d.State),
		})
	}
	return messages
}

// requestedDrawsToProto are draws as they were asked for.
func requestedDrawsToProto(studio string, draws []app.DrawRequest) []*saggarv1.LotDraw {
	var messages []*saggarv1.LotDraw
	for _, d := range draws {
		messages = append(messages, &saggarv1.LotDraw{Lot: convert.Name(studio, kindLots, d.Lot), Material: d.Material, Stage: d.Stage})
	}
	return messages
}

// lotName is the full name of a lot, or empty for none.
func lotName(studio, id string) string {
	if id == "" {
		return ""
	}
	return convert.Name(studio, kindLots, id)
}
