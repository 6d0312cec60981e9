package main

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"saggar/chem"
	"saggar/chem/air"
	"saggar/chem/assess"
	"saggar/chem/finding"
	"saggar/chem/heat"
	"saggar/client/file"
	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
)

// checkOffline answers from files alone, by the same sums as a server.
func (s *shell) checkOffline(_ context.Context, q recipeQuestion) (*saggarv1.CheckRecipeResponse, source, error) {
	studio, err := file.ReadStudio(q.studioFiles, file.Options{Studio: s.studio})
	if err != nil {
		return nil, source{}, badInput(err)
	}
	site, err := siteOf(studio.Contents, q.onDate)
	if err != nil {
		return nil, source{}, badInput(err)
	}
	known, err := s.readMaterials(slices.Concat(q.studioFiles, q.materialFiles), studio.ID)
	if err == nil {
		err = known.mixtures()
	}
	if err != nil {
		return nil, source{}, badInput(err)
	}
	request, from, err := s.readRequest(q, studio.ID)
	if err != nil {
		return nil, source{}, badInput(err)
	}
	assessment, err := assessOffline(site, request, known.materials)
	if err != nil {
		return nil, source{}, badInput(from.located(err))
	}
	return convert.AssessmentToProto(assessment), from, nil
}

// assessOffline works out what a request asks on the site.
func assessOffline(site assess.Site, request *saggarv1.CheckRecipeRequest, materials chem.Materials) (assess.Assessment, error) {
	recipe := convert.RecipeFromProto(request.GetRecipe())
	scale := convert.ScaleFromProto(request.GetScale())
	faults := unknownFurnaces(recipe, site.Furnaces)
	if start := convert.StartFromProto(request); start != nil {
		if err := faults.Err(); err != nil {
			return assess.Assessment{}, err
		}
		return site.RecipeFrom(recipe, materials, scale, *start)
	}
	missing := ofMaterials(recipe.Validate(materials), "give the file that has it with --material-file; 'saggar material library show "+
		"ID --output yaml' writes one for a common raw material")
	if err := append(missing, faults...).Err(); err != nil {
		return assess.Assessment{}, err
	}
	return site.Recipe(recipe, materials, scale)
}

// siteOf is the part of a studio's files that an assessment needs; no date means today in the studio.
func siteOf(contents *saggarv1.StudioFile, onDate string) (assess.Site, error) {
	studio := contents.GetStudio()
	zone, err := time.LoadLocation(studio.GetTimeZone()) // unset: UTC
	if err != nil {
		return assess.Site{}, fmt.Errorf("studio.time_zone: %w: give one such as Europe/Lisbon", err)
	}
	day := time.Now().In(zone)
	if onDate != "" {
		if day, err = localDate("on-date", onDate, zone); err != nil {
			return assess.Site{}, err
		}
	}
	site := assess.Site{
		Rooms: map[string]air.Room{}, Practice: chem.DefaultPractice(), ChargeMinutes: int(studio.GetChargeMinutes()),
		DrawMinutes: int(studio.GetDrawMinutes()), OnDate: day.Format(time.DateOnly),
		OwnLimits: convert.OwnLimitsFromProto(studio.GetOwnLimits()),
	}
	if fraction := studio.GetAcidMistFraction(); fraction > 0 {
		site.Practice.AcidMistFraction = fraction
	}
	for _, room := range contents.GetRooms() {
		site.Rooms[convert.ID(room.GetName())] = convert.RoomFromProto(room)
	}
	for _, circuit := range contents.GetExtractionCircuits() {
		site.Circuits = append(site.Circuits, convert.CircuitFromProto(circuit))
	}
	slices.SortFunc(site.Circuits, func(a, b air.Circuit) int { return strings.Compare(a.ID, b.ID) })
	for _, furnace := range contents.GetFurnaces() {
		site.Furnaces = append(site.Furnaces, convert.FurnaceFromProto(furnace))
	}
	return site, nil
}

// unknownFurnaces are the faults of stages that name a furnace which the studio's files do not hold.
func unknownFurnaces(recipe chem.Recipe, stand []heat.Furnace) finding.Faults {
	var faults finding.Faults
	for i, stage := range recipe.Stages {
		for k, id := range stage.Furnaces {
			if !slices.ContainsFunc(stand, func(f heat.Furnace) bool { return f.ID == id }) {
				faults.Add(fmt.Sprintf("stages[%d].furnaces[%d]", i, k), fmt.Sprintf("there is no furnace %q in the studio", id),
					"name one that stands, or none for every one that can")
			}
		}
	}
	return faults
}
