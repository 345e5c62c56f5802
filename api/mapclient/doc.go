// Package mapclient embeds the page on which a designer opens a site, draws and
// reads a plan: index.html, the style sheet and the script of page/.
//
// The script is made from the TypeScript of source/ by bundle/, a module of its
// own, and committed: building the program needs neither, and a test holds it to
// its sources byte for byte. The page takes in no library, so that Go alone can
// make it again, and no outside address, so that it works with the cable pulled.
// It obeys a policy without inline script or style. It shows what the service
// answers and works out nothing that the service answers: positions are turned
// into a plane only to draw them, and numbers are turned into the reader's units
// only to print them.
//
// Texts of features reach the page as text (textContent), never as markup.
//
// Units: metres of the plane that the page draws in (source/plane.ts), pixels
// of the screen where a name says so. The package imports the standard library
// alone; package main hands it the sample, the cautions and the background tiles.
package mapclient
