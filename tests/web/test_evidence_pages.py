"""Retests, visits, the week, outcomes and the rule review, as pages."""

import csv
import io
import re
from datetime import date, timedelta
from xml.etree import ElementTree

import pytest
from icalendar import Calendar
from sqlmodel import select
from web_world import SignedIn, World

from rungwise.evidence import KINDS, VISIT_RULES
from rungwise.store.tables import ClientNote, Retest, ReviewRhythm, TrainerFeed
from rungwise.web.charts.plot import INKS

FILLED = {
    "four_stage": {"stage_1": "10", "stage_2": "10", "stage_3": "7,5"},
    "one_leg": {"left_1": "4", "left_2": "3", "left_3": "2", "right_1": "12", "right_2": "9"},
    "sppb": {"stand_1": "10", "stand_2": "9", "course_m": "4", "walk_1": "5.1", "chair_s": "15"},
    "chair_stand_30s": {"stands": "9"},
    "five_stands": {"time_s": "13.1"},
    "tug": {"time_s": "12.5", "aid": "stick"},
    "fear": {"form": "fes_i_short", "total": "12"},
}
SAYS = {
    "four_stage": "Tandem was held 7.5 s, not 10 s.",
    "one_leg": "Left leg held 4 s, under 5 s",
    "sppb": "Walk over 4 m: 5.1 s, 3 of 4 points.",
    "chair_stand_30s": "9 is under 10: below average for this age and sex.",
    "five_stands": "13.1 s is over 12.6 s: slower than average for this age.",
    "tug": "12.5 s is 12 s or more: at risk by this cut-off.",
    "fear": "12 of 7 to 28; more points mean more concern about falling.",
}


@pytest.fixture
def browser(world: World) -> SignedIn:
    return world.signed_in("tess")


def retests_at(world: World, who: str = "ada") -> str:
    return f"/clients/{world.clients[who]}/retests"


def record(world: World, browser: SignedIn, kind: str, **more: str):
    form = {"day": "2026-03-02", "age": "74", "sex": "female", "note": "", **FILLED[kind], **more}
    return browser.post(f"{retests_at(world)}/new/{kind}", **form)


# --- retests ----------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", KINDS)
def test_a_retest_is_recorded_and_stands_beside_its_norms_with_sources(
    world: World, browser: SignedIn, kind: str
) -> None:
    form = browser.page(f"{retests_at(world)}/new/{kind}")
    for entry in KINDS[kind].entries:
        assert f'name="{entry.name}"' in form
    answer = record(world, browser, kind)
    assert (answer.status_code, answer.headers["location"]) == (303, retests_at(world))
    page = browser.page(retests_at(world))
    assert SAYS[kind].replace("'", "&#39;") in page
    assert "It is not a diagnosis." in page
    assert re.search(r'<td class="cite">[^<]*(19|20)\d\d', page)
    assert "The next retest or call is due Mon 13 Apr." in page


def test_no_figure_on_the_page_is_from_memory(world: World, browser: SignedIn) -> None:
    record(world, browser, "one_leg")
    page = browser.page(retests_at(world))
    assert "mean of three tries: 15 s</td>" in page
    assert "memory" not in page


def test_a_change_is_called_measurement_error_when_it_is(world: World, browser: SignedIn) -> None:
    record(world, browser, "one_leg", day="2026-02-20")
    record(world, browser, "one_leg", left_1="14")
    page = browser.page(retests_at(world))
    assert "(250% more), now 5 s, now 10 s, within measurement error" in page
    assert "Goldberg et al. 2011" in page
    assert "Fri 20 Feb 2026" in page


@pytest.mark.parametrize(
    ("more", "sentence"),
    [
        ({"day": "2026-03-09"}, "a date within the last year"),
        ({"day": "soon"}, "a date such as"),
        ({"age": "old"}, "completed years"),
        ({"age": "7"}, "from 18 to 110"),
        ({"time_s": "quick"}, "a number, such as 8.5"),
        ({"time_s": "-4"}, "a time from 2 to 300"),
        ({"sex": "x"}, "&#39;female&#39;"),
    ],
)
def test_what_cannot_be_is_said_and_what_was_filled_in_is_kept(
    world: World, browser: SignedIn, more: dict[str, str], sentence: str
) -> None:
    answer = record(world, browser, "tug", note="In the kitchen", **more)
    assert answer.status_code == 400
    assert sentence in answer.text
    assert "In the kitchen" in answer.text
    with world.store.read() as session:
        assert session.exec(select(Retest)).all() == []


def test_a_mistake_is_taken_back(world: World, browser: SignedIn) -> None:
    record(world, browser, "tug")
    with world.store.read() as session:
        (row,) = session.exec(select(Retest)).all()
    browser.post(f"{retests_at(world)}/{row.id}/withdraw")
    assert "No retest yet." in browser.page(retests_at(world))


def test_hostile_notes_stay_words(world: World, browser: SignedIn) -> None:
    record(world, browser, "tug", note='<script>alert("x")</script>')
    page = browser.page(retests_at(world))
    assert "<script>alert" not in page
    assert "&lt;script&gt;" in page


def test_the_rhythm_and_the_weekly_text(world: World, browser: SignedIn) -> None:
    answer = browser.post(
        f"{retests_at(world)}/rhythm", weeks="4", weekly_text="true", falls_asked="true"
    )
    assert answer.status_code == 303
    with world.store.read() as session:
        rhythm = session.get_one(ReviewRhythm, world.clients["ada"])
    assert (rhythm.every_weeks, rhythm.weekly_text, rhythm.falls_asked) == (4, True, True)
    browser.post(f"{retests_at(world)}/rhythm", weeks="4", weekly_text="true")
    with world.store.read() as session:
        assert not session.get_one(ReviewRhythm, world.clients["ada"]).falls_asked
    page = browser.page(retests_at(world))
    assert "due Mon 30 Mar" in page
    assert "This week none would go" in page
    assert browser.post(f"{retests_at(world)}/rhythm", weeks="9").status_code == 400


def test_the_weekly_text_is_shown_before_it_goes(world: World, browser: SignedIn) -> None:
    world.pass_time(hours=2)
    world.reply("ada", "20 steady")
    page = browser.page(retests_at(world))
    assert "Ada, this week you made time for your balance on 1 day." in page


def test_a_call_is_a_review(world: World, browser: SignedIn) -> None:
    answer = browser.post(f"{retests_at(world)}/call", note="All well, eager")
    assert answer.status_code == 303
    with world.store.read() as session:
        assert session.exec(select(ClientNote.body)).all() == ["All well, eager"]
    empty = browser.post(f"{retests_at(world)}/call", note=" ")
    assert empty.status_code == 400
    assert "one line" in empty.text


@pytest.mark.parametrize("kind", KINDS)
def test_an_instruction_prints(browser: SignedIn, kind: str) -> None:
    page = browser.page(f"/tests/{kind}")
    assert '<ol class="numbered">' in page
    assert "common practice" in page
    assert "to-fill" in page


# --- who needs a visit, and the week ----------------------------------------------------------


def test_the_list_says_why_and_by_which_rules(world: World, browser: SignedIn) -> None:
    assert "Nobody, by the rules below." in browser.page("/visits")
    world.reply("bo", "I fell in the garden")
    page = browser.page("/visits")
    assert "Bo Specimen" in page
    assert "A fall told in the last 28 days" in page
    assert "Ada Sample" not in page
    for says in VISIT_RULES.values():
        assert says.replace("'", "&#39;") in page
    assert "There is no score." in page


def test_the_list_is_the_trainers_own(world: World) -> None:
    world.reply("cy", "I fell")
    assert "Cy Instance" not in world.signed_in("tess").page("/visits")
    assert "Cy Instance" in world.signed_in("omar").page("/visits")
    assert "Cy Instance" in world.signed_in("lena").page("/visits")


def test_the_week_shows_what_is_due_on_which_day(world: World, browser: SignedIn) -> None:
    due = date(2026, 3, 2) + timedelta(weeks=6)
    page = browser.page(f"/week?start={due.isoformat()}")
    assert re.search(
        r"Mon 13 Apr</th><td>none</td><td><a [^>]*>Ada Sample</a>, <a [^>]*>Bo Specimen</a>", page
    )
    assert "Ada Sample" not in browser.page("/week").split("Next after this week")[0]
    world.clock.advance(timedelta(days=45))
    assert "Overdue" in browser.page("/week")


@pytest.mark.parametrize("start", ["tomorrow", "9999-12-31", "0001-01-01"])
def test_a_week_that_cannot_be_is_refused(browser: SignedIn, start: str) -> None:
    assert browser.get(f"/week?start={start}").status_code == 400


def test_the_calendar_opens_at_its_private_address_only(world: World, browser: SignedIn) -> None:
    page = browser.post("/week/calendar", step="make").text
    found = re.search(r"http://127\.0\.0\.1:8780(/calendar/[\w-]{40,}\.ics)", page)
    assert found
    stranger = world.browser()
    answer = stranger.get(found[1])
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "text/calendar; charset=utf-8"
    events = Calendar.from_ical(answer.content).events
    assert sorted(str(event["SUMMARY"]) for event in events) == [
        "Retest or call: Ada", "Retest or call: Bo",
    ]  # fmt: skip
    assert stranger.get("/calendar/x.ics").status_code == 404
    assert found[1].split("/")[2] not in browser.page("/week")
    browser.post("/week/calendar", step="end")
    assert stranger.get(found[1]).status_code == 404


def test_the_weekly_email_is_asked_for_and_ended(world: World, browser: SignedIn) -> None:
    assert "no mail server set up" in browser.page("/week")
    browser.post("/week/email", wanted="true")
    assert "The next goes to tess@example.org" in browser.page("/week")
    browser.post("/week/email", wanted="false")
    with world.store.read() as session:
        assert session.get_one(TrainerFeed, world.trainers["tess"]).digest_due is None


# --- outcomes -----------------------------------------------------------------------------------


def test_outcomes_have_charts_tables_and_csv(world: World, browser: SignedIn) -> None:
    world.pass_time(hours=2)
    world.reply("ada", "20 steady")
    assert "so there is no rate" in browser.page("/outcomes?weeks=4")
    world.pass_time(days=6, hours=8)
    world.reply("ada", "no")
    world.clock.advance(timedelta(days=1))
    page = browser.page("/outcomes?weeks=4")
    assert "Your clients who ever agreed to texts: 2" in page
    assert "exact Poisson 95% interval" in page
    assert "Kaplan and Meier" in page
    for picture in re.findall(r'src="(/outcomes/[^"]+)"', page):
        answer = browser.get(picture)
        assert answer.headers["content-type"] == "image/svg+xml"
        assert ElementTree.fromstring(answer.content).tag.endswith("svg")
    rows = list(csv.DictReader(io.StringIO(browser.get("/outcomes.csv?weeks=4").text)))
    weeks = {row["row"]: row["value"] for row in rows if row["measure"] == "practised_days"}
    assert weeks["2026-03-02"] == "1"
    falls = {row["measure"]: row["value"] for row in rows if row["table"] == "falls"}
    assert (falls["people"], falls["days_answered"], falls["falls"]) == ("1", "6", "0")
    landmarks = [row for row in rows if row["table"] == "clients by landmark"]
    assert sum(int(row["value"]) for row in landmarks) == 2


@pytest.mark.parametrize("weeks", [4, 26])
def test_the_chart_and_the_table_leave_out_weeks_in_which_nobody_was_asked(
    world: World, browser: SignedIn, weeks: int
) -> None:
    world.pass_time(days=7)
    page = browser.page(f"/outcomes?weeks={weeks}")
    assert f'src="/outcomes/weeks.svg?weeks={weeks}"' in page
    assert page.count('<tr><th scope="row">Mon 2 Mar</th>') == 1
    assert '<th scope="row">Mon 23 Feb</th>' not in page
    drawn = ElementTree.fromstring(browser.get(f"/outcomes/weeks.svg?weeks={weeks}").content)
    ink = INKS["light"].ink
    bars = [
        each for each in drawn.iter("{http://www.w3.org/2000/svg}rect") if each.get("fill") == ink
    ]
    assert len(bars) == 2, "one for the week, and one in the legend"


def test_what_nobody_has_reached_is_said_and_no_dash_is_left(browser: SignedIn) -> None:
    page = browser.page("/outcomes")
    assert "not reached yet" in page
    assert "<td>-</td>" not in page
    assert "Nobody was asked to practise in these weeks." in page
    assert "Nobody has answered yet whether they fell, so there is no rate." in page


def test_the_method_is_one_press_away(browser: SignedIn) -> None:
    shown = re.sub(r"<details.*?</details>", "", browser.page("/outcomes"), flags=re.DOTALL)
    for word in ("Poisson", "Kaplan", "interval", "Lamb"):
        assert word not in shown


def test_a_lead_sees_the_whole_practice(world: World) -> None:
    assert "All clients of the practice who ever agreed to texts: 3" in world.signed_in(
        "lena"
    ).page("/outcomes")


def test_a_span_that_cannot_be_is_refused(browser: SignedIn) -> None:
    assert browser.get("/outcomes?weeks=500").status_code == 400


def test_the_same_outcomes_give_the_same_picture(browser: SignedIn) -> None:
    for name in ("weeks", "times"):
        pictures = [browser.get(f"/outcomes/{name}.svg").content for _ in range(2)]
        assert pictures[0] == pictures[1]
        dark = browser.get(f"/outcomes/{name}.svg?theme=dark").content
        assert dark != pictures[0]


# --- the rule review --------------------------------------------------------------------------


def test_the_rule_review_says_what_would_have_waited(world: World, browser: SignedIn) -> None:
    for _ in range(2):
        world.pass_time(hours=2)
        world.reply("ada", "20 steady")
        world.pass_time(hours=22)
    assert "Nothing is changed by looking." in browser.page("/rule-review")
    before = world.rung_of("ada")
    page = browser.page("/rule-review/run?preset=gentle")
    assert "With the gentle preset, 1 of 1 moves up would have waited" in page
    assert "Looked at 2 of 2 clients" in page
    assert '<progress max="2" value="2">' in page
    assert "Ada Sample" in page
    assert "</html>" in page
    assert world.rung_of("ada") == before


def test_the_rule_review_of_one_client(world: World, browser: SignedIn) -> None:
    page = browser.page(f"/rule-review/run?client={world.clients['bo']}&back_days=1")
    assert "Looked at 1 of 1 clients" in page
    assert "With back days 1, 0 of 0 moves up" in page
    theirs = world.clients["cy"]
    assert browser.get(f"/rule-review/run?client={theirs}&preset=gentle").status_code == 404
    assert browser.get(f"/rule-review?client={theirs}").status_code == 404


@pytest.mark.parametrize(
    ("query", "sentence"),
    [
        ("preset=", "a preset, or at least one setting"),
        ("preset=bold", "one of gentle, usual, keen"),
        ("steady_days_step=many", "a number from 2 to 14"),
        ("back_days=9", "a whole number from 1 to 3"),
    ],
)
def test_settings_that_cannot_be_are_said(browser: SignedIn, query: str, sentence: str) -> None:
    page = browser.page(f"/rule-review/run?{query}", 400)
    assert sentence in page


def test_no_page_has_script_or_style_inside_it(world: World, browser: SignedIn) -> None:
    record(world, browser, "sppb")
    paths = ["/visits", "/week", "/outcomes", "/rule-review/run?preset=keen", retests_at(world)]
    for path in [*paths, f"{retests_at(world)}/new/sppb", "/tests/sppb"]:
        page = browser.page(path)
        assert "<style" not in page
        assert " style=" not in page
        assert not re.search(r"<script(?! src=)", page)
        assert not re.search(r"\son\w+=", page)
