// Package plots draws the ledger's season as PNG and SVG; it stands apart because the drawing
// library is larger than everything else that bot needs. Start at Season.
package plots
