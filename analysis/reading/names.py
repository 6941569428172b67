"""What a column's name says: role, number or place, and unit, in the languages kiln logs are met in.

English, German, French, Spanish, Italian, Dutch, Portuguese, Danish/Norwegian/Swedish, Polish. Common words of
the trade, no source. Names only propose; ``analysis.reading.roles`` checks what the column does.
"""

import re
import unicodedata
from dataclasses import dataclass
from functools import lru_cache

# One role a line; a phrase is matched as whole words, the longest phrase first.
_WORDS = {
    "ignore": """kwh energy energie energia consumption verbrauch kw kilowatt kilowatts rate ramp_rate gradient slope
        humidity feuchte pressure druck o2 oxygen sauerstoff index idx nr no record row line id count counter samples
        heat_work heatwork cone cones kegel error_value deviation abweichung offset damper vent fan door tur
        remaining time_left time_remaining restzeit remaining_time minutes_left hours_left min_left mins_left
        left_min left_minutes time_to_go to_go rest_min temps_restant restant tiempo_restante restante
        kp ki kd pid gas rpm cost kosten battery rssi wifi
        cycles cycle relay_count hours_total cost_total cumulative wh set_rate segment_time hold_time total_time
        segment_elapsed seg_time hold_left countdown target_rate alarm_limit high_limit low_limit limit difference
        delta spread flow water""",
    "room": """room ambient amb board board_temp raum raumtemperatur room_temp umgebung umgebungstemperatur ambiante
        ambiente ambiance omgeving kamer omgevingstemperatur cold_junction cj cjc internal internal_temp outside
        aussen aussentemperatur exterieur temperature_ambiante temp_ambiente shop studio_temp housing controller_temp
        case electronics ref_junction reference_junction rum omgivning pokojowa otoczenia piece salle local sala
        enclosure cabinet exterior air luft hall workshop werkstatt atelier shed garage barn basement cellar keller
        loods schuppen taller officina""",
    "average": """average avg mean mittel mittelwert durchschnitt moyenne media promedio gemiddelde gemiddeld medel
        srednia medio average_temp mean_temp""",
    "set point": """set_point setpoint sp sv set target soll sollwert solltemperatur consigne consigna setpunt gewenst
        doel doeltemperatuur obiettivo impostata impostato riferimento temp_set set_temp target_temp programme_temp
        program_temp wsp rsp tsp borvarde bor zadana wanted desired setpt setp objetivo sw soll_temp setval set_value
        program_value programmed psp requested demand_temp temperature_setpoint""",
    "output": """output out power duty pwr leistung stellgrad stellgroesse ausgang heizleistung puissance sortie
        potencia salida potenza uscita vermogen uitgang pct percent demand heat heating heizung relay relais rele ssr
        element elements on_off onoff heater chauffe effekt moc mv op output_power load_pct ausgangsleistung
        stellwert stellsignal y_out cv co power_level""",
    "volts": """volts volt voltage mains supply spannung netzspannung netz tension voltaje tensione spanning netspanning
        line_voltage mains_voltage supply_voltage vac u v spaenning napiecie vrms uac supply_volts""",
    "amps": """amps amp ampere amperes current load_current strom stromstaerke courant intensite corriente intensidad
        corrente stroom i iac irms line_current prad strom_l amperage load_amps""",
    "segment": """segment seg step stage schritt abschnitt etape palier paso etapa fase passo stap segmento prog_step
        program_segment segm seg_no ramp_no segment_no programmschritt step_no segmentnr phase_no steg etap
        programme_step stadium""",
    "stage text": """state status st mode zustand betriebsart etat estado stato toestand modus phase programme
        program programm program_name kiln_state stan segment_type type ramp_hold""",
    "programme": """programme program programm program_name programme_name recipe schedule programa programma rezept
        recette schema firing_programme firing_program programmname prog""",
    "message": """message messages msg error errors alarm alarms event events fehler meldung ereignis erreur mensaje
        messaggio errore melding fout note notes remark remarks comment comments warning warnings hinweis bemerkung
        fault faults text info err""",
    "time": """time tm timestamp datetime date_time elapsed el elapsed_time zeit laufzeit zeitstempel temps_ecoule
        duree heure tiempo tempo tijd tid czas run_time runtime t_s t_min secs seconds sec minutes minuten mins
        hours stunden stamp epoch unix unixtime unix_time ts zeitpunkt horodatage fecha_hora data_ora tijdstip duration
        dauer firing_time since_start utc utc_time local_time brennzeit x mm_ss hh_mm_ss""",
    "date": """date day datum tag fecha data jour dato dag dia giorno data_ datum_ calendar_date local_date""",
    "clock": """clock time_of_day uhrzeit hora ora klokslag clock_time heure_du_jour tod klockslag godzina uur
        wall_clock tageszeit klok hour_of_day""",
    "zone": """temp temperature temperatur temperatuur temperatura temps zone zonen tc thermocouple pv actual ist
        istwert isttemperatur mesure mesuree lectura reading kiln ofen oven four horno forno kamertemp measured process
        value degrees t z ch channel kanal sensor probe fuehler sonde sonda chamber kiln_temp process_value present
        werkelijk werkelijke_temperatuur gemessen istwerte actual_temp current_temp temp_actual top middle bottom mid
        oben mitte unten haut milieu bas arriba medio_ abajo alto centro basso boven midden onder front back left right
        upper lower centre center vorne hinten tempc tempf temp_c temp_f arvo erwert""",
}
_PLACES = {
    "top": "top upper oben haut arriba alto superior superiore boven sommet topp oberteil",
    "middle": "middle mid centre center mitte milieu medio centro midden mitten centrale central",
    "bottom": "bottom lower unten bas abajo basso inferior inferiore onder bunn unterteil",
    "front": "front vorne avant vorn",
    "back": "back rear hinten arriere",
    "left": "left links gauche izquierda sinistra",
    "right": "right rechts droite derecha destra",
}
_UNITS = {
    "C": "c degc deg_c celsius °c ºc grad_c gradc grad centigrade",
    "F": "f degf deg_f fahrenheit °f ºf",
    "K": "kelvin",
    "%": "% pct percent prozent pourcent",
    "V": "v volt volts vac",
    "A": "a amp amps ampere amperes",
    "s": "s sec secs second seconds sek sekunden segundos secondes",
    "ms": "ms msec milliseconds millis",
    "min": "min mins minute minutes minuten minuti minutos mn",
    "h": "h hr hrs hour hours std stunden heures horas ore uur",
    "kW": "kw",
    "W": "w watt watts",
    "kWh": "kwh",
}
_UNIT_OF = {word: unit for unit, words in _UNITS.items() for word in words.split()}
_PLACE_OF = {word: place for place, words in _PLACES.items() for word in words.split()}
_ROLE_OF = {phrase.strip("_"): role for role, words in _WORDS.items() for phrase in words.split()}
_BRACKETS = re.compile(r"[(\[{<]\s*([^)\]}>]*?)\s*[)\]}>]")
_SPLIT = re.compile(r"[^a-z0-9°º%]+")
_LONGEST = 3
_LONGEST_UNIT = 24
_LONGEST_NAME = 80
_UNIT_ROLE = {
    "C": "zone",
    "F": "zone",
    "K": "zone",
    "%": "output",
    "s": "time",
    "min": "time",
    "h": "time",
    "ms": "time",
}
# A word of these roles says what the number is of, whatever else the name says ("zone 1 output", "set temp").
_ORDER = (
    "room",
    "set point",
    "average",
    "output",
    "volts",
    "amps",
    "segment",
    "programme",
    "message",
    "time",
    "date",
    "clock",
)


@dataclass(frozen=True, slots=True)
class NameSays:
    """What a name says. ``number`` is 1, 2 ... or None; ``place`` such as ``top``; ``word`` what gave it away."""

    role: str | None
    number: int | None = None
    place: str | None = None
    unit: str | None = None
    word: str = ""


@lru_cache(maxsize=4096)
def plain(name: str) -> str:
    """Return a name in lower case without accents and with the German ss."""
    text = unicodedata.normalize("NFKD", name.replace("ß", "ss"))
    return "".join(char for char in text if not unicodedata.combining(char) or char in "°º").lower()


@lru_cache(maxsize=4096)
def unit_of(text: str) -> str | None:
    """Return the unit a short text names (``°C``, ``[F]``, ``min``), or None."""
    if not text or len(text) > _LONGEST_UNIT:
        return None
    bare = plain(text).strip("()[]{}<> .").replace(" ", "_")
    return _UNIT_OF.get(bare) or _UNIT_OF.get(bare.replace("_", "")) or _UNIT_OF.get(bare.removeprefix("in_"))


@lru_cache(maxsize=4096)
def what_name_says(name: str) -> NameSays:
    """Take a column's name apart. Nothing recognised gives role None."""
    unit = None
    name = name[:_LONGEST_NAME]
    text = re.sub(r"(?<=[a-z])(?=[A-Z][a-z])", " ", name)
    low = plain(text)
    for match in _BRACKETS.finditer(low):
        unit = unit or unit_of(match[1])
    low = _BRACKETS.sub(lambda m: " " if unit_of(m[1]) else f" {m[1]} ", low)
    low = re.sub(r"(?<=[a-z°%])(?=\d)", " ", low)
    low = re.sub(r"(?<=\d)(?=[a-z°%])", " ", low)
    words = [word for word in _SPLIT.split(low) if word]
    number = next((int(word) for word in reversed(words) if word.isdigit() and len(word) <= 2), None)
    words = [word for word in words if not word.isdigit()]
    place = next((_PLACE_OF[word] for word in words if word in _PLACE_OF), None)
    if len(words) > 1 and unit is None and (tail := _UNIT_OF.get(words[-1])):
        unit, words = tail, words[:-1]
    if words and number is None and words[-1] in {"l1", "l2", "l3"}:
        number = int(words.pop()[1])
    elif len(words) > 1 and words[-1] == "l" and number is not None:
        words.pop()
    elif len(words) > 1 and number is None and words[-1] in {"a", "b", "c", "d"}:
        number = "abcd".index(words.pop()) + 1
    words = [part for word in words for part in _apart(word)]
    roles = _roles_of(words)
    if unit in {"s", "min", "h", "ms"} and roles.keys() <= {"zone", "time", "clock"}:
        return NameSays("time", number, None, unit, next(iter(roles.values()), unit))
    role, word = _strongest(roles, unit)
    return NameSays(role, number, place, unit, word)


def _apart(word: str) -> list[str]:
    """Split compounds such as ``raumtemperatur`` that are no word of the list themselves."""
    if word in _ROLE_OF or word in _UNIT_OF or word in _PLACE_OF:
        return [word]
    for tail in ("temperatur", "temperature", "temperatuur", "temp", "wert", "leistung", "strom", "spannung"):
        head = word.removesuffix(tail)
        if head not in _ROLE_OF and head not in _PLACE_OF:
            head = head.removesuffix("s")
        if head and head != word and (head in _ROLE_OF or head in _PLACE_OF):
            return [head, tail]
    return [word]


def _roles_of(words: list[str]) -> dict[str, str]:
    """Return role -> phrase for all phrases found, longest first, each word used once."""
    free = [True] * len(words)
    found: dict[str, str] = {}
    for length in range(min(_LONGEST, len(words)), 0, -1):
        for at in range(len(words) - length + 1):
            if all(free[at : at + length]):
                phrase = "_".join(words[at : at + length])
                role = _ROLE_OF.get(phrase)
                if role is not None:
                    found.setdefault(role, phrase.replace("_", " "))
                    free[at : at + length] = [False] * length
    return found


def _strongest(found: dict[str, str], unit: str | None) -> tuple[str | None, str]:
    """Choose the role that says what the number is, and the word that gave it away; the unit comes first."""
    order: tuple[str, ...] = (*_ORDER, "stage text", "zone")
    if unit in {"kW", "W", "kWh"}:
        return "ignore", unit
    if unit in {"V", "A"}:
        role = "volts" if unit == "V" else "amps"
        return role, found.get(role, unit)
    if unit in {"C", "F", "K"}:
        order = ("room", "set point", "average", "zone")
    elif "ignore" in found and not ({"zone", "set point", "output"} & found.keys() and found["ignore"] in {"no", "nr"}):
        return "ignore", found["ignore"]
    role = next((role for role in order if role in found), "")
    if role:
        return role, found[role]
    return _UNIT_ROLE.get(unit or ""), unit or ""
