package bot

import (
	"bytes"
	"context"
	"errors"
	"io"
	"path"
	"strings"

	"github.com/gabriel-vasile/mimetype"

	"milepost/calib/track"
	"milepost/flow"
	"milepost/flow/understand"
)

// Words of a file that could not be taken, by what was wrong.
const (
	faultTooLarge = "file.too_large"
	faultGone     = "file.gone"
	faultEmpty    = "file.empty"
	faultNoPlace  = "file.no_place"
)

// FaultUnreadable is why a message could not be read at all: it is encrypted, and
// its key is not here.
const FaultUnreadable = "unread.message"

// FaultBefore is why nothing of before the assistant came can be read: keys of
// encrypted messages are for those who are there.
const FaultBefore = "unread.before"

// maxStretches bounds the steady pieces taken from a track.
const maxStretches = 500

// evidence stores a file by its hash and finds out what can be known of it
// without believing its name. A file that can't be taken is an outcome, with
// the reason in Fault; an error is a store that is not there.
func (b *Bot) evidence(ctx context.Context, v *visit, l *lane) (*flow.File, error) {
	if v.file != nil {
		return v.file, nil // taken on an earlier try of this message
	}
	a := v.in.File
	f := &flow.File{Name: fileName(a.Name), Fault: a.Fault}
	switch {
	case f.Fault != "":
	case b.cfg.Blobs == nil:
		f.Fault = faultNoPlace
	case a.Open == nil:
		f.Fault = faultGone
	default:
		if err := b.store(ctx, v, a, f); err != nil {
			return nil, err
		}
	}
	if f.Fault == "" {
		var err error
		if f.Elsewhere, err = b.elsewhere(ctx, v.shop, l, f.SHA256); err != nil {
			return nil, err
		}
	}
	v.file = f
	return f, nil
}

func (b *Bot) store(ctx context.Context, v *visit, a *Attachment, f *flow.File) error {
	r, err := a.Open()
	if errors.Is(err, ErrTooLarge) {
		f.Fault = faultTooLarge
		return nil
	}
	if err != nil {
		b.cfg.Log.Warn("open file of a message", "job", v.job, "err", err)
		f.Fault = faultGone
		return nil
	}
	defer r.Close()
	src := &source{r: r}
	blob, err := b.cfg.Blobs.Put(ctx, src, v.shop.policyNow().MaxFile)
	switch {
	case errors.Is(err, ErrTooLarge):
		f.Fault = faultTooLarge
		return nil
	case err != nil && src.err != nil:
		b.cfg.Log.Warn("read file of a message", "job", v.job, "err", src.err)
		f.Fault = faultGone // the network broke off, not our store
		return nil
	case err != nil:
		return failed("keep file", err)
	}
	f.Bytes, f.SHA256 = blob.Bytes, blob.SHA256
	if blob.Bytes == 0 {
		f.Fault = faultEmpty
		return nil
	}
	return b.inspect(ctx, f, blob.Head)
}

// source remembers whether reading failed: that is not the store's fault.
type source struct {
	r   io.Reader
	err error
}

func (s *source) Read(p []byte) (int, error) {
	n, err := s.r.Read(p)
	if err != nil && err != io.EOF {
		s.err = err
	}
	return n, err
}

// inspect looks into a stored file.
func (b *Bot) inspect(ctx context.Context, f *flow.File, head []byte) error {
	f.Type, _, _ = strings.Cut(mimetype.Detect(head).String(), ";")
	f.Web = f.Type == "text/html" || webPage(head)
	if f.Web || !strings.HasPrefix(f.Type, "text/") && !strings.HasSuffix(f.Type, "xml") {
		return nil // no track
	}
	r, err := b.cfg.Blobs.Open(ctx, f.SHA256)
	if err != nil {
		return failed("read file", err)
	}
	defer r.Close()
	t, format, err := track.Read(r, track.Limits{})
	if format == track.Unknown {
		return nil
	}
	f.Type = map[track.Format]string{track.GPX: "application/gpx+xml", track.NMEA: "text/plain"}[format]
	if err != nil {
		b.cfg.Log.Info("track", "err", err) // says how far it was understood, and no place
	}
	if t != nil {
		f.Track = facts(t, format)
	}
	return nil
}

// webPage finds a page that a login or an error put in the place of a file.
func webPage(head []byte) bool {
	h := bytes.ToLower(bytes.TrimLeft(bytes.TrimPrefix(head, []byte("\ufeff")), " \t\r\n"))
	return bytes.HasPrefix(h, []byte("<!doctype html")) || bytes.HasPrefix(h, []byte("<html")) || bytes.Contains(h, []byte("<html"))
}

// facts are all that is kept of a track in the log: no positions.
func facts(t *track.Track, format track.Format) *flow.Track {
	ft := &flow.Track{Format: string(format), Seconds: t.End().Sub(t.Start()).Seconds(), Metres: t.Distance().Metres()}
	for _, s := range t.Steady(track.Steadiness{}) {
		if len(ft.Stretches) == maxStretches {
			break
		}
		ft.Stretches = append(ft.Stretches, flow.Stretch{Start: s.Start, Seconds: s.Duration.Seconds(), SpeedMS: s.SpeedMPS})
	}
	return ft
}

// elsewhere says whether a file stands in another vehicle's job already. A job
// whose vehicle can't be told any more counts as another's.
func (b *Bot) elsewhere(ctx context.Context, s *shop, l *lane, sha256 string) (bool, error) {
	jobs, err := b.cfg.Store.EvidenceJobs(ctx, s.name, sha256)
	if err != nil {
		return false, failed("find file", err)
	}
	mine := keys(s.salt, &finds{vehicle: l.found.vehicle, vin: l.found.vin})
	for i, j := range jobs {
		if j == l.job {
			continue
		}
		if i >= maxKnown {
			return true, nil
		}
		other, err := readJob(ctx, b.cfg.Store, s.name, j)
		if err != nil {
			return false, err
		}
		theirs := keys(s.salt, &finds{vehicle: other.found.vehicle, vin: other.found.vin})
		if !meet(mine, theirs) {
			return true, nil
		}
	}
	return false, nil
}

func meet(a, b []string) bool {
	for _, x := range a {
		for _, y := range b {
			if x == y {
				return true
			}
		}
	}
	return false
}

// maxFileName bounds a file's name, in bytes.
const maxFileName = 120

// fileName keeps the base name only, cleaned and short.
func fileName(name string) string {
	name, _ = understand.Clean(path.Base(strings.ReplaceAll(name, `\`, "/")))
	name = strings.ReplaceAll(name, "\n", " ")
	if name == "" || name == "." || name == "/" || name == ".." {
		name = "file"
	}
	if len(name) > maxFileName {
		ext := path.Ext(name)
		if len(ext) > 12 {
			ext = ""
		}
		name = strings.ToValidUTF8(name[:maxFileName-len(ext)], "") + ext
	}
	return name
}
