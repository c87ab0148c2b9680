package look

import (
	"slices"
	"strings"
	"unicode"

	"yardheat/ingest/series"
)

// The words of headers, without accents, in English, German, French, Spanish,
// Italian, Dutch and Portuguese (common practice, no source). A word of four
// letters or more counts where a longer one begins or ends with it
// ("Milchtemperatur"), one of six wherever it stands, a shorter one alone.
var (
	wordsTemperature = list(`temp tmp temperatur temperature temperatura temperatuur celsius fahrenheit degc degf vorlauf rucklauf ruecklauf
 dewpoint taupunkt rosee dauwpunt thermo`)
	wordsFlow     = list(`flow flowrate durchfluss durchsatz volumenstrom debit caudal portata vazao debiet gpm lpm lmin`)
	wordsVolume   = list(`volume volumen litre liter litres liters watermeter water meter wasserzahler wassermenge menge zahlerstand verbrauch volumo compteur contador contatore watermeter consumo`)
	wordsPower    = list(`power leistung puissance potencia potenza vermogen`)
	wordsEnergy   = list(`energy energie energia kwh stromzahler arbeit elektrozahler`)
	wordsPressure = list(`pressure druck pression presion pressione druk pressao`)
	wordsLevel    = list(`level fullstand fuellstand niveau nivel livello peil`)
	wordsOnOff    = list(`on status state valve ventil vanne valvula valvola klep relay relais rele running run betrieb marche schutz contactor on_off onoff`)
	wordsCounter  = list(`counter total totaliser totalizer cumulative zahler zaehler zahlerstand compteur contador contatore teller index meter sum pulses impulse`)
	wordsMean     = list(`avg average mean mittel mittelwert moyenne moyen media medio gemiddelde gem promedio durchschnitt`)
	wordsIndex    = list(`# no nr num number record rec row line index id seq sample sequence nummer lfd satz zeile numero ligne fila riga rij entry scan lp`)
	wordsTime     = list(`time elapsed seconds second secs minutes hours uptime runtime laufzeit zeit temps duree tiempo tempo tijd t since sec millis`)
	wordsHumidity = list(`hum humid humidity rh feuchte feuchtigkeit luftfeuchte humidite humedad umidita vochtigheid umidade humin`)

	wordsUnit   = list(`unit units einheit einheiten unite unites unidad unidades unita eenheid eenheden unidade`)
	wordsIn     = list(`in inlet input entry entering eintritt eingang ein entree entrada ingresso entrata inlaat ingang`)
	wordsOut    = list(`out outlet output exit leaving austritt ausgang aus sortie salida uscita uitlaat uitgang uit saida`)
	wordsSupply = list(`supply vorlauf depart impulsion mandata aanvoer ida flowtemp`)
	wordsReturn = list(`return rucklauf ruecklauf retour retorno ritorno`)

	wordsSetpoint   = list(`setpoint set sp sollwert soll consigne consigna setpunt target zieltemperatur`)
	wordsLoop       = list(`loop coil yard ground pipe erdkreis schlaufe schleife rohrschlange boucle serpentin serpentina lazo lus slinger kompostkreis solekreis kreislauf circuito`)
	wordsBed        = list(`bed compost kompost mist einstreu bedding litter litiere fumier cama estiercol lettiera letame strooisel mest bodem composto`)
	wordsSlab       = list(`slab concrete beton betonplatte dalle losa platea betonvloer laje`)
	wordsPlate      = list(`plate phe exchanger hx warmetauscher waermetauscher plattentauscher warmeubertrager echangeur intercambiador scambiatore wisselaar permutador hrv recovery ruckgewinnung`)
	wordsGas        = list(`gas refrigerant hotgas heissgas kaltemittel kaeltemittel refrigerante frigorigene koudemiddel condenser verflussiger`)
	wordsMilk       = list(`milk milch lait leche latte melk leite`)
	wordsIce        = list(`ice eis eiswasser glacee helada ghiacciata ijswater gelada chilled`)
	wordsTank       = list(`tank cylinder buffer store vessel speicher boiler puffer ballon cuve deposito serbatoio accumulo vat tanque acumulador`)
	wordsWash       = list(`wash cip rinse reinigung spulung spuel spul wasch waschen lavage lavado lavaggio lavagem reiniging spoel`)
	wordsMains      = list(`mains coldfeed cold feed kaltwasser froide fria fredda koud koudwater makeup stadtwasser leitungswasser`)
	wordsHotUse     = list(`hotwater warmwasser brauchwasser chaude caliente calda warmwater tapwater dhw acs quente`)
	wordsOutdoor    = list(`outdoor outside aussen aussentemperatur exterieur exterior esterno esterna buiten buitentemperatuur ambiente_esterno weather`)
	wordsAir        = list(`air ambient room barn house shed luft raum stall stalltemperatur ambiante aire aria lucht stallucht etable establo stalla ambiente ar`)
	wordsCompressor = list(`compressor kompressor verdichter compresseur compresor compressore`)
	wordsElement    = list(`element immersion heater heizstab heizung resistance resistencia resistenza verwarmingselement elektroheizung`)
	wordsPump       = list(`pump pumpe pompe bomba pompa pomp`)
	wordsSolar      = list(`solar pv photovoltaik photovoltaic solaire fotovoltaica zonne inverter wechselrichter`)
	wordsImport     = list(`import bezug netzbezug soutirage importacion prelievo afname`)
	wordsExport     = list(`export einspeisung injection exportacion immissione teruglevering`)
	wordsSuction    = list(`suction saugdruck saug aspiration aspiracion aspirazione zuigdruk low_side evaporator verdampfer`)
	wordsDischarge  = list(`discharge hochdruck refoulement descarga mandata persdruk high_side head`)
)

func list(words string) []string { return strings.Fields(words) }

var plainLetters = strings.NewReplacer("ä", "a", "ö", "o", "ü", "u", "ß", "ss", "é", "e", "è", "e", "ê", "e", "ë", "e", "á", "a", "à", "a", "â", "a", "ã", "a",
	"í", "i", "ì", "i", "î", "i", "ó", "o", "ò", "o", "ô", "o", "õ", "o", "ú", "u", "ù", "u", "û", "u", "ç", "c", "ñ", "n")

// header is a column's name, cut into words.
type header struct {
	tokens []string
}

// tokens are the words of a name, lower case, parted where letters, digits and
// case change.
func tokens(name string) []string {
	var out []string
	var word []rune
	flush := func() {
		if len(word) > 0 {
			out = append(out, plainLetters.Replace(strings.ToLower(string(word))))
			word = word[:0]
		}
	}
	var last rune
	for _, r := range name {
		switch {
		case !unicode.IsLetter(r) && !unicode.IsDigit(r):
			flush()
		case unicode.IsDigit(r) != unicode.IsDigit(last), unicode.IsUpper(r) && unicode.IsLower(last) && len(word) > 1: // "kWh" is one
			flush()
			word = append(word, r)
		default:
			word = append(word, r)
		}
		last = r
	}
	flush()
	return out
}

func newHeader(name string) header {
	return header{tokens: tokens(name)}
}

// has gives the first of the words that the header holds, "" if none.
func (h header) has(words []string) string {
	for _, w := range words {
		if slices.ContainsFunc(h.tokens, func(t string) bool { return holds(t, w) }) {
			return w
		}
	}
	return ""
}

func holds(token, word string) bool {
	switch {
	case token == word:
		return true
	case len(word) >= 6:
		return strings.Contains(token, word)
	case len(word) >= 4:
		return strings.HasPrefix(token, word) || strings.HasSuffix(token, word)
	}
	return false
}

func (h header) any(lists ...[]string) bool {
	return slices.ContainsFunc(lists, func(l []string) bool { return h.has(l) != "" })
}

// isTemperature tells whether a column holds temperatures, by its unit or,
// where it has none, by its name.
func isTemperature(name, unit string) bool {
	if unit != "" {
		u, ok := series.ParseUnit(unit)
		return ok && u.Class == series.Temperature
	}
	h := newHeader(name)
	if len(h.tokens) > 1 && h.tokens[0] == "t" && !h.any(wordsTime[:1]) { // "T1", "T out"
		return true
	}
	return h.any(wordsTemperature)
}

func isIndexName(name string) bool {
	if strings.TrimSpace(name) == "#" {
		return true
	}
	h := newHeader(name)
	return len(h.tokens) > 0 && len(h.tokens) <= 3 && slices.Contains(wordsIndex, h.tokens[0]) && !h.any(wordsCounter[:3])
}

// isUnitName tells whether a column holds the units of the one beside it.
func isUnitName(name string) bool {
	t := tokens(name)
	return len(t) > 0 && len(t) <= 2 && slices.Contains(wordsUnit, t[len(t)-1])
}

func isTimeName(name string) bool    { return name == "" || newHeader(name).any(wordsTime) }
func isCounterName(name string) bool { return newHeader(name).any(wordsCounter) }
func isMeanName(name string) bool    { return newHeader(name).any(wordsMean) }
func isStateName(name string) bool {
	return newHeader(name).any(wordsOnOff, wordsPump, wordsCompressor, wordsElement)
}
