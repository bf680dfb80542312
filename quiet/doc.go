// Package quiet shows a job as text: a screen for the laptop beside the
// technician, by a terminal library, that works at 80 columns and 24 lines and
// without colour. It shows the session of its own process, or follows the log of
// another's.
package quiet
