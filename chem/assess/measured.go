package assess

import (
	"fmt"

	"saggar/chem"
	"saggar/chem/air"
	"saggar/chem/finding"
)

// oldReleases finds releases that were measured too long ago to stand for what the balance says.
func (s Site) oldReleases(stage chem.Stage, path string) []finding.Finding {
	var found []finding.Finding
	for i, m := range stage.MeasuredReleases {
		old, err := air.OldMeasurements([]air.Measurement{{
			About: stage.ID, Quantity: "release of " + m.Species, MeasuredOn: m.MeasuredOn,
		}}, s.OnDate)
		if err != nil {
			return asFindings(err, path, stage.ID)
		}
		for _, f := range old {
			f.Field = fmt.Sprintf("%s.measured_releases[%d].%s", path, i, f.Field)
			found = append(found, f)
		}
	}
	return found
}
