package main

import (
	"cmp"
	"strconv"

	"github.com/spf13/cobra"

	"saggar/client/api"
	"saggar/client/file"
	"saggar/client/render"
	saggarv1 "saggar/proto/saggar/v1"
)

func (s *shell) studioCommand() *cobra.Command {
	return group("studio", "Studios: load from files, show, list, change",
		s.studioLoadCommand(), s.studioShowCommand(), s.studioListCommand(), s.studioUpdateCommand())
}

func (s *shell) studioLoadCommand() *cobra.Command {
	var check bool
	command := &cobra.Command{
		Use:     "load FILE...",
		Example: "  saggar studio load studio.yaml materials.yaml recipes.yaml",
		Short:   "Load a studio from YAML files, all or nothing", Args: cobra.MinimumNArgs(1),
		RunE: func(c *cobra.Command, paths []string) error {
			studio, err := file.ReadStudio(paths, file.Options{Studio: s.studio})
			if err != nil {
				return badInput(err)
			}
			return s.connected(c.Context(), func(connection *api.Connection) error {
				answer, err := connection.Studios.LoadStudio(c.Context(), &saggarv1.LoadStudioRequest{
					Name: "studios/" + studio.ID, Contents: studio.Contents, ValidateOnly: check, RequestId: api.NewRequestID(),
				})
				if err != nil {
					return studioFaults(studio, err)
				}
				return s.print(answer, func() []render.Grid {
					return []render.Grid{{
						Columns: []string{"studio", "new", "changed", "unchanged", "revision"},
						Rows: [][]string{{
							studio.ID, count(answer.GetCreatedCount()), count(answer.GetUpdatedCount()),
							count(answer.GetUnchangedCount()), count(answer.GetStudio().GetRevision()),
						}},
					}}
				})
			})
		},
	}
	command.Flags().BoolVar(&check, "check", false, "check everything and store nothing")
	return command
}

func (s *shell) studioShowCommand() *cobra.Command {
	return &cobra.Command{
		Use: "show", Short: "Show the studio", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return s.inStudio(c.Context(), func(connection *api.Connection, parent string) error {
				studio, err := connection.Studios.GetStudio(c.Context(), &saggarv1.GetStudioRequest{Name: parent})
				if err != nil {
					return err
				}
				return s.print(studio, func() []render.Grid { return []render.Grid{studioGrid(studio)} })
			})
		},
	}
}

func (s *shell) studioListCommand() *cobra.Command {
	return &cobra.Command{
		Use: "list", Short: "List the studios that you may see", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return s.connected(c.Context(), func(connection *api.Connection) error {
				all := &saggarv1.ListStudiosResponse{}
				for token := ""; ; {
					page, err := connection.Studios.ListStudios(c.Context(), &saggarv1.ListStudiosRequest{PageToken: token})
					if err != nil {
						return err
					}
					all.Studios = append(all.Studios, page.GetStudios()...)
					if token = page.GetNextPageToken(); token == "" {
						break
					}
				}
				return s.print(all, func() []render.Grid { return []render.Grid{studioGrid(all.GetStudios()...)} })
			})
		},
	}
}

func (s *shell) studioUpdateCommand() *cobra.Command {
	var path string
	command := &cobra.Command{
		Use:     "update --file FILE",
		Example: "  saggar studio update --file studio.yaml",
		Short:   "Change the studio's own fields; those in the file are set", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return s.inStudio(c.Context(), func(connection *api.Connection, parent string) error {
				studio := &saggarv1.Studio{}
				from, err := s.decode(path, studio, nil)
				if err != nil {
					return badInput(err)
				}
				studio.Name = parent
				changed, err := connection.Studios.UpdateStudio(c.Context(), &saggarv1.UpdateStudioRequest{
					Studio: studio, UpdateMask: from.mask(),
				})
				if err != nil {
					return from.serverFaults("studio", err)
				}
				return s.print(changed, func() []render.Grid { return []render.Grid{studioGrid(changed)} })
			})
		},
	}
	command.Flags().StringVarP(&path, "file", "f", "-", "YAML or JSON file, - for standard input")
	return command
}

// defaultStepMinutes is the grid that a studio has when it gives none.
const defaultStepMinutes = 5

func studioGrid(studios ...*saggarv1.Studio) render.Grid {
	grid := render.Grid{Columns: []string{"studio", "title", "time zone", "grid min", "revision"}}
	for _, studio := range studios {
		grid.Rows = append(grid.Rows, []string{
			shortName(studio.GetName()), studio.GetTitle(), studio.GetTimeZone(), count(cmp.Or(studio.GetStepMinutes(), defaultStepMinutes)),
			count(studio.GetRevision()),
		})
	}
	return grid
}

func count(n int32) string { return strconv.Itoa(int(n)) }
