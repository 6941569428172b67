"""The demo's phone is a real receiver on the loopback address: what Apprise sends is kept before it is acknowledged."""

import base64
import json
import urllib.error
import urllib.request

import apprise
import pytest

from daemon.demo.phone import Phone

pytestmark = pytest.mark.filterwarnings("ignore:'imghdr' is deprecated:DeprecationWarning")  # in one of its plug-ins
PNG = base64.b64decode("iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAQAAAC1HAwCAAAAC0lEQVR42mNkYAAAAAYAAjCB0C8AAAAASUVORK5CYII=")


@pytest.fixture
def phone(tmp_path):
    phone = Phone(tmp_path / "phone")
    yield phone
    phone.hang_up()


def send(phone, title, body, **more):
    sender = apprise.Apprise()
    assert sender.add(phone.url)
    return bool(sender.notify(title=title, body=body, **more))


def post(phone, data: bytes) -> int:
    request = urllib.request.Request(phone.url.replace("json://", "http://"), data=data, method="POST")
    try:
        with urllib.request.urlopen(request, timeout=5) as answer:
            return answer.status
    except urllib.error.HTTPError as refused:
        refused.close()
        return refused.code


def test_a_message_sent_through_apprise_arrives_with_its_title_and_every_character(phone):
    assert send(phone, "Juniper", "power 50 % since 22 Jan, 19.2 Ω expected, 1222 °C")
    (message,) = phone.messages()
    assert (message.number, message.title) == (1, "Juniper")
    assert message.text == "power 50 % since 22 Jan, 19.2 Ω expected, 1222 °C"


def test_a_picture_is_kept_as_a_file_under_a_name_of_our_own(phone, tmp_path):
    picture = tmp_path / "..%2Fheron.png"
    picture.write_bytes(PNG)
    assert send(phone, "Heron", "the picture", attach=str(picture))
    (message,) = phone.messages()
    assert [path.read_bytes() for path in message.pictures] == [PNG]
    assert message.pictures[0].parent == tmp_path / "phone"
    assert message.pictures[0].name == "message-01-1.png"


def test_messages_of_an_interrupted_demo_are_still_there(tmp_path):
    before = Phone(tmp_path)
    assert send(before, "one", "first line\nsecond line")
    before.hang_up()
    after = Phone(tmp_path)
    assert send(after, "two", "later")
    after.hang_up()
    assert [(message.number, message.text) for message in after.messages()] == [
        (1, "first line\nsecond line"),
        (2, "later"),
    ]


def test_a_line_cut_off_by_a_kill_was_never_acknowledged_and_is_dropped(tmp_path):
    before = Phone(tmp_path)
    assert send(before, "one", "whole")
    before.hang_up()
    kept = tmp_path / "messages.jsonl"
    kept.write_bytes(kept.read_bytes() + b'{"title": "two", "te')
    after = Phone(tmp_path)
    assert [message.text for message in after.messages()] == ["whole"]
    assert send(after, "two", "again")
    after.hang_up()
    assert [json.loads(line)["title"] for line in kept.read_text(encoding="utf-8").splitlines()] == ["one", "two"]


@pytest.mark.parametrize("data", [b"no json", b"[1, 2]", b"{", b"\xff\xfe"])
def test_what_is_no_message_is_refused_and_the_phone_listens_on(phone, data):
    assert post(phone, data) == 400
    assert send(phone, "still", "here")
    assert len(phone.messages()) == 1


def test_it_can_be_reached_from_this_computer_only(phone):
    assert phone.url.startswith("json://127.0.0.1:")
