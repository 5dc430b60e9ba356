// Package maps looks up places by name at a Nominatim-compatible server. Start at Search.
//
// It is a package of its own because it is a door to somebody else's wire format.
package maps
