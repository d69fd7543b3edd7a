// Package flow is the conversation: given a job's state and a message it says
// what is to be logged and what is to be answered. It is pure: no clock, no
// chance, no store, no network; those come in with Env or stay outside.
//
// Step is the one entry point. It runs a message through, in this order:
// digressions (aside.go), which never move the place; the open question and
// whatever else the message answers (answer.go); the gates (gate.go); the next
// question. What is concluded becomes entries (fact.go), and the state is
// nothing but their sum (state.go, apply.go): Step returns the state with its
// own entries applied, and Fold gives the same from the log.
//
// The phases and the moves between them are one table, run by looplab/fsm
// (phase.go). One file per phase holds its list of questions in the order
// asked. Wording is not here: every sentence is in flow/words, by key. Reading
// people's text is not here either: flow/understand does that. Figures come
// from calib and are never recomputed from the log.
package flow
