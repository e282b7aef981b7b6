"""Thanks, greetings and the like: words that want a kind answer and mean nothing else."""

import re
from collections.abc import Mapping

_WORDS: Mapping[str, Mapping[str, str]] = {
    "en": {
        "thanks": r"thank(s| you)?( (so|very) much)?|ta|cheers|bless you|you('re| are) a (star|gem)"
        r"|much appreciated|very kind( of you)?|god bless( you)?|many thanks|lovely( thanks)?",
        "sorry": r"(so |i'?m )?sorry.*|apologies.*",
        "greeting": r"(good )?(morning|afternoon|evening|night)|hello|hi|hey|hiya|goodnight|"
        r"good day|bye|good ?bye|see you( tomorrow)?|how are you( today)?|happy .*|merry .*",
        "ok": r"ok(ay)?|k|yes|yep|yeah|fine|right|will do|got it|understood|sure|al(l )?right|no",
    },
    "es": {
        "thanks": r"(muchas |mil )?gracias( .*)?|muy amable|dios (se lo pague|l[ea] bendiga)",
        "sorry": r"perd[oó]n(e|ame|eme)?( .*)?|disculp[ea]( .*)?|lo siento( .*)?",
        "greeting": r"(muy )?buen[oa]s?( d[ií]as?| tardes?| noches?)?|hola|adi[oó]s|"
        r"hasta (ma[nñ]ana|luego|pronto)|feliz .*|qu[eé] tal|c[oó]mo est[aá]n?",
        "ok": r"ok(ey)?|vale|s[ií]|de acuerdo|bueno|bien|claro|est[aá] bien|sale|entendido|no",
    },
}
_WHO = r"(dear|love|robin|everyone|all|darling|my dear|guapa|se[nñ]orita|a todos|querida)"
_BETWEEN = re.compile(r"[^\w' ]+")


def courtesy_of(words: str, language: str) -> str | None:
    """The name of the text that answers words of courtesy; None when there is more to them."""
    table = _WORDS["es" if language.lower().startswith("es") else "en"]
    parts = [part.strip().lower() for part in _BETWEEN.split(words)]
    parts = [re.sub(rf"\b{_WHO}\b", "", part).strip() for part in parts]
    found = [_one(part, table) for part in parts if part]
    if not found:
        return "ok" if not words.strip() or not any(letter.isalnum() for letter in words) else None
    if None in found:
        return None
    return next((name for name in table if name in found), None)


def _one(part: str, table: Mapping[str, str]) -> str | None:
    return next((name for name, pattern in table.items() if re.fullmatch(pattern, part)), None)
