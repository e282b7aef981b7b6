"""The dose counted by hand, and who stays month by month."""

from datetime import date, timedelta

from hypothesis import given
from hypothesis import strategies as st

from rungwise.evidence.dose import REASONS, Session, Stay, by_month, dose_of

MONDAY = date(2026, 3, 2)


def test_a_week_by_hand() -> None:
    days = [
        Session(MONDAY, True, True, None, 3, 55.0),
        Session(MONDAY + timedelta(days=1), False, True, None, 1, 20.0),
        Session(MONDAY + timedelta(days=2), True, False, "no_reply"),
        Session(MONDAY + timedelta(days=4), True, False, "skipped_health"),
    ]
    dose = dose_of(days)
    assert (dose.planned, dose.done, dose.extra, dose.holds) == (3, 1, 1, 4)
    assert dose.minutes == 1.25
    assert {why: count for why, count in dose.missed.items() if count} == {
        "no_reply": 1,
        "skipped_health": 1,
    }


@given(
    st.lists(
        st.builds(
            Session,
            st.just(MONDAY),
            planned=st.booleans(),
            done=st.booleans(),
            why=st.sampled_from(tuple(REASONS)),
        )
    )
)
def test_what_was_planned_was_done_or_has_a_reason(sessions: list[Session]) -> None:
    dose = dose_of(sessions)
    assert dose.planned == dose.done + sum(dose.missed.values())


def test_who_stays_month_by_month() -> None:
    stays = [
        Stay(75, (0, 40, 74), ended=False),  # in their third month
        Stay(20, (1, 2), ended=True),
        Stay(60, (5,), ended=True),  # ended at the end of the second
        Stay(10, (), ended=False),
    ]
    months = by_month(stays)
    rows = [(one.began, one.told, one.ended, one.unfinished) for one in months]
    assert rows == [(4, 3, 1, 1), (2, 1, 1, 0), (1, 1, 0, 1)]
    assert by_month([]) == ()
