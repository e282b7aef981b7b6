"""The review booklet as a page: in the service, and as a file of its own."""

from importlib import resources

from markupsafe import Markup

from rungwise.coach.reports.booklet import BODY, Booklet
from rungwise.web.ui.templating import environment
from rungwise.wording.rung_words import rung_picture, rung_short
from rungwise.wording.texts import LANGUAGES

SHEETS = ("values.css", "rungwise.css")
SIGN_HERE = ("Name", "Profession", "Date", "Signature")
INTRODUCTION = (
    "This is everything that the service texts to clients, and what each sign of harm, answer, "
    "question and wish leads to, read off the tables that the service itself works by. No "
    "clinician has approved it before you. Please read it as for somebody of 85 who lives alone: "
    "what would you word otherwise, what would you have happen otherwise?",
    "Names in the texts are invented. Texts are named, so that the tables can point to them.",
)


def booklet_page(booklet: Booklet, practice: str, *, as_file: bool = False) -> str:
    """The whole booklet in HTML; as a file it carries its own sheet and needs no network."""
    drawn = [
        (
            rung_short(told.rung),
            Markup(rung_picture(told.rung, BODY, theme="auto", for_client=True)),  # noqa: S704
            list(zip(LANGUAGES, told.words, strict=True)),
        )
        for told in booklet.rungs
    ]
    return (
        environment()
        .get_template("booklet.html")
        .render(
            booklet=booklet,
            practice=practice,
            introduction=INTRODUCTION,
            sign_here=SIGN_HERE,
            rungs=drawn,
            languages=LANGUAGES,
            sheet=Markup(_sheet()) if as_file else "",  # noqa: S704  # our own file
        )
    )


def _sheet() -> str:
    static = resources.files("rungwise.web").joinpath("static")
    return "\n".join(static.joinpath(name).read_text(encoding="utf-8") for name in SHEETS)
