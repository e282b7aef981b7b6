"""Rows read ahead for several clients at once, in place of one query for each when it is needed.

They are forgotten as soon as this session writes rows of that table about that subject, so that
the next look asks the database. What other transactions do must not matter: SQLite has one writer,
and on PostgreSQL whoever reads ahead holds the clients locked.
"""

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

from sqlalchemy import event, inspect
from sqlalchemy.orm import ORMExecuteState, UOWTransaction
from sqlmodel import Session, SQLModel

Row = TypeVar("Row", bound=SQLModel)
Table = type[SQLModel]

_KEPT_IN = "read ahead"


def _always(_row: Any) -> bool:
    return True


@dataclass(frozen=True, slots=True)
class About:
    """The column that says what a row is about, and which rows matter to what was read ahead."""

    column: str
    matters: Callable[[Any], bool] = _always


class Ahead:
    """What one session knows: by table, the rows about each subject. No rows are known too."""

    def __init__(self, session: Session, about: Mapping[Table, About]) -> None:
        self._session = session
        self._about = about
        self._known: dict[Table, dict[int, Sequence[Any]]] = {table: {} for table in about}
        self._made: dict[str, tuple[Collection[Table], dict[int, Any]]] = {}
        event.listen(session, "after_flush", self._flushed)
        event.listen(session, "do_orm_execute", self._executed)
        session.info[_KEPT_IN] = self

    def know(self, table: Table, subjects: Iterable[int], rows: Iterable[SQLModel]) -> None:
        """These are all the rows that matter about these subjects."""
        found: dict[int, list[SQLModel]] = {subject: [] for subject in subjects}
        for row in rows:
            found[getattr(row, self._about[table].column)].append(row)
        self._known[table].update(found)

    def keep(self, name: str, made_from: Collection[Table], values: Mapping[int, Any]) -> None:
        """Keep what was made of rows of these tables, by subject, for as long as the rows."""
        self._made[name] = (made_from, dict(values))

    def made(self, name: str, subject_id: int) -> Any | None:
        """What was kept; None when it must be made."""
        return self._made[name][1].get(subject_id) if name in self._made else None

    def look(self, table: Table, subject_id: int) -> Sequence[Any] | None:
        """The rows; None when the database must be asked."""
        rows = self._known[table].get(subject_id)
        if rows is None or any(inspect(row).modified for row in rows):
            return None
        waiting = (*self._session.new, *self._session.deleted)
        return None if any(self._is_about(row, table, subject_id) for row in waiting) else rows

    def _is_about(self, row: object, table: Table, subject_id: int) -> bool:
        about = self._about[table]
        return isinstance(row, table) and getattr(row, about.column) == subject_id

    def forget(self, table: Table, subject_id: int | None) -> None:
        """Of one subject, or with None of all."""
        if table not in self._known:
            return
        made = (values for tables, values in self._made.values() if table in tables)
        for values in (self._known[table], *made):
            if subject_id is None:
                values.clear()
            else:
                values.pop(subject_id, None)

    def wrote(self, table: Table, values: Mapping[str, Any]) -> None:
        """A row of these values is there now, or soon."""
        about = self._about.get(table)
        if about is not None:
            self.forget(table, values.get(about.column))

    def _flushed(self, session: Session, _work: UOWTransaction) -> None:
        for row in (*session.new, *session.dirty, *session.deleted):
            about = self._about.get(type(row))
            if about is not None and about.matters(row):
                self.forget(type(row), getattr(row, about.column))

    def _executed(self, state: ORMExecuteState) -> None:
        if not state.is_select and state.bind_mapper is not None:
            self.forget(state.bind_mapper.class_, None)


def forget_all(session: Session) -> None:
    """Ask the database for everything from now on."""
    session.info.pop(_KEPT_IN, None)


def known(session: Session, table: type[Row], subject_id: int) -> Sequence[Row] | None:
    """The rows of this table about this subject that were read ahead; None: ask the database."""
    ahead: Ahead | None = session.info.get(_KEPT_IN)
    return None if ahead is None else ahead.look(table, subject_id)


def wrote(session: Session, table: Table, values: Mapping[str, Any]) -> None:
    """Say that a row of these values was written by a plain statement."""
    ahead: Ahead | None = session.info.get(_KEPT_IN)
    if ahead is not None:
        ahead.wrote(table, values)


def made(session: Session, name: str, subject_id: int) -> Any | None:
    """What was made ahead of rows about this subject; None: make it."""
    ahead: Ahead | None = session.info.get(_KEPT_IN)
    return None if ahead is None else ahead.made(name, subject_id)
