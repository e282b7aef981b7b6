"""What is the cloud service's own: its form, its answers, and its signature.

The signature is checked against the library of the vendor whose interface it is, both ways.
"""

from dataclasses import replace
from urllib.parse import parse_qsl, urlencode, urlsplit

import httpx
import pytest
from benches import (
    ACCOUNT,
    CLIENT,
    PRACTICE,
    PUBLIC_URL,
    SECRET,
    CloudBench,
    a_text,
    basic,
    offline,
)
from hypothesis import given, settings
from hypothesis import strategies as st
from twilio.http import HttpClient
from twilio.http.response import Response
from twilio.request_validator import RequestValidator
from twilio.rest import Client

from rungwise.carriers.base import Callback, Forged, Heard, OutboundText, Refused
from rungwise.carriers.cloud import Cloud, CloudAccess, signature, signed

THEIRS = RequestValidator(SECRET)
WORDS = st.text(st.characters(exclude_categories=["Cs"]), max_size=20)
FORMS = st.dictionaries(WORDS, WORDS, max_size=8)
URLS = st.sampled_from(
    [
        "https://sms.example.org/in/cloud",
        "https://sms.example.org/in/cloud?message=7",
        "https://sms.example.org:8443/in/cloud?message=7",
        "http://127.0.0.1:8780/in/cloud",
        "https://sms.example.org/coach/in/cloud?a=%20b&c",
    ]
)


def bench() -> CloudBench:
    made = offline("cloud")
    assert isinstance(made, CloudBench)
    return made


# --- the signature --------------------------------------------------------------------------------


@given(url=URLS, form=FORMS)
def test_their_library_validates_ours(url: str, form: dict[str, str]) -> None:
    assert THEIRS.validate(url, form, signature(SECRET, url, form.items()))


@given(url=URLS, form=FORMS)
def test_ours_validates_their_librarys(url: str, form: dict[str, str]) -> None:
    theirs = THEIRS.compute_signature(url, form)
    assert theirs == signature(SECRET, url, form.items())
    assert signed(SECRET, url, form.items(), theirs)


@given(url=URLS, form=FORMS, name=WORDS, value=WORDS)
def test_both_refuse_what_was_tampered_with(
    url: str, form: dict[str, str], name: str, value: str
) -> None:
    good = signature(SECRET, url, form.items())
    for other in ({**form, name: value}, {k: v for k, v in form.items() if k != name}):
        if other == form or signature(SECRET, url, other.items()) == good:
            continue  # nothing between names and values: a shift between them is the same text
        assert not signed(SECRET, url, other.items(), good)
        assert not THEIRS.validate(url, other, good)
    assert not signed(SECRET, url + "&x", form.items(), good)
    assert not signed("another", url, form.items(), good)
    assert not signed(SECRET, url, form.items(), good[:-2] + "==")
    assert not signed(SECRET, url, form.items(), "")


@pytest.mark.parametrize(
    ("seen", "spelt"),
    [
        ("https://sms.example.org/in/cloud", "https://sms.example.org:443/in/cloud"),
        ("http://sms.example.org/in/cloud", "http://sms.example.org:80/in/cloud"),
        ("https://sms.example.org:8443/in/cloud", "https://sms.example.org/in/cloud"),
        ("https://[2001:db8::1]:8443/in/cloud", "https://[2001:db8::1]/in/cloud"),
    ],
)
def test_the_port_may_be_named_or_not(seen: str, spelt: str) -> None:
    form = {"MessageSid": "SM1"}
    theirs = THEIRS.compute_signature(spelt, form)
    assert signed(SECRET, seen, form.items(), theirs)


def test_a_field_given_twice_is_signed_twice() -> None:
    pairs = [("Media", "b"), ("Media", "a"), ("To", "x")]
    many = httpx.QueryParams(pairs)

    class Many(dict[str, str]):
        def getall(self, name: str) -> list[str]:
            return many.get_list(name)

    theirs = THEIRS.compute_signature(PUBLIC_URL, Many(many))
    assert signature(SECRET, PUBLIC_URL, pairs) == theirs


def test_the_address_is_ours_as_the_service_calls_it() -> None:
    access = CloudAccess("https://c", ACCOUNT, SECRET, "https://sms.example.org", "X-Signature")
    form = {"MessageSid": "SM1", "From": CLIENT, "To": PRACTICE, "Body": "20"}
    public = "https://sms.example.org/in/cloud?message=7"
    headers = {"x-signature": THEIRS.compute_signature(public, form)}
    behind_a_proxy = "http://10.0.0.5:8780/in/cloud?message=7"
    callback = Callback("POST", behind_a_proxy, headers, {}, urlencode(form).encode())
    with httpx.Client() as http:
        assert Cloud(access, http).hear(callback).texts[0].body == "20"
        with pytest.raises(Forged):
            Cloud(access, http).hear(replace(callback, url="http://10.0.0.5:8780/in/cloud"))


def test_a_callback_by_get_is_signed_by_its_address() -> None:
    form = {"MessageSid": "SM1", "From": CLIENT, "To": PRACTICE, "Body": "20 & +"}
    url = f"{PUBLIC_URL}/in/cloud?{urlencode(form)}"
    good = Callback("GET", url, {"x-twilio-signature": THEIRS.compute_signature(url, {})}, {})
    assert bench().carrier.hear(good).texts[0].body == "20 & +"
    with pytest.raises(Forged):
        bench().carrier.hear(replace(good, url=url.replace("20", "21")))


def test_nothing_that_is_not_signed_is_heard() -> None:
    """A field in the address counts only if the address was signed with it."""
    genuine = bench().signed("", {"MessageSid": "SM1", "MessageStatus": "sent"})
    with pytest.raises(Forged):
        bench().carrier.hear(replace(genuine, url=genuine.url + "?MessageStatus=delivered"))
    # `fields` is what others made of the request; it is not what was signed.
    heard = bench().carrier.hear(replace(genuine, fields={"MessageStatus": "delivered"}))
    assert heard.receipts[0].state == "sent"


@settings(max_examples=60)
@given(form=st.dictionaries(
    st.sampled_from(["MessageSid", "From", "To", "Body", "NumMedia", "MediaUrl0", "MessageStatus",
                     "ErrorCode", "SmsSid"]), WORDS), query=WORDS)  # fmt: skip
def test_signed_garbage_breaks_nothing(form: dict[str, str], query: str) -> None:
    callback = bench().signed("?" + urlencode({"message": query}), form)
    heard = bench().carrier.hear(callback)
    assert isinstance(heard, Heard)
    assert len(heard.texts) + len(heard.receipts) <= 1


# --- sending --------------------------------------------------------------------------------------


class Catch(HttpClient):  # type: ignore[misc]  # the library has no types
    """Keeps what the vendor's library would send."""

    def __init__(self) -> None:
        self.caught: dict[str, object] = {}

    def request(self, method: str, url: str, **more: object) -> Response:
        self.caught = {"method": method, "url": url, **more}
        return Response(201, '{"sid": "SM1"}')


TEXTS = [
    a_text("Left 20 s, right 14 s. ɛ 👍 & = +"),
    a_text("See the drawing.", media_url="https://example.org/drawing.png"),
    a_text("Soon", good_for_s=600),
]


@pytest.mark.parametrize("text", TEXTS, ids=lambda text: text.body[:8])
def test_we_ask_as_the_vendors_own_library_does(text: OutboundText) -> None:
    catch = Catch()
    more = {} if text.media_url is None else {"media_url": [text.media_url]}
    Client(ACCOUNT, SECRET, http_client=catch).messages.create(
        to=text.to_phone,
        from_=text.from_phone,
        body=text.body,
        status_callback=f"{PUBLIC_URL}/in/cloud?message={text.id}",
        validity_period=text.good_for_s,
        **more,
    )
    asked: list[httpx.Request] = []

    def take(request: httpx.Request) -> httpx.Response:
        asked.append(request)
        return httpx.Response(201, json={"sid": "SM1"})

    with httpx.Client(transport=httpx.MockTransport(take), auth=(ACCOUNT, SECRET)) as http:
        theirs = urlsplit(str(catch.caught["url"]))
        base = f"{theirs.scheme}://{theirs.netloc}" + theirs.path.partition("/Accounts")[0]
        access = CloudAccess(base, ACCOUNT, SECRET, PUBLIC_URL, "X-Twilio-Signature")
        Cloud(access, http).send(text)
    (request,) = asked
    assert request.method == catch.caught["method"]
    assert str(request.url) == catch.caught["url"]
    assert request.headers["content-type"] == "application/x-www-form-urlencoded"
    assert request.headers["authorization"] == basic(ACCOUNT, SECRET)
    expected = catch.caught["data"]
    assert isinstance(expected, dict)
    flat = {k: str(v[0] if isinstance(v, list) else v) for k, v in expected.items()}
    assert dict(parse_qsl(request.content.decode())) == flat


def test_a_text_is_not_kept_longer_than_the_service_allows() -> None:
    asked: list[httpx.Request] = []

    def take(request: httpx.Request) -> httpx.Response:
        asked.append(request)
        return httpx.Response(201, json={"sid": "SM1"})

    offline("cloud", take).carrier.send(a_text(good_for_s=7 * 86_400))
    assert dict(parse_qsl(asked[0].content.decode()))["ValidityPeriod"] == "14400"


@pytest.mark.parametrize(
    ("status", "said", "named"),
    [
        (400, {"code": 21610, "message": "Attempt to send to unsubscribed recipient"}, "21610"),
        (400, {"code": 21211, "message": "The number +12025550103 is not\n valid"}, "is not valid"),
        (401, {"code": 20003, "message": "Authenticate"}, "RUNGWISE_CLOUD_SECRET"),
        (404, {"message": 5, "code": "x"}, "refused"),
        (400, {"message": "long " * 500}, "long"),
    ],
)
def test_a_refusal_says_why_without_the_number(
    status: int, said: dict[str, object], named: str
) -> None:
    outcome = offline("cloud", lambda _: httpx.Response(status, json=said)).carrier.send(a_text())
    assert isinstance(outcome, Refused)
    assert named in outcome.reason
    assert "2025550103" not in outcome.reason
    assert len(outcome.reason) < 300


# --- hearing --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("count", "pictures"),
    [
        ("0", ()),
        ("2", ("https://example.org/0", "https://example.org/1")),
        ("", ()),
        ("-1", ()),
        ("many", ()),
        ("999999999", tuple(f"https://example.org/{place}" for place in range(10))),
    ],
)
def test_pictures_come_as_addresses(count: str, pictures: tuple[str, ...]) -> None:
    media = {f"MediaUrl{place}": f"https://example.org/{place}" for place in range(12)}
    fields = {"MessageSid": "MM1", "From": CLIENT, "To": PRACTICE, "Body": "", "NumMedia": count}
    (text,) = bench().carrier.hear(bench().signed("", fields | media)).texts
    assert text.pictures == pictures
    assert text.body == ""


def test_a_failure_names_the_code() -> None:
    fields = {"MessageSid": "SM1", "MessageStatus": "undelivered", "ErrorCode": "30003"}
    (receipt,) = bench().carrier.hear(bench().signed("?message=7", fields)).receipts
    assert (receipt.state, receipt.message_id) == ("failed", 7)
    assert "30003" in receipt.detail


@pytest.mark.parametrize("query", ["", "?message=", "?message=x", "?message=" + "9" * 40])
def test_a_report_without_our_id_still_has_the_services(query: str) -> None:
    fields = {"MessageSid": "SM1", "MessageStatus": "delivered"}
    (receipt,) = bench().carrier.hear(bench().signed(query, fields)).receipts
    assert (receipt.carrier_id, receipt.message_id) == ("SM1", None)
