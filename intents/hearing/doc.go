// Package hearing turns the sound of an utterance into the text of a callout, with the
// probability that it is right and the texts that were nearly as likely. Recognisers give
// hypotheses; the parser gives each its meaning; a calibrated model of certainty judges the
// best. It knows nothing of the job: what is open and expected is handed in.
package hearing
