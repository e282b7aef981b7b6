"""`rungwise research`: the pseudonymous export for whoever studies it, as a folder of tables."""

import argparse
import secrets
import sys
from pathlib import Path

from sqlmodel import col, select
from tqdm import tqdm

from rungwise.coach.data.research import write_research
from rungwise.errors import NotFound
from rungwise.parts import assemble
from rungwise.settings import Settings
from rungwise.store.moving.migrate import check_current
from rungwise.store.tables import Client


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folder", type=Path, help="a new or empty folder for the tables")
    parser.add_argument("--database", help="database URL (RUNGWISE_DATABASE_URL)")
    parser.add_argument(
        "--key-file",
        type=Path,
        metavar="FILE",
        help="a secret kept by you, so that a later export has the same pseudonyms; without it a "
        "new one is made and forgotten",
    )
    parser.add_argument(
        "--parquet", action="store_true", help="write each table as Parquet too (needs pyarrow)"
    )
    parser.add_argument(
        "--practice", type=int, metavar="ID", help="only the clients of this practice"
    )


def run(options: argparse.Namespace) -> int:
    if options.key_file is None:
        key = secrets.token_bytes(32)
    else:
        try:
            key = options.key_file.read_bytes().strip()
        except OSError as problem:
            raise NotFound(f"{options.key_file} can't be read: {problem.strerror}.") from None
    settings = Settings.from_environment()
    if options.database:
        settings = settings.model_copy(update={"database_url": options.database})
    parts = assemble(settings)
    store = parts.store
    check_current(store)
    with store.read() as session:
        wanted = select(Client.id).where(col(Client.consent_at).is_not(None))
        if options.practice is not None:
            wanted = wanted.where(Client.practice_id == options.practice)
        ids = list(session.exec(wanted))
        with tqdm(total=len(ids), unit="client", file=sys.stderr, disable=None, leave=False) as bar:
            until = parts.clock.now().date()
            whole = write_research(
                session, options.folder, ids, key, until, bar.update, options.parquet
            )
    print(f"{len(ids)} clients, in {options.folder}. SHA-256 of the tables: {whole}")
    return 0
