package api

import (
	"strings"

	"google.golang.org/protobuf/proto"

	saggarv1 "saggar/proto/saggar/v1"
)

// Digest makes findings shorter to read, for people: what says the same is told once, a message that does not name what it
// is about begins with it, and a cure that was given before is not repeated. The findings themselves stay as they are.
func Digest(findings []*saggarv1.Finding) []*saggarv1.Finding {
	var told []*saggarv1.Finding
	seen := map[string]bool{}
	cures := map[string]string{} // code of the finding that gave it first
	last := ""
	for _, f := range findings {
		short := proto.CloneOf(f)
		if f.GetAbout() != "" && !strings.Contains(f.GetMessage(), f.GetAbout()) {
			short.Message = f.GetAbout() + ": " + f.GetMessage()
		}
		key := f.GetSeverity().String() + f.GetCode() + short.GetMessage()
		if seen[key] {
			continue
		}
		seen[key] = true
		first, given := cures[f.GetCure()]
		switch {
		case f.GetCure() == "":
		case !given:
			cures[f.GetCure()] = f.GetCode()
		case f.GetCure() == last:
			short.Cure = "as above"
		default:
			short.Cure = "as for " + first + " above"
		}
		last = f.GetCure()
		told = append(told, short)
	}
	return told
}
