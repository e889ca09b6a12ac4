package intake

import (
	"maps"
	"slices"
	"strings"

	"cornerwright/internal/recording"
)

// A logger's user shortens and joins words as he likes: "Pressione freno ant.",
// "Frein AV", "Druck Bremse vo". Where no name of the list fits, the words are
// read for what they stand for, and a channel is taken whose meaning they make up
// wholly: one word that is not understood, and nothing is claimed.

// meant gives what a word stands for in English, German, French, Italian,
// Spanish, Portuguese and Dutch, as they are shortened (common practice).
var meant = func() map[string]string {
	m := map[string]string{}
	for what, words := range map[string]string{
		"front":          "front frt fr vorn vorne vo vorder vorderer avant av anteriore ant delantero delantera delant del dianteiro dianteira voor",
		"rear":           "rear rr back hinten hinter hi hinterer arriere ar posteriore post trasero trasera tras traseiro traseira achter",
		"wheel":          "wheel whl rad roue ruota rueda roda wiel",
		"front wheel":    "vorderrad voorwiel",
		"rear wheel":     "hinterrad achterwiel",
		"speed":          "speed spd velocity vel geschwindigkeit geschw vitesse vit velocita velocidad velocidade snelheid",
		"turns":          "rpm revs giri drehzahl regime tours tr vueltas revoluciones rotacoes toerental n",
		"brake":          "brake brk bremse brems frein freno freio rem",
		"pressure":       "pressure press prs druck pression pressione presion pressao druk p",
		"brake pressure": "bremsdruck remdruk",
		"gps":            "gps gnss satellite",
		"heading":        "heading hdg course kurs richtung cap direction direzione rotta rumbo direccion direcao bearing track azimuth azimut koers",
		"engine":         "engine eng motor motore moteur mot",
		"plate":          "plate butterfly farfalla papillon drosselklappe klappe mariposa borboleta gasklep throttle",
		"grip":           "grip accelerator acceleratore gas gaz gasgriff poignee manopola puno accelerateur acelerador twist demand",
		"position":       "position pos stellung posizione posicion posicao percentuale",
		"water":          "water wasser acqua eau agua coolant kuhlmittel kuehlmittel kuhlwasser kuehlwasser refrigerante refroidissement koelwater h2o",
		"air":            "air luft aria aire ar ambient umgebung ambiente exterieur",
		"temperature":    "temp temperature temperatur temperatura tmp t",
		"fork":           "fork gabel fourche forcella horquilla garfo voorvork",
		"shock":          "shock damper federbein ammortizzatore amortisseur amortiguador amortecedor mono monoshock monoammortizzatore schokdemper",
		"suspension":     "suspension susp sospensione suspensao federung vering",
		"travel":         "travel weg federweg hub escursione corsa debattement course recorrido curso stroke veerweg",
		"lean":           "lean bank schraglage schraeglage piega inclinazione inclinaison inclinacion inclinacao neigung",
		"roll":           "roll rollio roulis balanceo rolagem rollen",
		"pitch":          "pitch beccheggio nick nicken tangage cabeceo arfagem",
		"yaw":            "yaw imbardata gier gieren lacet guinada guinada",
		"angle":          "angle ang winkel angolo angulo hoek",
		"rate":           "rate rateo gyro gyroscope giroscopio gyr angular winkelgeschwindigkeit",
		"acceleration":   "acceleration accel acc acel beschleunigung accelerazione aceleracion aceleracao versnelling g",
		"along":          "longitudinal longitudinale long longit langs laengs x",
		"across":         "lateral laterale lat quer trasversale transversal dwars y",
		"gear":           "gear gang marcia marcha rapport versnelling cambio",
		"cut":            "cut taglio reduction riduzione reduccion reducao reduktion reduzierung intervention intervento eingriff",
		"torque":         "torque coppia drehmoment moment couple par koppel tq trq",
		"clutch":         "clutch kupplung embrayage frizione embrague embreagem koppeling",
	} {
		for _, w := range strings.Fields(words) {
			// A word that stands for two things keeps both, parted by a bar.
			if m[w] != "" && m[w] != what {
				what := m[w] + "|" + what
				m[w] = what
				continue
			}
			m[w] = what
		}
	}
	return m
}()

// made gives the channel that a set of meanings makes up, in alphabetical order.
var made = func() map[string]string {
	m := map[string]string{}
	for ch, sets := range map[string][]string{
		recording.FrontSpeed: {"front wheel", "front speed", "front wheel speed", "front wheel turns"},
		recording.RearSpeed:  {"rear wheel", "rear speed", "rear wheel speed", "rear wheel turns"},
		recording.FrontBrake: {"front brake", "front brake pressure", "front brake position"},
		recording.RearBrake:  {"rear brake", "rear brake pressure", "rear brake position"},
		recording.GPSSpeed:   {"gps speed"},
		recording.GPSHeading: {"gps heading", "gps heading angle"},
		recording.RPM:        {"engine turns", "engine speed"},
		recording.Throttle:   {"plate position", "plate angle", "plate"},
		recording.Grip:       {"grip position", "grip angle", "grip", "grip plate", "grip plate position"},
		recording.Coolant:    {"water temperature", "engine water temperature", "engine temperature"},
		recording.AirTemp:    {"air temperature"},
		recording.Fork:       {"fork", "fork travel", "fork position", "front suspension", "front suspension travel", "front suspension position", "front travel", "front fork travel"},
		recording.Shock:      {"shock", "shock travel", "shock position", "rear suspension", "rear suspension travel", "rear suspension position", "rear travel", "rear shock travel"},
		recording.Lean:       {"lean", "lean angle", "roll angle"},
		recording.RollRate:   {"roll rate", "roll speed", "rate roll speed", "lean rate"},
		recording.PitchRate:  {"pitch rate", "pitch speed", "rate pitch speed"},
		recording.YawRate:    {"yaw rate", "yaw speed", "rate yaw speed"},
		recording.AccelX:     {"acceleration along"},
		recording.AccelY:     {"acceleration across"},
		recording.Gear:       {"gear", "gear position", "engine gear"},
		recording.Cut:        {"torque cut", "engine torque cut", "engine cut"},
		recording.Clutch:     {"clutch", "clutch position"},
	} {
		for _, s := range sets {
			m[sortedWords(s)] = ch
		}
	}
	return m
}()

// rankByMeaning stands behind every name of the lists.
const rankByMeaning = 1000

// byMeaning reads a folded name word by word; nil where a word is not understood
// or the meanings make up no channel, or more than one.
func byMeaning(words []string) []sense {
	sets := []map[string]bool{{}}
	for _, w := range words {
		if exclude[w] {
			return nil
		}
		what, ok := meant[w]
		if !ok {
			if noise[w] {
				continue
			}
			return nil
		}
		var next []map[string]bool
		for _, alternative := range strings.Split(what, "|") {
			for _, s := range sets {
				s = maps.Clone(s)
				for _, x := range strings.Fields(alternative) {
					s[x] = true
				}
				next = append(next, s)
			}
		}
		if len(next) > 16 {
			return nil
		}
		sets = next
	}
	found := ""
	for _, s := range sets {
		ch := made[strings.Join(slices.Sorted(maps.Keys(s)), " ")]
		if ch == "" {
			continue
		}
		if found != "" && found != ch {
			return nil
		}
		found = ch
	}
	if found == "" {
		return nil
	}
	return []sense{{found, rankByMeaning}}
}
