package convert

import (
	"cmp"

	"saggar/chem/air"
	"saggar/chem/heat"
	saggarv1 "saggar/proto/saggar/v1"
)

// defaultMixingFactor is what an unset mixing factor means: common practice, no source.
const defaultMixingFactor = 3

// RoomFromProto converts a room; an unset mixing factor means 3, an unset crew one person.
func RoomFromProto(m *saggarv1.Room) air.Room {
	room := air.Room{
		ID: ID(m.GetName()), Title: m.GetTitle(), VolumeCubicMeters: m.GetVolumeCubicMeters(),
		MakeUpCubicMetersPerSecond: m.GetMakeUpCubicMetersPerSecond(),
		MixingFactor:               cmp.Or(m.GetMixingFactor(), defaultMixingFactor), CrewCount: max(int(m.GetCrewCount()), 1),
		EmergencyContact: m.GetEmergencyContact(),
	}
	for _, t := range m.GetTransfers() {
		room.Transfers = append(room.Transfers, air.Transfer{
			ToRoom: t.GetToRoom(), CubicMetersPerSecond: t.GetCubicMetersPerSecond(),
		})
	}
	for _, d := range m.GetDetectors() {
		room.Detectors = append(room.Detectors, air.Detector{Species: d.GetSpecies(), TestedOn: d.GetTestedOn()})
	}
	return room
}

// RoomToProto converts a room of a studio.
func RoomToProto(studio string, r air.Room) *saggarv1.Room {
	m := &saggarv1.Room{
		Name: Name(studio, "rooms", r.ID), Title: r.Title, VolumeCubicMeters: r.VolumeCubicMeters,
		MakeUpCubicMetersPerSecond: r.MakeUpCubicMetersPerSecond, MixingFactor: r.MixingFactor, CrewCount: int32(r.CrewCount),
		EmergencyContact: r.EmergencyContact,
	}
	for _, t := range r.Transfers {
		m.Transfers = append(m.Transfers, &saggarv1.Transfer{ToRoom: t.ToRoom, CubicMetersPerSecond: t.CubicMetersPerSecond})
	}
	for _, d := range r.Detectors {
		m.Detectors = append(m.Detectors, &saggarv1.Detector{Species: d.Species, TestedOn: d.TestedOn})
	}
	return m
}

// CircuitFromProto converts an extraction circuit.
func CircuitFromProto(m *saggarv1.ExtractionCircuit) air.Circuit {
	circuit := air.Circuit{ID: ID(m.GetName()), Title: m.GetTitle(), Recirculating: m.GetRecirculating()}
	for _, b := range m.GetBranches() {
		circuit.Branches = append(circuit.Branches, air.Branch{
			ID: b.GetId(), Room: b.GetRoom(), CubicMetersPerSecond: b.GetCubicMetersPerSecond(),
			DamperPosition: b.GetDamperPosition(), MeasuredOn: b.GetMeasuredOn(), Method: b.GetMethod(),
		})
	}
	return circuit
}

// CircuitToProto converts an extraction circuit of a studio.
func CircuitToProto(studio string, c air.Circuit) *saggarv1.ExtractionCircuit {
	m := &saggarv1.ExtractionCircuit{
		Name: Name(studio, "extractionCircuits", c.ID), Title: c.Title, Recirculating: c.Recirculating,
	}
	for _, b := range c.Branches {
		m.Branches = append(m.Branches, &saggarv1.Branch{
			Id: b.ID, Room: b.Room, CubicMetersPerSecond: b.CubicMetersPerSecond, DamperPosition: b.DamperPosition,
			MeasuredOn: b.MeasuredOn, Method: b.Method,
		})
	}
	return m
}

// FurnaceFromProto converts a furnace; no atmosphere means oxidising only, an unset ambient temperature 20 C.
func FurnaceFromProto(m *saggarv1.Furnace) heat.Furnace {
	f := heat.Furnace{
		ID: ID(m.GetName()), Title: m.GetTitle(), Room: m.GetRoom(), Supply: m.GetSupply(), Branch: m.GetBranch(),
		Source: sources.fromProto(m.GetSource()), NetKilowatts: m.GetNetKilowatts(), InputKilowatts: m.GetInputKilowatts(),
		TopCelsius: m.GetTopCelsius(), ChamberLiters: m.GetChamberLiters(), MaxChargeGrams: m.GetMaxChargeGrams(),
		HeatingTimes: timingsFromProto(m.GetHeatingTimes()), CoolingTimes: timingsFromProto(m.GetCoolingTimes()),
		AmbientCelsius: cmp.Or(m.GetAmbientCelsius(), heat.DefaultAmbientCelsius), Control: controls.fromProto(m.GetControl()),
		ToleranceCelsius: m.GetToleranceCelsius(), MaxRateCelsiusPerHour: m.GetMaxRateCelsiusPerHour(),
		ElementType: m.GetElementType(), ThermocoupleType: m.GetThermocoupleType(),
		OverTemperatureCutOut: m.GetOverTemperatureCutOut(), Excludes: m.GetExcludes(),
		StopSteps: m.GetStopSteps(), PricePerHour: m.GetPricePerHour(), ChamberWidthMillimeters: m.GetChamberWidthMillimeters(),
		ChamberDepthMillimeters: m.GetChamberDepthMillimeters(), ChamberHeightMillimeters: m.GetChamberHeightMillimeters(),
		Capture: heat.Capture{
			ClosedFraction: m.GetCapture().GetClosedFraction(), DoorOpenFraction: m.GetCapture().GetDoorOpenFraction(),
			Method: m.GetCapture().GetMethod(), MeasuredOn: m.GetCapture().GetMeasuredOn(),
		},
	}
	if i := m.GetFanInterlock(); i != nil {
		f.FanInterlock = heat.FanInterlock{Kind: interlockKinds.fromProto(i.GetKind()), TestedOn: i.GetTestedOn()}
	}
	for _, a := range m.GetAtmospheres() {
		f.Atmospheres = append(f.Atmospheres, atmospheres.fromProto(a))
	}
	if len(f.Atmospheres) == 0 {
		f.Atmospheres = []heat.Atmosphere{heat.Oxidising}
	}
	for _, s := range m.GetFlueSettings() {
		if f.FlueCarbonMonoxideGramsPerKilowattHour == nil {
			f.FlueCarbonMonoxideGramsPerKilowattHour = map[heat.Atmosphere]float64{}
		}
		f.FlueCarbonMonoxideGramsPerKilowattHour[atmospheres.fromProto(s.GetAtmosphere())] = s.GetCarbonMonoxideGramsPerKilowattHour()
	}
	return f
}

// FurnaceToProto converts a furnace of a studio.
func FurnaceToProto(studio string, f heat.Furnace) *saggarv1.Furnace {
	m := &saggarv1.Furnace{
		Name: Name(studio, "furnaces", f.ID), Title: f.Title, Room: f.Room, Supply: f.Supply, Branch: f.Branch,
		Source: sources.toProto(f.Source), NetKilowatts: f.NetKilowatts, InputKilowatts: f.InputKilowatts,
		TopCelsius: f.TopCelsius, ChamberLiters: f.ChamberLiters, MaxChargeGrams: f.MaxChargeGrams,
		HeatingTimes: timingsToProto(f.HeatingTimes), CoolingTimes: timingsToProto(f.CoolingTimes),
		AmbientCelsius: f.AmbientCelsius, Control: controls.toProto(f.Control), ToleranceCelsius: f.ToleranceCelsius,
		MaxRateCelsiusPerHour: f.MaxRateCelsiusPerHour, ElementType: f.ElementType, ThermocoupleType: f.ThermocoupleType,
		OverTemperatureCutOut: f.OverTemperatureCutOut, Excludes: f.Excludes,
		StopSteps: f.StopSteps, PricePerHour: f.PricePerHour, ChamberWidthMillimeters: f.ChamberWidthMillimeters,
		ChamberDepthMillimeters: f.ChamberDepthMillimeters, ChamberHeightMillimeters: f.ChamberHeightMillimeters,
	}
	if f.Capture != (heat.Capture{}) {
		m.Capture = &saggarv1.Capture{
			ClosedFraction: f.Capture.ClosedFraction, DoorOpenFraction: f.Capture.DoorOpenFraction,
			Method: f.Capture.Method, MeasuredOn: f.Capture.MeasuredOn,
		}
	}
	if f.FanInterlock != (heat.FanInterlock{}) {
		m.FanInterlock = &saggarv1.FanInterlock{Kind: interlockKinds.toProto(f.FanInterlock.Kind), TestedOn: f.FanInterlock.TestedOn}
	}
	for _, a := range f.Atmospheres {
		m.Atmospheres = append(m.Atmospheres, atmospheres.toProto(a))
	}
	for _, pair := range atmospheres { // in a fixed order
		if grams, ok := f.FlueCarbonMonoxideGramsPerKilowattHour[pair.value]; ok {
			m.FlueSettings = append(m.FlueSettings, &saggarv1.FlueSetting{
				Atmosphere: pair.message, CarbonMonoxideGramsPerKilowattHour: grams,
			})
		}
	}
	return m
}

func timingsFromProto(list []*saggarv1.Timing) []heat.Timing {
	var timings []heat.Timing
	for _, t := range list {
		timings = append(timings, heat.Timing{
			FromCelsius: t.GetFromCelsius(), ToCelsius: t.GetToCelsius(), Minutes: t.GetMinutes(),
		})
	}
	return timings
}

func timingsToProto(list []heat.Timing) []*saggarv1.Timing {
	var timings []*saggarv1.Timing
	for _, t := range list {
		timings = append(timings, &saggarv1.Timing{FromCelsius: t.FromCelsius, ToCelsius: t.ToCelsius, Minutes: t.Minutes})
	}
	return timings
}
