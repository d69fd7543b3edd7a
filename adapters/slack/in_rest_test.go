package slack

import (
	"testing"

	"milepost/adapters/slack/workspace"
)

// A mention may be told of without the files of its message, which come with another
// event (docs.slack.dev, app_mention): nothing of it is lost, nor heard twice.
func TestMentionWithoutItsFiles(t *testing.T) {
	r := listen(t, false, workspace.Options{})
	kim, us := r.w.User("kim").ID(), r.w.App()
	event := func(kind, ts string, files ...any) map[string]any {
		e := map[string]any{"type": kind, "channel": r.w.Channel("shop"), "user": kim, "text": "<@" + us + "> new job Harrow Drifter", "ts": ts, "event_ts": ts}
		if kind == typeMessage {
			e["channel_type"], e["subtype"], e["files"] = "channel", "file_share", files
		}
		return e
	}
	file := func(id string) any {
		return map[string]any{"id": id, "name": id + ".bin", "size": 3, "mode": "hosted", "url_private_download": "https://files.slack.com/x"}
	}
	// The times are before we were there, so that nothing of it is read back.
	base := r.w.Team() + "/" + r.w.Channel("shop") + "/"
	for i, list := range [][]map[string]any{
		{event(typeMention, "1600000001.000100"), event(typeMessage, "1600000001.000100", file("F1"), file("F2")), event(typeMessage, "1600000001.000100", file("F1"), file("F2"))},
		{event(typeMessage, "1600000002.000100", file("F1"), file("F2")), event(typeMention, "1600000002.000100")},
	} {
		at := list[0]["ts"].(string)
		for _, e := range list {
			r.w.Emit(e)
			r.settled()
		}
		heard := r.hears(3 * (i + 1))[3*i:]
		for n, want := range []string{"", "/f/F1", "/f/F2"} {
			in := heard[n]
			if in.Delivery != base+at+want || !in.Called || !in.Loose || in.Begins != threadName(r.w.Team(), r.w.Channel("shop"), at) ||
				(in.File != nil) != (n > 0) || (in.Text != "") != (n == 0) {
				t.Errorf("order %d, part %d: heard %+v", i+1, n+1, in)
			}
		}
	}
	if r.ear.repeat > 0 {
		t.Errorf("%d parts were told twice", r.ear.repeat)
	}
	// Deleted, or of somebody who was erased: no file of it comes any more.
	st := r.state
	for key, sql := range map[string]string{"1600000001.000100": "INSERT INTO seen (key, channel, at, came) SELECT 'd' || substr(key, 2), channel, at, came FROM seen WHERE key = ?",
		"1600000002.000100": "UPDATE seen SET user = '', parts = '' WHERE key = ?"} {
		if _, err := st.db.ExecContext(t.Context(), sql, keyMessage+r.w.Channel("shop")+":"+key); err != nil {
			t.Fatal(err)
		}
		r.w.Emit(event(typeMessage, key, file("F3")))
	}
	r.hears(6)
}
