"""A pain that the trainer knows as the client's normal: where, and how bad from 0 to 10.

Told at that place and no worse it is a note and gives no credit; worse, new or over 5 it rests as
any pain. After the traffic-light model of Thomeé 1997, Phys Ther 77:1690-1703, which was made for
pain about the kneecap and not tried in older people at risk of falls.
"""

from dataclasses import asdict, replace
from datetime import datetime

from sqlmodel import Session

from rungwise.coach.conversation.signs import TOO_MUCH_PAIN
from rungwise.coach.record.audit import record
from rungwise.coach.record.codec import UsualPain
from rungwise.coach.record.plan_versions import new_plan
from rungwise.coach.record.situation import Situation
from rungwise.errors import ImpossibleValue
from rungwise.store.tables import Trainer

# Bones, joints and muscles, by the names of a reading. Not the chest, the head and the calf, which
# are signs of their own; nor an arm, a leg, a rib or a groin, which may be the heart, a clot or a
# broken hip: name the joint. Common practice, no source.
USUAL_PLACES = (
    *("big toe", "toe", "foot", "heel", "ankle", "shin", "knee", "thigh", "hip", "buttock"),
    *("back", "neck", "shoulder", "elbow", "wrist", "hand", "finger"),
)


def set_usual_pain(
    session: Session,
    now: datetime,
    trainer: Trainer,
    situation: Situation,
    usual: UsualPain | None,
) -> None:
    """Record the client's usual pain, or that there is none any more, as the plan's next version.

    It counts from the next text on; what was told before stays as it was decided.
    """
    if usual is not None:
        if usual.place not in USUAL_PLACES:
            allowed = f"a bone, joint or muscle: {', '.join(USUAL_PLACES)}"
            raise ImpossibleValue("place", usual.place, allowed)
        usual_score(str(usual.score))
    before = situation.settings.usual_pain
    if usual == before:
        return
    changed = {"usual_pain": [asdict(one) if one else None for one in (before, usual)]}
    settings = replace(situation.settings, usual_pain=usual).to_json()
    new_plan(session, now, trainer, situation, settings=settings)
    situation.client.version += 1
    session.add(situation.client)
    record(session, now, trainer, "plan changed", client_id=situation.client_id, changed=changed)


def usual_score(words: str) -> int:
    """How bad a usual pain is, of 10. ImpossibleValue for one that nobody practises with."""
    if not (words.isascii() and words.isdecimal() and int(words[:4]) <= TOO_MUCH_PAIN):
        allowed = f"a whole number from 0 to {TOO_MUCH_PAIN}: a worse pain is not practised with"
        raise ImpossibleValue("score", words, allowed)
    return int(words)
