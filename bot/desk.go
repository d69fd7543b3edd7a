package bot

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"milepost/flow"
	"milepost/flow/understand"
	"milepost/flow/words"
)

// say finds a sentence in the register of a role.
func say(key string, r flow.Role, args words.Args) string {
	return words.Default().Say(key, flow.RegisterOf(r) == flow.Plain, args)
}

// command finds what can be asked outside any job: a new one, the board, one's
// jobs, another job, the policy. Help belongs to the job where there is one.
// It is false where the text is none of these.
func (b *Bot) command(ctx context.Context, v *visit) (bool, error) {
	if v.role == "" || v.role == flow.Stranger {
		return false, nil // a guest has one job, a stranger none
	}
	text := strings.ToLower(strings.TrimSpace(v.text))
	word, rest, _ := strings.Cut(text, " ")
	rest = strings.TrimSpace(rest)
	switch {
	case word == "jobs" && rest == "":
		v.desk = b.deskJobs
		return true, nil
	case word == "job" && isJob(rest):
		v.desk = func(ctx context.Context, v *visit) error { return b.deskSwitch(ctx, v, rest) }
		return true, nil
	}
	if !slices.ContainsFunc(deskWords, func(w string) bool { return strings.Contains(text[:min(len(text), 60)], w) }) {
		return false, nil
	}
	c, ok := understand.ReadCommand(v.text)
	if !ok {
		return false, nil
	}
	arg := strings.ToLower(strings.TrimSpace(c.Value.Arg))
	switch c.Value.Name {
	case understand.CmdNew:
		if v.in.Job != "" || !flow.May(v.role, flow.ActOpen) {
			return false, nil
		}
		if empty, err := b.empty(ctx, v); empty || err != nil {
			return true, err
		}
		return true, b.newJob(v)
	case understand.CmdBoard:
		v.desk = b.deskBoard
	case understand.CmdWatch:
		if !isJob(arg) {
			return false, nil
		}
		v.desk = func(ctx context.Context, v *visit) error { return b.deskSwitch(ctx, v, arg) }
	case understand.CmdPolicy:
		v.desk = func(ctx context.Context, v *visit) error { return b.deskPolicy(ctx, v, arg) }
	case understand.CmdHelp:
		if v.in.Job != "" {
			return false, nil
		}
		v.desk = b.deskHelp
	default:
		return false, nil
	}
	return true, nil
}

// deskWords: only a text with one of these near its beginning can be a command
// outside any job; the reader need not look at the others.
var deskWords = []string{"job", "vehicle", "board", "policy", "policies", "help", "?", "watch"}

// isJob says whether a word has the form of a job's number.
func isJob(s string) bool {
	return len(s) == jobSigns && strings.Trim(s, signs) == ""
}

func (b *Bot) deskBoard(ctx context.Context, v *visit) error {
	if !flow.May(v.role, flow.ActBoard) {
		return b.deskSay(ctx, v, "board", "", flow.Refusal, say("bot.denied", v.role, nil))
	}
	rows, err := b.Board(ctx, v.shop.name)
	if err != nil {
		return err
	}
	return b.deskSay(ctx, v, "board", "", flow.Result, b.list(v, rows))
}

// deskJobs lists the open jobs: all of them to whoever may see the board or
// answer in any, their own to a customer.
func (b *Bot) deskJobs(ctx context.Context, v *visit) error {
	rows, err := b.Board(ctx, v.shop.name)
	if err != nil {
		return err
	}
	if v.role == flow.Customer {
		rows = rowsOf(rows, v.in.From)
	}
	return b.deskSay(ctx, v, "jobs", "", flow.Result, b.list(v, rows))
}

func (b *Bot) list(v *visit, rows []Row) string {
	if len(rows) == 0 {
		return say("bot.jobs.none", v.role, nil)
	}
	return say("bot.jobs", v.role, nil) + b.lines(v, rows)
}

// lines gives a line for each of some rows, each begun anew.
func (b *Bot) lines(v *visit, rows []Row) (text string) {
	for i := range rows {
		if zone := v.shop.cfg.Zone; zone != time.UTC { // else nobody has said which zone they live in
			text += "\n" + rows[i].Text(zone)
		} else {
			text += "\n" + rows[i].text(rows[i].lasting(b.now()))
		}
	}
	return text
}

// deskSwitch makes another job the one a person works in.
func (b *Bot) deskSwitch(ctx context.Context, v *visit, job string) error {
	f, err := readJob(ctx, b.cfg.Store, v.shop.name, job)
	if err != nil {
		return err
	}
	v.job = job
	if f.state.Seq == 0 {
		return b.noJob(ctx, v)
	}
	if _, takesPart := personOf(f.state, v.in.From); v.role == flow.Customer && !b.cfg.Single && !takesPart {
		return b.noJob(ctx, v) // as if it were not there
	}
	text := say("bot.switch", v.role, words.Args{"Job": job, "Vehicle": f.state.Vehicle, "Phase": string(f.state.Phase)})
	err = b.deskReply(ctx, v, askedData{What: "job", Job: job}, flow.Reply{Kind: flow.Notice, Phase: f.state.Phase, Text: text}, &Batch{Current: v.in.From}, job)
	if err == nil {
		v.shop.current.set(string(v.in.From), job)
		v.shop.goneTo.set(string(v.in.From), job)
	}
	return err
}

// noJob says that a job named does not exist.
func (b *Bot) noJob(ctx context.Context, v *visit) error {
	if v.role == "" {
		return b.turnAway(ctx, v)
	}
	name := v.job
	if len(name) > 40 {
		name = name[:40]
	}
	return b.deskSay(ctx, v, "job", "", flow.Refusal, say("bot.nojob", v.role, words.Args{"Job": strings.ToValidUTF8(name, "")}))
}

// deskHelp gives help with the job that the person is in. A command of the network is
// given in none, whichever he was in last.
func (b *Bot) deskHelp(ctx context.Context, v *visit) (err error) {
	job := ""
	if !v.in.Alone {
		if job, err = b.place(ctx, v); err != nil {
			return err
		}
	}
	if job != "" {
		v.job = job
		return b.inJob(ctx, v)
	}
	return b.deskSay(ctx, v, "help", "", flow.Result, say("bot.help", v.role, words.Args{"Board": flow.May(v.role, flow.ActBoard)}))
}

// deskLate answers what was asked outside any job on another day.
func (b *Bot) deskLate(ctx context.Context, v *visit) error {
	return b.deskSay(ctx, v, "late", "", flow.Notice, say("bot.late", v.role, words.Args{"Days": flow.Days(b.now().Sub(v.in.SentAt))}))
}

// unread says outside any job that a message could not be read.
func (b *Bot) unread(ctx context.Context, v *visit) error {
	return b.deskSay(ctx, v, "unread", "", flow.Notice, say(v.in.Fault, v.role, nil))
}

// deskSay answers outside any job.
func (b *Bot) deskSay(ctx context.Context, v *visit, what, job string, kind flow.ReplyKind, text string) error {
	return b.deskReply(ctx, v, askedData{What: what, Job: job}, flow.Reply{Kind: kind, Text: text}, &Batch{}, job)
}

func (b *Bot) deskReply(ctx context.Context, v *visit, d askedData, r flow.Reply, batch *Batch, job string) error {
	return b.deskEntry(ctx, v, kindAsked, d, r, batch, job, nil)
}

// deskEntry records in the shop's log what was asked or decided, and answers.
// done runs with the shop's log held, after the commit.
func (b *Bot) deskEntry(ctx context.Context, v *visit, kind string, data any, r flow.Reply, batch *Batch, job string, done func(*shop)) error {
	s := v.shop
	return b.shopDo(ctx, s, func() error {
		r.Seq, r.Role = s.seq+1, v.role
		out := Outbound{Key: s.outKey(r.Seq, 0), Shop: s.name, Network: v.in.Network, Thread: v.in.Thread, Job: job, Log: r.Seq,
			Reply: r, Names: map[flow.Who]string{"": v.in.Name}}
		if v.in.Alone {
			out.Alone, out.After, out.Users = true, v.in.Delivery, map[flow.Who]Identity{"": v.in.From}
		}
		o, err := newSend(out)
		if err != nil {
			return &Error{Kind: Internal, Err: err}
		}
		again := *batch
		again.Delivery = v.key
		err = b.shopSend(ctx, s, &again, []send{o}, shopEntry{kind: kind, role: v.role, data: data, net: v.in.SentAt,
			items: []flow.Item{{Label: flow.ItemIdentity, Content: string(v.in.From)}}})
		if err == nil {
			v.refused = r.Kind == flow.Refusal
		}
		if err == nil && done != nil {
			done(s)
		}
		return err
	})
}

// apologise deals with a message that ended in a fault of ours: logged with a
// reference, the sentence with the same reference sent, the job kept as it was.
// The message counts as handled: running into the same fault again helps nobody.
func (b *Bot) apologise(ctx context.Context, v *visit, fault *Error) error {
	b.cfg.Log.Error("message ended in a fault", "ref", fault.Ref, "job", v.job, "err", fault)
	if v.wake {
		return nil
	}
	err := b.deskEntry(ctx, v, kindFault, faultData{Ref: fault.Ref, Job: v.job},
		flow.Reply{Kind: flow.Notice, Text: fault.Sentence()}, &Batch{}, v.job, nil)
	if err != nil && !errors.Is(err, ErrDelivered) {
		return fmt.Errorf("apologise: %w", err)
	}
	v.tally = tally{fault: true}
	return nil
}
