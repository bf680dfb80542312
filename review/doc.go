// Package review shows a supervisor what job logs tell: an index over a folder
// tree of jobs, the questions asked of it, pages, a report for the customer's
// file, and exports.
//
// The logs are the truth. The index ([Store]) is kept in SQLite beside them,
// or in PostgreSQL where many machines ship their jobs; it can be made anew
// from the logs at any time, and gives the same answers on both. In PostgreSQL
// it also holds the logs themselves, since the machine that asks may not have
// the files.
//
// Everything that was spoken or typed is hostile text: it reaches a page only
// through html/template, and no page runs a script.
package review
