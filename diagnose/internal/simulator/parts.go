package simulator

// parts is everything that can differ from new. The zero value of a field is
// not its healthy value: see healthy.
type parts struct {
	// Supply.
	volts         float64 // leg to leg, no load
	sourceOhms    float64 // of the supply, both legs
	legLost       bool    // one leg missing before the disconnect
	breakerOff    bool    // found off
	breakerWeak   bool    // trips below its rating
	breakerSize   float64 // amps, where it is not the plate's; 0: it is
	pullOut       bool    // disconnect found out
	pullFails     bool    // a trap: one leg stays live with the disconnect pulled
	fuseBlown     bool    // one fuse of the disconnect
	pullOhms      float64 // the disconnect's stabs
	primaryLost   bool    // no voltage at the transformer's primary
	xfmrDead      bool
	xfmrVolts     float64
	controlShort  bool // low-voltage wires touch
	coilShorted   bool // the contactor's coil
	valveShorted  bool // the reversing valve's coil
	statDead      bool // no output at all
	statNoY       bool // no cooling output, the blower still called
	statBlank     bool
	statWrongMode bool
	statSatisfied bool
	statWire      bool // a wire between the thermostat and the air handler is open
	doorOpen      bool // the air handler's panel is off its door switch
	yOpen         bool // control wire open on its way out
	floatOpen     bool
	drainBlocked  bool
	highOpen      bool // high-pressure switch open for no reason
	lowOpen       bool
	boardDead     bool
	delayShort    bool // arrived inside the delay

	// Contactor.
	coilOpen      bool
	stuckOpen     bool // something between the contacts
	poleOpen      bool // one pole burnt away
	poleOhms      [2]float64
	welded        bool
	tripsOnLocked bool // the breaker opens before the overload does

	// Capacitors, shares of the label; 0 is open or shorted.
	herm, fanCap, blowerCap, startCap float64
	wrongCap                          float64 // share of the right size that is fitted and on its label; 0: the right one
	capLook, capConnection            string
	relayOpen                         bool
	relayStuck                        bool // the start capacitor stays in circuit

	// Compressor.
	locked      bool
	tight       float64 // extra starting load, 1 is as much as normal
	runOpen     bool
	startOpen   bool
	turnShort   float64 // share of the run winding shorted
	toGround    float64 // megohms
	overload    bool    // failed open
	overloadHot bool    // opened by a restart against pressure, and closes when it has cooled
	commonOhms  float64 // in the connection at the compressor
	commonOpen  bool
	runWire     bool // the wire to the compressor's run is off
	startWire   bool // the start wire's terminal at the compressor is off
	worn        bool // rattles
	plugLook    string
	contactWire string // connection at the contactor
	wireGround  string // a wire rubbed through to the cabinet: before the contactor ("line"), behind it ("load"), or none
	wireOff     string // which wire is off there: "line", "load" (both motors), "compressor", or none
	pullLook    string // connection at the disconnect

	// Motors.
	fanOpen      bool
	fanSeized    bool
	fanStiff     bool
	fanGround    bool
	fanWire      string
	fanBackward  bool
	fanBlade     bool // slips or is broken: little air, a noise
	fanRelay     bool // the board does not close the fan's relay
	blowerOpen   bool
	blowerStiff  bool
	blowerModule bool // of an electronically commutated blower
	blowerWheel  string
	blowerRelay  bool // nothing calls the blower

	// Air.
	filter     string
	filterAir  float64
	indoorCoil float64 // share of airflow and surface left
	ducts      string
	outCoil    float64

	// Circuit.
	charge      float64
	leak        bool
	orifice     float64
	valveSeized bool
	bulbLoose   bool
	restriction float64
	air         float64
	pump        float64
	crossLeak   float64

	// Heat pump.
	rvStuck      bool // in the other mode
	rvCoilOpen   bool
	rvWireOpen   bool
	rvWrong      bool   // the thermostat energises the valve in the wrong season
	defrostNever string // "", "board" or "sensor"
	defrostStuck bool
	defrostNow   bool    // a normal defrost is going on
	frosted      float64 // share of the outdoor coil left
	auxOpen      bool    // element or its fuse link
	auxRelay     bool    // sequencer does not close
	auxStuck     bool    // sequencer does not open
	crankcase    bool    // heater open
	noise        string
}

func (u Unit) healthy() parts {
	p := parts{
		volts: 240, sourceOhms: 0.12, xfmrVolts: 26,
		poleOhms: [2]float64{0.003, 0.003}, pullOhms: 0.004, commonOhms: 0.002,
		herm: 1, fanCap: 1, blowerCap: 1, startCap: 1, capLook: "normal", capConnection: "tight",
		toGround: 200, plugLook: "tight", contactWire: "tight", pullLook: "tight", fanWire: "tight", blowerWheel: "clean",
		filter: "clean", filterAir: 1, indoorCoil: 1, ducts: "good", outCoil: 1,
		charge: 1, orifice: 1, frosted: 1, noise: "none",
	}
	return p
}
