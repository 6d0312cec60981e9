package app

import (
	"bytes"
	"encoding/json"

	"saggar/chem/finding"
)

// asFaults returns the faults that an error carries, or the error's text as a fault of no field.
func asFaults(err error) finding.Faults {
	if faults := finding.FaultsOf(err); faults != nil {
		return faults
	}
	return finding.Faults{{Message: err.Error()}}
}

// underPath puts the faults that an error carries under a path; another error passes through.
func underPath(path string, err error) error {
	faults := finding.FaultsOf(err)
	if faults == nil {
		return err
	}
	var under finding.Faults
	under.AddUnder(path, faults)
	return under
}

// same reports whether two resources would be stored alike.
func same(a, b any) bool {
	x, errX := json.Marshal(a)
	y, errY := json.Marshal(b)
	return errX == nil && errY == nil && bytes.Equal(x, y)
}
