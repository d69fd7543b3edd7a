package slack

import (
	"bytes"
	"encoding/json"
	"io"
	"log"
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"strconv"
	"strings"
	"testing"

	"milepost/adapters/slack/workspace"
	"milepost/bot"
	"milepost/flow"
)

// answersAs stands between the adapter and the workspace's API and changes what is
// answered.
func (r *rig) answersAs(change func(method string, answer map[string]any)) {
	r.t.Helper()
	to, err := url.Parse(strings.TrimSuffix(r.w.APIURL(), "/api/"))
	if err != nil {
		r.t.Fatal(err)
	}
	p := httputil.NewSingleHostReverseProxy(to)
	p.ErrorLog = log.New(io.Discard, "", 0) // of connections that a test cuts
	p.ModifyResponse = func(res *http.Response) error {
		b, err := io.ReadAll(res.Body)
		res.Body.Close()
		var answer map[string]any
		if err == nil && json.Unmarshal(b, &answer) == nil {
			change(strings.TrimPrefix(res.Request.URL.Path, "/api/"), answer)
			b, err = json.Marshal(answer)
		}
		res.Body, res.ContentLength = io.NopCloser(bytes.NewReader(b)), int64(len(b))
		res.Header.Set("Content-Length", strconv.Itoa(len(b)))
		return err
	}
	s := httptest.NewServer(p)
	r.t.Cleanup(s.Close)
	r.cfg.APIURL = s.URL + "/api/"
}

// What other apps write into a channel, and elements of posts that are new, keep no
// post of ours from being found (github.com/slack-go/slack, 1292 and 1539).
func TestForeignPosts(t *testing.T) {
	r := newRig(t, false, workspace.Options{})
	r.answersAs(func(_ string, answer map[string]any) {
		list, ok := answer["messages"].([]any)
		if !ok {
			return
		}
		odd := map[string]any{"type": "actions", "elements": []any{map[string]any{"type": "shiny_button", "value": 7}, "?"}}
		for _, m := range list {
			m := m.(map[string]any)
			blocks, _ := m["blocks"].([]any)
			m["blocks"] = append([]any{odd, map[string]any{"type": "list", "elements": map[string]any{}}}, blocks...)
		}
		answer["messages"] = append([]any{map[string]any{"type": "message", "ts": "1600000000.000001", "bot_id": "B0OTHER", "text": "x", "blocks": []any{odd},
			"attachments": []any{map[string]any{"color": 12345}}, "metadata": map[string]any{"event_type": "other", "event_payload": "?"}}}, list...)
	})
	r.begin()
	thread, _ := r.begins("kim")
	card := r.card(thread, "k7mw2pd") // for which the channel is looked through
	r.w.Fault(workspace.Fault{Method: "chat.postMessage", After: true, Cut: true})
	out := bot.Outbound{Key: "k7mw2pd/9", Shop: bot.DefaultShop, Network: NetworkName, Thread: thread, Job: "k7mw2pd", Log: 9,
		Reply: flow.Reply{Kind: flow.Notice, Text: "hello"}}
	if err := r.Send(t.Context(), out); err == nil {
		t.Fatal("an answer that was lost is no failure")
	}
	if err := r.Send(t.Context(), out); err != nil {
		t.Errorf("looked for: %v", err)
	}
	if n := len(r.w.Messages("shop", card)); n != 2 {
		t.Errorf("%d messages in the thread, want the card and what was said once", n)
	}
	post := r.prompt(thread, "k7mw2pd", 10, "a", "b")
	for _, table := range []string{"root", "shown", "sent"} {
		if _, err := r.state.db.ExecContext(t.Context(), "DELETE FROM "+table); err != nil {
			t.Fatal(err)
		}
	}
	r.w.User("kim").Press("shop", post, "Choose b") // which is read back
	r.w.User("kim").SayInThread("shop", card, "265/70R17")
	list := r.hears(3)
	if in := list[1]; in.Tap != "k7mw2pd.10.b" {
		t.Errorf("pressed: %+v", in)
	}
	if in := list[2]; in.Thread != thread || in.Loose {
		t.Errorf("heard %+v, want thread %s", in, thread)
	}
}

// Of a person only what is used must be readable.
func TestOddPerson(t *testing.T) {
	r := newRig(t, false, workspace.Options{})
	r.answersAs(func(method string, answer map[string]any) {
		if u, ok := answer["user"].(map[string]any); ok && method == "users.info" {
			u["updated"], u["tz_offset"] = 1700000000.5, nil
			profile := u["profile"].(map[string]any)
			profile["status_expiration"], profile["fields"] = nil, []any{}
		}
	})
	r.cfg.Patterns = []string{r.w.Channel("shop")}
	r.begin()
	r.begins("kim")
	if in := r.hears(1)[0]; in.Name != "kim" || in.Room != r.w.Team()+"/"+r.w.Channel("shop") {
		t.Errorf("heard %+v", in)
	}
}
