"""What dictation and thumbs make of numbers, marks and words, put back as they were meant.

"comma" spoken out, "s t e a d y", "2 0", "l0 secs", "ate seconds", "20 w". A number put together so
is `unclear`: it is the likeliest one, and worth asking about where it matters.
"""

from dataclasses import dataclass, field

from rungwise.reply.lexicon import Lexicon, Spoken
from rungwise.reply.tokens import Tokens

_LEAST_LETTERS, _MOST_LETTERS = 4, 16  # "w o b b l y"; fewer single letters are initials
_MOST_RUN = 4  # tokens of a number written with letters
_DIGIT_OF = {"l": "1", "i": "1", "o": "0", "q": "1"}
_TENS = frozenset("123")  # "2 0", "1 5": held seconds; "9 8" are two holds
_ENDS = frozenset(".,!?;\n")


@dataclass(slots=True)
class _Told:
    """The tokens as they are put together anew."""

    words: list[str] = field(default_factory=list)
    starts: list[int] = field(default_factory=list)
    ends: list[int] = field(default_factory=list)
    unclear: set[int] = field(default_factory=set)

    def add(self, word: str, start: int, end: int, unclear: bool = False) -> None:
        if unclear:
            self.unclear.add(len(self.words))
        self.words.append(word)
        self.starts.append(start)
        self.ends.append(end)


def undictated(tokens: Tokens, lexicon: Lexicon) -> tuple[Tokens, frozenset[int]]:
    """The tokens as meant, and which of them are numbers that may be others."""
    spoken = lexicon.spoken
    if not any(len(word) == 1 or word in spoken.opens for word in tokens.words):
        return tokens, frozenset()
    told = _Told()
    digits = sum(word[0].isdigit() for word in tokens.words)
    index, count = 0, len(tokens)
    while index < count:
        found = _at(tokens, index, lexicon, digits)
        if found is None:
            told.add(tokens.words[index], tokens.starts[index], tokens.ends[index])
            index += 1
            continue
        after, word, unclear = found
        told.add(word, tokens.starts[index], tokens.ends[after - 1], unclear)
        index = after
    return Tokens(told.words, told.starts, told.ends), frozenset(told.unclear)


_Found = tuple[int, str, bool]  # the token after it, the word meant, whether it may be another


def _at(tokens: Tokens, index: int, lexicon: Lexicon, digits: int) -> _Found | None:
    word, spoken = tokens.words[index], lexicon.spoken
    found = _spoken(tokens, index, spoken) if word in spoken.opens else None
    if found is None and len(word) == 1 and word.isalpha():
        found = _letters_apart(tokens, index, lexicon)
    if found is None and word in _TENS and digits == 2:
        found = _digits_apart(tokens, index)
    if found is None and (word in spoken.opens or word in _TENS or word in _DIGIT_OF):
        found = _as_digits(tokens, index, spoken)
    return found


def _spoken(tokens: Tokens, index: int, spoken: Spoken) -> _Found | None:
    """A mark spoken out, or a word of the same sound as a number or a word on steadiness."""
    words = tokens.words
    for phrase, meant in spoken.marks:
        after = index + len(phrase)
        if tuple(words[index:after]) != phrase or not index:
            continue
        if meant == "." and len(phrase) == 1 and after < len(words):
            continue  # "period", "punto": a mark only at the end
        if _number(words, index - 1, spoken) and _number(words, after, spoken):
            continue  # "doce coma cinco"
        return after, meant, False
    for phrase, meant in spoken.sounds:
        after = index + len(phrase)
        if tuple(words[index:after]) != phrase:
            continue
        if meant.isdigit():
            if _counted(words, after, spoken) and not _number(words, index - 1, spoken):
                return after, meant, True
        elif _ends(words, after) and _after_a_number(words, index, spoken):
            return after, meant, False
    return None


def _as_digits(tokens: Tokens, index: int, spoken: Spoken) -> _Found | None:
    """Letters for digits: "i5" and "q0" glued, and "lo", "ll" or "2l" where seconds follow."""
    words, after = tokens.words, index + 1
    last = min(len(words), index + _MOST_RUN)
    while after < last and tokens.starts[after] == tokens.ends[after - 1]:
        if not words[after].isalnum() or (
            words[after].isalpha() and _counted(words, after, spoken)
        ):
            break
        after += 1
    run = "".join(words[index:after])
    if not 2 <= len(run) <= 3 or run.isdigit() or any(c not in "0123456789lioq" for c in run):
        return None
    digits = any(c.isdigit() for c in run)
    if run[0] in spoken.sides and run[1:].isdigit():
        return None  # "l20" is the left
    if not _counted(words, after, spoken) and not (digits and run[0] in "iq"):
        return None
    return after, "".join(_DIGIT_OF.get(c, c) for c in run), True


def _digits_apart(tokens: Tokens, index: int) -> _Found | None:
    """ "2 0" where these are the text's only digits."""
    words = tokens.words
    if index + 1 >= len(words) or len(words[index + 1]) != 1 or not words[index + 1].isdigit():
        return None
    apart = tokens.starts[index + 1] == tokens.ends[index] + 1
    if not apart:
        return None
    return index + 2, words[index] + words[index + 1], True


def _letters_apart(tokens: Tokens, index: int, lexicon: Lexicon) -> _Found | None:
    """ "s t e a d y": a row of letters that spells a word that matters."""
    words, after = tokens.words, index
    last = min(len(words), index + _MOST_LETTERS)
    while after < last and len(words[after]) == 1 and words[after].isalpha():
        after += 1
    word = "".join(words[index:after])
    if after - index >= _LEAST_LETTERS and (word in lexicon.targets or word in lexicon.known):
        return after, word, False
    return None


def _number(words: list[str], index: int, spoken: Spoken) -> bool:
    return 0 <= index < len(words) and (words[index][0].isdigit() or words[index] in spoken.numbers)


def _counted(words: list[str], index: int, spoken: Spoken) -> bool:
    """Whether a word for seconds stands there, one that is no ordinal ("to second it")."""
    return index < len(words) and words[index] in spoken.counted


def _ends(words: list[str], index: int) -> bool:
    return index >= len(words) or words[index] in _ENDS


def _after_a_number(words: list[str], index: int, spoken: Spoken) -> bool:
    """Whether a number, or the seconds it counts, stands just before."""
    return _number(words, index - 1, spoken) or (
        _counted(words, index - 1, spoken) and _number(words, index - 2, spoken)
    )
