"""The hub of the event streams by itself: how many, how much waits, and when a ping is due."""

import pytest

from api.web.hub import MOST_EACH, MOST_STREAMS, MOST_WAITING, PING_S, EventHub, NoStreamError, Stream


def stream(client=None, *, ping=lambda: b"ping", now_s=0.0):
    woken = []
    made = Stream(client, wake=lambda: woken.append(True), ping=ping, now_s=now_s)
    made.woken = woken
    return made


def here(work, *args):
    work(*args)


@pytest.fixture
def hub():
    hub = EventHub()
    hub.describe = lambda status: [status]
    return hub


def test_every_stream_gets_what_is_published(hub):
    """What is published wakes every stream, which then has it once and in order."""
    streams = [stream(), stream()]
    for each in streams:
        hub.open(each, here)
    hub.publish(b"one ")
    hub.publish(b"two")
    assert [each.take(0.0) for each in streams] == [b"one two"] * 2
    assert all(each.woken for each in streams)
    assert streams[0].take(0.0) == b""


def test_nothing_is_handed_over_while_nobody_listens(hub):
    """Without a stream nothing is described and no other thread is woken; nor after the last has left."""
    calls = []
    only = stream()
    hub.publish(b"before")
    hub.open(only, lambda *call: calls.append(call))
    hub.leave(only)
    hub.publish(b"after")
    assert calls == []
    assert only.take(0.0) == b""


def test_one_stream_too_many_is_refused(hub):
    """Sixteen streams are open at once; the next is refused until one has left."""
    streams = [stream() for _ in range(MOST_STREAMS)]
    for each in streams:
        hub.open(each, here)
    with pytest.raises(NoStreamError, match="16 event streams"):
        hub.open(stream(), here)
    hub.leave(streams[3])
    hub.open(stream(), here)


def test_a_client_has_two_streams(hub):
    """One client has two streams at once; another has its own two, and the board as many as there are."""
    for client in ["phone", "tablet"] * MOST_EACH + [None] * 5:
        hub.open(stream(client), here)
    with pytest.raises(NoStreamError, match="this client has 2"):
        hub.open(stream("phone"), here)


def test_a_reader_that_is_too_slow_is_ended(hub):
    """Up to a hundred messages wait for a reader; the next ones end its stream, and no other's."""
    slow, quick = stream(), stream()
    for each in (slow, quick):
        hub.open(each, here)
    for _ in range(MOST_WAITING):
        hub.publish(b"x")
        quick.take(0.0)
    assert not slow.ended
    hub.publish(b"x")
    assert slow.ended
    assert slow.take(0.0) == b""
    assert quick.take(0.0) == b"x"


def test_many_messages_at_once_end_no_stream(hub):
    """A round with more messages than may wait reaches a reader that has all earlier ones."""
    only = stream()
    hub.open(only, here)
    hub.describe = lambda _status: [b"x"] * (3 * MOST_WAITING)
    hub.publish(b"")
    assert only.take(0.0) == b"x" * 3 * MOST_WAITING


def test_a_ping_comes_every_15_s():
    """A ping is due 15 s after the beginning and after each ping, whether or not there is something else."""
    only = stream(now_s=100.0)
    found = []
    for second in range(100, 160):
        if second == 120:
            only.put([b"news "])
        found.append((second, only.take(float(second))))
    assert [each for each in found if each[1]] == [
        (115, b"ping"),
        (120, b"news "),
        (130, b"ping"),
        (145, b"ping"),
    ]
    assert only.ping_due_s == 145.0 + PING_S


def test_who_may_no_longer_read_is_told_nothing_more():
    """Where the client has no permission when a ping is due, its stream ends; what waits is not sent."""
    permitted = [True, False]
    only = stream(ping=lambda: b"ping" if permitted.pop(0) else None)
    assert only.take(15.0) == b"ping"
    only.put([b"secret"])
    assert only.take(30.0) == b""
    assert only.ended


def test_closing_ends_every_stream(hub):
    """After closing every stream has ended, and none can be opened."""
    only = stream()
    hub.open(only, here)
    hub.publish(b"x")
    hub.close()
    assert only.ended
    assert only.take(0.0) == b""
    with pytest.raises(NoStreamError, match="shutting down"):
        hub.open(stream(), here)


def test_what_cannot_be_described_ends_the_streams(hub, caplog):
    """Where describing fails the streams end, so that clients come back, and the log says why."""
    only = stream()
    hub.open(only, here)
    hub.describe = lambda _status: 1 / 0
    hub.publish(b"x")
    assert only.ended
    assert "could not be described" in caplog.text


def test_a_loop_that_has_ended_is_no_trouble(hub):
    """Publishing and closing go on where the thread of the streams has ended."""

    def ended(*_):
        raise RuntimeError("Event loop is closed")

    hub.open(stream(), ended)
    hub.publish(b"x")
    hub.close()
