"""Broker topics, built and taken apart in one place.

Never: a connection, a payload.
"""

from typing import NamedTuple

ROOT = "wellhand/v1"
READINGS, URGENT, PRESENCE, HEALTH, STORED, FINDINGS = KINDS = (
    "readings",
    "urgent",
    "presence",
    "health",
    "stored",
    "findings",
)
RETAINED = frozenset({PRESENCE, HEALTH, STORED, FINDINGS})
FROM_BOARD = frozenset({READINGS, URGENT, PRESENCE, HEALTH})
QOS = 1


class Topic(NamedTuple):
    """Which site and what kind of message."""

    site: str
    kind: str


def topic_of(site: str, kind: str) -> str:
    """The topic for one kind of message of one site. ValueError: no such kind."""
    if kind not in KINDS:
        raise ValueError(f"no such kind of message: {kind!r}; one of {', '.join(KINDS)}")
    return f"{ROOT}/{site}/{kind}"


def taken_apart(topic: str) -> Topic | None:
    """Site and kind of a topic, or None where it is not one of ours."""
    root, slash, rest = topic.rpartition("/")
    site = root.removeprefix(ROOT + "/")
    if not slash or rest not in KINDS or site == root or not site or "/" in site:
        return None
    return Topic(site, rest)


def everyone(kind: str) -> str:
    """The filter that takes one kind of message from every site."""
    return topic_of("+", kind)
