package sqlite

import (
	"archive/tar"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
)

// maxManifest bounds the manifest, which is read into memory.
const maxManifest = 1 << 20

// unpacker reads a backup. Nothing in it is believed: members come in the order
// written by pack, under the names made there, with the sizes and hashes that the
// manifest gives, and together not larger than the file.
type unpacker struct {
	ctx   context.Context
	tar   *tar.Reader
	dir   string
	room  int64
	m     Manifest
	files int
	bytes int64
	last  string
}

func unpack(ctx context.Context, file, dir string) (*Manifest, error) {
	f, err := os.Open(file)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	fi, err := f.Stat()
	if err != nil {
		return nil, err
	}
	if !fi.Mode().IsRegular() {
		return nil, errors.New("not a file")
	}
	u := &unpacker{ctx: ctx, tar: tar.NewReader(f), dir: dir, room: fi.Size()}
	if err := u.manifest(); err != nil {
		return nil, err
	}
	for _, p := range []struct {
		name string
		part Part
	}{{dbName, u.m.Database}, {erasedName, u.m.Erased}} {
		h, err := u.next()
		if err == nil && h.Name != p.name {
			err = damaged("%.80q stands where %s should", h.Name, p.name)
		}
		if err != nil {
			return nil, err
		}
		// A store in which nothing was erased has no list.
		if p.name == erasedName && h.Size == 0 && p.part.Bytes == 0 {
			continue
		}
		if err := u.file(h, p.name, p.part); err != nil {
			return nil, err
		}
	}
	if err := u.evidence(); err != nil {
		return nil, err
	}
	return &u.m, nil
}

// next gives the next member: a plain file that fits.
func (u *unpacker) next() (*tar.Header, error) {
	h, err := u.tar.Next()
	if err == io.EOF {
		return nil, io.EOF
	}
	if err != nil {
		return nil, damaged("%v", err)
	}
	if h.Typeflag != tar.TypeReg || h.Size < 0 || h.Size > u.room {
		return nil, damaged("%.80q is not a file that can be in a backup", h.Name)
	}
	u.room -= h.Size
	return h, nil
}

func (u *unpacker) manifest() error {
	h, err := u.next()
	if err != nil || h.Name != manifestName || h.Size > maxManifest {
		return errors.New("not a backup of this program")
	}
	b, err := io.ReadAll(u.tar)
	if err != nil {
		return damaged("%v", err)
	}
	if err := json.Unmarshal(b, &u.m); err != nil || u.m.Format != formatName {
		return errors.New("not a backup of this program")
	}
	if u.m.Version != formatVersion || u.m.Schema > latest() {
		return fmt.Errorf("the backup has version %d and schema %d, this program reads version %d and schema %d: use a newer one",
			u.m.Version, u.m.Schema, formatVersion, latest())
	}
	return nil
}

// evidence unpacks the rest: files in the order of their hashes, each once.
func (u *unpacker) evidence() error {
	for {
		h, err := u.next()
		if err == io.EOF {
			break
		}
		if err != nil {
			return err
		}
		sum, found := strings.CutPrefix(h.Name, evidencePrefix)
		if !found || !isSum(sum) || sum <= u.last {
			return damaged("%.80q is not a name that can be in a backup", h.Name)
		}
		u.last = sum
		if err := u.file(h, filepath.Join(evidenceName, sum[:2], sum), Part{h.Size, sum}); err != nil {
			return err
		}
		u.files++
		u.bytes += h.Size
	}
	if u.files != u.m.Evidence || u.bytes != u.m.Bytes {
		return damaged("cut: %d files of evidence with %d bytes, want %d with %d", u.files, u.bytes, u.m.Evidence, u.m.Bytes)
	}
	return nil
}

// file unpacks one member and checks it. Name is of our own making.
func (u *unpacker) file(h *tar.Header, name string, want Part) error {
	path := filepath.Join(u.dir, name)
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return err
	}
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	sum := sha256.New()
	n, err := io.Copy(io.MultiWriter(f, sum), ctxReader{u.ctx, u.tar})
	if errors.Is(err, io.ErrUnexpectedEOF) {
		err = damaged("cut within %s", h.Name)
	}
	if err == nil && (n != want.Bytes || hex.EncodeToString(sum.Sum(nil)) != want.SHA256) {
		err = damaged("%s is not what was backed up", h.Name)
	}
	if err == nil {
		err = f.Sync()
	}
	return errors.Join(err, f.Close())
}
