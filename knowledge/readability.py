"""How hard a text is to follow by ear: English by school grade, Spanish on a scale of ease.

English: Flesch-Kincaid grade = 0.39 words/sentences + 11.8 syllables/words - 15.59 (J. P. Kincaid, R. P. Fishburne,
R. L. Rogers, B. S. Chissom, Research Branch Report 8-75, Naval Air Station Memphis, 1975).

Spanish: Szigriszt-Pazos perspicuity = 206.835 - 62.3 syllables/words - words/sentences (F. Szigriszt Pazos, Sistemas
predictivos de legibilidad del mensaje escrito: formula de perspicuidad, Universidad Complutense de Madrid, 1993). On the
INFLESZ scale of I. M. Barrio-Cantalejo et al., Anales del Sistema Sanitario de Navarra 31(2), 2008, 65 is where "fairly
easy" begins, texts for primary school; below it come school-leaving and adult texts. Both limits: common practice.

Spanish spelling tells its syllables, so those are counted by rule. English spelling does not; the rules here are checked
against a pronouncing dictionary in the tests, and `KNOWN` holds the words the rules get wrong. A trade word that nobody on
the telephone can be spared (evaporator) counts as two syllables, as long as it is listed in `texts/trade-words.yaml`.
"""

from __future__ import annotations

import re
from collections.abc import Collection

MOST_GRADE = 6.5
LEAST_EASE = 65.0
TRADE_SYLLABLES = 2
# fmt: off
KNOWN: dict[str, int] = {
    "ambient": 3, "anyone": 3, "areas": 3, "averages": 3, "baseline": 2, "beyond": 2, "breathes": 1, "centre": 2,
    "certified": 3, "continuous": 4, "copied": 2, "cushion": 2, "dc": 2, "dried": 1, "eev": 3, "element": 3,
    "everyone": 3, "fibre": 2, "fibres": 2, "fluid": 2, "fluids": 2, "grille": 1, "grilles": 1, "heaviest": 3,
    "hired": 2, "kva": 3, "kw": 3, "layer": 2, "magnetism": 4, "maybe": 2, "metre": 2, "metres": 2,
    "millimetres": 4, "people": 2, "previous": 3, "qualified": 3, "rpm": 3, "satisfied": 3, "tired": 2, "torque": 1,
    "tried": 1, "whoever": 3,
}
# fmt: on

_WORD_EN = re.compile(r"[a-z0-9]+(?:['’][a-z]+)?", re.IGNORECASE)
_WORD_ES = re.compile(r"[a-z0-9áéíóúüñ]+", re.IGNORECASE)
# a silent e inside: someone, everything, lately, safety, movement, sideways
_SILENT_INSIDE = re.compile(r"(?<=som)e(?=[a-z])|(?<=ev)e(?=ry)|(?<=[^aeiouy])e(?=ly$|ty$|ties$|ments?$|ways?$|where$)")
# a silent e or es at the end (pipe, pipes; but not handle, hoses), and ed (closed; but not started, throttled)
_SILENT_END = re.compile(
    r"[^aeiouyl]e$|[aeiouy]le$|[^aeiouysxzhcgl]es$|[aeiouy]les$|[^sc]hes$(?<!thes)|[^aeiouytdl]ed$|[aeiouyl]led$|(?<!^e)ye[sd]?$"
)
# two vowels that do not sound as one: diesel, again as di-al, man-u-al, be-ing, qui-et
_SPLIT = re.compile(
    r"(?<![tcsg])i[ao](?!u)|[^qg]ua(?!l[^s]|r)|eo(?!u)|y(?=ing)|ee(?=ing)|o(?=ing)|i(?=er|et|ed$)(?<![tcsgv]i)|uid?(?=e)"
)
_END = re.compile(r"[.?!:;]+(?:\s|$)")


def words_of(text: str, language: str = "en") -> list[str]:
    """Words in lower case; figures count as words, a hyphen parts two words."""
    return [w.lower() for w in (_WORD_ES if language == "es" else _WORD_EN).findall(text)]


def sentences_in(text: str) -> int:
    """How many sentences: what ends in . ? ! : or ;, at least one."""
    parts = [part for part in _END.split(text) if re.search(r"\w", part)]
    return max(1, len(parts))


def syllables_en(word: str) -> int:
    """Syllables of an English word by spelling: groups of vowels, less what is silent, plus what is split."""
    word = word.lower().replace("’", "'")
    if word in KNOWN:
        return KNOWN[word]
    if word.isdigit():
        return len(word)  # read out figure by figure, most figures have one syllable
    if word.endswith(("'s", "s'")):
        base = word.removesuffix("'s").removesuffix("'")
        return syllables_en(base) + (word.endswith("'s") and base.endswith(("s", "x", "z", "ch", "sh", "ge", "ce")))
    word = _SILENT_INSIDE.sub("", word.replace("'", ""))
    count = len(re.findall(r"[aeiouy]+", word)) + len(_SPLIT.findall(word))
    return max(1, count - bool(_SILENT_END.search(word)))


def syllables_es(word: str) -> int:
    """Syllables of a Spanish word: one a vowel group; two strong vowels, or a stressed weak one, part."""
    word = word.lower()
    if word.isdigit():
        return 2 * len(word)  # read out figure by figure: uno, cuatro, siete
    word = re.sub(r"(?<=[gq])u(?=[eiéí])", "", word)  # silent in que, guía
    word = re.sub(r"y(?![aeiouáéíóúü])", "i", word)
    count = 0
    for group in re.findall(r"[aeiouáéíóúü]+", word):
        count += 1
        for first, second in zip(group, group[1:], strict=False):
            strong = first in "aeoáéó" and second in "aeoáéó"
            apart = first in "íú" and second in "aeoáéó" or first in "aeoáéó" and second in "íú"
            count += strong or apart
    return max(1, count)


def flesch_kincaid(words: int, sentences: int, syllables: int) -> float:
    """School grade of an English text from its counts (all above 0)."""
    return 0.39 * words / sentences + 11.8 * syllables / words - 15.59


def szigriszt_pazos(words: int, sentences: int, syllables: int) -> float:
    """Perspicuity of a Spanish text from its counts (all above 0); higher is easier."""
    return 206.835 - 62.3 * syllables / words - words / sentences


def grade_en(text: str, trade_words: Collection[str] = ()) -> float:
    """Flesch-Kincaid school grade of an English text; listed trade words (also their plurals) count as two syllables."""
    words = words_of(text)
    if not words:
        return 0.0
    total = sum(_count(w, trade_words, syllables_en(w)) for w in words)
    return flesch_kincaid(len(words), sentences_in(text), total)


def ease_es(text: str, trade_words: Collection[str] = ()) -> float:
    """Szigriszt-Pazos perspicuity of a Spanish text, higher is easier; trade words as in English."""
    words = words_of(text, "es")
    if not words:
        return 100.0
    total = sum(_count(w, trade_words, syllables_es(w)) for w in words)
    return szigriszt_pazos(len(words), sentences_in(text), total)


def _count(word: str, trade_words: Collection[str], syllables: int) -> int:
    base = word.replace("’", "'").removesuffix("'s")
    listed = base in trade_words or base.removesuffix("s") in trade_words or base.removesuffix("es") in trade_words
    return min(syllables, TRADE_SYLLABLES) if listed else syllables
