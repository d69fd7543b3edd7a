//go:build goolm

package matrix

import (
	"bytes"
	"errors"
	"fmt"
	"io"

	"maunium.net/go/mautrix/crypto/attachment"
	"maunium.net/go/mautrix/event"
)

// OpenFile implements cipher. The stream ends with an error instead of io.EOF if
// the hash is not the one of the message; Close gives an error unless the file
// was read to its right end. It closes r in any case.
func (c *olmCipher) OpenFile(r io.ReadCloser, file *event.EncryptedFileInfo) (io.ReadCloser, error) {
	if file == nil {
		return nil, errors.Join(errors.New("open file: no key for it"), r.Close())
	}
	// The message's, as it came: whatever it was decoded to before is not used.
	f := attachment.EncryptedFile{Key: file.Key, InitVector: file.InitVector, Hashes: file.Hashes, Version: file.Version}
	if err := f.PrepareForDecryption(); err != nil {
		return nil, errors.Join(fmt.Errorf("open file: %w", err), r.Close())
	}
	return &openFile{source: r, plain: f.DecryptStream(io.NopCloser(r))}, nil
}

// openFile is a file being decrypted.
type openFile struct {
	source io.Closer
	plain  io.ReadCloser
	end    error // how it ended: io.EOF if all is well
	closed bool
}

func (f *openFile) Read(p []byte) (int, error) {
	if f.end != nil {
		return 0, f.end
	}
	n, err := f.plain.Read(p)
	if errors.Is(err, io.EOF) {
		f.end = io.EOF
		if bad := f.plain.Close(); bad != nil {
			f.end = fmt.Errorf("read file: %w", bad)
		}
		return n, f.end
	}
	if err != nil {
		f.end = fmt.Errorf("read file: %w", err)
		return n, f.end
	}
	return n, nil
}

func (f *openFile) Close() error {
	if f.closed {
		return nil
	}
	f.closed = true
	err := f.source.Close()
	switch {
	case f.end == nil:
		return errors.Join(errors.New("close file: it was not read to its end, its hash is not checked"), err)
	case !errors.Is(f.end, io.EOF):
		return errors.Join(f.end, err)
	}
	return err
}

// SealFile implements cipher. The caller puts the address in.
func (c *olmCipher) SealFile(plain []byte) ([]byte, *event.EncryptedFileInfo, error) {
	f := attachment.NewEncryptedFile()
	sealed := bytes.Clone(plain)
	if sealed == nil {
		sealed = []byte{}
	}
	f.EncryptInPlace(sealed)
	return sealed, &event.EncryptedFileInfo{EncryptedFile: *f}, nil
}
