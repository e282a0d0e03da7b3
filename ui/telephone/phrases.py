"""Sentences of the desk itself that are read out, in every language of the telephone texts.

Spanish: to be reviewed by a native speaker of the trade, like the texts of the checks.
"""

from __future__ import annotations

ENGLISH = "en"
LANGUAGES = {ENGLISH: "English", "es": "Español"}
READ_OUT: dict[str, dict[str, str]] = {
    "en": {
        "number": "Please read me the number and what stands behind it. I will read it back to you.",
        "read-back": "I heard {value}. Is that right?",
        "again": "One thing once more, so that we can be sure. Please look again.",
        "wait": "Let us wait now for {minutes} minutes. Stay back from the machine and touch nothing. I stay on the line.",
        "stop": "Please stop here. Touch nothing. Move away from the machine and take everybody with you.",
        "hand-over": "Thank you, you did everything right. From here somebody trained has to look. Please leave everything as it "
        "is and keep people away until then.",
        "stop-hand-over": "I send you somebody trained for this. Until they are there nobody goes near and nothing is switched "
        "on again.",
        "where": "Please tell me once more: where does the machine stand, and what number can we call you on?",
        "done": "I explain what this is, and then we look together whether it comes right.",
    },
    "es": {
        "number": "Léame por favor el número y lo que dice detrás. Yo se lo repito.",
        "read-back": "Oí {value}. ¿Está bien?",
        "again": "Una cosa otra vez, para estar seguros. Mire de nuevo, por favor.",
        "wait": "Ahora esperamos {minutes} minutos. No se acerque a la máquina y no toque nada. Yo sigo en la línea.",
        "stop": "Pare aquí, por favor. No toque nada. Aléjese de la máquina y llévese a todos.",
        "hand-over": "Gracias, lo hizo todo bien. Ahora tiene que mirar alguien con formación. Deje todo como está y que nadie se "
        "acerque hasta entonces.",
        "stop-hand-over": "Le mando a alguien con formación. Hasta que llegue nadie se acerca y nada se vuelve a encender.",
        "where": "Dígame otra vez, por favor: ¿dónde está la máquina y a qué número le podemos llamar?",
        "done": "Le explico qué es, y después miramos juntos si mejora.",
    },
}
# what makes each stop of the cards safe, as it is said to somebody untrained; the card's own words stand in for a new one
_BACK = (
    "Nobody touches the machine or its switch. Is there a switch or breaker further up, or a generator, that somebody can reach "
    "with dry hands and dry feet? Only then switch it off there. Nobody goes near until an electrician has been.",
    "Nadie toca la máquina ni su interruptor. ¿Hay más atrás otro interruptor, o un generador, al que alguien llegue con las "
    "manos y los pies secos? Solo entonces apáguelo allí. Nadie se acerca hasta que venga un electricista.",
)
_GAS = (
    "Leave the place now and stand where the wind comes from. No flame, no smoking, no engine near it. Open doors if you pass "
    "them. Does anybody feel unwell? Then call for medical help first.",
    "Salga ahora de ahí y póngase donde viene el viento. Nada de fuego, ni fumar, ni motores cerca. Abra las puertas si pasa por "
    "ellas. ¿Alguien se siente mal? Entonces llame primero a un médico.",
)
_BURST = (
    "Switch the whole machine off at its screen, if you can do that without touching anything else. Then go away from the vents "
    "and the tank, keep everybody away, and let fresh air in.",
    "Apague toda la máquina en su pantalla, si puede hacerlo sin tocar nada más. Después aléjese de las salidas de aire y del "
    "tanque, que nadie se acerque, y deje entrar aire fresco.",
)
_SCREEN = (
    "Switch the cooling off at the screen and leave the pump as it is. Switch nothing on again.",
    "Apague el frío en la pantalla y deje la bomba como está. No vuelva a encender nada.",
)
_OFF = (
    "Leave it off. Do not switch it on again and do not press reset, not even once.",
    "Déjela apagada. No la vuelva a encender y no pulse el botón de rearme, ni una vez.",
)
_BRIDGED = (
    "Switch the machine off at its screen and leave it off. Take nothing out and touch no wire. Keep people back.",
    "Apague la máquina en su pantalla y déjela apagada. No quite nada y no toque ningún cable. Que nadie se acerque.",
)
_FROZEN = (
    "Switch the cooling and the pump off at the screen. Do not start or reset anything. Do not force, warm or hit the ice. Keep back "
    "from parts that hiss or drip.",
    "Apague el frío y la bomba en la pantalla. No arranque ni restablezca nada. No fuerce, caliente ni golpee el hielo. Manténgase "
    "lejos de las partes que silben o goteen.",
)
STOPS: dict[str, tuple[str, str]] = {
    "stop-below-freezing": _SCREEN,
    "stop-burst-plate": _BURST,
    "stop-danger-at-electrics": _BACK,
    "stop-danger-qualified": _BACK,
    "stop-device-closed-again": _OFF,
    "stop-gas": _GAS,
    "stop-gas-in-fluid": _BURST,
    "stop-head-past-cut-out": (
        "Switch the cooling off at the screen now. Then step back, you and all the others, well away from the machine. Switch nothing on again.",
        "Apague ya el frío en la pantalla. Después aléjese usted y todos los demás de la máquina. No vuelva a encender nada.",
    ),
    "stop-ice": (
        "Switch the cooling off at the screen. Is the ice on the pump, a hose or the cooler itself? Then switch the pump off there "
        "too. Do not warm or hit the ice.",
        "Apague el frío en la pantalla. ¿El hielo está en la bomba, en una manguera o en el enfriador mismo? Entonces apague allí "
        "también la bomba. No caliente ni golpee el hielo.",
    ),
    "stop-frozen-hose": _FROZEN,
    "stop-frozen-hose-untrained": _FROZEN,
    "stop-frozen-proof-tube": _FROZEN,
    "stop-ice-untrained": _FROZEN,
    "stop-loop-pressure-climbs": _BURST,
    "stop-loop-pressure-climbs-alone": _BURST,
    "stop-main-breaker-tripped-unqualified": _OFF,
    "stop-open-device-unqualified": _OFF,
    "stop-people-near": (
        "Please call everybody back, well away from the machine, before anything else. Tell me when they are away.",
        "Primero llame a todos para que se alejen bien de la máquina. Avíseme cuando estén lejos.",
    ),
    "stop-phase-lost": (
        "Switch the machine off at its screen and leave it off. Open nothing.",
        "Apague la máquina en su pantalla y déjela apagada. No abra nada.",
    ),
    "stop-safety-bridged": _BRIDGED,
    "stop-safety-bridged-unqualified": _BRIDGED,
    "stop-third-reset": _OFF,
    "stop-untrained-at-panel": (
        "Please do not open it and do not measure. Close the door if it is open and you can do so without reaching in. Step back.",
        "Por favor, no lo abra y no mida. Si la puerta está abierta, ciérrela solo si puede sin meter la mano. Aléjese.",
    ),
    "stop-upstream-device-tripped-unqualified": _OFF,
    "stop-weak-glycol": _SCREEN,
    "stop-wet-electrical-call": _BACK,
}


def stop_text(language: str, rule: str, make_safe: str) -> str:
    """How a stop is made safe, to be read out. make_safe: the card's words, for a stop without a text of its own."""
    return STOPS[rule][list(LANGUAGES).index(language)] if rule in STOPS else make_safe


def read_out(language: str, name: str, **values: object) -> str:
    """A sentence in a language. Raises KeyError on an unknown name or language.

    >>> read_out("en", "read-back", value="60 psi")
    'I heard 60 psi. Is that right?'
    """
    return READ_OUT[language][name].format(**values)
