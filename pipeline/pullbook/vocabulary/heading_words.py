"""The words of headings (words/headers.csv) as a table, and words not in it as they stand: run together, cut short, misspelt."""

import re
import unicodedata
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache, lru_cache

from pullbook.vocabulary.wordlist import rows

_LOST = "?\ufffd"
"""What stands where an encoding lost a letter; of UTF-8 it loses two bytes for one."""
_TOKEN = re.compile(rf"[a-z{_LOST}]*[a-z][a-z{_LOST}]*\.?")
_JOINS = frozenset(("a", "al", "alla", "at", "au", "aux", "d", "da", "de", "del", "der", "des", "di", "du", "en", "in", "la", "of"))
"""Small words between the words of a heading, which say nothing."""
_SYMBOLS = frozenset("mnpt")
"""Symbols of torque, speed, pressure or power, and temperature, glued to what they are of: ``TOil``, ``nRoller``, ``Patm``."""
_OF_A_SYMBOL = frozenset(
    ("air", "ambient", "aside", "baro", "commanded", "coolant", "corrected", "engine", "exhaust", "inlet", "manifold", "oil")
) | {"other", "roller", "wheel"}
_NO_CHANNEL = frozenset(("other", "aside"))
SHORTEST, MOST_PIECES, LONGEST = 3, 5, 40
"""Letters of a word that others may be glued to; words in one; letters of a word that is looked into."""
CLOSE, LONG = 0.84, 6
"""How like a word, as a share of matching letters, a slip of the pen is, and how many letters it has."""
CERTAIN = 9
"""Letters beyond which a word that says something may say more but for a slip: ``radrehmoment`` is a wheel's."""
CUT, CUT_WITHOUT_POINT = 3, 5
"""Letters that stand for the rest of their word, with a point behind them and without."""


@dataclass(frozen=True, slots=True)
class Table:
    """``whole`` words and ``parts`` that count anywhere in a word, each with its concepts; ``phrases`` of several words."""

    whole: dict[str, frozenset[str]]
    parts: dict[str, frozenset[str]]
    phrases: tuple[tuple[str, str], ...]

    def says(self, word: str) -> frozenset[str]:
        """Concepts of one word as it stands."""
        return self.whole.get(word, frozenset()).union(*(c for part, c in self.parts.items() if part in word))

    def of_piece(self, piece: str) -> frozenset[str]:
        """Concepts of a word that is glued to others: only what the table has letter by letter."""
        return self.whole.get(piece, frozenset()) | self.parts.get(piece, frozenset())


def without_accents(text: str) -> str:
    """Small letters without accents."""
    bare = "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c))
    return bare.casefold().replace("ß", "ss").replace("ø", "o").replace("œ", "oe").replace("æ", "ae").replace("λ", " lambda ")


@cache
def table() -> Table:
    """All words of headings, without accents."""
    kept: dict[str, dict[str, set[str]]] = {"whole": {}, "part": {}, "phrase": {}}
    for row in rows("headers"):
        kept[row["how"]].setdefault(without_accents(row["word"]), set()).add(row["concept"])
    whole, parts = ({word: frozenset(has) for word, has in kept[how].items()} for how in ("whole", "part"))
    return Table(whole, parts, tuple((word, concept) for word, has in kept["phrase"].items() for concept in has))


def respelled(line: str) -> tuple[str, tuple[tuple[str, str], ...]]:
    """A heading in words the table has, and its slips of the pen.

    Parameters
    ----------
    line
        A heading in small letters without accents.

    Returns
    -------
    tuple
        The heading; (word as written, word it is read as) for each slip.

    Examples
    --------
    >>> respelled("injadvance"), respelled("coollant temp")
    (('inj advance', ()), ('coolant temp', (('coollant', 'coolant'),)))
    >>> respelled("luftdr."), respelled("presi?n"), respelled("proiezione")
    (('luftdruck', ()), ('presion', ()), ('proiezione', ()))
    """
    slips: list[tuple[str, str]] = []

    def instead(found: re.Match[str]) -> str:
        read, slipped = _reading(found[0]) if len(found[0]) <= LONGEST else (found[0], False)
        if slipped:
            slips.append((found[0], read))
        return read

    return _TOKEN.sub(instead, line), tuple(slips)


@lru_cache(maxsize=16_384)
def _reading(token: str) -> tuple[str, bool]:
    """One word as the table has it, and whether it was a slip of the pen; itself where nothing is near."""
    known, point = table(), token.endswith(".")
    bare = token.rstrip(".")
    if any(c in bare for c in _LOST):
        bare = _filled(bare.rstrip(_LOST)) or bare
        return (bare, False)
    if bare in known.whole or len(bare) < SHORTEST:
        return token, False
    if (pieces := _pieces(bare)) is not None:
        return " ".join(pieces), False
    near, has = _near(bare), known.says(bare)
    if near is not None and (not has or (near in known.whole and len(bare) > CERTAIN and not known.whole[near] <= has)):
        return near, True
    return (token if has else _written_out(bare, point) or token), False


def _written_out(token: str, point: bool) -> str | None:
    """The word that one is the beginning of; without a point behind it none that is of no channel: "start" is no starter."""
    known = table()
    if len(token) < (CUT if point else CUT_WITHOUT_POINT):
        return None
    word = _one_meaning([word for word in (*known.whole, *known.parts) if word.startswith(token)])
    certain = (point and len(token) > CUT_WITHOUT_POINT) or (word is not None and not known.of_piece(word) & _NO_CHANNEL)
    return word if certain else None


def _filled(token: str) -> str | None:
    """A word with its lost letters, where the table has one word that fits: ``presi?n``, ``?ltemperatur``."""
    if not any(c in token for c in _LOST):
        return token
    known = table()
    shape = re.compile(re.sub(rf"[{_LOST}]{{1,2}}", "[a-z]", token).replace("\\", ""))
    if whole := [word for word in known.whole if shape.fullmatch(word)]:
        return _one_meaning(whole)
    letters = re.sub(rf"[{_LOST}]{{1,2}}", "?", token)
    for part in sorted(known.parts, key=len, reverse=True):
        for at in range(len(letters) - len(part) + 1):
            piece = letters[at : at + len(part)]
            if piece.count("?") == 1 and len(part) > SHORTEST and all(a in (b, "?") for a, b in zip(piece, part, strict=True)):
                return _filled(letters[:at] + part + letters[at + len(part) :])
    return None


def _pieces(token: str) -> list[str] | None:
    """A word taken apart into words of the table, all its letters used; None where that cannot be done."""
    known = table()
    for symbol, rest in ((token[0], token[1:]), (token[-1], token[:-1])):
        if symbol in _SYMBOLS and len(rest) >= SHORTEST - 1 and known.of_piece(rest) & _OF_A_SYMBOL:
            return [symbol, rest]
    best: list[list[str] | None] = [[]] + [None] * len(token)
    for end in range(1, len(token) + 1):
        for start in range(end):
            before, piece = best[start], token[start:end]
            if before is None or not (piece in _JOINS or (len(piece) >= SHORTEST and known.of_piece(piece))):
                continue
            if best[end] is None or len(before) + 1 < len(best[end] or []):
                best[end] = [*before, piece]
    found = best[-1]
    if found is None or not 2 <= len(found) <= MOST_PIECES:
        return None
    said = [piece for piece in found if piece not in _JOINS]
    return found if len(said) > 1 or (said and len(said[0]) > SHORTEST) else None


def _one_meaning(words: list[str]) -> str | None:
    """The shortest of words that all mean the same, else None."""
    known = table()
    return min(words, key=len) if len({known.of_piece(word) for word in words}) == 1 else None


def _near(token: str) -> str | None:
    """The word of the table that a longer one is but for a slip of the pen, where all that are as near mean the same."""
    known = table()
    if len(token) < LONG:
        return None
    like = [w for w in (*known.whole, *known.parts) if len(w) >= LONG and w[0] == token[0] and abs(len(w) - len(token)) <= 1]
    return _one_meaning(get_close_matches(token, like, n=3, cutoff=CLOSE))
