package rpc

import (
	"google.golang.org/protobuf/types/known/timestamppb"

	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/app"
)

func personDaysToProto(studio string, days []app.PersonDay) []*saggarv1.PersonDay {
	var messages []*saggarv1.PersonDay
	for _, d := range days {
		m := &saggarv1.PersonDay{
			Person: d.Person, Date: d.Date, MixtureRatio: d.MixtureRatio(), Findings: convert.FindingsToProto(d.Findings),
		}
		for _, s := range d.Stays {
			stay := &saggarv1.PersonStay{
				Room: s.Room, Furnace: s.Firing.Furnace, StartTime: timestamppb.New(s.Window.Start), EndTime: timestamppb.New(s.Window.End),
			}
			if s.Firing.ID != "" {
				stay.Firing = convert.Name(studio, kindFirings, s.Firing.ID)
			}
			m.Stays = append(m.Stays, stay)
		}
		for _, l := range d.Limits() {
			m.Exposures = append(m.Exposures, &saggarv1.PersonExposure{
				Species: l.Species, Authority: l.Authority, Kind: string(l.Kind), AveragingMinutes: l.AveragingMinutes, MeanPpm: l.MeanPPM,
				LimitPpm: l.PPM, Ratio: l.Ratio, Severity: convert.SeverityToProto(l.Severity), Source: l.Source,
			})
		}
		messages = append(messages, m)
	}
	return messages
}
