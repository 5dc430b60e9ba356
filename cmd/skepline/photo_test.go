package main

import (
	"bytes"
	"image"
	"image/color"
	"image/jpeg"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
)

// aPhoto is a picture as a phone takes it: large, lying on its side, with a place in it.
func aPhoto(t *testing.T) []byte {
	t.Helper()
	m := image.NewRGBA(image.Rect(0, 0, 2000, 1500))
	for y := range 1500 {
		for x := range 2000 {
			m.Set(x, y, color.RGBA{uint8(x * y % 251), uint8(y % 256), uint8(x % 256), 255})
		}
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, m, nil); err != nil {
		t.Fatal(err)
	}
	exif := "Exif\x00\x00MM\x00*\x00\x00\x00\x08\x00\x01\x01\x12\x00\x03\x00\x00\x00\x01\x00\x06\x00\x00\x00\x00\x00\x00 GPSLatitude 42.446"
	segment := append([]byte{0xFF, 0xE1, 0, byte(len(exif) + 2)}, exif...)
	return append(append([]byte{0xFF, 0xD8}, segment...), b.Bytes()[2:]...)
}

// adds sends a picture by a caller's page, as a browser without JavaScript would.
func (s *site) adds(path string, picture []byte) string {
	s.Helper()
	var body bytes.Buffer
	form := multipart.NewWriter(&body)
	_ = form.WriteField("n", nonceIn.FindStringSubmatch(s.page(path))[1]) // a buffer takes everything
	part, err := form.CreateFormFile("photo", "IMG_0001.JPG")
	if err != nil {
		s.Fatal(err)
	}
	_, _ = part.Write(picture)
	_ = form.Close()
	r := httptest.NewRequest("POST", s.base+path, &body)
	r.Header.Set("Content-Type", form.FormDataContentType())
	w := httptest.NewRecorder()
	s.mux.ServeHTTP(w, r)
	to, err := url.Parse(w.Header().Get("Location"))
	if err != nil || w.Code != http.StatusSeeOther {
		s.Fatalf("a picture gave %d", w.Code)
	}
	return to.Query().Get("did")
}

func TestPhotoByPage(t *testing.T) {
	s := newSite(t, somePages, 3)
	where, offer := s.link("gwen", "w"), s.link("ada", "o")
	s.want("what is no picture", s.adds(where, []byte("<svg onload=alert(1)>")), "no_picture")
	s.want("more than ten megabytes", s.adds(where, append(aPhoto(t), make([]byte, 10<<20)...)), "no_picture")
	s.want("a picture", s.adds(where, aPhoto(t)), "noted")
	if page := s.page(offer); !strings.Contains(page, `src="/p/`+offer[3:]+`?n=0"`) {
		t.Fatalf("the offer does not show the picture:\n%s", page)
	}
	w := s.ask("GET", "/p/"+offer[3:]+"?n=0", nil)
	got := w.Body.Bytes()
	size, err := jpeg.DecodeConfig(bytes.NewReader(got))
	if err != nil || size.Height <= size.Width || size.Height > 1280 {
		t.Errorf("the picture is %d by %d (%v), want it upright and at most 1280 high", size.Width, size.Height, err)
	}
	if bytes.Contains(got, []byte("GPS")) || bytes.Contains(got, []byte("Exif")) {
		t.Error("the picture tells where it was taken")
	}
	s.want("a second", s.adds(where, aPhoto(t)), "noted")
	s.want("a third", s.adds(where, aPhoto(t)), "noted")
	if strings.Contains(s.page(where), `type="file"`) {
		t.Error("the page asks for a fourth picture")
	}
	s.want("taken", s.press(offer, does("take")), "won")
	s.want("gone", s.press(where, does("gone")), "noted")
	if w := s.ask("GET", "/p/"+offer[3:]+"?n=0", nil); w.Code != http.StatusNotFound {
		t.Errorf("after the end the picture gave %d, want 404", w.Code)
	}
}
