package session

import (
	"callout/diagnose"
	"callout/diagnose/energy"
	"callout/joblog"
	"callout/prompts"
)

// energy tells a change of what is live.
func (t *turn) energy(e diagnose.Energy) {
	text := energyText(e)
	if text == t.call.energy {
		return
	}
	first := t.call.energy == ""
	t.emit(joblog.Energy{State: text, Outdoor: string(e.Outdoor), Indoor: string(e.Indoor), Capacitor: string(e.Capacitor)})
	if !first {
		t.say("energy", prompts.Args{"Text": text})
	}
}

// age names the proofs that have grown too old.
func (t *turn) age() {
	t.call.warnings = append(t.call.warnings, t.call.job.Age(t.at)...)
	t.warn()
}

// resumed notes that the job is taken up again: what was proved dead before is
// proved again.
func (t *turn) resumed() {
	e := t.call.know.Engine.Unproved(t.call.job.Energy())
	t.emit(joblog.Energy{State: energyText(e), Outdoor: string(e.Outdoor), Indoor: string(e.Indoor), Capacitor: string(e.Capacitor), Resumed: true})
	t.say("energy", prompts.Args{"Text": energyText(e)})
}

func powerText(p diagnose.Power) string {
	switch p {
	case diagnose.ProvedDead:
		return "declared dead and proved dead"
	case diagnose.DeclaredDead:
		return "declared dead, not proved: treat it as live"
	}
	return "live"
}

// energyText says in plain words what can hurt.
func energyText(e diagnose.Energy) string {
	text := "outdoor unit " + powerText(e.Outdoor)
	if e.Indoor != diagnose.Live {
		text += "; air handler " + powerText(e.Indoor)
	}
	switch e.Capacitor {
	case diagnose.Bled:
		text += "; capacitor bled, not yet measured: treat it as charged"
	case diagnose.Proved:
		text += "; capacitor proved bled"
	}
	if e.Is(energy.OutdoorLock) {
		text += "; locked out"
	}
	return text
}
