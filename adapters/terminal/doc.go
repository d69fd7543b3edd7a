// Package terminal is the network of one terminal: lines in, messages out. It
// serves `milepost chat` in two manners: for people, and as JSON for programs.
//
//	terminal.go  the network: what is said, and the loop that hears
//	json.go      the lines of --json, in and out
//	human.go     how a message looks to people
//	wrap.go      lines of a width, by the width of what is seen
//	clean.go     what no terminal may be sent
//	lines.go     lines in, bounded, from a pipe or a file
//	edit.go      lines in, with editing, where there is a terminal
//	file.go      files named by a path, opened once
//
// Everybody writes in one place, so there are no threads: a message belongs to
// the job it names, else to the job its person is working in. A person is
// terminal:NAME and nothing vouches for the name or the role: it is for a
// single-user and test store, and what is made so is marked as stated.
//
// What a message says is not its business: the words are the flow's. The few
// sentences here are of lines that are no message: too long, of the wrong form,
// a file that can't be taken. They are answered at once and are in no log.
package terminal
