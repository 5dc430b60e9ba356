// Package web is the hotline's own HTTP face: one server with every route, the answers to
// "are you alive?" and "are you ready?", and the numbers for Prometheus. Start at Routes.
package web
