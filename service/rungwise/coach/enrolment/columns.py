"""Which column of somebody's list holds what: guessed from its heading, then chosen. Pure."""

import re
from collections.abc import Mapping, Sequence
from unicodedata import combining, normalize

from rapidfuzz import fuzz, process

from rungwise.coach.enrolment.intake_form import FIELDS

COLUMNS = tuple(name for name in FIELDS if name != "first_key")
# Headings that people write, beside our own. From memory.
SAID: Mapping[str, tuple[str, ...]] = {
    "name": (
        *("client", "client name", "full name", "first name", "forename", "given name"),
        *("last name", "surname", "family name", "nombre", "apellido", "apellidos"),
        *("nombre completo", "nombre y apellidos"),
    ),
    "called": ("known as", "preferred name", "nickname", "goes by", "le llaman"),
    "phone": (
        *("telephone", "telephone number", "phone number", "phone no", "tel", "tel no", "mobile"),
        *(
            "mobile phone",
            "mobile no",
            "mobile number",
            "cell",
            "cell phone",
            "cellphone",
            "telefono",
            "movil",
        ),
        *("contact number",),
    ),
    "address": (
        *("home address", "street address", "street", "postal address", "address line"),
        *("direccion", "domicilio", "calle"),
    ),
    "kin": ("next of kin", "emergency contact", "relative", "familiar", "contacto de emergencia"),
    "kin_phone": ("next of kin phone", "emergency contact phone", "telefono del familiar"),
    "time_zone": ("timezone", "zone", "huso horario", "zona horaria"),
    "language": ("speaks", "lang", "idioma"),
    "sex": ("gender", "sexo"),
    "height_cm": ("height", "height in cm", "altura", "estatura"),
    "shoe_size": ("shoe size", "size of shoe", "numero de zapato"),
    "shoe_system": ("shoe sizes", "shoe size system"),
    "foot_length_cm": ("foot length",),
    "foot_breadth_cm": ("foot breadth", "foot width", "foot width cm"),
    "hip_width_cm": ("hip width",),
    "agreed": ("consent", "agreed to texts", "consentimiento"),
    "prompt_at": ("hour", "time of text", "text time", "hora"),
    "weekdays": ("days", "practice days", "dias"),
}
# A heading that is nearly one of these, by one letter more or less: common practice, no source.
NEARLY = 88
# Put together from several columns, such as first and last name.
JOINED = frozenset({"name", "home"})


def plain(heading: str) -> str:
    """A heading as it is compared: small letters, no accents, nothing but words."""
    letters = normalize("NFKD", heading.lower())
    letters = "".join(letter for letter in letters if not combining(letter))
    return " ".join(re.findall(r"[a-z0-9]+", letters))


_KNOWN: Mapping[str, str] = {
    **{plain(said): name for name, saids in SAID.items() for said in saids},
    **{plain(name): name for name in COLUMNS},
}


def guessed(heading: str) -> str:
    """The column that this heading most likely means; empty for none."""
    said = plain(heading)
    if said in _KNOWN:
        return _KNOWN[said]
    if len(said) < 4:
        return ""
    found = process.extractOne(said, list(_KNOWN), scorer=fuzz.ratio, score_cutoff=NEARLY)
    return _KNOWN[found[0]] if found else ""


def guesses(headings: Sequence[str]) -> tuple[str, ...]:
    """The same for all headings; a column that is there already is guessed only once.

    Names may come in several columns. Whoever has a whole name and its parts gets the whole.
    """
    found: list[str] = []
    whole = any(plain(one) in ("name", "full name", "client name") for one in headings)
    for heading in headings:
        name = guessed(heading)
        part = name == "name" and plain(heading) not in ("name", "full name", "client name")
        again = name in found and (name not in JOINED or not part)
        found.append("" if again or (part and whole) else name)
    return tuple(found)
