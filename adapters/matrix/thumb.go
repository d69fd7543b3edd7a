package matrix

import (
	"bytes"
	"image"
	"image/color"
	_ "image/gif" // formats that are looked at
	"image/jpeg"
	"image/png"
)

// picture is what a message says of one.
type picture struct {
	width, height           int
	thumb                   *media // nil where the picture is small enough itself
	thumbWidth, thumbHeight int
}

const (
	thumbSide = 400      // of the longer side, pixels
	maxPixels = 40 << 20 // of a picture that is made small
)

// lookAt gives what is to be said of a picture, nil of anything that is none, or
// that can't be looked at.
func lookAt(f *media) *picture {
	switch f.mime {
	case "image/png", "image/jpeg", "image/gif":
	default:
		return nil
	}
	conf, _, err := image.DecodeConfig(bytes.NewReader(f.data))
	if err != nil || conf.Width < 1 || conf.Height < 1 {
		return nil
	}
	p := &picture{width: conf.Width, height: conf.Height}
	if max(conf.Width, conf.Height) <= thumbSide || conf.Width > maxPixels/conf.Height {
		return p
	}
	img, _, err := image.Decode(bytes.NewReader(f.data))
	if err != nil {
		return p
	}
	small := shrink(img, thumbSide)
	var b bytes.Buffer
	mime := "image/png"
	if f.mime == "image/jpeg" {
		mime = f.mime
		err = jpeg.Encode(&b, small, &jpeg.Options{Quality: 80})
	} else {
		err = png.Encode(&b, small)
	}
	if err != nil {
		return p
	}
	p.thumb = &media{name: "thumbnail", mime: mime, data: b.Bytes()}
	p.thumbWidth, p.thumbHeight = small.Bounds().Dx(), small.Bounds().Dy()
	return p
}

// shrink makes a picture small: each pixel is the mean of those it stands for.
func shrink(img image.Image, side int) *image.RGBA {
	b := img.Bounds()
	w, h := b.Dx(), b.Dy()
	tw, th := side, max(1, h*side/w)
	if h > w {
		tw, th = max(1, w*side/h), side
	}
	out := image.NewRGBA(image.Rect(0, 0, tw, th))
	for y := range th {
		y0, y1 := b.Min.Y+y*h/th, b.Min.Y+max((y+1)*h/th, y*h/th+1)
		for x := range tw {
			x0, x1 := b.Min.X+x*w/tw, b.Min.X+max((x+1)*w/tw, x*w/tw+1)
			out.SetRGBA(x, y, mean(img, x0, y0, x1, y1))
		}
	}
	return out
}

func mean(img image.Image, x0, y0, x1, y1 int) color.RGBA {
	var r, g, b, a, n uint64
	for y := y0; y < y1; y++ {
		for x := x0; x < x1; x++ {
			cr, cg, cb, ca := img.At(x, y).RGBA()
			r, g, b, a, n = r+uint64(cr), g+uint64(cg), b+uint64(cb), a+uint64(ca), n+1
		}
	}
	d := n << 8
	return color.RGBA{uint8(r / d), uint8(g / d), uint8(b / d), uint8(a / d)}
}
