package main

import (
	"runtime"
	"runtime/debug"

	"github.com/spf13/cobra"

	"milepost/calib"
)

func versionCommand(s *streams) *cobra.Command {
	return &cobra.Command{
		Use: "version", Short: "version, method version, Go version", Args: takesNone,
		RunE: func(*cobra.Command, []string) error {
			return s.say("milepost %s\nmethod %s\n%s", program(), calib.Method, runtime.Version())
		},
	}
}

// program is this program's version: that of the module it wunchanged as, with
// the commit where the build knows it.
func program() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "unknown"
	}
	v, rev, dirty := info.Main.Version, "", false
	for _, s := range info.Settings {
		switch s.Key {
		case "vcs.revision":
			rev = s.Value
		case "vcs.modified":
			dirty = s.Value == "true"
		}
	}
	if v == "" || v == "(devel)" {
		v = "devel"
		if len(rev) >= 12 {
			v += "-" + rev[:12]
			if dirty {
				v += "+changed"
			}
		}
	}
	return v
}
