package main

import "github.com/spf13/cobra"

func checkCommand(s *streams) *cobra.Command { return &cobra.Command{Use: "check"} }
