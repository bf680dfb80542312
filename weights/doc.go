// Package weights turns published Whisper weights into the file that the recogniser
// loads, and tells whether such a file is whole.
//
// Weights are published for several engines. Here they come in CTranslate2's format
// (package registries carry it); the recogniser wants ggml's. The vocabulary and the
// mel filter bank, which CTranslate2 files lack, come from the assets of the reference
// implementation's own package. Everything is pure Go and needs no model to test.
package weights
