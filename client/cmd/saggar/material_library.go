package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"saggar/chem"
	"saggar/client/render"
	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
)

// materialLibrary is the raw materials that come with the program, as a studio's file lists materials.
type materialLibrary struct {
	Materials render.Messages[*saggarv1.Material] `json:"materials"`
}

func (s *shell) libraryCommand() *cobra.Command {
	show := &cobra.Command{
		Use:     "show ID",
		Example: "  saggar material library show kaolin --output yaml > kaolin.yaml",
		Short:   "Show one of them; with --output yaml as a file for 'saggar material add'", Args: cobra.ExactArgs(1),
		RunE: func(_ *cobra.Command, args []string) error {
			material, known := chem.LibraryMaterial(args[0])
			if !known {
				return badInput(fmt.Errorf("ID: no raw material %q comes with the program: 'saggar material library' lists them", args[0]))
			}
			m := libraryMessage(material)
			return s.print(m, func() []render.Grid { return libraryGrids(m) })
		},
	}
	library := &cobra.Command{
		Use: "library", Short: "List the raw materials that come with the program, each with its source", Args: cobra.NoArgs,
		Long: "List the raw materials that come with the program, each with how far its source can be trusted. They are what such a\n" +
			"material typically is: an analysis of the lot at hand is better. No server is asked. With --output yaml the list is a\n" +
			"file for 'saggar studio load' and for --material-file.",
		RunE: func(*cobra.Command, []string) error {
			var all materialLibrary
			for _, material := range chem.Library() {
				all.Materials = append(all.Materials, libraryMessage(material))
			}
			return s.print(all, func() []render.Grid { return libraryGrids(all.Materials...) })
		},
	}
	library.AddCommand(show)
	return library
}

// libraryMessage is a raw material as a file of a studio's would say it: by its short id.
func libraryMessage(material chem.Material) *saggarv1.Material {
	m := convert.MaterialToProto("", material)
	m.Name = material.ID
	return m
}

func libraryGrids(list ...*saggarv1.Material) []render.Grid {
	grid := materialGrid(list...)
	grid.Columns = append(grid.Columns[:1], append(grid.Columns[2:], "source")...)
	for i, row := range grid.Rows {
		grid.Rows[i] = append(row[:1], append(row[2:], list[i].GetSource())...) // without the version: there is none
	}
	return []render.Grid{grid}
}
