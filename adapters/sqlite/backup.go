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
	"time"

	"golang.org/x/mod/sumdb/tlog"

	"milepost/bot/journal"
)

// A backup is a tar file of these members, in this order, and no other:
//
//	manifest.json      what follows, with sizes and hashes
//	milepost.db        the database as of one moment
//	erased             the list of erased items of that time
//	evidence/<sha256>  each file that some job holds, in order
//
// The signing key is never in it.
const (
	manifestName   = "manifest.json"
	evidencePrefix = evidenceName + "/"
	formatName     = "milepost backup"
	formatVersion  = 1
)

// A Manifest says what a backup holds.
type Manifest struct {
	Format   string    `json:"format"`
	Version  int       `json:"version"`
	Schema   int       `json:"schema"`
	Time     time.Time `json:"time"`
	Shops    []Tree    `json:"shops"`
	Database Part      `json:"database"`
	Erased   Part      `json:"erased"`
	Evidence int       `json:"evidence"` // number of files
	Bytes    int64     `json:"bytes"`    // of evidence, together
}

// A Tree is what a shop's log was at a moment.
type Tree struct {
	Shop string    `json:"shop"`
	Size int64     `json:"size"`
	Root tlog.Hash `json:"root"`
	Head string    `json:"head,omitempty"` // the last signed head that was given out
}

// A Part is one member of a backup.
type Part struct {
	Bytes  int64  `json:"bytes"`
	SHA256 string `json:"sha256"`
}

// Backup writes a consistent copy of everything to one file of mode 0600, which
// must not exist. Messages are taken and entries written meanwhile; an erasure
// waits before it removes files. If we crash, an incomplete file is left, which
// Restore refuses.
func (s *Store) Backup(ctx context.Context, file string) error {
	return fault("backup", s.backup(ctx, file))
}

func (s *Store) backup(ctx context.Context, file string) (err error) {
	if s.readOnly {
		return ErrReadOnly
	}
	f, err := os.OpenFile(file, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	defer func() {
		if err = errors.Join(err, f.Close()); err != nil {
			err = errors.Join(err, os.Remove(file))
		} else {
			err = syncDir(filepath.Dir(file))
		}
	}()
	// The copy of the database lies beside the file for a while: of its
	// directory we know that there is to be room.
	dir, err := os.MkdirTemp(filepath.Dir(file), ".milepost-backup-") // mode 0700
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	s.files.RLock() // from the copy of the index to that of the last file
	defer s.files.RUnlock()
	copied := filepath.Join(dir, dbName)
	if err := s.copyDB(ctx, copied); err != nil {
		return err
	}
	if err := s.pack(ctx, f, copied); err != nil {
		return err
	}
	return f.Sync()
}

// copyDB copies the database as it is now, beside those who read and write.
func (s *Store) copyDB(ctx context.Context, to string) error {
	if err := makeFile(to); err != nil {
		return err
	}
	db, err := openDB(filepath.Join(s.dir, dbName), copyPragmas, "ro")
	if err != nil {
		return err
	}
	_, err = db.ExecContext(ctx, "VACUUM INTO ?", to)
	return errors.Join(err, db.Close())
}

// pack writes the members of a backup.
func (s *Store) pack(ctx context.Context, to io.Writer, copied string) error {
	erased, err := os.ReadFile(s.erasedList)
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	m, sums, err := s.manifest(ctx, copied, erased)
	if err != nil {
		return err
	}
	head, err := json.MarshalIndent(m, "", "  ")
	if err != nil {
		return err
	}
	w := tar.NewWriter(to)
	if err := packBytes(w, m, manifestName, head); err != nil {
		return err
	}
	if err := packFile(ctx, w, m, dbName, copied); err != nil {
		return err
	}
	if err := packBytes(w, m, erasedName, erased); err != nil {
		return err
	}
	for _, sum := range sums {
		if err := packFile(ctx, w, m, evidencePrefix+sum, s.path(sum)); err != nil {
			return err
		}
	}
	return w.Close()
}

// manifest describes a copied database and what goes with it, and lists the
// evidence.
func (s *Store) manifest(ctx context.Context, copied string, erased []byte) (*Manifest, []string, error) {
	m := &Manifest{Format: formatName, Version: formatVersion, Schema: latest(), Time: s.now().UTC().Truncate(time.Millisecond)}
	sums, err := s.describe(ctx, copied, m)
	if err != nil {
		return nil, nil, err
	}
	if m.Database, err = partOf(copied); err != nil {
		return nil, nil, err
	}
	sum := sha256.Sum256(erased)
	m.Erased = Part{int64(len(erased)), hex.EncodeToString(sum[:])}
	m.Evidence = len(sums)
	for _, sum := range sums {
		fi, err := os.Stat(s.path(sum))
		if err != nil {
			return nil, nil, err
		}
		m.Bytes += fi.Size()
	}
	return m, sums, nil
}

// describe reads the copy, not the store, which has gone on since.
func (s *Store) describe(ctx context.Context, copied string, m *Manifest) (sums []string, err error) {
	db, err := openDB(copied, readerPragmas, "ro")
	if err != nil {
		return nil, err
	}
	c := &Store{dir: s.dir, reader: db}
	defer func() { err = errors.Join(err, db.Close()) }()
	if err := c.read.prepare(ctx, db); err != nil {
		return nil, err
	}
	if m.Shops, err = c.trees(ctx); err != nil {
		return nil, err
	}
	sums, err = c.evidence(ctx)
	return sums, err
}

// trees gives what each shop's log is.
func (s *Store) trees(ctx context.Context) ([]Tree, error) {
	shops, err := s.shops(ctx)
	if err != nil {
		return nil, err
	}
	out := make([]Tree, 0, len(shops))
	for _, shop := range shops {
		t, err := s.tree(ctx, shop)
		if err != nil {
			return nil, err
		}
		root, err := journal.Root(t.size, t)
		if err != nil {
			return nil, err
		}
		head, _, err := text(ctx, s.read.lastHead, shop)
		if err != nil {
			return nil, err
		}
		out = append(out, Tree{shop, t.size, root, head})
	}
	return out, nil
}

func partOf(path string) (Part, error) {
	f, err := os.Open(path)
	if err != nil {
		return Part{}, err
	}
	defer f.Close()
	h := sha256.New()
	n, err := io.Copy(h, f)
	return Part{n, hex.EncodeToString(h.Sum(nil))}, err
}

func packHeader(w *tar.Writer, m *Manifest, name string, size int64) error {
	return w.WriteHeader(&tar.Header{Typeflag: tar.TypeReg, Name: name, Size: size, Mode: 0o600, ModTime: m.Time})
}

func packBytes(w *tar.Writer, m *Manifest, name string, b []byte) error {
	if err := packHeader(w, m, name, int64(len(b))); err != nil {
		return err
	}
	_, err := w.Write(b)
	return err
}

func packFile(ctx context.Context, w *tar.Writer, m *Manifest, name, path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	fi, err := f.Stat()
	if err != nil {
		return err
	}
	if err := packHeader(w, m, name, fi.Size()); err != nil {
		return err
	}
	// Neither more nor less than announced: the tar writer refuses both.
	if _, err := io.Copy(w, ctxReader{ctx, f}); err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	return nil
}
