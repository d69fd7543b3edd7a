package flow

// TEMPORARY: what the later phases bring.

import "time"

func (t *turn) wake() time.Time            { return time.Time{} }
func (t *turn) woken()                     {}
func (t *turn) card(r Role, to []Who)      {}
func (t *turn) toWrite() string            { return "" }
func (t *turn) retarget(old string)        {}
func (t *turn) figure(v Value) string      { return "" }
func (t *turn) answerText(a Answer) string { return "" }
func (t *turn) nameOf(w Who) string        { return "" }
func count(n int64) string                 { return "" }
func hashEnd(h string) string              { return "" }

func (t *turn) stop(command, *input) bool    { return false }
func (t *turn) recover(command, *input) bool { return false }
func (t *turn) waive(command, *input) bool   { return false }
func (t *turn) signOff(command, *input) bool { return false }
func (t *turn) invite(command, *input) bool  { return false }
