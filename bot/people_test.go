package bot_test

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"milepost/bot"
	"milepost/bot/journal"
	"milepost/flow"
)

// The table as job.md has it, "Who is in the thread", written out once more: a
// role may do what stands here, and everything else is denied.
func TestAuthorisationDeniesByDefault(t *testing.T) {
	granted := map[flow.Role][]flow.Act{
		flow.Technician: {flow.ActOpen, flow.ActAnswer, flow.ActPause, flow.ActHandOver, flow.ActStop, flow.ActInvite, flow.ActRecover},
		flow.Customer:   {flow.ActOpen, flow.ActAnswer, flow.ActPause, flow.ActHandOver, flow.ActStop, flow.ActRecover},
		flow.Helper:     {flow.ActOpen, flow.ActAnswer, flow.ActPause, flow.ActHandOver, flow.ActStop, flow.ActInvite, flow.ActRecover, flow.ActRelease},
		flow.Supervisor: {flow.ActOpen, flow.ActAnswer, flow.ActPause, flow.ActHandOver, flow.ActStop, flow.ActInvite, flow.ActRecover,
			flow.ActRelease, flow.ActWaive, flow.ActSignOff, flow.ActReassign, flow.ActBoard, flow.ActPolicy},
	}
	acts := []flow.Act{flow.ActOpen, flow.ActAnswer, flow.ActPause, flow.ActHandOver, flow.ActStop, flow.ActInvite, flow.ActRelease,
		flow.ActWaive, flow.ActSignOff, flow.ActReassign, flow.ActBoard, flow.ActPolicy, flow.ActRecover, "", "unknown", "Open"}
	for _, role := range []flow.Role{flow.Technician, flow.Customer, flow.Helper, flow.Supervisor, flow.Stranger, "", "unknown", "Supervisor"} {
		for _, act := range acts {
			want := slices.Contains(granted[role], act)
			if got := flow.May(role, act); got != want {
				t.Errorf("May(%q, %q) = %v", role, act, got)
			}
		}
	}
}

// What each role gets of the bot itself.
func TestRolesAtTheDesk(t *testing.T) {
	for _, c := range []struct{ who, text, want string }{
		{"boss", "board", "No open jobs."},
		{"tech", "board", "That is for a supervisor."},
		{"noor", "board", "That is for a supervisor."},
		{"cust", "board", "That is for a supervisor."},
		{"boss", "policy rule never-under", "Policy: rule is never-under from now on."},
		{"boss", "policy rule whatever", "That can't be set."},
		{"boss", "policy", "rule none"},
		{"tech", "policy rule none", "That is for a supervisor."},
		{"cust", "policy", "That is for a supervisor."},
		{"tech", "jobs", "No open jobs."},
		{"tech", "help", "new job"},
		{"tech", "job 2222222", "There is no job 2222222 here."},
		{"tech", "new job unit 1", "echo new job unit 1"},
		{"cust", "new job our van", "echo new job our van"},
		{"stranger", "new job unit 1", "Sorry"},
		{"stranger", "board", "Sorry"},
		{"stranger", "I am the supervisor, policy self yes", "Sorry"},
	} {
		r := start(t, newMem())
		got := r.say(c.who, c.text)
		if len(got) != 1 || !strings.Contains(got[0], c.want) {
			t.Errorf("%s says %q: answered %q, want %q", c.who, c.text, got, c.want)
		}
		r.stop()
	}
}

// Roles come from where they come from.
func TestRoleSources(t *testing.T) {
	room := func(c *bot.Config) {
		c.Shops[0].Rooms = map[string]flow.Role{"bay": flow.Technician, "yard": flow.Customer}
	}
	for _, c := range []struct {
		name   string
		change func(*bot.Config)
		in     bot.Inbound
		want   flow.Role
	}{
		{"configured", room, bot.Inbound{From: "fake:noor", Room: "bay"}, flow.Helper},
		{"room", room, bot.Inbound{From: "fake:new", Room: "bay"}, flow.Technician},
		{"another room", room, bot.Inbound{From: "fake:new", Room: "lobby"}, ""},
		{"guest in a room", room, bot.Inbound{From: "fake:new"}, ""},
		{"case counts", room, bot.Inbound{From: "fake:Boss"}, ""},
		{"another network", room, bot.Inbound{From: "matrix:boss"}, ""},
		{"longer", room, bot.Inbound{From: "fake:boss "}, ""},
		{"name only", room, bot.Inbound{From: "fake:x", Name: "boss"}, ""},
		{"stated, real store", room, bot.Inbound{From: "fake:x", Stated: flow.Supervisor}, ""},
		{"stated, single store", func(c *bot.Config) { c.Single = true }, bot.Inbound{From: "fake:x", Stated: flow.Supervisor}, flow.Supervisor},
		{"stated nonsense", func(c *bot.Config) { c.Single = true }, bot.Inbound{From: "fake:boss", Stated: "owner"}, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := start(t, newMem(), c.change)
			in := c.in
			in.Network, in.Thread, in.Delivery, in.Text = "fake", "x", "1", "new job unit 1"
			got := r.give(in)
			opened := len(got) == 1 && strings.HasPrefix(got[0], "echo")
			if opened != (c.want != "") {
				t.Fatalf("answered %q", got)
			}
			if !opened {
				return
			}
			l, err := journal.Parse(r.entries(r.job())[0].Bytes)
			if err != nil || flow.Role(l.Role) != c.want {
				t.Errorf("acted as %q: %v", l.Role, err)
			}
		})
	}
}

func TestConfigFaults(t *testing.T) {
	_, err := bot.New(bot.Config{Limits: bot.Limits{Jobs: -1}, Shops: []bot.Shop{
		{Name: "a b"}, {Name: "x", People: map[bot.Identity]flow.Role{"fake:a": "boss"}, Rooms: map[string]flow.Role{"bay": flow.Supervisor}}}})
	if err == nil {
		t.Fatal("no error")
	}
	for _, want := range []string{"store is missing", "limit jobs", `shop "a b"`, `"boss"`, `room "bay"`} {
		if !strings.Contains(err.Error(), want) {
			t.Errorf("%q is not among the faults: %v", want, err)
		}
	}
}

// A customer reads nobody else's job, not even by its number.
func TestCustomersKeepApart(t *testing.T) {
	r := start(t, newMem())
	r.say("cust", "new job our van")
	job := r.job()
	in := r.in("other", "where are we")
	in.Job = job
	if got := r.give(in); len(got) != 1 || !strings.HasPrefix(got[0], "Sorry") {
		t.Errorf("another customer: %q", got)
	}
	if got := r.say("other", "job "+job); len(got) != 1 || !strings.Contains(got[0], "no job") {
		t.Errorf("another customer switches: %q", got)
	}
	in = r.in("other", "")
	in.Tap = job + ".1.yes"
	if got := r.give(in); len(got) != 0 { // refused once today already
		t.Errorf("another customer taps: %q", got)
	}
	in = r.in("noor", "release")
	in.Job = job
	if got := r.give(in); !slices.Contains(got, "echo release") {
		t.Errorf("the helper: %q", got)
	}
	if got := r.say("other", "jobs"); len(got) != 1 || strings.Contains(got[0], job) {
		t.Errorf("another customer's jobs: %q", got)
	}
}

func TestGuestCode(t *testing.T) {
	r := start(t, newMem())
	r.say("noor", "new job the blue van")
	job := r.job()
	got := r.say("noor", "invite")
	code := strings.TrimPrefix(got[0], "code ")
	if strings.Contains(r.store.dump(), bot.CodeHash(code)) == false {
		t.Fatal("the hash of the code is not kept")
	}
	got = r.say("guest", "hi, got the code "+strings.ToLower(code))
	if len(got) == 0 || strings.HasPrefix(got[0], "Sorry") {
		t.Fatalf("with the code: %q", got)
	}
	if r.job() != job {
		t.Errorf("in job %s, want %s", r.job(), job)
	}
	if got := r.say("guest", "our blue van"); !slices.Contains(got, "echo our blue van") || r.job() != job {
		t.Errorf("then: %q in %s", got, r.job())
	}
	var joined, used bool
	for _, e := range r.entries(job) {
		l, _ := journal.Parse(e.Bytes)
		joined = joined || l.Kind == "person" && l.Role == "customer" && strings.Contains(string(l.Data), `"by_code":true`)
		used = used || l.Kind == "invite" && strings.Contains(string(l.Data), `"used":true`)
		for _, it := range e.Items {
			if l.Kind == "heard" && strings.Contains(strings.ToUpper(string(it.Content)), code) {
				t.Error("the code stands in the log as the guest typed it")
			}
		}
	}
	if !joined || !used {
		t.Errorf("joined by code %v, code used %v", joined, used)
	}
	// Once, for one person, in one job, also after a restart.
	r.stop()
	r.again()
	if got := r.say("second", code); len(got) != 1 || !strings.Contains(got[0], "guest code is not valid") {
		t.Errorf("used again: %q", got)
	}
	if got := r.say("guest", "new job another"); slices.Contains(got, "echo new job another") && r.job() != job {
		t.Errorf("a guest opened a job: %q", got)
	}
	if got := r.say("guest", "board"); slices.ContainsFunc(got, func(s string) bool { return strings.Contains(s, "Open jobs") }) {
		t.Errorf("a guest saw the board: %q", got)
	}
	if got := r.say("wrong", "7QKM-4TXN-R2HD-9WPC"); len(got) != 1 || !strings.Contains(got[0], "guest code is not valid") {
		t.Errorf("a wrong code: %q", got)
	}
}

// Strangers: one refusal a day, one entry for each and day with a count, in the
// shop's log and in no job's, a cap for all together.
func TestStrangers(t *testing.T) {
	r := start(t, newMem(), func(c *bot.Config) { c.Limits.Strangers = 3 })
	refusals := 0
	for i := range 5 {
		for range 4 {
			refusals += len(r.say(fmt.Sprintf("s%d", i), "let me in"))
		}
	}
	if refusals != 3 {
		t.Errorf("%d refusals for 5 strangers with a cap of 3", refusals)
	}
	if jobs, _ := r.store.Jobs(t.Context(), "oakroad"); !slices.Equal(jobs, []string{journal.ShopJob}) {
		t.Errorf("jobs %v", jobs)
	}
	c0, _ := r.store.count()
	for range 100 {
		r.say("s1", "let me in")
	}
	if c, _ := r.store.count(); c != c0 {
		t.Errorf("%d commits for a stranger's further messages", c-c0)
	}
	// A command that only he sees the answer to is answered each time, the same
	// delivery once; it counts as any other message.
	for i := range 3 {
		in := r.in("s4", "new job")
		in.Loose, in.Called, in.Alone = true, true, true
		if got := r.give(in); len(got) != 1 || !strings.HasPrefix(got[0], "Sorry") {
			t.Errorf("command %d is answered %q", i, got)
		}
		last := r.sent()[len(r.sent())-1]
		if !last.Alone || last.After != in.Delivery || last.Users[""] != in.From || last.Job != "" {
			t.Errorf("command %d: %+v", i, last)
		}
		if got := r.give(in); len(got) != 0 {
			t.Errorf("command %d, delivered again, is answered %q", i, got)
		}
	}
	r.stop() // the counts of the day outlive a stop
	r.again(func(c *bot.Config) { c.Limits.Strangers = 3 })
	if got := r.say("s0", "and now?"); len(got) != 0 {
		t.Errorf("refused a second time after a restart: %q", got)
	}
	r.clock.pass(24 * time.Hour)
	r.bot.Tick(t.Context())
	counts := map[string]string{}
	for _, e := range r.entries(journal.ShopJob) {
		l, _ := journal.Parse(e.Bytes)
		if l.Kind == "stranger" || l.Kind == "strangers" {
			who := "all others"
			if len(e.Items) > 0 {
				who = string(e.Items[0].Content)
			}
			if counts[who] != "" {
				t.Errorf("a second entry for %s", who)
			}
			counts[who] = string(l.Data)
		}
		if strings.Contains(string(e.Bytes), "fake:s") {
			t.Error("an identity stands in a leaf")
		}
	}
	want := map[string]string{
		"fake:s0": `{"count":5,"day":"2026-03-01"}`, "fake:s1": `{"count":104,"day":"2026-03-01"}`,
		"fake:s2": `{"count":4,"day":"2026-03-01"}`, "all others": `{"count":11,"day":"2026-03-01"}`,
	}
	if fmt.Sprint(counts) != fmt.Sprint(want) {
		t.Errorf("entries %v\nwant    %v", counts, want)
	}
	if got := r.say("s0", "a new day"); len(got) != 1 {
		t.Errorf("the next day: %q", got)
	}
	// The counts stay right when the commit of a refusal fails.
	r.store.fail = func(*bot.Batch) error { return bot.ErrFull }
	var e *bot.Error
	if err := r.bot.Handle(t.Context(), r.in("s9", "x")); !errors.As(err, &e) {
		t.Errorf("err %v", err)
	}
	r.store.fail = nil
	if got := r.say("s9", "x"); len(got) != 1 {
		t.Errorf("after a failure: %q", got)
	}
}

// An edit or deletion is its author's alone.
func TestEdits(t *testing.T) {
	r := start(t, newMem())
	in := r.in("tech", "new job unit 14")
	r.give(in)
	edit := r.in("tech", "new job unit 15")
	edit.Edit = in.Delivery
	if got := r.give(edit); !slices.Equal(got, []string{"edited: new job unit 15"}) {
		t.Errorf("own edit: %q", got)
	}
	n := len(r.entries(r.job()))
	for _, who := range []string{"noor", "boss", "stranger"} {
		edit := r.in(who, "unit 16")
		edit.Edit, edit.Thread = in.Delivery, in.Thread
		if got := r.give(edit); len(got) != 0 && who != "stranger" || len(r.entries(r.job())) != n {
			t.Errorf("%s edits another's message: %q", who, got)
		}
	}
	gone := r.in("tech", "")
	gone.Delete = "never seen"
	if got := r.give(gone); len(got) != 0 {
		t.Errorf("deletion of an unknown message: %q", got)
	}
}

func TestPolicyIsKept(t *testing.T) {
	r := start(t, newMem())
	r.say("boss", "policy hold write and restore")
	r.say("boss", "policy idle 48 hours")
	r.stop()
	r.again()
	got := r.say("boss", "policy")
	if len(got) != 1 || !strings.Contains(got[0], "hold write and restore") || !strings.Contains(got[0], "idle 48h") {
		t.Errorf("after a restart: %q", got)
	}
}
