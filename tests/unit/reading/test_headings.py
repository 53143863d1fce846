"""Headings as dynos and recorders of five countries print and shorten them, by the channel they name."""

import pytest

from pullbook.vocabulary.naming import understand
from pullbook.vocabulary.units_text import unit_of

HEADINGS = {
    "rpm": (
        "Engine speed|Eng Spd|EngSpd [rpm]|n [min-1]|N_ENG|Motor rpm|Crankshaft speed|Crank speed (1/min)|"
        "Eng. rev.|Revs/min|Tacho|Tachometer|RPM (1/min)|Engine Revs|Shaft speed [rpm]|Brake speed [rpm]|E-RPM|"
        "Motordrehzahl|Drehz.|Drehzahl n|n_Motor [U/min]|nMot|Mot.drehz.|Motordrehz. 1/min|KW-Drehzahl|"
        "Kurbelwellendrehz.|Umdrehungen/min|Umdr.|Touren|U/min|Motortouren|Régime mot.|Reg. moteur|"
        "Régime vilebrequin|Tr/min|Nb tours/min|Vit. moteur tr/mn|Vitesse vilebrequin|N moteur (tr/min)|"
        "Rotation moteur|RPM motor|r.p.m.|Vueltas motor|Rég. motor|Régimen cigüeñal|Vel. giro|Vel. de giro [rpm]|"
        "Rev/min|Velocidad de giro|Velocidad cigüeñal|Giri/min|Giri mot.|Numero giri|N° giri|Num. giri|Nr. giri|"
        "n. giri/min|Giri al minuto|Regime di rotazione|Giri albero motore|Velocità angolare [giri/min]|"
        "Regime giri"
        "|n / min^-1|Drehzahl/min-1|RPM x 1000|rpm_engine|omega [rad/s]|ω (rad/s)"
    ),
    "torque_nm": (
        "Torque Nm|Tq.|Engine Tq|TRQ|Brake trq|Load (Nm)|Torque (obs)|Dyno torque|Flywheel torque|Net torque|"
        "Drehmom.|Md [Nm]|M_d|Mot.moment|Moment Nm|Bremsmoment|Kurbelwellenmoment|Wellenmoment|Effektivmoment|"
        "M (Nm)|Couple moteur m.kg|Cple mot.|Couple frein|Couple au vilebrequin|C (N.m)|Couple brut|Couple net|"
        "Couple instantané|Par motor (mkg)|Par efectivo|Par freno|Par de torsión|Momento motor|Momento torsor|"
        "Momento de giro|Torque motor|Coppia mot.|Coppia (kgm)|Momento torcente|Momento motore|Coppia al freno|"
        "Coppia effettiva|Coppia all'albero|Cp [Nm]|Coppia istantanea"
        "|Cpl|Cpp|C. motrice|M_Mot|T_brake"
        "|TORQUE-NM|torque.nm|T [Nm]|Moment in mkg|M / N m"
    ),
    "power_kw": (
        "Power|Pwr kW|BHP|Horsepower|HP obs|Brake HP|Flywheel hp|Output (kW)|Leist.|Leistung kW|Nutzleistung|"
        "Effektivleistung|Bremsleistg.|Mot.leist.|N_e [PS]|Pe (kW)|Puiss. (ch)|Puissance effective|Puiss mot.|"
        "P (ch)|Puissance frein|CV|ch|Pot. motor|Potencia efectiva|Potencia CV|Pot. (CV)|Potencia freno|Potenza CV|"
        "Pot. mot.|Potenza effettiva|P.eff. [CV]|Cavalli|Potenza al freno"
        "|kW-Leistung|Potenza in CV|P / kW"
        "|Pce|Observed power kW|Observed power_KW|Output power kW|Overall kW"
    ),
    "advance_deg": (
        "Ign timing|Spark timing|Spark Adv.|Ign. Adv [deg]|Total advance|Adv. (deg)|Advance angle|Crank advance|"
        "Timing (° BTDC)|Timing BTDC|Spark deg BTDC|Ign. angle|Timing light|Zündung|Zünd. [° v. OT]|ZW|"
        "Zündwinkel °KW|Zündzeitp.|Frühzünd.|Vorzünd.|Zündverst.|ZZP v. OT|Zündvoreilung|Zündzeitpkt.|Avance|"
        "Av. all.|Avance à l'all.|Angle avance|Avance (° vil.)|Avance totale|Point allumage|Calage allumage|"
        "Avance encend.|Av. enc.|Ángulo de avance|Ángulo avance|Puesta a punto|Avance chispa|Avance de chispa|"
        "Punto de encendido|Anticipo acc.|Ant. accensione|Angolo anticipo|Angolo d'anticipo|Anticipo [gradi]|"
        "Anticipo totale|Fase accensione|Angolo di accensione|Messa in fase"
    ),
    "coolant_c": (
        "Coolant|Water T|T_water|Coolant T.|ECT °C|Water out|Coolant out temp|Eng. temp|Engine temp [C]|Motortemp.|"
        "Wassertemp.|T_Wasser|Kühlw.-Temp.|KWT [°C]|KMT|Kühlm.temp|Wasser °C|T. eau|T°eau|Temp eau moteur|Eau (°C)|"
        "Temp. liquide refr.|LDR|Temp. moteur|T. agua|Temp. refrig.|Temp agua motor|Líquido refrigerante|"
        "Refrigerante °C|Temp. motor|T. H2O|Temp. H2O|Temp acqua|T.acqua|Acqua °C|Temp. motore|Temp. refrigerante|"
        "T liquido|Temp. liquido raffr."
    ),
    "oil_c": (
        "Oil|Oil T|T_oil|Oil temp.|Sump|Oil sump temp|EOT|Öl|Öltemp|T Öl|T_Öl|T-Öl [°C]|Motoröltemp.|Ölsumpf|"
        "Huile °C|T. huile|T°huile|Temp huile|Carter huile|Aceite|T. aceite|Temp. del aceite|T_aceite|Olio|T.olio|"
        "Temp. olio motore|T olio °C|Coppa olio"
    ),
    "inlet_c": (
        "IAT|Intake temp|Air temp|Inlet T|T_air in|Carb. air|Air in temp|Ansaugluft °C|Ansaugt.|T_Ansaug|"
        "Luft-Temp.|Lufttemp.|Ansaugl.-Temp.|T. air adm.|T° air|Temp. admission|Air °C|Air adm.|T. aire|"
        "Temp. aire adm.|Aire °C|T. admisión|T aria|Temp. aria asp.|Aria aspiraz.|T. asp.|Aria °C"
        "|T Luft|Air admis"
    ),
    "exhaust_c": (
        "EGT 1|Exh. temp|EGT cyl 1|Exhaust temp 1|T_exh|Abgast.|AGT|T Abgas|Abgas °C|T. échap.|T° échappement|"
        "Temp gaz éch.|Gaz échap.|T. gases|Temp. gases escape|T escape|Temp. esc.|T scarico|Temp. gas scarico|"
        "Gas scarico|T. fumi|Fumi °C"
    ),
    "lambda": (
        "λ|Lambda [-]|AFR|A/F|Air/fuel|Wideband|Lambdawert|Luftverh.|Lambda-Wert|Lambda 1|Valeur lambda|"
        "Sonde lambda|Valor lambda|Sonda lambda|Valore lambda|Titolo|Rapporto aria/benzina|Relación aire/combustible|"
        "Rapport air/carburant|Rapport air-essence"
    ),
    "map_kpa": (
        "MAP kPa|Inlet press|Manifold abs. press.|Man. press|Intake pressure|Saugrohr-Druck|Saugrohrdr.|p_Saug|"
        "Ansaugdruck|Press. collecteur|P. adm.|Pression adm.|P. colector|Presión adm.|Pres. colector|P. coll.|"
        "Press. collettore|Press. asp.|Pressione aspiraz."
    ),
    "throttle_pct": (
        "TPS|Thr. pos|Throttle %|Throttle angle|Pedal|Butterfly|Drosselkl.|DKW|Drosselkl.-Winkel|Gaspedal %|DK %|"
        "Pos. papillon|Papillon %|Ouv. papillon|Gaz|Poignée|Poignée de gaz|Mariposa %|Acel. %|Pos. acelerador|"
        "Apert. mariposa|Gas %|Puño de gas|Farfalla %|Ap. farfalla|Pos. acceleratore|Manopola gas|Gas"
    ),
    "knock": (
        "Knock|Knock level|Knock volts [V]|Klopfsensor|Klopfsignal V|Klopfst.|Klopfzahl|Klingeln|Cliquetis|"
        "Capteur cliquetis|Détonation|Sensor de picado|Detonación|Picado biela|Detonazione|Sensore detonazione|"
        "Battito"
    ),
    "baro_kpa": (
        "Baro|Atm. press|Atmospheric pressure kPa|Air pressure [hPa]|Cell pressure|Station pressure|Luftdruck mbar|"
        "Atm. Druck|Umg.druck|Aussendruck|P. atmo|Pression atm.|Pression baro|Pression air [hPa]|Presión atm.|"
        "Presión barométrica|P. atm.|Press. atm.|Pressione barometrica|Pressione ambiente|Press. amb."
    ),
    "humidity_pct": (
        "Humidity %|Hum.|RH %|Rel. hum. (%)|Air humidity|Luftfeuchte %|rF [%]|r.F.|rel. F.|Feuchte|Hygro %|HR %|"
        "Humidité rel.|Hum. rel. %|Humedad rel.|HR|UR %|Umid. rel.|Umidità %"
    ),
    "roller_rpm": (
        "Roller rpm|Roll speed rpm|Drum [rpm]|Roller revs|Rollendrehz.|n_Rolle|Rolle U/min|Walze 1/min|"
        "Rouleau tr/min|Rég. rouleau|Tours rouleaux|Rodillo rpm|Vueltas rodillo|RPM rodillos|Giri rulli|Giri rullo|"
        "Rullo giri/min|Tamburo giri/min|Tambour tr/min|Tambor rpm|Raddrehzahl [1/min]"
        "|Vel. rodillo|Vel. rullo"
    ),
    "none": (
        "Road speed km/h|Speed mph|Speed [km/h]|Geschwindigkeit|v [km/h]|Vitesse km/h|Velocidad km/h|Velocità km/h|"
        "Gear|Gang|Rapport|Marcha|Marcia|Oil pressure|Öldruck bar|Pression huile|Presión aceite|Press. olio|"
        "Fuel pressure|Benzindruck|Battery V|Batterie|Injection time ms|Einspritzzeit ms|Temps injection ms|"
        "Tiempo inyección|Tempo iniezione|Dwell ms|Schließwinkel °|Fuel flow|Verbrauch|Fuel temp|Diff temp|"
        "Gearbox temp|Getriebeöltemp.|Huile de boîte|Olio cambio|Aceite caja|Boost kPa|Ladedruck bar|"
        "Pression turbo|Cam advance|Nockenwellenverstellung °|Déphasage AAC °|Cam timing|Valve timing|"
        "Injection advance|Einspritzbeginn °KW|Avance injection|Knock retard °|Rücknahme °|Retrait °|Retard °|"
        "Zündwinkelrücknahme °|Spark retard deg|Idle timing correction|Loss power kW|Schleppleistung PS|"
        "Puissance perdue ch|Potencia perdida CV|Potenza persa CV|Wheel speed km/h|Slip %|Schlupf|Target lambda|"
        "Lambda Soll|Lambda correction|Lambda trim %|Knock window|Torque limit|Power limit|Lambda integrator|"
        "Ambient temp|Umgebungstemp.|Temp. ambiante|Temp. ambiente|Temperatura cella|Cell temp|Spark plug no.|"
        "Zündspule A|Ignition dwell|Zylinder|Cyl|Ignition voltage kV|Burn time|Marker|Torque limit active|"
        "Throttle target"
        "|Intake vacuum inHg|Cell air temp|Dyno oil temp|Brake water temp|Knock ret.|Zündung spät|"
        "Target rpm|Soll-Drehzahl|Load [%]|P [kPa]"
        "|Nockenwinkel [°KW]|VVT angle [°CA]|Zündwinkelkorrektur [°KW]|Zündungskorrektur °|Spätverstellung [°KW]|"
        "Correction d'avance (°)|Retrait d'avance [°]|Correzione accensione [°]|Ritardo anticipo [°]|Corrección de encendido [°]|"
        "Retraso encendido [°]|SOI [°BTDC]|Burn angle 50 % [°ATDC]|MFB50 [°ATDC]|CA50 [° ATDC]|Peak pressure angle [°ATDC]|"
        "Max advance [°]|Zündwinkel max [°KW]|Ignition delta [°]|Zündwinkeldifferenz [°KW]|Spark duration [ms]|Zündstrom [A]|"
        "Zündenergie [mJ]|Ladezeit Zündung [ms]|Coil charge time [ms]|Ignition switch|Zündung ein|Ignition events|Zündaussetzer|"
        "Ratés d'allumage|Mancate accensioni|Fallos de encendido|Motoring torque [Nm]|Reibmoment [Nm]|Couple de frottement [Nm]|"
        "Couple résistant [Nm]|Coppia di attrito [Nm]|Coppia dissipata [Nm]|Par de fricción [Nm]|Sollmoment [Nm]|Wunschmoment [Nm]|"
        "Maximalmoment [Nm]|Couple max [Nm]|Coppia richiesta [Nm]|Par máximo [Nm]|Torque offset [Nm]|Steering torque [Nm]|"
        "Clutch torque [Nm]|Momentenreserve [Nm]|Indicated torque [Nm]|Reibleistung [kW]|Potenza dissipata [kW]|Max power [kW]|"
        "Heater power [kW]|Cooling power [kW]|Heat to coolant [kW]|Kühlleistung [kW]|Alternator power [kW]|"
        "Elektrische Leistung [kW]|Puissance électrique [kW]|Potenza elettrica [kW]|Potencia eléctrica [kW]|"
        "Solldrehzahl [U/min]|Drehzahlbegrenzer|"
        "Idle target [rpm]|Lüfterdrehzahl [U/min]|Laderdrehzahl [U/min]|Turbinendrehzahl [1/min]|Giri turbina|Pumpendrehzahl|"
        "Alternator speed [rpm]|Propeller rpm|Drehzahldifferenz [1/min]|RPM delta|Höchstdrehzahl [1/min]|Régime max [tr/min]|"
        "Ralenti consigne [tr/min]|Blower speed [rpm]|Supercharger rpm|Distributor rpm|Verteilerdrehzahl [1/min]|"
        "Bremswassertemperatur [°C]|Intercooler water [°C]|Delta coolant [K]|Oil viscosity|Lambda status|Knock threshold [V]"
    ),
    "power_wheel_kw": "Rollenleistung [kW]|Leistung Rolle kW|Radleistung PS|Puissance roues [ch]|Potenza alla ruota [CV]|rwhp",
    "torque_wheel_nm": "Rollenmoment [Nm]|Couple à la roue [Nm]|Coppia ruota|Par en rueda|Wheel torque [lb-ft]",
}


@pytest.mark.parametrize("channel", HEADINGS)
def test_trade_words(channel: str) -> None:
    wanted = None if channel == "none" else channel
    read = {heading: understand(heading).quantity for heading in HEADINGS[channel].split("|")}
    assert {heading: found for heading, found in read.items() if found != wanted} == {}


@pytest.mark.parametrize(
    ("written", "name", "factor"), [("tours/min", "rpm", 1), ("tr.min-1", "rpm", 1), ("m·daN", "N·m", 10), ("mdaN", "N·m", 10)]
)
def test_units(written: str, name: str, factor: float) -> None:
    unit = unit_of(written)
    assert unit is not None
    assert (unit.name, unit.factor) == (name, factor)


@pytest.mark.parametrize(
    "heading",
    [
        "WOT switch",
        "Throttle switch",
        "Cooling water temp [°C]",
        "Indicated rpm",
        "Spark advance deg CA",
        "Zündwinkel Grad Kurbelwinkel",
        "Couple frein [Nm]",
    ],
)
def test_words_of_other_things_do_not_hide_a_channel(heading: str) -> None:
    assert understand(heading).quantity is not None
