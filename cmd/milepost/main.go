// Command milepost walks people through correcting a vehicle's stored
// speedometer value after a change of tyre size.
//
// The commands are a table in this file; what each prints goes through say.go.
// Exit codes: 0 done, 1 the work failed (why on stderr), 2 the call was wrong
// (usage on stderr).
package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/signal"
	"syscall"

	"github.com/spf13/cobra"
)

func main() { os.Exit(execute(os.Args[1:], &streams{in: os.Stdin, out: os.Stdout, err: os.Stderr})) }

// Exit codes, as scripts rely on them.
const (
	exitDone   = 0
	exitFailed = 1
	exitCall   = 2
)

// commands is the table of subcommands, in the order in which usage shows them.
var commands = []func(*streams) *cobra.Command{
	chatCommand,
	demoCommand,
	serveCommand,
	checkCommand,
	boardCommand,
	absentCommand("sheet", "the customer's sheet of a job"),
	exportCommand,
	verifyCommand,
	eraseCommand,
	backupCommand,
	restoreCommand,
	understandCommand,
	targetCommand,
	reviewCommand,
	versionCommand,
}

// execute runs a call and gives its exit code.
func execute(args []string, s *streams) int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM, syscall.SIGHUP)
	defer stop()
	root := &cobra.Command{
		Use:   "milepost",
		Short: "corrects a stored speedometer value after a change of tyre size, step by step",
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 0 {
				return wrongCall{fmt.Errorf("there is no command %q", args[0])}
			}
			return nil
		},
		RunE:          func(*cobra.Command, []string) error { return wrongCall{errors.New("name a command")} },
		SilenceErrors: true,
		SilenceUsage:  true,
	}
	root.CompletionOptions.DisableDefaultCmd = true
	root.SetFlagErrorFunc(func(_ *cobra.Command, err error) error { return wrongCall{err} })
	root.SetUsageTemplate(usageTemplate)
	root.SetHelpTemplate("{{.Short}}\n\n{{.UsageString}}")
	root.SetIn(s.in)
	root.SetOut(s.out)
	root.SetErr(s.err)
	for _, c := range commands {
		root.AddCommand(c(s))
	}
	root.SetArgs(args)
	cmd, err := root.ExecuteContextC(ctx)
	return s.exit(cmd, err)
}

const usageTemplate = `use: {{if .HasParent}}{{.Parent.Name}} {{.Use}}{{else}}{{.Name}} COMMAND{{end}}{{if .HasAvailableSubCommands}}{{range .Commands}}{{if .IsAvailableCommand}}
  {{rpad .Name 10}} {{.Short}}{{end}}{{end}}{{end}}{{if .HasAvailableLocalFlags}}
{{.LocalFlags.FlagUsages | trimTrailingWhitespaces}}{{end}}
`

// wrongCall is an error of the call, not of the work.
type wrongCall struct{ error }

// takes checks the number of arguments.
func takes(n int, what string) cobra.PositionalArgs {
	return func(_ *cobra.Command, args []string) error {
		if len(args) != n {
			return wrongCall{fmt.Errorf("wants %s, got %d arguments", what, len(args))}
		}
		return nil
	}
}

var takesNone = takes(0, "no arguments")

// absentCommand answers for what this build does not have.
func absentCommand(name, short string) func(*streams) *cobra.Command {
	return func(*streams) *cobra.Command {
		return &cobra.Command{
			Use: name, Short: short + " (not in this build yet)", DisableFlagParsing: true,
			RunE: func(*cobra.Command, []string) error { return fmt.Errorf("%s is not in this build yet", name) },
		}
	}
}

// dataFlags adds where a command finds its store.
func dataFlags(c *cobra.Command) *dataFlag {
	d := onlyData(c)
	c.Flags().StringVar(&d.config, "config", "", "configuration `file` of serve, in place of --data")
	return d
}

// onlyData is dataFlags for what is never done in a store of serve.
func onlyData(c *cobra.Command) *dataFlag {
	d := &dataFlag{}
	c.Flags().StringVar(&d.dir, "data", "", "data `directory` (default: the user's)")
	return d
}

type dataFlag struct{ dir, config string }

// source is the store meant.
func (d *dataFlag) source() (source, error) {
	switch {
	case d.config != "" && d.dir != "":
		return source{}, wrongCall{errors.New("--data and --config both name a store; one of them")}
	case d.config != "":
		c, err := readConfig(d.config)
		if err != nil {
			return source{}, err
		}
		return source{dir: c.store, cfg: c}, nil
	case d.dir != "":
		return source{dir: d.dir}, nil
	}
	dir, err := userData()
	return source{dir: dir}, err
}
