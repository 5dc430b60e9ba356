// Package notify knows whom to ask and when (the roster, reach, rounds), what a message is
// (class, length, expiry) and how it is delivered (one step of the loop over an Outbox and
// a Sender). Start at NextRound and Delivery.Step.
//
// It knows no wire format and no Redis command; time comes in as data.
package notify
