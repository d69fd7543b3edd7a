package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"sync"
	"time"

	"milepost/bot"
)

// The running program is reached through a socket in its data directory, for
// what only the one who writes can do. A connection carries one request and one
// response, each a line of JSON:
//
//	{"do":"backup","file":"/absolute/path"}
//	{"do":"erase","what":"terminal:NAME or a job's number"}
//
//	{"ok":true,"erased":{…}}
//	{"ok":false,"error":"…"}
//
// Who can open the socket is its owner: mode 0600 in a directory of mode 0700.
const (
	socketName = "milepost.sock"
	maxRequest = 64 << 10
	requestFor = 10 * time.Second // to read a request; the work takes what it takes
	maxCallers = 4
)

type request struct {
	Do   string `json:"do"`
	File string `json:"file,omitempty"`
	What string `json:"what,omitempty"`
}

type response struct {
	OK     bool        `json:"ok"`
	Error  string      `json:"error,omitempty"`
	Erased *bot.Erased `json:"erased,omitempty"`
}

// door is the socket of a running program.
type door struct {
	l      net.Listener
	cancel context.CancelFunc
	wait   sync.WaitGroup
	free   func()
}

// listen opens the door. We hold the directory's lock, so a socket that is there
// already is nobody's.
func (h *house) listen(ctx context.Context) (*door, error) {
	path := filepath.Join(h.dir, socketName)
	switch fi, err := os.Lstat(path); {
	case errors.Is(err, fs.ErrNotExist):
	case err != nil:
		return nil, fmt.Errorf("open control socket: %w", err)
	case fi.Mode()&fs.ModeSocket == 0 && runtime.GOOS != "windows":
		return nil, fmt.Errorf("open control socket: %s is in the way and is no socket", path)
	default:
		if err := os.Remove(path); err != nil {
			return nil, fmt.Errorf("open control socket: %w", err)
		}
	}
	short, free, err := socketPath(path)
	if err != nil {
		return nil, fmt.Errorf("open control socket: %w", err)
	}
	l, err := net.Listen("unix", short)
	if err == nil {
		if err = os.Chmod(path, 0o600); err != nil {
			l.Close()
		}
	}
	if err != nil {
		free()
		return nil, fmt.Errorf("open control socket: %w", err)
	}
	ctx, cancel := context.WithCancel(ctx)
	d := &door{l: l, cancel: cancel, free: free}
	d.wait.Add(1)
	go func() {
		defer d.wait.Done()
		d.serve(ctx, h)
	}()
	return d, nil
}

// close shuts the door and waits for who is in it.
func (d *door) close() error {
	d.cancel()
	err := d.l.Close() // removes the socket
	d.wait.Wait()
	d.free()
	if errors.Is(err, net.ErrClosed) {
		err = nil
	}
	return err
}

func (d *door) serve(ctx context.Context, h *house) {
	places := make(chan struct{}, maxCallers)
	for {
		c, err := d.l.Accept()
		if errors.Is(err, net.ErrClosed) {
			return
		}
		if err != nil {
			select {
			case <-time.After(100 * time.Millisecond): // out of descriptors, perhaps
				continue
			case <-ctx.Done():
				return
			}
		}
		places <- struct{}{}
		d.wait.Add(1)
		go func() {
			defer d.wait.Done()
			defer func() { <-places }()
			defer c.Close()
			h.attend(ctx, c)
		}()
	}
}

// attend reads one request and answers it.
func (h *house) attend(ctx context.Context, c net.Conn) {
	_ = c.SetReadDeadline(time.Now().Add(requestFor))
	stop := context.AfterFunc(ctx, func() { _ = c.SetReadDeadline(time.Now()) })
	defer stop()
	var q request
	var a response
	line, err := bufio.NewReader(io.LimitReader(c, maxRequest)).ReadBytes('\n')
	if err == nil {
		err = json.Unmarshal(line, &q)
	}
	if err != nil {
		a.Error = "the request can't be read"
	} else if a.Erased, err = h.do(ctx, q); err != nil {
		a.Error = reason(err)
	} else {
		a.OK = true
	}
	b, err := json.Marshal(a)
	if err != nil {
		return // texts and numbers only: unreachable
	}
	_ = c.SetWriteDeadline(time.Now().Add(requestFor))
	_, _ = c.Write(append(b, '\n')) // who asked has gone: nobody to tell
}

// do is what can be asked for, here or through the door.
func (h *house) do(ctx context.Context, q request) (*bot.Erased, error) {
	switch q.Do {
	case "backup":
		if !filepath.IsAbs(q.File) {
			return nil, errors.New("backup: the file's path is not absolute")
		}
		return nil, h.store.Backup(ctx, q.File)
	case "erase":
		return h.erase(ctx, q.What)
	}
	return nil, fmt.Errorf("there is nothing called %.40q to do", q.Do)
}

// erase erases a job or a person in every shop, where there is anything of it.
func (h *house) erase(ctx context.Context, what string) (*bot.Erased, error) {
	var all bot.Erased
	var nothing error
	found := false
	for _, shop := range h.shops {
		e, err := h.bot.Erase(ctx, shop, what)
		var no *bot.Error
		if errors.As(err, &no) && no.Kind == bot.Invalid {
			nothing = err // nothing of it is in this shop
			continue
		}
		found = true
		all.Jobs, all.Kept, all.Beyond = append(all.Jobs, e.Jobs...), append(all.Kept, e.Kept...), e.Beyond
		all.Items, all.Files, all.Lingers = all.Items+e.Items, all.Files+e.Files, all.Lingers || e.Lingers
		if err != nil {
			return &all, err
		}
	}
	if !found {
		return &all, nothing
	}
	return &all, nil
}

// errNobody says that nothing answers at a data directory's socket.
var errNobody = errors.New("no running program answers")

// knock puts a request to the running program.
func knock(ctx context.Context, dir string, q request) (*bot.Erased, error) {
	short, free, err := socketPath(filepath.Join(dir, socketName))
	if err != nil {
		return nil, errors.Join(errNobody, err)
	}
	defer free()
	c, err := (&net.Dialer{}).DialContext(ctx, "unix", short)
	if err != nil {
		return nil, errors.Join(errNobody, err)
	}
	defer c.Close()
	stop := context.AfterFunc(ctx, func() { c.Close() })
	defer stop()
	b, err := json.Marshal(q)
	if err != nil {
		return nil, err
	}
	if _, err := c.Write(append(b, '\n')); err != nil {
		return nil, fmt.Errorf("ask the running program: %w", err)
	}
	var a response
	if err := json.NewDecoder(io.LimitReader(c, 16<<20)).Decode(&a); err != nil {
		return nil, fmt.Errorf("ask the running program: %w", err)
	}
	if !a.OK {
		return a.Erased, errors.New(a.Error)
	}
	return a.Erased, nil
}

// maxSocket is how long the path of a socket may be on the systems we know.
const maxSocket = 100

// socketPath gives a path to a socket that the system takes: where the true one
// is too long, one by way of its open directory. free lets go of that.
func socketPath(path string) (short string, free func(), err error) {
	if abs, err := filepath.Abs(path); err == nil && len(path) > maxSocket {
		path = abs
	}
	if len(path) <= maxSocket {
		return path, func() {}, nil
	}
	if runtime.GOOS != "linux" {
		return "", nil, fmt.Errorf("the path %s is longer than a socket's may be, %d bytes", path, maxSocket)
	}
	d, err := os.Open(filepath.Dir(path))
	if err != nil {
		return "", nil, err
	}
	return "/proc/self/fd/" + strconv.Itoa(int(d.Fd())) + "/" + filepath.Base(path), func() { d.Close() }, nil
}
