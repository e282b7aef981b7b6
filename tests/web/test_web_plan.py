"""Changing a plan, pausing, ending a rest, writing to a client, notes, and the record of it all."""

import re
from datetime import date, timedelta
from typing import Any

import pytest
from screened import UNHURT_FORM
from sqlmodel import col, select
from web_world import PROFILE, SignedIn, World

from rungwise.coach.record.audit import record
from rungwise.coach.record.codec import ladder_of
from rungwise.coach.record.situation import Situation, load
from rungwise.store.tables import Audit, Client, ClientNote, Due, Message, Trainer
from rungwise.web.ui.labels import change_words, marked, plan_value, read_as

LADDER = ladder_of(PROFILE)
LANDMARKS = [rung.key for rung in LADDER.rungs if rung.landmark]
LOWEST = LADDER.rungs[0].key


def address(world: World, more: str = "", who: str = "ada") -> str:
    return f"/clients/{world.clients[who]}{more}"


def situation_of(world: World, who: str = "ada") -> Situation:
    with world.store.read() as session:
        found = load(session, session.get_one(Client, world.clients[who]))
        assert found is not None
        return found


def form_of(world: World, browser: SignedIn, **changed: Any) -> dict[str, Any]:
    """The plan form as the page shows it, with some of it changed."""
    page = browser.page(address(world, "/plan"))
    version = re.search(r'name="version" value="(\d+)"', page)
    assert version
    as_it_is = {
        "version": version[1],
        "prompt_at": "09:00",
        "weekdays": list(range(7)),
        "reminder_at": "18:00",
        "target_s": 20,
        "caution": "usual",
        "ceiling": "",
    }
    return as_it_is | changed


def save(world: World, browser: SignedIn, **changed: Any):
    return browser.post(address(world, "/plan"), **form_of(world, browser, **changed))


def test_a_client_changes_over_on_the_trainers_word_with_a_preview(world: World) -> None:
    browser = world.signed_in()
    assert situation_of(world).settings.rule_version == 2
    assert "Changing over" not in browser.page(address(world, "/plan"))
    save(world, browser, rule=1)
    assert situation_of(world).settings.rule_version == 1
    assert situation_of(world).settings.plan(resting=False).rule_version == 1
    page = browser.page(address(world, "/plan"))
    assert "Changing over to version 2 leaves" in page
    save(world, browser, rule=1)  # nothing changes unless it is asked for
    assert situation_of(world).settings.rule_version == 1
    key = situation_of(world).placement.rung_key
    save(world, browser, rule=2)
    assert situation_of(world).settings.rule_version == 2
    assert situation_of(world).placement.rung_key == key
    assert save(world, browser, rule=7).status_code == 400


# --- the plan -------------------------------------------------------------------------------------


def test_everything_in_the_form_is_stored_and_the_next_text_follows_it(world: World) -> None:
    browser = world.signed_in()
    done = save(
        world,
        browser,
        prompt_at="10:30",
        weekdays=[0, 2, 4],
        remind="true",
        reminder_at="18:15",
        target_s=15,
        caution="gentle",
        away_from=["2026-03-04", ""],
        away_until=["2026-03-06", ""],
        ceiling=LANDMARKS[3],
    )
    assert (done.status_code, done.headers["location"]) == (303, address(world, "#plan"))
    settings = situation_of(world).settings
    assert f"{settings.prompt_at:%H:%M} {settings.reminder_at:%H:%M}" == "10:30 18:15"
    assert settings.weekdays == {0, 2, 4}
    assert (settings.target_s, settings.caution.name) == (15, "gentle")
    assert settings.away == ((date(2026, 3, 4), date(2026, 3, 6)),)
    assert situation_of(world).ladder.rungs[-1].key == LANDMARKS[3]
    with world.store.read() as session:
        due = session.exec(
            select(Due).where(Due.kind == "prompt", Due.subject_id == world.clients["ada"])
        ).one()
        assert due.at.isoformat() == "2026-03-02T15:30:00+00:00"
    world.pass_time(hours=3)
    assert "Hold 15 sec" in world.sent("ada", "prompt")[-1].body
    page = world.signed_in().page(address(world))
    assert "Mon, Wed, Fri at 10:30" in page
    assert "Wed 4 Mar to Fri 6 Mar 2026" in page
    assert "hour of the text: 09:00, then 10:30" in page.lower()


@pytest.mark.parametrize(
    ("hour", "due"),
    [
        ({"remind": "true", "reminder_at": "16:30"}, "2026-03-02T21:30:00+00:00"),
        ({"remind": "true", "reminder_at": "09:05"}, None),  # that hour has passed today
        ({}, None),
    ],
)
def test_a_reminder_that_waits_moves_to_the_new_hour(
    world: World, hour: dict[str, str], due: str | None
) -> None:
    browser = world.signed_in()
    save(world, browser, remind="true", reminder_at="18:15")
    world.pass_time(hours=2)  # today's text has gone
    assert save(world, browser, **hour).status_code == 303
    with world.store.read() as session:
        mine = (Due.kind == "reminder", Due.subject_id == world.clients["ada"])
        waits = session.exec(select(Due).where(*mine)).first()
    assert (waits.at.isoformat() if waits else None) == due
    world.pass_time(hours=7.5)
    assert len(world.sent("ada", "reminder")) == (due is not None)


def test_nothing_changed_stores_nothing(world: World) -> None:
    browser = world.signed_in()
    before = situation_of(world).plan_row.version
    assert save(world, browser).status_code == 303
    assert situation_of(world).plan_row.version == before


def test_old_plans_stay_so_that_old_moves_can_be_replayed(world: World) -> None:
    browser = world.signed_in()
    save(world, browser, target_s=15)
    save(world, browser, target_s=25)
    assert situation_of(world).plan_row.version == 3


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"prompt_at": "22:00"}, "from 08:00 to before 21:00"),
        ({"prompt_at": "noon"}, "a time of day such as 09:00"),
        ({"weekdays": []}, "at least one day"),
        ({"target_s": 31}, "from 10 to 30 seconds"),
        ({"target_s": 9}, "from 10 to 30 seconds"),
        ({"caution": "reckless"}, "one of gentle, usual, keen"),
        ({"remind": "true", "reminder_at": "08:30"}, "later than the prompt"),
        ({"remind": "true", "reminder_at": "23:00"}, "from 08:00 to before 21:00"),
        ({"away_from": ["2026-03-09"], "away_until": ["2026-03-02"]}, "in order"),
        ({"away_from": ["2026-03-09"], "away_until": ["2028-03-09"]}, "a year at most"),
        ({"away_from": ["soon"], "away_until": [""]}, "two dates such as"),
        ({"ceiling": "firm/parallel/o999/hover"}, "a rung of this client"),
        ({"gates": ["the_garden"]}, "a gate of this client"),
    ],
)
def test_what_cannot_be_is_refused_with_a_sentence_and_the_form_kept(
    world: World, changed: dict[str, Any], said: str
) -> None:
    browser = world.signed_in()
    refused = save(world, browser, **{"target_s": 12, **changed})
    assert refused.status_code == 400
    assert said in refused.text.replace("&#39;", "'")
    if "target_s" not in changed:
        assert 'value="12"' in refused.text
    assert situation_of(world).plan_row.version == 1


def test_a_ceiling_below_the_client_is_refused(world: World) -> None:
    browser = world.signed_in()
    page = browser.page(address(world, f"/override?rung_key={LANDMARKS[0]}"))
    version = re.search(r'name="version" value="(\d+)"', page)
    assert version
    browser.post(
        address(world, "/override"), rung_key=LANDMARKS[0], reason="Seen", version=version[1]
    )
    refused = save(world, browser, ceiling=LOWEST)
    assert refused.status_code == 400
    assert "above that ceiling" in refused.text
    assert save(world, browser, ceiling=LANDMARKS[0]).status_code == 303
    assert len(situation_of(world).ladder) == LADDER.index(LANDMARKS[0]) + 1
    # The ceiling can be raised again: the form offers what lies above it.
    assert LANDMARKS[4] in browser.page(address(world, "/plan"))
    assert save(world, browser, ceiling="").status_code == 303
    assert len(situation_of(world).ladder) == len(LADDER)


def test_a_gate_opens_closes_and_stays_open_behind_the_client(world: World) -> None:
    browser = world.signed_in()
    assert save(world, browser, gates=["single_leg"]).status_code == 303
    assert situation_of(world).settings.open_gates == {"single_leg"}
    assert save(world, browser, gates=[]).status_code == 303
    assert situation_of(world).settings.open_gates == frozenset()
    gated = next(rung.key for rung in LADDER.rungs if rung.gate == "single_leg")
    version = form_of(world, browser)["version"]
    browser.post(
        address(world, "/override"), rung_key=gated, reason="Seen", version=version, meant="true"
    )
    assert world.rung_of("ada") == gated
    assert situation_of(world).settings.open_gates == {"single_leg"}
    refused = save(world, browser, gates=[])
    assert refused.status_code == 400
    assert "past that gate" in refused.text


def test_a_second_trainers_edit_in_between_is_shown_not_overwritten(world: World) -> None:
    browser, lead = world.signed_in(), world.signed_in("lena")
    mine = form_of(world, browser, target_s=12)
    save(world, lead, target_s=25)
    late = browser.post(address(world, "/plan"), **mine)
    assert late.status_code == 409
    assert "Somebody changed this client" in late.text
    assert "Lena Placeholder" in late.text
    assert 'value="12"' in late.text
    assert situation_of(world).settings.target_s == 25


# --- pausing and resting --------------------------------------------------------------------------


def test_pausing_and_beginning_again(world: World) -> None:
    browser = world.signed_in()
    version = form_of(world, browser)["version"]
    assert browser.post(address(world, "/pause"), version=version).status_code == 303
    world.pass_time(days=2)
    assert world.client("ada").state == "paused"
    assert world.sent("ada", "prompt") == []
    stale = browser.post(address(world, "/resume"), version=version)
    assert stale.status_code == 409
    version = form_of(world, browser)["version"]
    assert browser.post(address(world, "/resume"), version=version).status_code == 303
    world.pass_time(days=1)
    assert world.client("ada").state == "active"
    assert world.sent("ada", "prompt")


def test_a_rest_ends_only_when_the_trainer_says_so_and_no_alert_is_open(world: World) -> None:
    world.pass_time(hours=2)
    world.reply("ada", "I fell in the kitchen")
    browser = world.signed_in()
    here = world.rung_of("ada")
    form = {"rung_key": here, "reason": "Well again", "ends_rest": "true"}
    refused = browser.post(
        address(world, "/override"), **form, version=form_of(world, browser)["version"]
    )
    assert refused.status_code == 400
    assert "still open" in refused.text
    for alert in world.alerts("ada"):
        browser.post(f"/alerts/{alert.id}/handle", quick="Phoned: all is well", **UNHURT_FORM)
    assert world.client("ada").state == "resting"
    ended = browser.post(
        address(world, "/override"), **form, version=form_of(world, browser)["version"]
    )
    assert ended.status_code == 303
    world.tick()
    assert world.client("ada").state == "active"
    assert "practice again" in world.sent("ada", "notice")[-1].body


# --- writing to a client --------------------------------------------------------------------------


def write(world: World, browser: SignedIn, body: str, once: str = "a", **more: str):
    return browser.post(address(world, "/texts"), body=body, once=once, **more)


def test_ones_own_words_go_out_once_and_stand_in_the_thread(world: World) -> None:
    browser = world.signed_in()
    for _ in range(2):
        sent = write(world, browser, "I’ll call you at three – Tess")
        assert (sent.status_code, sent.headers["location"]) == (303, address(world, "#texts"))
    world.tick()
    (text,) = world.sent("ada", "own")
    assert text.body == "I'll call you at three - Tess"
    assert "From you, delivered; 1 segment" in browser.page(address(world))


def test_segments_are_counted_before_anything_leaves(world: World) -> None:
    browser = world.signed_in()
    looked = write(world, browser, "x" * 161, step="look")
    assert looked.status_code == 200
    assert "2 segments, 161 characters" in looked.text
    emoji = write(world, browser, "Well done \N{PARTY POPPER} Ж", step="look")
    assert "a letter is outside the plain alphabet" in emoji.text
    world.tick()
    assert world.sent("ada", "own") == []


@pytest.mark.parametrize(("body", "said"), [(" ", "some words"), ("x" * 700, "at most 4 segments")])
def test_a_text_of_nothing_or_too_much_is_refused(world: World, body: str, said: str) -> None:
    refused = write(world, world.signed_in(), body)
    assert refused.status_code == 400
    assert said in refused.text
    world.tick()
    assert world.sent("ada", "own") == []


def test_at_night_it_is_asked_for_twice(world: World) -> None:
    world.clock.advance(timedelta(hours=15))  # 23:00 in New York
    browser = world.signed_in()
    refused = write(world, browser, "Good night")
    assert refused.status_code == 400
    assert "It is 23:00 where the client is" in refused.text
    assert 'name="at_night"' in refused.text
    assert write(world, browser, "Good night", at_night="true").status_code == 303
    world.tick()
    assert len(world.sent("ada", "own")) == 1


def test_a_client_who_stopped_is_not_written_to(world: World) -> None:
    world.reply("ada", "STOP")
    browser = world.signed_in()
    assert "they were stopped with STOP" in browser.page(address(world))
    refused = write(world, browser, "Please come back")
    assert refused.status_code == 400
    assert "Phone instead" in refused.text
    world.tick()
    assert world.sent("ada", "own") == []


# --- notes and the record of changes --------------------------------------------------------------


def test_notes_are_kept_with_writer_and_hour(world: World) -> None:
    browser = world.signed_in()
    words = "Daughter Ines visits on Sundays.\nKey with the neighbour <b>"
    assert browser.post(address(world, "/notes"), body=words).status_code == 303
    page = browser.page(address(world))
    assert "Daughter Ines visits on Sundays.\nKey with the neighbour &lt;b&gt;" in page
    assert "Tess Example" in page
    assert browser.post(address(world, "/notes"), body="  ").status_code == 400
    with world.store.read() as session:
        assert len(session.exec(select(ClientNote)).all()) == 1


def test_every_act_is_in_the_history_and_no_text_or_note(world: World) -> None:
    browser = world.signed_in()
    save(world, browser, target_s=15)
    write(world, browser, "Call me when you can")
    browser.post(address(world, "/notes"), body="Walks with a stick")
    page = browser.page(address(world, "/history"))
    for sentence in ("Changed the plan.", "Hold target: 20 s, then 15 s.", "Wrote a text.",
                     "Added a note.", "Client added."):  # fmt: skip
        assert sentence in page
    assert "Call me" not in page
    with world.store.read() as session:
        kept = " ".join(str(line.detail) for line in session.exec(select(Audit)).all())
    assert "stick" not in kept
    assert "Call me" not in kept


def test_a_long_history_is_paged(world: World) -> None:
    with world.store.write() as session:
        for place in range(60):
            trainer = session.get_one(Trainer, world.trainers["tess"])
            action = f"looked {place}"
            record(session, world.clock.now(), trainer, action, client_id=world.clients["ada"])
    browser = world.signed_in()
    page = browser.page(address(world, "/history"))
    assert page.count('<li class="entry">') == 50
    assert "Earlier changes" in page
    assert "Later changes" in browser.page(address(world, "/history?page=2"))


def test_the_thread_pages_back(world: World) -> None:
    world.pass_time(days=6)
    for _ in range(12):
        world.clock.advance(timedelta(minutes=2))
        world.reply("ada", "what is hover?")
    page = world.signed_in().page(address(world))
    earlier = re.search(r'href="(\?before=\d+)#texts"', page)
    assert earlier
    older = world.signed_in().page(address(world) + earlier[1])
    assert "Hello Ada, this is Harbour Balance" in older
    assert "Latest texts" in older


# --- pictures -------------------------------------------------------------------------------------


def test_the_chart_is_a_picture_with_a_table_beside_it(world: World) -> None:
    world.pass_time(hours=2)
    world.reply("ada", "18 wobbly")
    browser = world.signed_in()
    page = browser.page(address(world))
    assert "<td>18 s</td><td>20 s</td><td>short</td>" in page
    for theme in ("light", "dark", "none such"):
        drawn = browser.get(address(world, f"/holds.svg?theme={theme}&weeks=6"))
        assert drawn.headers["content-type"] == "image/svg+xml"
        assert b"seconds held" in drawn.content
        assert b"<script" not in drawn.content
    assert browser.get(address(world, "/holds.svg", "cy")).status_code == 404
    assert browser.get(address(world, "/holds.svg?weeks=500")).status_code == 400


def test_the_same_days_give_the_same_picture(world: World) -> None:
    world.pass_time(hours=2)
    world.reply("ada", "20 steady")
    browser = world.signed_in()
    one, two = (browser.get(address(world, "/holds.svg")).content for _ in range(2))
    assert one == two


def test_rungs_are_chosen_by_their_drawing(world: World) -> None:
    browser = world.signed_in()
    page = browser.page(address(world, "/override"))
    shown = re.findall(r'<img src="(/clients/\d+/feet\.svg\?rung_key=[^"]+)"', page)
    assert len(shown) == len({LOWEST, *LANDMARKS})
    for theme, ink in (("light", "#1f2935"), ("dark", "#ebe5d7")):
        drawn = browser.get(f"{shown[0]}&theme={theme}")
        assert drawn.headers["content-type"] == "image/svg+xml"
        assert f'color="{ink}"' in drawn.text
    assert browser.get(address(world, "/feet.svg?rung_key=firm/none")).status_code == 404
    cy = address(world, f"/feet.svg?rung_key={LOWEST}", "cy")
    assert browser.get(cy).status_code == 404


def test_the_ladder_is_drawn_with_landmarks_gate_place_and_ceiling(world: World) -> None:
    browser = world.signed_in()
    page = browser.page(address(world))
    ladder = page[page.index('class="ladder"') : page.index("</svg>", page.index('class="ladder"'))]
    assert "Feet together" in ladder
    assert "Gate: single leg, closed" in ladder
    assert ">Now<" in ladder
    assert "Ceiling" not in ladder
    assert "Rung 1 of 57. Next landmark: Side by side, 8.5 cm apart, one rung up." in page
    save(world, browser, ceiling=LANDMARKS[3], gates=[])
    page = browser.page(address(world))
    assert ">Ceiling<" in page
    assert "Gate:" not in page[page.index('class="ladder"') :]


# --- words ----------------------------------------------------------------------------------------


def test_words_are_marked_where_the_reader_saw_something() -> None:
    body = "I fell, 20 s"
    reading = {"because": {"fall": [{"start": 2, "end": 6}], "holds": [{"start": 8, "end": 10}]}}
    pieces = marked(body, reading)
    assert "".join(piece.text for piece in pieces) == body
    assert read_as(pieces) == [("fell", "a fall"), ("20", "seconds held")]


@pytest.mark.parametrize(
    "because",
    [
        {"fall": [{"start": -5, "end": 400}]},
        {"fall": [{"start": 3, "end": 3}]},
        {"fall": [{"start": 0, "end": 4}], "pain": [{"start": 2, "end": 6}]},
        {},
    ],
)
def test_marking_never_changes_a_word(because: dict[str, Any]) -> None:
    body = "fell <b> & more"
    assert "".join(piece.text for piece in marked(body, {"because": because})) == body
    assert "".join(piece.text for piece in marked(body, None)) == body


def test_overlapping_marks_name_both() -> None:
    because = {"fall": [{"start": 0, "end": 4}], "pain": [{"start": 2, "end": 6}]}
    assert read_as(marked("abcdefg", {"because": because})) == [
        ("ab", "a fall"),
        ("cd", "a fall, pain"),
        ("ef", "pain"),
    ]


def test_changes_are_told_in_words() -> None:
    changed = {
        "weekdays": [[0, 1, 2, 3, 4, 5, 6], [0, 3]],
        "away": [[], [["2026-05-01", "2026-05-09"]]],
        "open_gates": [[], ["single_leg"]],
        "ceiling": [None, "key"],
        "reminder_at": [None, "18:00"],
    }
    assert change_words("plan changed", {"changed": changed}, str.upper) == [
        "Changed the plan.",
        "Practice days: every day, then Mon, Thu.",
        "Dates away: none, then 2026-05-01 to 2026-05-09.",
        "Open gates: none, then single leg.",
        "Ceiling: none, then KEY.",
        "Evening reminder: none, then 18:00.",
    ]
    assert (
        change_words("override", {"from_key": "a", "to_key": "b"}, str.upper)[1] == "From A to B."
    )
    assert change_words("something new", {}, str) == ["Something new."]
    assert plan_value("target_s", 15, str) == "15 s"


def test_no_text_is_queued_by_looking(world: World) -> None:
    browser = world.signed_in()
    before = count(world)
    for more in ("", "/plan", "/override", "/history", "/holds.svg"):
        browser.page(address(world, more))
    assert count(world) == before


def count(world: World) -> int:
    with world.store.read() as session:
        return len(session.exec(select(col(Message.id))).all())
