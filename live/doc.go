// Package live is the conversation at the unit: a microphone in, a voice out,
// and the turn between them. It finds where an utterance ends by what it means,
// decodes it while the pause still runs, lets the session log and decide, and
// speaks the answer sentence by sentence. A technician who speaks over a prompt
// stops it; a caution is never cut off.
//
// One goroutine, that of Run, owns all state. Others only wait: for sound, for
// the recogniser, for the voice, for the loudspeaker. Devices, recogniser and
// voice stand behind interfaces; time is the time package's, so that a test
// bubble with a clock of its own can run a whole day in a moment.
package live
