"""What somebody else writes of a person, put as that person would write it.

The reader knows that "my husband fell" is not the writer's own fall. From a phone that is not the
client's it is just that: told of the client by somebody else. Only common words, no source; what is
missed here is still listed for the trainer.
"""

import re

_WHO_EN = (
    r"(?:(?:my|our|the) )?(?:mum|mom|mam|mother|mother-in-law|dad|father|husband|wife|partner|aunt|"
    r"uncle|gran|granny|grandma|grandmother|grandad|grandpa|grandfather|nan|sister|brother|friend|"
    r"neighbor|neighbour|lady|man|woman)"
)
_WHO_ES = (
    r"(?:mi|su|la|el) (?:madre|padre|mamá|mama|papá|papa|marido|esposo|esposa|mujer|abuela|abuelo|"
    r"tía|tia|tío|tio|hermana|hermano|vecina|vecino|señora|señor)"
)
# In this order: each is tried on what the ones before have made.
_CHANGES: dict[str, tuple[tuple[str, str], ...]] = {
    "en": (
        (rf"\b{_WHO_EN}(?:'s|’s)(?= (?!been|had|fallen|in ))", "my"),
        (rf"\b(?:{_WHO_EN}|she|he)(?:'s|’s|s)?\b", "I"),
        (r"\b(?:her|his)\b", "my"),
        (r"\bI (?:has|is)\b", "I have"),
        (r"\bI have (?=dizzy|in pain|hurt\b|on the|unable|unwell)", "I am "),
    ),
    "es": (
        (rf"\b(?:{_WHO_ES}|ella|él)\b", ""),
        (r"\bse ha ca[ií]do\b", "me he caído"),
        (r"\bse cay[oó]\b", "me caí"),
        (r"\ble duele\b", "me duele"),
        (r"\bse ha mareado\b|\bse mare[oó]\b|\best[aá] maread[ao]\b", "me he mareado"),
        (r"\bno puede levantarse\b|\bno se puede levantar\b", "no puedo levantarme"),
    ),
}


def as_their_own(body: str, language: str, called: str | None = None) -> str:
    """The text in the first person; `called` is the name by which the writer may call them."""
    said = body
    if called:
        said = re.sub(rf"\b{re.escape(called)}\b", "she" if language == "en" else "ella", said)
    for pattern, instead in _CHANGES.get(language, ()):
        said = re.sub(pattern, instead, said, flags=re.IGNORECASE)
    return said
