// Package joblog keeps the record of one service call: an append-only,
// hash-chained file of JSON Lines that is the whole state of the job.
//
// A job is a folder <jobs>/<job-id>/ with these files:
//
//	log.jsonl      the entries, one a line, oldest first
//	log.torn-<n>   bytes of an unfinished last line, set aside at a later opening
//	lock           names the process that writes; the lock is on the log itself
//	audio/         recordings of utterances, if they are kept
//
// An entry is on stable storage when [Writer.Append] returns, so nothing may
// act on what was heard before that. Every entry carries a SHA-256 of its own
// line, which covers the hash of the entry before: any changed, missing,
// moved, repeated or added line is found by [Verify].
//
// What a chain alone can't show: whole entries cut from the end of a log that
// was not signed off, and a log rewritten from some entry on by someone who
// also recomputed every later hash. Both show only against a [Head] that was
// kept elsewhere (see [Report.Holds]). A log ending in a closing entry can
// lose nothing without losing its sign-off.
//
// The format is in FORMAT.md, and as a JSON Schema in schema.json.
// The package imports nothing else of this module and reads no clock.
package joblog
