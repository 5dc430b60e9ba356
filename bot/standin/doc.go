// Package standin holds stand-ins for the providers, which validate every request against
// the published descriptions; used by the tests of the doors and of serve.
//
// NewTwilio and NewTelegram start an HTTP server each. What a request does wrong is told to
// the Reporter (a *testing.T) and answered as the provider would; what it does right is
// kept (Sent) and answered in the documented shape. Next makes the following requests meet
// trouble: a 429, a page of HTML, an answer that gets lost.
//
// They speak the other way too: Twilio signs and posts webhooks and keeps a message log,
// Telegram queues updates for getUpdates or brings them to the webhook that was set.
package standin
