"""Two settings compared: locked, drawn for who agreed, hidden until the end, and the same figures
from the research export by itself.
"""

import csv
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest
from scipy.stats import ttest_ind
from sqlmodel import col, select
from stored_practice import BEGAN, at, lives, store_clients, store_practice

from rungwise.cli import main
from rungwise.coach.data.research import write_research
from rungwise.coach.record.access import OnlyTheLead
from rungwise.coach.record.situation import load
from rungwise.coach.reviews.comparing import (
    DrawnBefore,
    NoLot,
    NotAgreed,
    StillRunning,
    draw,
    end,
    is_over,
    latest,
    protocol_of,
    result,
    why_no_lot,
    withdraw,
    write_down,
)
from rungwise.commands.comparison import compared_in
from rungwise.errors import ImpossibleValue
from rungwise.evidence.comparison import Protocol, lot
from rungwise.store.tables import Audit, Client, ComparedClient, ComparisonRow, Report, Trainer

DAYS = 28
PROTOCOL = Protocol("gentle", "keen", "gain", DAYS, 8, 3)
ETHICS = "A committee looked at it and agreed."
LOT_DAY = 20  # since the lives began
LOT_AT = at(BEGAN + timedelta(days=LOT_DAY), 12)
AFTER = LOT_AT + timedelta(days=DAYS + 3)


@pytest.fixture
def trainer(store) -> Trainer:
    with store.write() as session:
        lead = store_practice(session)
        lead.role = "lead"
        session.add(lead)
    return lead


@pytest.fixture
def ids(store, trainer) -> list[int]:
    return store_clients(store, trainer, lives(10, 60), 10)


def lock(store, trainer, protocol: Protocol = PROTOCOL) -> None:
    with store.write() as session:
        # A known seed, so that every run draws the same lots.
        write_down(session, LOT_AT, trainer, protocol, ETHICS).seed = "seed"


def drawn(store, trainer, client_id: int, when: datetime = LOT_AT, **more: object) -> str:
    given = {"agreed_on": when.date().isoformat(), "both_suit": True, **more}
    with store.write() as session:
        row = latest(session, trainer.practice_id)
        client = session.get_one(Client, client_id)
        return draw(session, when, trainer, row, client, **given).arm


def seen(store, trainer, when: datetime):
    with store.read() as session:
        row = latest(session, trainer.practice_id)
        return (
            result(session, when, row),
            why_no_lot(session, when, row),
            is_over(session, when, row),
        )


def test_the_lots_follow_the_kept_seed_and_set_the_plans(store, trainer, ids):
    lock(store, trainer)
    arms = [drawn(store, trainer, one) for one in ids[:8]]
    assert sorted(arms)[3:5] in (["gentle", "keen"], ["gentle", "gentle"], ["keen", "keen"])
    with store.read() as session:
        row = session.exec(select(ComparisonRow)).one()
        assert arms == [protocol_of(row).arms[lot(row.seed, n)] for n in range(8)]
        for client_id, arm in zip(ids, arms, strict=False):
            settings = load(session, session.get_one(Client, client_id)).settings
            assert settings.caution.name == arm
        every = session.exec(select(Audit).order_by(col(Audit.number))).all()
        trail = [one for one in every if one.action == "lot drawn"]
        assert [one.detail["arm"] for one in trail] == arms
        assert row.seed not in str([one.detail for one in every])


def test_nobody_has_a_lot_before_they_agreed_or_twice_or_where_a_setting_does_not_suit(
    store, trainer, ids
):
    lock(store, trainer)
    with pytest.raises(NotAgreed):
        drawn(store, trainer, ids[0], both_suit=False)
    with pytest.raises(ImpossibleValue, match="today or a day before"):
        drawn(store, trainer, ids[0], agreed_on=(LOT_AT + timedelta(days=1)).date().isoformat())
    with pytest.raises(ImpossibleValue):
        drawn(store, trainer, ids[0], agreed_on="")
    with store.write() as session:
        session.get_one(Client, ids[1]).state = "resting"
    with pytest.raises(NotAgreed):
        drawn(store, trainer, ids[1])
    drawn(store, trainer, ids[0])
    with pytest.raises(DrawnBefore):
        drawn(store, trainer, ids[0])
    with store.read() as session:
        assert len(session.exec(select(ComparedClient)).all()) == 1


def test_what_is_locked_is_one_at_a_time_and_the_leads(store, trainer, ids):
    lock(store, trainer)
    with pytest.raises(StillRunning):
        lock(store, trainer)
    with store.write() as session, pytest.raises(ImpossibleValue):
        end(session, LOT_AT, trainer, latest(session, trainer.practice_id), "")
    with store.write() as session:
        end(session, LOT_AT, trainer, latest(session, trainer.practice_id), "Too few agreed to it.")
    with pytest.raises(NoLot):
        drawn(store, trainer, ids[0])
    lock(store, trainer)
    trainer.role = "trainer"
    with store.write() as session, pytest.raises(OnlyTheLead):
        write_down(session, LOT_AT, trainer, PROTOCOL, ETHICS)


def test_nothing_of_the_outcome_is_told_before_the_end(store, trainer, ids):
    lock(store, trainer)
    for one in ids[:7]:
        drawn(store, trainer, one)
    # One lot is missing: it goes on, however long.
    assert seen(store, trainer, AFTER)[::2] == (None, False)
    drawn(store, trainer, ids[7])
    with pytest.raises(NoLot):
        drawn(store, trainer, ids[8])
    assert seen(store, trainer, LOT_AT + timedelta(days=DAYS))[0] is None
    found, no_lot, over = seen(store, trainer, AFTER)
    assert over
    assert no_lot == "As many lots are drawn as were written down."
    assert found is not None
    assert sum(arm.clients for arm in found.arms) == 8


def test_more_falls_in_one_setting_stop_the_lots(store, trainer, ids):
    lock(store, trainer)
    arms = {one: drawn(store, trainer, one) for one in ids[:7]}
    with store.read() as session:
        within = [LOT_AT.date() + timedelta(days=number) for number in range(1, 10)]
        rows = select(Report.client_id).where(col(Report.local_date).in_(within))
        telling = set(session.exec(rows).all())
    keen = [one for one, arm in arms.items() if arm == "keen" and one in telling][:3]

    def tell(fallers: list[int]) -> None:
        with store.write() as session:
            fell = set()
            for report in session.exec(select(Report).order_by(col(Report.id))).all():
                known = report.client_id in fell or report.client_id not in fallers
                falls = not known and report.local_date in within
                fell |= {report.client_id} if falls else set()
                report.told = {**report.told, "fall": "yes" if falls else "no"}
                session.add(report)
            assert fell == set(fallers)

    later = LOT_AT + timedelta(days=10)
    tell(keen[:2])
    assert seen(store, trainer, later)[1] is None
    tell(keen)
    assert seen(store, trainer, later)[1].startswith("The stopping rule is met: 3 more clients")
    with pytest.raises(NoLot):
        drawn(store, trainer, ids[7], later)


@pytest.mark.parametrize("outcome", ["gain", "practised", "steady"])
def test_the_export_alone_gives_the_pages_figures(
    store, trainer, ids, tmp_path: Path, capsys, outcome
):
    lock(store, trainer, Protocol("gentle", "keen", outcome, DAYS, 10, 4))
    for place, one in enumerate(ids):
        drawn(store, trainer, one, LOT_AT + timedelta(days=place // 4))
    with store.write() as session:
        row = latest(session, trainer.practice_id)
        early = LOT_AT + timedelta(days=9)
        withdraw(session, early, trainer, row, session.get_one(Client, ids[3]))
    when = AFTER + timedelta(days=3)
    found = seen(store, trainer, when)[0]
    with store.read() as session:
        write_research(session, tmp_path / "study", ids, b"k" * 32, when.date())
    (exported,) = compared_in(tmp_path / "study").values()
    assert exported == (outcome, found)
    assert found.difference is not None
    assert main(["comparison", str(tmp_path / "study")]) == 0
    gap = found.difference
    assert f"keen less gentle: {gap.value:.3f} ({gap.low:.3f} to" in capsys.readouterr().out
    # And SciPy on figures put together here from the tables, by no code of ours.
    by_hand = figures(tmp_path / "study", outcome)
    known = ttest_ind(by_hand["keen"], by_hand["gentle"], equal_var=False)
    assert found.p_value == pytest.approx(known.pvalue, rel=1e-6)
    low, high = known.confidence_interval(0.95)
    assert (found.difference.low, found.difference.high) == pytest.approx((low, high), rel=1e-6)


def figures(folder: Path, outcome: str) -> dict[str, list[float]]:
    def rows(name: str) -> list[dict[str, str]]:
        with (folder / f"{name}.csv").open(encoding="utf-8", newline="") as lines:
            return list(csv.DictReader(lines))

    found: dict[str, list[float]] = {"gentle": [], "keen": []}
    for lot_row in rows("comparison"):
        span = range(int(lot_row["first_day"]), int(lot_row["last_day"]) + 1)
        mine = [one for one in rows("days") if one["client"] == lot_row["client"]]
        counted = [
            one for one in mine
            if int(one["day"]) in span
            and one["verdict"] in ("steady", "wobbly", "short", "far_short")
        ]  # fmt: skip
        planned = [
            one for one in rows("sessions")
            if one["client"] == lot_row["client"]
            and int(one["day"]) in span and one["planned"] == "yes"
        ]  # fmt: skip
        if outcome == "practised" and planned:
            figure = sum(one["done"] == "yes" for one in planned) / len(planned)
        elif outcome == "steady" and counted:
            figure = sum(one["verdict"] == "steady" for one in counted) / len(counted)
        elif outcome == "gain" and counted:
            figure = float(counted[-1]["difficulty"]) - float(counted[0]["difficulty"])
        else:
            continue
        found[lot_row["arm"]].append(figure)
    return found


def test_who_withdraws_counts_until_then(store, trainer, ids):
    lock(store, trainer)
    drawn(store, trainer, ids[0])
    with store.write() as session:
        row = latest(session, trainer.practice_id)
        client = session.get_one(Client, ids[0])
        withdraw(session, LOT_AT + timedelta(days=5), trainer, row, client)
        withdraw(session, LOT_AT + timedelta(days=9), trainer, row, client)
        kept = session.get_one(ComparedClient, (row.id, ids[0]))
        assert kept.withdrawn_on == date.fromordinal(LOT_AT.toordinal() + 5)


def test_a_folder_without_a_comparison_says_so(store, trainer, ids, tmp_path: Path, capsys):
    with store.read() as session:
        write_research(session, tmp_path / "study", ids, b"k" * 32, AFTER.date())
    assert main(["comparison", str(tmp_path / "study")]) == 0
    assert capsys.readouterr().out == "This export holds no comparison.\n"
    assert main(["comparison", str(tmp_path)]) == 2
