package main

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"saggar/chem"
	"saggar/chem/finding"
	"saggar/client/file"
	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
)

// shelf is the materials of several files, and where each was written.
type shelf struct {
	materials chem.Materials
	from      map[string]source
}

// readMaterials reads the materials of files: in each one, or those listed under materials: in a studio's file. Mixtures may be
// made of materials in other files. Errors: with the file and line.
func (s *shell) readMaterials(paths []string, studio string) (shelf, error) {
	known := shelf{chem.Materials{}, map[string]source{}}
	for _, path := range paths {
		if err := s.addMaterials(known, path, studio); err != nil {
			return shelf{}, err
		}
	}
	return known, nil
}

// mixtures finds the mixtures on the shelf that cannot be worked out.
func (k shelf) mixtures() error {
	var faults []error
	told := map[finding.Fault]bool{}
	for _, id := range sortedKeys(k.materials) {
		if !k.materials[id].IsMixture() {
			continue
		}
		_, err := k.materials.Resolved(id)
		for _, fault := range finding.FaultsOf(err) {
			if !told[fault] {
				told[fault] = true
				faults = append(faults, k.located(fault))
			}
		}
	}
	return errors.Join(faults...)
}

// located gives a fault of a material on the shelf, materials[ID].FIELD, the file and line that it comes from.
func (k shelf) located(fault finding.Fault) error {
	id, field, _ := strings.Cut(strings.TrimPrefix(fault.Field, "materials["), "]")
	from, known := k.from[id]
	if !known {
		return finding.Faults{fault}
	}
	fault.Field = strings.TrimPrefix(field, ".")
	return from.located(finding.Faults{fault})
}

func (s *shell) addMaterials(known shelf, path, studio string) error {
	name, data, err := s.read(path)
	if err != nil {
		return err
	}
	options := file.Options{Studio: studio, Zone: time.UTC} // times in it are not looked at
	contents, at := &saggarv1.StudioFile{}, "materials[%d]."
	var lines file.Lines
	if hasKey(data, "phases") || hasKey(data, "oxides") || hasKey(data, "parts") {
		contents.Materials, at = []*saggarv1.Material{{}}, ""
		lines, err = file.Decode(name, data, contents.GetMaterials()[0], options)
	} else {
		lines, err = file.Decode(name, data, contents, options)
	}
	if err != nil {
		return err
	}
	for i, message := range contents.GetMaterials() {
		from := source{name: name, lines: lines}
		if at != "" {
			from.path = fmt.Sprintf(at, i)
		}
		material := convert.MaterialFromProto(message)
		faults := material.Validate()
		if _, twice := known.materials[material.ID]; twice {
			faults.Add("name", fmt.Sprintf("the material %s is given twice", material.ID), "leave one of the two out")
		}
		if err := faults.Err(); err != nil {
			return from.located(err)
		}
		known.materials[material.ID], known.from[material.ID] = material, from
	}
	return nil
}

// ofMaterials gives faults about materials that nobody named the cure that the command line knows.
func ofMaterials(faults finding.Faults, cure string) finding.Faults {
	for i := range faults {
		if strings.HasPrefix(faults[i].Message, "there is no material ") {
			faults[i].Cure = cure
		}
	}
	return faults
}
