"""Trainers' own tags and saved views: seen and changed by their trainer alone."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import datetime

from sqlalchemy import delete
from sqlmodel import Session, col, select

from rungwise.errors import ImpossibleValue, NotFound
from rungwise.store.tables import Client, ClientTag, SavedView, Tag, Trainer

LONGEST_NAME = 40
MOST_TAGS = 50
MOST_VIEWS = 20


def tags_of(session: Session, trainer: Trainer) -> list[Tag]:
    """The trainer's tags by name."""
    rows = session.exec(select(Tag).where(Tag.trainer_id == trainer.id)).all()
    return sorted(rows, key=lambda tag: tag.name.lower())


def tags_by_client(
    session: Session, trainer: Trainer, ids: Sequence[int]
) -> Mapping[int, frozenset[str]]:
    """The names of the trainer's tags that each of these clients has."""
    rows = (
        select(ClientTag.client_id, Tag.name)
        .join(Tag, col(Tag.id) == col(ClientTag.tag_id))
        .where(Tag.trainer_id == trainer.id, col(ClientTag.client_id).in_(ids))
    )
    found: dict[int, set[str]] = defaultdict(set)
    for client_id, name in session.exec(rows).all():
        found[client_id].add(name)
    return defaultdict(frozenset, {key: frozenset(names) for key, names in found.items()})


def put_tag(session: Session, now: datetime, trainer: Trainer, client: Client, name: str) -> None:
    """Put the tag on, made if there is none of this name yet."""
    tag = _named(session, trainer, name)
    if tag is None:
        if len(tags_of(session, trainer)) >= MOST_TAGS:
            raise ImpossibleValue("tag", name, f"one of your {MOST_TAGS} tags; take one off first")
        tag = Tag(trainer_id=trainer.id, name=name, made_at=now)
        session.add(tag)
        session.flush()
    if session.get(ClientTag, (tag.id, client.id)) is None:
        session.add(ClientTag(tag_id=tag.id, client_id=client.id))
        session.flush()


def take_tag(session: Session, _now: datetime, trainer: Trainer, client: Client, name: str) -> None:
    """Take the tag off; a tag that nobody has any more is gone."""
    tag = _named(session, trainer, name)
    if tag is None:
        return
    theirs = col(ClientTag.tag_id) == tag.id
    session.execute(delete(ClientTag).where(theirs, col(ClientTag.client_id) == client.id))
    if session.exec(select(ClientTag).where(theirs).limit(1)).first() is None:
        session.delete(tag)
        session.flush()


def _named(session: Session, trainer: Trainer, name: str) -> Tag | None:
    return next((tag for tag in tags_of(session, trainer) if tag.name == name), None)


def tag_of(session: Session, trainer: Trainer, tag_id: int) -> Tag:
    """One of the trainer's own tags; NotFound otherwise."""
    tag = session.get(Tag, tag_id)
    if tag is None or tag.trainer_id != trainer.id:
        raise NotFound("There is no such tag of yours.")
    return tag


# --- saved views ----------------------------------------------------------------------------------


def views_of(session: Session, trainer: Trainer) -> list[SavedView]:
    """The trainer's saved views by name."""
    rows = session.exec(select(SavedView).where(SavedView.trainer_id == trainer.id)).all()
    return sorted(rows, key=lambda view: view.name.lower())


def save_view(
    session: Session, now: datetime, trainer: Trainer, name: str, asked: str
) -> SavedView:
    """Keep what the list is asked by this name; another view of the name is replaced."""
    name = " ".join(name.split())
    if not 0 < len(name) <= LONGEST_NAME:
        raise ImpossibleValue("name", name, f"1 to {LONGEST_NAME} characters")
    views = views_of(session, trainer)
    view = next((one for one in views if one.name == name), None)
    if view is None:
        if len(views) >= MOST_VIEWS:
            raise ImpossibleValue("view", name, f"one of your {MOST_VIEWS}; forget one first")
        view = SavedView(trainer_id=trainer.id, name=name, asked=asked, made_at=now)
    view.asked = asked
    session.add(view)
    session.flush()
    return view


def forget_view(session: Session, trainer: Trainer, view_id: int) -> None:
    view = session.get(SavedView, view_id)
    if view is None or view.trainer_id != trainer.id:
        raise NotFound("There is no such view of yours.")
    session.delete(view)
