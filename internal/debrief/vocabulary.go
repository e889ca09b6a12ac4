package debrief

import (
	"cornerwright/internal/circuit"
	"cornerwright/internal/say"
)

// Phases joined as riders speak of them, the most usual first.
var (
	goingIn  = []circuit.Phase{circuit.PhaseEntry, circuit.PhaseBrake}
	inside   = []circuit.Phase{circuit.PhaseEntry, circuit.PhaseMid}
	comingUp = []circuit.Phase{circuit.PhasePickup, circuit.PhaseDrive, circuit.PhaseMid}
	driving  = []circuit.Phase{circuit.PhasePickup, circuit.PhaseDrive}
	onDrive  = []circuit.Phase{circuit.PhaseDrive}
	anywhere = []circuit.Phase{}
)

// Word is one complaint of the vocabulary.
type Word struct {
	Says   Complaint
	Group  string          // electronics, engine, brakes, chassis, tyres, gearing, shifting
	Means  string          // in a few plain words
	Phases []circuit.Phase // where it usually belongs; empty: anywhere
	Ask    string          // not empty: the word has two meanings; the question to ask back
	Means2 []Answer        // what it can mean then
	Heard  []string        // ways of saying it, lower case, matched as whole words in this order
}

// Complaints is the vocabulary. Wordings are common practice.
var Complaints = []Word{
	{Says: "held-back", Group: "electronics", Means: "the bike gives less than the hand asks for", Phases: comingUp,
		Heard: []string{"holds me back", "held me back", "hold me back", "holding me back", "held back", "holds back", "holding back", "cuts too much", "cuts power", "cuts in", "cutting", "cut too early", "too much control", "control too strong", "control comes in", "traction control", "does not let me go", "won't let me go", "wont let me go", "chokes", "strangled", "intrusive"}},
	{Says: "late-drive", Group: "electronics", Means: "the drive comes later than the throttle", Phases: driving,
		Heard: []string{"drive comes late", "late drive", "drives late", "hesitates", "hesitation", "waits before it goes", "delay on the throttle", "throttle delay", "delayed", "dead throttle", "dead at first"}},
	{Says: "surges", Group: "electronics", Means: "the drive comes and goes", Phases: driving,
		Heard: []string{"surges", "surging", "pulses", "on and off", "bucks", "stutters", "stuttering", "hunting"}},
	{Says: "spins", Group: "electronics", Means: "the rear wheel spins", Phases: driving,
		Heard: []string{"rear spins", "spins up", "spins", "spinning", "spun", "wheelspin", "wheel spin", "rear lets go", "rear slides on the gas", "rear steps out on the gas", "slides on exit", "lights up"}},
	{Says: "wheelies", Group: "electronics", Means: "the front wheel lifts on the drive", Phases: driving,
		Heard: []string{"wheelies", "wheelie", "wheelying", "front lifts", "front comes up", "front in the air", "lifts the front", "loops"}},
	{Says: "lift-held", Group: "electronics", Means: "the wheel-lift control takes drive away", Phases: driving,
		Heard: []string{"drops the front", "front drops hard", "wheelie control", "lift control", "slams the front down"}},
	{Says: "snatchy-throttle", Group: "engine", Means: "the first touch of throttle is rough", Phases: []circuit.Phase{circuit.PhaseMid, circuit.PhasePickup},
		Heard: []string{"snatchy", "snatches", "jerky", "abrupt", "harsh throttle", "aggressive throttle", "sharp throttle", "rough on the throttle"}},
	{Says: "lazy", Group: "engine", Means: "too little push for the throttle asked", Phases: driving,
		Heard: []string{"lazy", "flat", "no power", "lacks power", "weak engine", "does not pull", "doesn't pull", "doesnt pull", "slow on the straight", "drags", "dragging", "down on speed", "no speed"}},
	{Says: "pushes-on", Group: "electronics", Means: "the rear drives the bike on while slowing", Phases: goingIn,
		Heard: []string{"pushes me on", "pushed me on", "pushes me in", "pushed me in", "pushes in on", "pushed in on", "pushed in after", "pushing me in", "pushes on entry", "pushes on the way in", "drives me on", "drives on", "rear pushes", "pushes me", "pushed me", "pushes after the downshift", "pushed after the downshift"}},
	{Says: "wants-engine-braking", Group: "electronics", Means: "too little braking from the engine", Phases: []circuit.Phase{circuit.PhaseEntry, circuit.PhaseBrake, circuit.PhaseMid},
		Heard: []string{"more engine braking", "more engine brake", "not enough engine braking", "too little engine braking", "needs engine braking", "wants engine braking", "freewheels", "free wheels", "does not slow", "doesn't slow", "doesnt slow", "no engine braking"}},
	{Says: "too-much-engine-braking", Group: "electronics", Means: "the engine drags the rear wheel too much", Phases: goingIn,
		Heard: []string{"too much engine braking", "less engine braking", "rear drags", "rear slides on entry", "rear steps out on entry", "backs in", "backing in", "sideways on entry"}},
	{Says: "hops", Group: "brakes", Means: "the rear wheel hops going in", Phases: []circuit.Phase{circuit.PhaseBrake, circuit.PhaseEntry},
		Heard: []string{"hops", "hopping", "rear jumps", "rear bounces", "rear judders"}},
	{Says: "rear-locks", Group: "brakes", Means: "the rear wheel locks going in", Phases: []circuit.Phase{circuit.PhaseBrake, circuit.PhaseEntry},
		Heard: []string{"rear locks", "rear locked", "locks the rear", "rear wheel locks"}},
	{Says: "rear-lifts", Group: "brakes", Means: "the rear wheel leaves the ground on the brakes", Phases: []circuit.Phase{circuit.PhaseBrake},
		Heard: []string{"rear lifts", "rear comes up", "rear in the air", "stoppie", "rear is light", "lifts the rear"}},
	{Says: "front-lock", Group: "brakes", Means: "the front wheel locks or nearly so", Phases: goingIn,
		Heard: []string{"front locks", "front locked", "locks the front", "front tucks on the brakes", "front lock"}},
	{Says: "brake-instability", Group: "brakes", Means: "the bike moves about on the brakes", Phases: []circuit.Phase{circuit.PhaseBrake},
		Heard: []string{"unstable on the brakes", "unstable on brakes", "moves around on the brakes", "moves about on the brakes", "snakes on the brakes", "unstable under braking", "weaves on the brakes"}},
	{Says: "brakes-weak", Group: "brakes", Means: "the brakes slow less than before", Phases: []circuit.Phase{circuit.PhaseBrake},
		Heard: []string{"brakes fade", "brake fade", "fading brakes", "brakes weak", "weak brakes", "lever comes back", "no brakes"}},
	{Says: "dives", Group: "chassis", Means: "the fork goes down too far on the brakes", Phases: goingIn,
		Heard: []string{"dives", "diving", "bottoms", "bottoms out", "fork bottoms", "fork at the end"}},
	{Says: "slow-turn-in", Group: "chassis", Means: "it leans in slowly", Phases: []circuit.Phase{circuit.PhaseEntry},
		Heard: []string{"slow to turn", "turns slowly", "slow turn in", "slow turn-in", "heavy to turn", "does not turn in", "doesn't turn in", "lazy turn in", "hard to turn"}},
	{Says: "front-washes", Group: "chassis", Means: "the front slides towards the outside", Phases: inside,
		Heard: []string{"front washes", "washes out", "front slides", "front goes away", "loses the front", "lost the front", "front tucks", "understeers", "understeer"}},
	{Says: "runs-wide", Group: "chassis", Means: "it leaves the line towards the outside", Phases: comingUp,
		Heard: []string{"runs wide", "running wide", "goes wide", "ran wide", "drifts wide", "wide on exit"}},
	{Says: "chatters", Group: "tyres", Means: "a fast shaking while leaned over", Phases: inside,
		Heard: []string{"front chatters", "rear chatters", "chatters mid", "chatters"}},
	{Says: "head-shake", Group: "chassis", Means: "the bars shake", Phases: driving,
		Heard: []string{"head shake", "headshake", "shakes its head", "bars shake", "bars flap", "tank slapper", "wobbles", "wobble"}},
	{Says: "weave", Group: "chassis", Means: "the whole bike weaves at speed", Phases: onDrive,
		Heard: []string{"weaves", "weaving", "weave", "snakes"}},
	{Says: "pumps", Group: "chassis", Means: "the rear goes up and down on the drive", Phases: driving,
		Heard: []string{"pumps", "pumping", "rear pumps", "squats", "squatting"}},
	{Says: "tyre-drops", Group: "tyres", Means: "the tyre gets worse over the run", Phases: anywhere,
		Heard: []string{"tyre drops", "tyre is gone", "tyre went off", "tyre goes off", "tire drops", "tire went off", "grip goes away after", "grip drops"}},
	{Says: "limiter-early", Group: "gearing", Means: "the engine is at its limit too early", Phases: onDrive,
		Heard: []string{"on the limiter", "hits the limiter", "limiter", "out of revs", "runs out of revs", "over-revs"}},
	{Says: "gear-too-long", Group: "gearing", Means: "the engine turns too slowly out of the turn", Phases: driving,
		Heard: []string{"gear too long", "gearing too long", "too tall", "bogs", "bogging", "between gears", "off the power", "revs too low"}},
	{Says: "missed-shift", Group: "shifting", Means: "a gear does not go in", Phases: anywhere,
		Heard: []string{"missed shift", "missed a gear", "false neutral", "misses gears", "jumped out of gear", "gear did not go in"}},
	{Says: "harsh-shift", Group: "shifting", Means: "the shift up upsets the bike", Phases: driving,
		Heard: []string{"harsh shift", "harsh upshift", "rough shift", "rough upshift", "jerks on the shift", "shift kicks", "clunky"}},
	{Says: "pit-too-fast", Group: "shifting", Means: "the pit lane limit is not held", Phases: anywhere,
		Heard: []string{"pit lane too fast", "pit limiter", "pit speed", "too fast in the pit"}},
	{Says: "late-pick-up", Group: "riding", Means: "the throttle is opened late", Phases: []circuit.Phase{circuit.PhaseMid, circuit.PhasePickup},
		Heard: []string{"late on the gas", "late on the throttle", "pick up late", "opens late", "cannot open", "can't open", "cant open", "cannot get on the gas"}},
	{Says: "coasts", Group: "riding", Means: "neither brake nor throttle for too long", Phases: inside,
		Heard: []string{"coasts", "coasting", "rolls too long", "long roll"}},
	{Says: "fine", Group: "riding", Means: "nothing to complain of", Phases: anywhere,
		Heard: []string{"is fine", "all fine", "all good", "feels good", "perfect", "no complaint"}},

	// Words that mean two things: asked back, never guessed.
	{Says: "pushes", Group: "ask", Ask: "Does the rear wheel drive you on while you slow down, or does the front slide towards the outside?",
		Means2: []Answer{{"pushes-on", circuit.PhaseEntry, "the rear drives me on"}, {"front-washes", circuit.PhaseMid, "the front slides out"}},
		Heard:  []string{"pushes", "pushing", "pushed", "push"}},
	{Says: "chatter", Group: "ask", Ask: "A fast shaking while leaned over, the rear hopping on the brakes, or the front pattering on the brakes?",
		Means2: []Answer{{"chatters", circuit.PhaseMid, "fast, leaned over"}, {"hops", circuit.PhaseBrake, "the rear hops going in"}, {"brake-instability", circuit.PhaseBrake, "the front patters on the brakes"}},
		Heard:  []string{"chatter", "chattering", "vibrates", "vibration", "judder"}},
	{Says: "no-grip", Group: "ask", Ask: "Which end, and doing what: does the rear spin on the drive, the rear step out going in, or the front slide?",
		Means2: []Answer{{"spins", circuit.PhasePickup, "the rear spins on the drive"}, {"too-much-engine-braking", circuit.PhaseEntry, "the rear steps out going in"}, {"front-washes", circuit.PhaseMid, "the front slides"}},
		Heard:  []string{"no grip", "lacks grip", "grip is bad", "slides", "sliding", "slippery", "loose", "steps out"}},
	{Says: "nervous", Group: "ask", Ask: "Do the bars shake, does the whole bike weave at speed, or does it move about on the brakes?",
		Means2: []Answer{{"head-shake", circuit.PhaseDrive, "the bars shake"}, {"weave", circuit.PhaseDrive, "the whole bike weaves"}, {"brake-instability", circuit.PhaseBrake, "it moves about on the brakes"}},
		Heard:  []string{"nervous", "unstable", "twitchy", "unsettled"}},
	{Says: "runs-on", Group: "ask", Ask: "Does the engine brake too little, does the rear push after the downshift, or do the brakes not bite?",
		Means2: []Answer{{"wants-engine-braking", circuit.PhaseEntry, "the engine brakes too little"}, {"pushes-on", circuit.PhaseEntry, "it pushes after the downshift"}, {"brakes-weak", circuit.PhaseBrake, "the brakes do not bite"}},
		Heard:  []string{"runs on", "runs in", "goes on", "does not stop", "doesn't stop", "doesnt stop", "won't stop"}},
	{Says: "shakes", Group: "ask", Ask: "Do the bars shake on the drive, or is it a fast shaking through the bike while leaned over?",
		Means2: []Answer{{"head-shake", circuit.PhaseDrive, "the bars shake on the drive"}, {"chatters", circuit.PhaseMid, "fast, leaned over"}},
		Heard:  []string{"shakes", "shaking"}},
}

// Lookup returns the entry of a complaint, nil if the vocabulary has none.
func Lookup(c Complaint) *Word {
	for i := range Complaints {
		if Complaints[i].Says == c {
			return &Complaints[i]
		}
	}
	return nil
}

// Ambiguous tells whether the complaint must be asked back before it is used.
func (w *Word) Ambiguous() bool { return w.Ask != "" }

// Question returns what to ask back about an ambiguous word.
func (w *Word) Question(heard string) Question {
	return Question{About: heard, Ask: say.Key(w.Ask), Answers: w.Means2}
}

// Vocabulary lists the complaints that a remark can hold, without those that
// must be asked back.
func Vocabulary() []Complaint {
	var out []Complaint
	for i := range Complaints {
		if !Complaints[i].Ambiguous() {
			out = append(out, Complaints[i].Says)
		}
	}
	return out
}
