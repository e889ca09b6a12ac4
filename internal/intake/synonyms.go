package intake

import (
	"sort"
	"strings"
	"unicode"

	"cornerwright/internal/recording"
	"cornerwright/internal/unit"
)

// timeChannel is the name under which a column map speaks of the clock.
const timeChannel = "time"

// synonyms lists, for each canonical channel, the names that loggers, phones
// and engineers give it in several languages, folded as foldName does: lower
// case, no accents, words parted by one blank. What stands earlier is the
// better match.
var synonyms = map[string][]string{
	timeChannel:          {"time", "t", "zeit", "temps", "tempo", "tiempo", "timestamp", "time stamp", "elapsed", "elapsed time", "zeitstempel", "laufzeit", "seconds", "sample time", "session time", "log time", "utc time", "utc", "date time", "datetime", "uhrzeit", "horodatage", "gps time", "recording time", "clock", "run time", "logger time", "record time", "system time", "uptime", "ora", "heure", "hora", "tijd", "unix time", "epoch", "time of day", "messzeit", "gpstime", "utctime", "ts", "ticks", "sekunden"},
	recording.Latitude:   {"latitude", "lat", "gps latitude", "gps lat", "breite", "breitengrad", "geo breite", "latitud", "latitudine", "gps breite", "gps breitengrad", "position latitude", "latitude deg", "geographische breite", "pos lat", "position lat", "gpslat", "breedtegraad"},
	recording.Longitude:  {"longitude", "lon", "long", "lng", "gps longitude", "gps lon", "gps long", "gps lng", "lange", "laenge", "langengrad", "laengengrad", "longitud", "longitudine", "gps lange", "gps laenge", "gps langengrad", "gps laengengrad", "position longitude", "geo lange", "geo laenge", "geographische lange", "geographische laenge", "pos lon", "pos long", "position lon", "position long", "gpslon", "gpslong", "gpslng", "lengtegraad"},
	recording.Altitude:   {"altitude", "alt", "gps altitude", "gps alt", "hohe", "hoehe", "elevation", "gps height", "height", "gps hohe", "gps hoehe", "altitud", "altitudine", "quota", "ele", "hoogte", "altura", "msl altitude"},
	recording.GPSSpeed:   {"gps speed", "speed gps", "gps geschwindigkeit", "geschwindigkeit gps", "vitesse gps", "gps vitesse", "velocita gps", "gps velocita", "velocidad gps", "gps velocidad", "ground speed", "speed over ground", "sog", "gps v", "v gps", "gps ground speed", "geschwindigkeit uber grund", "geschwindigkeit ueber grund", "gps sog", "velocity gps", "gps velocity", "doppler speed", "gpsspeed", "vgps", "speed2d", "gps snelheid", "position speed"},
	recording.GPSHeading: {"gps heading", "heading", "heading gps", "course", "gps course", "course over ground", "cog", "kurs", "gps kurs", "cap", "cap gps", "rotta", "gps rotta", "rumbo", "rumbo gps", "gps rumbo", "track angle", "gps track", "azimuth", "bearing", "gps bearing", "gps cog", "richtung", "gps richtung", "track", "true heading", "motion heading", "direction", "gps direction", "richtung gps"},
	recording.FrontSpeed: {"front speed", "speed front", "front wheel speed", "wheel speed front", "speed front wheel", "front wheel", "wheel front", "v front", "vfront", "front wheel velocity", "raddrehzahl vorn", "radgeschwindigkeit vorn", "geschwindigkeit vorn", "geschw vorn", "vorderrad", "geschwindigkeit vorderrad", "vorderradgeschwindigkeit", "v vorn", "vitesse avant", "vitesse roue avant", "roue avant", "velocita anteriore", "velocita ruota anteriore", "ruota anteriore", "velocidad delantera", "velocidad rueda delantera", "rueda delantera", "wheelspeed front", "front wheelspeed", "ws front", "f wheel speed", "wheel speed f", "wheel speed 1", "speed f", "fspeed", "f speed", "v f", "vf", "fws", "wspd f", "wspd front", "whl spd front", "whlspd f", "radgeschwindigkeit vorne", "geschwindigkeit vorne", "v vorne", "v vorderrad", "v ant", "vel ant", "v av", "spd front", "front spd", "front velocity", "velocity front", "snelheid voor", "ws f", "velocita ant"},
	recording.RearSpeed:  {"rear speed", "speed rear", "rear wheel speed", "wheel speed rear", "speed rear wheel", "rear wheel", "wheel rear", "v rear", "vrear", "rear wheel velocity", "raddrehzahl hinten", "radgeschwindigkeit hinten", "geschwindigkeit hinten", "geschw hinten", "hinterrad", "geschwindigkeit hinterrad", "hinterradgeschwindigkeit", "v hinten", "vitesse arriere", "vitesse roue arriere", "roue arriere", "velocita posteriore", "velocita ruota posteriore", "ruota posteriore", "velocidad trasera", "velocidad rueda trasera", "rueda trasera", "wheelspeed rear", "rear wheelspeed", "ws rear", "r wheel speed", "wheel speed r", "wheel speed 2", "speed r", "rspeed", "r speed", "v r", "vr", "rws", "wspd r", "wspd rear", "whl spd rear", "whlspd r", "v hinterrad", "v post", "vel post", "v ar", "spd rear", "rear spd", "rear velocity", "velocity rear", "snelheid achter", "ws r", "velocita post"},
	recording.RPM:        {"rpm", "engine speed", "engine rpm", "revs", "engine revs", "drehzahl", "motordrehzahl", "regime", "regime moteur", "giri", "giri motore", "regimen", "revoluciones", "revoluciones motor", "revoluciones del motor", "regimen del motor", "vueltas de motor", "regime du moteur", "crank speed", "rev counter", "vueltas motor", "nmot", "tours minute", "n mot", "n motor", "nmotor", "n engine", "motor drehzahl", "tacho", "eng rpm", "eng speed", "rpm motore", "rpm motor", "regimen motor", "regime motore", "n eng", "toerental", "n", "crankshaft speed"},
	recording.Gear:       {"gear", "gear position", "gang", "ganganzeige", "rapport", "rapport engage", "marcia", "marcia inserita", "marcha", "engaged gear", "current gear", "gear number", "vitesse engagee", "gear pos", "gearposition", "selected gear", "eingelegter gang", "gear no", "gearbox position", "marcha engranada", "versnelling"},
	recording.Grip:       {"grip", "twist grip", "throttle grip", "gasgriff", "gas griff", "grip position", "throttle demand", "rider demand", "rider throttle", "poignee", "poignee de gaz", "poignee gaz", "manopola", "manopola gas", "acceleratore", "puno", "puno de gas", "puno gas", "accelerator", "accelerator position", "demand", "throttle request", "gas demand", "gas", "fahrerwunsch", "aps", "twistgrip", "throttle grip position", "gasgriffstellung", "gasgriffposition", "accelerateur", "acelerador", "requested throttle", "hand throttle", "comando gas", "apertura gas", "gashendel", "grip angle", "throttle handle", "accel position"},
	recording.Throttle:   {"throttle", "throttle plate", "throttle position", "throttle valve", "throttle body", "plate", "tps", "drosselklappe", "drosselklappenwinkel", "drosselklappenstellung", "papillon", "position papillon", "farfalla", "apertura farfalla", "mariposa", "posicion mariposa", "butterfly", "throttle butterfly", "throttle opening", "delivered throttle", "throttle plate position", "throttle valve position", "throttle actual", "actual throttle", "etb", "etb position", "dk", "dk winkel", "posizione farfalla", "angolo farfalla", "ouverture papillon", "apertura mariposa", "thr", "throttle angle", "throttle pos", "tps1", "gasklep"},
	recording.Cut:        {"cut", "torque cut", "torque reduction", "momentreduktion", "momentenreduktion", "momentenreduzierung", "torque reduction request", "power reduction", "power cut", "reduction couple", "reduction de couple", "riduzione coppia", "taglio coppia", "taglio", "reduccion de par", "reduccion par", "corte", "corte par", "control cut", "traction cut", "tc cut", "slip control cut", "eingriff", "ignition cut", "spark cut", "tc reduction", "traction control cut", "traction control intervention", "tc intervention", "traction intervention", "drehmomentreduktion", "drehmomenteingriff", "momenteneingriff", "tc eingriff", "intervento tc", "coupure", "torque intervention", "engine cut"},
	recording.FrontBrake: {"front brake", "brake front", "front brake pressure", "brake pressure front", "bremsdruck vorn", "bremsdruck vorne", "bremse vorn", "pression frein avant", "frein avant", "pressione freno anteriore", "freno anteriore", "presion freno delantero", "presion de freno delantero", "pression de frein avant", "freno delantero", "brake pressure", "brake press front", "front brake press", "p brake front", "bremsdruck", "brake f", "pbrake f", "brake", "f brake", "fbrake", "brake front pressure", "brake press f", "brake p f", "p brake f", "pbrake front", "pf", "p front", "brk front", "brk f", "bremse vorne", "vorderradbremse", "p bremse vorn", "press freno ant", "freno ant", "pression avant", "brake press", "remdruk voor"},
	recording.RearBrake:  {"rear brake", "brake rear", "rear brake pressure", "brake pressure rear", "bremsdruck hinten", "bremse hinten", "pression frein arriere", "frein arriere", "pressione freno posteriore", "freno posteriore", "presion freno trasero", "presion de freno trasero", "pression de frein arriere", "freno trasero", "brake press rear", "rear brake press", "p brake rear", "brake r", "pbrake r", "r brake", "rbrake", "brake rear pressure", "brake press r", "brake p r", "p brake r", "pbrake rear", "pr", "p rear", "brk rear", "brk r", "hinterradbremse", "p bremse hinten", "press freno post", "freno post", "pression arriere", "remdruk achter"},
	recording.Clutch:     {"clutch", "clutch switch", "clutch lever", "kupplung", "kupplungsschalter", "embrayage", "frizione", "embrague", "clutch position", "kupplungshebel", "clutch pos", "kupplungsweg", "kupplungsstellung", "posizione frizione", "koppeling"},
	recording.Lean:       {"lean", "lean angle", "bank angle", "roll", "roll angle", "schraglage", "schraeglage", "schraglagenwinkel", "schraeglagenwinkel", "neigung", "neigungswinkel", "angle de roulis", "inclinaison", "angle inclinaison", "inclinazione", "angolo di piega", "angolo piega", "piega", "inclinacion", "angulo de inclinacion", "angulo inclinacion", "tumbada", "rollwinkel", "roulis", "rollio", "angolo rollio", "lean angle imu", "angle", "leanangle", "bank", "phi", "imu roll", "angolo di rollio", "angle d inclinaison", "hellingshoek", "imu lean"},
	recording.RollRate:   {"roll rate", "rollrate", "gyro x", "gyro roll", "roll gyro", "gyrox", "wx", "vitesse de roulis", "velocita rollio", "velocidad de balanceo", "rate x", "rollgeschwindigkeit", "angular rate x", "omega x", "velocidad roll", "rate roll", "gyr x", "ang vel x", "angular velocity x", "rotation rate x", "gyroscope x", "rotation x", "lean rate", "wankrate", "imu gyro x", "velocita di rollio"},
	recording.PitchRate:  {"pitch rate", "pitchrate", "gyro y", "gyro pitch", "pitch gyro", "gyroy", "wy", "nickrate", "vitesse de tangage", "velocita beccheggio", "velocidad de cabeceo", "rate y", "nickgeschwindigkeit", "angular rate y", "omega y", "rate pitch", "gyr y", "ang vel y", "angular velocity y", "rotation rate y", "gyroscope y", "rotation y", "imu gyro y", "velocita di beccheggio"},
	recording.YawRate:    {"yaw rate", "yawrate", "gyro z", "gyro yaw", "yaw gyro", "gyroz", "wz", "gierrate", "vitesse de lacet", "velocita imbardata", "velocidad de guinada", "rate z", "giergeschwindigkeit", "angular rate z", "omega z", "rate yaw", "gyr z", "ang vel z", "angular velocity z", "rotation rate z", "gyroscope z", "rotation z", "imu gyro z", "velocita di imbardata", "velocidad guinada"},
	recording.AccelX:     {"accel x", "acc x", "acceleration x", "longitudinal acceleration", "long accel", "longitudinal accel", "acceleration longitudinal", "langsbeschleunigung", "laengsbeschleunigung", "ax", "g long", "long g", "acceleration longitudinale", "accelerazione longitudinale", "aceleracion longitudinal", "beschleunigung x", "beschleunigung langs", "accx", "accelx", "acc long", "inline acceleration", "g longitudinal", "longitudinal g", "a x", "long acc", "accel long", "imu accel x", "imu acc x", "accelerometer x", "x accel", "inline acc", "inline accel", "g force x", "gforce x", "acc longitudinale", "beschleunigung laengs"},
	recording.AccelY:     {"accel y", "acc y", "acceleration y", "lateral acceleration", "lat accel", "lateral accel", "acceleration lateral", "querbeschleunigung", "ay", "g lat", "lat g", "acceleration laterale", "accelerazione laterale", "aceleracion lateral", "beschleunigung y", "beschleunigung quer", "accy", "accely", "acc lat", "g lateral", "lateral g", "a y", "lat acc", "accel lat", "imu accel y", "imu acc y", "accelerometer y", "y accel", "g force y", "gforce y", "acc laterale"},
	recording.AccelZ:     {"accel z", "acc z", "acceleration z", "vertical acceleration", "vert accel", "vertical accel", "vertikalbeschleunigung", "hochbeschleunigung", "az", "acceleration verticale", "accelerazione verticale", "aceleracion vertical", "beschleunigung z", "accz", "accelz", "acc vert", "g vertical", "vertical g", "a z", "vert acc", "accel vert", "imu accel z", "imu acc z", "accelerometer z", "z accel", "g force z", "gforce z", "acc verticale", "vert g", "g vert"},
	recording.Fork:       {"fork", "fork travel", "front suspension", "fork position", "suspension front", "front travel", "gabel", "gabelweg", "federweg vorn", "federweg vorne", "fourche", "debattement fourche", "debattement avant", "forcella", "escursione forcella", "horquilla", "recorrido horquilla", "front pot", "suspension avant", "fork stroke", "susp front", "front damper", "front susp", "susp f", "fork pos", "front fork", "einfederung vorn", "corsa forcella", "sospensione anteriore", "suspension delantera", "pot front", "travel front", "voorvork", "front suspension travel"},
	recording.Shock:      {"shock", "shock travel", "rear suspension", "shock position", "suspension rear", "rear travel", "federbein", "federbeinweg", "federweg hinten", "amortisseur", "debattement amortisseur", "debattement arriere", "ammortizzatore", "escursione ammortizzatore", "amortiguador", "recorrido amortiguador", "rear pot", "suspension arriere", "shock stroke", "susp rear", "rear damper", "rear susp", "susp r", "shock pos", "rear shock", "einfederung hinten", "corsa ammortizzatore", "corsa mono", "mono", "sospensione posteriore", "suspension trasera", "pot rear", "travel rear", "damper", "schokdemper", "rear suspension travel"},
	recording.Steer:      {"steer", "steering", "steering angle", "steer angle", "lenkwinkel", "lenkung", "angle de direction", "angolo sterzo", "sterzo", "direccion", "angulo direccion", "steering position", "lenkeinschlag", "angolo di sterzo", "angulo de direccion", "stuurhoek"},
	recording.Coolant:    {"coolant", "coolant temperature", "coolant temp", "water temperature", "water temp", "wassertemperatur", "kuhlmitteltemperatur", "kuehlmitteltemperatur", "temperature eau", "temp eau", "temperatura acqua", "temp acqua", "temperatura agua", "temp agua", "engine temperature", "engine temp", "motortemperatur", "ect", "t water", "water", "temperature liquide", "watertemp", "clt", "t wasser", "t acqua", "t eau", "t agua", "twater", "kuhlwasser", "kuehlwasser", "kuhlwassertemperatur", "kuehlwassertemperatur", "temp coolant", "temp water", "engine coolant temperature", "temperatura refrigerante", "temperatura del refrigerante", "temperatura del agua", "temperatura de agua", "temperatura motor", "temperatura motore", "temperature moteur", "temperature liquide de refroidissement"},
	recording.AirTemp:    {"air temp", "air temperature", "ambient temperature", "ambient temp", "lufttemperatur", "aussentemperatur", "temperature air", "temp air", "temperatura aria", "temp aria", "temperatura aire", "temp aire", "intake air temperature", "iat", "ambient", "ansauglufttemperatur", "t air", "airtemp", "outside temperature", "intake temperature", "intake air temp", "umgebungstemperatur", "t luft", "t aria", "t aire", "tair", "oat", "luchttemperatuur"},
	recording.Lambda:     {"lambda", "lambda 1", "air fuel", "afr", "lambdawert", "equivalence", "o2", "wideband", "luftzahl", "lambda value", "lambda1", "lam", "air fuel ratio", "sonda lambda", "sonde lambda"},
	recording.Slot:       {"slot", "bar switch", "map switch", "mode", "mapping", "map", "switch position", "schalterstellung", "lenkerschalter", "map position", "riding mode", "map select", "selecteur", "mappa", "mapa", "fahrmodus", "programm", "bar position", "selector", "engine map", "map selector", "ride mode", "map number", "selettore mappa", "carto", "cartographie", "kennfeld", "kennfeldschalter", "switch", "active map", "schalter"},
	recording.LapMarker:  {"lap", "lap marker", "lap counter", "lap number", "lap count", "runde", "rundenzahler", "rundenzaehler", "tour", "numero tour", "giro", "vuelta", "beacon", "lap no", "lap trigger", "marker", "rundenmarke", "lapnumber", "lap beacon", "rundennummer", "numero giro", "numero de tour", "numero vuelta", "ir beacon", "start finish", "finish line", "lap index", "ronde"},
}

// exclude lists words that turn the meaning of a name: "GPS time accuracy" is no
// clock, "brake pressure sensor voltage" no pressure.
var exclude = wordSet("accuracy error err diff difference target soll setpoint avg average max min limit status valid quality stddev sigma predicted best last voltage volt supply age dop hdop pdop vdop ratio trim offset")

// genericSpeed are names of a speed that do not say whose it is.
var genericSpeed = map[string]bool{
	"speed": true, "velocity": true, "v": true, "geschwindigkeit": true, "velocita": true, "vitesse": true, "velocidad": true, "snelheid": true, "vehicle speed": true, "bike speed": true, "road speed": true, "wheel speed": true, "spd": true, "vel": true, "fahrgeschwindigkeit": true, "wheelspeed": true, "fahrzeuggeschwindigkeit": true,
}

// noise are words that add nothing to a name.
var noise = wordSet("the of de del della di du la le el der die das d ch channel calc filtered filt corrected corr value sig signal raw can ecu imu log act actual ist istwert meas measured 1")

func wordSet(s string) map[string]bool {
	m := map[string]bool{}
	for _, w := range strings.Fields(s) {
		m[w] = true
	}
	return m
}

// sense is one channel that a name may mean, with the place of the name in the
// channel's list.
type sense struct {
	channel string
	rank    int
}

// byPhrase finds senses by the folded name, byWords by its words in any order.
var byPhrase, byWords = func() (phrase, words map[string][]sense) {
	phrase, words = map[string][]sense{}, map[string][]sense{}
	add := func(m map[string][]sense, key string, s sense) {
		for _, o := range m[key] {
			if o.channel == s.channel {
				return
			}
		}
		m[key] = append(m[key], s)
	}
	channels := make([]string, 0, len(synonyms))
	for ch := range synonyms {
		channels = append(channels, ch)
	}
	sort.Strings(channels)
	for _, ch := range channels {
		for i, n := range append([]string{strings.ReplaceAll(ch, "_", " ")}, synonyms[ch]...) {
			add(phrase, n, sense{ch, i})
			if strings.Contains(n, " ") {
				add(phrase, strings.ReplaceAll(n, " ", ""), sense{ch, i})
				add(words, sortedWords(n), sense{ch, i})
			}
		}
	}
	return phrase, words
}()

func sortedWords(s string) string {
	w := strings.Fields(s)
	sort.Strings(w)
	return strings.Join(w, " ")
}

var accents = strings.NewReplacer("ä", "a", "ö", "o", "ü", "u", "ß", "ss", "à", "a", "á", "a", "â", "a", "ã", "a", "å", "a", "è", "e", "é", "e", "ê", "e", "ë", "e", "ì", "i", "í", "i", "î", "i", "ï", "i", "ò", "o", "ó", "o", "ô", "o", "õ", "o", "ø", "o", "ù", "u", "ú", "u", "û", "u", "ý", "y", "ñ", "n", "ç", "c", "č", "c", "š", "s", "ž", "z", "λ", "lambda", "φ", "phi", "ω", "omega")

// foldName brings a column name to the form in which the synonyms stand;
// camelCase is parted in words too.
func foldName(s string) string {
	var b strings.Builder
	prev := rune(0)
	for _, r := range s {
		switch {
		case unicode.Is(unicode.Mn, r): // combining accent of decomposed text
			continue
		case unicode.IsUpper(r) && unicode.IsLower(prev):
			b.WriteRune(' ')
			b.WriteRune(r)
		case unicode.IsLetter(r) || unicode.IsDigit(r):
			b.WriteRune(r)
		default:
			b.WriteRune(' ')
		}
		prev = r
	}
	return strings.Join(strings.Fields(accents.Replace(strings.ToLower(b.String()))), " ")
}

// match finds what a column name may mean, best first, and the unit that its
// last words state, if they are one ("speed_kmh").
func match(header string) (senses []sense, unitText string) {
	name := foldName(header)
	if s := byPhrase[name]; s != nil {
		return s, ""
	}
	words := strings.Fields(name)
	for cut := 1; cut <= 3 && cut < len(words); cut++ {
		u := unitWord(words[len(words)-cut:])
		if u == "" {
			continue
		}
		base := words[:len(words)-cut]
		phrase := strings.Join(base, " ")
		if s := byPhrase[phrase]; s != nil {
			return s, u
		}
		if genericSpeed[phrase] {
			return nil, u
		}
		if s := loose(base); s != nil {
			return s, u
		}
		if s := byMeaning(base); s != nil {
			return s, u
		}
		unitText = u
	}
	if s := loose(words); s != nil {
		return s, unitText
	}
	return byMeaning(words), unitText
}

// unitWord reads the last words of a name as a unit, "" if they are none.
func unitWord(tail []string) string {
	w := strings.Join(tail, " ")
	if u, ok := unitTails[w]; ok {
		return u
	}
	if len(tail) == 1 && oneWordUnits[w] {
		if _, ok := unit.Lookup(w); ok {
			return w
		}
	}
	return ""
}

var unitTails = map[string]string{
	"km h": "km/h", "m s": "m/s", "mps": "m/s", "m s2": "m/s2", "ms2": "m/s2", "mps2": "m/s2", "m s 2": "m/s2",
	"deg s": "°/s", "degs": "°/s", "degps": "°/s", "dps": "°/s", "deg sec": "°/s", "rad s": "rad/s", "radps": "rad/s", "rads": "rad/s",
	"degc": "°C", "deg c": "°C", "degf": "°F", "deg f": "°F", "pct": "%", "perc": "%", "e7": "1e-7°", "1e7": "1e-7°", "1 min": "1/min", "u min": "1/min", "tr min": "1/min", "giri min": "1/min",
}

var oneWordUnits = wordSet("kmh kph mph deg rad bar kpa psi mm cm rpm ms sec mbar hpa mpa knots kn kts c f k s m g v mv us pa ft celsius fahrenheit percent prozent degrees seconds millis")

// loose drops noise words and tries again, then in any order of words.
func loose(words []string) []sense {
	var kept []string
	for _, w := range words {
		if exclude[w] {
			return nil
		}
		if !noise[w] {
			kept = append(kept, w)
		}
	}
	if len(kept) == 0 || len(kept) > 6 {
		return nil
	}
	phrase := strings.Join(kept, " ")
	if s := byPhrase[phrase]; s != nil {
		return s
	}
	return byWords[sortedWords(phrase)]
}
