"""The page of an incident: all of it in one place, the checklist, one press, a clinician's word."""

import re
from datetime import timedelta

import pytest
from screened import UNHURT_FORM, harmless
from sqlmodel import select
from web_world import World

from rungwise.concepts.after_fall import ITEMS
from rungwise.store.tables import Client, ClinicianWord, FallCheck, Incident, Screening


def incident_of(world: World) -> int:
    with world.store.read() as session:
        return session.exec(select(Incident.id).order_by(Incident.id.desc())).first()


def told(world: World, *texts: str) -> str:
    world.pass_time(hours=2)
    for words in texts:
        world.reply("ada", words)
    world.tick()
    return f"/incidents/{incident_of(world)}"


def plain(page: str) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", page).split())


def test_one_card_holds_every_sign_text_page_and_act_in_one_line_of_time(world: World) -> None:
    address = told(world, "I fell and my knee hurts", "no")
    browser = world.signed_in()
    page = browser.page(address)
    assert "Ada Sample: Fall, Pain" in plain(page)
    assert f'href="tel:{world.client("ada").phone}"' in page
    line = plain(page.partition("What happened")[2])
    places = [
        line.index(words)
        for words in (
            "texts: I fell and my knee hurts",
            "Page to Tess Example , by text",
            "safety text:",
            "texts: no",
            "Tess Example opened it",
        )
    ]
    assert places == sorted(places)
    assert len(re.findall("Page to", line)) == 1


def test_each_sign_opens_the_same_page_and_every_one_is_seen(world: World) -> None:
    told(world, "I fell and my knee hurts")
    browser = world.signed_in()
    fall, pain = (one.id for one in sorted(world.alerts("ada"), key=lambda a: a.kind))
    assert "Ada Sample: Fall, Pain" in plain(browser.page(f"/alerts/{pain}"))
    assert {one.state for one in world.alerts("ada")} == {"seen"}
    assert "After the fall" in browser.page(f"/alerts/{fall}")


@pytest.mark.parametrize("headers", [{"Sec-Purpose": "prefetch"}, {"Sec-Fetch-Site": "cross-site"}])
def test_a_fetch_that_is_no_look_stops_nothing(world: World, headers) -> None:
    address = told(world, "I fell")
    browser = world.signed_in().browser
    assert browser.get(address, headers=headers).status_code == 200
    assert {one.state for one in world.alerts("ada")} == {"new"}


def test_nothing_is_ticked_and_every_item_says_why_and_by_whom(world: World) -> None:
    page = world.signed_in().page(told(world, "I fell"))
    form = page.partition('id="handle"')[2].partition("</form>")[0]
    assert "checked" not in form
    for item in ITEMS:
        assert f'name="fall_{item.name}" value="unknown"' in form
        assert item.why in plain(form).replace("&#39;", "'")
        assert item.source.replace("&", "&amp;") in form


def test_one_press_closes_every_sign_and_lets_practice_go_on(world: World) -> None:
    address = told(world, "I feel very dizzy", "no", "I fell", "no")
    browser = world.signed_in()
    browser.page(address)
    done = browser.post(
        f"{address}/handle",
        quick="Phoned: all is well",
        resume_key=world.rung_of("ada"),
        **UNHURT_FORM,
    )
    assert (done.status_code, done.headers["location"]) == (303, "/")
    assert {one.state for one in world.alerts("ada")} == {"handled"}
    assert world.client("ada").state == "active"


def test_the_fall_is_on_the_page_of_falls_with_what_was_asked_once(world: World) -> None:
    address = told(world, "I fell in the kitchen", "no")
    browser = world.signed_in()
    form = browser.page(address).partition('id="handle"')[2].partition("</form>")[0]
    assert 'name="known_first" type="date" max="2026-03-02" value="2026-03-02"' in form
    for told_above in ("head_struck", "on_floor", "new_signs", "stands_as_before"):
        assert f"known_{told_above}" not in form
    against = {**UNHURT_FORM, "known_doing": "practising", "known_place": "home"}
    refused = browser.post(f"{address}/handle", quick="Phoned", **against)
    assert refused.status_code == 400
    assert "fits the checklist" in refused.text
    assert '<option value="home" selected>' in refused.text
    right = {**against, "known_doing": "stairs"}
    assert browser.post(f"{address}/handle", quick="Phoned", **right).status_code == 303
    falls = plain(browser.page(f"/clients/{world.clients['ada']}/falls"))
    for line in ("Where inside the home", "Doing what on stairs", "Head struck no", "Injury none"):
        assert line in falls


def test_what_is_left_out_is_said_and_what_was_answered_stays(world: World) -> None:
    address = told(world, "I fell")
    some = {name: value for name, value in UNHURT_FORM.items() if name != "fall_back"}
    refused = world.signed_in().post(
        f"{address}/handle", quick="Phoned: all is well", note="Bruise", **some
    )
    assert refused.status_code == 400
    assert "New pain in the back" in refused.text.partition('class="told"')[2][:400]
    assert refused.text.count(" checked") == len(some)
    assert "Bruise</textarea>" in refused.text
    assert {one.state for one in world.alerts("ada")} & {"new", "seen"}


def test_a_worrying_answer_shows_what_to_do_and_takes_the_word(world: World) -> None:
    address = told(world, "I fell", "no")
    browser = world.signed_in()
    answers = {**UNHURT_FORM, "fall_stands": "unknown"}
    here = world.rung_of("ada")
    refused = browser.post(f"{address}/handle", quick="Phoned", resume_key=here, **answers)
    assert refused.status_code == 400
    assert "clinician" in refused.text.partition('class="told"')[2][:200]
    done = browser.post(f"{address}/handle", quick="Phoned: will see a doctor first", **answers)
    assert done.headers["location"] == address
    page = plain(browser.page(address))
    assert "To the emergency department, now." in page
    assert "Practice rests until a clinician's word" in page.replace("&#39;", "'")
    word = {
        "clinician": "Dr Sample, physician",
        "said_on": "2026-03-02",
        "by": "call",
        "examined": "Hip: no break",
        "allows": "yes",
        "from_day": "2026-03-02",
        "limits": "",
    }
    wrong = browser.post(f"{address}/word", **{**word, "said_on": "last week"})
    assert wrong.status_code == 400
    assert "Hip: no break</textarea>" in wrong.text
    assert browser.post(f"{address}/word", **word).status_code == 303
    page = plain(browser.page(address))
    assert "They may practise from 2 March 2026: Dr Sample, physician" in page
    assert "No limits given." in page
    with world.store.read() as session:
        stored = session.exec(select(ClinicianWord)).one()
        assert (stored.examined, stored.trainer_id) == ("Hip: no break", world.trainers["tess"])
        assert session.exec(select(FallCheck)).one().answers["stands"] == "unknown"


@pytest.mark.parametrize(
    ("answer", "said"),
    [
        (None, "not asked yet, so count it as yes"),
        ("yes", "yes at the screening of 2 March 2026"),
        ("unsure", "so count it as yes"),
        ("no", "no at the screening of 2 March 2026"),
    ],
)
def test_after_a_fall_stands_what_the_screening_says_of_blood_thinners(
    world: World, answer: str | None, said: str
) -> None:
    """NICE CG176, advice for helplines: a head hit on a blood thinner is seen though they feel
    well.
    """
    address = told(world, "I fell")
    with world.store.write() as session:
        asked = harmless() | {"thinner": answer}
        if answer is None:
            del asked["thinner"]
        session.add(
            Screening(
                client_id=world.clients["ada"], trainer_id=world.trainers["tess"], answers=asked,
                outcome="start", rules_version=2, at=world.clock.now(),
            )
        )  # fmt: skip
    page = plain(world.signed_in().page(address))
    assert said in page.partition("Blood thinner or bleeding illness:")[2][:80]
    assert "After a blow to the head: emergency department, even when well." in page
    # The item itself stays unanswered: it is asked on the phone.
    assert 'name="fall_thinner" value="yes" checked' not in world.signed_in().page(address)


def test_next_of_kin_address_and_who_can_come_stand_on_the_incident(world: World) -> None:
    address = told(world, "I fell")
    with world.store.write() as session:
        ada = session.get_one(Client, world.clients["ada"])
        ada.kin_name, ada.kin_phone, ada.address = "Tom Sample", "+12025550166", "4 Mill Lane"
    page = world.signed_in().page(address)
    assert 'href="tel:+12025550166"' in page
    assert "Next of kin: Tom Sample" in page
    assert "Lives at: 4 Mill Lane" in page


def test_misread_words_are_closed_in_one_press(world: World) -> None:
    address = told(world, "I fell")
    done = world.signed_in().post(f"{address}/handle", misread="Phoned: it was misread")
    assert (done.status_code, done.headers["location"]) == (303, "/")
    assert {one.misread for one in world.alerts("ada")} == {True}


def test_a_second_press_says_that_it_was_handled(world: World) -> None:
    address = told(world, "I fell")
    browser = world.signed_in()
    browser.post(f"{address}/handle", quick="Phoned", **UNHURT_FORM)
    again = browser.post(f"{address}/handle", quick="Visited at home", **UNHURT_FORM)
    assert again.status_code == 404
    assert {one.what_done for one in world.alerts("ada")} == {"Phoned"}


def test_the_link_in_a_page_wants_the_sign_in_and_then_opens_the_incident(world: World) -> None:
    address = told(world, "I fell")
    with world.store.read() as session:
        link = f"/i/{session.exec(select(Incident)).one().link}"
    asked = world.browser().get(link, follow_redirects=False)
    assert asked.headers["location"] == f"/sign-in?next={link}"
    assert {one.state for one in world.alerts("ada")} == {"new"}
    browser = world.signed_in()
    assert browser.get(link).headers["location"] == address
    browser.page(address)
    assert {one.state for one in world.alerts("ada")} == {"seen"}
    assert browser.get("/i/nowhere2").status_code == 404
    # Good for a day from the last page, and no longer.
    with world.store.write() as session:
        session.exec(select(Incident)).one().link_until = world.clock.now() - timedelta(seconds=1)
    assert "good for a day" in browser.get(link).text


def test_another_trainers_incident_is_not_there(world: World) -> None:
    address = told(world, "I fell")
    stranger = world.signed_in("omar") if "omar" in world.trainers else None
    assert world.signed_in().get("/incidents/99999").status_code == 404
    if stranger is not None:
        assert stranger.get(address).status_code == 404
        assert stranger.post(f"{address}/handle", quick="x", **UNHURT_FORM).status_code == 404
        assert stranger.post(f"{address}/word").status_code == 404
