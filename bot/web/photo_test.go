package web

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"image"
	"image/color"
	"image/jpeg"
	"strings"
	"testing"
)

// withExif is a small JPEG with an Exif segment that tells a place.
func withExif(t *testing.T) []byte {
	t.Helper()
	m := image.NewRGBA(image.Rect(0, 0, 2600, 40))
	m.Set(1, 1, color.White)
	var b bytes.Buffer
	if err := jpeg.Encode(&b, m, nil); err != nil {
		t.Fatal(err)
	}
	exif := "Exif\x00\x00GPSLatitude 42.446"
	segment := append([]byte{0xFF, 0xE1, 0, byte(len(exif) + 2)}, exif...)
	return append(append([]byte{0xFF, 0xD8}, segment...), b.Bytes()[2:]...)
}

// bomb is a PNG of a few bytes that says it is 60 000 pixels wide and high.
func bomb() []byte {
	head := []byte("IHDR\x00\x00\xea\x60\x00\x00\xea\x60\x08\x06\x00\x00\x00")
	b := append([]byte("\x89PNG\r\n\x1a\n\x00\x00\x00\x0d"), head...)
	return binary.BigEndian.AppendUint32(b, crc32.ChecksumIEEE(head))
}

func TestPictureIsMadeAnew(t *testing.T) {
	out, err := plainJPEG(withExif(t))
	if err != nil {
		t.Fatal(err)
	}
	if bytes.Contains(out, []byte("GPS")) || bytes.Contains(out, []byte("Exif")) {
		t.Error("the picture still tells where it was taken")
	}
	size, err := jpeg.DecodeConfig(bytes.NewReader(out))
	if err != nil || size.Width > photoWidest {
		t.Errorf("got %d pixels wide (%v), want at most %d", size.Width, err, photoWidest)
	}
}

func TestWhatIsNoPictureIsNotPassedOn(t *testing.T) {
	for why, raw := range map[string][]byte{
		"a pixel bomb":                     bomb(),
		"a page that calls itself picture": []byte("<html><script>alert(1)</script>"),
		"a drawing with a script":          []byte(`<svg xmlns="http://www.w3.org/2000/svg" onload="alert(1)"/>`),
		"too many bytes":                   bytes.Repeat([]byte("x"), photoBytes+1),
		"nothing":                          nil,
	} {
		if out, err := plainJPEG(raw); err == nil {
			t.Errorf("%s came through as %d bytes", why, len(out))
		} else if strings.Contains(err.Error(), "script") {
			t.Errorf("%s: the error %q holds what was sent", why, err)
		}
	}
}
