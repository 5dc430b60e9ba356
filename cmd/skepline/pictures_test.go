package main

import (
	"bytes"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"testing"

	"skepline/bot/standin"
)

var sam = standin.TelegramPerson{ID: 5550209, Name: "Sam"}

// A steward who asks for the season gets its pictures, drawn on the spot and uploaded; a
// catcher in chat sees the picture that a caller sent by MMS.
func TestServePictures(t *testing.T) {
	w := openTownWith(t, "", 1, "hook-secret", `stewards = ["telegram:5550209"]`)
	at := w.replicas[0].settings
	w.enrols("Ada", chatAddress(ada), at.Latitude+0.01, at.Longitude)

	w.texts(gwen, report)
	w.texts(gwen, "14 Mill Lane")
	w.telegram.Taps(ada, w.data(w.chat(ada, "Swarm"), "Take it"))
	w.bring()
	w.chat(ada, "14 Mill Lane")

	bees := image.NewGray(image.Rect(0, 0, 60, 40))
	bees.Set(20, 20, color.White)
	var photo bytes.Buffer
	if err := jpeg.Encode(&photo, bees, nil); err != nil {
		t.Fatal(err)
	}
	w.posted(w.twilio.SignedPost(publicURL+"/twilio/message", w.twilio.Text(gwen, ourNumber, "", standin.Media{Type: "image/jpeg", Body: photo.Bytes()})))
	sent := w.chat(ada, "sends a photo")
	up, _ := sent.Params["photo"].(standin.Upload)
	if came, err := jpeg.Decode(bytes.NewReader(up.Bytes)); err != nil || came.Bounds() != bees.Bounds() {
		t.Errorf("the caller's picture came by %s as %s: %v", sent.Method, up.Format, err)
	}

	w.telegram.Says(ada, "FLOWN")
	w.bring()
	w.sms(gwen, "flown on")
	w.telegram.Says(sam, "SEASON")
	w.bring()
	w.chat(sam, "1 flown on")
	drawn := w.chat(sam, "Calls by week")
	up, _ = drawn.Params["photo"].(standin.Upload)
	plot, err := png.Decode(bytes.NewReader(up.Bytes))
	if err != nil || plot.Bounds().Dx() < 400 {
		t.Fatalf("the season's picture came by %s with %d bytes: %v", drawn.Method, len(up.Bytes), err)
	}
	w.chat(sam, "What came of the calls")
}
