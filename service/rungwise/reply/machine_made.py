"""What in a text is not the client's own: a phone's reaction, a quote, a signature, a machine.

Only a fixed wrapper, or what matches a text that was sent to this client, is taken away. The rest
keeps its place, so that what is read can be marked in the text as it came.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass

from rungwise.reply.reading import MachineMade
from rungwise.reply.talk import Talk

_OPEN, _CLOSE = "“\"«„'‘", "”\"»“'’"
# As phones write them. The quoted text may be cut short, with dots for the rest.
_REACTIONS = re.compile(
    r"^[\s\u200b]*(?:"
    r"(?:liked|loved|disliked|laughed at|emphasi[sz]ed|questioned|removed an? [\w ]{1,24} from)\b"
    r"|reacted (?:with )?\S{1,12} to\b"
    r"|(?:[^\w\s“\"«]{1,8}|\u200b\S{1,8}\u200b)\s*(?:to|a)\b"
    r"|(?:[ae] .{1,30} )?(?:no )?(?:le|te|me) (?:gust[oóa]|encant[oóa]|ha gustado|dio risa)\b"
    r"|(?:se rio|se rió|rio|rió|puso énfasis|enfatiz[oó]|cuestion[oó]|pregunt[oó]|exclam[oó]"
    r"|destac[oó]|resalt[oó])(?: de| en| con| por)?\b"
    r"|reaccion[oó] (?:con )?\S{1,12} (?:a|ante)\b|reaccion[oó] a\b"
    r"|(?:elimin[oó]|quit[oó]) [^“\"«]{1,40} (?:de|a)\b"
    r")\s*[\u200b]*(?=[“\"«„']|an? (?:image|photo|attachment|message|video)"
    r"|una? (?:imagen|foto|mensaje))",
    re.IGNORECASE,
)
_ATTACHMENT = re.compile(
    r"(?:an?|una?) (?:image|photo|attachment|message|video|imagen|foto|mensaje)[.]?", re.IGNORECASE
)
_SIGNATURE = re.compile(
    r"(?im)(?:^|(?<=\n)|(?<=[.!?] )|(?<=\w ))[ \t>]*(?:"
    r"(?:sent|get outlook|written|typed) (?:from|via|for|on|with) (?:my |the )?"
    r"(?:i\s?phone|i\s?pad|i\s?os|android|galaxy|samsung|mobile|phone|cell|pixel|nokia|motorola"
    r"|verizon|at&t|t-mobile|yahoo|outlook|gmail|mail|blackberry|huawei|xiaomi|tablet)[^\n]{0,60}"
    r"|envia(?:do|da) (?:desde|con|por|via) (?:mi |el )?"
    r"(?:i\s?phone|i\s?pad|android|galaxy|samsung|m[oó]vil|celular|tel[eé]fono|huawei|xiaomi"
    r"|motorola|correo|yahoo|outlook|gmail|tableta)[^\n]{0,60}"
    r")$"
)
_DASHES = re.compile(r"(?m)^--[ \t]*\n((?:[^\n]*\n?){1,5})\Z")
_WROTE = re.compile(
    r"(?im)^[ \t>]*(?:on|el|le|a)\b[^\n]{6,160}\b(?:wrote|escribi[oó]|writes)[ \t]*:[ \t]*$"
    r"|^[ \t>]*-{2,} ?(?:original message|mensaje original|forwarded message)[^\n]*$"
)
_QUOTED_LINE = re.compile(r"(?m)^[ \t]*>[^\n]*$")
_WORD = re.compile(r"[^\W_]+(?:['’][^\W_]+)?")
_SENTENCE_END = frozenset(".!?:\n…")
# A stretch of ours this long is a quote wherever it stands; inside quotation marks, less will do.
_LONG_ENOUGH, _MARKED_ENOUGH = 8, 3
_MOST_OURS, _MOST_LENGTH, _MOST_WORDS = 12, 4000, 250
# Without any of these, only a text of ours without marks could be in it.
_QUOTING = ("“", '"', "«", "„", "--", ">", "wrote:", "writes:", "bió:", "bio:", "image", "imagen")
_SENT = ("sent ", "envia", "get outlook", "typed ", "written ")
_SHORTEST_QUOTE = 12


@dataclass(frozen=True, slots=True)
class Own:
    """The text with all else blanked out, as long as it came; `words` are what is left."""

    text: str
    words: str
    machine: MachineMade | None = None

    @property
    def bare(self) -> bool:
        """Whether nothing of the client's is left."""
        return self.machine is not None and not any(c.isalnum() for c in self.words)


def own_part(text: str, our_texts: tuple[str, ...]) -> Own:
    """What the client wrote themselves."""
    if len(text) > _MOST_LENGTH or len(text) < 5:
        return Own(text, text.strip())
    small = text.lower()
    marked = any(mark in text for mark in _QUOTING)
    signed = "--" in text or any(word in small for word in _SENT)
    if not (marked or signed) and (len(text) < _SHORTEST_QUOTE or not our_texts):
        return Own(text, text.strip())
    taken, machine = _reaction(text, our_texts) if marked else ([], None)
    for name, stretches in (
        ("quote", _quotes(text, our_texts)),
        ("signature", _signatures(text) if signed else []),
    ):
        fresh = [one for one in stretches if not _within(one, taken)]
        if fresh:
            taken += fresh
            machine = machine or name  # type: ignore[assignment]
    if not taken:
        return Own(text, text.strip())
    return _blanked(text, taken, machine)


def without_sentences(own: Own, said: Talk) -> Own:
    """Without the sentences that a phone or a program sends of itself: "I'm driving"."""
    for tag, machine in (("auto.receipt", "receipt"), ("auto.reply", "auto_reply")):
        places = said.places.get(tag)
        if places:
            stretches = [_sentence_around(own.text, said.span(where).start) for where in places]
            cleared = _blanked(own.text, stretches, machine)  # type: ignore[arg-type]
            if machine == "auto_reply":
                cleared = _rest_of_an_auto_reply(cleared)
            return cleared
    return own


_AUTO_REST = re.compile(
    r"(?i)\b(?:i'll|i will|will|let's|para|for|en caso|te|le|llam|contact|urgent|responder|please"
    r"|with limited|with no|i am|thank|gracias|estar|reply|vuelvo|atender|sent)\b"
)


def _rest_of_an_auto_reply(own: Own) -> Own:
    """An auto-reply's other sentences go too where nothing in them is of practice or of harm."""
    if _AUTO_REST.search(own.words) and not re.search(r"\d+ ?(?:s|sec|steady|firme)\b", own.words):
        harm = re.search(
            r"(?i)\b(?:fell|fall|pain|hurt|dizzy|ca[ií]|caída|dolor|duele|mare|help|ayuda)",
            own.words,
        )
        if harm is None:
            return Own(" " * len(own.text), "", own.machine)
    return own


def _sentence_around(text: str, at: int) -> tuple[int, int]:
    start = at
    while start > 0 and text[start - 1] not in ".!?\n":
        start -= 1
    end = at
    while end < len(text) and text[end] not in ".!?\n":
        end += 1
    return start, min(len(text), end + 1)


def _within(stretch: tuple[int, int], taken: list[tuple[int, int]]) -> bool:
    return any(start <= stretch[0] and stretch[1] <= end for start, end in taken)


def _blanked(text: str, taken: list[tuple[int, int]], machine: MachineMade | None) -> Own:
    kept = list(text)
    for start, end in taken:
        for at in range(start, end):
            kept[at] = " "
        if start < end:
            kept[end - 1] = "\n"  # what stood on either side never belonged together
    own = "".join(kept)
    return Own(own, " ".join(own.split()).strip(' >"“”«»'), machine)


def _reaction(
    text: str, our_texts: tuple[str, ...]
) -> tuple[list[tuple[int, int]], MachineMade | None]:
    match = _REACTIONS.match(text)
    if match is None:
        return [], None
    at = match.end()
    attachment = _ATTACHMENT.match(text, at)
    if attachment:
        return [(0, attachment.end())], "reaction"
    return [(0, _end_of_quote(text, at, our_texts))], "reaction"


def _end_of_quote(text: str, at: int, our_texts: tuple[str, ...]) -> int:
    """Where a quotation that opens at `at` closes, after any text of ours that it begins with."""
    close = _CLOSE[_OPEN.index(text[at])] if text[at] in _OPEN else text[at]
    inside = text[at + 1 :]
    skip = max((_shared(inside, ours) for ours in our_texts), default=0)
    end = inside.find(close, skip)
    if end < 0 and close == "”":
        end = inside.find('"', skip)
    if end >= 0:
        return at + 1 + end + 1
    if skip:
        return at + 1 + skip
    line = text.find("\n", at)
    return len(text) if line < 0 else line


def _shared(text: str, ours: str) -> int:
    """How many characters of `text` go on as ours does, word for word from its start."""
    end = 0
    for mine, theirs in zip(_WORD.finditer(text), _WORD.finditer(ours), strict=False):
        if mine[0].casefold() != theirs[0].casefold():
            break
        end = mine.end()
    return end


def _signatures(text: str) -> list[tuple[int, int]]:
    found = [match.span() for match in _SIGNATURE.finditer(text)]
    dashes = _DASHES.search(text) if "--" in text else None
    if dashes is not None and all(map(_of_a_signature, dashes[1].splitlines())):
        found.append(dashes.span())
    return found


def _of_a_signature(line: str) -> bool:
    """Whether a line is a name, a number or an address, and no sentence."""
    words = line.split()
    return len(words) <= 6 and all(not w[0].islower() or "@" in w or "." in w for w in words)


def _quotes(text: str, our_texts: tuple[str, ...]) -> list[tuple[int, int]]:
    found: list[tuple[int, int]] = []
    if ">" in text:
        found += [match.span() for match in _QUOTED_LINE.finditer(text)]
    if ":" in text or "--" in text:
        found += [match.span() for match in _WROTE.finditer(text)]
    if len(text) > 12:
        for ours in our_texts[-_MOST_OURS:]:
            found += _matches(text, ours)
    return found


def _matches(text: str, ours: str) -> Iterator[tuple[int, int]]:
    """Every stretch of `text` that goes on as one or more whole sentences of ours."""
    mine, theirs = list(_WORD.finditer(text))[:_MOST_WORDS], list(_WORD.finditer(ours))
    words = [match[0].casefold() for match in mine]
    wanted = [match[0].casefold() for match in theirs]
    starts = [i for i, match in enumerate(theirs) if i == 0 or _ends(ours, theirs[i - 1], match)]
    at = 0
    while at < len(words):
        length = max(
            (_run(words, at, wanted, s) for s in starts if wanted[s] == words[at]), default=0
        )
        length = _whole_sentences(text, mine, at, length)
        stretch = (mine[at].start(), mine[at + length - 1].end()) if length else (0, 0)
        whole = length == len(wanted) >= 4 and not any(w.isdigit() for w in wanted)
        marked = length >= _MARKED_ENOUGH and _in_marks(text, stretch)
        if length >= _LONG_ENOUGH or whole or marked:
            yield _with_marks(text, stretch)
            at += length
        else:
            at += 1


def _ends(text: str, one: re.Match[str], following: re.Match[str]) -> bool:
    return not _SENTENCE_END.isdisjoint(text[one.end() : following.start()])


def _run(words: list[str], at: int, wanted: list[str], start: int) -> int:
    length = 0
    while (
        at + length < len(words)
        and start + length < len(wanted)
        and words[at + length] == wanted[start + length]
    ):
        length += 1
    return length


def _whole_sentences(
    text: str,
    mine: list[re.Match[str]],
    at: int,
    length: int,
) -> int:
    """`length` cut back to where a sentence, the text or a cut-short quote ends."""
    while length:
        last = at + length - 1
        after = mine[last + 1] if last + 1 < len(mine) else None
        if after is None or _ends(text, mine[last], after) or _closed(text, mine[last].end()):
            return length
        length -= 1
    return length


def _closed(text: str, end: int) -> bool:
    return text[end : end + 1] in ("”", '"', "»", "…") or text[end : end + 3] == "..."


def _in_marks(text: str, stretch: tuple[int, int]) -> bool:
    return text[: stretch[0]].rstrip()[-1:] in tuple(_OPEN) and _closed(
        text, _after_stop(text, stretch[1])
    )


def _after_stop(text: str, end: int) -> int:
    while end < len(text) and text[end] in ".!?":
        end += 1
    return end


def _with_marks(text: str, stretch: tuple[int, int]) -> tuple[int, int]:
    start, end = stretch
    end = _after_stop(text, end)
    while start > 0 and text[start - 1] in _OPEN + "> ":
        start -= 1
    while end < len(text) and text[end] in _CLOSE:
        end += 1
    return start, end
