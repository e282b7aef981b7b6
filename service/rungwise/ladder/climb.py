"""Rule version 2: large steps until the first real wobble, then ever smaller ones.

An up-down rule whose steps the second opinion guides (adaptive step sizes: Levitt 1971, J Acoust
Soc Am 49:467-477; Taylor & Creelman 1967, J Acoust Soc Am 41:782-787; the choice of the next task
by the posterior: Watson & Pelli 1983; all from memory). After enough steady days a client goes to
the furthest rung that the second opinion thinks likely enough to be held, inside bounds that no
opinion moves: never past a closed gate or the next landmark, never less support and a narrower base
at once, never into a stance new to the client but at its first rung, one move up a date. A bad day
goes back no further than to what was held twice. docs/rule.md tells the whole rule.
"""

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from itertools import takewhile

from rungwise.ladder.absence import caution_for
from rungwise.ladder.belief import Belief, Told, belief_from, footing, told_by, told_days
from rungwise.ladder.bounds import about_another_rung, closed_gate, join, now_on, safety_first
from rungwise.ladder.caution import Caution
from rungwise.ladder.day import DayJudged, DayReport, judge_day
from rungwise.ladder.moves import Move, MoveKind, PastDay, Plan
from rungwise.ladder.reach import Bounds, Climb, climb_in
from rungwise.ladder.rungs import Ladder, Rung

UNCOUNTED = frozenset({"skipped", "unfinished"})
FIRST_QUANTILE, LATER_QUANTILE = 0.25, 0.30
LARGE_STEP, LARGE_QUANTILE = 1.2, 0.13  # logits; what such a step must be likely at
LATER_MORE = 0.18  # the same for any step after the first real wobble
WITHOUT_LEAST = 0.5  # where the plan asks for no least chance
REAL_WOBBLE_UNDER = 0.8  # a bad day where a steady hold was likelier than this is bad luck
NEARLY = 0.8  # of the target; common practice, no source
BACK_LIKELY = 0.8  # a move back seeks a rung that is held with this chance
BACK_UNDER = 0.5  # back at once from a rung that is less likely held than this
UNPROVEN_UNDER = 0.75  # the same while nothing was held twice yet: the placement may be too high
REGAIN_LIKELY, REGAIN_WOBBLED = 0.7, 0.85  # back up to ground held before, by the median
HELD_BACK_DAYS = 14
STEADY_WINDOW_MORE = 2  # the steady days asked for may lie among so many more judged days


@dataclass(slots=True)
class _Case:
    """One decision's inputs, with what every branch needs worked out once."""

    ladder: Ladder
    plan: Plan
    caution: Caution
    history: Sequence[PastDay]
    report: DayReport
    rung: Rung
    place: int
    judged: DayJudged
    climb: Climb
    facts: dict[str, object]
    told: Sequence[Told]

    def move(
        self, kind: MoveKind, to: int, rule: str, because: str, *alerts: str, **facts: object
    ) -> Move:
        told = {**self.facts, "climb": asdict(self.climb), **facts}
        to_key = self.ladder.rungs[to].key
        return Move(kind, self.rung.key, to_key, rule, because, alerts, told, 2)

    def stay(self, rule: str, because: str, *alerts: str, **facts: object) -> Move:
        return self.move("stay", self.place, rule, because, *alerts, **facts)

    def belief(self) -> Belief:
        """What was known just before today's report."""
        return belief_from(self.ladder, self.plan, self.told, self.place, self.report.day)


def decide_climb(ladder: Ladder, plan: Plan, history: Sequence[PastDay], report: DayReport) -> Move:
    """The move after `report` under rule version 2. `history` as for `decide`."""
    here = now_on(ladder, history, report)
    facts: dict[str, object] = {
        "day": report.day.isoformat(),
        "rung": here,
        "target_s": plan.target_s,
        "caution": plan.caution.name,
    }
    climb = climb_in(history)
    held = safety_first(plan, history, report, here, facts)
    if held is not None:
        return _kept(held, climb)
    if here not in ladder:
        because = "The rung the client told about is no longer on their ladder: choose a rung."
        return Move("stay", here, here, "unknown_rung", because, ("stuck",), facts, 2)
    if report.rung_key != here:
        return _kept(about_another_rung(ladder, plan, report, here, facts), climb)
    caution = caution_for(plan, history, report.day)
    judged = judge_day(ladder[here], report, plan.target_s, caution.far_short_share)
    facts.update(caution=caution.name, verdict=judged.verdict, shortest_s=judged.shortest_s)
    if judged.by_side:
        facts["by_side_s"] = {side.value: held for side, held in judged.by_side.items()}
    rung, place = ladder[here], ladder.index(here)
    told = told_days(ladder, plan, history)
    case = _Case(ladder, plan, caution, history, report, rung, place, judged, climb, facts, told)
    if judged.bad:
        return _after_bad_day(case)
    if judged.verdict == "steady":
        return _after_steady_day(case)
    return _after_uncounted_day(case)


def _kept(move: Move, climb: Climb) -> Move:
    """A move that other rules made, under this version, with the climb carried on."""
    facts = move.facts if move.kind == "rest" else {**move.facts, "climb": asdict(climb)}
    return replace(move, facts=facts, version=2)


def _after_uncounted_day(case: _Case) -> Move:
    if case.judged.verdict == "skipped":
        return case.stay("skipped", "Not practised: the day counts neither way.")
    missing = list(case.judged.missing)
    because = f"The report lacks {join(missing)}: the day counts neither way."
    return case.stay("unfinished", because, missing=missing)


# --- back -----------------------------------------------------------------------------------------


def _after_bad_day(case: _Case) -> Move:
    known = case.belief()
    before = known.chances(0.5).on(case.rung)
    told_by(known, case.rung, case.report, case.judged.verdict)
    median = known.chances(0.5)
    now = median.on(case.rung)
    case.climb = case.climb.after_bad(before < REAL_WOBBLE_UNDER)
    bad = 1 + _bad_before(case)
    case.facts.update(chance=_rounded(now), bad_days=bad, window=case.caution.back_window_days)
    if case.judged.verdict == "far_short":
        rule = "far_short"
        because = (
            f"Held {case.judged.shortest_s:g} s of {case.plan.target_s}, "
            f"under {case.caution.far_short_share:.0%} of the target"
        )
    elif bad >= case.caution.back_days:
        rule = "bad_days"
        because = f"Wobbly or short on {bad} of the last days here"
    elif now < (BACK_UNDER if _twice_steady(case) >= 0 else UNPROVEN_UNDER) and not _nearly(case):
        rule = "unlikely"
        because = f"Wobbly or short, and a steady hold here has a chance of about {now:.0%}"
    else:
        word = "wobbly" if case.judged.verdict == "wobbly" else f"{case.judged.shortest_s:g} s"
        because = f"Today was {word}: the same rung again."
        return case.stay("one_bad_day", because)
    to = _back_to(case, known)
    if to == case.place:
        return case.stay("lowest", f"{because}, and there is no easier rung: please look.", "stuck")
    backs = 1 + sum(
        past.move.kind == "back" and past.move.from_key == case.rung.key
        for past in _since_look(case)
        if past.report is not None
    )
    because = f"{because}: back to {_steps(case.place - to)}."
    if backs < case.caution.stuck_backs or rule == "unlikely":
        return case.move("back", to, rule, because, backs_from_here=backs)
    days = case.caution.stuck_window_days
    because += f" That makes {backs} backs from this rung in {days} days, so no move up to it yet."
    return case.move("back", to, rule, because, "stuck", backs_from_here=backs)


def _nearly(case: _Case) -> bool:
    """Whether the hold was told steady and all but reached the target: no reason to go back yet."""
    held = case.judged.shortest_s
    steady = case.report.steadiness == "steady"
    return steady and held is not None and held >= NEARLY * case.plan.target_s


def _back_to(case: _Case, known: Belief) -> int:
    """The hardest easier rung held twice, if likely held; else the likeliest way down.

    At most one landmark, at least one rung, if there is one.
    """
    if case.place == 0:
        return 0
    floor = case.ladder.index(case.ladder.landmark_below(case.rung.key).key)
    median = known.chances(0.5)
    twice = min(_twice_steady(case), case.place - 1)
    for place in range(case.place - 1, floor, -1):
        likely = median.on(case.ladder.rungs[place])
        if likely >= BACK_LIKELY or (place <= twice and likely >= _least(case)):
            return place
    return floor


def _bad_before(case: _Case) -> int:
    """Bad days among the last judged ones of the present stay on the rung, without today."""
    bad = judged = 0
    for past in reversed(case.history):
        if past.move.to_key != case.rung.key or past.move.kind != "stay":
            break
        verdict = past.move.facts.get("verdict")
        if past.report is None or verdict in ("skipped", "unfinished", None):
            continue
        if judged >= case.caution.back_window_days - 1:
            break
        judged += 1
        bad += verdict != "steady"
    return bad


def _since_look(case: _Case) -> list[PastDay]:
    """Past entries within the stuck window since the trainer's last placement, newest first."""
    window = case.caution.stuck_window_days
    return list(
        takewhile(
            lambda past: (
                past.move.kind != "override" and (case.report.day - past.day).days <= window
            ),
            reversed(case.history),
        )
    )


def _steps(rungs: int) -> str:
    return "the rung below" if rungs == 1 else f"the rung {rungs} below"


# --- up -------------------------------------------------------------------------------------------


def _after_steady_day(case: _Case) -> Move:
    """Up as far as the bounds and the second opinion allow; each hold has its own reason."""
    needed = case.caution.steady_days_step
    run = 1 + _steady_before(case, needed + STEADY_WINDOW_MORE - 1)
    regain_to = _lost(case, _twice_steady(case))
    lost = regain_to > case.place
    returning = case.caution is not case.plan.caution
    if returning:  # the week after a rest is gentle: no large steps
        case.climb = replace(case.climb, reach=1)
    first = 1 if lost and not returning else needed
    case.facts.update(steady_days=run, steady_days_needed=first)
    if run < first:
        return case.stay("gathering", f"Steady on {_running(run)}; {first} are needed.")
    steady = f"Steady on {_running(run)}"
    above = case.ladder.above(case.rung.key)
    gate = "top" if above is None else closed_gate(case.ladder, case.plan, above)
    if gate is not None:
        return _held_at_gate(case, steady, gate)
    if _up_already(case):
        return case.stay("one_move_a_day", f"{steady}, but there was a move up for this date.")
    practised = {one.place for one in case.told if one.report is not None} | {case.place}
    bounds = Bounds(practised, _stuck_at(case), regain_to if lost else None)
    allowed = bounds.allowed(case.ladder, case.plan, case.place, case.climb.reach)
    if not allowed:
        because = (
            f"{steady}, but moves up wait after repeated backs from the next rung: look and choose "
            f"a rung, or wait until {case.caution.stuck_window_days} days have passed."
        )
        return case.stay("stuck", because)
    known = case.belief()
    told_by(known, case.rung, case.report, "steady")
    regained = _regained(case, known, allowed, regain_to, steady) if lost else None
    if regained is not None or run >= needed:
        return regained or _climb(case, known, allowed, steady)
    return case.stay("gathering", f"{steady}; {needed} are needed.")


def _regained(
    case: _Case, known: Belief, allowed: list[int], lost: int, steady: str
) -> Move | None:
    """Back up to ground held before, as far as the median goes along; None if it doesn't."""
    median = known.chances(0.5)
    least = REGAIN_WOBBLED if case.climb.wobbled else REGAIN_LIKELY
    likely = (n for n in allowed if median.on(case.ladder.rungs[n]) >= least)
    to = max((n for n in likely if n <= lost), default=None)
    if to is None:
        return None
    case.climb = case.climb.after_up(_new_round(case, to))
    because = f"{steady}, on easier ground than was held before: {_up(to - case.place)}."
    return case.move("up", to, "regain", because)


def _climb(case: _Case, known: Belief, allowed: list[int], steady: str) -> Move:
    quantile, least = FIRST_QUANTILE, _least(case)
    if case.climb.wobbled:
        quantile, least = LATER_QUANTILE, min(least + LATER_MORE, 0.95)
    low, lower = known.chances(quantile), known.chances(LARGE_QUANTILE)
    on = {n: (lower if _large(case, n) else low).on(case.ladder.rungs[n]) for n in allowed}
    likely = [n for n in allowed if on[n] >= least]
    chance = on[max(likely, default=allowed[0])]
    case.facts.update(chance=_rounded(chance), quantile=quantile, least_chance=_rounded(least))
    if likely:
        to = max(likely)
        case.climb = case.climb.after_up(_new_round(case, to))
        return case.move("up", to, "climb", f"{steady}: {_up(to - case.place)}.")
    days = case.climb.held_back + 1
    case.climb = replace(case.climb, held_back=days)
    because = (
        f"{steady}, but the chance of a steady hold on the next rung may be as low as "
        f"{chance:.0%}, under the {least:.0%} asked for: more practice here."
    )
    if days % HELD_BACK_DAYS:
        return case.stay("second_opinion", because)
    because += f" That is so for {days} practised days: look, and choose the rung yourself."
    return case.stay("second_opinion", because, "held_back")


def _stuck_at(case: _Case) -> set[int]:
    """The rungs that repeated backs closed until the trainer looked or the window has passed."""
    return {
        case.ladder.index(past.move.from_key)
        for past in _since_look(case)
        if past.move.kind == "back"
        and "stuck" in past.move.alerts
        and past.move.from_key in case.ladder
    }


def _twice_steady(case: _Case) -> int:
    """The hardest place with two steady days at it or above, today's among them; -1 if none."""
    places = [one.place for one in case.told if one.verdict == "steady"]
    if case.judged.verdict == "steady":
        places.append(case.place)
    places.sort(reverse=True)
    return places[1] if len(places) > 1 else -1


def _steady_before(case: _Case, window: int) -> int:
    """Steady days on this rung or above among the last `window` judged ones before today.

    A bad day among them doesn't take the others' word away: the second opinion weighs it.
    """
    steady = judged = 0
    for one in reversed(case.told):
        if one.verdict is None or judged >= window:
            break  # placed by the trainer, or an absence
        if one.verdict in UNCOUNTED or one.day >= case.report.day:
            continue
        judged += 1
        steady += one.verdict == "steady" and one.place >= case.place
    return steady


def _lost(case: _Case, twice: int) -> int:
    """The hardest place that was held twice, or that the latest move back came from."""
    for past in reversed(case.history):
        if past.move.kind in ("up", "override"):
            break
        if past.move.kind == "back" and past.move.from_key in case.ladder:
            return max(twice, case.ladder.index(past.move.from_key))
    return twice


def _held_at_gate(case: _Case, steady: str, gate: str) -> Move:
    """Tells the trainer once per stay on the rung and gate; `gate_told` carries that on."""
    if gate == "top":
        because = f"{steady}, and this is the top of the ladder as you limited it."
    else:
        because = f"{steady}, but the gate '{gate.replace('_', ' ')}' is closed."
    alerts = () if _gate_told(case) == gate else ("gate_reached",)
    rule = "top" if gate == "top" else "gate"
    return case.stay(rule, because, *alerts, gate=gate, gate_told=gate)


def _gate_told(case: _Case) -> object:
    for past in reversed(case.history):
        if past.move.kind != "stay" or past.move.to_key != case.rung.key:
            return None
        if "gate_told" in past.move.facts:
            return past.move.facts["gate_told"]
    return None


def _large(case: _Case, place: int) -> bool:
    """Whether the step is so much harder that only a surer opinion will do."""
    return footing(case.ladder.rungs[place]) - footing(case.rung) > LARGE_STEP


def _up_already(case: _Case) -> bool:
    """Whether there was a move up for this date, or for a later one when this is a correction."""
    latest = takewhile(lambda past: past.day >= case.report.day, reversed(case.history))
    return any(past.move.kind == "up" for past in latest)


def _least(case: _Case) -> float:
    least = case.caution.least_chance
    return WITHOUT_LEAST if least is None else least


def _new_round(case: _Case, to: int) -> bool:
    return case.ladder.rungs[to].round != case.rung.round


def _rounded(chance: float) -> float:
    return round(chance, 3)


def _running(days: int) -> str:
    return "1 day" if days == 1 else f"{days} days"


def _up(rungs: int) -> str:
    return "up one rung" if rungs == 1 else f"up {rungs} rungs"
