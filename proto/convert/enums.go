package convert

import (
	"saggar/chem"
	"saggar/chem/finding"
	"saggar/chem/heat"
	saggarv1 "saggar/proto/saggar/v1"
)

// pairs maps an enum's values to a value type's words and back. The first pair is what an unset enum means.
type pairs[M, V comparable] []struct {
	message M
	value   V
}

// fromProto returns the word of an enum's value; an unknown value, or the unset one, gives the first pair's.
func (p pairs[M, V]) fromProto(message M) V {
	for _, pair := range p {
		if pair.message == message {
			return pair.value
		}
	}
	return p[0].value
}

// toProto returns the enum's value of a word; an unknown one gives the zero value.
func (p pairs[M, V]) toProto(value V) M {
	for _, pair := range p {
		if pair.value == value {
			return pair.message
		}
	}
	var unspecified M
	return unspecified
}

var severities = pairs[saggarv1.Severity, finding.Severity]{
	{saggarv1.Severity_SEVERITY_BLOCK, finding.Block}, // first: an unknown severity counts as the worst
	{saggarv1.Severity_SEVERITY_WARN, finding.Warn},
	{saggarv1.Severity_SEVERITY_NOTE, finding.Note},
}

var atmospheres = pairs[saggarv1.Atmosphere, heat.Atmosphere]{
	{saggarv1.Atmosphere_ATMOSPHERE_OXIDISING, heat.Oxidising},
	{saggarv1.Atmosphere_ATMOSPHERE_NEUTRAL, heat.Neutral},
	{saggarv1.Atmosphere_ATMOSPHERE_REDUCING, heat.Reducing},
}

var coolings = pairs[saggarv1.Cooling, heat.Cooling]{
	{saggarv1.Cooling_COOLING_CLOSED, heat.CoolClosed},
	{saggarv1.Cooling_COOLING_OPEN, heat.CoolOpen},
	{saggarv1.Cooling_COOLING_SET_DOWN, heat.SetDown},
}

// An unset watch stays empty: chem/heat then decides.
var watches = pairs[saggarv1.Watch, heat.Watch]{
	{saggarv1.Watch_WATCH_UNSPECIFIED, ""},
	{saggarv1.Watch_WATCH_NONE, heat.WatchNone},
	{saggarv1.Watch_WATCH_IN_REACH, heat.InReach},
	{saggarv1.Watch_WATCH_IN_ROOM, heat.InRoom},
}

var sources = pairs[saggarv1.HeatSource, heat.Source]{
	{saggarv1.HeatSource_HEAT_SOURCE_UNSPECIFIED, ""},
	{saggarv1.HeatSource_HEAT_SOURCE_ELECTRIC, heat.Electric},
	{saggarv1.HeatSource_HEAT_SOURCE_GAS, heat.Gas},
	{saggarv1.HeatSource_HEAT_SOURCE_BENCH, heat.Bench},
}

var interlockKinds = pairs[saggarv1.FanInterlockKind, heat.InterlockKind]{
	{saggarv1.FanInterlockKind_FAN_INTERLOCK_KIND_UNSPECIFIED, ""},
	{saggarv1.FanInterlockKind_FAN_INTERLOCK_KIND_NONE, heat.NoInterlock},
	{saggarv1.FanInterlockKind_FAN_INTERLOCK_KIND_FLOW_SWITCH, heat.FlowSwitch},
	{saggarv1.FanInterlockKind_FAN_INTERLOCK_KIND_CURRENT_RELAY, heat.CurrentRelay},
	{saggarv1.FanInterlockKind_FAN_INTERLOCK_KIND_PRESSURE_SWITCH, heat.PressureSwitch},
}

var controls = pairs[saggarv1.Control, heat.Control]{
	{saggarv1.Control_CONTROL_BY_HAND, heat.ByHand},
	{saggarv1.Control_CONTROL_PROGRAMMED, heat.Programmed},
	{saggarv1.Control_CONTROL_SET_POINT, heat.SetPoint},
}

var phaseKinds = pairs[saggarv1.PhaseKind, heat.PhaseKind]{
	{saggarv1.PhaseKind_PHASE_KIND_UNSPECIFIED, ""},
	{saggarv1.PhaseKind_PHASE_KIND_WARM, heat.Warm},
	{saggarv1.PhaseKind_PHASE_KIND_CHARGE, heat.Charge},
	{saggarv1.PhaseKind_PHASE_KIND_FIRE, heat.Fire},
	{saggarv1.PhaseKind_PHASE_KIND_FEED, heat.Feed},
	{saggarv1.PhaseKind_PHASE_KIND_COOL, heat.Cool},
	{saggarv1.PhaseKind_PHASE_KIND_OPEN, heat.Open},
	{saggarv1.PhaseKind_PHASE_KIND_WAIT, heat.Wait},
	{saggarv1.PhaseKind_PHASE_KIND_DRAW, heat.Draw},
	{saggarv1.PhaseKind_PHASE_KIND_CLEAR, heat.Clear},
	{saggarv1.PhaseKind_PHASE_KIND_WORK, heat.Work},
}

var stageKinds = pairs[saggarv1.StageKind, chem.StageKind]{
	{saggarv1.StageKind_STAGE_KIND_UNSPECIFIED, ""},
	{saggarv1.StageKind_STAGE_KIND_CALCINE, chem.Calcine},
	{saggarv1.StageKind_STAGE_KIND_REDUCE, chem.Reduce},
	{saggarv1.StageKind_STAGE_KIND_OXIDISE, chem.Oxidise},
	{saggarv1.StageKind_STAGE_KIND_SINTER, chem.Sinter},
	{saggarv1.StageKind_STAGE_KIND_BISQUE, chem.Bisque},
	{saggarv1.StageKind_STAGE_KIND_GLAZE, chem.Glaze},
	{saggarv1.StageKind_STAGE_KIND_ANNEAL, chem.Anneal},
	{saggarv1.StageKind_STAGE_KIND_MELT, chem.Melt},
	{saggarv1.StageKind_STAGE_KIND_BURN_OUT, chem.BurnOut},
	{saggarv1.StageKind_STAGE_KIND_DRY, chem.Dry},
	{saggarv1.StageKind_STAGE_KIND_WEIGH, chem.Weigh},
	{saggarv1.StageKind_STAGE_KIND_MIX, chem.Mix},
	{saggarv1.StageKind_STAGE_KIND_GRIND, chem.Grind},
	{saggarv1.StageKind_STAGE_KIND_PACK, chem.Pack},
	{saggarv1.StageKind_STAGE_KIND_WASH, chem.Wash},
	{saggarv1.StageKind_STAGE_KIND_LABEL, chem.Label},
}

var lids = pairs[saggarv1.Lid, chem.Lid]{
	{saggarv1.Lid_LID_OPEN, chem.OpenLid},
	{saggarv1.Lid_LID_LOOSE, chem.LooseLid},
	{saggarv1.Lid_LID_SEALED, chem.SealedLid},
}

var vesselKinds = pairs[saggarv1.VesselKind, chem.VesselKind]{
	{saggarv1.VesselKind_VESSEL_KIND_UNSPECIFIED, ""},
	{saggarv1.VesselKind_VESSEL_KIND_CRUCIBLE, chem.Crucible},
	{saggarv1.VesselKind_VESSEL_KIND_SAGGAR, chem.Saggar},
	{saggarv1.VesselKind_VESSEL_KIND_TRAY, chem.Tray},
}

var hazards = pairs[saggarv1.Hazard, chem.Hazard]{
	{saggarv1.Hazard_HAZARD_UNSPECIFIED, ""},
	{saggarv1.Hazard_HAZARD_OXIDISER, chem.HazardOxidiser},
	{saggarv1.Hazard_HAZARD_SULFUR, chem.HazardSulfur},
	{saggarv1.Hazard_HAZARD_SULFIDE, chem.HazardSulfide},
	{saggarv1.Hazard_HAZARD_CARBON, chem.HazardCarbon},
	{saggarv1.Hazard_HAZARD_METAL_POWDER, chem.HazardMetalPowder},
	{saggarv1.Hazard_HAZARD_METAL_OXIDE, chem.HazardMetalOxide},
	{saggarv1.Hazard_HAZARD_ACID, chem.HazardAcid},
	{saggarv1.Hazard_HAZARD_SILICA_DUST, chem.HazardSilicaDust},
	{saggarv1.Hazard_HAZARD_TOXIC, chem.HazardToxic},
	{saggarv1.Hazard_HAZARD_FLUORIDE, chem.HazardFluoride},
}

var offGasCases = pairs[saggarv1.OffGasCase, chem.Case]{
	{saggarv1.OffGasCase_OFF_GAS_CASE_CAUTIOUS, chem.Cautious},
	{saggarv1.OffGasCase_OFF_GAS_CASE_LIKELY, chem.Likely},
}

// SeverityFromProto converts a severity; unset means a note.
func SeverityFromProto(s saggarv1.Severity) finding.Severity { return severities.fromProto(s) }

// SeverityToProto converts a severity.
func SeverityToProto(s finding.Severity) saggarv1.Severity { return severities.toProto(s) }

// AtmosphereFromProto converts an atmosphere; unset stays empty.
func AtmosphereFromProto(a saggarv1.Atmosphere) heat.Atmosphere { return atmospheres.fromProto(a) }

// AtmosphereToProto converts an atmosphere.
func AtmosphereToProto(a heat.Atmosphere) saggarv1.Atmosphere { return atmospheres.toProto(a) }

// WatchToProto converts a watch.
func WatchToProto(w heat.Watch) saggarv1.Watch { return watches.toProto(w) }

// WatchFromProto converts a watch; unset stays empty.
func WatchFromProto(w saggarv1.Watch) heat.Watch { return watches.fromProto(w) }

// OffGasCaseFromProto converts a case; unset means the cautious one.
func OffGasCaseFromProto(c saggarv1.OffGasCase) chem.Case { return offGasCases.fromProto(c) }

// PhaseKindFromProto converts a kind of phase.
func PhaseKindFromProto(k saggarv1.PhaseKind) heat.PhaseKind { return phaseKinds.fromProto(k) }

// PhaseKindToProto converts a kind of phase.
func PhaseKindToProto(k heat.PhaseKind) saggarv1.PhaseKind { return phaseKinds.toProto(k) }

// LidToProto converts how a vessel is closed.
func LidToProto(l chem.Lid) saggarv1.Lid { return lids.toProto(l) }

// ControlToProto converts how a furnace follows a program.
func ControlToProto(c heat.Control) saggarv1.Control { return controls.toProto(c) }

// VesselKindToProto converts a kind of vessel.
func VesselKindToProto(k chem.VesselKind) saggarv1.VesselKind { return vesselKinds.toProto(k) }

// VesselKindFromProto converts a kind of vessel.
func VesselKindFromProto(k saggarv1.VesselKind) chem.VesselKind { return vesselKinds.fromProto(k) }

// LidFromProto converts how a vessel is closed; unset means open.
func LidFromProto(l saggarv1.Lid) chem.Lid { return lids.fromProto(l) }
