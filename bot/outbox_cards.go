package bot

import "milepost/flow"

// A card is shown as it stands: where a later one of its job waits in the same
// line, changing the card twice would only cost what a network allows. The first
// one of a job is sent in any case, as its thread may begin with it.

// carded is how many jobs' cards are remembered as shown.
const carded = 4096

// isEdit says whether a message puts a job's card in the place of the one before.
func (o *outbox) isEdit(s *send) bool {
	return s.out.Reply.Kind == flow.Card && len(s.out.Reply.To) == 0 && o.edits(s.row.Network)
}

// cardKey is one for each place of a job's card.
func cardKey(s *send) string { return livesKey(s.row.Network, s.row.Thread, s.row.Job) }

// outdated says whether the front of a line is a card that a later one in it
// replaces. Called with mu held.
func (o *outbox) outdated(l *line) bool {
	front := &l.rows[0]
	if !o.isEdit(front) || o.cards.get(cardKey(front)) == "" {
		return false
	}
	for i := range l.rows[1:] {
		if s := &l.rows[i+1]; s.row.Job == front.row.Job && o.isEdit(s) {
			return true
		}
	}
	return false
}
