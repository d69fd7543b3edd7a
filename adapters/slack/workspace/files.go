package workspace

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"mime"
	"mime/multipart"
	"net/http"
	"net/url"
	"path"
	"slices"
	"strconv"
	"strings"
	"time"
)

type file struct {
	id, name, title, kind string
	user                  string
	bot                   bool
	content               []byte
	size                  int64 // as announced
	created               time.Time
	ready                 time.Time // usable in blocks from then on
	uploaded, completed   bool
	gone                  bool // deleted: mode tombstone
	checkInfo             bool // the event says file_access: check_file_info
	external              bool
	channels              []string
	shares                []share
}

type share struct{ channel, ts, thread string }

// multipartForm reads the fields of a multipart body; a file's content counts as a field's.
func multipartForm(b []byte, boundary string) (url.Values, error) {
	form := url.Values{}
	r := multipart.NewReader(bytes.NewReader(b), boundary)
	for {
		p, err := r.NextPart()
		if err == io.EOF {
			return form, nil
		}
		if err != nil {
			return nil, fmt.Errorf("multipart: %w", err)
		}
		v, err := io.ReadAll(p)
		if err != nil {
			return nil, fmt.Errorf("multipart: %w", err)
		}
		form.Add(p.FormName(), string(v))
	}
}

// fileObject is a file as events and files.info show it; only the latter has the shares.
func (w *Workspace) fileObject(f *file, info bool) obj {
	if f == nil {
		return obj{}
	}
	if f.gone {
		return obj{"id": f.id, "mode": "tombstone"}
	}
	if f.checkInfo && !info {
		return obj{"id": f.id, "mode": "file_access", "file_access": "check_file_info", "created": 0, "timestamp": 0}
	}
	mode, private := "hosted", "http://"+w.addr+"/files-pri/"+w.opt.Team+"-"+f.id+"/"
	name := url.PathEscape(path.Base(strings.ReplaceAll(f.name, `\`, "/")))
	o := obj{"id": f.id, "created": f.created.Unix(), "timestamp": f.created.Unix(), "name": f.name, "title": f.title, "mimetype": f.kind,
		"filetype": strings.TrimPrefix(path.Ext(f.name), "."), "pretty_type": "File", "user": f.user, "user_team": w.opt.Team, "editable": false,
		"size": f.size, "mode": mode, "is_external": f.external, "external_type": "", "is_public": false, "public_url_shared": false,
		"display_as_bot": false, "username": "", "url_private": private + name, "url_private_download": private + "download/" + name,
		"permalink": "https://" + w.opt.Domain + ".example/files/" + f.user + "/" + f.id, "has_rich_preview": false, "file_access": "visible"}
	if f.external {
		o["mode"], o["external_type"], o["url_private"] = "external", "app", "https://files.example/"+name
		delete(o, "url_private_download")
	}
	if info {
		public, closed := map[string][]obj{}, map[string][]obj{}
		for _, s := range f.shares {
			ch := w.channels[s.channel]
			e := obj{"ts": s.ts, "channel_name": ch.name, "team_id": w.opt.Team, "share_user_id": f.user}
			if s.thread != "" {
				e["thread_ts"] = s.thread
			}
			if ch.kind == Public {
				public[s.channel] = append(public[s.channel], e)
			} else {
				closed[s.channel] = append(closed[s.channel], e)
			}
		}
		shares := obj{}
		if len(public) > 0 {
			shares["public"] = public
		}
		if len(closed) > 0 {
			shares["private"] = closed
		}
		o["shares"] = shares
		o["channels"], o["groups"], o["ims"] = f.channels, []string{}, []string{}
	}
	return o
}

// mayRead says whether the app sees a file: its own, or one shared where it is a member.
func (w *Workspace) mayRead(f *file) bool {
	return f.bot || slices.ContainsFunc(f.shares, func(s share) bool { return w.channels[s.channel].has(w.botUser) })
}

func (w *Workspace) filesInfo(c *call) (obj, string) {
	if c.lacks("file") {
		return nil, "invalid_arguments"
	}
	f := w.files[c.arg("file")]
	switch {
	case f == nil || !f.uploaded || !w.mayRead(f):
		return nil, "file_not_found"
	case f.gone:
		return nil, "file_deleted"
	}
	return obj{"file": w.fileObject(f, true), "comments": []obj{}, "response_metadata": obj{"next_cursor": ""}}, ""
}

// uploadURL is files.getUploadURLExternal, the first of three steps.
func (w *Workspace) uploadURL(c *call) (obj, string) {
	if c.lacks("filename", "length") {
		return nil, "invalid_arguments"
	}
	n, err := strconv.ParseInt(c.arg("length"), 10, 64)
	if err != nil || n < 1 {
		c.detail = []string{"[ERROR] length must be a whole number above 0"}
		return nil, "invalid_arguments"
	}
	if n > 1<<30 {
		return nil, "file_upload_size_restricted"
	}
	name := c.arg("filename")
	kind := mime.TypeByExtension(path.Ext(name))
	if kind == "" {
		kind = "application/octet-stream"
	}
	f := &file{id: w.id("F"), name: name, title: name, kind: kind, user: w.botUser, bot: true, size: n, created: time.Now()}
	w.files[f.id] = f
	return obj{"upload_url": "http://" + w.addr + "/upload/" + f.id + "/" + hash(w.key+f.id), "file_id": f.id}, ""
}

func hash(s string) string {
	h := sha256.Sum256([]byte(s))
	return hex.EncodeToString(h[:8])
}

// serveUpload is the second step: the bytes, plain or as a multipart file.
func (w *Workspace) serveUpload(rw http.ResponseWriter, r *http.Request) {
	id, secret, _ := strings.Cut(strings.TrimPrefix(r.URL.Path, "/upload/"), "/")
	w.mu.Lock()
	fault := w.takeFault("upload", url.Values{"file": {id}})
	w.mu.Unlock()
	c := &call{method: "upload", args: url.Values{"file": {id}}}
	entry := Call{Method: "upload", At: time.Now(), Args: c.args}
	defer func() {
		w.change(func() { w.calls = append(w.calls, entry) })
	}()
	if fault != nil && fault.Delay > 0 && !w.sleep(fault.Delay) {
		return
	}
	if fault != nil && !fault.After && w.disturbed(rw, c, fault, &entry) {
		return
	}
	body, err := io.ReadAll(io.LimitReader(r.Body, 1<<28))
	kind, params, _ := mime.ParseMediaType(r.Header.Get("Content-Type"))
	if err == nil && kind == "multipart/form-data" {
		var form url.Values
		if form, err = multipartForm(body, params["boundary"]); err == nil {
			for name, v := range form {
				if name == "file" || name == "filename" {
					body = []byte(v[0])
				}
			}
		}
	}
	w.mu.Lock()
	f := w.files[id]
	status, words := http.StatusOK, ""
	switch {
	case err != nil || r.Method != http.MethodPost:
		status, words = http.StatusBadRequest, "bad upload"
	case f == nil || secret != hash(w.key+id):
		status, words = http.StatusNotFound, "no such upload"
	case int64(len(body)) != f.size:
		w.broke("upload of %s: %d bytes, %d were announced", f.name, len(body), f.size)
		status, words = http.StatusBadRequest, "wrong length"
	default:
		f.content, f.uploaded = body, true
		words = fmt.Sprintf("OK - %d", len(body))
	}
	w.mu.Unlock()
	if fault != nil && fault.After && w.disturbed(rw, c, fault, &entry) {
		return
	}
	rw.WriteHeader(status)
	io.WriteString(rw, words)
}

// completeUpload is the third step. The message appears a moment later; the answer has no ts.
func (w *Workspace) completeUpload(c *call) (obj, string) {
	var list []struct{ ID, Title string }
	if err := json.Unmarshal([]byte(c.arg("files")), &list); err != nil || len(list) == 0 {
		c.detail = []string{"[ERROR] missing required field: files"}
		return nil, "invalid_arguments"
	}
	var ch *channel
	thread := ""
	if id := c.arg("channel_id"); id != "" {
		c.args.Set("channel", id)
		var bad string
		if ch, bad = w.target(c); bad != "" {
			return nil, bad
		}
		if thread, bad = w.root(c, ch); bad != "" {
			return nil, bad
		}
	} else if c.arg("channels") != "" || c.arg("thread_ts") != "" {
		w.broke("%s: one channel_id is wanted, not channels", c.method)
		return nil, "invalid_arguments"
	}
	m := body{text: c.arg("initial_comment")}
	w.judge(c.method, m)
	if length(m.text) > 4000 {
		w.broke("%s: initial_comment is too long", c.method)
		return nil, "msg_too_long"
	}
	var ids []string
	var out []obj
	for _, x := range list {
		f := w.files[x.ID]
		switch {
		case f == nil || !f.bot:
			return nil, "file_not_found"
		case !f.uploaded:
			w.broke("%s: %s was never uploaded", c.method, x.ID)
			return nil, "file_not_found"
		case f.completed:
			return nil, "file_already_completed" // what Slack answers here is not documented
		}
		ids = append(ids, x.ID)
	}
	for _, x := range list {
		f := w.files[x.ID]
		if x.Title != "" {
			f.title = x.Title
		}
		f.completed = true
		f.ready = time.Now().Add(w.opt.ReadyDelay)
		out = append(out, obj{"id": f.id, "title": f.title})
	}
	if ch != nil {
		w.after(w.opt.ShareDelay, func() { w.shareOwn(ch, thread, m, ids) })
	}
	return obj{"files": out}, ""
}

func (w *Workspace) shareOwn(ch *channel, thread string, m body, ids []string) {
	n := w.say(ch, thread, m)
	w.share(ch, n, ids)
}

// share puts files on a message and tells of it: the message with subtype file_share, and file_shared for each.
func (w *Workspace) share(ch *channel, n *message, ids []string) {
	n.subtype, n.files = "file_share", ids
	for _, id := range ids {
		f := w.files[id]
		f.shares = append(f.shares, share{ch.id, n.ts, n.thread})
		f.channels = append(f.channels, ch.id)
	}
	w.fresh(ch, n)
	for _, id := range ids {
		if ch.has(w.botUser) {
			w.emit("file_shared", "files:read", obj{"type": "file_shared", "channel_id": ch.id, "file_id": id, "user_id": n.user,
				"file": obj{"id": id}, "event_ts": w.ts()})
		}
	}
}
