package workspace_test

import (
	"bytes"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"strings"
	"testing"
	"time"

	"milepost/adapters/slack/workspace"
)

// upload makes the first two steps and gives the file id.
func (a *app) upload(name, content string, multi bool) string {
	a.t.Helper()
	r := a.fine(a.call("files.getUploadURLExternal", map[string]string{"filename": name, "length": fmt.Sprint(len(content))}))
	var b bytes.Buffer
	kind := "application/octet-stream"
	b.WriteString(content)
	if multi {
		b.Reset()
		m := multipart.NewWriter(&b)
		part, _ := m.CreateFormFile("file", name)
		io.WriteString(part, content)
		m.Close()
		kind = m.FormDataContentType()
	}
	res, err := http.Post(r["upload_url"].(string), kind, &b)
	if err != nil {
		a.t.Fatal(err)
	}
	defer res.Body.Close()
	if res.StatusCode != 200 {
		a.t.Errorf("upload: %s", res.Status)
	}
	return r["file_id"].(string)
}

func (a *app) complete(id, channel, thread, comment string) map[string]any {
	a.t.Helper()
	return a.call("files.completeUploadExternal", map[string]string{"files": `[{"id":"` + id + `","title":"Sheet"}]`, "channel_id": a.w.Channel(channel),
		"thread_ts": thread, "initial_comment": comment})
}

func TestUpload(t *testing.T) {
	a := newApp(t, workspace.Options{ShareDelay: 250 * time.Millisecond})
	a.open()
	root := a.w.User("kim").Say("shop", "job")
	id := a.upload("sheet.pdf", "the sheet", false)
	r := a.fine(a.complete(id, "shop", root, "Here"))
	if f := r["files"].([]any)[0].(map[string]any); f["id"] != id || f["ts"] != nil || r["ts"] != nil || len(a.w.Messages("shop", root)) != 1 {
		t.Errorf("answer %v", r)
	}
	info := func() map[string]any {
		return a.fine(a.call("files.info", map[string]string{"file": id}))["file"].(map[string]any)
	}
	if s := info()["shares"].(map[string]any); len(s) != 0 {
		t.Errorf("shared at once: %v", s)
	}
	img := map[string]string{"blocks": `[{"type":"image","slack_file":{"id":"` + id + `"},"alt_text":"a"}]`}
	a.refused(a.call("chat.postMessage", a.message("shop", "", "x", img)), "invalid_blocks")
	e := a.await("message/file_share", 1)[0].event()
	if e["thread_ts"] != root || e["text"] != "Here" || e["bot_id"] == nil || e["files"].([]any)[0].(map[string]any)["id"] != id {
		t.Errorf("share %v", e)
	}
	a.await("file_shared", 1)
	share := info()["shares"].(map[string]any)["public"].(map[string]any)[a.w.Channel("shop")].([]any)[0].(map[string]any)
	if share["ts"] != e["ts"] || share["thread_ts"] != root {
		t.Errorf("shares %v", share)
	}
	a.post("shop", "", "x", img)
	if b, ok := a.w.File(id); !ok || string(b) != "the sheet" {
		t.Errorf("content %q", b)
	}
	if got := a.w.Posts("shop"); len(got) != 2 || got[0].Thread != root {
		t.Errorf("posts %+v", got)
	}
	a.refused(a.complete(id, "shop", root, ""), "file_already_completed")
}

func TestUploadFaults(t *testing.T) {
	a := newApp(t, workspace.Options{})
	id := a.upload("a.txt", "multipart", true)
	if b, _ := a.w.File(id); string(b) != "multipart" {
		t.Errorf("content %q", b)
	}
	a.refused(a.complete(id, "office", "", ""), "channel_not_found")
	a.refused(a.complete(id, "yard", "", ""), "not_in_channel")
	a.refused(a.complete(id, "shop", "1.000001", ""), "thread_not_found")
	a.refused(a.complete("F1", "shop", "", ""), "file_not_found")
	a.refused(a.call("files.getUploadURLExternal", map[string]string{"filename": "a", "length": "0"}), "invalid_arguments")
	a.refused(a.call("files.completeUploadExternal", nil), "invalid_arguments")
	a.forgive("invalid_arguments", 2)

	r := a.fine(a.call("files.getUploadURLExternal", map[string]string{"filename": "a", "length": "3"}))
	a.refused(a.complete(r["file_id"].(string), "shop", "", ""), "file_not_found")
	a.forgive("never uploaded", 1)
	post := func(to string) int {
		res, err := http.Post(to, "application/octet-stream", strings.NewReader("four"))
		if err != nil {
			return 0
		}
		res.Body.Close()
		return res.StatusCode
	}
	if s := post(r["upload_url"].(string)); s != 400 {
		t.Errorf("wrong length: %d", s)
	}
	a.forgive("were announced", 1)
	if s := post(r["upload_url"].(string) + "x"); s != 404 {
		t.Errorf("wrong address: %d", s)
	}
	a.w.Fault(workspace.Fault{Method: "upload", Status: 503})
	if s := post(r["upload_url"].(string)); s != 503 {
		t.Errorf("fault: %d", s)
	}
	a.fine(a.complete(id, "shop", "", "<!here> file"))
	a.forgive("broadcast", 1)
}

func TestDownload(t *testing.T) {
	a := newApp(t, workspace.Options{})
	a.open()
	kim := a.w.User("kim")
	ts, ids := kim.Upload("shop", "", "the log", workspace.Upload{Name: "drive <a>/../log.gpx", Content: []byte("track")}, workspace.Upload{Name: "b.bin", Content: []byte("x"), Size: 1 << 30})
	e := a.await("message/file_share", 1)[0].event()
	files := e["files"].([]any)
	first, second := files[0].(map[string]any), files[1].(map[string]any)
	if e["ts"] != ts || e["text"] != "the log" || first["size"] != 5.0 || second["size"] != float64(1<<30) || first["shares"] != nil || first["id"] != ids[0] {
		t.Errorf("share %v", e)
	}
	a.await("file_shared", 2)
	get := func(f map[string]any, token string) (int, string, string) {
		req, _ := http.NewRequest(http.MethodGet, f["url_private_download"].(string), nil)
		if token != "" {
			req.Header.Set("Authorization", "Bearer "+token)
		}
		res, err := http.DefaultClient.Do(req)
		if err != nil {
			t.Fatal(err)
		}
		defer res.Body.Close()
		b, _ := io.ReadAll(res.Body)
		return res.StatusCode, res.Header.Get("Content-Type"), string(b)
	}
	trapped := func(why, token string) {
		t.Helper()
		if status, kind, body := get(first, token); status != 200 || !strings.HasPrefix(kind, "text/html") || !strings.Contains(body, "Sign in") {
			t.Errorf("%s: %d %s %q", why, status, kind, body)
		}
	}
	if _, _, body := get(first, a.w.BotToken()); body != "track" {
		t.Errorf("content %q", body)
	}
	trapped("no token", "")
	trapped("wrong token", "xoxb-other")
	trapped("app-level token", a.w.AppToken())
	a.w.RedirectDownloads(true)
	if _, _, body := get(first, a.w.BotToken()); body != "track" {
		t.Errorf("redirected %q", body)
	}
	a.w.RedirectDownloads(false)
	a.w.TruncateDownloads(2)
	if _, _, body := get(first, a.w.BotToken()); body != "tr" {
		t.Errorf("cut short %q", body)
	}
	a.w.TruncateDownloads(0)
	a.w.DropScope("files:read")
	trapped("no scope", a.w.BotToken())
	a.refused(a.call("files.info", map[string]string{"file": ids[0]}), "missing_scope")
	a.w.GrantScope("files:read")
	kim.DeleteFile(ids[0])
	a.await("file_deleted", 1)
	if m := a.await("message/message_changed", 1)[0].event()["message"].(map[string]any)["files"].([]any); m[0].(map[string]any)["mode"] != "tombstone" {
		t.Errorf("after deletion %v", m)
	}
	if status, _, _ := get(first, a.w.BotToken()); status != 404 {
		t.Errorf("deleted: %d", status)
	}
	a.refused(a.call("files.info", map[string]string{"file": ids[0]}), "file_deleted")

	_, ids = kim.Upload("shop", "", "", workspace.Upload{Name: "c.bin", Content: []byte("x"), CheckInfo: true}, workspace.Upload{Name: "d.bin", External: true})
	files = a.await("message/file_share", 2)[1].event()["files"].([]any)
	if f := files[0].(map[string]any); f["file_access"] != "check_file_info" || f["url_private_download"] != nil {
		t.Errorf("check first: %v", f)
	}
	if f := files[1].(map[string]any); f["mode"] != "external" {
		t.Errorf("external: %v", f)
	}
	if f := a.fine(a.call("files.info", map[string]string{"file": ids[0]}))["file"].(map[string]any); f["url_private_download"] == nil {
		t.Errorf("info: %v", f)
	}
	_, ids = kim.Upload("office", "", "", workspace.Upload{Name: "e.bin", Content: []byte("x")})
	a.refused(a.call("files.info", map[string]string{"file": ids[0]}), "file_not_found")
}
