// Package sms is the door to SMS and WhatsApp, both by Twilio: it turns Twilio's webhooks
// and its message log into events, and sends messages by its REST API. Start at New.
//
//	POST /twilio/message -> ServeMessage -> Hearer      a text, a picture, a place, a tap
//	POST /twilio/status  -> ServeStatus  -> Reports     how a sent message fared
//	POST /twilio/voice   -> ServeVoice   -> Hearer      somebody phoned instead
//	Twilio's log         -> Sweep        -> Hearer      what no webhook brought
//	Send                 -> Twilio                      fills notify.Sender
//
// A webhook is answered 200 only after the event is committed, and 503 at once when it
// cannot be. Twilio tries a webhook once, so the sweep reads its log and hears what is
// missing; both give the same event id, and the hotline hears an id once.
package sms
