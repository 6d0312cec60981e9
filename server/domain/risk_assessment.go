package domain

import (
	"time"

	"saggar/chem/air"
	"saggar/chem/assess"
	"saggar/chem/heat"
)

// RiskAssessment is what a run that stands can do to people, and what stands against it.
type RiskAssessment struct {
	StudioID, Title string
	Zone            *time.Location
	AsOf            time.Time
	Revision        int64
	Run             Run
	Assessment      assess.Assessment
	Furnaces        []heat.Furnace // by id
	Rooms           []DayRoom      // by id
	Circuits        []air.Circuit  // by id
	// AcknowledgedBy booked the run or changed it last, at AcknowledgedAt; empty when the trace does not say.
	AcknowledgedBy string
	AcknowledgedAt time.Time
	Beside         []string // what rides in the same firings, a sentence for each load of others
	Missing        []string // what is not known, a sentence each
}
