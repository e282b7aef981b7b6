"""Bringing a database to this version's tables, forward or back, with Alembic."""

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy.engine import Connection

from rungwise.errors import ServiceError
from rungwise.shipped import shipped
from rungwise.store.database import Store

MIGRATIONS = shipped("migrations", "migrations")


class NewerDatabase(ServiceError):
    """The database was made by a newer version than this one. Install that version."""


class OlderDatabase(ServiceError):
    """The database lacks this version's tables. Run `rungwise migrate` first."""


class NoSuchRevision(ServiceError):
    """A revision that no migration has."""

    def __init__(self, revision: str, known: set[str]) -> None:
        listed = ", ".join(sorted(known))
        super().__init__(
            f"There is no revision {revision}. Name head, base or one of these: {listed}."
        )


def migrate(store: Store, to: str = "head") -> tuple[str | None, str | None]:
    """Migrate to a revision ("head", an id, or "base"); gives the revisions before and after.

    NoSuchRevision or NewerDatabase, with nothing changed, if either is not one of ours.
    """
    with store.engine.execution_options(writes=True).begin() as connection:
        before = _revision(connection)
        config = _config(connection)
        known = {script.revision for script in ScriptDirectory.from_config(config).walk_revisions()}
        if before is not None and before not in known:
            raise NewerDatabase
        if to not in ("head", "base", *known):
            raise NoSuchRevision(to, known)
        if to == "base" or (before is not None and _is_behind(config, to, before)):
            command.downgrade(config, to)
        else:
            command.upgrade(config, to)
        return before, _revision(connection)


def write_migration(store: Store, message: str, revision: str) -> None:
    """Write a new file under migrations/versions from how the tables differ from the database."""
    with store.engine.execution_options(writes=True).begin() as connection:
        config = _config(connection)
        command.revision(config, message=message, autogenerate=True, rev_id=revision)


def check_current(store: Store) -> None:
    """OlderDatabase or NewerDatabase unless the tables are this version's."""
    with store.engine.connect() as connection:
        here = _revision(connection)
        scripts = ScriptDirectory.from_config(_config(connection))
        if here == scripts.get_current_head():
            return
        known = {script.revision for script in scripts.walk_revisions()}
    raise NewerDatabase if here is not None and here not in known else OlderDatabase


def _is_behind(config: Config, to: str, here: str) -> bool:
    """Whether `to` is an ancestor of `here`."""
    if to == "head":
        return False
    scripts = ScriptDirectory.from_config(config)
    return any(script.revision == to for script in scripts.iterate_revisions(here, "base"))


def _config(connection: Connection) -> Config:
    config = Config()
    # A percent sign in a folder's name would be taken for the name of another setting.
    config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    config.attributes["connection"] = connection
    return config


def _revision(connection: Connection) -> str | None:
    return MigrationContext.configure(connection).get_current_revision()
