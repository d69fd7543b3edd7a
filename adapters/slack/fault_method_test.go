package slack

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"milepost/adapters/slack/workspace"
	"milepost/bot"
	"milepost/flow"
)

// beside are what is called that is no method of the bot token's: where a socket
// is asked for, where bytes go and come from, and where a command is answered.
var beside = []string{"apps.connections.open", "upload", "download", "response_url"}

// failures are the ways in which a call fails. After: the deed is done, and its
// answer lost.
var failures = map[string]workspace.Fault{
	"500":          {Status: 500, Times: 2},
	"429":          {RetryAfter: time.Second},
	"answer lost":  {Cut: true, After: true, Times: 2},
	"not ok":       {Error: "internal_error", Times: 2},
	"done, not ok": {Error: "fatal_error", After: true, Times: 2},
}

// Every method that is called fails in every way, each in a short job of its own:
// at its end nothing is lost, nothing seen twice, and each thread in its order.
// That the methods are all there are is held by TestTablesAreWhatIsUsed.
func TestFaultsMethodByMethod(t *testing.T) {
	names := slices.Clone(beside)
	for _, m := range methods {
		names = append(names, m.name)
	}
	slices.Sort(names)
	for i, method := range names {
		for k, name := range slices.Sorted(maps.Keys(failures)) {
			if f := failures[name]; f.Error != "" && slices.Contains([]string{"upload", "download", "response_url"}, method) {
				continue // no method: it has no such answers
			}
			if testing.Short() && k != i%len(failures) {
				continue
			}
			t.Run(method+"/"+name, func(t *testing.T) {
				t.Parallel() // they wait most of the time
				f := failures[name]
				f.Method = method
				j := newShortJob(t, f)
				j.run()
				j.check()
				failed := 0
				for _, c := range j.w.Calls(method) {
					if c.Error != "" {
						failed++
					}
				}
				if failed == 0 {
					t.Errorf("%s never failed", method)
				}
			})
		}
	}
}

// shortJob is a job that calls every method once at least.
type shortJob struct {
	*rig
	fault  workspace.Fault
	file   flow.FileRef
	thread bot.Thread
	root   string
	seq    int64
	lines  []string // said in the thread, in order
}

const shortJobID = "k7mw2pd"

func newShortJob(t *testing.T, f workspace.Fault) *shortJob {
	r := newRig(t, false, workspace.Options{NoPreviews: true, ShareDelay: 20 * time.Millisecond, Channels: []workspace.Channel{
		{Name: "shop", Members: []string{"kim", "alex"}, App: true}, {Name: "bay", Kind: workspace.Private, Members: []string{"kim"}, App: true},
		{Name: "yard", Members: []string{"kim", "alex"}}}})
	store := shelf{}
	j := &shortJob{rig: r, fault: f, file: store.add("sheet.pdf", "application/pdf", []byte(strings.Repeat("x", 3000)))}
	r.cfg.Patterns, r.cfg.Blobs, r.cfg.Boards = []string{r.w.Channel("bay")}, store, shortBoard{}
	r.hearer = handler(j.hear)
	r.ear.files = true
	return j
}

// shortBoard is a board with the one job on it.
type shortBoard struct{}

func (shortBoard) Home(context.Context, bot.Identity) (bot.Home, error) {
	return bot.Home{Rows: []bot.Row{{Job: shortJobID, Vehicle: "unit 14", Phase: flow.PhaseDrive}}}, nil
}

// hear keeps what comes; whoever gives a command has no role.
func (j *shortJob) hear(ctx context.Context, in bot.Inbound) error {
	if in.Alone {
		err := j.Send(ctx, bot.Outbound{Key: "main/0/" + in.Delivery, Network: NetworkName, Thread: in.Thread, After: in.Delivery, Alone: true,
			Users: map[flow.Who]bot.Identity{"": in.From}, Reply: flow.Reply{Kind: flow.Refusal, Text: "Sorry."}})
		if err != nil {
			return err
		}
	}
	return j.ear.Handle(ctx, in)
}

// say brings a message out as the outbox does: until it is.
func (j *shortJob) say(out bot.Outbound) {
	j.t.Helper()
	j.seq++
	out.Network, out.Shop, out.Thread, out.Job, out.Log = NetworkName, bot.DefaultShop, j.thread, shortJobID, j.seq
	out.Key = fmt.Sprintf("%s/%d", shortJobID, j.seq)
	send := j.Send
	if out.Reply.Kind == flow.Card {
		send = j.EditCard
		out.Key += "/card"
	} else {
		j.lines = append(j.lines, out.Reply.Text)
	}
	for end := time.Now().Add(workspace.Patience); ; {
		err := send(j.t.Context(), out)
		if err == nil {
			return
		}
		if time.Now().After(end) {
			j.t.Fatalf("%s: %v\nlog:\n%s", out.Key, err, j.log)
		}
		time.Sleep(max(wait(err), 20*time.Millisecond))
	}
}

func (j *shortJob) heardText(words string) bool {
	return strings.Contains("|"+j.ear.texts()+"|", "|"+words+"|")
}

func (j *shortJob) run() {
	j.w.Fault(j.fault)
	j.begin()
	w, kim := j.w, j.w.User("kim")
	hears := func(words string) { j.t.Helper(); j.await(words, func() bool { return j.heardText(words) }) }
	kim.Say("@kim", "directly")
	hears("directly")
	if a := w.User("alex").Command("yard", "/milepost", "Harrow"); a.Err != "" { // where we are not
		j.t.Fatal(a.Err)
	}
	j.await("an answer to the command", func() bool { return len(w.Ephemerals("alex")) > 0 })

	ts := kim.Say("shop", "@milepost unit 14")
	hears("unit 14")
	j.thread = threadName(w.Team(), w.Channel("shop"), ts)
	j.say(bot.Outbound{Reply: flow.Reply{Kind: flow.Card, Text: "Unit 14\nopen", Phase: flow.PhaseOpen}})
	root, err := j.state.rootOf(j.t.Context(), string(j.thread))
	if err != nil || root == "" {
		j.t.Fatalf("no card: %v", err)
	}
	j.root = root
	j.say(bot.Outbound{Asked: bot.Asked{Ask: 1, Question: flow.QStored}, Reply: flow.Reply{Kind: flow.Prompt, Text: "What is stored?"}})
	asked := w.Messages("shop", root)
	form := asked[len(asked)-1].TS
	if j.fault.Method == "chat.postEphemeral" { // by which is told that a form did not open
		w.Fault(workspace.Fault{Method: "views.open", Error: "expired_trigger_id"})
		kim.Press("shop", form, actionForm)
		j.await("a word about it", func() bool { return len(w.Ephemerals("kim")) > 0 || j.told() > 0 })
	}
	if a := kim.Press("shop", form, actionForm); a.Err != "" {
		j.t.Fatal(a.Err)
	}
	j.await("the form", func() bool { return len(w.Views("kim")) > 0 })
	if a := kim.Submit(w.Views("kim")[0].ID, map[string]string{"value": "660", "unit": "%s rev/mile"}); a.Err != "" || len(a.Errors) > 0 {
		j.t.Fatalf("%+v", a)
	}
	hears("660 rev/mile")
	j.say(bot.Outbound{Reply: flow.Reply{Kind: flow.Card, Text: "Unit 14\nbackup", Phase: flow.PhaseBackup}})
	j.say(bot.Outbound{Asked: bot.Asked{Ask: 2}, Reply: flow.Reply{Kind: flow.Notice, Text: "660 it is."}})
	kim.Upload("shop", root, "", workspace.Upload{Name: "original.bin", Content: []byte("the bytes"), CheckInfo: true})
	j.await("the file", func() bool {
		return slices.ContainsFunc(j.ear.all(), func(in bot.Inbound) bool { return in.File != nil })
	})
	j.say(bot.Outbound{Asked: bot.Asked{Ask: 2}, Reply: flow.Reply{Kind: flow.Result, Text: "Here is the sheet.", Files: []flow.FileRef{j.file}}})
	kim.OpenHome()
	j.await("the home view", func() bool { v, ok := w.Home("kim"); return ok && strings.Contains(string(v.Content), sayThread) })

	w.Down() // for longer than Slack repeats what it has
	w.DropEvents(3)
	kim.SayInThread("shop", root, "missed, in the thread")
	kim.Say("shop", "@milepost missed, beside it")
	time.Sleep(j.times.gap + 50*time.Millisecond)
	w.Up()
	hears("missed, in the thread")
	hears("missed, beside it")
	j.say(bot.Outbound{Asked: bot.Asked{Ask: 2}, Reply: flow.Reply{Kind: flow.Notice, Text: "The end."}})
}

// told counts how often all are told that a form did not open.
func (j *shortJob) told() (n int) {
	for _, m := range j.w.Messages("shop", j.root) {
		if m.Shown == sayNoForm || m.Shown == sayIfNoForm {
			n++
		}
	}
	return n
}

// check holds what was heard and is to be seen against what was said.
func (j *shortJob) check() {
	j.t.Helper()
	w := j.w
	j.settled()
	time.Sleep(100 * time.Millisecond) // for what is too much
	var texts, files []string
	for _, in := range j.ear.all() {
		if in.File != nil {
			files = append(files, in.File.Name+" "+j.ear.got[in.Delivery])
			continue
		}
		texts = append(texts, in.Text)
	}
	slices.Sort(texts)
	want := []string{"660 rev/mile", "directly", "missed, beside it", "missed, in the thread", "new job Harrow", "unit 14"}
	if !slices.Equal(texts, want) {
		j.t.Errorf("heard %q, want %q", texts, want)
	}
	if !slices.Equal(files, []string{"original.bin the bytes"}) {
		j.t.Errorf("files %q", files)
	}
	if d := w.Duplicates("row"); len(d) > 0 {
		j.t.Errorf("seen twice: %v", d)
	}
	if n := len(w.Messages("shop", "")); n != 3 { // two of kim's and the card
		j.t.Errorf("%d messages in the channel: %+v", n, w.Messages("shop", ""))
	}
	if !w.Await(workspace.Patience, func() bool { m, _ := w.Message("shop", j.root); return m.Shown == "Unit 14\nbackup" }) {
		j.t.Error("the card's last state is not seen")
	}
	var seen []string
	shared := 0
	for _, m := range w.Messages("shop", j.root)[1:] {
		switch {
		case m.App && len(m.Files) > 0:
			shared++
			if b, ok := w.File(m.Files[0]); !ok || len(b) != int(j.file.Bytes) {
				j.t.Errorf("the sheet has %d bytes", len(b))
			}
		case m.App && (m.Shown == sayNoForm || m.Shown == sayIfNoForm):
		case m.App:
			seen = append(seen, m.Shown)
		}
	}
	if !slices.Equal(seen, j.lines) || shared != 1 {
		j.t.Errorf("in the thread %q and %d files, want %q", seen, shared, j.lines)
	}
	// What only one person sees can't be looked up: where an answer was lost it may
	// come again.
	most := 1
	if j.fault.Method == "response_url" && j.fault.After {
		most += j.fault.Times
	}
	if n := len(w.Ephemerals("alex")); n < 1 || n > most {
		j.t.Errorf("the command is answered %d times", n)
	}
	if len(w.Messages("yard", "")) > 0 || len(w.Messages("@alex", "")) > 0 {
		j.t.Error("others see the answer to the command")
	}
	if len(w.Views("kim")) > 0 {
		j.t.Error("a second form is open")
	}
	alone, all := len(w.Ephemerals("kim")), j.told()
	if fails := j.fault.Method == "chat.postEphemeral"; alone > 1 || all > 1 || (alone+all > 0) != fails {
		j.t.Errorf("that a form did not open is said to kim alone %d times, to all %d times", alone, all)
	}
}

// A channel takes nothing more, and the way to direct messages fails for a while:
// what is said is not given up.
func TestDirectFaults(t *testing.T) {
	for name, f := range failures {
		t.Run(name, func(t *testing.T) {
			s := speak(t, workspace.Options{NoRateLimit: true})
			th, _ := s.opened(t)
			s.w.User("kim").Archive("shop")
			f.Method = "conversations.open"
			s.w.Fault(f)
			o := s.asking("k7mw2pd/2", th, 1, 2, "In the bay?")
			if err := s.until(t, o); err != nil {
				t.Fatal(err)
			}
			if got := s.w.Messages("@kim", ""); len(got) != 1 || !strings.Contains(got[0].Shown, "In the bay?") {
				t.Errorf("kim reads %+v", got)
			}
		})
	}
}
