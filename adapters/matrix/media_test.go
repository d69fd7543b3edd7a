package matrix

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"io"
	"io/fs"
	"net/http"
	"strings"
	"testing"

	"maunium.net/go/mautrix/event"

	"milepost/adapters/matrix/homeserver"
	"milepost/adapters/matrix/person"
	"milepost/bot"
	"milepost/flow"
)

// blobs keeps files in memory.
type blobs struct {
	bot.Blobs
	files map[string][]byte
}

func (b *blobs) Open(_ context.Context, sum string) (io.ReadCloser, error) {
	data, ok := b.files[sum]
	if !ok {
		return nil, fmt.Errorf("open evidence: %w", fs.ErrNotExist)
	}
	return io.NopCloser(bytes.NewReader(data)), nil
}

// add keeps a file and refers to it.
func (b *blobs) add(name, mime string, data []byte) flow.FileRef {
	sum := sha256.Sum256(data)
	ref := flow.FileRef{Name: name, Type: mime, Bytes: int64(len(data)), SHA256: hex.EncodeToString(sum[:])}
	b.files[ref.SHA256] = data
	return ref
}

// drawn is a picture that can't be pressed much.
func drawn(w, h int) *image.RGBA {
	img := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			img.SetRGBA(x, y, color.RGBA{uint8(x * 255 / w), uint8(y * 255 / h), 128, 255})
		}
	}
	return img
}

func pngOf(t *testing.T, img image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := png.Encode(&b, img); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// Files arrive as they were, encrypted where the room is; pictures with words
// and a small copy; what can't go is told in words.
func TestFilesOut(t *testing.T) {
	both(t, func(t *testing.T, encrypted bool) {
		s := homeserver.Start(t, homeserver.Options{MediaLimit: 200 << 10})
		j := newJob(t, s, s.URL(), "milepost", encrypted)
		kept := &blobs{files: map[string][]byte{}}
		j.m.now().cfg.Blobs = kept
		j.send(j.out(1, flow.Card, "unit 14"))

		sheet := []byte("%PDF-1.4 a sheet")
		picture := pngOf(t, drawn(900, 300))
		out := j.out(2, flow.Result, "Done. Dash against true: 65: 0.0 ± 0.6 mph.\n\nMore.")
		out.Reply.Files = []flow.FileRef{
			kept.add("sheet.pdf", "application/pdf", sheet), kept.add("../<b>readings\u202e.png", "image/png", picture),
			kept.add("big.bin", "application/octet-stream", bytes.Repeat([]byte("big "), 60<<10)),
			{Name: "gone.bin", Type: "text/html; charset=utf-8", Bytes: 12, SHA256: strings.Repeat("0", 64)},
			kept.add("page.html", "text/html", []byte("<script>alert(1)</script>")),
			kept.add("broken.png", "image/png", []byte("no picture")),
		}
		j.send(out)
		j.send(out)
		all := j.seen()
		if len(all) != 8 {
			t.Fatalf("a card, a result and six files are wanted:\n%s", person.Dump(all))
		}
		want := []struct {
			name, mime string
			kind       event.MessageType
			data       []byte
		}{{"sheet.pdf", "application/pdf", event.MsgFile, sheet}, {"<b>readings.png", "image/png", event.MsgImage, picture},
			{}, {}, {"page.html", "text/html", event.MsgFile, []byte("<script>alert(1)</script>")}, {"broken.png", "image/png", event.MsgFile, []byte("no picture")}}
		for i, w := range want {
			e := all[2+i]
			if e.Root != all[0].ID {
				t.Errorf("%q is not in the thread", e.Body)
			}
			if w.data == nil {
				if e.File != nil || !strings.HasPrefix(e.Body, "file: "+out.Reply.Files[i].Name) {
					t.Errorf("file %d: %q, want a line in words", i, e.Body)
				}
				continue
			}
			if e.File == nil || e.Type != w.kind || e.File.Name != w.name || e.File.ContentType != w.mime || e.File.Encrypted != encrypted {
				t.Errorf("file %d: %s", i, person.Dump(all[2+i:3+i]))
				continue
			}
			if got, err := e.File.Download(); err != nil || !bytes.Equal(got, w.data) {
				t.Errorf("%s: %d bytes, %v; want %d", w.name, len(got), err, len(w.data))
			}
		}
		pic := all[3]
		info, _ := pic.Content["info"].(map[string]any)
		thumb, _ := info["thumbnail_info"].(map[string]any)
		if pic.Body != "Done. Dash against true: 65: 0.0 ± 0.6 mph." || info["w"] != 900.0 || info["h"] != 300.0 || thumb["w"] != 400.0 || thumb["h"] != 133.0 {
			t.Errorf("the picture says %q, %v", pic.Body, info)
		}
		if _, sealed := info["thumbnail_file"]; sealed != encrypted {
			t.Errorf("the small copy: %v", info)
		}
		var left int
		if err := j.m.now().state.db.QueryRow("SELECT count(*) FROM sent WHERE data <> ''").Scan(&left); err != nil || left != 0 {
			t.Errorf("what opens %d files is still kept: %v", left, err)
		}
	})
}

// A file is uploaded once, however often its message has to be tried.
func TestUploadOnce(t *testing.T) {
	both(t, func(t *testing.T, encrypted bool) {
		s := homeserver.Start(t, homeserver.Options{})
		proxy := homeserver.NewProxy(t, s)
		j := newJob(t, s, proxy.URL(), "milepost", encrypted)
		kept := &blobs{files: map[string][]byte{}}
		j.m.now().cfg.Blobs = kept
		j.send(j.out(1, flow.Card, "unit 14"))
		out := j.out(2, flow.Notice, "with a file")
		out.Reply.Files = []flow.FileRef{kept.add("a.bin", "application/octet-stream", []byte("content"))}
		j.send(j.out(3, flow.Notice, "before"))
		n := 0
		proxy.Rule(func(r homeserver.Request) homeserver.Fault {
			if r.Method != http.MethodPut || !strings.Contains(r.Path, sendPath) {
				return homeserver.Fault{}
			}
			if n++; n == 2 || n == 3 { // the message with the file
				return homeserver.Fault{Status: 502}
			}
			return homeserver.Fault{}
		})
		for range 2 {
			var e *bot.Error
			if err := j.try(out); !errors.As(err, &e) || e.Kind != bot.Unavailable {
				t.Fatalf("%v, want unavailable", err)
			}
		}
		j.stop()
		j.cfg.Blobs = kept
		j.start()
		j.insist(out)
		if n := proxy.Count(http.MethodPost, "/media/v3/upload"); n != 1 {
			t.Errorf("uploaded %d times", n)
		}
		all := j.seen()
		if len(all) != 4 || all[3].File == nil {
			t.Fatalf("got\n%s", person.Dump(all))
		}
		if got, err := all[3].File.Download(); err != nil || string(got) != "content" {
			t.Errorf("%q, %v", got, err)
		}
	})
}

func TestShrink(t *testing.T) {
	for _, c := range []struct{ w, h, tw, th int }{{900, 300, 400, 133}, {300, 1200, 100, 400}, {401, 1, 400, 1}, {1, 5000, 1, 400}} {
		small := shrink(drawn(c.w, c.h), thumbSide)
		if b := small.Bounds(); b.Dx() != c.tw || b.Dy() != c.th {
			t.Errorf("%dx%d becomes %dx%d, want %dx%d", c.w, c.h, b.Dx(), b.Dy(), c.tw, c.th)
		}
	}
	flat := image.NewUniform(color.RGBA{10, 200, 30, 255})
	img := image.NewRGBA(image.Rect(5, 5, 805, 605))
	for y := 5; y < 605; y++ {
		for x := 5; x < 805; x++ {
			img.Set(x, y, flat.C)
		}
	}
	if got := shrink(img, thumbSide).RGBAAt(399, 299); got != (color.RGBA{10, 200, 30, 255}) {
		t.Errorf("one colour becomes %v", got)
	}
}

// What only says that it is a picture, or a huge one, is not read as one.
func TestLookAt(t *testing.T) {
	var b bytes.Buffer
	if err := jpeg.Encode(&b, drawn(500, 500), nil); err != nil {
		t.Fatal(err)
	}
	p := lookAt(&media{mime: "image/jpeg", data: b.Bytes()})
	if p == nil || p.thumb == nil || p.thumb.mime != "image/jpeg" {
		t.Errorf("a photo: %+v", p)
	}
	if p := lookAt(&media{mime: "image/png", data: pngOf(t, drawn(50, 50))}); p == nil || p.thumb != nil || p.width != 50 {
		t.Errorf("a small picture: %+v", p)
	}
	for mime, data := range map[string][]byte{"image/png": []byte("x"), "image/svg+xml": []byte("<svg/>"), "application/pdf": b.Bytes()} {
		if p := lookAt(&media{mime: mime, data: data}); p != nil {
			t.Errorf("%s: %+v", mime, p)
		}
	}
	bomb := pngOf(t, drawn(8, 8))
	copy(bomb[16:], []byte{0, 1, 0, 0, 0, 1, 0, 0}) // says it is 65,536 wide and high; the checksum is wrong then
	if p := lookAt(&media{mime: "image/png", data: bomb}); p != nil && p.thumb != nil {
		t.Error("a picture that says it is huge was read")
	}
}
