// Package demo plays a whole job against an invented vehicle, for a newcomer's
// first look: from the open to the close, through the same way as chat, a
// bot.Bot with the terminal as its network over a store of its own.
//
//	scenario.go  what a seed invents: vehicle, tyres, people, mishaps; drawn in scenario_roll.go
//	vehicle.go   the vehicle: modules that are written and read, physics that answers
//	value.go     what a module may hold, and the wheel's way that belongs to it
//	play.go      a play from its seed to its summary; clock.go and chance.go its time and chance
//	player.go    the people: who answers the last question, turn by turn
//	answers.go   the table of what they know to answer
//	work.go      what they do at the vehicle and on the road
//	stage.go     how it is shown, and the pauses
//	facts.go     the figures beside the words
//	summary.go   what was true against what was decided
//
// The people read what anybody in the thread reads: kind, phase, text and
// choices of each message. They know nothing of the job's state. What they do
// not know to answer ends the play with an error that quotes it.
//
// The physics is written out here once more and takes nothing from calib but
// what a tyre's marking says of its diameter, so that a slip there is not
// repeated here.
package demo
