package session

import (
	"callout/diagnose"
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
	if e.LockedOut {
		text += "; locked out"
	}
	return text
}
