package slack

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"sync"
	"testing"
	"time"

	"milepost/adapters/slack/workspace"
	"milepost/bot"
	"milepost/flow"
)

// voice is an adapter that only speaks: its state open, its posts changed, and
// nothing heard.
type voice struct {
	*Slack
	w   *workspace.Workspace
	log *logged
}

// logged keeps what is logged, to be searched for what must not stand there.
type logged struct {
	mu sync.Mutex
	b  strings.Builder
}

func (l *logged) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *logged) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

func speakConfig(t *testing.T, w *workspace.Workspace) Config {
	t.Helper()
	return Config{BotToken: w.BotToken(), AppToken: w.AppToken(), APIURL: w.APIURL(), Dir: t.TempDir()}
}

// speakFiles is a new workspace without limits, and who speaks there of files on a
// shelf.
func speakFiles(t *testing.T, o workspace.Options) (*workspace.Workspace, *voice, shelf) {
	t.Helper()
	o.NoRateLimit = true
	w, store := workspace.New(t, o), shelf{}
	cfg := speakConfig(t, w)
	cfg.Every, cfg.Blobs = -1, store
	return w, speakWith(t, w, cfg), store
}

func speakWith(t *testing.T, w *workspace.Workspace, cfg Config) *voice {
	t.Helper()
	l := &logged{}
	cfg.Log = slog.New(slog.NewTextHandler(l, nil))
	s, err := New(cfg)
	if err != nil {
		t.Fatal(err)
	}
	s.times.again = 100 * time.Millisecond
	st, err := openState(t.Context(), cfg.Dir)
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	s.begin(ctx, st, self{Team: w.Team(), User: w.App(), Bot: "B0MILE"})
	var tasks sync.WaitGroup
	tasks.Go(func() { s.speak(ctx, st, cfg.Boards) })
	t.Cleanup(func() {
		stop()
		tasks.Wait()
		if err := st.close(); err != nil {
			t.Error(err)
		}
		for _, secret := range []string{w.BotToken(), w.AppToken(), w.SigningSecret()} {
			if strings.Contains(l.String(), secret) {
				t.Error("a secret stands in the log")
			}
		}
	})
	return &voice{s, w, l}
}

func speak(t *testing.T, o workspace.Options) *voice {
	t.Helper()
	w := workspace.New(t, o)
	cfg := speakConfig(t, w)
	if o.NoRateLimit {
		cfg.Every = -1
	}
	return speakWith(t, w, cfg)
}

// begins lets a person begin a job and gives its thread.
func (s *voice) begins(who, words string) bot.Thread {
	c := s.w.Channel("shop")
	return threadName(s.w.Team(), c, s.w.User(who).Say("shop", words))
}

func (s *voice) out(key string, th bot.Thread, kind flow.ReplyKind, text string, choices ...flow.Choice) bot.Outbound {
	job, _, _ := strings.Cut(key, "/")
	o := bot.Outbound{Key: key, Shop: bot.DefaultShop, Network: NetworkName, Thread: th, Job: job, Log: 9, By: "w",
		Reply: flow.Reply{Seq: 9, Kind: kind, Role: flow.Technician, Phase: flow.PhaseBackup, Text: text, Choices: choices, To: []flow.Who{"w"}},
		Names: map[flow.Who]string{"w": "Kim"}, Users: map[flow.Who]bot.Identity{"w": Identity(s.w.Team(), s.w.User("kim").ID())}}
	if kind == flow.Card {
		o.Reply.To, o.By = nil, ""
	}
	return o
}

func (s *voice) says(t *testing.T, out bot.Outbound) {
	t.Helper()
	if err := s.until(t, out); err != nil {
		t.Fatalf("send %s: %v", out.Key, err)
	}
}

// until sends as the outbox does: again and again until it is out.
func (s *voice) until(t *testing.T, out bot.Outbound) error {
	t.Helper()
	for end := time.Now().Add(workspace.Patience); ; {
		send := s.Send
		if out.Reply.Kind == flow.Card && len(out.Reply.To) == 0 {
			send = s.EditCard
		}
		e := send(t.Context(), out)
		if e == nil {
			return nil
		}
		if time.Now().After(end) {
			return e
		}
		var b *bot.Error
		if errors.As(e, &b) && b.Kind != bot.Unavailable {
			return e
		}
		pause := 50 * time.Millisecond
		var asked interface{ RetryAfter() time.Duration }
		if errors.As(e, &asked) {
			pause = asked.RetryAfter()
		}
		time.Sleep(pause)
	}
}

func yesNo(ask int) []flow.Choice {
	return []flow.Choice{{Label: "yes", Send: fmt.Sprintf("k7mw2pd.%d.yes", ask)}, {Label: "no", Send: fmt.Sprintf("k7mw2pd.%d.no", ask)}}
}

func TestCardIsTheRoot(t *testing.T) {
	s := speak(t, workspace.Options{})
	th := s.begins("kim", "unit 14, 265/70R17")
	s.says(t, s.out("k7mw2pd/1/card", th, flow.Card, "Unit 14 · job k7mw2pd\nopening"))
	s.says(t, s.out("k7mw2pd/2", th, flow.Prompt, "Only in this module?", yesNo(1)...))
	s.says(t, s.out("k7mw2pd/3/card", th, flow.Card, "Unit 14 · job k7mw2pd\nbackup"))

	roots := s.w.Messages("shop", "")
	if len(roots) != 2 || !roots[1].App {
		t.Fatalf("in the channel: %+v", roots)
	}
	root := roots[1]
	if !strings.Contains(root.Shown, "backup") || strings.Contains(root.Shown, "opening") {
		t.Errorf("the card reads %q", root.Shown)
	}
	replies := s.w.Messages("shop", root.TS)
	if len(replies) != 2 || replies[1].Thread != root.TS {
		t.Fatalf("in the thread: %+v", replies)
	}
	m := replies[1]
	if got := m.Buttons(); len(got) != 2 || got[0] != "yes" || got[1] != "no" {
		t.Errorf("buttons %q", got)
	}
	if want := "Only in this module?\n1 yes\n2 no"; m.Shown != want {
		t.Errorf("the text alone reads %q, want %q", m.Shown, want)
	}
	if strings.Contains(m.Text, "<@") {
		t.Error("who has just spoken is called")
	}
	t.Logf("%s\n%s", root.Blocks, m.Blocks)
}

func TestSendTwiceIsOnce(t *testing.T) {
	s := speak(t, workspace.Options{})
	th := s.begins("kim", "unit 14")
	s.says(t, s.out("k7mw2pd/1/card", th, flow.Card, "Unit 14"))
	for range 3 {
		s.says(t, s.out("k7mw2pd/2", th, flow.Notice, "Kept."))
	}
	if n := len(s.w.Posts("shop")); n != 2 {
		t.Errorf("%d posts, want the card and one message", n)
	}
}

// An answer lost after the deed, a 500, a 429 and a cut before it: one message.
func TestLostAnswers(t *testing.T) {
	for _, f := range []workspace.Fault{
		{Method: "chat.postMessage", Cut: true, After: true},
		{Method: "chat.postMessage", Status: 500, After: true},
		{Method: "chat.postMessage", Status: 500},
		{Method: "chat.postMessage", Cut: true},
		{Method: "chat.postMessage", RetryAfter: time.Second},
		{Method: "chat.postMessage", Error: "internal_error", After: true},
		{Method: "chat.postMessage", Error: "service_unavailable"},
	} {
		t.Run(fmt.Sprintf("%+v", f), func(t *testing.T) {
			s := speak(t, workspace.Options{NoRateLimit: true})
			th := s.begins("kim", "unit 14")
			s.w.Fault(f)
			s.says(t, s.out("k7mw2pd/1/card", th, flow.Card, "Unit 14"))
			s.w.Fault(f)
			s.says(t, s.out("k7mw2pd/2", th, flow.Notice, "one"))
			s.says(t, s.out("k7mw2pd/3", th, flow.Notice, "two"))
			var got []string
			for _, m := range s.w.Messages("shop", s.w.Messages("shop", "")[1].TS) {
				got = append(got, m.Shown)
			}
			if strings.Join(got, "|") != "Unit 14|one|two" {
				t.Errorf("shown: %q", got)
			}
		})
	}
}
