package standin

import (
	"bytes"
	"image"
	"image/png"
	"mime/multipart"
	"net/http"
	"testing"
)

// An upload is held to what the documentation of sendPhoto says of files.
func TestTelegramUpload(t *testing.T) {
	s, w := telegram(t)
	picture := func(wide, high int) []byte {
		var file bytes.Buffer
		if err := png.Encode(&file, image.NewGray(image.Rect(0, 0, wide, high))); err != nil {
			t.Fatal(err)
		}
		return file.Bytes()
	}
	for _, c := range []struct {
		why, field string
		file       []byte
		want       string
	}{
		{"a picture", "photo", picture(40, 30), ""},
		{"words are none", "photo", []byte("not a picture"), "no picture"},
		{"too long and thin", "photo", picture(21, 1), "ratio must be at most 20"},
		{"too large together", "photo", picture(9000, 1001), "must not exceed 10000"},
		{"a field that takes no file", "caption", picture(4, 3), "takes no file"},
	} {
		var body bytes.Buffer
		form := multipart.NewWriter(&body)
		if err := form.WriteField("chat_id", "5550101"); err != nil {
			t.Fatal(err)
		}
		part, err := form.CreateFormFile(c.field, "picture.png")
		if err != nil {
			t.Fatal(err)
		}
		if _, err := part.Write(c.file); err != nil || form.Close() != nil {
			t.Fatal(err)
		}
		r, err := http.NewRequest("POST", s.URL+"/bot"+s.Token+"/sendPhoto", &body)
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Content-Type", form.FormDataContentType())
		do(t, r)
		w.wants(t, c.why, c.want)
	}
}
