package slack

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"os"
	"strconv"
	"strings"
	"time"

	api "github.com/slack-go/slack"

	"milepost/bot"
)

// Faults of a file that is not taken, as the catalogue names them.
const (
	fileGone  = "file.gone"
	fileLarge = "file.too_large"
)

const (
	fileTries   = 4
	fileTimeout = 10 * time.Minute // for one download of the largest file
)

// fileClient is the client for downloads. It follows no redirect: the token is for
// Slack's hosts, and what is elsewhere is not what was sent.
func fileClient(cfg Config) *http.Client {
	return &http.Client{Timeout: fileTimeout, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
		Transport: &http.Transport{Proxy: http.ProxyFromEnvironment, DialContext: (&net.Dialer{Timeout: 10 * time.Second}).DialContext,
			TLSHandshakeTimeout: 10 * time.Second, ResponseHeaderTimeout: 30 * time.Second, IdleConnTimeout: 30 * time.Second, MaxIdleConnsPerHost: 4}}
}

// attachment is a file of a message, to be opened when it is wanted.
func (s *Slack) attachment(ctx context.Context, f inFile) *bot.Attachment {
	a := &bot.Attachment{Name: or(f.Name, f.Title)}
	if f.Access == "check_file_info" || f.Access == "" && f.Download == "" && f.Private == "" && f.Mode != "tombstone" && !f.External {
		known, err := s.fileInfo(ctx, f.ID)
		if err != nil {
			s.log.Warn("slack does not say what a file is", "file", f.ID, "err", plainly(err))
			a.Fault = fileGone
			return a
		}
		f = known
		a.Name = or(f.Name, f.Title)
	}
	switch {
	case f.External || f.Mode == "external" || f.Mode == "tombstone" || f.Mode == "hidden_by_limit" || f.Access == "access_denied" || f.Access == "file_not_found":
		a.Fault = fileGone
	case f.Size > s.cfg.MaxFile:
		a.Fault = fileLarge
	default:
		a.Open = func() (io.ReadCloser, error) { return s.fetch(ctx, f) }
	}
	return a
}

// fileInfo asks for what the event has left out.
func (s *Slack) fileInfo(ctx context.Context, id string) (inFile, error) {
	var err error
	for i := range fileTries {
		var f *api.File
		f, _, _, err = s.api.GetFileInfoContext(ctx, id, 0, 0)
		if err == nil {
			return inFile{ID: f.ID, Name: f.Name, Title: f.Title, Kind: f.Mimetype, Size: int64(f.Size), Mode: f.Mode, External: f.IsExternal,
				Access: f.FileAccess, Private: f.URLPrivate, Download: f.URLPrivateDownload}, nil
		}
		if refusedFor(err) {
			break
		}
		if !sleep(ctx, max(wait(err), s.times.retry<<i)) {
			break
		}
	}
	return inFile{}, err
}

// fetch downloads a file to a temporary one of ours, whole or not at all, and
// opens it; closing removes it.
func (s *Slack) fetch(ctx context.Context, f inFile) (io.ReadCloser, error) {
	from, err := s.own(or(f.Download, f.Private))
	if err != nil {
		return nil, fmt.Errorf("file %s: %w", f.ID, err)
	}
	for i := range fileTries {
		var t *tempFile
		var again time.Duration
		if t, again, err = s.download(ctx, from, f); err == nil {
			return t, nil
		}
		if again < 0 || !sleep(ctx, max(again, s.times.retry<<i)) {
			break
		}
	}
	return nil, fmt.Errorf("file %s: %w", f.ID, err)
}

// own is an address that may be shown the token: one of Slack's hosts by https,
// or the API's own.
func (s *Slack) own(address string) (*url.URL, error) {
	u, err := url.Parse(address)
	if err != nil || u.Host == "" || u.User != nil {
		return nil, errors.New("it has no address")
	}
	if s.cfg.APIURL != "" {
		if home, err := url.Parse(s.cfg.APIURL); err == nil && u.Scheme == home.Scheme && u.Host == home.Host {
			return u, nil
		}
	}
	host := strings.ToLower(u.Hostname())
	if u.Scheme == "https" && (u.Port() == "" || u.Port() == "443") {
		for _, d := range []string{"slack.com", "slack-gov.com"} {
			if host == d || strings.HasSuffix(host, "."+d) {
				return u, nil
			}
		}
	}
	return nil, errors.New("it is not kept by Slack")
}

const never = time.Duration(-1)

// download makes one try; again is when the next may follow, never for none.
func (s *Slack) download(ctx context.Context, from *url.URL, f inFile) (t *tempFile, again time.Duration, err error) {
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, from.String(), nil)
	if err != nil {
		return nil, never, errors.New("its address is none")
	}
	req.Header.Set("Authorization", "Bearer "+s.cfg.BotToken)
	res, err := s.web.Do(req)
	if err != nil {
		return nil, 0, errors.New(plainly(err))
	}
	defer res.Body.Close()
	kind := strings.ToLower(res.Header.Get("Content-Type"))
	switch {
	case res.StatusCode == http.StatusTooManyRequests:
		n, _ := strconv.Atoi(res.Header.Get("Retry-After"))
		return nil, time.Duration(max(n, 1)) * time.Second, errors.New("slack asks to wait")
	case res.StatusCode >= 500:
		return nil, 0, fmt.Errorf("status %d", res.StatusCode)
	case res.StatusCode >= 300 && res.StatusCode < 400:
		return nil, never, errors.New("it is elsewhere, or we may not have it")
	case res.StatusCode != http.StatusOK:
		return nil, never, fmt.Errorf("status %d", res.StatusCode)
	case strings.HasPrefix(kind, "text/html") && !strings.Contains(f.Kind, "html"):
		return nil, never, errors.New("a page came instead: the scope files:read is missing, or we may not have it")
	case f.Size > 0 && res.ContentLength >= 0 && res.ContentLength != f.Size:
		return nil, 0, fmt.Errorf("%d bytes come, %d were said", res.ContentLength, f.Size)
	}
	return s.store(res.Body, f)
}

// store writes what comes to a temporary file, at most as much as was said, and
// never more than is taken.
func (s *Slack) store(r io.Reader, f inFile) (_ *tempFile, again time.Duration, err error) {
	file, err := os.CreateTemp(s.cfg.Dir, "file-*.part") // mode 0600
	if err != nil {
		return nil, never, fmt.Errorf("keep it: %w", err)
	}
	t := &tempFile{file}
	defer func() {
		if err != nil {
			_ = t.Close()
		}
	}()
	most := s.cfg.MaxFile
	if f.Size > 0 {
		most = min(most, f.Size)
	}
	n, err := io.Copy(file, io.LimitReader(r, most+1))
	switch {
	case err != nil:
		return nil, 0, errors.New("it broke off: " + plainly(err))
	case n > most && f.Size == 0:
		return nil, never, errors.New("it is larger than what is taken")
	case f.Size > 0 && n != f.Size:
		return nil, 0, fmt.Errorf("other than the %d bytes that were said came", f.Size)
	}
	if f.Size == 0 && n > 0 && f.Mode == "hosted" {
		return nil, never, errors.New("it was said to be empty, and is not")
	}
	if _, err := file.Seek(0, io.SeekStart); err != nil {
		return nil, never, fmt.Errorf("read it again: %w", err)
	}
	return t, 0, nil
}

// tempFile is removed when it is closed.
type tempFile struct{ *os.File }

// Close is of io.Closer.
func (t *tempFile) Close() error {
	return errors.Join(t.File.Close(), os.Remove(t.Name()))
}

// dropParts removes what a crash left of files on their way in.
func dropParts(dir string) {
	list, err := os.ReadDir(dir)
	if err != nil {
		return
	}
	for _, f := range list {
		if strings.HasPrefix(f.Name(), "file-") && strings.HasSuffix(f.Name(), ".part") {
			_ = os.Remove(dir + string(os.PathSeparator) + f.Name())
		}
	}
}

// urlError finds an error that holds an address.
func urlError(err error) *url.Error {
	var u *url.Error
	if errors.As(err, &u) {
		return u
	}
	return nil
}
