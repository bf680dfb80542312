// Package session is the conversation of one job. It decides what becomes of
// each utterance (recorded, asked back or ignored), keeps the engine's job, and
// chooses what is said.
//
// The log is the state: everything that a Call does is a list of log entries,
// and all its state comes from applying them. A Call that is restored from its
// log is the same Call. Call has no clock, no sound and no files; Runner puts
// each entry into the log before it lets anybody see or hear it.
package session
