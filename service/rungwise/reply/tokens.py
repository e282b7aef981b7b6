"""Words, numbers, emoji and punctuation of a plain text, with their places."""

import re
from dataclasses import dataclass

# A word may hold one apostrophe ("didn't"); digits and letters stuck together come apart
# ("20steady", "L12"), but a letter O in a number is a nought ("2O"); everything else that is not
# blank is a token of one character.
_TOKEN = re.compile(
    r"(?:https?://|www\.)\S*|\d+o+(?![^\W_])|\d+(?:\.\d+)?|(?<![^\W_])(?<!\.)\.\d+|[^\W\d_]+(?:'[^\W\d_]+)?|\n|'(?:s|ll|re|ve|d|m)(?![^\W_])|[^\s]"
)
_LINKS = ("http://", "https://", "www.")
_SUFFIXES = frozenset({"s", "ll", "re", "ve", "d", "m"})


@dataclass(frozen=True, slots=True)
class Tokens:
    """Parallel lists: token i is words[i] and covers text[starts[i]:ends[i]]."""

    words: list[str]
    starts: list[int]
    ends: list[int]

    def __len__(self) -> int:
        return len(self.words)


def tokenise(text: str) -> Tokens:
    """`text` is plain. "don't" becomes `dont`; "she'll" becomes `she` and `'ll`."""
    words: list[str] = []
    starts: list[int] = []
    ends: list[int] = []
    for match in _TOKEN.finditer(text):
        word = match[0]
        if word.startswith(_LINKS):
            continue
        start, end = match.span()
        if word[0].isdigit() and word[-1] == "o":
            word = word.replace("o", "0")
        elif "'" in word and word[0] != "'":
            base, _, suffix = word.partition("'")
            if suffix in _SUFFIXES:
                words.append(base)
                starts.append(start)
                ends.append(start + len(base))
                start += len(base)
                word = "'" + suffix
            else:
                word = base + suffix
        words.append(word)
        starts.append(start)
        ends.append(end)
    return Tokens(words, starts, ends)
