// Package maps looks up places by name at a Nominatim-compatible server, and drives at an
// OSRM-compatible one. Start at Search and Drives.
//
// It is a package of its own because it is a door to somebody else's wire formats.
package maps
