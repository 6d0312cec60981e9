package main

import (
	"github.com/spf13/cobra"

	"saggar/client/api"
	"saggar/client/file"
	"saggar/client/render"
	saggarv1 "saggar/proto/saggar/v1"
)

func (s *shell) keyCommand() *cobra.Command {
	var role string
	create := &cobra.Command{
		Use:     "create CALLER --role viewer|maker|technician|steward",
		Example: "  saggar key create ada --role maker",
		Short:   "Make a key; its secret is shown once", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			key := &saggarv1.AccessKey{Caller: args[0]}
			value, err := file.EnumNumber(key.GetRole().Descriptor(), role)
			if err != nil {
				return badInput(err)
			}
			key.Role = saggarv1.Role(value)
			return s.connected(c.Context(), func(connection *api.Connection) error {
				made, err := connection.Access.CreateAccessKey(c.Context(), &saggarv1.CreateAccessKeyRequest{AccessKey: key})
				if err != nil {
					return err
				}
				return s.print(made, func() []render.Grid {
					return []render.Grid{{
						Columns: []string{"caller", "role", "secret (shown once; keep it in a file with mode 0600)"},
						Rows:    [][]string{{made.GetCaller(), render.Enum(made.GetRole()), made.GetSecret()}},
					}}
				})
			})
		},
	}
	create.Flags().StringVar(&role, "role", "maker", "viewer, maker, technician or steward")
	return group("key", "Keys: who may come in", create)
}

func (s *shell) callerCommand() *cobra.Command {
	show := &cobra.Command{
		Use: "show", Short: "Show who your key stands for", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return s.connected(c.Context(), func(connection *api.Connection) error {
				caller, err := connection.Access.GetCaller(c.Context(), &saggarv1.GetCallerRequest{})
				if err != nil {
					return err
				}
				return s.print(caller, func() []render.Grid {
					return []render.Grid{{
						Columns: []string{"caller", "role"}, Rows: [][]string{{caller.GetId(), render.Enum(caller.GetRole())}},
					}}
				})
			})
		},
	}
	return group("caller", "Who you are to the server", show)
}
