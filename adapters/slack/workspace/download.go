package workspace

import (
	"io"
	"net"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"
)

// signIn is what Slack shows, with status 200, to whoever may not have a file.
const signIn = `<!DOCTYPE html><html><head><title>Sign in</title></head><body><form action="/signin"><input name="email"></form></body></html>`

// serveDownload serves url_private and url_private_download.
func (w *Workspace) serveDownload(rw http.ResponseWriter, r *http.Request) {
	name, _, _ := strings.Cut(strings.TrimPrefix(r.URL.Path, "/files-pri/"), "/")
	id := strings.TrimPrefix(name, w.opt.Team+"-")
	token, bearer := strings.CutPrefix(r.Header.Get("Authorization"), "Bearer ")
	entry := Call{Method: "download", At: time.Now(), Args: map[string][]string{"file": {id}}}
	c := &call{method: "download", args: entry.Args}
	w.mu.Lock()
	f := w.files[id]
	fault := w.takeFault("download", entry.Args)
	may := f != nil && bearer && token == w.botToken && w.revoked == "" && w.botRevoked == "" && slices.Contains(w.scopes, "files:read") && w.mayRead(f)
	gone := f != nil && f.gone
	redirect, cut := w.redirect, w.truncate
	if r.URL.Query().Has("token") {
		w.broke("download: token in the URL")
	}
	w.mu.Unlock()
	defer func() {
		w.change(func() { w.calls = append(w.calls, entry) })
	}()
	if fault != nil && fault.Delay > 0 && !w.sleep(fault.Delay) {
		return
	}
	if fault != nil && w.disturbed(rw, c, fault, &entry) {
		return
	}
	switch {
	case !may:
		entry.Error = "sign-in page"
		rw.Header().Set("Content-Type", "text/html; charset=utf-8")
		io.WriteString(rw, signIn)
	case gone:
		entry.Error = "gone"
		rw.WriteHeader(http.StatusNotFound)
	case redirect:
		http.Redirect(rw, r, "http://"+w.farC+"/"+f.id+"/"+hash(w.key+"far"+f.id), http.StatusFound)
	default:
		w.serveContent(rw, f, cut)
	}
}

func (w *Workspace) serveContent(rw http.ResponseWriter, f *file, cut int64) {
	content := f.content
	if cut > 0 && cut < int64(len(content)) {
		content = content[:cut]
	}
	rw.Header().Set("Content-Type", f.kind)
	rw.Header().Set("Content-Length", strconv.Itoa(len(content)))
	rw.Write(content)
}

// listenFar serves the other host, by name instead of number, so that clients tell the two apart.
func (w *Workspace) listenFar() {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		w.t.Fatalf("workspace: %v", err)
	}
	_, port, _ := net.SplitHostPort(l.Addr().String())
	w.farC = net.JoinHostPort("localhost", port)
	w.far = &http.Server{Handler: http.HandlerFunc(func(rw http.ResponseWriter, r *http.Request) {
		if r.Header.Get("Authorization") != "" {
			w.broke("download: the token was shown to another host")
		}
		id, secret, _ := strings.Cut(strings.TrimPrefix(r.URL.Path, "/"), "/")
		w.mu.Lock()
		f := w.files[id]
		w.mu.Unlock()
		if f == nil || secret != hash(w.key+"far"+id) {
			io.WriteString(rw, signIn)
			return
		}
		w.serveContent(rw, f, 0)
	})}
	w.spawn(func() { w.far.Serve(l) })
}
