// Package bot takes what people say on any network to what is answered: who it
// is, which job, what the flow makes of it, one durable transaction, and the
// messages that go out.
//
// It has no words of a job's own and no arithmetic: those are flow's and
// calib's. It knows no network and no database: those are behind the ports of
// ports.go and ports_store.go, and each port has one suite in bottest that every
// implementation runs.
//
// # A message's way
//
//	adapter ─Inbound─▶ Bot.Handle ─▶ lane of that job
//	   1 who is it, may they   2 seen before?   3 Fold(log) = state
//	   4 flow.Step(state, message, env) = entries + replies + next state
//	   5 one transaction: entries (expected sequence), outbox rows, hashes,
//	     delivery identifier          6 acknowledge: Handle returns nil
//	 outbox ─▶ adapter.Send (key = job/sequence)          7 mark sent
//
// Handle is written as that list (turn.go). Steps 1 to 3 and 5 are a loop: where
// the job has moved on between them, it is loaded again. Nothing is sent that
// is not stored. A crash before 5 has changed nothing, and the network delivers
// again; a crash after it sends again under the same key at the next start. The
// marks of what was sent ride in the next transaction or go in at idle, so a
// message costs one durable commit.
//
// # Where things are
//
//	config.go    what a Bot is made of, checked at once
//	bot.go       Handle, and what runs beside
//	turn.go      a message's way through its job
//	route.go     which job a message belongs to
//	person.go    who somebody is, and the role held now
//	lane.go      one message at a time in a job, and the folded state between
//	leaf.go      entries to leaf bytes and back, checked on the way
//	evidence.go  files on their way in
//	known.go     what a vehicle is known by, and what it was left at
//	outgoing.go  which threads a reply goes to
//	outbox.go    what is to be sent, in order; outbox_send.go until the network
//	             has it, outbox_store.go what waits and what is marked
//	remind.go    jobs that asked to be woken, by elapsed time; the shop's days
//	board.go     the open jobs; rebuilt from the log by one function
//	shop.go      one shop at work
//	shoplog.go   the shop's own log, kept as the pseudo-job "shop"
//	desk.go      what is asked outside any job: board, jobs, policy, help
//	stranger.go  those who have no role here
//	head.go      signed heads that leave the house; change of key, restore;
//	             owed.go those that a crash kept back
//	export.go    a job's log for others
//	erase.go     personal details, gone for good: erase_pick.go says which,
//	             erase_log.go takes them out of the logs
//
// # Who may what
//
// The table is flow.May, and what it does not grant is denied. A role comes
// from the configuration by full and exact identity, from a room (technician or
// customer at most), or from a guest code (customer, one job, once); a role
// stated in the message counts in a single-user store only. Roles are judged
// when a message arrives.
//
// # What is bounded
//
// Jobs kept in memory, messages waiting for a job, outgoing messages held,
// strangers answered in a day, deliveries remembered (Limits); texts
// (understand.Clean), files (Policy.MaxFile), names, tries. Beyond a bound
// things wait in the store, are cut, or are refused; nothing grows with what
// strangers send.
//
// # Doubts
//
// A person's current job and a thread's job are remembered in memory. That is
// right while one program writes to a store, which the lock of the data
// directory sees to; with several, the memory would have to go.
//
// A stranger's count is kept beside the log until the day is over, so that a
// day is one entry. A crash can lose some of the count, never the stranger.
package bot
