package rpc

import (
	"fmt"
	"strconv"
	"strings"

	"saggar/chem/finding"
	"saggar/proto/convert"
	"saggar/server/domain"
)

// resourceName is `studios/{studio}/{kind}/{id}`, with `/versions/{version}` behind it where a version is meant.
type resourceName struct {
	studio, kind, id string
	version          int // 0: the newest, or a resource without versions
}

const (
	studiosPrefix   = "studios/"
	kindMaterials   = "materials"
	kindRecipes     = "recipes"
	kindLots        = "lots"
	kindRuns        = "runs"
	kindFirings     = "firings"
	versionsSegment = "versions"
)

// parseName reads a name that the field rules let pass; a name left out is what remains to be refused.
func parseName(field, name string) (resourceName, error) {
	parts := strings.Split(name, "/")
	if len(parts) != 4 && len(parts) != 6 {
		return resourceName{}, finding.Faults{{
			Field: field, Message: fmt.Sprintf("%q is no resource's name", name), Cure: "give one such as studios/north/rooms/hall",
		}}
	}
	parsed := resourceName{studio: parts[1], kind: parts[2], id: parts[3]}
	if len(parts) == 6 {
		// The field rules allow nine digits.
		parsed.version, _ = strconv.Atoi(parts[5])
	}
	return parsed, nil
}

// within reads the name of a resource that must belong to a studio.
func within(studio, field, name string) (resourceName, finding.Faults) {
	parsed, err := parseName(field, name)
	if err != nil {
		return parsed, finding.FaultsOf(err)
	}
	if parsed.studio != studio {
		return parsed, finding.Faults{{
			Field: field, Message: fmt.Sprintf("%s belongs to another studio than %s", name, studioName(studio)),
			Cure: "name resources of one studio in one request",
		}}
	}
	return parsed, nil
}

// studioOf is the id in `studios/{studio}`.
func studioOf(name string) string { return strings.TrimPrefix(name, studiosPrefix) }

func studioName(id string) string { return studiosPrefix + id }

func equipmentName(studio string, e domain.Equipment) string {
	return convert.Name(studio, string(e.Kind), e.ID)
}

func recipeName(studio, id string, version int) string {
	name := convert.Name(studio, kindRecipes, id)
	if version == 0 {
		return name
	}
	return fmt.Sprintf("%s/%s/%d", name, versionsSegment, version)
}
