package main

import (
	"strings"

	"github.com/spf13/cobra"

	"milepost/flow/understand"
)

func understandCommand(s *streams) *cobra.Command {
	var unit string
	c := &cobra.Command{
		Use: "understand KIND [--unit UNIT] [--] TEXT", Short: "how a text is read: KIND is size, reading, value or vin",
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) < 2 {
				return takes(2, "KIND and TEXT")(nil, args)
			}
			return nil
		},
		RunE: func(_ *cobra.Command, args []string) error {
			// Words that were not quoted are one text all the same.
			r, err := understand.Understand(args[0], strings.Join(args[1:], " "), unit)
			if err != nil {
				return wrongCall{err}
			}
			return s.object(r)
		},
	}
	c.Flags().StringVar(&unit, "unit", "", "`unit` to assume where the text names none: mph, km/h, mm, rev/mile …")
	return c
}

func targetCommand(s *streams) *cobra.Command {
	var lines bool
	c := &cobra.Command{
		Use: "target [--lines]", Short: "first value to write, of a case as JSON on stdin", Args: takesNone,
		RunE: func(*cobra.Command, []string) error { return runTarget(s.in, s.out, lines) },
	}
	c.Flags().BoolVar(&lines, "lines", false, "one case a line")
	return c
}

func reviewCommand(s *streams) *cobra.Command {
	var lines bool
	c := &cobra.Command{
		Use: "review [--lines]", Short: "decision after drives, of a case as JSON on stdin", Args: takesNone,
		RunE: func(*cobra.Command, []string) error { return runReview(s.in, s.out, lines) },
	}
	c.Flags().BoolVar(&lines, "lines", false, "one case a line")
	return c
}
