package slack

import (
	"encoding/json"
	"log/slog"
	"strings"
	"sync"
	"testing"

	"pgregory.net/rapid"

	"milepost/adapters/slack/workspace"
	"milepost/flow"
)

func TestReadable(t *testing.T) {
	name := func(user, label string) string { return or(label, "somebody") }
	for in, want := range map[string]string{
		"60 &lt; 65 &amp; rising":                     "60 < 65 & rising",
		"&amp;lt; stays once undone":                  "&lt; stays once undone",
		"<@U0US> 265/70R17":                           "265/70R17",
		"<@U0US>, 265/70R17":                          "265/70R17",
		"<@U0US|milepost> 265/70R17":                  "265/70R17",
		"see <@U0US> now":                             "see now",
		"<@U0US>":                                     "",
		"<@U0KIM> said":                               "somebody said",
		"<@U0KIM|kim> said":                           "kim said",
		"<http://a.example/?b=1&amp;c=2>":             "http://a.example/?b=1&c=2",
		"<http://a.example|a.example> 3":              "a.example 3",
		"<mailto:kim@a.example|kim@a.example>":        "kim@a.example",
		"<mailto:kim@a.example>":                      "kim@a.example",
		"<tel:+4312345|+43 12345>":                    "+43 12345",
		"<#C0SHOP|shop> and <#C0BAY>":                 "#shop and #C0BAY",
		"<!channel> <!here> <!everyone>":              "@channel @here @everyone",
		"<!here|here> <!subteam^S1|@crew>":            "@here @crew",
		"<!date^1392734382^{date}|18 Feb 2014> it is": "18 Feb 2014 it is",
		"&lt;!channel&gt;":                            "<!channel>",
		"&lt;@U0US&gt; is typed":                      "<@U0US> is typed",
		"a <b":                                        "a <b",
		"*bold* _it_ ~no~ `code`":                     "*bold* _it_ ~no~ `code`",
		"line one\nline two":                          "line one\nline two",
		"<>":                                          "",
		"<|x>":                                        "x",
	} {
		if got, _ := readable(in, "U0US", name); got != want {
			t.Errorf("%q: %q, want %q", in, got, want)
		}
	}
	if _, called := readable("&lt;@U0US&gt; typed", "U0US", name); called {
		t.Error("a mention that was typed as such calls")
	}
	if _, called := readable("hi <@U0US>", "U0US", name); !called {
		t.Error("a mention does not call")
	}
}

// What a person types without markup comes back as typed.
func TestReadableProperty(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		typed := rapid.String().Draw(t, "typed")
		if got, called := readable(escape(typed), "U0US", func(string, string) string { return "?" }); got != strings.TrimSpace(typed) || called {
			t.Fatalf("%q came back as %q", typed, got)
		}
	})
}

func TestChosen(t *testing.T) {
	c := func(ids ...string) (list []flow.Choice) {
		for _, id := range ids {
			list = append(list, flow.Choice{Label: id, Send: "job.3." + id})
		}
		return list
	}
	for _, x := range []struct {
		sign string
		list []flow.Choice
		want string
	}{
		{"one", c("a", "b"), "a"}, {"nine", c("a", "b"), ""}, {"two", c("a", "b"), "b"}, {"white_check_mark", c("no", "yes"), "yes"},
		{"white_check_mark", c("go", "alone", "stop"), "go"}, {"x", c("yes", "no", "not_known"), "no"}, {"x", c("go", "alone"), "alone"},
		{"x", c("a", "b", "c"), ""}, {"x", nil, ""}, {"one", nil, ""}, {"tada", c("a"), ""},
	} {
		got, ok := chosen(x.list, false, x.sign)
		if want := "job.3." + x.want; ok != (x.want != "") || ok && got.Send != want {
			t.Errorf("%s of %d: %q %v, want %q", x.sign, len(x.list), got.Send, ok, x.want)
		}
	}
}

func TestTS(t *testing.T) {
	for s, want := range map[string]bool{"1700000000.123456": true, "1700000000.12345": false, "1700000000": false, "c1700000000.123456": false, "": false,
		"1700000000.1234567": false, "170000000x.123456": false, "-170000000.123456": false} {
		if isTS(s) != want {
			t.Errorf("%q: %v", s, !want)
		}
	}
	at, ok := timeOf("1700000000.123456")
	if !ok || tsOf(at) != "1700000000.123456" {
		t.Errorf("%v %v", at, ok)
	}
}

// What the library can't read is read here, if it can be; else it is kept. Either
// way it is acknowledged.
func TestBadFrame(t *testing.T) {
	l := &logged{}
	s := &Slack{log: slog.New(slog.NewTextHandler(l, nil))}
	s.people.init()
	var kept []arrival
	e := &ears{s: s, tasks: &sync.WaitGroup{}, beside: make(chan struct{}, 1), look: make(chan struct{}, 1)}
	e.keep = keepInto(&kept)
	for _, c := range []struct {
		frame string
		id    string
		bad   bool
		key   string
	}{
		{`{"envelope_id":"E1","type":"events_api","payload":{"type":"event_callback","event_id":"Ev1","event":{"type":"message","channel":"C1","user":"U1","ts":"1700000000.000001","text":"Harrow","blocks":[{"type":7}]}}}`,
			"E1", false, "m:C1:1700000000.000001"},
		{`{"envelope_id":"E2","type":"events_api","payload":{"type":"event_callback","event":{"type":"message","text":"Harrow"}}}`, "E2", true, keyBad},
		{`{"envelope_id":"E3","type":"telepathy","payload":{"text":"Harrow"}}`, "E3", true, keyBad},
		{`{"envelope_id":"E4","type":"events_api","payload":{"type":"event_callback","event":{"type":"new_thing"}}}`, "E4", false, ""},
		{`{"envelope_id":"E5","type":"events_api","payload":{"type":"event_callback","event":{"type":"new_thing","item":"x","user":7,"message":[]}}}`, "E5", false, ""},
		{`{"envelope_id":"E6","type":"events_api","payload":{"type":"event_callback","event":{"type":"reaction_added","item":"Harrow"}}}`, "E6", true, keyBad},
	} {
		d := e.badMessage(t.Context(), []byte(c.frame))
		if d == nil || d.id != c.id {
			t.Errorf("%.40s: not acknowledged: %+v", c.frame, d)
			continue
		}
		if c.key == "" != (len(d.list) == 0) || len(d.list) > 0 && (d.list[0].bad != c.bad || !strings.HasPrefix(d.list[0].key, c.key)) {
			t.Errorf("%.40s: %+v", c.frame, d.list)
		}
	}
	if d := e.badMessage(t.Context(), []byte(`{"type":"Harrow"}`)); d != nil || len(kept) != 1 || !kept[0].bad {
		t.Errorf("without an envelope: %+v, kept %d", d, len(kept))
	}
	if strings.Contains(l.String(), "Harrow") {
		t.Error("the log holds a message")
	}
}

// Group conversations are told once that they are not served.
func TestGroup(t *testing.T) {
	r := listen(t, true, workspace.Options{})
	for i, event := range []map[string]any{
		{"type": "message", "channel_type": "mpim", "text": "no call"},
		{"type": "message", "channel_type": "mpim", "text": "<@" + r.w.App() + "> hello"},
		{"type": "app_mention", "text": "<@" + r.w.App() + "> hello again"},
	} {
		event["channel"], event["user"], event["ts"] = "G0CROWD", "U0KIM", "170000000"+string(rune('0'+i))+".000001"
		b, err := json.Marshal(map[string]any{"type": "event_callback", "event_id": "Ev" + string(rune('0'+i)), "event": event})
		if err != nil {
			t.Fatal(err)
		}
		if status, _, err := r.w.Forge(workspace.Forgery{URL: "http://" + r.addr() + PathEvents, Body: b}); status != 200 || err != nil {
			t.Errorf("%d %v", status, err)
		}
		r.await("handled", func() bool { return r.pending() == 0 })
	}
	if n := len(r.w.Calls("chat.postMessage")); n != 1 {
		t.Errorf("said %d times, want 1", n)
	}
	r.hears(0)
}

// The note of a job's thread is lost: it is found by the card's metadata.
func TestLostRoot(t *testing.T) {
	r := listen(t, false, workspace.Options{})
	thread, _ := r.begins("kim")
	card := r.card(thread, "k7mw2pd")
	if _, err := r.state.db.ExecContext(t.Context(), "DELETE FROM root"); err != nil {
		t.Fatal(err)
	}
	if _, err := r.state.db.ExecContext(t.Context(), "DELETE FROM shown"); err != nil {
		t.Fatal(err)
	}
	r.w.User("kim").SayInThread("shop", card, "265/70R17")
	if in := r.hears(2)[1]; in.Thread != thread || in.Loose {
		t.Errorf("heard %+v, want thread %s", in, thread)
	}
}
