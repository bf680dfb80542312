// Package simulator is a residential split air conditioner or heat pump with
// faults in it, and a technician to ask about it. It plays calls through a
// diagnostic engine and scores them.
//
// It is a second opinion on the trade: its physics, constants, fault effects
// and frequencies are written from scratch and share nothing with the engine or
// with package physics; a test holds that. Only the ids of quantities, places,
// declarations, repairs and faults are common, so that questions can be asked
// and the truth scored.
//
// The chain of cause runs one way: faults change parts ([parts]), the parts and
// the energy state decide what runs ([World.settle]), what runs decides
// pressures, temperatures, currents and voltages, and instruments add their
// errors ([World.Ask]).
package simulator
