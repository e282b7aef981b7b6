"""The alert inbox: what it shows, in what order, to whom; handling, and taking that back."""

import re
from datetime import timedelta

from screened import UNHURT_FORM
from sqlmodel import col, select
from web_world import World

from rungwise.carriers.base import InboundText
from rungwise.coach.alerting.paging import BY_EMAIL, Receiver, pages_of, queue_page
from rungwise.coach.daily.receive import receive
from rungwise.store.tables import Alert, Audit, Message, Practice, SignIn, Trainer
from rungwise.ticks.jobs import note_tick


def with_a_fall(world: World) -> int:
    world.pass_time(hours=2)
    world.reply("ada", "20 steady but then I fell in the kitchen")
    return next(alert.id for alert in world.alerts("ada") if alert.kind == "fall")


def test_a_fall_shows_the_clients_exact_words_marked_and_what_was_done(world: World) -> None:
    with_a_fall(world)
    browser = world.signed_in()
    page = browser.page("/")
    words = re.search(r'<blockquote class="said"><p>(.*?)</p>', page)
    assert words
    assert re.sub(r"</?mark>", "", words[1]) == "20 steady but then I fell in the kitchen"
    marked = re.findall(r"<mark>(.*?)</mark>", words[1])
    assert any("fell" in stretch for stretch in marked)
    assert "No more prompts until you clear it." in page
    assert "Not seen yet" in page
    assert "A page was handed over" in page
    opened = browser.page(f"/alerts/{world.alerts('ada')[0].id}")
    assert "Read as:" in opened
    assert "a fall" in opened


def test_an_alert_tells_every_page_with_its_way_its_state_and_its_times(world: World) -> None:
    alert = with_a_fall(world)
    with world.store.write() as session:
        first, *_ = pages_of(session, alert)
        by_mail = queue_page(
            session,
            world.clock.now(),
            session.get_one(Practice, first.practice_id),
            Receiver("tess@example.org", first.trainer_id, BY_EMAIL),
            [session.get_one(Alert, alert)],
        )
        assert by_mail is not None
    page = " ".join(re.sub(r"<[^>]+>", "", world.signed_in().page(f"/alerts/{alert}")).split())
    told = page.partition("What happened")[2]
    assert re.search(r"Page to Tess Example, by text (handed over|delivered)", told)
    # Opening it takes back the one that waits, and says so.
    assert re.search(r"Page to Tess Example, by e-mail taken back", told)


def test_a_text_from_an_unknown_number_is_listed_and_given_to_a_client(world: World) -> None:
    with world.store.write() as session:
        practice = session.exec(select(Practice).order_by(col(Practice.id))).all()[0]
        inbound = InboundText("unknown-1", "+12025550177", practice.phone, "Mum fell in the bath")
        receive(session, world.clock.now(), "handset", inbound)
    browser = world.signed_in("tess")
    page = browser.page("/unknown-numbers")
    assert "Mum" in page
    assert "Ada Sample" in page
    assert "Cy Instance" not in page, "another trainer's client"
    browser.post("/unknown-numbers/1", client_id=world.clients["ada"], whose="daughter")
    assert "There are none." in browser.page("/unknown-numbers")
    assert any(one.kind == "fall" for one in world.alerts("ada"))


def test_urgent_ones_come_first_and_the_count_is_in_the_title(world: World) -> None:
    world.pass_time(hours=2)
    world.reply("ada", "I fell")
    world.clock.advance(timedelta(minutes=5))
    world.reply("bo", "what does hover mean?")
    page = world.signed_in().page("/")
    kinds = re.findall(r'<span class="stamp stamp-(\w+)"', page)
    assert kinds == sorted(kinds, key=["urgent", "today", "note"].index)
    assert kinds[0] == "urgent"
    assert page.index(">Ada Sample: Fall") < page.index(">Bo Specimen<")
    open_alerts = len(world.alerts("ada") + world.alerts("bo"))
    assert f"<title>({open_alerts}) Day" in page


def test_hostile_words_stay_words(world: World) -> None:
    world.reply("ada", '<script>alert("x")</script> & I fell <b>over</b>')
    page = world.signed_in().page("/")
    assert "<script>alert" not in page
    assert "<b>over" not in page
    assert "&lt;script&gt;" in page


def test_only_ones_own_clients_are_shown_and_the_lead_sees_all(world: World) -> None:
    world.reply("ada", "I fell")
    world.reply("cy", "I fell")
    assert "Cy Instance" not in world.signed_in("tess").page("/")
    assert "Ada Sample" not in world.signed_in("omar").page("/")
    everything = world.signed_in("lena").page("/")
    assert "Cy Instance" in everything
    assert "Ada Sample" in everything


def test_opening_an_alert_marks_it_seen_and_stops_the_paging(world: World) -> None:
    alert = with_a_fall(world)
    browser = world.signed_in()
    browser.page("/")
    assert world.alerts("ada", "new"), "looking at the list is not opening"
    browser.page(f"/alerts/{alert}")
    seen = next(one for one in world.alerts("ada") if one.id == alert)
    assert (seen.state, seen.seen_by) == ("seen", world.trainers["tess"])


def test_a_preloading_browser_or_another_sites_link_has_not_seen_it(world: World) -> None:
    alert = with_a_fall(world)
    browser = world.signed_in().browser
    for headers in ({"Sec-Purpose": "prefetch"}, {"Sec-Fetch-Site": "cross-site"}):
        assert browser.get(f"/alerts/{alert}", headers=headers).status_code == 200
    assert any(one.id == alert for one in world.alerts("ada", "new"))


def test_handling_takes_one_press_and_leaves_the_client_resting(world: World) -> None:
    alert = with_a_fall(world)
    browser = world.signed_in()
    page = browser.page(f"/alerts/{alert}")
    assert 'name="quick" value="Phoned: all is well"' in page
    done = browser.post(f"/alerts/{alert}/handle", quick="Phoned: all is well", **UNHURT_FORM)
    assert (done.status_code, done.headers["location"]) == (303, "/")
    handled = next(one for one in world.alerts("ada") if one.id == alert)
    assert handled.state == "handled"
    assert handled.what_done == "Phoned: all is well"
    assert world.client("ada").state == "resting"
    inbox = browser.page("/")
    assert "Undo" in inbox
    assert "Phoned: all is well" in inbox


def test_handling_can_say_where_the_client_resumes(world: World) -> None:
    world.pass_time(hours=2)
    world.reply("ada", "I fell in the kitchen")
    alert = next(alert.id for alert in world.alerts("ada") if alert.kind == "fall")
    here = world.rung_of("ada")
    browser = world.signed_in()
    assert f'<option value="{here}"' in browser.page(f"/alerts/{alert}")
    browser.post(
        f"/alerts/{alert}/handle",
        what_done="Phoned, bruise only",
        note="Ask again",
        resume_key=here,
        together="true",
        **UNHURT_FORM,
    )
    world.tick()
    assert world.client("ada").state == "active"
    assert "you may practice again" in world.sent("ada", "notice")[-1].body
    handled = next(one for one in world.alerts("ada") if one.id == alert)
    assert (handled.what_done, handled.note) == ("Phoned, bruise only", "Ask again")


def test_words_are_needed_to_handle(world: World) -> None:
    alert = with_a_fall(world)
    refused = world.signed_in().post(f"/alerts/{alert}/handle", what_done="  ")
    assert refused.status_code == 400
    assert "what was done" in refused.text
    assert any(one.id == alert for one in world.alerts("ada", "new"))


def test_a_second_press_says_that_it_was_handled(world: World) -> None:
    alert = with_a_fall(world)
    browser = world.signed_in()
    browser.post(f"/alerts/{alert}/handle", quick="Visited at home", **UNHURT_FORM)
    again = browser.post(f"/alerts/{alert}/handle", quick="Phoned", **UNHURT_FORM)
    assert again.status_code == 409
    assert next(a for a in world.alerts("ada") if a.id == alert).what_done == "Visited at home"


def test_undo_opens_the_alert_again_and_rests_the_client_again(world: World) -> None:
    world.pass_time(hours=2)
    for _ in range(2):
        world.reply("ada", "20 steady")
        world.pass_time(days=1)
    world.reply("ada", "I fell in the kitchen")
    was_on = world.rung_of("ada")
    alert = next(alert.id for alert in world.alerts("ada") if alert.kind == "fall")
    browser = world.signed_in()
    lowest = "firm/parallel/o177/fingertips"
    assert was_on != lowest
    browser.post(
        f"/alerts/{alert}/handle",
        quick="Phoned: all is well",
        resume_key=lowest,
        together="true",
        **UNHURT_FORM,
    )
    assert (world.client("ada").state, world.rung_of("ada")) == ("active", lowest)
    world.tick()
    undone = browser.post(f"/alerts/{alert}/undo")
    assert undone.headers["location"] == f"/alerts/{alert}"
    world.tick()
    assert (world.client("ada").state, world.rung_of("ada")) == ("resting", was_on)
    assert next(a for a in world.alerts("ada") if a.id == alert).state == "seen"
    assert "paused" in world.sent("ada", "notice")[-1].body
    prompts = len(world.sent("ada", "prompt"))
    world.pass_time(days=2)
    assert len(world.sent("ada", "prompt")) == prompts


def test_undo_before_the_text_left_sends_nothing(world: World) -> None:
    world.reply("ada", "I fell in the kitchen")
    alert = next(alert.id for alert in world.alerts("ada") if alert.kind == "fall")
    browser = world.signed_in()
    here = world.rung_of("ada")
    browser.post(f"/alerts/{alert}/handle", quick="Phoned", resume_key=here, **UNHURT_FORM)
    browser.post(f"/alerts/{alert}/undo")
    world.tick()
    assert world.sent("ada", "notice") == []
    assert world.client("ada").state == "resting"


def test_after_a_minute_or_by_another_trainer_there_is_no_undo(world: World) -> None:
    alert = with_a_fall(world)
    browser = world.signed_in()
    browser.post(f"/alerts/{alert}/handle", quick="Phoned", **UNHURT_FORM)
    assert world.signed_in("lena").post(f"/alerts/{alert}/undo").status_code == 400
    world.clock.advance(timedelta(seconds=61))
    assert "Undo" not in browser.page("/")
    assert browser.post(f"/alerts/{alert}/undo").status_code == 400
    assert next(a for a in world.alerts("ada") if a.id == alert).state == "handled"


def test_no_undo_when_a_new_alert_of_the_kind_is_open(world: World) -> None:
    alert = with_a_fall(world)
    browser = world.signed_in()
    browser.post(f"/alerts/{alert}/handle", quick="Phoned", **UNHURT_FORM)
    world.reply("ada", "I fell again")
    refused = browser.post(f"/alerts/{alert}/undo")
    assert refused.status_code == 400
    assert "Handle that one" in refused.text


def test_search_and_filters(world: World) -> None:
    world.reply("ada", "I fell in the kitchen")
    world.reply("bo", "what does hover mean?")
    browser = world.signed_in()
    ada, bo = ">Ada Sample", ">Bo Specimen"
    for address, there, gone in (
        ("/?q=kitchen", ada, bo),
        ("/?q=specimen", bo, ada),
        ("/?urgency=urgent", ada, bo),
        ("/?kind=request", bo, ada),
        ("/?q=%25", None, ada),
    ):
        page = browser.page(address).partition('<div class="day-beside">')[0]
        assert there is None or there in page, address
        assert gone not in page, address
    (question,) = world.alerts("bo")
    browser.post(f"/alerts/{question.id}/handle", quick="Phoned")
    assert bo in browser.page("/?handled=true")
    assert browser.get("/?page=0").status_code == 400


def test_many_alerts_are_paged_and_each_client_is_one_card(world: World) -> None:
    with world.store.write() as session:
        for place in range(70):
            session.add(
                Alert(
                    practice_id=1,
                    client_id=world.clients["bo" if place % 2 else "ada"],
                    kind=f"k{place}",
                    urgency="note",
                    system_did="Kept.",
                    opened_at=world.clock.now(),
                    last_at=world.clock.now(),
                )
            )
    browser = world.signed_in()
    page = browser.page("/")
    assert page.count("<article") == 2
    assert "Also: " + ", ".join(f"k{place}" for place in range(2, 30, 2)) in page
    assert "Page 1 of 3" in page
    last = browser.page("/?page=3")
    assert last.count("<article") == 2
    assert "Also: k62, k64, k66, k68." in last


def test_an_urgent_alert_nobody_opened_is_said_on_every_page(world: World) -> None:
    alert = with_a_fall(world)
    browser = world.signed_in()
    for address in ("/clients", "/phone", "/account"):
        assert "urgent alert waiting" in browser.page(address)
    assert "waiting.</strong>" not in world.signed_in("omar").page("/")
    browser.page(f"/alerts/{alert}")
    assert "waiting.</strong>" not in browser.page("/clients")


def test_an_urgent_alert_that_could_not_page_stays_on_every_page(world: World) -> None:
    with world.store.write() as session:
        session.get_one(Trainer, world.trainers["tess"]).phone = None
    alert = with_a_fall(world)
    browser = world.signed_in()
    browser.page(f"/alerts/{alert}")
    assert "urgent alert waiting" in browser.page("/clients")


def test_stopped_ticks_are_said_on_every_page(world: World) -> None:
    browser = world.signed_in()
    note_tick(world.store, "send", world.clock.now())
    note_tick(world.store, "due", world.clock.now())
    assert "Texts have stopped" not in browser.page("/")
    world.clock.advance(timedelta(seconds=61))
    assert "Texts have stopped" in browser.page("/")
    assert "Texts have stopped" in browser.page("/clients")


def test_seeing_and_handling_are_in_the_audit_trail_without_texts(world: World) -> None:
    alert = with_a_fall(world)
    browser = world.signed_in()
    browser.page(f"/alerts/{alert}")
    browser.post(f"/alerts/{alert}/handle", quick="Phoned", **UNHURT_FORM)
    browser.post(f"/alerts/{alert}/undo")
    with world.store.read() as session:
        rows = select(Audit).where(Audit.client_id == world.clients["ada"])
        lines = session.exec(rows.order_by(col(Audit.id))).all()
        assert [line.action for line in lines][-5:] == [
            "alert seen",
            "after a fall",
            "fall recorded",
            "alert handled",
            "handling undone",
        ]
        texts = [m.body for m in session.exec(select(Message)).all()]
        assert not any(body and body in str(line.detail) for line in lines for body in texts)
        assert session.exec(select(SignIn)).all()


def test_what_is_counted_beside_the_day_are_clients_as_on_the_day(world: World) -> None:
    with_a_fall(world)
    world.reply("ada", "and my chest hurts a lot")
    assert len(world.alerts("ada", "new")) > 1
    browser = world.signed_in()
    assert '<span class="count">1<span' in browser.page("/clients")
    assert "<strong>1 client with an urgent alert waiting.</strong>" in browser.page("/clients")
    assert "<title>(1) Day" in browser.page("/")
    assert browser.page("/").count('class="card card-urgent"') == 1
