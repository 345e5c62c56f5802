// Package mapclient embeds the page on which a designer opens a site, draws and
// reads a plan: index.html and the style sheet and ES modules of assets/.
//
// The page is plain JavaScript with JSDoc types: no library, no bundler, no
// outside address, so that it works with the cable pulled and the files served
// are the files in this folder. It obeys a policy without inline script or
// style. It shows what the service answers and works out nothing that the
// service answers: positions are turned into a plane only to draw them, and
// numbers are turned into the reader's units only to print them.
//
// Texts of features reach the page as text (textContent), never as markup.
//
// Units: metres of the plane that the page draws in (modules plane.js), pixels
// of the screen where a name says so. The package imports the standard library
// alone; package main hands it the sample and the cautions.
package mapclient
