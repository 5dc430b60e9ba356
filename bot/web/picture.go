package web

import (
	"bytes"
	"encoding/binary"
	"errors"
	"image"
	"image/jpeg"
	_ "image/png" // what phones send besides JPEG
	"io"

	"golang.org/x/image/draw"

	"skepline/bot"
)

// decoding lets one picture at a time be taken apart: forty megapixels take up to 160 MB.
var decoding = make(chan struct{}, 1)

// ReadPicture reads a picture and makes one of ours of it: a plain JPEG of at most
// photoWidest pixels, without the place and time that a phone writes into it (Exif), and
// without whatever else only calls itself a picture.
func ReadPicture(from io.Reader) ([]byte, error) {
	raw, err := io.ReadAll(io.LimitReader(from, photoBytes+1))
	if err != nil {
		return nil, errors.New("the picture broke off")
	}
	return plainJPEG(raw)
}

func plainJPEG(raw []byte) ([]byte, error) {
	m, err := decode(raw)
	if err != nil {
		return nil, err
	}
	var out bytes.Buffer
	err = jpeg.Encode(&out, smaller(m, photoWidest), &jpeg.Options{Quality: 80})
	return out.Bytes(), err
}

// smallJPEG is plainJPEG for a picture that we hold ourselves: it gets smaller until it fits
// what a document may hold.
func smallJPEG(raw []byte) ([]byte, error) {
	m, err := decode(raw)
	if err != nil {
		return nil, err
	}
	for _, try := range []struct{ widest, quality int }{{1280, 80}, {1280, 60}, {1024, 55}, {800, 55}, {640, 45}, {480, 40}} {
		var out bytes.Buffer
		if err := jpeg.Encode(&out, smaller(m, try.widest), &jpeg.Options{Quality: try.quality}); err != nil {
			return nil, err
		}
		if out.Len() <= bot.MostPhotoBytes {
			return out.Bytes(), nil
		}
	}
	return nil, errors.New("a picture that does not get small")
}

// decode reads a JPEG or PNG upright, after a look at how large it says it is.
func decode(raw []byte) (image.Image, error) {
	if len(raw) > photoBytes {
		return nil, errors.New("a picture of more than 10 MB")
	}
	size, _, err := image.DecodeConfig(bytes.NewReader(raw))
	if err != nil {
		return nil, errors.New("not a JPEG or PNG picture")
	}
	if size.Width < 1 || size.Height < 1 || size.Width > photoPixels/size.Height {
		return nil, errors.New("a picture of more than 40 megapixels")
	}
	decoding <- struct{}{}
	defer func() { <-decoding }()
	m, _, err := image.Decode(bytes.NewReader(raw))
	if err != nil {
		return nil, errors.New("a picture that cannot be read")
	}
	return upright(smaller(m, photoWidest), turnOf(raw)), nil
}

// smaller returns m at most widest pixels wide and high.
func smaller(m image.Image, widest int) image.Image {
	b := m.Bounds()
	long := max(b.Dx(), b.Dy())
	if long <= widest {
		return m
	}
	out := image.NewRGBA(image.Rect(0, 0, max(b.Dx()*widest/long, 1), max(b.Dy()*widest/long, 1)))
	draw.BiLinear.Scale(out, out.Rect, m, b, draw.Src, nil)
	return out
}

// upright turns m as its Exif orientation, 1 to 8, says (JEITA CP-3451, tag 0x0112): phones
// write how they were held instead of turning the picture.
func upright(m image.Image, orientation int) image.Image {
	if orientation < 2 || orientation > 8 {
		return m
	}
	b := m.Bounds()
	w, h := b.Dx(), b.Dy()
	out := image.NewRGBA(image.Rect(0, 0, w, h))
	if orientation >= 5 { // it lies on its side
		out = image.NewRGBA(image.Rect(0, 0, h, w))
	}
	for y := range h {
		for x := range w {
			to := [...][2]int{{w - 1 - x, y}, {w - 1 - x, h - 1 - y}, {x, h - 1 - y}, {y, x}, {h - 1 - y, x}, {h - 1 - y, w - 1 - x}, {y, w - 1 - x}}[orientation-2]
			out.Set(to[0], to[1], m.At(b.Min.X+x, b.Min.Y+y))
		}
	}
	return out
}

// turnOf returns the Exif orientation that a JPEG carries, 0 when it carries none.
func turnOf(raw []byte) int {
	for at := 2; at+4 <= len(raw) && raw[at] == 0xFF; {
		marker, long := raw[at+1], int(binary.BigEndian.Uint16(raw[at+2:]))
		if marker == 0xDA || long < 2 || at+2+long > len(raw) {
			return 0
		}
		if body := raw[at+4 : at+2+long]; marker == 0xE1 && bytes.HasPrefix(body, []byte("Exif\x00\x00")) {
			return turnIn(body[6:])
		}
		at += 2 + long
	}
	return 0
}

// turnIn reads the orientation out of the TIFF header and first directory of an Exif block.
func turnIn(tiff []byte) int {
	if len(tiff) < 8 {
		return 0
	}
	var order binary.ByteOrder = binary.LittleEndian
	if tiff[0] == 'M' {
		order = binary.BigEndian
	}
	at := int64(order.Uint32(tiff[4:]))
	if at+2 > int64(len(tiff)) {
		return 0
	}
	for i := range int64(order.Uint16(tiff[at:])) {
		entry := at + 2 + 12*i
		if entry+12 > int64(len(tiff)) {
			return 0
		}
		if order.Uint16(tiff[entry:]) == 0x0112 {
			return int(order.Uint16(tiff[entry+8:]))
		}
	}
	return 0
}
