package convert

import (
	"saggar/chem/air"
	"saggar/chem/data"
	saggarv1 "saggar/proto/saggar/v1"
)

var limitKinds = pairs[saggarv1.LimitKind, data.LimitKind]{
	{saggarv1.LimitKind_LIMIT_KIND_UNSPECIFIED, ""},
	{saggarv1.LimitKind_LIMIT_KIND_TWA, data.TimeWeighted},
	{saggarv1.LimitKind_LIMIT_KIND_STEL, data.ShortTerm},
	{saggarv1.LimitKind_LIMIT_KIND_C, data.Ceiling},
}

// OwnLimitsFromProto converts the limits that a studio sets for itself; none gives nil.
func OwnLimitsFromProto(messages []*saggarv1.OwnLimit) []air.OwnLimit {
	var limits []air.OwnLimit
	for _, m := range messages {
		limits = append(limits, air.OwnLimit{
			Species: m.GetSpecies(), Name: m.GetTitle(), Kind: limitKinds.fromProto(m.GetKind()),
			AveragingMinutes: m.GetAveragingMinutes(), PPM: m.GetLimitPpm(), Source: m.GetSource(),
		})
	}
	return limits
}

// OwnLimitsToProto converts the limits that a studio sets for itself.
func OwnLimitsToProto(limits []air.OwnLimit) []*saggarv1.OwnLimit {
	var messages []*saggarv1.OwnLimit
	for _, l := range limits {
		messages = append(messages, &saggarv1.OwnLimit{
			Species: l.Species, Title: l.Name, Kind: limitKinds.toProto(l.Kind), AveragingMinutes: l.AveragingMinutes,
			LimitPpm: l.PPM, Source: l.Source,
		})
	}
	return messages
}
