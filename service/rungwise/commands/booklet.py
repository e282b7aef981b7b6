"""`rungwise booklet`: the booklet for a clinician's review, as PDF and as a page."""

import argparse
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from rungwise.coach.reports.booklet import Booklet, booklet_of, our_booklet
from rungwise.errors import NotFound
from rungwise.parts import assemble
from rungwise.settings import Settings
from rungwise.store.tables import Practice


@dataclass(frozen=True, slots=True)
class _Whose:
    """The booklet, and what stands on its front."""

    booklet: Booklet
    name: str = "In the service's own words"
    country: str = "US"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folder", type=Path, help="where booklet.pdf and booklet.html go")
    parser.add_argument(
        "--practice", type=int, metavar="ID", help="in this practice's own words and numbers"
    )
    parser.add_argument("--database", help="database URL (RUNGWISE_DATABASE_URL)")


def run(options: argparse.Namespace) -> int:
    # Both take long to load, and no other command needs them.
    from rungwise.web.practice.booklet_pdf import booklet_pdf  # noqa: PLC0415
    from rungwise.web.practice.booklet_view import booklet_page  # noqa: PLC0415

    whose = _Whose(our_booklet()) if options.practice is None else _of_practice(options)
    page = booklet_page(whose.booklet, whose.name, as_file=True)
    paper = booklet_pdf(whose.booklet, whose.name, whose.country, datetime.now(UTC))
    try:
        options.folder.mkdir(parents=True, exist_ok=True)
        (options.folder / "booklet.html").write_text(page, encoding="utf-8")
        (options.folder / "booklet.pdf").write_bytes(paper)
    except OSError as problem:
        raise NotFound(f"{options.folder} can't be written: {problem.strerror}.") from None
    print(f"Version {whose.booklet.version}: booklet.pdf and booklet.html in {options.folder}.")
    print("When a clinician has read it, record that on the practice page with this version.")
    return 0


def _of_practice(options: argparse.Namespace) -> _Whose:
    settings = Settings.from_environment()
    if options.database:
        settings = settings.model_copy(update={"database_url": options.database})
    parts = assemble(settings)
    try:
        with parts.store.read() as session:
            practice = session.get(Practice, options.practice)
            if practice is None:
                raise NotFound(f"There is no practice with the number {options.practice}.")
            return _Whose(booklet_of(session, practice), practice.name, practice.country)
    finally:
        parts.store.close()
