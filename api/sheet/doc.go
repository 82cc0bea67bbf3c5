// Package sheet prints what is to be done at a vine: one A4 page for a vine,
// and one for a row where its vines fit on one. It draws from what package
// assess gives and takes its words from a catalogue; it reads nothing from the
// record and decides nothing.
//
// Printed for the vineyard: black on white, nothing told by colour alone,
// numbers large enough to read at arm's length, room to tick off, and the
// cautions on every page.
package sheet
